"""The static picture of a district: the same marks as the web map, for print and for documents."""

from __future__ import annotations

import io
import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from hydrantgis.deliver.charts import FONT, printable
from hydrantgis.deliver.looks import (
    BOUNDARY,
    DRAWING_ORDER,
    FAINT,
    INK,
    LOOKS,
    PAPER,
    MapWords,
    counts,
    look_codes,
    missing_in_words,
    places_of,
    share_in_words,
)
from hydrantgis.deliver.sheetparts import (
    POINTS_PER_INCH,
    extent,
    feet_in_unit,
    framed,
    in_feet_or_metres,
    mark_outline,
    north_arrow,
    scale_bar,
)
from hydrantgis.ground.errors import WordsError
from hydrantgis.ground.results import CHECKED

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

_SHEET_IN = (11.0, 8.5)


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
                x, y, printable(name), parse_math=False, ha="center", va="center", fontsize=9,
                weight="bold", family=FONT, color=BOUNDARY, zorder=4, clip_on=True,
            )  # fmt: skip


def _legend(ax: Axes, count: dict[str, int], missing: int, *, beside: bool) -> None:
    entries = [
        Line2D(
            [], [], linestyle="none", marker=mark_outline(look), markersize=9 * look.size,
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
        prop={"family": FONT, "size": size}, title_fontproperties={"family": FONT, "size": size},
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
    crs = in_feet_or_metres(checked)
    table = CHECKED.conform(checked)
    points = checked.geometry.to_crs(crs)
    x, y = places_of(points)
    on_map = ~np.isnan(x)
    codes = look_codes(table["verdict"])
    count = counts(table["verdict"])

    ground = areas.to_crs(crs) if areas is not None else None
    context = lines.to_crs(crs) if lines is not None else None
    layers = [checked[on_map].to_crs(crs), ground, context]
    box = extent([layer.total_bounds for layer in layers if layer is not None])
    ax.set_facecolor(PAPER)
    for edge in ax.spines.values():
        edge.set(color=INK, linewidth=1.2)
    if box is not None:
        feet = feet_in_unit(crs)
        frame = framed(box, ax.bbox.width / ax.bbox.height, 500 / feet)
        if context is not None:
            strokes = context[context.geometry.notna()]
            strokes.plot(ax=ax, color=FAINT, linewidth=0.6, zorder=2)
        if ground is not None:
            _draw_areas(ax, ground)
        sheet_in2 = ax.bbox.width * ax.bbox.height / ax.figure.dpi**2
        apart = np.sqrt(sheet_in2 / max(1, int(on_map.sum()))) * POINTS_PER_INCH
        width = float(np.clip(apart / 2.2, 2.0, 9.5))
        for place in DRAWING_ORDER:
            look, chosen = LOOKS[place], on_map & (codes == place)
            ax.scatter(
                x[chosen], y[chosen], s=(width * look.size) ** 2, marker=mark_outline(look),
                facecolor=look.fill, edgecolor=look.edge, linewidth=width / 13, zorder=10,
            )  # fmt: skip
        ax.set_xlim(frame[0], frame[2])
        ax.set_ylim(frame[1], frame[3])
        ax.set_aspect("equal", adjustable="box")
        scale_bar(ax, frame, feet)
        north_arrow(ax)
    ax.set(xticks=[], yticks=[], xlabel="", ylabel="")
    if not on_map.any():
        ax.text(
            0.5, 0.5, "No hydrant has a location" if len(table) else "No hydrants", ha="center",
            va="center", fontsize=12, family=FONT, color=INK, transform=ax.transAxes,
            bbox={"facecolor": PAPER, "edgecolor": INK, "pad": 8}, zorder=20,
        )  # fmt: skip
    _legend(ax, count, int((~on_map).sum()), beside=own_sheet)
    ax.set_title(
        printable(words.title), loc="left", fontsize=15, weight="bold", family=FONT, color=INK,
        parse_math=False,
    )  # fmt: skip
    missing = missing_in_words(counts(table.loc[~on_map, "verdict"]))
    footer = [
        f"{share_in_words(count)}.{f' {missing}.' if missing else ''}",
        f"Rule: {words.rule}",
        f"Source: {words.citation}    Newest reading: {words.data_date}",
    ]
    # A letter of this size is a good 5 points wide; what is written stays under the map.
    room = int(ax.bbox.width / ax.figure.dpi * POINTS_PER_INCH / 5.2)
    written = [line for text in footer for line in textwrap.wrap(printable(text), max(room, 20))]
    ax.annotate(
        "\n".join(written), (0, 0), (0, -8), xycoords="axes fraction",
        textcoords="offset points", ha="left", va="top", fontsize=9, linespacing=1.5,
        family=FONT, color=INK, parse_math=False, annotation_clip=False,
    )  # fmt: skip
    figure = ax.get_figure(root=True)
    if figure is None:
        raise WordsError("the axes belong to no figure", do="make them with `Figure.subplots`")
    return figure
