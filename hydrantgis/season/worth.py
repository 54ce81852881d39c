"""
What a job is worth and what it takes: its priority with the parts, its cost, its hours.

References
----------
.. [1] NFPA 291, 5.1: classes by rated flow at 20 psi, from 1500, 1000 and 500 gpm up (second hand;
   the letters from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.text import fill
from hydrantgis.season.visits import STALE_YEARS

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import NDArray

    from hydrantgis.standards.season import SeasonWords

FAR_OUT_IN = 6.0
"""Farther out than this a hydrant counts no more: common practice, no source. [in]"""
FLANGE_ALONE = 0.5
"""How severe it is that the flange alone stands wrong: common practice, no source."""
FLOW_GPM = (500.0, 1000.0, 1500.0)
"""From these flows up a hydrant is of the next class [1]_. [gpm]"""
FLOW_CLASSES = ("C", "B", "A", "AA")
FLOW_WORTH = (0.0, 0.5, 0.75, 1.0)
"""What a hydrant of each class counts: common practice, no source. One of class C is a last resort,
and no first pick."""
FLOW_UNKNOWN = 0.5
"""What one of unknown flow counts: common practice, no source."""
_DAYS_A_YEAR = 365.25


def worth(
    jobs: pd.DataFrame, priorities: pd.DataFrame, words: SeasonWords, *, today: dt.date
) -> pd.DataFrame:
    """
    Priority, cost and hours of each job.

    Parameters
    ----------
    jobs
        The `checked` table of the jobs, with `unit_cost` of their kits and `flow_gpm`.
    priorities
        From `hydrantgis.season.priority.priority`, in the order of the jobs.
    words
        Weights, hours and costs.
    today
        From which the age of readings counts.

    Returns
    -------
    worth
        Index of `jobs`: the parts, each from 0 to 1, `priority`, their weighted sum, `job_hours`
        with digging and the stop, and `job_cost`, missing where the kit has no price;
        `priority_reasons` in words.
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
    flow, of_class = flow_part(jobs["flow_gpm"].to_numpy(dtype=np.float64, na_value=np.nan))
    parts = {"severity": severity, "protects": protects, "alone": alone, "flow": flow, "age": age}
    total = sum((words.weights[name] * part for name, part in parts.items()), np.zeros(n))
    buried_ft = np.clip(
        -np.nan_to_num(jobs["flange_height_in"].to_numpy(np.float64)) / 12.0, 0, None
    )
    digging = words.dig_hours + words.dig_hours_per_ft * buried_ft
    each = jobs["remedy"].map(words.hours).to_numpy(dtype=np.float64)
    hours = each + digging + words.stop_hours
    kit = jobs["unit_cost"].where(jobs["kit_id"].notna(), 0.0).to_numpy(dtype=np.float64)
    materials = jobs["remedy"].map(words.materials).to_numpy(dtype=np.float64)
    reasons = fill(
        "{out} in out, {sure} sure{flange}", out=out.round(2).to_numpy(),
        sure=sure.map("{:.0%}".format).to_numpy(dtype=object),
        flange=np.where(flange, ", flange wrong", ""),
    )  # fmt: skip
    more = priorities["priority_reasons"].to_numpy(dtype=object)
    said = np.where(
        pd.isna(more), reasons, reasons + "; " + pd.Series(more).fillna("").to_numpy(object)
    )
    said = np.where(of_class == "", said, said + "; flow class " + of_class)
    old = fill("; read {y} years ago", y=(days / _DAYS_A_YEAR).round(1))
    said = np.where(days >= _DAYS_A_YEAR, said + old, said)
    return pd.DataFrame(
        {
            **parts, "priority": total, "priority_reasons": said, "job_hours": hours,
            "job_cost": kit + materials + hours * words.hour_cost,
        },
        index=jobs.index,
    )  # fmt: skip


def flow_part(flow_gpm: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.object_]]:
    """
    What the flow of hydrants counts, from 0 to 1, and their class [1]_.

    Parameters
    ----------
    flow_gpm
        At 20 psi, missing where it is not known; shape (n,). [gpm]

    Returns
    -------
    part, flow_class
        Shapes (n,); the class is blank where the flow is not known.

    Examples
    --------
    >>> part, flow_class = flow_part(np.array([499.0, 500.0, 1200.0, 1500.0, np.nan]))
    >>> part.tolist(), flow_class.tolist()
    ([0.0, 0.5, 0.75, 1.0, 0.5], ['C', 'B', 'A', 'AA', ''])
    """
    known = np.isfinite(flow_gpm)
    place = np.searchsorted(FLOW_GPM, np.where(known, flow_gpm, 0.0), side="right")
    part = np.where(known, np.array(FLOW_WORTH)[place], FLOW_UNKNOWN)
    return part, np.where(known, np.array(FLOW_CLASSES, dtype=object)[place], "")
