"""
The sheet that tells what a planner's workbook is, what to fill in, and how to send it back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from hydrantgis.deliver.booksheets import (
    CENTS,
    PROTECTED,
    TENTHS,
    as_cell,
    grow_rows,
    lines_of,
    printed,
    write_top,
)
from hydrantgis.deliver.jobsheet import MOBILISATION_COST, MOBILISATION_HOURS, SHOWN
from hydrantgis.deliver.looks import BOUNDARY, INK

if TYPE_CHECKING:
    import datetime as dt

    from xlsxwriter.workbook import Workbook

    from hydrantgis.deliver.booksheets import Looks
    from hydrantgis.deliver.jobsheet import Sums
    from hydrantgis.standards.season import SeasonWords

README_SHEET = "Read me"
_WIDE = 92

_FILL_IN = (
    ("Decision", "include: it has to be done. exclude: it may not. Blank: as the plan finds best."),
    ("Wanted crew", "The crew that is to do it. Blank: whichever the plan finds best."),
    ("Wanted week", "The week in which it is to be done, as 2027-W14. Blank: whichever fits."),
    ("Note", "Whatever has to be known. It is kept with the job and decides nothing."),
    ("Rest", "Sheets are protected without a password. Filters work as they are; to sort, or to "
     "delete columns, take the protection off. Rows are known by their hydrant, not by place."),
)  # fmt: skip
_SUMS = (
    ("In plan after edits", "What the plan does, with your decisions. Bold where they change it."),
    ("Cost, hours", "Of the job and its share of the driving. Sums of an area and above the list "
     "take the jobs in the plan after edits, and one mobilisation of each area with such a job."),
    ("Limits", "The sums do not plan. A decision can put another job out, move days and change the "
     "driving; crews, kits, neighbors out of service and days without work are looked at when the "
     "workbook is taken back."),
)  # fmt: skip
_BACK = (
    ("1", "Save the workbook as XLSX, under any name."),
    ("2", "Run the plan again, with the words it was made with, and: --adopt FILE"),
    (
        "Example",
        "hydrantgis plan --register register.gpkg --season season.toml --adopt season.xlsx",
    ),
    ("Rule and kits", "Name them with --rule and --kits as before, where the register keeps none."),
    ("3", "Every entry is told with what became of it: adopted, or refused and why. None is lost."),
)  # fmt: skip


def write_readme(
    book: Workbook, looks: Looks, words: SeasonWords, sums: Sums, cautions: tuple[str, ...],
    moment: dt.datetime, *, footer: str,
) -> None:  # fmt: skip
    """
    Write the sheet, and name the cells that formulas of the jobs use.

    Parameters
    ----------
    book, looks
        The workbook and its formats.
    words, sums
        The season, and what its sums go by.
    cautions
        Sentences printed wherever work is described.
    moment
        The time of what the workbook rests on.
    footer
        Of each page.
    """
    sheet = book.add_worksheet(README_SHEET)
    sheet.hide_gridlines(2)
    write_top(
        sheet,
        looks,
        words.title,
        f"From {words.starts_on} to {words.ends_on}, season {words.season_id}",
    )
    sheet.set_column(0, 0, 24)
    sheet.set_column(1, 1, _WIDE)
    left = looks(bold=True, valign="vcenter")
    text = looks(text_wrap=True, align="left", valign="vcenter")
    section = looks(
        bold=True, font_size=11, font_color=BOUNDARY, bottom=1, bottom_color=INK, valign="bottom"
    )
    row = 2

    def part(title: str, lines: tuple[tuple[str, str], ...]) -> None:
        nonlocal row
        sheet.set_row(row, 26)
        sheet.write_string(row, 0, title, section)
        sheet.write_blank(row, 1, None, section)
        row += 1
        for label, told in lines:
            sheet.write_string(row, 0, as_cell(label), left)
            sheet.write_string(row, 1, as_cell(told), text)
            grow_rows(sheet, [row], lines_of(pd.Series([told], dtype="str"), _WIDE))
            row += 1

    part("What you fill in, on the sheet Jobs", _FILL_IN)
    part("How to send it back", _BACK)
    part("What the sums say", _SUMS)
    part(
        "Figures",
        (("Source", words.source), ("Figures of", f"{words.read_on}"),
         ("Data of", f"{moment:%Y-%m-%d %H:%M}"), ("Money", words.money)),
    )  # fmt: skip
    figures = [
        ("Budget", words.budget, CENTS, None),
        ("of it kept back", words.budget - words.available, CENTS, None),
        ("Available", words.available, CENTS, None),
        ("One hour of a crew", words.hour_cost, CENTS, None),
        ("Mobilisation of an area", sums.area_cost, CENTS, MOBILISATION_COST),
        ("and its hours", sums.area_hours, TENTHS, MOBILISATION_HOURS),
    ]
    if sums.crew_hours is not None:
        figures.insert(3, ("Crew hours", sums.crew_hours, TENTHS, None))
    for label, value, number, name in figures:
        sheet.write_string(row, 0, label, left)
        sheet.write_number(row, 1, value, looks(num_format=number, align="left", valign="vcenter"))
        if name is not None:
            book.define_name(name, f"='{README_SHEET}'!$B${row + 1}")
        row += 1
    crews = tuple(
        (f"Crew {crew.crew_id}", f"{', '.join(crew.does)}; {crew.hours_a_day:g} hours a day")
        for crew in words.crews
    )
    part("Crews", crews)
    if cautions:
        part("Cautions", tuple(("", caution) for caution in cautions))
    part("Columns of the sheet Jobs", tuple((column.heading, column.about) for column in SHOWN))
    printed(sheet, footer=footer, heading_row=0, last=(row - 1, 1))
    sheet.set_portrait()
    sheet.fit_to_pages(1, 1)
    sheet.protect("", PROTECTED)
