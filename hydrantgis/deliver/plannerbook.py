"""
The planner's workbook: jobs with sums that follow the planner's decisions, and the plan's tables.

In the sums a job costs its own cost and its share of the driving; an area that is worked in costs
its mobilisation once. Formulas carry their values, so that a reader that computes nothing shows
them too.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hydrantgis.deliver.booksheets import Looks, as_cell, new_book, write_table
from hydrantgis.deliver.jobsheet import Sums, write_jobs
from hydrantgis.deliver.readme import write_readme
from hydrantgis.ground.plannerbook import (
    BOOK_FORMAT,
    CREWS_AT,
    FACTS,
    HEADINGS,
    SENT_FROM,
    SENT_SHEET,
    WEEKS_AT,
)  # fmt: skip
from hydrantgis.ground.seasons import CALENDAR, CREW_DAYS, NOTICES, ORDERS
from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd
    from xlsxwriter.workbook import Workbook

    from hydrantgis.standards.season import SeasonWords

_WEEK = dt.timedelta(days=7)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plannerbook:
    """
    What a workbook shows.

    Attributes
    ----------
    words
        What the season has.
    selection, calendar, crew_days, orders, notices
        Conformed to the tables of those names; may be empty.
    moment
        The time of what it rests on; its stamp.
    fingerprint
        Of the plan that it was made from.
    cautions
        Sentences printed wherever work is described.
    crew_hours
        Hours of all crew days; the season's limit where None. [h]
    """

    words: SeasonWords
    selection: pd.DataFrame
    calendar: pd.DataFrame
    crew_days: pd.DataFrame
    orders: pd.DataFrame
    notices: pd.DataFrame
    moment: dt.datetime
    fingerprint: str
    cautions: tuple[str, ...] = ()
    crew_hours: float | None = None


def write_plannerbook(path: Path, book: Plannerbook) -> None:
    """
    Write the workbook as XLSX (ISO/IEC 29500).

    Parameters
    ----------
    path
        The file; replaced as a whole.
    book
        What it shows.

    Raises
    ------
    LockedError
        The file is open in another program.

    Notes
    -----
    The same `book` gives the same bytes. Sheets are protected without a password, so that only what
    the planner decides is changed by accident; whoever wants more takes the protection off.
    """
    words = book.words
    footer = f"{words.title} ({words.season_id})"
    with replacing(path) as fresh:
        made = new_book(
            fresh, title=words.title, moment=book.moment, comments=f"plan {book.fingerprint}"
        )
        looks = Looks(made)
        weeks = weeks_of(words.starts_on, words.ends_on)
        sums = Sums(
            hour_cost=words.hour_cost, area_hours=words.area_hours,
            area_cost=words.area_cost + words.area_hours * words.hour_cost,
            drive=_driving(book.selection, book.crew_days), available=words.available,
            crew_hours=words.most_crew_hours if book.crew_hours is None else book.crew_hours,
        )  # fmt: skip
        write_jobs(
            made, looks, book.selection, words, sums, crews=len(words.crews), weeks=len(weeks),
            footer=footer,
        )  # fmt: skip
        write_table(made, looks, "Calendar", CALENDAR, book.calendar, footer=footer)
        write_table(made, looks, "Crew days", CREW_DAYS, book.crew_days, footer=footer)
        write_table(made, looks, "Orders", ORDERS, book.orders, footer=footer, total="cost")
        write_table(made, looks, "Notices", NOTICES, book.notices, footer=footer)
        write_readme(made, looks, words, sums, book.cautions, book.moment, footer=footer)
        _write_sent(made, book, weeks)
        made.close()


def weeks_of(first: dt.date, last: dt.date) -> list[str]:
    """
    The weeks from one day to another, as ISO 8601 writes them.

    Examples
    --------
    >>> weeks_of(dt.date(2026, 12, 30), dt.date(2027, 1, 12))
    ['2026-W53', '2027-W01', '2027-W02']
    """
    monday = first - dt.timedelta(days=first.weekday())
    count = (last - monday).days // 7 + 1
    told = [(monday + k * _WEEK).isocalendar() for k in range(count)]
    return [f"{week.year}-W{week.week:02d}" for week in told]


def _driving(selection: pd.DataFrame, crew_days: pd.DataFrame) -> pd.Series:
    """The share of each job in what crews drive, so that those of the plan come to its sum. [h]"""
    about = selection["drive_hours_about"].fillna(0.0)
    planned = float(about[selection["selected"].fillna(False).astype(bool)].sum())
    drives = float(crew_days["drive_hours"].sum())
    return about * (drives / planned if planned > 0 and len(crew_days) else 1.0)


def _write_sent(made: Workbook, book: Plannerbook, weeks: list[str]) -> None:
    """What the workbook was made from and what stood in it, so that an edit can be told."""
    sheet = made.add_worksheet(SENT_SHEET)
    told = (BOOK_FORMAT, book.fingerprint, book.words.season_id)
    for row, (name, value) in enumerate(zip(FACTS, told, strict=True)):
        sheet.write_string(row, 0, name)
        sheet.write_string(row, 1, as_cell(value))
    column = {"decision": "decision", "crew": "asked_crew", "week": "asked_week", "note": "note"}
    columns = {
        SENT_FROM: ["hydrant_id", *book.selection["hydrant_id"].fillna("").tolist()],
        **{
            SENT_FROM + 1 + k: [entry, *book.selection[column[entry]].fillna("").tolist()]
            for k, entry in enumerate(HEADINGS)
        },
        CREWS_AT: ["crews", *(crew.crew_id for crew in book.words.crews)],
        WEEKS_AT: ["weeks", *weeks],
    }
    for place, values in columns.items():
        for row in np.flatnonzero([bool(value) for value in values]).tolist():
            sheet.write_string(row, place, as_cell(values[row]))
    sheet.protect()
    sheet.very_hidden()
