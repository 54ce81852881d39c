"""
The jobs that a season can choose from: what each is worth and takes, and when its parts are there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from hydrantgis.season.worth import worth

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import NDArray

    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.season import SeasonWords

FT_A_MILE = 5280.0
_FLANGE_UNKNOWN = "kit-fits-flange-unknown"


def candidates(
    jobs: pd.DataFrame,
    priorities: pd.DataFrame,
    words: SeasonWords,
    catalogue: KitCatalogue,
    *,
    at_ft: NDArray[np.float64],
    depot_ft: NDArray[np.float64],
    today: dt.date,
) -> pd.DataFrame:
    """
    Every job with what it is worth, what it takes, and why it cannot be done whenever that is so.

    Parameters
    ----------
    jobs
        Rows of the `checked` table, with `flow_gpm`.
    priorities
        From `hydrantgis.season.priority.priority`, in the order of the jobs.
    words, catalogue
        What the season has, and what kits cost.
    at_ft, depot_ft
        Where the jobs and the depot are, on a plane; shapes (n, 2) and (2,). [ft]
    today
        From which the age of readings counts.

    Returns
    -------
    candidates
        The jobs with the columns of `worth`, and `drive_hours_about`; `must` and `never`;
        `barred`, why a job can be neither chosen nor done, missing where it can.
    """
    price = {kit.kit_id: kit.unit_cost for kit in catalogue.kits()}
    priced = jobs.assign(unit_cost=jobs["kit_id"].map(price).astype("float64"))
    told = worth(priced, priorities, words, today=today)
    table = jobs.assign(
        **told, drive_hours_about=drive_about(at_ft, depot_ft, told["job_hours"].to_numpy(), words),
        must=jobs["hydrant_id"].isin(words.must), never=jobs["hydrant_id"].isin(words.never),
    )  # fmt: skip
    unmeasured = jobs["remedy_reason"].str.startswith(_FLANGE_UNKNOWN).fillna(False)
    barred = np.select(
        [
            table["never"], ~np.isfinite(at_ft).all(axis=1), table["job_cost"].isna(),
            unmeasured.to_numpy(dtype=bool) & words.flange_first,
        ],
        ["never", "no location", "no price", "its flange is measured first"],
        "",
    ).astype(object)  # fmt: skip
    return table.assign(barred=pd.Series(barred, index=jobs.index).mask(barred == ""))


def drive_about(
    at_ft: NDArray[np.float64],
    depot_ft: NDArray[np.float64],
    job_hours: NDArray[np.float64],
    words: SeasonWords,
) -> NDArray[np.float64]:
    """
    About how long crews drive for each job, before anybody knows on which day it is done. [h]

    Parameters
    ----------
    at_ft, depot_ft, job_hours
        As `candidates`.
    words
        Speed, spacing and crews.

    Notes
    -----
    Its share of the way from and to the depot, and a way to the next job, which lies at least as
    far as the spacing. That is a guess to choose by; the calendar counts the ways themselves.
    """
    n = len(at_ft)
    hours = np.full(n, np.nan)
    known = np.flatnonzero(np.isfinite(at_ft).all(axis=1))
    if not len(known):
        return np.zeros(n)
    apart = np.full(len(known), np.inf)
    if len(known) > 1:
        apart = np.asarray(cKDTree(at_ft[known]).query(at_ft[known], k=2)[0])[:, 1]
    there = np.hypot(*(at_ft[known] - depot_ft).T)
    longest = max((crew.hours_a_day for crew in words.crews), default=0.0)
    a_day = np.maximum(np.floor(longest / np.maximum(job_hours[known], 1e-9)), 1.0)
    onward = np.minimum(np.maximum(apart, words.apart_ft), 2.0 * there)
    feet = 2.0 * there / a_day + onward * (1.0 - 1.0 / a_day)
    hours[known] = feet * words.street_factor / FT_A_MILE / words.speed_mph
    return np.asarray(np.nan_to_num(hours), dtype=np.float64)


def ready_on(
    jobs: pd.DataFrame, words: SeasonWords, catalogue: KitCatalogue, *, shelf: NDArray[np.bool_]
) -> NDArray[np.datetime64]:
    """
    The first day on which the parts of each job are there and all have been told, shape (n,).

    Parameters
    ----------
    jobs
        With `kit_id` and `remedy`.
    words, catalogue
        Lead times, and how long notices take.
    shelf
        Whether the kit lies on the shelf, shape (n,).
    """
    told = np.datetime64(words.planned_on) + np.timedelta64(
        max(words.fire_days, words.customer_days)
    )
    lead = {kit.kit_id: kit.lead_days for kit in catalogue.kits()}
    days = jobs["kit_id"].map(lead).astype("float64").fillna(words.lead_days).to_numpy()
    ordered = jobs["kit_id"].notna().to_numpy() & ~shelf
    ordered |= (jobs["remedy"] == "replace").to_numpy()
    come = np.datetime64(words.planned_on) + np.ceil(days).astype("timedelta64[D]")
    return np.where(ordered, np.maximum(come, told), told)


def may_be_on_shelf(jobs: pd.DataFrame, catalogue: KitCatalogue) -> NDArray[np.bool_]:
    """Which jobs could take a kit that lies on the shelf, if no other one took it; shape (n,)."""
    stock = {kit.kit_id: kit.on_hand or 0 for kit in catalogue.kits()}
    return np.asarray(jobs["kit_id"].map(stock).fillna(0).to_numpy(dtype=np.float64) > 0)
