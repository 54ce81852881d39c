"""
What a job is worth and what it takes: its priority with the parts, its cost, its hours.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.text import fill
from hydrantgis.season.visits import STALE_YEARS

if TYPE_CHECKING:
    import datetime as dt

    from hydrantgis.standards.season import SeasonWords

FAR_OUT_IN = 6.0
"""Farther out than this a hydrant counts no more: common practice, no source. [in]"""
FLANGE_ALONE = 0.5
"""How severe it is that the flange alone stands wrong: common practice, no source."""
_DAYS_A_YEAR = 365.25


def worth(
    jobs: pd.DataFrame, priorities: pd.DataFrame, words: SeasonWords, *, today: dt.date
) -> pd.DataFrame:
    """
    Priority, cost and hours of each job.

    Parameters
    ----------
    jobs
        The `checked` table of the jobs, with `unit_cost` of their kits.
    priorities
        From `hydrantgis.season.priority.priority`, in the order of the jobs.
    words
        Weights, hours and costs.
    today
        From which the age of readings counts.

    Returns
    -------
    worth
        Index of `jobs`: the parts, each from 0 to 1, `priority`, their weighted sum, `job_hours`,
        and `job_cost`, missing where the kit has no price; `priority_reasons` in words.
    """
    n = len(jobs)
    out = jobs["shortfall_in"].fillna(0.0) + jobs["excess_in"].fillna(0.0)
    sure = 1.0 - jobs["p_inside"].fillna(0.0)
    severity = np.clip(out.to_numpy(dtype=np.float64) / FAR_OUT_IN, 0.0, 1.0) * sure.to_numpy()
    flange = jobs["flange_verdict"].isin(["low", "high"]).to_numpy(dtype=bool)
    severity = np.maximum(severity, np.where(flange, FLANGE_ALONE, 0.0))
    protects, alone = (
        priorities[name].to_numpy(dtype=np.float64) for name in ("protects", "alone")
    )
    days = (pd.Timestamp(today) - jobs["reading_date"]).dt.days.to_numpy(
        np.float64, na_value=np.nan
    )
    age = np.clip(np.nan_to_num(days) / _DAYS_A_YEAR / STALE_YEARS, 0.0, 1.0)
    parts = {"severity": severity, "protects": protects, "alone": alone, "age": age}
    total = sum((words.weights[name] * part for name, part in parts.items()), np.zeros(n))
    hours = jobs["remedy"].map(words.hours).to_numpy(dtype=np.float64)
    kit = jobs["unit_cost"].where(jobs["kit_id"].notna(), 0.0).to_numpy(dtype=np.float64)
    reasons = fill(
        "{out} in out, {sure} sure{flange}", out=out.round(2).to_numpy(),
        sure=sure.map("{:.0%}".format).to_numpy(dtype=object),
        flange=np.where(flange, ", flange wrong", ""),
    )  # fmt: skip
    more = priorities["priority_reasons"].to_numpy(dtype=object)
    said = np.where(
        pd.isna(more), reasons, reasons + "; " + pd.Series(more).fillna("").to_numpy(object)
    )
    return pd.DataFrame(
        {
            **parts, "priority": total, "priority_reasons": said, "job_hours": hours,
            "job_cost": kit + hours * words.hour_cost,
        },
        index=jobs.index,
    )  # fmt: skip
