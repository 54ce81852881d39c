"""
Sheets of a workbook: how cells look, and a declared table as a sheet of its own.

Text is always written as text, so that an id keeps its zeros and nothing in a cell runs.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from hydrantgis.deliver.looks import BOUNDARY, FAINT, INK
from hydrantgis.ground.table import Column, Kind
from hydrantgis.ground.units import LengthUnit

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    import pandas as pd
    from numpy.typing import NDArray
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

    from hydrantgis.ground.table import Table

HEAD = "#e8e5db"
YOURS = "#fdf6e0"
YOURS_HEAD = "#f3e3ae"
OVER = "#b3261e"
HAIR = "#d9d6cc"
DATE, MONEY, CENTS, TENTHS, WHOLE, YEAR, TEXT = (
    "yyyy-mm-dd", "#,##0_0", "#,##0.00_0", "#,##0.0_0", "#,##0_0", "0_0", "@",
)  # fmt: skip

_NO_XML = re.compile("[^\t\n\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_LONGEST = 32_767
"""Characters that a cell can hold (ECMA-376)."""
_WIDEST, _NARROWEST = 44, 7
_LINE_HEIGHT, _MOST_LINES = 11.5, 30
_LETTERS = 1.25
"""Letters of a text in the width of a digit; less than it is, for lines break between words."""
FONT = {"font_name": "Arial", "font_size": 9}
HEAD_HEIGHT = 36
"""Of headings: two lines and, below them, the buttons of a filter. [points]"""
_MONEY_NAMES = ("cost", "unit_cost", "kits_cost", "season_cost")


def as_cell(text: str) -> str:
    r"""
    Text as a cell can hold it: one kind of line end, no character that XML has not.

    Examples
    --------
    >>> as_cell("12 Mill Rd\r\nrear")
    '12 Mill Rd\nrear'
    """
    told = _NO_XML.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))
    # places above U+FFFF take two units of what the limit counts
    return told if len(told) <= _LONGEST // 2 else told[: _LONGEST // 2 - 1] + "\u2026"


def new_book(path: Path, *, title: str, moment: dt.datetime, comments: str) -> Workbook:
    """
    A workbook without a sheet; the same sheets give the same bytes.

    Parameters
    ----------
    path
        Where it is written once it is closed.
    title, comments
        Among its properties.
    moment
        Of its making.
    """
    import xlsxwriter

    # the library changes the font that it is given
    options = {
        "in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
        "strings_to_numbers": False, "default_format_properties": dict(FONT),
    }  # fmt: skip
    made = xlsxwriter.Workbook(str(path), options)
    in_utc = moment if moment.tzinfo is None else moment.astimezone(dt.UTC).replace(tzinfo=None)
    made.set_properties({"title": as_cell(title), "created": in_utc, "comments": as_cell(comments)})
    made.set_size(24_000, 14_000)
    return made


@dataclass(slots=True)
class Looks:
    """
    Formats of a workbook, each made once.

    Attributes
    ----------
    book
        To which they belong.
    """

    book: Workbook
    made: dict[tuple[tuple[str, object], ...], Format] = field(default_factory=dict)

    def __call__(self, **words: object) -> Format:
        """A format with the properties given, in the font of the workbook."""
        key = tuple(sorted(words.items()))
        if key not in self.made:
            plain = {**FONT, "font_color": INK, "valign": "top"}
            self.made[key] = self.book.add_format({**plain, **words})
        return self.made[key]

    def cell(self, **words: object) -> Format:
        """A cell of a list: a hairline below."""
        return self(**{"bottom": 1, "bottom_color": HAIR, **words})

    def head(self, align: str, *, yours: bool = False) -> Format:
        """A heading; in the color of what can be edited where it is `yours`."""
        return self(
            bold=True, text_wrap=True, align=align, indent=int(align == "right"),
            bg_color=YOURS_HEAD if yours else HEAD, bottom=2, bottom_color=INK, top=1,
            top_color=BOUNDARY,
        )  # fmt: skip


def number_format(column: Column) -> str:
    """How a column's numbers are shown."""
    if column.kind is Kind.DATE:
        return DATE
    if column.kind is Kind.TEXT or column.kind is Kind.FLAG:
        return TEXT
    if column.name.endswith("_year"):
        return YEAR
    if column.kind is Kind.INTEGER or column.unit is LengthUnit.FT:
        return WHOLE if column.name != "bury_to_order_ft" else TENTHS
    if column.name in _MONEY_NAMES:
        return CENTS
    return CENTS if column.unit is None or column.unit is LengthUnit.IN else TENTHS


