"""
What the points of the map can show: the verdict first, and what else is asked of the same hydrants.

Each theme sorts all hydrants into a few classes, and each class has a mark of its own: shape and
size tell it apart as well as color does. Sequences go from light to dark of one hue, so that they
keep their order in gray and for color-blind eyes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from hydrantgis.deliver.looks import (
    DRAWING_ORDER,
    LOOKS,
    Look,
    Points,
    corners,
    look_codes,
)

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import NDArray

_NONE_FILL, _NONE_EDGE = "#ffffff", "#5d6b78"
_QUIET_FILL, _QUIET_EDGE = "#c8d3da", "#7b8a94"
_GRAY_FILL, _GRAY_EDGE = "#8b9097", "#4c5258"

_SQUARE: Points = ((-0.8, -0.8), (0.8, -0.8), (0.8, 0.8), (-0.8, 0.8))
_BAR: Points = ((-1.0, -0.3), (1.0, -0.3), (1.0, 0.3), (-1.0, 0.3))
_UP: Points = ((0, 1), (0.95, 0), (0.4, 0), (0.4, -1), (-0.4, -1), (-0.4, 0), (-0.95, 0))
_DOWN: Points = tuple((x, -y) for x, y in _UP)
_BOTH: Points = (
    (0, 1.1), (0.9, 0.3), (0.4, 0.3), (0.4, -0.3), (0.9, -0.3), (0, -1.1), (-0.9, -0.3),
    (-0.4, -0.3), (-0.4, 0.3), (-0.9, 0.3),
)  # fmt: skip
_CROSS: Points = (
    (-0.3, 1), (0.3, 1), (0.3, 0.3), (1, 0.3), (1, -0.3), (0.3, -0.3), (0.3, -1), (-0.3, -1),
    (-0.3, -0.3), (-1, -0.3), (-1, 0.3), (-0.3, 0.3),
)  # fmt: skip
_SALTIRE: Points = tuple((round(0.72 * (x - y), 3), round(0.72 * (x + y), 3)) for x, y in _CROSS)
_ROUND, _DIAMOND, _PEAK = corners(24), corners(4, 0.25), corners(3, 0.25)
_STAR: Points = tuple(
    (round(r * x, 4), round(r * y, 4))
    for (x, y), r in zip(corners(10, 0.25), (1.0, 0.45) * 5, strict=True)
)

_RISING = ("#fbd38a", "#f2a03d", "#d9480f", "#9c2c08", "#5c1d03")
"""Of kit lengths, the shortest first."""
_SURE = ("#173a5e", "#2f6f9f", "#7fb2d6", "#c9a227", "#6b3a00")
"""Of the probability to be inside, the surest first: blue above a half, brown below."""
_AGED = ("#d6eadf", "#8fc3ab", "#4b9380", "#1f6257", "#0b3530")
_RANKED = ("#e8d6ef", "#b988cc", "#7d3c98")

FLOW_COLORS = {"AA": "#87ceeb", "A": "#2e8b57", "B": "#ff8c00", "C": "#cc2b2b"}
"""Light blue, green, orange and red, as NFPA 291 5.2 has tops painted; seen second-hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """
    One way of sorting the hydrants.

    Attributes
    ----------
    name
        As in the address of the page.
    title
        As people choose it.
    note
        What it rests on, in a sentence.
    looks
        The marks of its classes, in the order of the legend.
    order
        Places in `looks`, those drawn first first: what matters most lies on top.
    codes
        The class of each hydrant. Shape (n,)
    """

    name: str
    title: str
    note: str
    looks: tuple[Look, ...]
    order: tuple[int, ...]
    codes: NDArray[np.int64]


def _look(
    label: str, about: str, points: Points, fill: str, edge: str = "#2b2b2b", size: float = 0.95
) -> Look:
    return Look(
        value=label, label=label, about=about, points=points, fill=fill, edge=edge, size=size
    )


def verdict_theme(verdicts: pd.Series[str]) -> Theme:
    """Inside, low, high and the others, as everywhere."""
    return Theme(
        name="verdict", title="Verdict", note="", looks=LOOKS, order=DRAWING_ORDER,
        codes=look_codes(verdicts),
    )  # fmt: skip


