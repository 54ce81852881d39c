"""
Spellings of makers and models folded to families: a suggestion, for people to correct.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rapidfuzz import fuzz, process

if TYPE_CHECKING:
    import pandas as pd

LEAST_LIKENESS = 85
"""Spellings at least this alike are suggested as one family, of 100."""
MOST_SPELLINGS = 2000
"""Spellings that are looked at, the most frequent ones."""


@dataclass(frozen=True, slots=True)
class Fold:
    """A spelling, how often it stands, the family that it may be, and how like it that is."""

    spelling: str
    rows: int
    family: str
    likeness: float


def fold(spellings: pd.Series) -> list[Fold]:
    """
    The family that each spelling may be: the most frequent spelling that is like it.

    Parameters
    ----------
    spellings
        Text, missing cells left out.

    Returns
    -------
    folds
        By family, then by falling frequency; likeness is 100 where only case and marks differ.

    Examples
    --------
    >>> import pandas as pd
    >>> cells = pd.Series(["Alder 5", "ALDER-5", "Alder 5", "Aldr 5", "Birch"])
    >>> [(f.spelling, f.family, round(f.likeness)) for f in fold(cells)][1:3]
    [('ALDER-5', 'Alder 5', 100), ('Aldr 5', 'Alder 5', 91)]
    """
    counts = spellings.dropna().value_counts()
    # each is held against all before it; a column of more spellings is none of families
    ranked = sorted(counts.items(), key=lambda item: (-item[1], str(item[0])))[:MOST_SPELLINGS]
    heads: dict[str, str] = {}
    found: list[Fold] = []
    for spelling, rows in ranked:
        bare = re.sub(r"[\W_]+", "", str(spelling).casefold()) or str(spelling)
        # 5 and 6 are another size, however like the rest is
        sized = [head for head in heads if _numbers(head) == _numbers(bare)]
        best = process.extractOne(bare, sized, scorer=fuzz.ratio, score_cutoff=LEAST_LIKENESS)
        if best is None:
            heads[bare] = str(spelling)
            found.append(Fold(str(spelling), int(rows), str(spelling), 100.0))
        else:
            found.append(Fold(str(spelling), int(rows), heads[best[0]], float(best[1])))
    order = {family: place for place, family in enumerate(dict.fromkeys(f.family for f in found))}
    return sorted(found, key=lambda f: (order[f.family], -f.rows, f.spelling))


def _numbers(bare: str) -> list[str]:
    return re.findall(r"\d+", bare)