def write_cells(
    sheet: Worksheet, row: int, place: int, column: Column, values: pd.Series, look: Format
) -> None:
    """
    Write one column downwards; a missing value is a blank cell with its look.

    Parameters
    ----------
    sheet, row, place
        Where it begins, from 0.
    column
        Its declaration.
    values
        Of the declared kind.
    look
        Of every cell.
    """
    missing = values.isna().to_numpy()
    if column.kind is Kind.TEXT:
        told: Sequence[Any] = [as_cell(v) for v in values.fillna("").tolist()]
        write: Any = sheet.write_string
    elif column.kind is Kind.FLAG:
        told = np.where(values.fillna(False).to_numpy(dtype=bool), "yes", "no").tolist()
        write = sheet.write_string
    elif column.kind is Kind.DATE:
        told, write = values.dt.to_pydatetime().tolist(), sheet.write_datetime
    else:
        told, write = values.astype("float64").tolist(), sheet.write_number
    for k, (value, blank) in enumerate(zip(told, missing.tolist(), strict=True)):
        if blank:
            sheet.write_blank(row + k, place, None, look)
        else:
            write(row + k, place, value, look)


def width_of(column: Column, values: pd.Series) -> float:
    """A width that shows the heading in two lines and most of the values. [characters]"""
    words = [len(word) for word in column.heading.split()]
    head = max(max(words), (sum(words) + len(words)) / 2) + 3
    if column.kind is Kind.DATE:
        return max(11.0, head)
    if column.kind is not Kind.TEXT or not len(values):
        return max(9.0, head)
    lengths = values.dropna().str.len()
    most = float(lengths.quantile(0.95)) if len(lengths) else 0.0
    return float(np.clip(max(head, most + 2), _NARROWEST, _WIDEST))


def lines_of(values: pd.Series, width: float) -> NDArray[np.intp]:
    """
    How many lines each text takes in a column that wraps.

    Examples
    --------
    >>> import pandas as pd
    >>> lines_of(pd.Series(["a school is near", None, "x"]), 8.0).tolist()
    [2, 1, 1]
    """
    text = values.fillna("")
    fits = width * _LETTERS
    lengths = text.str.len() + text.str.count("\n") * (fits / 2)
    wanted = np.maximum(np.ceil(lengths.to_numpy(dtype=np.float64) / fits), 1)
    return np.asarray(wanted, dtype=np.intp)


def grow_rows(sheet: Worksheet, rows: Iterable[int], lines: NDArray[np.intp]) -> None:
    """Give rows of several lines their height; the others grow with what is typed."""
    for row, count in zip(rows, lines.tolist(), strict=True):
        if count > 1:
            sheet.set_row(row, min(count, _MOST_LINES) * _LINE_HEIGHT + 2)


def hush(sheet: Worksheet, last: int, edge: int) -> None:
    """Let no mark stand in the corner of an id that looks like a number: it is meant to be text."""
    from xlsxwriter.utility import xl_range

    sheet.ignore_errors({"number_stored_as_text": xl_range(0, 0, last, edge)})


def printed(
    sheet: Worksheet, *, footer: str, heading_row: int, last: tuple[int, int], paper: int = 1
) -> None:
    """
    Make a sheet ready for paper: landscape, one page wide, headings on each page.

    Parameters
    ----------
    sheet
        The sheet.
    footer
        What stands at the foot, beside the name of the sheet and the page.
    heading_row
        The row of the headings, from 0.
    last
        Row and column of the last cell, from 0.
    paper
        1 for letter, 17 for 11 by 17 in (ECMA-376, pageSetup).
    """
    sheet.set_landscape()
    sheet.set_paper(paper)
    sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(heading_row)
    sheet.print_area(0, 0, *last)
    # a code of its own begins with &, so that one of the title is doubled
    safe = as_cell(footer).replace("\n", " ")[:80].replace("&", "&&")
    sheet.set_footer(f"&L&8{safe}&C&8&A&R&8Page &P of &N")


