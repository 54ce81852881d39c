"""
Area maps for print: a page an area, with the jobs of the season numbered as in the list beside it.

Letter, landscape. A mark tells its verdict by its shape, so that a page can be printed in black.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from string import ascii_uppercase
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.deliver.areadraw import (
    JOB_MARK,
    MAIN,
    MAIN_STYLE,
    NUMBER_SIZE,
    STREET,
    VALVE,
    Frame,
    Ground,
    draw_area,
    frame_of,
)
from hydrantgis.deliver.arealist import (
    COLUMN,
    PAGE,
    SOFT,
    WHITE,
    Line,
    Page,
    columns_of,
    lines_of,
    write_list,
)
from hydrantgis.deliver.charts import FONT, printable
from hydrantgis.deliver.looks import (
    BOUNDARY,
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
    Box,
    extent,
    feet_in_unit,
    fitted,
    in_feet_or_metres,
    mark_outline,
    text_width,
)
from hydrantgis.ground.results import CHECKED

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import geopandas as gpd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MARGIN = 29.0
_MAP = (_MARGIN, 116.0, 490.0, 432.0)
_WIDE = PAGE[0] - 2 * _MARGIN
_TOP = _MAP[1] + _MAP[3]
_LIST_ROOM = _MAP[3] - 22  # below the list there is a line for what it leaves out
_FOOT, _ACROSS = 88.0, 3
_DETAIL, _CLOSEST = 0.65, 0.3  # scale of a detail beside that of the map it is of
_NO_HYDRANT = "No hydrant stands in this area"


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
    ground = Ground(crs, feet_in_unit(crs), *moved)
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
    ground: Ground,
    words: MapWords,
    more: AreaWords,
) -> list[Figure]:
    """The map of one area with the first jobs, then its details, then the rest of the list."""
    now = jobs[jobs["number"].notna()]
    first, *later = columns_of(lines_of(now), [_LIST_ROOM, _TOP - _FOOT - 12])
    title = _title(area_id, ground.areas)
    outline = None
    if ground.areas is not None and area_id is not None:
        outline = ground.areas[ground.areas["area_id"] == area_id]
    book = _Details()

    def new_page(name: str) -> Page:
        page = Page()
        _head(page, name, words, more, spots, len(now))
        _locator(page, area_id, ground.areas)
        return page

    def draw(page: Page, wide: float, frame: Frame | None) -> None:
        ax = _bare_axes(page, wide)
        if not spots["x"].notna().any():
            _say(ax, "No hydrant has a location" if len(spots) else _NO_HYDRANT)
        if frame is not None:
            draw_area(
                ax, frame, spots[spots["x"].notna()], now, ground, outline=outline,
                detail=lambda box: book.asked(box, frame, ground.feet),
            )  # fmt: skip
        _legend(page, spots, ground, None if frame is None else frame.scale, wide)

    pages = [new_page(title)]
    box = _bounds(spots, outline)
    frame = None if box is None else frame_of(box, ground.feet, _MAP[2], _MAP[3])
    draw(pages[0], _MAP[2], frame)
    for name, part in book:
        pages.append(new_page(f"{title}, detail {name}"))
        draw(pages[-1], _WIDE, part)
    _first_list(pages[0], first, now, len(jobs) - len(now), len(pages), more)
    for start in range(0, len(later), _ACROSS):
        pages.append(new_page(f"{title}, continued"))
        for place, column in enumerate(later[start : start + _ACROSS]):
            write_list(pages[-1], column, _MARGIN + place * (COLUMN + 19), _TOP)
    for place, page in enumerate(pages, 1):
        _foot(page, spots, words, more, ground.crs.name, f"page {place} of {len(pages)}")
    return [page.figure for page in pages]


class _Details:
    """Details that maps asked for, in the order in which they did; a detail may ask for more."""

    def __init__(self) -> None:
        self.frames: list[Frame] = []

    def asked(self, box: Box, within: Frame, feet: float) -> tuple[str, Box] | None:
        """One that shows the box larger than the map it is of, if need be a new one."""
        least = _DETAIL * within.scale
        for place, there in enumerate(self.frames):
            if there.scale <= least and _covers(there.box, box):
                return ascii_uppercase[place], there.box
        frame = frame_of(box, feet, _WIDE, _MAP[3], least=_CLOSEST * within.scale)
        if frame.scale > least or len(self.frames) == len(ascii_uppercase):
            return None
        self.frames.append(frame)
        return ascii_uppercase[len(self.frames) - 1], frame.box

    def __iter__(self) -> Iterator[tuple[str, Frame]]:
        # not `zip`: what is drawn in the meantime may ask for more
        place = 0
        while place < len(self.frames):
            yield ascii_uppercase[place], self.frames[place]
            place += 1


def _covers(whole: Box, part: Box) -> bool:
    return (
        whole[0] <= part[0] and whole[1] <= part[1]
        and whole[2] >= part[2] and whole[3] >= part[3]
    )  # fmt: skip


def _bare_axes(page: Page, wide: float) -> Axes:
    ax = page.axes(_MAP[0], _MAP[1], wide, _MAP[3])
    ax.set(xticks=[], yticks=[], facecolor=WHITE)
    for edge in ax.spines.values():
        edge.set(color=INK, linewidth=1.0)
    return ax


def _say(ax: Axes, why: str) -> None:
    """Say on the map why it shows no hydrant."""
    ax.text(
        0.5, 0.5, why, ha="center", va="center", fontsize=11, family=FONT, color=INK,
        transform=ax.transAxes, zorder=30,
        bbox={"facecolor": WHITE, "edgecolor": INK, "pad": 7, "linewidth": 0.8},
    )  # fmt: skip


def _bounds(spots: pd.DataFrame, outline: gpd.GeoDataFrame | None) -> Box | None:
    """Of outline and hydrants together; None where nothing has a place."""
    at = spots.loc[spots["x"].notna(), ["x", "y"]].to_numpy(dtype=np.float64)
    corners = [at]
    if outline is not None and np.isfinite(outline.total_bounds).all():
        corners.append(outline.total_bounds.reshape(2, 2))
    every = np.vstack(corners)
    return extent([np.hstack([every.min(axis=0), every.max(axis=0)])] if len(every) else [])


def _first_list(
    page: Page, lines: Sequence[Line], now: pd.DataFrame, waiting: int, pages: int, more: AreaWords
) -> None:
    """The list beside the map, and what it leaves out."""
    left = PAGE[0] - _MARGIN - COLUMN
    if len(now):
        y = write_list(page, lines, left, _TOP)
    else:
        page.write(left, _TOP - 12, "No job in this area", 9, weight="bold")
        page.write(left, _TOP - 23, fitted(more.season, 7, COLUMN), 7, color=SOFT)
        y = _TOP - 26
    notes = []
    if pages > 1:
        last = f" to {ascii_uppercase[pages - 2]}" if pages > 2 else ""
        notes.append(f"detail{'s' if last else ''} A{last} on the next page{'s' if last else ''}")
    if len(now) > len(lines):
        notes.append(f"{len(now) - len(lines):,} more on page {pages + 1}")
    if waiting:
        jobs_wait = "1 kit job waits" if waiting == 1 else f"{waiting:,} kit jobs wait"
        notes.append(f"{jobs_wait} for another season")
    if notes:
        page.write(left, y - 9, "; ".join(notes), 6.4, color=SOFT, style="italic")


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


def _legend(
    page: Page, spots: pd.DataFrame, ground: Ground, per_inch: float | None, wide: float
) -> None:
    """Marks with their counts, then what else is drawn, in two rows below the map."""
    x, y, size = _MARGIN, 101.0, 7.2
    count = counts(spots["verdict"])
    for look in LOOKS:
        page.ax.scatter(
            [x + 4], [y + 2.5], s=(6.5 * look.size) ** 2, marker=mark_outline(look),
            facecolor=look.fill, edgecolor=look.edge, linewidth=0.6,
        )  # fmt: skip
        text = f"{look.label} {count[look.value]:,}"
        page.write(x + 11, y, text, size)
        x += 11 + text_width(text, size) + 13
    x, y = _MARGIN, 88.0
    low = LOOKS[1]
    page.ax.scatter(
        [x + 4], [y + 2.5], s=(JOB_MARK * low.size) ** 2, marker=mark_outline(low),
        facecolor=low.fill, edgecolor=low.edge, linewidth=0.6,
    )  # fmt: skip
    page.write(x + 11, y, "7", NUMBER_SIZE, weight="bold")
    page.write(x + 18, y, "job, by its number", size)
    x += 18 + text_width("job, by its number", size) + 13
    lines = (
        ("area", ground.areas, BOUNDARY, 1.5, (0, (5, 1.5, 1, 1.5))),
        ("street", ground.streets, STREET, 2.0, "-"),
        ("main", ground.mains, MAIN, 0.8, MAIN_STYLE),
    )
    for text, layer, color, width, style in lines:
        if layer is not None:
            page.ax.plot(
                [x, x + 16], [y + 2.5, y + 2.5], color=color, linewidth=width, linestyle=style
            )
            page.write(x + 20, y, text, size)
            x += 20 + text_width(text, size) + 13
    if ground.valves is not None:
        page.ax.scatter([x + 4], [y + 2.5], s=14, marker=VALVE, facecolor="none",
                        edgecolor=MAIN, linewidth=0.6)  # fmt: skip
        page.write(x + 11, y, "valve", size)
    if per_inch is not None:
        page.write(
            _MAP[0] + wide, y, f"1 in = {per_inch:,.10g} ft, printed full size", size, ha="right"
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
