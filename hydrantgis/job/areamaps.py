"""
Maps of the areas for print, from a check and its season.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.results import REMEDY_WORDS
from hydrantgis.job.showing import map_words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.figure import Figure

    from hydrantgis.deliver.areamaps import AreaSheet
    from hydrantgis.job.checking import Checked
    from hydrantgis.job.seasoning import Planned
    from hydrantgis.season.lists import Season

_FACTS = ("outlet_height_in", "outlet_height_after_in", "kit_length_in", "bury_after_ft")


def draw_area_maps(
    result: Checked, season: Season, planned: Planned | None = None, *, title: str = "Hydrants"
) -> list[Figure]:
    """
    A letter page an area: its hydrants by verdict, and its jobs numbered as in the list beside.

    Parameters
    ----------
    result
        From `check`.
    season
        From `plan`; its list gives the order of the numbers where there is no calendar.
    planned
        From `plan_season`; its calendar gives order and days, and says which jobs wait.
    title
        What stands at the head, for example the name of the district.

    Returns
    -------
    pages
        Of all areas, one after another; a long list has pages of its own.
    """
    from hydrantgis.deliver.areamaps import all_pages

    return all_pages(list(_sheets(result, season, planned, title)))


def write_area_maps(
    result: Checked,
    season: Season,
    folder: Path | str,
    *,
    planned: Planned | None = None,
    title: str = "Hydrants",
) -> list[Path]:
    """
    Write the area maps as `areas.pdf`, and the map of each area as `area_<id>.png`.

    Parameters
    ----------
    result, season, planned, title
        As `draw_area_maps`.
    folder
        Where the files go; made where it is not there.

    Returns
    -------
    paths
        The PDF first.
    """
    from hydrantgis.deliver.areafiles import save_area_maps

    sheets = _sheets(result, season, planned, title)
    return save_area_maps(sheets, Path(folder), title=f"{title}: area maps")


def area_jobs(result: Checked, season: Season, planned: Planned | None = None) -> pd.DataFrame:
    """
    The jobs as the maps number them: from 1 in each area, by calendar or by season list.

    Parameters
    ----------
    result, season, planned
        As `draw_area_maps`.

    Returns
    -------
    jobs
        As `hydrantgis.deliver.areamaps.area_sheets` takes them; a kit job that is on no day of
        the calendar has no number.
    """
    names = ["hydrant_id", "area_id", "address", "remedy", "kit_id"]
    listed = pd.DataFrame(season.jobs[names])
    listed["work_date"] = np.datetime64("NaT", "ms")
    if planned is None:
        jobs, done = listed, np.ones(len(listed), dtype=bool)
    else:
        days = planned.calendar[[*names, "work_date"]]
        rest = listed[~listed["hydrant_id"].isin(days["hydrant_id"])]
        jobs = pd.concat([days, rest], ignore_index=True) if len(rest) else pd.DataFrame(days)
        done = np.arange(len(jobs)) < len(days)
    of_area = jobs.groupby("area_id", dropna=False, sort=False).cumcount() + 1
    facts = result.table[list(_FACTS)]
    row = pd.Index(result.table["hydrant_id"]).get_indexer(pd.Index(jobs["hydrant_id"]))
    told = jobs.assign(**{name: facts[name].to_numpy()[row] for name in _FACTS})
    return told.assign(
        number=of_area.astype("Int64").where(done).array,
        work=_work(told),
    ).reset_index(drop=True)  # fmt: skip


def _work(jobs: pd.DataFrame) -> pd.Series:
    """What is done, and with which kit."""
    what = jobs["remedy"].map(REMEDY_WORDS).astype("str")
    bury = jobs["bury_after_ft"].where(jobs["remedy"] == "replace")
    return (
        what + _said(jobs["kit_length_in"], " {:g} in") + _said(jobs["kit_id"], ", kit {}")
        + _said(bury, ", bury {:g} ft")
    )  # fmt: skip


def _said(values: pd.Series, words: str) -> pd.Series:
    # nothing but missing values would stay numbers
    return values.map(words.format, na_action="ignore").astype("str").fillna("")


def _sheets(
    result: Checked, season: Season, planned: Planned | None, title: str
) -> Iterator[AreaSheet]:
    from hydrantgis.deliver.areamaps import AreaWords, area_sheets

    of = "Season list" if planned is None else planned.words.title
    return area_sheets(
        result.table, area_jobs(result, season, planned),
        words=map_words(result, title=title),
        more=AreaWords(season=of, sources=_sources(result)),
        areas=result.areas if len(result.areas) else None,
        streets=result.streets if len(result.streets) else None,
        mains=result.mains if len(result.mains) else None,
        valves=result.valves if len(result.valves) else None,
    )  # fmt: skip


def _sources(result: Checked) -> tuple[str, ...]:
    """Each file that the register rests on, and what it was read as."""
    items = result.provenance["item"]
    told = items[items.str.startswith("source ")].str.removeprefix("source ")
    parts = told.str.rpartition(" as ")
    kinds = parts[2].groupby(parts[0], sort=False).agg(", ".join)
    return tuple(f"{source} ({of})" for source, of in kinds.items())
