"""
How verdicts look: one declaration for the web map and for the static picture.

Shape and colour both tell the verdict, so that neither is needed alone: the colors stay apart for
color-blind eyes and in gray, and red is never set against green.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from hydrantgis.ground.results import VERDICTS

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd
    from numpy.typing import NDArray

PAPER = "#fbfaf6"
INK = "#1b2a38"
FAINT = "#a9a79c"
BOUNDARY = "#5d6b78"

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MapWords:
    """
    What is written round a map.

    Attributes
    ----------
    title
        What the map shows, for example the name of the district.
    rule
        Title of the height rule, and its window in words.
    citation
        Where the rule stands.
    data_date
        Date of the newest reading, or `no readings`.
    cautions
        Sentences printed wherever work is described.
    """

    title: str
    rule: str
    citation: str
    data_date: str
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """
    The mark of one class of hydrants.

    Attributes
    ----------
    value
        As in the column of the table; for verdicts empty for hydrants that were not judged.
    label
        As people read it.
    about
        What it means, in a few words.
    points
        Corners of the mark, x to the right and y up, in units of its half width.
    size
        Half width beside that of the other marks.
    """

    value: str
    label: str
    about: str
    points: Points
    fill: str
    edge: str
    size: float


def corners(count: int, turn: float = 0.0) -> Points:
    """Return the corners of a regular figure; a quarter `turn` puts the first one on top."""
    angles = [math.tau * (turn + k / count) for k in range(count)]
    return tuple((round(math.cos(a), 4), round(math.sin(a), 4)) for a in angles)


_SQUARE: Points = ((-0.8, -0.8), (0.8, -0.8), (0.8, 0.8), (-0.8, 0.8))
_BAR: Points = ((-1.0, -0.3), (1.0, -0.3), (1.0, 0.3), (-1.0, 0.3))

LOOKS = (
    Look(
        value="inside", label="Inside", about="within the window",
        points=corners(24), fill="#2f6f9f", edge="#123a58", size=0.8,
    ),
    Look(
        value="low", label="Low", about="below the window",
        points=corners(3, -0.25), fill="#d9480f", edge="#5c1d03", size=1.25,
    ),
    Look(
        value="high", label="High", about="above the window",
        points=corners(3, 0.25), fill="#6a2c91", edge="#2d0f40", size=1.25,
    ),
    Look(
        value="unresolved", label="Unresolved", about="reading too coarse to tell",
        points=corners(4, 0.25), fill="#f2b21b", edge="#4d3800", size=1.1,
    ),
    Look(
        value="unmeasured", label="Unmeasured", about="no usable reading",
        points=_SQUARE, fill="#ffffff", edge="#1b2a38", size=0.85,
    ),
    Look(
        value="", label="Not judged", about="no dry barrel, or retired",
        points=_BAR, fill="#8b9097", edge="#4c5258", size=0.85,
    ),
)  # fmt: skip
"""Marks in the order of the legend."""

HATCHES = {"inside": "", "low": "////", "high": "\\\\\\\\", "unresolved": "xxxx", "unmeasured": ""}
"""How the bars of a verdict are hatched, so that they are told apart without color."""

DRAWING_ORDER = (5, 4, 0, 3, 2, 1)
"""Places in `LOOKS`, the least serious first, so that what needs work lies on top."""

_MEASURED = ("inside", "low", "high", "unresolved")


def places_of(
    geometry: gpd.GeoSeries,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    X and y of each point; not a number where it is missing, empty or no point.

    Parameters
    ----------
    geometry
        In any CRS; the places come in its units.

    Returns
    -------
    x, y
        Shape (n,).
    """
    shapes = np.array(geometry.to_numpy(), dtype=object)
    # An empty point has no x to ask for: asking is an error, unlike for a missing one.
    shapes[shapely.is_empty(shapes)] = None
    x, y = shapely.get_x(shapes), shapely.get_y(shapes)
    there = np.isfinite(x) & np.isfinite(y)
    return np.where(there, x, np.nan), np.where(there, y, np.nan)


def look_codes(verdicts: pd.Series[str]) -> NDArray[np.int64]:
    """
    Each row's place in `LOOKS`; a missing verdict is `not judged`.

    Examples
    --------
    >>> look_codes(pd.Series(["low", None, "inside"])).tolist()
    [1, 5, 0]
    """
    places = pd.Index(VERDICTS).get_indexer(pd.Index(verdicts.astype("object")))
    return np.where(places < 0, len(VERDICTS), places).astype(np.int64)


def counts(verdicts: pd.Series[str]) -> dict[str, int]:
    """
    How many rows each verdict has, in the order of the legend; the empty word is `not judged`.

    Examples
    --------
    >>> counts(pd.Series(["low", None, "low"]))["low"]
    2
    """
    found = np.bincount(look_codes(verdicts), minlength=len(LOOKS)).tolist()
    return {look.value: count for look, count in zip(LOOKS, found, strict=True)}


def share_in_words(count: Mapping[str, int]) -> str:
    """
    The share inside of those that are measured, as one sentence.

    A share that is not all or nothing is never rounded to all or nothing.

    Examples
    --------
    >>> share_in_words({"inside": 212, "low": 70, "high": 5, "unresolved": 3, "unmeasured": 9})
    '212 of 290 measured are inside, 73 %'
    >>> share_in_words({"inside": 999, "low": 1})
    '999 of 1,000 measured are inside, more than 99 %'
    """
    inside, measured = count.get("inside", 0), sum(count.get(v, 0) for v in _MEASURED)
    if sum(count.values()) == 0:
        return "No hydrants"
    if measured == 0:
        return "None is measured yet"
    if 0.99 < inside / measured < 1:
        percent = "more than 99 %"
    elif 0 < inside / measured < 0.01:
        percent = "less than 1 %"
    else:
        percent = f"{100 * inside / measured:.0f} %"
    verb = "is" if inside == 1 else "are"
    return f"{inside:,} of {measured:,} measured {verb} inside, {percent}"


def missing_in_words(count: Mapping[str, int]) -> str:
    """
    How many hydrants have no location, by verdict; empty where all have one.

    Examples
    --------
    >>> missing_in_words({"inside": 2, "low": 0, "": 1})
    '3 counted here have no location and are not drawn: 2 inside, 1 not judged'
    """
    total = sum(count.values())
    if total == 0:
        return ""
    parts = [f"{count[k.value]:,} {k.label.lower()}" for k in LOOKS if count.get(k.value)]
    have, are = ("has", "is") if total == 1 else ("have", "are")
    return f"{total:,} counted here {have} no location and {are} not drawn: {', '.join(parts)}"
