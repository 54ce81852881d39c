"""
Area maps for print: a page an area, with the jobs of the season numbered as in the list beside it.

Letter, landscape. A mark tells its verdict by its shape, so that a page can be printed in black.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely
from matplotlib.collections import LineCollection
from matplotlib.patches import Rectangle
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke

from hydrantgis.deliver.arealist import (
    COLUMN,
    PAGE,
    SOFT,
    WHITE,
    Page,
    columns_of,
    lines_of,
    write_list,
)
from hydrantgis.deliver.labels import names_along, place_numbers, rectangles
from hydrantgis.deliver.looks import (
    BOUNDARY,
    DRAWING_ORDER,
    FAINT,
    INK,
    LOOKS,
    MapWords,
    counts,
    look_codes,
    missing_in_words,
    places_of,
    share_in_words,
)
from hydrantgis.deliver.sheetparts import (
    FONT,
    POINTS_PER_INCH,
    Box,
    extent,
    feet_in_unit,
    fitted,
    in_feet_or_metres,
    mark_outline,
    north_arrow,
    printable,
    scale_bar,
    text_width,
)
from hydrantgis.ground.results import CHECKED

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import geopandas as gpd
    import pyproj
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_MARGIN = 29.0
_MAP = (_MARGIN, 116.0, 490.0, 432.0)
_TOP = _MAP[1] + _MAP[3]
_FOOT = 88.0
_SCALES = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_LEAST_SCALE = 100.0
_NAME_SIZE, _NUMBER_SIZE = 5.8, 7.2
_JOB_MARK, _JOB_WIDTH = 8.0, 9.6
_MAIN = "#7d9bb0"
_VALVE = Outline([(-1, 0.6), (1, -0.6), (1, 0.6), (-1, -0.6), (-1, 0.6)], closed=True)
_PARTS_OF_MAP = np.array([[1, 1, 150, 38], [1, _MAP[3] - 62, 34, _MAP[3] - 1]], dtype=np.float64)
"""Where the scale bar and the north arrow stand."""


@dataclass(frozen=True, slots=True)
class AreaSheet:
    """
    The pages of one area.

    Attributes
    ----------
    area_id
        None for hydrants outside all areas.
    pages
        The map, then what its list has no room for.
    """

    area_id: str | None
    pages: list[Figure]


@dataclass(frozen=True, slots=True, kw_only=True)
class AreaWords:
    """
    What stands on every page beside the words of the map.

    Attributes
    ----------
    season
        What the list is of, for example the title of the season.
    sources
        What the layers come from, a text each.
    """

    season: str
    sources: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Ground:
    """All layers in the CRS that is drawn in."""

    crs: pyproj.CRS
    feet: float
    areas: gpd.GeoDataFrame | None
    streets: gpd.GeoDataFrame | None
    mains: gpd.GeoDataFrame | None
    valves: gpd.GeoDataFrame | None


def area_sheets(
    checked: gpd.GeoDataFrame,
    jobs: pd.DataFrame,
    *,
    words: MapWords,
    more: AreaWords,
    areas: gpd.GeoDataFrame | None = None,
    streets: gpd.GeoDataFrame | None = None,
    mains: gpd.GeoDataFrame | None = None,
    valves: gpd.GeoDataFrame | None = None,
) -> Iterator[AreaSheet]:
    """
    The pages of each area, in the order of the areas; those outside all areas last.

    Parameters
    ----------
    checked
        As the checked table, in any CRS; drawn in it where it is projected, else in the UTM zone
        of the hydrants.
    jobs
        The jobs, in the order of their numbers: `number` (missing for one that waits for another
        season), `hydrant_id`, `area_id`, `address`, `work` in words, `outlet_height_in`,
        `outlet_height_after_in`, `work_date`.
    words, more
        What is written on every page.
    areas, streets, mains, valves
        Tables of those names, for outlines, names and context.

    Raises
    ------
    CRSError
        A layer has no coordinate reference system.
    """
    crs = in_feet_or_metres(checked)
    table = CHECKED.conform(checked)
    points = checked.geometry.to_crs(crs)
    x, y = places_of(points)
    moved = [layer.to_crs(crs) if layer is not None else None
             for layer in (areas, streets, mains, valves)]  # fmt: skip
    ground = _Ground(crs, feet_in_unit(crs), *moved)
    spots = pd.DataFrame(
        {"x": x, "y": y, "code": look_codes(table["verdict"]), "verdict": table["verdict"],
         "hydrant_id": table["hydrant_id"], "area_id": table["area_id"]}
    )  # fmt: skip
    located = jobs["hydrant_id"].map(spots.set_index("hydrant_id")["x"].notna())
    listed = jobs.assign(located=located.fillna(False).astype("bool"))
    told = [] if areas is None else [*areas["area_id"]]
    known = dict.fromkeys([*told, *sorted(table["area_id"].dropna().unique())])
    outside = table["area_id"].isna().any() or jobs["area_id"].isna().any()
    for area_id in (*known, *([None] if outside or not known else [])):
        of_area = spots["area_id"].isna() if area_id is None else spots["area_id"] == area_id
        its = listed["area_id"].isna() if area_id is None else listed["area_id"] == area_id
        yield AreaSheet(area_id, _pages(area_id, spots[of_area], listed[its], ground, words, more))


def _pages(
    area_id: str | None,
    spots: pd.DataFrame,
    jobs: pd.DataFrame,
    ground: _Ground,
    words: MapWords,
    more: AreaWords,
) -> list[Figure]:
    """The map of one area with the first jobs, and pages for the others."""
    now = jobs[jobs["number"].notna()]
    waiting = len(jobs) - len(now)
    room = _TOP - _MAP[1] - 22  # below the list there is a line for what it leaves out
    plain = _TOP - _FOOT - 12
    first, *later = columns_of(lines_of(now), [room, plain])
    across = 3
    sheets = [later[k : k + across] for k in range(0, len(later), across)]
    title = _title(area_id, ground.areas)
    page = Page()
    _head(page, title, words, more, spots, len(now))
    _locator(page, area_id, ground.areas)
    ax = page.axes(*_MAP)
    per_inch = _draw(ax, area_id, spots, now, ground)
    _legend(page, spots, ground, per_inch)
    left = PAGE[0] - _MARGIN - COLUMN
    if len(now):
        y = write_list(page, first, left, _TOP)
    else:
        page.write(left, _TOP - 12, "No job in this area", 9, weight="bold")
        page.write(left, _TOP - 23, fitted(more.season, 7, COLUMN), 7, color=SOFT)
        y = _TOP - 26
    notes = []
    if later:
        notes.append(f"{len(now) - len(first):,} more on the next page")
    if waiting:
        jobs_wait = "1 kit job waits" if waiting == 1 else f"{waiting:,} kit jobs wait"
        notes.append(f"{jobs_wait} for another season")
    if notes:
        page.write(left, y - 9, "; ".join(notes), 6.4, color=SOFT, style="italic")
    pages = [page]
    for columns in sheets:
        following = Page()
        _head(following, f"{title}, continued", words, more, spots, len(now))
        for place, column in enumerate(columns):
            write_list(following, column, _MARGIN + place * (COLUMN + 19), _TOP)
        pages.append(following)
    for place, one in enumerate(pages):
        _foot(one, spots, words, more, ground.crs.name, f"page {place + 1} of {len(pages)}")
    return [one.figure for one in pages]


def _title(area_id: str | None, areas: gpd.GeoDataFrame | None) -> str:
    if area_id is None:
        return "Outside all areas"
    if areas is not None:
        names = areas.loc[areas["area_id"] == area_id, "area_title"].dropna()
        if len(names):
            return f"{names.iloc[0]} ({area_id})"
    return f"Area {area_id}"


def _head(
    page: Page, title: str, words: MapWords, more: AreaWords, spots: pd.DataFrame, jobs: int
) -> None:
    wide = PAGE[0] - 2 * _MARGIN - 90
    page.write(_MARGIN, 577, fitted(title, 16, wide, bold=True), 16, weight="bold")
    of = f"{jobs:,} {'job' if jobs == 1 else 'jobs'} at {len(spots):,} "
    line = f"{words.title}. {more.season}: {of}{'hydrant' if len(spots) == 1 else 'hydrants'}"
    page.write(_MARGIN, 561, fitted(line, 9, wide), 9, color=SOFT)


def _locator(page: Page, area_id: str | None, areas: gpd.GeoDataFrame | None) -> None:
    """Where the area lies among the others."""
    drawable = None if areas is None else areas[areas.geometry.notna() & ~areas.geometry.is_empty]
    if drawable is None or len(drawable) < 2:
        return
    ax = page.axes(PAGE[0] - _MARGIN - 80, 556, 80, 44)
    drawable.boundary.plot(ax=ax, color=BOUNDARY, linewidth=0.5)
    here = drawable[drawable["area_id"] == area_id] if area_id is not None else drawable[:0]
    if len(here):
        here.plot(ax=ax, color=BOUNDARY, linewidth=0)
    ax.set_aspect("equal", adjustable="datalim")
    ax.axis("off")


def _near(layer: gpd.GeoDataFrame | None, frame: Box) -> gpd.GeoDataFrame | None:
    """The rows of a layer that reach into the frame."""
    if layer is None or not len(layer):
        return None
    return layer.iloc[np.sort(layer.sindex.query(shapely.box(*frame)))]


def _round_scale(feet_per_inch: float) -> float:
    """
    The least round scale at which what needs so many feet an inch has room. [ft/in]

    Examples
    --------
    >>> _round_scale(411.0)
    500.0
    """
    power = 10.0 ** np.floor(np.log10(feet_per_inch))
    return float(min(step * power for step in _SCALES if step * power >= feet_per_inch * 0.999999))


def _frame_at_scale(box: Box, feet: float) -> tuple[Box, float]:
    """The frame of the map round a box, and its scale in feet an inch."""
    wide_in, tall_in = _MAP[2] / POINTS_PER_INCH, _MAP[3] / POINTS_PER_INCH
    needed = max((box[2] - box[0]) / wide_in, (box[3] - box[1]) / tall_in) * feet * 1.06
    scale = _round_scale(max(needed, _LEAST_SCALE))
    half_x, half_y = scale * wide_in / feet / 2, scale * tall_in / feet / 2
    x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    return (x - half_x, y - half_y, x + half_x, y + half_y), scale


def _draw(
    ax: Axes, area_id: str | None, spots: pd.DataFrame, jobs: pd.DataFrame, ground: _Ground
) -> float | None:
    """Draw the map; its scale in feet an inch, or None where nothing has a place."""
    ax.set(xticks=[], yticks=[], facecolor=WHITE)
    for edge in ax.spines.values():
        edge.set(color=INK, linewidth=1.0)
    outline = None
    if ground.areas is not None and area_id is not None:
        outline = ground.areas[ground.areas["area_id"] == area_id]
    placed = spots[spots["x"].notna()]
    bounds = [] if outline is None else [outline.total_bounds]
    if len(placed):
        bounds.append(
            np.array([placed["x"].min(), placed["y"].min(), placed["x"].max(), placed["y"].max()])
        )
    known = np.array([b for b in bounds if np.isfinite(b).all()]).reshape(-1, 4)
    box = extent([np.hstack([known[:, :2].min(axis=0), known[:, 2:].max(axis=0)])] if len(known)
                 else [])  # fmt: skip
    if not len(placed):
        why = "No hydrant stands in this area" if not len(spots) else "No hydrant has a location"
        ax.text(
            0.5, 0.5, why, ha="center", va="center", fontsize=11, family=FONT, color=INK,
            transform=ax.transAxes, zorder=30,
            bbox={"facecolor": WHITE, "edgecolor": INK, "pad": 7, "linewidth": 0.8},
        )  # fmt: skip
    if box is None:
        return None
    frame, per_inch = _frame_at_scale(box, ground.feet)
    ax.set_xlim(frame[0], frame[2])
    ax.set_ylim(frame[1], frame[3])
    ax.set_aspect("equal", adjustable="box")
    _context(ax, frame, outline, ground)
    _marks(ax, placed, jobs)
    blocked = _numbers(ax, frame, placed, jobs)
    _street_names(ax, frame, ground.streets, blocked)
    # what draws a layer names and moves the axes
    ax.set(xlim=(frame[0], frame[2]), ylim=(frame[1], frame[3]), xlabel="", ylabel="")
    for x0, y0, x1, y1 in _PARTS_OF_MAP / np.array([*_MAP[2:], *_MAP[2:]]):
        ax.add_patch(
            Rectangle(
                (x0, y0), x1 - x0, y1 - y0, facecolor=WHITE, edgecolor="none", alpha=0.85,
                transform=ax.transAxes, zorder=19,
            )
        )  # fmt: skip
    scale_bar(ax, frame, ground.feet)
    north_arrow(ax)
    return per_inch


def _context(ax: Axes, frame: Box, outline: gpd.GeoDataFrame | None, ground: _Ground) -> None:
    streets, mains = _near(ground.streets, frame), _near(ground.mains, frame)
    if streets is not None and len(streets):
        streets.plot(ax=ax, color="#d2d0c6", linewidth=2.0, zorder=1, aspect=None)
    if mains is not None and len(mains):
        mains.plot(ax=ax, color=_MAIN, linewidth=0.6, linestyle=(0, (4, 1.6)), zorder=2,
                   aspect=None)  # fmt: skip
    if ground.areas is not None:
        others = _near(ground.areas, frame)
        if others is not None and len(others):
            others.boundary.plot(ax=ax, color=FAINT, linewidth=0.7, zorder=3, aspect=None)
    if outline is not None and outline.geometry.notna().any():
        outline.boundary.plot(
            ax=ax, color=BOUNDARY, linewidth=1.5, linestyle=(0, (9, 2.5, 2, 2.5)), zorder=3,
            aspect=None,
        )  # fmt: skip
    valves = _near(ground.valves, frame)
    if valves is not None and len(valves):
        vx, vy = places_of(valves.geometry)
        ax.scatter(vx, vy, s=9, marker=_VALVE, facecolor="none", edgecolor=_MAIN,
                   linewidth=0.5, zorder=4)  # fmt: skip


def _marks(ax: Axes, placed: pd.DataFrame, jobs: pd.DataFrame) -> None:
    """Small marks for all, larger ones for jobs."""
    is_job = placed["hydrant_id"].isin(jobs["hydrant_id"]).to_numpy()
    x, y, code = (placed[name].to_numpy() for name in ("x", "y", "code"))
    small = _small(placed)
    for chosen, width, height in ((~is_job, small, 8), (is_job, _JOB_MARK, 10)):
        for place in DRAWING_ORDER:
            look, these = LOOKS[place], chosen & (code == place)
            ax.scatter(
                x[these], y[these], s=(width * look.size) ** 2, marker=mark_outline(look),
                facecolor=look.fill, edgecolor=look.edge, linewidth=width / 12, zorder=height,
            )  # fmt: skip


def _small(placed: pd.DataFrame) -> float:
    """Width of the mark of a hydrant without a job. [points]"""
    return float(np.clip(60 / np.sqrt(max(1, len(placed))), 2.6, 5.5))


def _on_page(frame: Box, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Points of the map's own corner from its coordinates."""
    return (
        (x - frame[0]) / (frame[2] - frame[0]) * _MAP[2],
        (y - frame[1]) / (frame[3] - frame[1]) * _MAP[3],
    )


