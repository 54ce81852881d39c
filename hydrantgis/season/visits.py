"""
Where to measure next: the hydrants whose height a tape would tell most of, as a walk by area.

References
----------
.. [1] JCGM 106:2012, 7.2: a reading that is still to be taken is spread about the estimate with the
   variances of both (from memory).
.. [2] Gelman, A. et al., Bayesian Data Analysis, 3rd ed. (2013), 2.4: a share under a beta prior is
   the share of all, counted as so many hydrants more (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.assess.verdict import chances
from hydrantgis.ground.plane import on_plane_ft, xy
from hydrantgis.ground.results import VISITS
from hydrantgis.season.walks import walk
from hydrantgis.standards.methods import METHODS

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import ArrayLike, NDArray

    from hydrantgis.assess.verdict import Chances

STALE_YEARS = 5.0
"""A reading older than this is stale: common practice, no source. [yr]"""
UNSEEN_IN_PER_YR = 0.25
"""By so much the height may have changed a year since it was read: common practice, no source."""
LIKE_THE_OTHERS = 10.0
"""How many measured hydrants the share of the whole system counts for [2]_."""
_DAYS_A_YEAR = 365.25


def stale(
    reading_date: pd.Series,
    *,
    today: dt.date,
    changed_on: NDArray[np.datetime64] | None = None,
    stale_years: float = STALE_YEARS,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.float64]]:
    """
    Readings that are stale by a change of grade, and by age; and that age.

    Parameters
    ----------
    reading_date
        Shape (n,).
    today
        From which the age counts.
    changed_on
        A reading before this day is stale, since the grade changed; NaT where it did not; shape
        (n,). [datetime64[D]]
    stale_years
        A reading older than this is stale. [yr]

    Returns
    -------
    by_change, by_age
        Whether it is; shape (n,).
    age
        Missing where the day is not known or still to come; shape (n,). [days]

    Examples
    --------
    >>> days = pd.Series(pd.to_datetime(["2021-09-30", "2021-09-28", None]))
    >>> stale(days, today=pd.Timestamp(2026, 9, 30).date())[1].tolist()
    [False, True, False]
    """
    reading = reading_date.to_numpy().astype("datetime64[D]")
    past = reading <= np.datetime64(today, "D")  # a day that is not known is not past either
    age = np.where(past, (np.datetime64(today, "D") - reading).astype(np.float64), np.nan)
    before = np.zeros(len(reading), dtype=bool)
    if changed_on is not None:
        before = reading < changed_on
    return before, age > stale_years * _DAYS_A_YEAR, age


def share_out(group: ArrayLike, measured: ArrayLike, out: ArrayLike) -> NDArray[np.float64]:
    """
    Probability that a hydrant nobody has measured stands out of its window, shape (n,).

    Parameters
    ----------
    group
        Number of its group, from 0, shape (n,).
    measured, out
        Whether a hydrant was measured, and whether it stands out then, shape (n,).

    Returns
    -------
    share
        That of the measured ones of its group, drawn towards that of all [2]_.

    Examples
    --------
    >>> share_out([0, 0, 1], [True, True, False], [True, True, False]).round(3).tolist()
    [0.792, 0.792, 0.75]
    """
    at = np.asarray(group, dtype=np.intp)
    known, bad = np.asarray(measured, dtype=bool), np.asarray(out, dtype=bool)
    many = int(at.max()) + 1 if len(at) else 0
    of_all = (np.count_nonzero(known & bad) + 1.0) / (np.count_nonzero(known) + 2.0)
    counted = np.bincount(at[known], minlength=many)
    outside = np.bincount(at[known & bad], minlength=many)
    share = (outside + LIKE_THE_OTHERS * of_all) / (counted + LIKE_THE_OTHERS)
    return np.asarray(share[at], dtype=np.float64)


def chances_of_reading(
    height_in: ArrayLike, sd_in: ArrayLike, *, lo_in: float, hi_in: float
) -> Chances:
    """
    Probabilities that a tape would read a height inside the window, below it and above it [1]_.

    Parameters
    ----------
    height_in, sd_in
        What is known of it, shape (n,). [in]
    lo_in, hi_in
        Limits; infinite where there is none. [in]

    Examples
    --------
    >>> chances_of_reading([18.0], [1.0], lo_in=18.0, hi_in=36.0).low.tolist()
    [0.5]
    """
    spread = np.hypot(np.asarray(sd_in, dtype=np.float64), METHODS["tape"].sd_in)
    return chances(height_in, spread, lo_in=lo_in, hi_in=hi_in)


def visits(
    checked: gpd.GeoDataFrame,
    hydrants: pd.DataFrame,
    *,
    today: dt.date,
    stale_years: float = STALE_YEARS,
    priorities: pd.DataFrame | None = None,
    changed_on: NDArray[np.datetime64] | None = None,
    screening: ArrayLike = False,
) -> gpd.GeoDataFrame:
    """
    The `visits` table: whom to measure next, and in which order to walk.

    Parameters
    ----------
    checked
        The `checked` table.
    hydrants
        The `hydrants` table, for address and family.
    today
        From which the age of readings counts.
    stale_years
        A reading older than this is stale. [yr]
    priorities
        How much a change would matter at each hydrant, from
        `hydrantgis.season.priority.priority`, in the order of `checked`; all alike where it is
        None.
    changed_on
        A reading before this day is stale too, since the grade changed; NaT where it did not; shape
        (n,). [datetime64[D]]
    screening
        Whether a height is a screening height although its verdict is sure; shape (n,).

    Returns
    -------
    visits
        By area, in the order of the walk, hydrants without an area last. `p_changes` is the
        probability that a reading would bring a hydrant out of its window that has no job, or take
        one that stands out to where it does not; `rank` orders them by it, times the priority,
        then by id.

    Notes
    -----
    A height that is stale by age is as uncertain as `UNSEEN_IN_PER_YR` makes it. Of several reasons
    the first of unmeasured, unresolved, stale by a change of grade, screening, stale by age, a
    flange that a kit waits for is told.
    """
    verdict = checked["verdict"]
    before, old, age = stale(
        checked["reading_date"], today=today, changed_on=changed_on, stale_years=stale_years
    )
    facts = hydrants.set_index("hydrant_id")[["address", "family"]]
    facts = facts.reindex(pd.Index(checked["hydrant_id"])).set_axis(checked.index)
    to_measure = (checked["remedy"] == "measure").to_numpy()
    vague = to_measure | np.broadcast_to(np.asarray(screening, dtype=bool), len(checked))
    # a kit that waits for its flange: how often a flange that is known forbids one tells the chance
    code = checked["remedy_reason"].str.extract(r"^([^:]+)", expand=False)
    blind = (code == "kit-fits-flange-unknown").to_numpy(dtype=bool)
    against = int((code == "flange-conflict").sum())
    forbids = (against + 1.0) / (against + int((code == "kit-fits").sum()) + 2.0)
    reason = np.select(
        [verdict == "unmeasured", verdict == "unresolved", before, vague, old, blind],
        ["unmeasured", "unresolved", "stale", "screening", "stale", "flange"],
        "",
    )
    rows = (reason != "") & verdict.notna().to_numpy()
    out = verdict.isin(["low", "high"]).to_numpy()
    known = (out | (verdict == "inside").to_numpy()) & ~vague
    group = pd.MultiIndex.from_arrays([checked["area_id"].fillna(""), facts["family"].fillna("")])
    prior = share_out(pd.factorize(group)[0], known, out)
    height = checked["outlet_height_in"].to_numpy(dtype=np.float64)
    unseen = np.where(old, UNSEEN_IN_PER_YR * age / _DAYS_A_YEAR, 0.0)
    sd = np.hypot(checked["height_sd_in"].to_numpy(dtype=np.float64), unseen)
    lo = checked["window_lo_in"].fillna(-np.inf).iloc[:1].tolist() or [-np.inf]
    hi = checked["window_hi_in"].fillna(np.inf).iloc[:1].tolist() or [np.inf]
    told = chances_of_reading(height, sd, lo_in=lo[0], hi_in=hi[0])
    # who stands out has a job until a reading says otherwise; nobody goes by a screening height
    stays = np.where(verdict == "low", told.low, told.high)
    changes = np.where(out & ~to_measure, 1.0 - stays, 1.0 - told.inside)
    changes = np.where(np.isnan(changes), prior, changes)
    changes = np.where(reason == "flange", np.maximum(changes, forbids), changes)
    weight = np.ones(len(checked)) if priorities is None else priorities["priority"].to_numpy()
    why = None if priorities is None else priorities["priority_reasons"].to_numpy(dtype=object)
    frame = gpd.GeoDataFrame(
        {
            "area_id": checked["area_id"],
            "hydrant_id": checked["hydrant_id"],
            "address": facts["address"],
            "reason": reason,
            "p_changes": changes,
            "priority": weight,
            "priority_reasons": why,
            "worth": changes * weight,
            "reading_date": checked["reading_date"],
            "days_since_reading": pd.Series(age, index=checked.index).astype("Int64"),
        },
        geometry=checked.geometry,
    )[rows]
    frame = frame.sort_values(["worth", "hydrant_id"], ascending=[False, True], kind="stable")
    frame["rank"] = np.arange(1, len(frame) + 1)
    # from here on nothing hangs on the order of rows or on the ranks
    frame = frame.sort_values("hydrant_id", kind="stable")
    codes, names = pd.factorize(frame["area_id"], sort=True)
    area = np.where(codes < 0, len(names), codes)
    points = xy(frame.geometry)
    if frame.crs is not None:
        points = on_plane_ft(points, frame.crs)
    frame = frame.iloc[walk(points, area)].reset_index(drop=True)
    frame["stop"] = frame.groupby("area_id", dropna=False).cumcount() + 1
    return gpd.GeoDataFrame(VISITS.conform(frame))
