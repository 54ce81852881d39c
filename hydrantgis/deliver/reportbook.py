"""
The workbook of a report: every table of it and of the season, with sums and shares as formulas.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.deliver.booksheets import (
    WHOLE,
    Looks,
    as_cell,
    grow_rows,
    lines_of,
    new_book,
    printed,
    write_table,
    write_top,
)
from hydrantgis.deliver.looks import INK
from hydrantgis.ground.reports import REPORT_FIGURES
from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

    from hydrantgis.ground.table import Table

MOST_ROWS = 100_000
"""A longer table is cut, and says so: spreadsheets hold a million rows and are slow long before."""
_SHARE = "0.0%"
_FIRST = 3


@dataclass(frozen=True, slots=True)
class Sheet:
    """
    A table on a sheet of its own.

    Attributes
    ----------
    name
        Of the sheet.
    table, frame
        The declaration and a conformed frame; may be empty.
    total
        Columns that are summed.
    shared
        Whether the sums have a share inside of those measured, too.
    """

    name: str
    table: Table
    frame: pd.DataFrame
    total: tuple[str, ...] = ()
    shared: bool = False


def write_reportbook(
    path: Path, *, title: str, moment: dt.datetime, figures: pd.DataFrame, sheets: list[Sheet],
    about: tuple[tuple[str, str], ...],
) -> None:  # fmt: skip
    """
    Write the workbook as XLSX (ISO/IEC 29500).

    Parameters
    ----------
    path
        The file; replaced as a whole.
    title
        Of the report.
    moment
        The time of what it rests on; its stamp.
    figures
        The `report_figures` table, the first sheet.
    sheets
        Those that follow.
    about
        What the last sheet says, a label and a text each.

    Notes
    -----
    The same words give the same bytes. Formulas carry their values.
    """
    with replacing(path) as fresh:
        made = new_book(fresh, title=title, moment=moment, comments="report")
        looks = Looks(made)
        _write_figures(made, looks, figures, title)
        for sheet in sheets:
            _write_sheet(made, looks, sheet, title)
        _write_about(made, looks, title, about)
        made.close()


def _write_figures(made: Workbook, looks: Looks, figures: pd.DataFrame, title: str) -> None:
    """The figures; each share is worked out from its two counts."""
    table = replace(REPORT_FIGURES, title=title)
    sheet = write_table(made, looks, "Figures", table, figures, footer=title)
    place = table.names.index("value")
    for name in ("numerator", "denominator"):
        values = figures[name].to_numpy(dtype=np.float64)
        for k in np.flatnonzero(values == np.round(values)).tolist():
            look = looks.cell(num_format=WHOLE, align="right")
            sheet.write_number(_FIRST + k, table.names.index(name), float(values[k]), look)
    counts = figures["denominator"].to_numpy(dtype=np.float64)
    for k in np.flatnonzero(counts > 0).tolist():  # a few figures
        row = _FIRST + k
        form = _SHARE if figures["unit"].iloc[k] == "share" else "0.00"
        look = looks.cell(num_format=form, align="right")
        value = float(figures["value"].iloc[k])
        sheet.write_formula(row, place, f"=B{row + 1}/C{row + 1}", look, value)


def _write_sheet(made: Workbook, looks: Looks, told: Sheet, title: str) -> None:
    table, frame = told.table, told.frame
    if len(frame) > MOST_ROWS:
        about = f"{table.about} The first {MOST_ROWS:,} of {len(frame):,}."
        table, frame = replace(table, about=about), frame.head(MOST_ROWS)
    kept = pd.DataFrame(frame[table.names])
    sheet = write_table(made, looks, told.name, table, kept, footer=title, total=told.total)
    if told.shared and len(kept):
        _write_share(sheet, looks, table, kept)


def _write_share(sheet: Worksheet, looks: Looks, table: Table, frame: pd.DataFrame) -> None:
    """The share inside of the sums of a sheet."""
    from xlsxwriter.utility import xl_rowcol_to_cell

    row = _FIRST + len(frame)
    inside, measured = (
        xl_rowcol_to_cell(row, table.names.index(name)) for name in ("inside", "measured")
    )
    many = float(frame["measured"].sum())
    value = float(frame["inside"].sum()) / many if many else ""
    look = looks(top=1, top_color=INK, bold=True, num_format="0.00", align="right")
    sheet.write_formula(
        row, table.names.index("inside_share"), f'=IF({measured}=0,"",{inside}/{measured})', look,
        value,
    )  # fmt: skip


def _write_about(
    made: Workbook, looks: Looks, title: str, about: tuple[tuple[str, str], ...]
) -> None:
    """What the figures are, what they rest on, and the cautions."""
    wide = 110
    sheet = made.add_worksheet("About")
    sheet.hide_gridlines(2)
    write_top(sheet, looks, title, "What the figures mean and rest on")
    sheet.set_column(0, 0, 34)
    sheet.set_column(1, 1, wide)
    for k, (label, told) in enumerate(about):
        row = _FIRST + k
        sheet.write_string(row, 0, as_cell(label), looks(bold=True))
        sheet.write_string(row, 1, as_cell(told), looks(text_wrap=True, align="left"))
        grow_rows(sheet, [row], lines_of(pd.Series([told], dtype="str"), wide))
    printed(sheet, footer=title, heading_row=0, last=(_FIRST + max(len(about), 1) - 1, 1))