def _numbers(ax: Axes, frame: Box, placed: pd.DataFrame, jobs: pd.DataFrame) -> Floats:
    """Write the numbers beside their marks; what names of streets have to keep off."""
    at = placed.set_index("hydrant_id")
    shown = jobs[jobs["located"] & jobs["hydrant_id"].isin(at.index)]
    where = at.loc[shown["hydrant_id"], ["x", "y"]].to_numpy(dtype=np.float64)
    x, y = _on_page(frame, where[:, 0], where[:, 1])
    texts = [f"{number}" for number in shown["number"]]
    width = np.array([text_width(text, _NUMBER_SIZE, bold=True) + 1.5 for text in texts])
    tall = _NUMBER_SIZE * 0.86
    whole = (1.0, 1.0, _MAP[2] - 1.0, _MAP[3] - 1.0)
    every_x, every_y = _on_page(
        frame, placed["x"].to_numpy(dtype=np.float64), placed["y"].to_numpy(dtype=np.float64)
    )
    marks = rectangles(every_x, every_y, _small(placed), _small(placed))
    kept_off = np.vstack([marks, _PARTS_OF_MAP])
    label_x, label_y = place_numbers(
        x, y, width, height=tall, mark=_JOB_WIDTH, page=whole, blocked=kept_off
    )
    away = np.hypot(label_x - x, label_y - y) > _JOB_WIDTH / 2 + width / 2 + 4
    unit = (frame[2] - frame[0]) / _MAP[2]
    to_x, to_y = frame[0] + label_x * unit, frame[1] + label_y * unit
    leaders = np.stack([where, np.column_stack([to_x, to_y])], axis=1)[away]
    ax.add_collection(LineCollection(list(leaders), colors=INK, linewidths=0.4, zorder=9))
    halo = [withStroke(linewidth=1.8, foreground=WHITE)]
    for text, tx, ty in zip(texts, to_x, to_y, strict=True):
        ax.text(
            tx, ty, text, ha="center", va="center_baseline", fontsize=_NUMBER_SIZE, weight="bold",
            family=FONT, color=INK, parse_math=False, path_effects=halo, zorder=12,
        )  # fmt: skip
    return np.vstack(
        [rectangles(x, y, _JOB_WIDTH, _JOB_WIDTH), rectangles(label_x, label_y, width, tall),
         kept_off]
    )  # fmt: skip


