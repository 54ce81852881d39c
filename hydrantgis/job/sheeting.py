"""
Job sheets and notices of a season, or of the season list.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pyproj
from rapidfuzz import process

from hydrantgis.assess.alternatives import alternatives
from hydrantgis.assess.bury import bury_notes
from hydrantgis.deliver.mapcanvas import Backdrop
from hydrantgis.ground.errors import WordsError, some
from hydrantgis.ground.findings import CODES
from hydrantgis.ground.plane import xy
from hydrantgis.ground.seasons import CREW_DAYS, NOTICES
from hydrantgis.ground.text import fill
from hydrantgis.job.moment import quiet
from hydrantgis.register.geopackage import replacing
from hydrantgis.season.crewsheets import (
    OUT_REMEDIES,
    SHEET_REMEDIES,
    batches,
    facts_of,
    loads,
    sheet_rows,
    stand_ins,
)
from hydrantgis.season.isolation import isolation
from hydrantgis.season.notices import undated_notices
from hydrantgis.standards.load import cautions, fieldwork, load_kits

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Sequence

    import geopandas as gpd

    from hydrantgis.deliver.sheets import SheetBook
    from hydrantgis.job.checking import Checked
    from hydrantgis.job.seasoning import Planned
    from hydrantgis.season.lists import Season

_MARGINAL = (
    "The reading lies nearer to the limit than its uncertainty: measure again before the ground is "
    "opened, and call if it is inside. "
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """
    Which jobs get a sheet; all of the plan or list where nothing is said.

    Attributes
    ----------
    only
        These hydrants, whatever their job is.
    day, crew
        What is planned on that day, or for that crew.
    area
        What lies in that area.
    also
        Remedies of other lists too: `replace`, `lower`, `regrade`, `measure`.
    """

    only: tuple[str, ...] = ()
    day: dt.date | None = None
    area: str | None = None
    crew: str | None = None
    also: tuple[str, ...] = ()


ALL = Wanted()
MOST_SHEETS = 500
"""More are not set in one go: 300 of them take a gigabyte of memory while they are set, and up to
three where all are so full that they have to be measured first."""


def sheet_book(
    result: Checked, season: Season, planned: Planned | None = None, wanted: Wanted = ALL
) -> SheetBook:
    """
    What the sheets are made from.

    Parameters
    ----------
    result
        From `hydrantgis.job.check`.
    season
        From `hydrantgis.job.plan`.
    planned
        From `hydrantgis.job.plan_season`; without it every kit job gets a sheet, by area.
    wanted
        Which of them.

    Raises
    ------
    WordsError
        What is wanted is not there.
    """
    from hydrantgis.deliver.sheets import SheetBook

    rows = _wanted_rows(result, season, planned, wanted)
    hydrants = result.hydrants
    isolated, _ = isolation(rows, hydrants, result.valves)
    of_valve = isolated.drop(columns=["hydrant_id", "note"]).rename(
        columns={"size_in": "valve_size_in"}
    )
    basis = result.heights.basis["height_basis"].set_axis(hydrants["hydrant_id"])
    tried = hydrants["hydrant_id"].isin(rows["hydrant_id"][rows["remedy"] != "measure"]).to_numpy()
    verdicts = result.table["verdict"].set_axis(hydrants["hydrant_id"])
    outside = verdicts.isin(["low", "high"]).to_numpy(dtype=bool)
    whole = pd.concat(
        [
            pd.DataFrame(rows), facts_of(rows, hydrants), of_valve.set_axis(rows.index),
            stand_ins(rows, hydrants, outside),
        ],
        axis=1,
    ).assign(
        height_basis=rows["hydrant_id"].map(basis), batch=batches(rows),
        mind=_mind(rows, result),
    )  # fmt: skip
    for whose in ("other", "nearer"):
        whole[f"{whose}_verdict"] = whole[f"{whose}_id"].map(verdicts)
    backdrop = Backdrop.of(hydrants, result.valves, result.streets, result.mains)
    places = xy(rows.geometry)
    default = load_kits("generic")
    words = None if planned is None else planned.words
    newest = result.table["reading_date"].max()
    told = alternatives(
        hydrants[tried], result.heights.basis[tried], rule=result.rule, kits=result.kits,
        area_ids=result.table["area_id"][tried],
    )  # fmt: skip
    # what another job puts right is not chosen, though it could be tried
    kit_jobs = rows["hydrant_id"][rows["kit_id"].notna() | (rows["remedy"] == "remove")]
    told["chosen"] &= told["hydrant_id"].isin(kit_jobs)
    return SheetBook(
        title="Season list" if words is None else words.title,
        rows=whole.drop(columns="geometry"), at_ft=_on_plane(places, backdrop),
        lat_lon=_lat_lon(places, hydrants.crs), alternatives=told,
        notices=_notices(whole, planned),
        crew_days=CREW_DAYS.empty() if planned is None else planned.crew_days,
        loads=loads(whole, result.kits, default, words), backdrop=backdrop,
        depot_ft=_depot_ft(planned, hydrants, backdrop), rule=result.rule, kits=result.kits,
        default_kits=default, work=fieldwork(), cautions=cautions(), moment=result.moment,
        data_date="no day" if pd.isna(newest) else f"{newest:%Y-%m-%d}",
    )  # fmt: skip


def _mind(rows: pd.DataFrame, result: Checked) -> pd.Series:
    """What is to be thought of before the ground is opened; empty where nothing is."""
    told = pd.Series("", index=rows.index, dtype="str")
    near = result.table["marginal"].fillna(False).to_numpy(dtype=bool)
    marginal = rows["hydrant_id"].isin(result.table["hydrant_id"][near])
    told = told.where(~(marginal & rows["remedy"].isin(OUT_REMEDIES)), _MARGINAL)
    for code, mine in bury_notes(rows).items():  # a handful of codes
        said = f"{CODES[code].meaning}: {CODES[code].do}. "
        said = said[0].upper() + said[1:]
        told = told.where(~mine, told + said)
    after = rows["flange_height_after_in"].to_numpy(dtype=np.float64, na_value=np.nan)
    lifts = rows["kit_id"].notna().to_numpy() & ~np.isnan(after)
    if not result.rule.flange.limited and lifts.any():
        higher = fill(
            "The rule has no window for the breakaway flange, which is then {f} in above grade: "
            "the maker says how high it may stand. ", f=after,
        )  # fmt: skip
        told = told.where(~lifts, told + higher)
    return told.str.strip()


def _notices(rows: pd.DataFrame, planned: Planned | None) -> pd.DataFrame:
    """The notices of the rows: those of the plan, then those of jobs that have no day."""
    out = rows["remedy"].isin(OUT_REMEDIES).to_numpy(dtype=bool)
    waiting = undated_notices(rows[out & rows["work_date"].isna().to_numpy()])
    if planned is None:
        return waiting
    mine = planned.notices[planned.notices["hydrant_id"].isin(rows["hydrant_id"])]
    both = [frame for frame in (mine, waiting) if len(frame)]
    return NOTICES.conform(pd.concat(both, ignore_index=True)) if both else NOTICES.empty()


def _wanted_rows(
    result: Checked, season: Season, planned: Planned | None, wanted: Wanted
) -> gpd.GeoDataFrame:
    """The jobs that get a sheet; an error tells what is not there."""
    strange = sorted({*wanted.also} - {*SHEET_REMEDIES})
    if strange:
        raise WordsError(
            f"`{strange[0]}` is no job that a crew is handed", accepted=", ".join(SHEET_REMEDIES)
        )
    calendar = None if planned is None else planned.calendar
    also = SHEET_REMEDIES if wanted.only else wanted.also
    rows = sheet_rows(season, calendar, also)
    if wanted.only:
        _need_jobs(result, rows, wanted.only)
        rows = rows[rows["hydrant_id"].isin(wanted.only)]
    for name, value, option in (
        ("work_date", wanted.day, "--day"), ("crew_id", wanted.crew, "--crew"),
        ("area_id", wanted.area, "--area"),
    ):  # fmt: skip
        if value is None:
            continue
        if name != "area_id" and planned is None:
            raise WordsError(f"{option} needs a season", do="name its file with --season")
        told = rows[name].dt.strftime("%Y-%m-%d") if name == "work_date" else rows[name]
        there = sorted(told.dropna().unique())
        rows = rows[(told == str(value)).to_numpy(dtype=bool, na_value=False)]
        if not len(rows):
            raise WordsError(
                f"there is no job for {option} {value}",
                accepted=some(there, 8) if there else "nothing: there is no job at all",
            )
    if not len(rows):
        raise WordsError(
            "there is no job to make a sheet of",
            found="; ".join(planned.why_none) if planned is not None else None,
            do="look at what `check` says, or ask for other lists with --also",
        )  # fmt: skip
    if len(rows) > MOST_SHEETS:
        raise WordsError(
            "these are too many sheets for one file", found=f"{len(rows):,}",
            accepted=f"{MOST_SHEETS:,}", do="print them by --area, --day or --crew",
        )  # fmt: skip
    return rows.reset_index(drop=True)


def _need_jobs(result: Checked, rows: pd.DataFrame, only: Sequence[str]) -> None:
    ids = result.table["hydrant_id"]
    for name in only:
        if name not in set(ids):
            near = [other for other, *_ in process.extract(name, ids.tolist(), limit=5)]
            raise WordsError(
                f"there is no hydrant `{name}`", found="near it: " + some(near, 5),
                do="name one as the register does",
            )  # fmt: skip
    idle = sorted(set(only) - set(rows["hydrant_id"]))
    if idle:
        remedy = result.table.set_index("hydrant_id")["remedy"].reindex(idle).fillna("not judged")
        raise WordsError(
            "hydrants have no job that a crew is handed",
            found=some([f"{name} ({what})" for name, what in remedy.items()], 5),
            accepted=", ".join(SHEET_REMEDIES), do="leave them out",
        )  # fmt: skip


def _on_plane(places: np.ndarray, backdrop: Backdrop) -> np.ndarray:
    if backdrop.to_plane is None:
        return np.full((len(places), 2), np.nan)
    return np.column_stack(backdrop.to_plane.transform(places[:, 0], places[:, 1]))


def _lat_lon(places: np.ndarray, crs: pyproj.CRS | None) -> np.ndarray:
    """On WGS 84, latitude first. [degrees]"""
    if crs is None:
        return np.full((len(places), 2), np.nan)
    to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    lon, lat = to_degrees.transform(places[:, 0], places[:, 1])
    both = np.column_stack([lat, lon])
    return np.where(np.isfinite(both), both, np.nan)


def _depot_ft(
    planned: Planned | None, hydrants: gpd.GeoDataFrame, backdrop: Backdrop
) -> np.ndarray | None:
    if planned is None or hydrants.crs is None:
        return None
    depot = planned.words.depot
    x, y = pyproj.Transformer.from_crs(depot.crs, hydrants.crs, always_xy=True).transform(
        depot.x, depot.y
    )
    return np.asarray(_on_plane(np.array([[x, y]]), backdrop)[0])


def write_sheets(
    result: Checked,
    season: Season,
    folder: Path | str,
    *,
    planned: Planned | None = None,
    wanted: Wanted = ALL,
    tell: Callable[[str], None] = quiet,
) -> list[Path]:
    """
    Write `sheets.pdf` and `notices.pdf`.

    Parameters
    ----------
    result, season, planned, wanted
        As `sheet_book`.
    folder
        Where the files go; made where it is not there.
    tell
        Told each stage of the work.

    Returns
    -------
    paths
        The files.

    Raises
    ------
    WordsError
        What is wanted is not there.
    """
    book = sheet_book(result, season, planned, wanted)
    tell(f"{len(book.rows):,} job sheets")
    return write_sheet_book(book, folder)


def write_sheet_book(book: SheetBook, folder: Path | str) -> list[Path]:
    """
    Write `sheets.pdf` and `notices.pdf` of a book that is there already.

    Parameters
    ----------
    book
        From `sheet_book`.
    folder
        Where the files go; made where it is not there.

    Returns
    -------
    paths
        The files.
    """
    from hydrantgis.deliver.letters import notices_pdf
    from hydrantgis.deliver.sheets import sheets_pdf

    place = Path(folder)
    place.mkdir(parents=True, exist_ok=True)
    paths = [place / "sheets.pdf", place / "notices.pdf"]
    for path, pdf in zip(paths, (sheets_pdf(book), notices_pdf(book)), strict=True):
        with replacing(path) as fresh:
            fresh.write_bytes(pdf)
    return paths