def remedy_theme(table: pd.DataFrame) -> Theme:
    """
    What each hydrant needs; kits by their length.

    Parameters
    ----------
    table
        The `checked` table. Of more than five lengths those beyond the fourth share a class.
    """
    remedy = table["remedy"].astype("object").to_numpy()
    length = table["kit_length_in"].to_numpy(dtype=np.float64, na_value=np.nan)
    extends = remedy == "extend"
    lengths = np.unique(length[extends & np.isfinite(length)])
    single = len(lengths) if len(lengths) <= len(_RISING) else len(_RISING) - 1
    shown, rest = lengths[:single], lengths[single:].tolist()
    named = [(f"Extend {value:g} in", (value,)) for value in shown.tolist()]
    if len(rest):
        named.append((f"Extend {rest[0]:g} to {rest[-1]:g} in", tuple(rest)))
    ramp = np.linspace(0, len(_RISING) - 1, max(len(named), 1)).round().astype(int).tolist()
    looks, codes = [], np.full(len(table), -1, dtype=np.int64)
    for place, (label, values) in enumerate(named):
        size = 0.9 + 0.5 * place / max(len(named) - 1, 1)
        looks.append(_look(label, "one kit", _UP, _RISING[ramp[place]], "#3d1402", size))
        codes[extends & np.isin(length, values)] = place
    others = (
        ("extend", "Extend", "length not told", _UP, "#ffffff", "#5c1d03"),
        ("exchange", "Exchange", "one kit for another", _BOTH, "#7d3c98", "#2d0f40"),
        ("remove", "Take the kit out", "stands too high with it", _DOWN, "#b988cc", "#2d0f40"),
        ("lower", "Lower", "no kit lowers it", _DOWN, "#6a2c91", "#2d0f40"),
        ("regrade", "Regrade", "the ground, not the hydrant", _SQUARE, "#8a6d3b", "#3f300f"),
        ("replace", "Replace", "by one of another bury", _CROSS, "#1b2a38", "#000000"),
        ("measure", "Measure", "before anything is ordered", _DIAMOND, "#f2b21b", "#4d3800"),
        ("review", "Review", "by an engineer", _SALTIRE, "#8b9097", "#2f3338"),
        ("none", "Nothing to do", "", _ROUND, _QUIET_FILL, _QUIET_EDGE),
    )
    for word, label, about, points, fill, edge in others:
        chosen = (remedy == word) & (codes < 0)
        if word == "extend" and not chosen.any():
            continue
        codes[chosen] = len(looks)
        size = {"none": 0.7, "remove": 0.8}.get(word, 1.0)
        looks.append(_look(label, about, points, fill, edge, size))
    # of what nobody judged nothing is known, also not that there is nothing to do
    codes[(codes < 0) | ((remedy == "none") & table["verdict"].isna().to_numpy())] = len(looks)
    looks.append(
        _look("Not judged", "no dry barrel, or retired", _BAR, _GRAY_FILL, _GRAY_EDGE, 0.7)
    )
    count = len(looks)
    order = (count - 1, count - 2, *range(count - 3, -1, -1))
    return Theme(
        name="remedy", title="Remedy and kit", note="", looks=tuple(looks), order=order,
        codes=codes,
    )  # fmt: skip


def probability_theme(table: pd.DataFrame) -> Theme:
    """How probable it is that the outlet stands inside, by what the reading can tell."""
    p = table["p_inside"].to_numpy(dtype=np.float64, na_value=np.nan)
    looks = (
        _look("95 % and more", "surely inside", _ROUND, _SURE[0], "#0a1d30", 0.6),
        _look("80 to 95 %", "", _ROUND, _SURE[1], "#123a58", 0.85),
        _look("50 to 80 %", "rather inside", _SQUARE, _SURE[2], "#123a58", 0.8),
        _look("20 to 50 %", "rather outside", _DIAMOND, _SURE[3], "#4d3800", 1.05),
        _look("Under 20 %", "most likely outside", _PEAK, _SURE[4], "#2e1900", 1.2),
        _look("Not told", "no usable reading", _BAR, _NONE_FILL, _NONE_EDGE, 0.7),
    )
    codes = np.select([p >= 0.95, p >= 0.8, p >= 0.5, p >= 0.2, p < 0.2], [0, 1, 2, 3, 4], 5)
    return Theme(
        name="probability", title="Probability inside",
        note="Of the outlet in its window, by height and standard uncertainty (JCGM 106:2012).",
        looks=looks, order=(5, 0, 1, 2, 3, 4), codes=codes.astype(np.int64),
    )  # fmt: skip


def age_theme(table: pd.DataFrame, today: dt.date) -> Theme:
    """
    How old the reading is.

    Parameters
    ----------
    table
        The `checked` table.
    today
        From which the age is counted.
    """
    days = (pd.Timestamp(today) - table["reading_date"]).dt.days.to_numpy(
        np.float64, na_value=np.nan
    )
    years = days / 365.25
    looks = (
        _look("Up to 1 year", "", _ROUND, _AGED[0], "#2c5a4c", 0.6),
        _look("1 to 2 years", "", _ROUND, _AGED[1], "#1f4a3e", 0.85),
        _look("2 to 5 years", "", _SQUARE, _AGED[2], "#0f332b", 0.85),
        _look("5 to 10 years", "", _DIAMOND, _AGED[3], "#06201c", 1.05),
        _look("Over 10 years", "", _PEAK, _AGED[4], "#000000", 1.2),
        _look("No reading", "", _BAR, _NONE_FILL, _NONE_EDGE, 0.75),
    )
    codes = np.select(
        [years <= 1, years <= 2, years <= 5, years <= 10, years > 10], [0, 1, 2, 3, 4], 5
    )
    return Theme(
        name="age", title="Age of the reading", note=f"Counted on {today:%Y-%m-%d}.", looks=looks,
        order=(0, 1, 2, 5, 3, 4), codes=codes.astype(np.int64),
    )  # fmt: skip