def _street_names(ax: Axes, frame: Box, streets: gpd.GeoDataFrame | None, blocked: Floats) -> None:
    near = _near(streets, frame)
    if near is None or not len(near):
        return
    unit = (frame[2] - frame[0]) / _MAP[2]
    shapes = shapely.transform(
        np.array(near.geometry.array, dtype=object), lambda at: (at - frame[:2]) / unit
    )
    titles = near["street_title"].map(printable, na_action="ignore").to_numpy(dtype=object)
    titles[titles == ""] = None
    widths = {title: text_width(title, _NAME_SIZE) for title in set(titles[pd.notna(titles)])}
    whole = (0.0, 0.0, _MAP[2], _MAP[3])
    halo = [withStroke(linewidth=1.6, foreground=WHITE)]
    for name in names_along(shapes, titles, widths, height=6.0, page=whole, blocked=blocked):
        ax.text(
            frame[0] + name.x * unit, frame[1] + name.y * unit, name.text, rotation=name.degrees,
            rotation_mode="anchor", ha="center", va="center_baseline", fontsize=_NAME_SIZE,
            family=FONT, color=SOFT, parse_math=False, path_effects=halo, zorder=5,
        )  # fmt: skip


def _legend(page: Page, spots: pd.DataFrame, ground: _Ground, per_inch: float | None) -> None:
    """Marks with their counts, then what else is drawn, in two rows below the map."""
    x, y, size = _MARGIN, 101.0, 7.2
    count = counts(spots["verdict"])
    for look in LOOKS:
        page.ax.scatter(
            [x + 4], [y + 2.5], s=(6.5 * look.size) ** 2, marker=mark_outline(look),
            facecolor=look.fill, edgecolor=look.edge, linewidth=0.6,
        )  # fmt: skip
        text = f"{look.label} {count[look.verdict]:,}"
        page.write(x + 11, y, text, size)
        x += 11 + text_width(text, size) + 13
    x, y = _MARGIN, 88.0
    low = LOOKS[1]
    page.ax.scatter(
        [x + 4], [y + 2.5], s=(_JOB_MARK * low.size) ** 2, marker=mark_outline(low),
        facecolor=low.fill, edgecolor=low.edge, linewidth=0.6,
    )  # fmt: skip
    page.write(x + 11, y, "7", _NUMBER_SIZE, weight="bold")
    page.write(x + 18, y, "job, by its number", size)
    x += 18 + text_width("job, by its number", size) + 13
    lines = (
        ("area", ground.areas, BOUNDARY, 1.5, (0, (5, 1.5, 1, 1.5))),
        ("street", ground.streets, "#d2d0c6", 2.0, "-"),
        ("main", ground.mains, _MAIN, 0.8, (0, (4, 1.6))),
    )
    for text, layer, color, width, style in lines:
        if layer is not None:
            page.ax.plot(
                [x, x + 16], [y + 2.5, y + 2.5], color=color, linewidth=width, linestyle=style
            )
            page.write(x + 20, y, text, size)
            x += 20 + text_width(text, size) + 13
    if ground.valves is not None:
        page.ax.scatter([x + 4], [y + 2.5], s=14, marker=_VALVE, facecolor="none",
                        edgecolor=_MAIN, linewidth=0.6)  # fmt: skip
        page.write(x + 11, y, "valve", size)
    if per_inch is not None:
        page.write(
            _MAP[0] + _MAP[2], y, f"1 in = {per_inch:,.10g} ft, printed full size", size, ha="right"
        )


