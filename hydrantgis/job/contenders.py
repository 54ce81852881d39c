"""
What a season can choose from: every job with its worth, its needs, its place and its days.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.ground.errors import WordsError, some
from hydrantgis.job.ways import Ways, ways_of
from hydrantgis.season.candidates import candidates, may_be_on_shelf, ready_on
from hydrantgis.season.crewdays import crew_days, openings
from hydrantgis.season.priority import priority

if TYPE_CHECKING:
    from hydrantgis.job.checking import Checked
    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.season import SeasonWords

ASKED = {"decision": "decision", "crew_id": "asked_crew", "week": "asked_week", "note": "note"}
"""What a planner can say of a job, and the column that it stands in."""


@dataclass(frozen=True, slots=True)
class Contenders:
    """
    The jobs of a season before any is chosen.

    Attributes
    ----------
    season
        The season as its file has it.
    words
        The same with what the planner decided.
    catalogue
        The kits.
    jobs
        One a row, with its facts and what the planner said; in order of hydrants.
    table
        The same with worth and needs, and `barred`, why a job cannot be done.
    days
        The crew days.
    ways
        Where the jobs lie.
    """

    season: SeasonWords
    words: SeasonWords
    catalogue: KitCatalogue
    jobs: gpd.GeoDataFrame
    table: pd.DataFrame
    days: pd.DataFrame
    ways: Ways


def contenders(result: Checked, words: SeasonWords, only: pd.DataFrame | None = None) -> Contenders:
    """
    The jobs that a season can choose from.

    Parameters
    ----------
    result
        From `hydrantgis.job.check`.
    words
        What the season has.
    only
        What a planner decided, by `hydrant_id`: the keys of `ASKED`; missing where anything goes.

    Raises
    ------
    WordsError
        The season names hydrants, areas, a currency or a place that are not there.
    """
    jobs, season = _jobs(result, words, only), words
    words = _with_decisions(words, jobs)
    ways = ways_of(result, jobs, words)
    table = candidates(
        pd.DataFrame(jobs.drop(columns="geometry")), _matters(result, words, jobs), words,
        result.kits, at_ft=ways.at_ft, depot_ft=ways.depot_ft, today=result.moment.date(),
    )  # fmt: skip
    days = crew_days(words)
    home = 2.0 * ways.to_depot_hours(words)
    shelf = may_be_on_shelf(table, result.kits)
    table = table.assign(
        hours=table["job_hours"] + np.nan_to_num(home),
        ready_on=ready_on(table, words, result.kits, shelf=shelf),
    )
    _, never_open = openings(table, days, words)
    barred = table["barred"].mask(table["barred"].isna(), pd.Series(never_open, index=table.index))
    barred = barred.mask(table["decision"] == "exclude", "excluded by the planner")
    return Contenders(season, words, result.kits, jobs, table.assign(barred=barred), days, ways)


def _jobs(result: Checked, words: SeasonWords, only: pd.DataFrame | None) -> gpd.GeoDataFrame:
    """The rows that a season can do, with facts of the hydrant and what a planner decided."""
    if result.kits.money != words.money:
        raise WordsError(
            "season and kit catalogue do not count in one money",
            found=f"{words.money} and {result.kits.money or 'no costs'}",
            do="state costs in the kit catalogue, in the money of the season",
        )  # fmt: skip
    table = result.table
    rows = table[table["remedy"].isin(list(words.hours)).to_numpy()]
    _need_known("hydrants", "jobs.must", words.must, table["hydrant_id"])
    idle = sorted(set(words.must) - set(rows["hydrant_id"]))
    if idle:
        remedy = table.set_index("hydrant_id")["remedy"].reindex(idle).fillna("not judged")
        raise WordsError(
            "hydrants that must be done have no job of this season", where="`jobs.must`",
            found=some([f"{name} ({what})" for name, what in remedy.items()], 5),
            accepted=", ".join(words.hours), do="take them out, or say [hours] of that remedy",
        )  # fmt: skip
    _need_known("hydrants", "jobs.never", words.never, table["hydrant_id"])
    areas = result.areas["area_id"]
    _need_known("areas", "share", tuple(words.least), areas)
    _need_known("areas", "blackout", tuple(a for b in words.blackouts for a in b.areas), areas)
    facts = result.hydrants.set_index("hydrant_id")[["address", "family", "flow_gpm"]]
    titles = result.areas.set_index("area_id")["area_title"]
    told = rows.assign(
        **{str(name): rows["hydrant_id"].map(facts[name]) for name in facts},
        area_title=rows["area_id"].map(titles),
    ).sort_values("hydrant_id", kind="stable").reset_index(drop=True)  # fmt: skip
    wishes = pd.DataFrame(index=pd.Index([], name="hydrant_id")) if only is None else only
    for name, column in ASKED.items():
        said = wishes[name] if name in wishes else pd.Series(dtype="str")
        told[column] = told["hydrant_id"].map(said).astype("str")
    return gpd.GeoDataFrame(told)


def _need_known(what: str, key: str, named: tuple[str, ...], known: pd.Series) -> None:
    strange = sorted(set(named) - set(known))
    if strange:
        raise WordsError(
            f"the season names {what} that are not there", where=f"`{key}`",
            found=some(strange, 5), do="correct the season file",
        )  # fmt: skip


def _with_decisions(words: SeasonWords, jobs: pd.DataFrame) -> SeasonWords:
    """The season's must and never lists, with what the planner decided over them."""
    given = {name: set(jobs["hydrant_id"][jobs["decision"] == name]) for name in
             ("include", "exclude")}  # fmt: skip
    must, never = set(words.must) | given["include"], set(words.never) | given["exclude"]
    both = sorted(must & never)
    if both:
        raise WordsError(
            "the planner decided against the season file", where="`jobs.must` and `jobs.never`",
            found=some(both, 5), do="change the season file, or the decision",
        )  # fmt: skip
    return replace(words, must=tuple(sorted(must)), never=tuple(sorted(never)))


def _matters(result: Checked, words: SeasonWords, jobs: pd.DataFrame) -> pd.DataFrame:
    """The parts of the priority that hang on where a hydrant stands."""
    told = priority(
        result.hydrants, result.facilities, result.streets, factor=words.street_factor,
        within_ft=words.protects_ft, classes=words.protects,
    )  # fmt: skip
    return told.set_axis(result.hydrants["hydrant_id"]).loc[jobs["hydrant_id"]].set_axis(jobs.index)