def write_top(sheet: Worksheet, looks: Looks, title: str, about: str) -> None:
    """Write the title of a sheet and a line of what it shows, in its first two rows."""
    sheet.set_row(0, 22)
    sheet.write_string(0, 0, as_cell(title), looks(bold=True, font_size=14, valign="vcenter"))
    sheet.write_string(1, 0, as_cell(about), looks(font_color=BOUNDARY))


def write_table(
    book: Workbook, looks: Looks, name: str, table: Table, frame: pd.DataFrame, *, footer: str,
    total: str | tuple[str, ...] = (),
) -> Worksheet:  # fmt: skip
    """
    Write a declared table as a sheet: headings that stay, a filter, real dates, text ids.

    Parameters
    ----------
    book, looks
        The workbook and its formats.
    name
        Of the sheet.
    table, frame
        The declaration and a conformed frame; may be empty.
    footer
        Of each page.
    total
        Columns that are summed below, of the rows that a filter leaves.

    Returns
    -------
    sheet
        The first row stands in its fourth line.
    """
    names = (total,) if isinstance(total, str) else total
    sheet = book.add_worksheet(name)
    sheet.hide_gridlines(2)
    write_top(sheet, looks, table.title, table.about)
    heads, first, count = 2, 3, len(frame)
    sheet.set_row(heads, HEAD_HEIGHT)
    lines = np.ones(count, dtype=np.intp)
    for place, column in enumerate(table.columns):
        values = frame[column.name]
        wide = width_of(column, values)
        right = number_format(column) not in (TEXT, DATE)
        sheet.set_column(place, place, wide)
        sheet.write_string(heads, place, column.heading, looks.head("right" if right else "left"))
        look = looks.cell(
            num_format=number_format(column), align="right" if right else "left",
            text_wrap=wide >= _WIDEST,
        )  # fmt: skip
        if wide >= _WIDEST:
            lines = np.maximum(lines, lines_of(values, wide))
        write_cells(sheet, first, place, column, values, look)
    grow_rows(sheet, range(first, first + count), lines)
    last = first + max(count, 1) - 1
    edge = len(table.columns) - 1
    if not count:
        sheet.write_string(first, 0, "none", looks(font_color=FAINT, italic=True))
    if names and count:
        _write_total(sheet, looks, table, frame, names, first, last)
    hush(sheet, last, edge)
    sheet.autofilter(heads, 0, last, edge)
    sheet.freeze_panes(first, 0)
    ends = last + (1 if names and count else 0)
    printed(sheet, footer=footer, heading_row=heads, last=(ends, edge))
    _protect(sheet)
    return sheet


def _write_total(
    sheet: Worksheet, looks: Looks, table: Table, frame: pd.DataFrame, names: tuple[str, ...],
    first: int, last: int,
) -> None:  # fmt: skip
    from xlsxwriter.utility import xl_rowcol_to_cell

    top = {"top": 1, "top_color": INK, "bold": True}
    for k in range(len(table.columns)):
        sheet.write_blank(last + 1, k, None, looks(**top))
    sheet.write_string(last + 1, 0, "Total", looks(**top))
    for name in names:
        place = table.names.index(name)
        # 109: the sum of the rows that a filter leaves
        ends = f"{xl_rowcol_to_cell(first, place)}:{xl_rowcol_to_cell(last, place)}"
        look = looks(**top, num_format=number_format(table[name]), align="right")
        sheet.write_formula(
            last + 1, place, f"=SUBTOTAL(109,{ends})", look, float(frame[name].sum())
        )


def _protect(sheet: Worksheet) -> None:
    sheet.protect("", PROTECTED)


PROTECTED = {
    "sort": True, "autofilter": True, "format_columns": True, "format_rows": True,
    "format_cells": False,
}  # fmt: skip
"""What a protected sheet lets its reader do."""
