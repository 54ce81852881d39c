"""
Rows that were put aside, with the reason of each; and findings named so that people find the row.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.ground.findings import CODES, join_findings
from hydrantgis.ground.tables import EXCEPTIONS
from hydrantgis.intake.source import row_as_json

if TYPE_CHECKING:
    from hydrantgis.intake.ledger import Ledger


def keyed_by_id(notes: pd.DataFrame, ids: pd.Series) -> pd.DataFrame:
    """
    Findings keyed by the row's id and number, or by its number where it has no id.

    Examples
    --------
    >>> from hydrantgis.ground.findings import findings
    >>> notes = findings("no-area", table="hydrants", keys=[1, 2, "(all)"])
    >>> keyed_by_id(notes, pd.Series(["H1", None], index=[1, 2]))["key"].tolist()
    ['H1 (row 1)', 'row 2', '(all)']
    """
    row = pd.to_numeric(notes["key"], errors="coerce")  # `(all)` is no row
    names = ids.reindex(row).set_axis(notes.index).astype("str")
    number = "row " + notes["key"]
    told = number.where(names.isna(), names + " (" + number + ")")
    return notes.assign(key=notes["key"].where(notes["key"].str.startswith("("), told))


def exceptions_of(
    rows: pd.DataFrame,
    frame: pd.DataFrame,
    shapes: gpd.GeoSeries | None,
    ledger: Ledger,
    import_id: str,
) -> pd.DataFrame:
    """
    The `exceptions` table of an intake: every row that was not accepted, with its reason.

    Parameters
    ----------
    rows
        As the source has them.
    frame
        The canonical rows, same index.
    shapes
        Where they lie; None where the source tells none.
    ledger
        What became of each row.
    import_id
        The intake.
    """
    aside = ledger.outcome != "accepted"
    codes = ledger.code[aside]
    told = _why_aside(ledger, codes)
    table = pd.DataFrame(
        {
            "import_id": import_id,
            "outcome": ledger.outcome[aside],
            "source_row": frame.index[aside],
            "code": codes,
            "severity": codes.map({code: kind.severity.value for code, kind in CODES.items()}),
            "table": ledger.table.name,
            "key": frame.loc[aside, ledger.id_column],
            "column": told["column"],
            "value": told["value"],
            "message": told["message"].fillna(ledger.message[aside])
            + codes.map({c: f"; {k.do}" for c, k in CODES.items()}),
            "row_json": row_as_json(rows[aside]),
        },
        index=frame.index[aside],
    )
    geometry = (
        gpd.GeoSeries(index=table.index, dtype="geometry")
        if shapes is None
        else gpd.GeoSeries(
            np.asarray(shapes.array, dtype=object)[aside.to_numpy()], index=table.index
        ).representative_point()
    )
    return EXCEPTIONS.conform(gpd.GeoDataFrame(table, geometry=geometry))


def _why_aside(ledger: Ledger, codes: pd.Series) -> pd.DataFrame:
    """The first finding of each row's own code: the column, the value and the sentence."""
    notes = join_findings(*ledger.notes).drop_duplicates(["code", "key"])
    told = notes.set_index(["code", "key"])[["column", "value", "message"]]
    rows = pd.MultiIndex.from_arrays([codes, codes.index.astype("str")])
    return told.reindex(rows).set_axis(codes.index)
