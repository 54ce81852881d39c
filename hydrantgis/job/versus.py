"""
Two plans side by side: other budgets, crews, days or windows.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis.deliver.lists import write_csv
from hydrantgis.ground.seasons import COMPARED, COMPARED_JOBS
from hydrantgis.season.candidates import FT_A_MILE

if TYPE_CHECKING:
    from hydrantgis.job.checking import Checked
    from hydrantgis.job.seasoning import Planned

_SAME = ["in", "kit_id", "remedy"]


@dataclass(frozen=True, slots=True)
class Versus:
    """
    Two plans compared.

    Attributes
    ----------
    figures
        The `compared` table.
    jobs
        The `compared_jobs` table.
    """

    figures: pd.DataFrame
    jobs: pd.DataFrame

    def write(self, folder: Path | str) -> list[Path]:
        """Write both tables as CSV."""
        paths = [Path(folder) / f"season_{table.name}.csv" for table in (COMPARED, COMPARED_JOBS)]
        write_csv(paths[0], COMPARED, self.figures)
        write_csv(paths[1], COMPARED_JOBS, self.jobs)
        return paths


def compare_plans(plan_a: Planned, check_a: Checked, plan_b: Planned, check_b: Checked) -> Versus:
    """
    Put two plans side by side.

    Parameters
    ----------
    plan_a, plan_b
        From `hydrantgis.job.plan_season`.
    check_a, check_b
        What each was made from; the same where only the season differs.

    Returns
    -------
    versus
        Figures of both, and the jobs that differ.
    """
    rows_a, rows_b = _figures(plan_a, check_a), _figures(plan_b, check_b)
    areas = sorted({*plan_a.selection["area_id"].dropna(), *plan_b.selection["area_id"].dropna()})
    for area in areas:  # a few
        for rows, plan in ((rows_a, plan_a), (rows_b, plan_b)):
            rows[f"jobs in area {area}"] = int((plan.calendar["area_id"] == area).sum())
    frame = pd.DataFrame(
        [
            {
                "figure": figure, "plan_a": _said(rows_a[figure]), "plan_b": _said(rows_b[figure]),
                "change": _change(rows_a[figure], rows_b[figure]),
            }
            for figure in rows_a
        ]
    )  # fmt: skip
    return Versus(COMPARED.conform(frame), _jobs(plan_a, plan_b))


def _figures(plan: Planned, check: Checked) -> dict[str, object]:
    """What is compared of a plan, in the order in which it is read."""
    words, verdicts = plan.words, check.counts()
    days = plan.crew_days
    first, last = days["work_date"].min(), days["work_date"].max()
    chosen = plan.selection[plan.selection["selected"].fillna(False)]
    orders = plan.orders[plan.orders["item"] == "kit"]
    many = len(chosen)
    return {
        "season": words.title,
        "rule": check.rule.rule_id,
        "window": str(check.rule.window),
        "budget": words.budget,
        "crews": len(words.crews),
        "starts on": words.starts_on,
        "ends on": words.ends_on,
        "hydrants out of the window": verdicts["low"] + verdicts["high"],
        "jobs that could be chosen": len(plan.selection),
        "jobs planned": many,
        "jobs not planned": len(plan.selection) - many,
        "priority": round(plan.priority, 2),
        "cost": round(plan.cost, 2),
        "cost of a job": round(plan.cost / many, 2) if many else None,
        "crew hours": round(plan.hours, 1),
        "driving hours": round(float(days["drive_hours"].sum()), 2),
        "driving miles": round(float(days["drive_ft"].sum()) / FT_A_MILE, 1),
        "crew days": len(days),
        "first day": None if pd.isna(first) else first.date(),
        "last day": None if pd.isna(last) else last.date(),
        "areas worked in": int(plan.calendar["area_id"].nunique()),
        "kits needed": int(orders["kits"].sum()),
        "kits to order": int(orders["to_order"].sum()),
        "kits to order, cost": round(float(orders["cost"].sum()), 2),
        "what stops it": ", ".join(plan.selected.binding) or "; ".join(plan.why_none) or "nothing",
    }


def _said(value: object) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool | str):
        return str(value)
    if isinstance(value, int):
        return f"{value:,}"
    if isinstance(value, float):
        return f"{value:,.2f}".rstrip("0").rstrip(".")
    return str(value)


def _change(a: object, b: object) -> float | None:
    if isinstance(a, int | float) and isinstance(b, int | float):
        return float(b) - float(a)
    difference = None if a is None or b is None or isinstance(a, str) else b - a  # type: ignore[operator] # days are left
    return None if difference is None else float(difference.days)


def _jobs(plan_a: Planned, plan_b: Planned) -> pd.DataFrame:
    """The jobs that only one plan does, or that have another remedy or kit."""
    names = ["work_date", "remedy", "kit_id", "why"]
    parts = {
        key: plan.selection[["hydrant_id", "area_id", *names]]
        .assign(**{"in": plan.selection["selected"].fillna(False).astype("bool")})
        .set_index("hydrant_id")
        for key, plan in (("a", plan_a), ("b", plan_b))
    }  # fmt: skip
    every = parts["a"].index.union(parts["b"].index, sort=True)
    both = {key: part.reindex(every) for key, part in parts.items()}
    frame = pd.DataFrame({"hydrant_id": every.astype("str")}, index=every)
    frame["area_id"] = both["a"]["area_id"].fillna(both["b"]["area_id"])
    differs = pd.Series(False, index=every)
    for name in _SAME:
        one, other = both["a"][name], both["b"][name]
        differs |= (one != other) & ~(one.isna() & other.isna())
    for key, part in both.items():
        for name in ("in", *names):
            frame[f"{name}_{key}"] = part[name]
        frame[f"in_{key}"] = part["in"].astype("boolean").fillna(False)
        frame[f"why_{key}"] = part["why"].fillna("no job there")
    done = (frame["in_a"] | frame["in_b"]).astype("bool")
    return COMPARED_JOBS.conform(frame[differs & done].reset_index(drop=True))
