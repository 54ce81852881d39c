"""
Every figure of a report's first page: numerator, denominator, what is left out, and from what.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import pandas as pd

from hydrantgis.ground.reports import REPORT_FIGURES
from hydrantgis.ground.results import KIT_REMEDIES
from hydrantgis.season.backlog import put_right
from hydrantgis.season.figures import expected_inside
from hydrantgis.season.visits import STALE_YEARS

if TYPE_CHECKING:
    from hydrantgis.job.reporting import Report

WORK = (*KIT_REMEDIES, "replace", "lower", "regrade", "review")
"""Remedies that are work on the hydrant or on the ground, or wait for an engineer."""
STALE_MEANS = (
    f"a reading older than {STALE_YEARS:g} years, or of before works that changed the grade"
)


class Fact(NamedTuple):
    """
    A figure.

    Attributes
    ----------
    numerator, denominator
        Of a share; a count or a sum has no denominator.
    unit
        Of the value.
    left_out
        What does not count in it.
    data
        What it rests on.
    """

    numerator: float
    denominator: float | None
    unit: str
    left_out: str
    data: str

    @property
    def value(self) -> float:
        """Numerator over denominator; missing where that is none."""
        if self.denominator is None:
            return self.numerator
        return self.numerator / self.denominator if self.denominator else math.nan


def facts_of(told: Report) -> dict[str, Fact]:
    """
    The figures by what they tell.

    Parameters
    ----------
    told
        From `hydrantgis.job.reporting.report`.
    """
    table, counts = told.result.table, told.result.counts()
    measured, judged = counts["measured"], counts["hydrants"] - counts["not_judged"]
    seen = (table["verdict"].notna() & (table["verdict"] != "unmeasured")).to_numpy()
    not_judged = told_of(counts["not_judged"], "not judged (no dry barrel, or retired)")
    unseen = "; ".join(
        part for part in (told_of(counts["unmeasured"], "not measured"), not_judged) if part
    )
    readings = readings_in_words(told)

    def of_measured(count: float) -> Fact:
        return Fact(count, measured, "share", unseen, readings)

    def of_judged(count: float) -> Fact:
        return Fact(count, judged, "share", not_judged, "the checked hydrants")

    remedy = table["remedy"]
    facts = {
        "inside, of those measured": of_measured(counts["inside"]),
        "inside by the probabilities of the readings": of_measured(expected_inside(table)[0]),
        "low, of those measured": of_measured(counts["low"]),
        "high, of those measured": of_measured(counts["high"]),
        "out of the window, of those measured": of_measured(counts["low"] + counts["high"]),
        "unresolved, of those measured": of_measured(counts["unresolved"]),
        "marginal, of those measured": of_measured(
            int((table["marginal"].fillna(False).to_numpy(dtype=bool) & seen).sum())
        ),
        "stale, of those measured": of_measured(int((told.stale & seen).sum())),
        "measured, of those judged": of_judged(measured),
        "work to do": of_judged(int(remedy.isin(WORK).sum())),
        "kit jobs": of_judged(int(remedy.isin(KIT_REMEDIES).sum())),
        "to measure": of_judged(int((remedy == "measure").sum())),
    }
    kits = told.remedies
    money = told.result.kits.money
    if money is not None:
        bare = int(kits["kits_unpriced"].sum())
        facts["kits for all jobs"] = Fact(
            float(kits["kits_cost"].sum()), None, money,
            f"{f'{bare:,} kits without a price, ' if bare else ''}labor, materials and driving",
            f"kit catalogue {told.result.kits.catalogue_id}",
        )  # fmt: skip
    return {**facts, **_of_season(told, facts)}


def told_of(count: int, words: str) -> str:
    """
    How many of what, and nothing where there is none.

    Examples
    --------
    >>> told_of(12, "not judged"), told_of(0, "not judged")
    ('12 not judged', '')
    """
    return f"{count:,} {words}" if count else ""


def _of_season(told: Report, facts: dict[str, Fact]) -> dict[str, Fact]:
    planned, left = told.planned, told.backlog
    if planned is None or left is None:
        return {}
    words, limits = planned.words, planned.pool[1]
    data = f"season {words.season_id}, figures of {words.read_on} ({words.source})"
    done = planned.calendar["hydrant_id"]
    work = facts["work to do"].numerator
    beside = told_of(
        int(work) - left.jobs, "with other work, or without a day or a price in this season"
    )
    right = put_right(told.result.table, done, resolution_in=told.result.rule.resolution_in)
    inside = facts["inside, of those measured"]
    return {
        "jobs that can be planned": Fact(left.jobs, None, "jobs", beside, data),
        "cost of these jobs": Fact(left.cost, None, words.money, beside, data),
        "money of a season that they take": Fact(
            left.cost, limits.budget, "seasons", f"{words.contingency_share:.0%} kept back", data
        ),
        "crew hours of a season that they take": Fact(
            left.hours, limits.crew_hours, "seasons", "", data
        ),
        "seasons until they are done": Fact(
            left.seasons, None, "seasons", "hydrants that leave their window meanwhile", data
        ),
        "jobs of the season": Fact(len(done), left.jobs, "share", beside, data),
        "cost of the season": Fact(
            planned.cost, words.available, "share", f"{words.contingency_share:.0%} kept back", data
        ),
        "inside, of those measured, after the season": Fact(
            inside.numerator + right, inside.denominator, "share", inside.left_out,
            f"{inside.data}; {data}, done as planned",
        ),
    }  # fmt: skip


def readings_in_words(told: Report) -> str:
    """From when to when the readings are that stand."""
    dates = told.result.table["reading_date"].dropna()
    if not len(dates):
        return "no readings"
    first, last = dates.min(), dates.max()
    return f"readings of {first:%Y-%m-%d}" + (f" to {last:%Y-%m-%d}" if first < last else "")


def figures_table(told: Report) -> pd.DataFrame:
    """
    The `report_figures` table.

    Parameters
    ----------
    told
        From `hydrantgis.job.reporting.report`.
    """
    rows = [
        {"figure": name, **fact._asdict(), "value": fact.value}
        for name, fact in facts_of(told).items()
    ]
    frame = pd.DataFrame(rows).assign(
        rule_id=told.result.rule.rule_id, as_of=pd.Timestamp(told.result.moment.date())
    )
    endless = frame["value"].abs() == math.inf
    return REPORT_FIGURES.conform(frame.assign(value=frame["value"].mask(endless)))
