"""The static picture of a district: the same marks as the web map, for print and for documents."""

from __future__ import annotations

import io
import textwrap
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import font_manager
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.path import Path as Outline

from hydrantgis.deliver.looks import (
    BOUNDARY,
    DRAWING_ORDER,
    FAINT,
    INK,
    LOOKS,
    PAPER,
    Look,
    MapWords,
    counts,
    look_codes,
    missing_in_words,
    places_of,
    share_in_words,
)
from hydrantgis.ground.errors import CRSError, WordsError
from hydrantgis.ground.results import CHECKED
from hydrantgis.ground.units import METRES, LengthUnit

if TYPE_CHECKING:
    import geopandas as gpd
    import pyproj
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

_FONT = "DejaVu Sans"
_SHEET_IN = (11.0, 8.5)
_MARGIN = 0.05
_POINTS_PER_INCH = 72.0

Box = tuple[float, float, float, float]


@cache
def _glyphs() -> frozenset[int]:
    return frozenset(font_manager.get_font(font_manager.findfont(_FONT)).get_charmap())


def _printable(text: str) -> str:
    """Return the text on one line; a sign that the font lacks becomes an empty box."""
    return "".join(c if ord(c) in _glyphs() else "\u25a1" for c in " ".join(text.split()))


def _in_feet_or_metres(frame: gpd.GeoDataFrame) -> pyproj.CRS:
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


def _extent(all_bounds: list[NDArray[np.float64]]) -> Box | None:
    """Return the first bounds that are any; a layer without geometry has none."""
    for bounds in all_bounds:
        if np.isfinite(bounds).all():
            x0, y0, x1, y1 = bounds.tolist()
            return x0, y0, x1, y1
    return None


def _frame(box: Box, ratio: float, least: float) -> Box:
    """Return the box with a margin, widened to the shape (width to height) of its place."""
    x0, y0, x1, y1 = box
    width = max(x1 - x0, least) * (1 + 2 * _MARGIN)
    height = max(y1 - y0, least) * (1 + 2 * _MARGIN)
    width, height = max(width, height * ratio), max(height, width / ratio)
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    return cx - width / 2, cy - height / 2, cx + width / 2, cy + height / 2


def _round_down(value: float) -> float:
    """
    Return the greatest 1, 2 or 5 times a power of ten that is not above a value.

    Examples
    --------
    >>> _round_down(1900.0)
    1000.0
    """
    power = 10.0 ** np.floor(np.log10(value))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= value))


def _scale_bar(ax: Axes, box: Box, feet_in_unit: float) -> None:
    """Draw four blocks in turn dark and light, with the feet below their ends."""
    x0, y0, x1, y1 = box
    width, height = x1 - x0, y1 - y0
    length_ft = _round_down(width * feet_in_unit * 0.25)
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
            ha="center", va="top", fontsize=8, family=_FONT, color=INK, zorder=20,
        )  # fmt: skip


def _north_arrow(ax: Axes) -> None:
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
        x, top + 0.008, "N", ha="center", va="bottom", fontsize=10, weight="bold", family=_FONT,
        color=INK, transform=ax.transAxes, zorder=20,
    )  # fmt: skip


def _outline(look: Look) -> Outline:
    return Outline([*look.points, look.points[0]], closed=True)


def _draw_areas(ax: Axes, areas: gpd.GeoDataFrame) -> None:
    drawable = areas[areas.geometry.notna()]
    outlines = drawable.geometry
    outlines.boundary.plot(
        ax=ax, color=BOUNDARY, linewidth=1.0, linestyle=(0, (10, 3, 2, 3)), zorder=3
    )
    names = drawable["area_title"].where(drawable["area_title"].notna(), drawable["area_id"])
    inner = outlines.representative_point()
    for x, y, name in zip(inner.x, inner.y, names.astype("str"), strict=True):
        if np.isfinite([x, y]).all():
            # Below the marks, so that a name never hides a hydrant.
            ax.text(
                x, y, _printable(name), parse_math=False, ha="center", va="center", fontsize=9,
                weight="bold", family=_FONT, color=BOUNDARY, zorder=4, clip_on=True,
            )  # fmt: skip


def _legend(ax: Axes, count: dict[str, int], missing: int, *, beside: bool) -> None:
    entries = [
        Line2D(
            [], [], linestyle="none", marker=_outline(look), markersize=9 * look.size,
            markerfacecolor=look.fill, markeredgecolor=look.edge, markeredgewidth=0.8,
            label=f"{look.label}  {count[look.value]:,}",
        )
        for look in LOOKS
    ]  # fmt: skip
    if missing:
        label = f"of these, no location  {missing:,}"
        entries.append(Line2D([], [], linestyle="none", label=label))
    size = 9.5 if beside else 7.5
    place: dict[str, Any] = {"loc": "upper right", "markerscale": 0.75, "borderpad": 0.6}
    if beside:
        place = {"loc": "upper left", "bbox_to_anchor": (1.0, 1.005)}
    ax.legend(
        handles=entries, title="Hydrants by verdict", alignment="left", frameon=not beside,
        facecolor=PAPER, edgecolor=INK, fancybox=False, framealpha=1.0, labelcolor=INK,
        labelspacing=0.9 if beside else 0.5, handletextpad=0.8,
        prop={"family": _FONT, "size": size}, title_fontproperties={"family": _FONT, "size": size},
        **place,
    ).set_zorder(30)  # fmt: skip


