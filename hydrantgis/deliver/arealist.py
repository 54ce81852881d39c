"""
The list of jobs beside a map of an area, and the plain page on which maps and lists stand.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import pandas as pd
from matplotlib.figure import Figure

from hydrantgis.deliver.charts import FONT, printable
from hydrantgis.deliver.looks import FAINT, INK
from hydrantgis.deliver.sheetparts import POINTS_PER_INCH, fitted, text_width

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

PAGE = (792.0, 612.0)
"""Letter, landscape. [points]"""

COLUMN = 232.0
"""How wide a list is. [points]"""

WHITE = "#ffffff"
"""Of the page: a tint would be printed as dots."""

SOFT = "#55606b"
"""Ink of what stands second; dark enough to be read in print."""

_SIZE, _LEADING, _GAP, _HEAD = 6.9, 8.5, 2.6, 13.0
_SMALL = 6.4
_LEFT, _HEIGHTS, _ID_ROOM = 22.0, 182.0, 104.0
_NONE = "\u2013"


class Page:
    """
    A letter sheet on which texts stand as they are, at points from its lower left corner.

    Attributes
    ----------
    figure
        What is saved.
    """

    def __init__(self) -> None:
        self.figure = Figure(
            figsize=(PAGE[0] / POINTS_PER_INCH, PAGE[1] / POINTS_PER_INCH), facecolor=WHITE
        )
        self.ax: Axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0), zorder=5)
        self.ax.set(xlim=(0.0, PAGE[0]), ylim=(0.0, PAGE[1]))
        self.ax.axis("off")

    def axes(self, x: float, y: float, width: float, height: float) -> Axes:
        """New axes at a place of the page. [points]"""
        return self.figure.add_axes((x / PAGE[0], y / PAGE[1], width / PAGE[0], height / PAGE[1]))

    def write(self, x: float, y: float, text: str, size: float, **more: Any) -> None:  # noqa: ANN401 - handed on
        """A text on its base line; signs that the font lacks become boxes."""
        look = {"color": INK, "va": "baseline", **more}
        self.ax.text(x, y, printable(text), fontsize=size, family=FONT, parse_math=False, **look)

    def rule(self, x: float, y: float, width: float, *, heavy: bool = False) -> None:
        """A line across."""
        self.ax.plot(
            [x, x + width], [y, y], color=INK if heavy else FAINT, linewidth=0.9 if heavy else 0.3
        )


class Line(NamedTuple):
    """One job as the list writes it."""

    number: str
    hydrant: str
    heights: str
    day: str
    address: str
    work: str

    @property
    def is_long(self) -> bool:
        """Whether the id needs a line of its own."""
        return text_width(self.hydrant, _SIZE, bold=True) > _ID_ROOM

    @property
    def height(self) -> float:
        """What it takes of a column. [points]"""
        return (3 if self.is_long else 2) * _LEADING + _GAP


def lines_of(jobs: pd.DataFrame) -> list[Line]:
    """
    The jobs in words.

    Parameters
    ----------
    jobs
        `number`, `hydrant_id`, `address`, `work`, `outlet_height_in`, `outlet_height_after_in`,
        `work_date`, `located`.
    """
    now, after = (
        _or_none(jobs[name].round(2).map("{:g}".format, na_action="ignore"))
        for name in ("outlet_height_in", "outlet_height_after_in")
    )
    address = _or_none(jobs["address"], "no address")
    columns = (
        jobs["number"].astype("str"), jobs["hydrant_id"].map(printable), now + " → " + after,
        _or_none(pd.to_datetime(jobs["work_date"]).dt.strftime("%Y-%m-%d")),
        address.where(jobs["located"], "not on the map; " + address), jobs["work"],
    )  # fmt: skip
    return [Line(*texts) for texts in zip(*columns, strict=True)]


def _or_none(texts: pd.Series, word: str = _NONE) -> pd.Series:
    # a column of which nothing is known has no texts, and adds to none
    return texts.astype("object").where(texts.notna(), word)


def columns_of(lines: Sequence[Line], heights: Sequence[float]) -> list[Sequence[Line]]:
    """
    Cut the list into columns of the heights given, the last of which stands for all that follow.

    Parameters
    ----------
    lines
        In the order of their numbers.
    heights
        Of the columns. [points]
    """
    cuts, used, column = [0], _HEAD, 0
    for place, line in enumerate(lines):
        if used + line.height > heights[min(column, len(heights) - 1)] and place > cuts[-1]:
            cuts.append(place)
            used, column = _HEAD, column + 1
        used += line.height
    cuts.append(len(lines))
    return [lines[a:b] for a, b in pairwise(cuts)]


def write_list(page: Page, lines: Sequence[Line], x: float, top: float) -> float:
    """
    Write a column of the list: number, hydrant, heights and day, below them address and work.

    Parameters
    ----------
    page
        Where.
    lines
        From `columns_of`.
    x, top
        Upper left corner. [points]

    Returns
    -------
    y
        Below the last row. [points]
    """
    right = x + COLUMN
    y = top - 7.5
    page.write(x + 16, y, "No.", 6.2, ha="right", color=SOFT)
    page.write(x + _LEFT, y, "Hydrant", 6.2, color=SOFT)
    page.write(x + _HEIGHTS, y, "Outlet, in: now → after", 6.2, ha="right", color=SOFT)
    page.write(right, y, "Day", 6.2, ha="right", color=SOFT)
    y = top - _HEAD
    page.rule(x, y + 2.2, COLUMN, heavy=True)
    for line in lines:
        y -= _LEADING
        page.write(x + 16, y, line.number, _SIZE, ha="right", weight="bold")
        name = fitted(line.hydrant, _SIZE, COLUMN - _LEFT, bold=True)
        page.write(x + _LEFT, y, name, _SIZE, weight="bold")
        if line.is_long:
            y -= _LEADING
        page.write(x + _HEIGHTS, y, line.heights, _SIZE, ha="right")
        page.write(right, y, line.day, _SIZE, ha="right")
        y -= _LEADING
        work = fitted(line.work, _SMALL, 116.0)
        room = COLUMN - _LEFT - text_width(work, _SMALL) - 6
        page.write(x + _LEFT, y, fitted(line.address, _SMALL, room), _SMALL, color=SOFT)
        page.write(right, y, work, _SMALL, ha="right")
        y -= _GAP
        page.rule(x, y + 0.4, COLUMN)
    return y
