"""
What drawn maps share: text as it is, a true frame, scale bar, north arrow and marks.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import font_manager
from matplotlib.patches import Polygon, Rectangle
from matplotlib.path import Path as Outline
from matplotlib.textpath import text_to_path

from hydrantgis.deliver.charts import FONT, printable
from hydrantgis.deliver.looks import INK, PAPER, Look
from hydrantgis.ground.errors import CRSError
from hydrantgis.ground.units import METRES, LengthUnit

if TYPE_CHECKING:
    from collections.abc import Iterable

    import geopandas as gpd
    import pyproj
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

POINTS_PER_INCH = 72.0
_MARGIN = 0.05
_HINTED = 0.97  # letters that are drawn in dots are up to so much wider

Box = tuple[float, float, float, float]
"""Least x, least y, greatest x, greatest y."""


@cache
def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """How wide a printable text is. [points]"""
    look = font_manager.FontProperties(family=FONT, size=size, weight="bold" if bold else "normal")
    return float(text_to_path.get_text_width_height_descent(text, look, ismath=False)[0])


def fitted(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """
    Return the printable text, cut with an ellipsis where it is wider than its room.

    Parameters
    ----------
    text
        As the source has it.
    size, room
        Of the letters, and the width there is. [points]

    Examples
    --------
    >>> fitted("12 Mill Road", 7, 200)
    '12 Mill Road'
    >>> fitted("12 Mill Road", 7, 30)
    '12 Mil…'
    """
    whole, room = printable(text), room * _HINTED
    if text_width(whole, size, bold=bold) <= room:
        return whole
    low, high = 0, len(whole)
    while low < high:
        middle = (low + high + 1) // 2
        if text_width(f"{whole[:middle].rstrip()}…", size, bold=bold) <= room:
            low = middle
        else:
            high = middle - 1
    return f"{whole[:low].rstrip()}…"


def in_feet_or_metres(frame: gpd.GeoDataFrame) -> pyproj.CRS:
    """Return the frame's own CRS where it keeps lengths, else the UTM zone of its hydrants."""
    crs = frame.crs
    if crs is None:
        raise CRSError(
            "the hydrants have no coordinate reference system",
            do="name it when the layer is imported; none is guessed",
        )
    stretched = "mercator" in str(crs.coordinate_operation).lower() and not crs.utm_zone
    if not (crs.is_geographic or stretched):
        return crs
    known = np.isfinite(frame.geometry.total_bounds).all()
    return frame.geometry.estimate_utm_crs() if known else crs


def feet_in_unit(crs: pyproj.CRS) -> float:
    """How many international feet one unit of a CRS is."""
    return float(crs.axis_info[0].unit_conversion_factor) / float(METRES[LengthUnit.FT])


def extent(all_bounds: Iterable[NDArray[np.float64]]) -> Box | None:
    """Return the first bounds that are any; a layer without geometry has none."""
    for bounds in all_bounds:
        if np.isfinite(bounds).all():
            x0, y0, x1, y1 = bounds.tolist()
            return x0, y0, x1, y1
    return None


def framed(box: Box, ratio: float, least: float) -> Box:
    """Return the box with a margin, widened to the shape (width to height) of its place."""
    x0, y0, x1, y1 = box
    width = max(x1 - x0, least) * (1 + 2 * _MARGIN)
    height = max(y1 - y0, least) * (1 + 2 * _MARGIN)
    width, height = max(width, height * ratio), max(height, width / ratio)
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    return cx - width / 2, cy - height / 2, cx + width / 2, cy + height / 2


def round_down(value: float) -> float:
    """
    Return the greatest 1, 2 or 5 times a power of ten that is not above a value.

    Examples
    --------
    >>> round_down(1900.0)
    1000.0
    """
    power = 10.0 ** np.floor(np.log10(value))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= value))


def scale_bar(ax: Axes, box: Box, feet_in_unit: float) -> None:
    """Draw four blocks in turn dark and light, with the feet below their ends."""
    x0, y0, x1, y1 = box
    width, height = x1 - x0, y1 - y0
    length_ft = round_down(width * feet_in_unit * 0.25)
    left, low, tall = x0 + 0.03 * width, y0 + 0.055 * height, 0.009 * height
    block = length_ft / feet_in_unit / 4
    for k in range(4):
        ax.add_patch(
            Rectangle(
                (left + k * block, low), block, tall, facecolor=INK if k % 2 == 0 else PAPER,
                edgecolor=INK, linewidth=0.8, zorder=20,
            )
        )  # fmt: skip
    # The middle figure needs room between the others.
    for part in (0.0, 0.5, 1.0) if ax.bbox.width > 5 * ax.figure.dpi else (0.0, 1.0):
        unit = " ft" if part == 1.0 else ""
        ax.text(
            left + part * 4 * block, low - 0.8 * tall, f"{part * length_ft:,.10g}{unit}",
            ha="center", va="top", fontsize=8, family=FONT, color=INK, zorder=20,
        )  # fmt: skip


def north_arrow(ax: Axes) -> None:
    """Draw an arrow to grid north in the upper left corner."""
    ratio = ax.bbox.width / ax.bbox.height
    x, top, half, tall = 0.035, 0.93, 0.010, 0.055 * ratio
    tip, foot = (x, top), (x, top - tall)
    for side, fill in ((-1, INK), (1, PAPER)):
        ax.add_patch(
            Polygon(
                [tip, foot, (x + side * half, top - tall)], closed=True, facecolor=fill,
                edgecolor=INK, linewidth=0.8, transform=ax.transAxes, zorder=20,
            )
        )  # fmt: skip
    ax.text(
        x, top + 0.008, "N", ha="center", va="bottom", fontsize=10, weight="bold", family=FONT,
        color=INK, transform=ax.transAxes, zorder=20,
    )  # fmt: skip


def mark_outline(look: Look) -> Outline:
    """The mark of a verdict as a marker."""
    return Outline([*look.points, look.points[0]], closed=True)
