"""
The map of an area at a round scale: streets, mains, outline, marks and the numbers of jobs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely
from matplotlib.collections import LineCollection
from matplotlib.patches import Rectangle
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke

from hydrantgis.deliver.arealist import SOFT, WHITE
from hydrantgis.deliver.charts import FONT, printable
from hydrantgis.deliver.labels import crowds, names_along, place_numbers, rectangles
from hydrantgis.deliver.looks import BOUNDARY, DRAWING_ORDER, FAINT, INK, LOOKS, places_of
from hydrantgis.deliver.sheetparts import (
    POINTS_PER_INCH,
    Box,
    mark_outline,
    north_arrow,
    scale_bar,
    text_width,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    import geopandas as gpd
    import pyproj
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

JOB_MARK, NUMBER_SIZE = 8.0, 7.2
MAIN, STREET = "#7d9bb0", "#d2d0c6"
VALVE = Outline([(-1, 0.6), (1, -0.6), (1, 0.6), (-1, -0.6), (-1, 0.6)], closed=True)
OUTLINE_STYLE, MAIN_STYLE = (0, (9, 2.5, 2, 2.5)), (0, (4, 1.6))

_SCALES = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_LEAST_SCALE = 100.0
_NAME_SIZE, _JOB_WIDTH = 5.8, 9.6
_AWAY, _LED = 2.5, 5.0  # how far a number stands off its mark: a crowd, and with a line [points]


@dataclass(frozen=True, slots=True)
class Ground:
    """All layers in the CRS that is drawn in, and how many feet its unit is."""

    crs: pyproj.CRS
    feet: float
    areas: gpd.GeoDataFrame | None
    streets: gpd.GeoDataFrame | None
    mains: gpd.GeoDataFrame | None
    valves: gpd.GeoDataFrame | None


@dataclass(frozen=True, slots=True)
class Frame:
    """
    What a map shows.

    Attributes
    ----------
    box
        In the units of the CRS.
    wide, tall
        On paper. [points]
    scale
        [ft/in]
    """

    box: Box
    wide: float
    tall: float
    scale: float

    @property
    def unit(self) -> float:
        """Units of the CRS in a point."""
        return (self.box[2] - self.box[0]) / self.wide

    def on_paper(self, at: Floats) -> Floats:
        """Points from the lower left corner, of places in rows."""
        return np.asarray((at - np.array(self.box[:2])) / self.unit, dtype=np.float64)

    def on_ground(self, at: Floats) -> Floats:
        """Places of points from the lower left corner."""
        return np.asarray(np.array(self.box[:2]) + at * self.unit, dtype=np.float64)

    @property
    def parts(self) -> Floats:
        """Rectangles in which scale bar and north arrow stand. [points]"""
        bar, arrow = 0.31 * self.wide, 0.07 * self.wide
        return np.array(
            [[1, 1, bar, 38], [1, self.tall - 62, arrow, self.tall - 1]], dtype=np.float64
        )


def round_scale(feet_per_inch: float) -> float:
    """
    The least round scale at which what needs so many feet an inch has room. [ft/in]

    Examples
    --------
    >>> round_scale(411.0)
    500.0
    """
    power = 10.0 ** np.floor(np.log10(feet_per_inch))
    return float(min(step * power for step in _SCALES if step * power >= feet_per_inch * 0.999999))


def frame_of(
    box: Box, feet: float, wide: float, tall: float, *, least: float = _LEAST_SCALE
) -> Frame:
    """
    The frame round a box, at a round scale.

    Parameters
    ----------
    box
        In the units of the CRS.
    feet
        In a unit of the CRS.
    wide, tall
        Of the map on paper. [points]
    least
        The least scale. [ft/in]
    """
    wide_in, tall_in = wide / POINTS_PER_INCH, tall / POINTS_PER_INCH
    needed = max((box[2] - box[0]) / wide_in, (box[3] - box[1]) / tall_in) * feet * 1.06
    scale = round_scale(max(needed, least, _LEAST_SCALE))
    half_x, half_y = scale * wide_in / feet / 2, scale * tall_in / feet / 2
    x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    return Frame((x - half_x, y - half_y, x + half_x, y + half_y), wide, tall, scale)


def draw_area(
    ax: Axes,
    frame: Frame,
    placed: pd.DataFrame,
    jobs: pd.DataFrame,
    ground: Ground,
    *,
    outline: gpd.GeoDataFrame | None,
    detail: Callable[[Box], tuple[str, Box] | None],
) -> None:
    """
    Draw the map.

    Parameters
    ----------
    ax
        Of the size of the frame.
    frame
        What it shows.
    placed
        The hydrants of the area that have a place: `x`, `y`, `code`, `hydrant_id`.
    jobs
        Those that have a number: `number`, `hydrant_id`.
    ground
        The layers.
    outline
        Of the area.
    detail
        Asked for a detail that shows a crowded place: its name and what it shows; None where there
        is to be none.
    """
    x0, y0, x1, y1 = frame.box
    ax.set(xlim=(x0, x1), ylim=(y0, y1))
    ax.set_aspect("equal", adjustable="box")
    here = placed[placed["x"].between(x0, x1) & placed["y"].between(y0, y1)]
    _context(ax, frame, outline, ground)
    _marks(ax, here, jobs)
    kept_off = _numbers(ax, frame, here, jobs, detail)
    _street_names(ax, frame, ground.streets, kept_off)
    # what draws a layer names and moves the axes
    ax.set(xlim=(x0, x1), ylim=(y0, y1), xlabel="", ylabel="")
    for a, b, c, d in frame.parts / np.array([frame.wide, frame.tall] * 2):
        ax.add_patch(
            Rectangle(
                (a, b), c - a, d - b, facecolor=WHITE, edgecolor="none", alpha=0.85,
                transform=ax.transAxes, zorder=6,
            )
        )  # fmt: skip
    scale_bar(ax, frame.box, ground.feet)
    north_arrow(ax)


def _near(layer: gpd.GeoDataFrame | None, frame: Frame) -> gpd.GeoDataFrame | None:
    """The rows of a layer that reach into the frame, or None where there are none."""
    if layer is None or not len(layer):
        return None
    found = layer.iloc[np.sort(layer.sindex.query(shapely.box(*frame.box)))]
    return found if len(found) else None


def _context(ax: Axes, frame: Frame, outline: gpd.GeoDataFrame | None, ground: Ground) -> None:
    if (streets := _near(ground.streets, frame)) is not None:
        streets.plot(ax=ax, color=STREET, linewidth=2.0, zorder=1, aspect=None)
    if (mains := _near(ground.mains, frame)) is not None:
        mains.plot(ax=ax, color=MAIN, linewidth=0.6, linestyle=MAIN_STYLE, zorder=2, aspect=None)
    if (others := _near(ground.areas, frame)) is not None:
        others.boundary.plot(ax=ax, color=FAINT, linewidth=0.7, zorder=3, aspect=None)
    if outline is not None and outline.geometry.notna().any():
        outline.boundary.plot(
            ax=ax, color=BOUNDARY, linewidth=1.5, linestyle=OUTLINE_STYLE, zorder=3, aspect=None
        )
    if (valves := _near(ground.valves, frame)) is not None:
        ax.scatter(
            *places_of(valves.geometry), s=9, marker=VALVE, facecolor="none", edgecolor=MAIN,
            linewidth=0.5, zorder=4,
        )  # fmt: skip


def _marks(ax: Axes, placed: pd.DataFrame, jobs: pd.DataFrame) -> None:
    """Small marks for all, larger ones for jobs."""
    is_job = placed["hydrant_id"].isin(jobs["hydrant_id"]).to_numpy()
    x, y, code = (placed[name].to_numpy() for name in ("x", "y", "code"))
    for chosen, width, height in ((~is_job, _small(placed), 8), (is_job, JOB_MARK, 10)):
        for place in DRAWING_ORDER:
            look, these = LOOKS[place], chosen & (code == place)
            ax.scatter(
                x[these], y[these], s=(width * look.size) ** 2, marker=mark_outline(look),
                facecolor=look.fill, edgecolor=look.edge, linewidth=width / 12, zorder=height,
            )  # fmt: skip


def _small(placed: pd.DataFrame) -> float:
    """Width of the mark of a hydrant without a job. [points]"""
    return float(np.clip(60 / np.sqrt(max(1, len(placed))), 2.6, 5.5))


def _numbers(
    ax: Axes,
    frame: Frame,
    placed: pd.DataFrame,
    jobs: pd.DataFrame,
    detail: Callable[[Box], tuple[str, Box] | None],
) -> Floats:
    """Write the numbers beside their marks; what names of streets have to keep off. [points]"""
    every = placed[["x", "y"]].to_numpy(dtype=np.float64)
    row = pd.Index(placed["hydrant_id"]).get_indexer(pd.Index(jobs["hydrant_id"]))
    at = frame.on_paper(every[row[row >= 0]])
    texts = np.array([f"{number}" for number in jobs["number"][row >= 0]], dtype=object)
    width = np.array([text_width(text, NUMBER_SIZE, bold=True) + 1.5 for text in texts])
    tall = NUMBER_SIZE * 0.86
    dot = frame.on_paper(every)
    dots = rectangles(dot[:, 0], dot[:, 1], _small(placed), _small(placed))
    kept_off = np.vstack([dots, frame.parts])
    whole = (1.0, 1.0, frame.wide - 1.0, frame.tall - 1.0)
    label = np.column_stack(
        place_numbers(
            at[:, 0], at[:, 1], width, height=tall, mark=_JOB_WIDTH, page=whole, blocked=kept_off
        )
    )  # fmt: skip
    gap = np.hypot(label[:, 0] - at[:, 0], label[:, 1] - at[:, 1]) - _JOB_WIDTH / 2 - width / 2
    away, shown = gap > _AWAY, np.ones(len(at), dtype=bool)
    details: dict[str, Box] = {}
    for crowd in crowds(at, away, page=(frame.wide, frame.tall)):
        x0, y0, x1, y1 = frame.on_ground(np.reshape(crowd.box, (2, 2))).ravel().tolist()
        told = detail((x0, y0, x1, y1))
        if told is not None:
            shown[crowd.rows] &= ~away[crowd.rows]
            details[told[0]] = told[1]
    for name, box in details.items():
        _box(ax, box, name)
    to = frame.on_ground(label)
    leaders = np.stack([frame.on_ground(at), to], axis=1)[(gap > _LED) & shown]
    ax.add_collection(LineCollection(list(leaders), colors=INK, linewidths=0.4, zorder=9))
    halo = [withStroke(linewidth=1.8, foreground=WHITE)]
    for text, (x, y) in zip(texts[shown], to[shown], strict=True):
        ax.text(
            x, y, text, ha="center", va="center_baseline", fontsize=NUMBER_SIZE, weight="bold",
            family=FONT, color=INK, parse_math=False, path_effects=halo, zorder=12,
        )  # fmt: skip
    marks = rectangles(at[:, 0], at[:, 1], _JOB_WIDTH, _JOB_WIDTH)
    written = rectangles(label[:, 0], label[:, 1], width, tall)[shown]
    return np.vstack([marks, written, kept_off])


def _box(ax: Axes, box: Box, name: str) -> None:
    """What a detail shows."""
    x0, y0, x1, y1 = box
    ax.add_patch(
        Rectangle(
            (x0, y0), x1 - x0, y1 - y0, facecolor="none", edgecolor=INK, linewidth=0.8, zorder=13
        )
    )
    inside = (max(x0, ax.get_xlim()[0]), min(y1, ax.get_ylim()[1]))
    ax.annotate(
        name, inside, (5, -5.5), textcoords="offset points", ha="center", va="center",
        fontsize=8, weight="bold", family=FONT, color=WHITE, parse_math=False, zorder=14,
        bbox={"facecolor": INK, "edgecolor": INK, "pad": 1.6, "linewidth": 0.5},
    )  # fmt: skip


def _street_names(
    ax: Axes, frame: Frame, streets: gpd.GeoDataFrame | None, kept_off: Floats
) -> None:
    near = _near(streets, frame)
    if near is None:
        return
    shapes = shapely.transform(np.array(near.geometry.array, dtype=object), frame.on_paper)
    titles = near["street_title"].map(printable, na_action="ignore").to_numpy(dtype=object)
    titles[titles == ""] = None
    widths = {title: text_width(title, _NAME_SIZE) for title in set(titles[pd.notna(titles)])}
    whole = (0.0, 0.0, frame.wide, frame.tall)
    halo = [withStroke(linewidth=1.6, foreground=WHITE)]
    for name in names_along(shapes, titles, widths, height=6.0, page=whole, blocked=kept_off):
        x, y = frame.on_ground(np.array([name.x, name.y]))
        ax.text(
            x, y, name.text, rotation=name.degrees, rotation_mode="anchor", ha="center",
            va="center_baseline", fontsize=_NAME_SIZE, family=FONT, color=SOFT, parse_math=False,
            path_effects=halo, zorder=5,
        )  # fmt: skip
