"""
Which tables the workbook of a report holds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from hydrantgis.deliver.reportbook import Sheet, write_reportbook
from hydrantgis.ground.reports import (
    AREA_SHARES,
    DONE,
    FAMILY_FIGURES,
    HEIGHT_BINS,
    REMEDY_FIGURES,
    TREND,
    WORST,
)
from hydrantgis.ground.results import JOBS, KIT_TOTALS, SWEEP, VISITS
from hydrantgis.ground.seasons import CALENDAR, CREW_DAYS, CURVE, NOTICES, ORDERS, SELECTION
from hydrantgis.job.reportdetail import reading_help
from hydrantgis.job.reportfigures import figures_table

if TYPE_CHECKING:
    from pathlib import Path

    from hydrantgis.job.reporting import Report

_COUNTS = ("hydrants", "not_judged", "measured", "inside", "low", "high", "unresolved",
           "unmeasured")  # fmt: skip
_NEEDS = ("jobs", "kits", "to_measure", "to_replace", "to_lower", "to_regrade", "to_review")
_VERDICTS = ("inside", "low", "high", "unresolved")


def sheets_of(told: Report) -> list[Sheet]:
    """
    The sheets behind the figures.

    Parameters
    ----------
    told
        From `hydrantgis.job.reporting.report`.
    """
    of_season = () if told.planned is None else ("in_season", "left", "season_cost")
    remedies = ("hydrants", "kits", "kits_cost", "kits_unpriced", *of_season)
    sheets = [
        Sheet("Areas", AREA_SHARES, told.areas, (*_COUNTS, "stale", *_NEEDS), shared=True),
        Sheet("Remedies", REMEDY_FIGURES, told.remedies, remedies),
        Sheet("Families", FAMILY_FIGURES, told.families, (*_COUNTS, *_NEEDS), shared=True),
        Sheet("Farthest out", WORST, told.worst),
        Sheet("Heights", HEIGHT_BINS, told.bins, _VERDICTS),
        Sheet("Other windows", SWEEP, told.swept.table),
        Sheet("Seasons before", TREND, told.trend),
        Sheet("Done", DONE, told.done, ("extended", "closed_out", "of_plan")),
    ]
    if told.season is not None:
        sheets += [
            Sheet("Kit jobs", JOBS, told.season.jobs, ("unit_cost",)),
            Sheet("Kits", KIT_TOTALS, told.season.kit_totals, ("kits", "cost")),
            Sheet("To measure", VISITS, told.season.visits),
        ]
    plan = told.planned
    if plan is not None:
        sheets += [
            Sheet("Season jobs", SELECTION, plan.selection, ("job_cost", "job_hours")),
            Sheet("Calendar", CALENDAR, plan.calendar, ("job_hours", "drive_hours")),
            Sheet("Crew days", CREW_DAYS, plan.crew_days, ("jobs", "work_hours", "drive_hours")),
            Sheet("Orders", ORDERS, plan.orders, ("cost",)),
            Sheet("Notices", NOTICES, plan.notices),
        ]
    elif told.season is not None:
        sheets.append(Sheet("Orders", ORDERS, told.season.orders, ("cost",)))
    if told.curve is not None:
        sheets.append(Sheet("What money brings", CURVE, told.curve))
    return sheets


def write_book(path: Path, told: Report) -> None:
    """
    Write the workbook of a report.

    Parameters
    ----------
    path
        The file; replaced as a whole.
    told
        From `hydrantgis.job.reporting.report`.
    """
    facts = told.result.provenance
    about = [("How to read it", words.text) for words in reading_help()]
    about += list(zip(facts["item"].fillna(""), facts["value"].fillna(""), strict=True))
    write_reportbook(
        path, title=told.title, moment=told.result.moment, figures=figures_table(told),
        sheets=sheets_of(told), about=tuple(about),
    )  # fmt: skip
