"""
Lists as CSV for a spreadsheet: text ids, ISO dates, and no cell that a spreadsheet would run.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from hydrantgis.ground.table import Kind
from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from hydrantgis.ground.table import Table

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def write_csv(path: Path, table: Table, frame: pd.DataFrame) -> None:
    """
    Write a table as CSV with the columns' names, in UTF-8 with a byte-order mark.

    Parameters
    ----------
    path
        The file; replaced as a whole.
    table
        The declaration.
    frame
        A conformed frame; its geometry is left out.

    Notes
    -----
    Text that begins like a formula gets an apostrophe in front, so that it stays text. Every text
    is quoted and no number is, so that a reader tells `0012` from 12.
    """
    import csv

    out = frame[table.names].copy()
    for column in table.columns:
        if column.kind is Kind.TEXT:
            risky = out[column.name].str.startswith(_FORMULA_STARTS, na=False)
            out[column.name] = out[column.name].mask(risky, "'" + out[column.name])
        elif column.kind is Kind.DATE:
            out[column.name] = out[column.name].dt.strftime("%Y-%m-%d")
        elif column.kind is Kind.REAL:
            out[column.name] = out[column.name].round(6)
    with replacing(path) as fresh:
        out.to_csv(
            fresh, index=False, encoding="utf-8-sig", quoting=csv.QUOTE_NONNUMERIC,
            lineterminator="\r\n",
        )  # fmt: skip
