"""
Season by season: the same hydrants measured again, and what was done in between.

A share of whoever was measured in a year rises and falls with whom crews went to see. So a trend is
told of a cohort, the hydrants that were measured in every season shown.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.reports import DONE, MEASURED_VERDICTS, TREND
from hydrantgis.season.figures import with_share

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection

LEAST_COHORT = 10
"""A trend of fewer hydrants is not told: common practice, no source."""
DONE_EVENTS = ("extended", "closed_out")


def seasons_of(measured: pd.DataFrame, *, least: int = LEAST_COHORT) -> list[int]:
    """
    The seasons that a cohort can be followed through, the oldest first.

    Parameters
    ----------
    measured
        Whether each hydrant was measured in each year; a column a year.
    least
        A cohort of fewer hydrants is none.

    Returns
    -------
    years
        The newest and, going back, every one that leaves at least so many hydrants that were
        measured in all; empty where these are fewer than two.

    Examples
    --------
    >>> seen = pd.DataFrame({2024: [True, True], 2025: [True, False], 2026: [True, True]})
    >>> seasons_of(seen, least=2)
    [2024, 2026]
    """
    years: list[int] = []
    cohort = np.ones(len(measured), dtype=bool)
    for year in sorted(measured.columns, reverse=True):  # a few
        both = cohort & measured[year].to_numpy(dtype=bool)
        if np.count_nonzero(both) >= least:
            years.insert(0, int(year))
            cohort = both
    return years if len(years) > 1 else []


def trend(verdicts: pd.DataFrame, *, least: int = LEAST_COHORT) -> pd.DataFrame:
    """
    The `trend` table of a cohort; no rows where none can be followed.

    Parameters
    ----------
    verdicts
        Verdict of each hydrant by the readings of each year; a column a year. One that was not
        measured then is `unmeasured` or missing.
    least
        A cohort of fewer hydrants is none.
    """
    measured = verdicts.isin(MEASURED_VERDICTS)
    years = seasons_of(measured, least=least)
    if not years:
        return TREND.empty()
    cohort = measured[years].all(axis=1)
    rows = [
        {
            "season_year": year, "hydrants": int(cohort.sum()), "measured": int(cohort.sum()),
            **{name: int((verdicts.loc[cohort, year] == name).sum()) for name in MEASURED_VERDICTS},
            "measured_then": int(measured[year].sum()),
        }
        for year in years
    ]  # fmt: skip
    return TREND.conform(with_share(pd.DataFrame(rows)))


def done(
    history: pd.DataFrame, planned: Collection[str] = (), *, since: dt.date | None = None
) -> pd.DataFrame:
    """
    The `done` table: hydrants that the history tells as done, by year.

    Parameters
    ----------
    history
        The `events` table.
    planned
        Hydrants that a season plans.
    since
        What was done before that day is not of the plan; nor is what tells no day.
    """
    told = history[history["event"].isin(DONE_EVENTS)]
    year = told["event_date"].dt.year.astype("Int64").rename("season_year")
    of_plan = told["hydrant_id"].isin(list(planned))
    if since is not None:
        of_plan &= told["event_date"] >= pd.Timestamp(since)
    each = pd.DataFrame(
        {
            **{name: told["hydrant_id"].where(told["event"] == name) for name in DONE_EVENTS},
            "of_plan": told["hydrant_id"].where(of_plan),
        }
    )
    return DONE.conform(each.groupby(year, dropna=False, sort=True).nunique().reset_index())