def flow_theme(flow_gpm: NDArray[np.float64]) -> Theme:
    """
    The flow class of each hydrant, in the published colors.

    Parameters
    ----------
    flow_gpm
        At 20 psi. Shape (n,) [gpm]

    Notes
    -----
    Classes AA from 1,500, A from 1,000, B from 500, C below: NFPA 291 5.1, seen
    second-hand, the letters from memory. A hydrant at a limit has the better class.
    """
    known = (("AA", "1,500 gpm and more", _ROUND), ("A", "1,000 to 1,499 gpm", _SQUARE),
             ("B", "500 to 999 gpm", _DIAMOND), ("C", "under 500 gpm", _PEAK))  # fmt: skip
    looks = [
        _look(f"Class {name}", about, points, FLOW_COLORS[name]) for name, about, points in known
    ]
    looks.append(_look("Not tested", "", _BAR, _NONE_FILL, _NONE_EDGE, 0.75))
    codes = np.select(
        [flow_gpm >= 1500, flow_gpm >= 1000, flow_gpm >= 500, flow_gpm >= 0], [0, 1, 2, 3], 4
    )
    return Theme(
        name="flow", title="Flow class", note="At 20 psi, classes and colors of NFPA 291.",
        looks=tuple(looks), order=(4, 0, 1, 2, 3), codes=codes.astype(np.int64),
    )  # fmt: skip


def season_theme(ids: pd.Series[Any], selection: pd.DataFrame) -> Theme:
    """
    What the season does, and the priority of what it leaves.

    Parameters
    ----------
    ids
        Of all hydrants.
    selection
        The `selection` table.
    """
    rows = selection.set_index(selection["hydrant_id"].astype("object"))
    chosen = rows["selected"].fillna(False).astype(bool)
    priority = rows["priority"].to_numpy(dtype=np.float64, na_value=np.nan)
    left = priority[~chosen.to_numpy() & np.isfinite(priority)]
    low, high = np.quantile(left, [1 / 3, 2 / 3]).tolist() if len(left) else (0.0, 0.0)
    classes = np.select(
        [chosen.to_numpy(), priority >= high, priority >= low, priority < low], [0, 1, 2, 3], 4
    )
    looks = (
        _look("In the season", "", _STAR, "#d9480f", "#5c1d03", 1.35),
        _look("Left, high priority", "the upper third of those left", _PEAK, _RANKED[2], "#2d0f40",
              1.15),
        _look("Left, middle", "", _DIAMOND, _RANKED[1], "#2d0f40", 1.0),
        _look("Left, low priority", "", _SQUARE, _RANKED[0], "#5b2a70", 0.85),
        _look("Left, not ranked", "", _SALTIRE, _GRAY_FILL, _GRAY_EDGE, 0.9),
        _look("No job", "", _ROUND, _QUIET_FILL, _QUIET_EDGE, 0.65),
    )  # fmt: skip
    places = pd.Index(rows.index).get_indexer(pd.Index(ids.astype("object")))
    codes = np.where(places < 0, 5, classes[places] if len(classes) else 5)
    return Theme(
        name="season", title="Season and priority",
        note="What the season does; of the rest, thirds by priority.", looks=looks,
        order=(5, 4, 3, 2, 1, 0), codes=codes.astype(np.int64),
    )  # fmt: skip


def themes_of(
    table: pd.DataFrame,
    *,
    today: dt.date | None = None,
    flow_gpm: NDArray[np.float64] | None = None,
    selection: pd.DataFrame | None = None,
) -> list[Theme]:
    """
    Every theme that the data allow, the verdict first.

    Parameters
    ----------
    table
        The `checked` table.
    today
        For the age of readings; no age is told without it.
    flow_gpm
        At 20 psi, missing where not tested. Shape (n,) [gpm]
    selection
        The `selection` table of a season.
    """
    themes = [verdict_theme(table["verdict"]), remedy_theme(table), probability_theme(table)]
    if today is not None:
        themes.append(age_theme(table, today))
    if selection is not None and len(selection):
        themes.append(season_theme(table["hydrant_id"], selection))
    if flow_gpm is not None and np.isfinite(flow_gpm).any():
        themes.append(flow_theme(flow_gpm))
    return themes
