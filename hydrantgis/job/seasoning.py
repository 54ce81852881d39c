"""
A season: which jobs, on which days, by whom, in which order, from a check and a season file.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.ground.errors import HydrantGISError, some
from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.ground.seasons import SELECTION
from hydrantgis.job.choosing import choose
from hydrantgis.job.contenders import contenders
from hydrantgis.job.moment import quiet
from hydrantgis.job.solving import NO_JOBS
from hydrantgis.season.assemble import calendar_tables
from hydrantgis.season.notices import notices
from hydrantgis.season.orders import from_shelf, orders
from hydrantgis.season.proof import faults
from hydrantgis.standards.load import read_toml
from hydrantgis.standards.seasonfile import season_from_mapping

if TYPE_CHECKING:
    from collections.abc import Callable

    from hydrantgis.job.checking import Checked
    from hydrantgis.job.choosing import Made
    from hydrantgis.job.contenders import Contenders
    from hydrantgis.job.solving import Selected
    from hydrantgis.season.selection import Candidates, Limits
    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.season import SeasonWords

CANNOT = "must be done, and cannot be: "
"""How the reason begins of a job that must be done and has no day."""


@dataclass(frozen=True, slots=True)
class Planned:
    """
    A season.

    Attributes
    ----------
    words
        The season file.
    selection, calendar, crew_days, orders, notices
        The tables of those names.
    findings
        What was noticed.
    selected
        The choice, over the jobs that could be done.
    pool
        What was chosen from, within which limits; for other budgets.
    cost, hours
        Of what is on the calendar: jobs, mobilisation and driving. [money, h]
    why_none
        Why nothing is planned, in words; empty where something is.
    """

    words: SeasonWords
    selection: gpd.GeoDataFrame
    calendar: gpd.GeoDataFrame
    crew_days: pd.DataFrame
    orders: pd.DataFrame
    notices: pd.DataFrame
    findings: pd.DataFrame
    selected: Selected
    pool: tuple[Candidates, Limits]
    cost: float
    hours: float
    why_none: tuple[str, ...]

    @property
    def unpriced(self) -> int:
        """Jobs that have no price, and cannot be chosen."""
        return int(self.selection["job_cost"].isna().sum())

    @property
    def priority(self) -> float:
        """Of all that is on the calendar."""
        return float(self.selection.loc[self.selection["selected"].fillna(False), "priority"].sum())


def load_season(path: Path | str) -> SeasonWords:
    """
    A season file.

    Parameters
    ----------
    path
        TOML.

    Raises
    ------
    UnreadableError, SettingsError
        It is not there, or has problems.
    """
    return season_from_mapping(read_toml(Path(path)), Path(path).name)


def plan_season(
    result: Checked,
    words: SeasonWords,
    *,
    only: pd.DataFrame | None = None,
    seed: int = 1,
    tell: Callable[[str], None] = quiet,
) -> Planned:
    """
    Choose the jobs of a season and put them on its crew days.

    Parameters
    ----------
    result
        From `hydrantgis.job.check`.
    words
        What the season has.
    only
        What a planner decided, by `hydrant_id`: `decision`, `crew_id`, `week`, `note`; missing
        where anything goes.
    seed
        Of the random numbers: the same plan for the same seed.
    tell
        Told each stage of the work.

    Raises
    ------
    WordsError
        The season names hydrants, areas or a currency that are not there.
    HydrantGISError
        The plan breaks a limit; a fault of this program.
    """
    tell("what the season can choose from")
    from_ = contenders(result, words, only)
    return told_of(from_, choose(from_, seed=seed, tell=tell))


def fingerprint(result: Checked, words: SeasonWords) -> str:
    """What a plan rests on, as a short text: the same for the same check and season file."""
    rows = pd.util.hash_pandas_object(result.table.drop(columns="geometry"), index=False)
    both = repr(words).encode() + rows.to_numpy().tobytes()
    return hashlib.sha256(both).hexdigest()[:16]


def told_of(from_: Contenders, made: Made) -> Planned:
    """
    The tables of a plan and what was noticed.

    Parameters
    ----------
    from_, made
        The jobs, and the plan of them.

    Raises
    ------
    HydrantGISError
        A second look, by other code, finds a limit broken.
    """
    words, ways, order = from_.words, from_.ways, made.chosen
    rows = gpd.GeoDataFrame(
        from_.table.iloc[order], geometry=from_.jobs.geometry.iloc[order]
    ).reset_index(drop=True)
    calendar, of_days = calendar_tables(
        rows, from_.days, made.tours, words, way_ft=made.way_ft, by_streets=made.by_streets
    )
    calendar = calendar.assign(kit_from=_kit_from(calendar, from_.catalogue))
    selection, why_none = _selection(from_, made, calendar), _why_none(from_, made, calendar)
    done = rows.merge(calendar[["hydrant_id", "work_date", "crew_id", "kit_from"]], on="hydrant_id")
    ordered = orders(pd.DataFrame(done), from_.catalogue, words)
    places = from_.jobs[["hydrant_id", "area_id"]].assign(
        x_ft=ways.at_ft[:, 0], y_ft=ways.at_ft[:, 1]
    )
    wrong = faults(
        words, selection=selection, calendar=calendar, crew_days=of_days, orders=ordered,
        places=places, depot_ft=(float(ways.depot_ft[0]), float(ways.depot_ft[1])),
        catalogue=from_.catalogue,
    )  # fmt: skip
    if wrong:
        raise HydrantGISError(
            "the plan breaks limits, which is a fault of this program", found=some(wrong, 5),
            do="nothing was written; please tell those who keep the program",
        )  # fmt: skip
    return Planned(
        from_.season, selection, calendar, of_days, ordered, notices(calendar, words),
        _noticed(from_, selection, calendar, why_none), made.selected,
        made.pool, made.cost, made.hours, why_none,
    )  # fmt: skip


def _kit_from(calendar: pd.DataFrame, catalogue: KitCatalogue) -> pd.Series:
    """
    Where each kit comes from: those of the shelf go to the first days, so that orders can be late.

    A job that the search gave one of the shelf and that comes later than one that waits for its
    order comes late enough for an order, too.
    """
    days = calendar["work_date"].to_numpy(dtype="datetime64[D]").astype(np.float64)
    shelf = from_shelf(calendar["kit_id"], pd.Series(-days), catalogue)
    told = pd.Series(np.where(shelf, "shelf", "order"), index=calendar.index, dtype="str")
    needs = calendar["kit_id"].notna() | (calendar["remedy"] == "replace")
    return told.where(needs)


def _selection(from_: Contenders, made: Made, calendar: pd.DataFrame) -> gpd.GeoDataFrame:
    """The `selection` table: what is done first, then by priority."""
    table = from_.table
    on = calendar.set_index("hydrant_id")
    done = table["hydrant_id"].isin(on.index).to_numpy()
    limits = " and ".join(made.selected.binding) or "budget and crew hours"
    why = np.full(len(table), f"left out: {limits}", dtype=object)
    if made.selected.why_none:
        why[:] = f"no plan: {made.selected.why_none[0]}"
    why[made.chosen] = [f"carried over: {reason or ''}" for reason in made.why_not]
    barred = table["barred"].notna().to_numpy()
    why[barred] = table["barred"].to_numpy(dtype=object)[barred]
    must = table["must"].to_numpy()
    lost = must & ~done
    why[lost] = CANNOT + pd.Series(why[lost], dtype="str").str.removeprefix("carried over: ")
    included = (table["decision"] == "include").to_numpy()
    why[done] = np.select(
        [included[done], must[done]], ["included by the planner", "must be done"], "priority"
    )
    when = on[["crew_id", "work_date", "week"]].reindex(pd.Index(table["hydrant_id"]))
    frame = gpd.GeoDataFrame(
        table.assign(selected=done, why=why, **when.set_axis(table.index)),
        geometry=from_.jobs.geometry,
    )
    frame = frame.sort_values(
        ["selected", "priority", "hydrant_id"], ascending=[False, False, True], kind="stable"
    )
    return gpd.GeoDataFrame(SELECTION.conform(frame.reset_index(drop=True)))


def _noticed(
    from_: Contenders,
    selection: pd.DataFrame,
    calendar: pd.DataFrame,
    why_none: tuple[str, ...],
) -> pd.DataFrame:
    """Jobs that must be done and cannot be, and neighbors that are out of service already."""
    lost = selection["why"].str.startswith(CANNOT).to_numpy(dtype=bool)
    near, whose = from_.ways.out_beside(calendar["hydrant_id"], from_.words.apart_ft)
    return join_findings(
        findings(
            "must-not-placed", table="hydrants", keys=selection["hydrant_id"][lost],
            messages=selection["why"][lost],
        ),
        findings("neighbour-out", table="hydrants", keys=near, column="status", values=whose),
        findings(
            "season-empty", table="selection", keys=["(all)"] if why_none else [],
            messages=["; ".join(why_none)] if why_none else [],
        ),
    )  # fmt: skip


def _why_none(from_: Contenders, made: Made, calendar: pd.DataFrame) -> tuple[str, ...]:
    """Why nothing is planned, the most frequent reasons first."""
    if len(calendar):
        return ()
    if not len(from_.table):
        return ("no hydrant has a job",)
    barred, told = from_.table["barred"], made.selected.why_none
    if barred.isna().any() and told:
        return told
    why = barred.dropna() if barred.notna().all() else pd.Series(made.why_not, dtype="str")
    each = tuple(f"{n:,} jobs: {reason}" for reason, n in why.value_counts().head(3).items())
    return (*(reason for reason in told if reason != NO_JOBS), *each)
