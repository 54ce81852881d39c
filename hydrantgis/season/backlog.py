"""
What is left to do, in money, hours and seasons like the one that is planned; and what that buys.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hydrantgis.assess.verdict import rounded
from hydrantgis.season.selection import used

if TYPE_CHECKING:
    import pandas as pd

    from hydrantgis.season.selection import Candidates, Limits


@dataclass(frozen=True, slots=True)
class Backlog:
    """
    All jobs that a season could do.

    Attributes
    ----------
    jobs
        How many.
    cost, hours
        Of all of them, with driving as it was guessed and one mobilisation an area. [money, h]
    budgets, crews
        How often that is the money and the crew hours of the season; infinite where it has none.
    """

    jobs: int
    cost: float
    hours: float
    budgets: float
    crews: float

    @property
    def seasons(self) -> float:
        """
        Seasons that it takes at the least: by money or by crew hours, whichever is more.

        An area that is worked in twice is mobilised twice, and a hydrant that leaves its window
        meanwhile is one more; neither is in it.
        """
        most = max(self.budgets, self.crews)
        return math.ceil(most - 1e-9) if math.isfinite(most) else math.inf


def backlog(jobs: Candidates, limits: Limits) -> Backlog:
    """
    What all the jobs of a season's pool come to.

    Parameters
    ----------
    jobs, limits
        What the season chose from, and within what.
    """
    cost, hours = used(jobs, limits, np.ones(len(jobs.cost), dtype=bool))

    def times(need: float, there: float) -> float:
        return need / there if there > 0 else (math.inf if need > 0 else 0.0)

    return Backlog(
        len(jobs.cost), cost, hours, times(cost, limits.budget), times(hours, limits.crew_hours)
    )


def put_right(checked: pd.DataFrame, planned: pd.Series, *, resolution_in: float) -> int:
    """
    How many hydrants that stand out of the window a season brings inside it, done as planned.

    Parameters
    ----------
    checked
        The `checked` table.
    planned
        Hydrants that the season does.
    resolution_in
        At which heights are held against a limit. [in]
    """
    rows = checked[checked["hydrant_id"].isin(planned) & checked["verdict"].isin(["low", "high"])]
    after = rounded(rows["outlet_height_after_in"], resolution_in)
    lo, hi = rows["window_lo_in"].fillna(-np.inf), rows["window_hi_in"].fillna(np.inf)
    return int(((after >= lo.to_numpy()) & (after <= hi.to_numpy())).sum())