class _Sheet(Figure):
    """A figure that a notebook shows without being set up for it, as it does a table."""

    def _repr_png_(self) -> bytes:
        target = io.BytesIO()
        self.savefig(target, format="png")
        return target.getvalue()


def _new_axes() -> Axes:
    figure = _Sheet(figsize=_SHEET_IN, facecolor=PAPER)
    return figure.add_axes((0.04, 0.135, 0.75, 0.79))


def picture(
    checked: gpd.GeoDataFrame,
    *,
    words: MapWords,
    areas: gpd.GeoDataFrame | None = None,
    lines: gpd.GeoDataFrame | None = None,
    ax: Axes | None = None,
) -> Figure:
    """
    A picture of all hydrants by verdict, with counts, scale in feet, north, rule and date.

    Parameters
    ----------
    checked
        As the checked table, in any CRS; drawn in it where it is projected, else in the UTM zone
        of the hydrants. Hydrants without a location are counted, not drawn.
    words
        What is written round the map.
    areas
        Outlines and names.
    lines
        Mains or streets, drawn faintly.
    ax
        Where to draw; a letter sheet of its own where none is given.

    Returns
    -------
    figure
        A notebook shows it; `savefig` writes it.

    Raises
    ------
    CRSError
        A layer has no coordinate reference system.
    """
    own_sheet = ax is None
    if ax is None:
        ax = _new_axes()
    crs = _in_feet_or_metres(checked)
    table = CHECKED.conform(checked)
    points = checked.geometry.to_crs(crs)
    x, y = places_of(points)
    on_map = ~np.isnan(x)
    codes = look_codes(table["verdict"])
    count = counts(table["verdict"])

    ground = areas.to_crs(crs) if areas is not None else None
    context = lines.to_crs(crs) if lines is not None else None
    layers = [checked[on_map].to_crs(crs), ground, context]
    box = _extent([layer.total_bounds for layer in layers if layer is not None])
    ax.set_facecolor(PAPER)
    for edge in ax.spines.values():
        edge.set(color=INK, linewidth=1.2)
    if box is not None:
        metres = crs.axis_info[0].unit_conversion_factor
        feet_in_unit = metres / float(METRES[LengthUnit.FT])
        frame = _frame(box, ax.bbox.width / ax.bbox.height, 500 / feet_in_unit)
        if context is not None:
            strokes = context[context.geometry.notna()]
            strokes.plot(ax=ax, color=FAINT, linewidth=0.6, zorder=2)
        if ground is not None:
            _draw_areas(ax, ground)
        sheet_in2 = ax.bbox.width * ax.bbox.height / ax.figure.dpi**2
        apart = np.sqrt(sheet_in2 / max(1, int(on_map.sum()))) * _POINTS_PER_INCH
        width = float(np.clip(apart / 2.2, 2.0, 9.5))
        for place in DRAWING_ORDER:
            look, chosen = LOOKS[place], on_map & (codes == place)
            ax.scatter(
                x[chosen], y[chosen], s=(width * look.size) ** 2, marker=_outline(look),
                facecolor=look.fill, edgecolor=look.edge, linewidth=width / 13, zorder=10,
            )  # fmt: skip
        ax.set_xlim(frame[0], frame[2])
        ax.set_ylim(frame[1], frame[3])
        ax.set_aspect("equal", adjustable="box")
        _scale_bar(ax, frame, feet_in_unit)
        _north_arrow(ax)
    ax.set(xticks=[], yticks=[], xlabel="", ylabel="")
    if not on_map.any():
        ax.text(
            0.5, 0.5, "No hydrant has a location" if len(table) else "No hydrants", ha="center",
            va="center", fontsize=12, family=_FONT, color=INK, transform=ax.transAxes,
            bbox={"facecolor": PAPER, "edgecolor": INK, "pad": 8}, zorder=20,
        )  # fmt: skip
    _legend(ax, count, int((~on_map).sum()), beside=own_sheet)
    ax.set_title(
        _printable(words.title), loc="left", fontsize=15, weight="bold", family=_FONT, color=INK,
        parse_math=False,
    )  # fmt: skip
    missing = missing_in_words(counts(table.loc[~on_map, "verdict"]))
    footer = [
        f"{share_in_words(count)}.{f' {missing}.' if missing else ''}",
        f"Rule: {words.rule}",
        f"Source: {words.citation}    Newest reading: {words.data_date}",
    ]
    # A letter of this size is a good 5 points wide; what is written stays under the map.
    room = int(ax.bbox.width / ax.figure.dpi * _POINTS_PER_INCH / 5.2)
    written = [line for text in footer for line in textwrap.wrap(_printable(text), max(room, 20))]
    ax.annotate(
        "\n".join(written), (0, 0), (0, -8), xycoords="axes fraction",
        textcoords="offset points", ha="left", va="top", fontsize=9, linespacing=1.5,
        family=_FONT, color=INK, parse_math=False, annotation_clip=False,
    )  # fmt: skip
    figure = ax.get_figure(root=True)
    if figure is None:
        raise WordsError("the axes belong to no figure", do="make them with `Figure.subplots`")
    return figure
