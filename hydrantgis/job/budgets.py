"""
What more money would bring: the best choice under other budgets, the crews as they are.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.seasons import CURVE
from hydrantgis.job.moment import quiet
from hydrantgis.job.solving import select

if TYPE_CHECKING:
    from collections.abc import Callable

    from hydrantgis.job.seasoning import Planned

STEPS = 10
"""So many budgets lie between none and the most that can be used."""
GAP = 1e-3
"""A choice is good enough where none could be better by more than this share."""
MOST_SECONDS = 10.0
"""A choice is not looked for longer than this. [s]"""


def budget_curve(planned: Planned, *, tell: Callable[[str], None] = quiet) -> pd.DataFrame:
    """
    The `curve` table: what each budget brings, up to the most that can be used.

    Parameters
    ----------
    planned
        From `plan_season`; the guess of driving that its jobs were chosen by holds here too.
    tell
        Told each stage of the work.

    Notes
    -----
    Every budget keeps back the season's contingency. Crew hours stay as they are, so that the curve
    goes flat where they are used up.
    """
    jobs, limits = planned.pool
    words = planned.words
    kept = 1.0 - words.contingency_share
    most = float(jobs.cost.sum()) + len(np.unique(jobs.area)) * limits.area_cost
    tell("what all the money that can be used would bring")
    rich = select(jobs, replace(limits, budget=most), gap=GAP, most_seconds=MOST_SECONDS)
    whole = max(rich.cost / kept if kept > 0 else 0.0, words.budget)
    budgets = np.unique(np.append(np.round(np.linspace(0.0, whole, STEPS + 1), 0), words.budget))
    rows = []
    for budget in budgets.tolist():  # a few
        tell(f"what {budget:,.0f} {words.money} would bring")
        told = select(
            jobs, replace(limits, budget=budget * kept), gap=GAP, most_seconds=MOST_SECONDS
        )
        rows.append(
            {
                "budget": budget, "is_now": budget == words.budget, "cost": told.cost,
                "jobs": int(told.chosen.sum()), "priority": told.value, "gap": told.gap,
                "binding": ", ".join(told.binding) or None,
            }
        )  # fmt: skip
    frame = pd.DataFrame(rows)
    step = frame["budget"].diff() / 1000.0
    return CURVE.conform(
        frame.assign(
            priority_a_thousand=frame["priority"].diff() / step,
            jobs_a_thousand=frame["jobs"].diff() / step,
        )
    )
