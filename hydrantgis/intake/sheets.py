"""
Workbooks: one layer a sheet, a column of numbers as numbers, other cells as the text that is seen.

A number kept as `0012` by its format stays `0012`; a date is told as its day, whatever its format.
"""

from __future__ import annotations

import datetime as dt
import re
import warnings
import zipfile
from typing import TYPE_CHECKING, Any

import pandas as pd

from hydrantgis.ground.errors import UnreadableError
from hydrantgis.intake.texts import column_names, without_blank_columns

if TYPE_CHECKING:
    from pathlib import Path

_MIDNIGHT = dt.time()
_MOST_COUNTED = 1e15


def read_sheets(
    path: Path, *, header_row: int = 1
) -> tuple[dict[str, pd.DataFrame], dict[str, str]]:
    """
    The sheets of a workbook, blank cells missing, blank rows left out.

    Parameters
    ----------
    path
        An XLSX workbook (ISO/IEC 29500).
    header_row
        The row that holds the names, from 1.

    Returns
    -------
    frames
        By title, sheets without a cell left out; index the row's number below the names, from 1.
    unreadable
        By title, why a sheet cannot be read: formulas that were never computed, two columns of one
        name.

    Raises
    ------
    UnreadableError
        The workbook is damaged, or none of its sheets can be read.
    """
    import openpyxl

    formulas = _has_formulas(path)
    try:
        with path.open("rb") as stream, warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and lists that openpyxl leaves out
            # an open file, because a name that does not end in .xlsx would be refused
            book = openpyxl.load_workbook(stream, read_only=True, data_only=True)
            told = openpyxl.load_workbook(stream, read_only=True) if formulas else None
            frames: dict[str, pd.DataFrame] = {}
            faults: dict[str, UnreadableError] = {}
            for sheet in book.worksheets:
                try:
                    frame = _frame(sheet, path.name, header_row)
                    if told is not None:
                        _need_values(sheet, told[sheet.title], path.name)
                except UnreadableError as error:
                    faults[sheet.title] = error
                    continue
                if frame is not None:
                    frames[sheet.title] = frame
            book.close()
    except Exception as error:  # a damaged workbook fails in many ways inside openpyxl
        raise UnreadableError(
            "the workbook is damaged", where=path.name, found=f"{type(error).__name__}: {error}",
            do="open it in a spreadsheet program and save it again, or ask for it again",
        ) from error  # fmt: skip
    if not frames and faults:
        raise next(iter(faults.values()))
    if not frames:
        raise UnreadableError(
            "the workbook holds no table", where=path.name, accepted="names in a row, rows below",
            do="name the row of the names with --header-row, or ask for the file again",
        )  # fmt: skip
    return frames, {title: f"{error.what}: {error.found}" for title, error in faults.items()}


def _frame(sheet: Any, where: str, header_row: int) -> pd.DataFrame | None:  # noqa: ANN401
    sheet.reset_dimensions()  # what a sheet says of its own size is not always so
    rows = sheet.iter_rows(min_row=header_row)
    head = next(rows, ())
    while head and all(cell.value is None for cell in head):
        head = next(rows, ())
    if not head:
        return None
    names = column_names([cell.value for cell in head], f"{where}, sheet {sheet.title}")
    width = len(names)
    cells = [[_value(cell) for cell in row] for row in rows]
    if any(cell is not None for row in cells for cell in row[width:]):
        width = max(len(row) for row in cells)
        names += [f"column {place}" for place in range(len(names) + 1, width + 1)]
    padded = [row[:width] + [None] * (width - len(row)) for row in cells]
    frame = pd.DataFrame(padded, columns=names, index=pd.RangeIndex(1, len(padded) + 1))
    for name in names:
        frame[name] = _column(frame[name])
    return without_blank_columns(frame[frame.notna().any(axis="columns")])


def _column(cells: pd.Series) -> pd.Series:
    """Numbers where all cells are numbers, text where one is not."""
    numbers = cells.map(lambda value: isinstance(value, float), na_action="ignore").dropna()
    if len(numbers) and numbers.all():
        return cells.astype("float64")
    return cells.map(_written, na_action="ignore").astype("str")


def _written(value: str | float) -> str:
    """
    A cell as text.

    A number with three decimals gets a fourth, so that nobody who is told that the comma is the
    decimal mark takes its dot for a mark of thousands.
    """
    if isinstance(value, str):
        return value
    if value.is_integer():
        return str(int(value))
    return f"{value!r}0" if re.fullmatch(r"-?\d+\.\d{3}", repr(value)) else repr(value)


def _value(cell: Any) -> str | float | None:  # noqa: ANN401 - cells of several kinds share no base
    """What a reader of the sheet sees: a number as it is, all else as text."""
    value = cell.value
    if value is None:
        return None
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        whole = float(value).is_integer()
        zeros = re.fullmatch(r"0{2,}", cell.number_format or "")
        if whole and zeros:
            return str(int(value)).zfill(len(zeros.group()))
        # so many digits are an id's
        return str(int(value)) if whole and abs(value) >= _MOST_COUNTED else float(value)
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == _MIDNIGHT else value.isoformat(" ")
    return str(value).strip() or None


def _has_formulas(path: Path) -> bool:
    with zipfile.ZipFile(path) as archive:
        for name in archive.namelist():
            if re.fullmatch(r"xl/worksheets/[^/]+\.xml", name):
                with archive.open(name) as stream:
                    tail = b""
                    while block := stream.read(1 << 20):
                        if b"<f>" in tail + block or b"<f " in tail + block:
                            return True
                        tail = block[-4:]
    return False


def _need_values(sheet: Any, told: Any, where: str) -> None:  # noqa: ANN401
    """Refuse formulas without a stored value: their cells would come in blank."""
    told.reset_dimensions()
    for told_row, row in zip(told.iter_rows(), sheet.iter_rows(), strict=False):
        for told_cell, cell in zip(told_row, row, strict=False):
            # one that came to an empty text has no value either, and says that it is text
            blank = cell.value is None and getattr(cell, "data_type", None) != "str"
            if told_cell.data_type == "f" and blank:
                raise UnreadableError(
                    "the workbook holds formulas that were never computed",
                    where=f"{where}, sheet {sheet.title}",
                    found=f"cell {told_cell.coordinate}",
                    do="open it in a spreadsheet program and save it again",
                )
