"""
Which earlier layer a hydrant layer is a newer vintage of, and what follows from that.

A layer that holds at least half of the hydrants that an earlier one told is a newer vintage of it:
what it lacks of them is gone. A layer that holds fewer only adds, whatever its file is called.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

LEAST_SHARE = 0.5
"""Share of an earlier layer's hydrants that a newer vintage of it holds at least."""


@dataclass(frozen=True, slots=True)
class Vintage:
    """
    How a layer stands to those that came before.

    Attributes
    ----------
    of
        First intake of the layer that it is a newer vintage of; None where it is of none.
    held, living
        How many of the living hydrants of that layer it holds, and how many there are; where it is
        of none, those of the layer that it comes nearest to.
    gone
        Ids that it should hold and does not.
    source
        What the newest telling of that layer was called.
    """

    of: str | None
    held: int
    living: int
    gone: pd.Index[str]
    source: str | None = None


def vintage(
    present: pd.Index[str], living: pd.Series, *, whole: bool = False, adds: bool = False
) -> Vintage:
    """
    What a layer is a newer vintage of.

    Parameters
    ----------
    present
        Ids that the layer holds, of rows that are held or rejected too.
    living
        First intake of the layer that each living hydrant of the register came from, by id.
    whole
        The layer is the whole inventory: it is a newer vintage of all others.
    adds
        The layer only adds: it is a newer vintage of none.

    Examples
    --------
    >>> living = pd.Series({"H1": "a", "H2": "a", "H3": "a", "S1": "b"})
    >>> found = vintage(pd.Index(["H1", "H2", "H9"]), living)
    >>> found.of, found.held, found.living, found.gone.tolist()
    ('a', 2, 3, ['H3'])
    >>> vintage(pd.Index(["H1", "H9"]), living).gone.tolist()
    []
    """
    here = pd.Series(living.index.isin(present), index=living.index)
    counts = here.groupby(living).agg(["sum", "size"])
    none = pd.Index([], dtype="str")
    if not len(counts):
        return Vintage(None, 0, 0, none)
    share = counts["sum"] / counts["size"]
    followed = counts.index[(share >= LEAST_SHARE) | whole] if not adds else counts.index[:0]
    # the layer that most of its hydrants came from is the one that it is told to be of
    nearest = counts["sum"].sort_values(ascending=False, kind="stable").index
    named = next((name for name in nearest if name in followed), None)
    about = named if named is not None else nearest[0]
    missing = living.index[living.isin(followed) & ~here]
    return Vintage(
        None if named is None else str(named),
        int(counts.loc[about, "sum"]),
        int(counts.loc[about, "size"]),
        pd.Index(missing, dtype="str"),
    )
