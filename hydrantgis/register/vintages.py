"""
Which earlier layer a hydrant layer is a newer vintage of, and what follows from that.

A layer that holds at least two thirds of the hydrants that an earlier one told is a newer vintage
of it: what it lacks of them is gone. One that holds fewer only adds, whatever its file is called.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from hydrantgis.ground.findings import findings, no_findings

LEAST_SHARE = 2 / 3
"""Share of an earlier layer's hydrants that a newer vintage of it holds at least."""
_MANY_GONE, _FEWEST_GONE = 0.1, 5
"""No system loses more of its hydrants from one layer to the next: common practice, no source."""


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
    >>> found = vintage(pd.Index(["H1", "H2", "H3", "H9"]), living)
    >>> found.of, found.held, found.living, found.gone.tolist()
    ('a', 3, 3, [])
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


def many_gone(found: Vintage) -> pd.DataFrame:
    """
    A finding where a layer lacks so many hydrants that it may be a part of one.

    Examples
    --------
    >>> part = Vintage("a", 80, 100, pd.Index([f"H{n}" for n in range(20)]))
    >>> many_gone(part)["message"].tolist()
    ['20 hydrants of 100 are not in the layer and were retired']
    """
    many = len(found.gone)
    if many < _FEWEST_GONE or many <= _MANY_GONE * found.living:
        return no_findings()
    told = f"{many:,} hydrants of {found.living:,} are not in the layer and were retired"
    return findings("many-gone", table="hydrants", keys=["(all)"], messages=told)
