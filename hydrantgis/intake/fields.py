"""
Which field is read as which column, and what has to be there for it.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from hydrantgis.ground.errors import SourceError, some
from hydrantgis.ground.table import Kind
from hydrantgis.ground.tables import SHOTS
from hydrantgis.intake.ledger import id_column
from hydrantgis.intake.suggest import field_map, suggest
from hydrantgis.intake.words import FLOW_COLUMNS

if TYPE_CHECKING:
    import pandas as pd

    from hydrantgis.ground.table import Table
    from hydrantgis.intake.prepare import Prepared
    from hydrantgis.intake.words import IntakeWords


def fields_for(ready: Prepared, table: Table, words: IntakeWords, where: str) -> dict[str, str]:
    """
    Column and field, as the user says it and as is sure.

    Parameters
    ----------
    ready
        The source's rows.
    table
        What they are read as.
    words
        What the user says.
    where
        The source, for messages.

    Raises
    ------
    SourceError
        The user names a column or a field that is not there, or no field is known to hold the id.
    """
    fields = field_map(ready.cells, table, words.fields, where=where, aside=ready.place_fields)
    _need_known_columns(words, table)
    _need_known_fields(words, ready.cells, where)
    _need_id_field(fields, table, words, ready.cells, where)
    return fields


def _need_known_columns(words: IntakeWords, table: Table) -> None:
    """Refuse units, words and constants for columns that there are not."""
    for told in (
        words.units, words.meanings, words.constants, words.sentinels, words.unit_fields,
    ):  # fmt: skip
        unknown = [name for name in told if name not in table.names]
        if unknown:
            raise SourceError(
                f"`{unknown[0]}` is no column of {table.name}",
                accepted=", ".join(table.names),
                do="name the canonical column",
            )
    measures = [c.name for c in table.columns if c.unit is not None or c.name in FLOW_COLUMNS]
    spoken = [c.name for c in table.columns if c.kind is Kind.TEXT]
    for columns, fit, what in (
        ((*words.units, *words.unit_fields), measures, "has no unit"),
        (tuple(words.meanings), spoken, "holds no words"),
    ):
        wrong = [name for name in columns if name not in fit]
        if wrong:
            raise SourceError(
                f"`{wrong[0]}` {what}", accepted=", ".join(fit), do="name another column"
            )


def _need_known_fields(words: IntakeWords, cells: pd.DataFrame, where: str) -> None:
    """Refuse codes and units out of fields that there are not."""
    for name in (*words.codes, *words.unit_fields.values()):
        if name not in cells:
            raise SourceError(
                f"there is no field `{name}`", where=where, accepted=some(list(cells.columns), 40)
            )


def _need_id_field(
    fields: dict[str, str], table: Table, words: IntakeWords, cells: pd.DataFrame, where: str
) -> None:
    key = id_column(table)
    if key in fields or words.number_rows is not None:
        return
    rest = cells.drop(columns=list(words.fields.values()), errors="ignore")
    likely = [m for m in suggest(rest, table) if m.column == key]
    hint = f"`{likely[0].field}` {likely[0].reason}" if likely else "none looks like one"
    further = any(re.fullmatch(r"column \d+", str(name)) for name in cells.columns)
    raise SourceError(
        f"no field of the source is known to hold `{key}`",
        where=where,
        found=f"{some(list(cells.columns), 30) or 'no field'}; {hint}",
        do=f"say --field {key}=FIELD, or --number-rows PREFIX to make ids from row numbers"
        + ("; --header-row N where the names stand further down" if further else "")
        + ("; --order PNEZD, or what it is, where the columns have no names" * (table is SHOTS)),
    )
