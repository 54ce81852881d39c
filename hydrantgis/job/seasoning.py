"""
What of the season list is done: the jobs of the highest priority within budget and crew hours.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.ground.errors import WordsError, some
from hydrantgis.ground.results import KIT_REMEDIES, SELECTION
from hydrantgis.job.solving import Selected, select
from hydrantgis.season.priority import priority
from hydrantgis.season.selection import Candidates, Limits
from hydrantgis.season.worth import worth
from hydrantgis.standards.load import read_toml
from hydrantgis.standards.season import SeasonWords, season_from_mapping

if TYPE_CHECKING:
    from hydrantgis.job.checking import Checked


@dataclass(frozen=True, slots=True)
class Chosen:
    """
    The jobs of a season.

    Attributes
    ----------
    table
        The `selection` table: every kit job, with its priority and why it is in or out.
    words
        The season file.
    selected
        The choice, over the jobs that have a price.
    """

    table: gpd.GeoDataFrame
    words: SeasonWords
    selected: Selected

    @property
    def unpriced(self) -> int:
        """Jobs that have no price, and cannot be chosen."""
        return int(self.table["job_cost"].isna().sum())

    @property
    def available(self) -> float:
        """The budget less what is kept back. [money]"""
        return self.words.budget * (1.0 - self.words.contingency_share)


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


def choose_season(result: Checked, words: SeasonWords) -> Chosen:
    """
    Choose the jobs of a season.

    Parameters
    ----------
    result
        From `hydrantgis.job.check`.
    words
        What the season has.

    Raises
    ------
    WordsError
        The season names hydrants, areas or a currency that are not there.
    """
    table = result.table
    if result.kits.money != words.money:
        raise WordsError(
            "season and kit catalogue do not count in one money",
            found=f"{words.money} and {result.kits.money or 'no costs'}",
            do="state costs in the kit catalogue, in the money of the season",
        )  # fmt: skip
    is_job = table["remedy"].isin(KIT_REMEDIES).to_numpy()
    rows = table[is_job]
    _need_known("hydrants that have a kit job", "must", words.must, rows["hydrant_id"])
    _need_known("hydrants", "never", words.never, table["hydrant_id"])
    _need_known("areas", "share", tuple(words.least), table["area_id"].dropna())
    price = {kit.kit_id: kit.unit_cost for kit in result.kits.kits()}
    jobs = rows.assign(unit_cost=rows["kit_id"].map(price).astype("float64"))
    matters = priority(result.hydrants, result.facilities, streets=result.streets)[is_job]
    told = worth(pd.DataFrame(jobs), matters, words, today=result.moment.date())
    priced = told["job_cost"].notna().to_numpy()
    area, names = pd.factorize(jobs["area_id"].fillna(""), sort=True)
    candidates = Candidates(
        priority=told["priority"].to_numpy()[priced], cost=told["job_cost"].to_numpy()[priced],
        hours=told["job_hours"].to_numpy()[priced], area=area[priced].astype(np.intp),
        must=jobs["hydrant_id"].isin(words.must).to_numpy()[priced],
        never=jobs["hydrant_id"].isin(words.never).to_numpy()[priced],
    )  # fmt: skip
    limits = Limits(
        budget=words.budget * (1.0 - words.contingency_share), crew_hours=words.crew_hours,
        area_cost=words.area_cost, area_hours=words.area_hours,
        least=np.array([words.least.get(name, 0) for name in names], dtype=np.intp),
    )  # fmt: skip
    choice = select(candidates, limits)
    chosen = np.zeros(len(jobs), dtype=bool)
    chosen[priced] = choice.chosen
    never = jobs["hydrant_id"].isin(words.never).to_numpy()
    must = jobs["hydrant_id"].isin(words.must).to_numpy()
    why = np.select(
        [chosen & must, chosen, never, ~priced, np.full(len(jobs), bool(choice.why_none))],
        ["must be done", "priority", "never", "no price", "the season has no plan"],
        "budget or crew hours",
    ).astype(object)
    frame = gpd.GeoDataFrame(
        jobs.drop(columns="unit_cost").assign(**told, selected=chosen, why=why),
        geometry=jobs.geometry,
    )
    frame = frame.sort_values(
        ["selected", "priority", "hydrant_id"], ascending=[False, False, True], kind="stable"
    )
    conformed = SELECTION.conform(frame.reset_index(drop=True))
    return Chosen(gpd.GeoDataFrame(conformed), words, choice)


def _need_known(what: str, key: str, named: tuple[str, ...], known: pd.Series) -> None:
    strange = sorted(set(named) - set(known))
    if strange:
        raise WordsError(
            f"the season names {what} that are not there", where=f"`{key}`",
            found=some(strange, 5), do="correct the season file",
        )  # fmt: skip