def _foot(
    page: Page, spots: pd.DataFrame, words: MapWords, more: AreaWords, crs: str, number: str
) -> None:
    """Share inside, rule, source, date and cautions."""
    missing = missing_in_words(counts(spots.loc[spots["x"].isna(), "verdict"]))
    share = share_in_words(counts(spots["verdict"]))
    sources = "; ".join(more.sources)
    told = [
        f"{share}.{f' {missing}.' if missing else ''} Rule: {words.rule}",
        f"Source of the rule: {words.citation}. Newest reading: {words.data_date}. "
        f"Layers: {sources or 'as given'}. Drawn in {crs}, grid north up.",
    ]
    room, size = int((PAGE[0] - 2 * _MARGIN) / 3.3), 6.4
    written = [line for text in told for line in textwrap.wrap(printable(text), room)[:2]]
    caution = textwrap.wrap(printable("Cautions: " + " ".join(words.cautions)), room)
    y = 76.0
    page.rule(_MARGIN, y + 4, PAGE[0] - 2 * _MARGIN)
    for line in (*written, *caution):
        y -= 8.2
        page.write(_MARGIN, y, line, size)
    page.write(PAGE[0] - _MARGIN, 14, number, size, ha="right")


def all_pages(sheets: Sequence[AreaSheet]) -> list[Figure]:
    """The pages of all areas, one after another."""
    return [page for sheet in sheets for page in sheet.pages]
