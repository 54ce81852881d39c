"""
Which field of a source is which canonical column: by its name, and by what stands in it.

A name that many things have (`type`, `date`, `z`) needs values that fit. Only a match sure enough
is used unasked; the others are shown with their reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd
from rapidfuzz import fuzz, process

from hydrantgis.ground.errors import SourceError, UnitError, some
from hydrantgis.ground.flows import FlowUnit
from hydrantgis.ground.table import Kind
from hydrantgis.ground.text import as_text
from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.cells import known_words, read_column
from hydrantgis.intake.match import NAMES, SURE, made_by_program, plain, score, unit_in_name
from hydrantgis.intake.words import FLOW_COLUMNS, JOIN, IntakeWords

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from hydrantgis.ground.table import Column, Table

GENERIC = frozenset(
    (
        "type", "tipo", "style", "location", "loc", "name", "class", "category", "use", "from",
        "height", "z", "elev", "date", "id", "flow", "d", "p", "area", "zone", "function",
        "install", "installed", "how", "description", "point", "shot", "ref", "outlet", "size",
        "main", "valve", "hydrant", "code", "title", "curb", "extension", "pumper", "steamer",
        "marca", "hydrant_type", "type_hydrant",
    )
)  # fmt: skip
"""Names that many things have; what stands in the field has to fit."""
_ROWS_LOOKED_AT, _VALUES_LOOKED_AT = 5000, 300
_MOSTLY, _NEARLY_ALL = 0.5, 0.9
_DOUBTFUL, _BY_VALUES, _BY_UNIQUENESS = 0.5, 0.6, 0.4
_FEWEST_WORDS = 2
_EMPTIER, _NEARLY_EMPTY = 0.1, 0.1
_BRIEF = 2
"""So few letters of the last word of a name that was cut may be those of another word."""
_LIKE_AN_ID = r"[A-Za-z]{0,6}[ _#.-]{0,2}\d{1,9}[A-Za-z]?"


@dataclass(frozen=True, slots=True)
class Match:
    """A field, the column it seems to be, how sure that is, and why."""

    column: str
    field: str
    confidence: float
    reason: str


def _sample(series: pd.Series) -> pd.Series:
    """Some distinct filled cells, from all over the field."""
    step = max(1, len(series) // _ROWS_LOOKED_AT)
    cells = series.iloc[::step].dropna()
    return pd.Series(cells.unique()[:_VALUES_LOOKED_AT], name=series.name)


def _share_read(cells: pd.Series, column: Column, name: str) -> float:
    """Share of the cells that read as what the column holds; the unit does not matter."""
    if column.allowed:
        known = known_words(column)
        return sum(plain(cell) in known for cell in as_text(cells).dropna()) / len(cells)
    unit = FlowUnit.GPM if column.name in FLOW_COLUMNS else LengthUnit.FT
    words = IntakeWords(units={column.name: unit})
    try:
        read = read_column(cells, column, name, words)
    except UnitError:
        return 0.0
    asked = read.reasons.str.contains("--date-order", na=False)  # a date, only not sure which
    return float((read.column.notna() | asked).mean())


def _weighed(rows: pd.DataFrame, table: Table, column: Column, name: str) -> Match | None:
    """What name and values say together, None where nothing speaks for it."""
    sure, reason = score(name, column.name)
    told = bool(column.allowed)
    free = column.kind is Kind.TEXT and not told and column.name != table.key
    if sure == 0 and not told:
        return None
    cells = _sample(rows[name])
    generic = unit_in_name(name)[0] in GENERIC or plain(name) in GENERIC
    # only a name that was cut is exactly `SURE`
    brief = sure == SURE and "_" in name and len(name.rpartition("_")[2]) <= _BRIEF
    generic |= brief
    if free and brief:
        return Match(column.name, name, _DOUBTFUL, f"{reason}, if that was its name")
    if free or not len(cells):
        return Match(column.name, name, sure, reason) if sure else None
    if column.name == table.key:
        many = rows[name].nunique() / max(1, rows[name].notna().sum())
        # polygons of one area may be many
        if generic and many < _NEARLY_ALL and table.geometry != "MultiPolygon":
            return Match(column.name, name, min(sure, _DOUBTFUL), f"{reason}; it is not one a row")
        if pd.api.types.is_float_dtype(cells.dtype) and (cells != cells.round()).any():
            return Match(column.name, name, min(sure, _DOUBTFUL), f"{reason}; it holds measures")
        return Match(column.name, name, sure, reason)
    share = _share_read(cells, column, name)
    if sure == 0:
        fits = share >= _NEARLY_ALL and len(cells) >= _FEWEST_WORDS
        return Match(column.name, name, _BY_VALUES, "its values are such words") if fits else None
    if (generic and share < _MOSTLY) or (share == 0 and not told):
        least = f"{reason}; {share:.0%} of its values read as one"
        return Match(column.name, name, min(sure, _DOUBTFUL), least)
    if told and sure < SURE and share >= _NEARLY_ALL and len(cells) >= _FEWEST_WORDS:
        return Match(column.name, name, SURE, f"{reason}, and its values are such words")
    return Match(column.name, name, sure, reason)


def suggest(rows: pd.DataFrame, table: Table) -> list[Match]:
    """
    The best field for each column of a table, each field used once.

    Parameters
    ----------
    rows
        As the source has them, without geometry.
    table
        The canonical table.

    Returns
    -------
    matches
        By falling confidence; columns with no likely field are left out.

    Examples
    --------
    >>> from hydrantgis.ground.tables import HYDRANTS
    >>> rows = pd.DataFrame({"HYD_NO": ["12", "13"], "BURY_FT": [4.5, 5.0], "SHAPE_LEN": [0, 0]})
    >>> [(m.column, m.field) for m in suggest(rows, HYDRANTS)]
    [('bury_ft', 'BURY_FT'), ('hydrant_id', 'HYD_NO')]
    """
    weighed = (
        _weighed(rows, table, column, str(name))
        for column in table.columns
        for name in rows.columns
    )
    scored = [match for match in weighed if match is not None]
    filled = {str(name): float(rows[name].notna().mean()) for name in rows.columns}

    def order(match: Match) -> tuple[float, bool, str, str]:
        # a nearly empty field stands back; of two columns the one that names the row goes first
        full = match.confidence - _EMPTIER * (filled[match.field] < _NEARLY_EMPTY)
        return -full, match.column != table.key, match.column, match.field

    scored.sort(key=order)
    taken_columns: set[str] = set()
    taken_fields: set[str] = set()
    result: list[Match] = []
    for match in scored:
        free = match.column not in taken_columns and match.field not in taken_fields
        if match.confidence > 0 and free:
            taken_columns.add(match.column)
            taken_fields.add(match.field)
            result.append(match)
    result.sort(key=lambda m: (-m.confidence, m.column, m.field))
    if table.key in NAMES and table.key not in taken_columns:
        result += _by_uniqueness(rows, table, taken_fields)
    return result


def _by_uniqueness(rows: pd.DataFrame, table: Table, taken: set[str]) -> list[Match]:
    """The first field in which nearly every row has a short value of its own."""
    for name in rows.columns:
        series = rows[name]
        if (
            name in taken
            or made_by_program(str(name))
            or not len(series)
            or pd.api.types.is_float_dtype(series.dtype)
        ):
            continue
        text = _sample(series).astype("str")
        short = len(text) and text.str.fullmatch(_LIKE_AN_ID).mean() > _NEARLY_ALL
        if short and series.notna().mean() > 0.95 and series.nunique() > 0.95 * len(series):
            return [Match(table.key, str(name), _BY_UNIQUENESS, "every row has its own value")]
    return []


def field_map(
    rows: pd.DataFrame,
    table: Table,
    said: Mapping[str, str],
    *,
    where: str,
    aside: Collection[str] = (),
) -> dict[str, str]:
    """
    Column and field: what the user says, then what is sure.

    Parameters
    ----------
    rows
        As the source has them, without geometry.
    table
        The canonical table.
    said
        Column and field.
    where
        The source, for messages.
    aside
        Fields that are used otherwise, and by nobody unasked.

    Raises
    ------
    SourceError
        The user names a column or a field that is not there.
    """
    names = [str(name) for name in rows.columns]
    used: list[str] = []
    for column, told in said.items():
        if column not in table.names:
            raise SourceError(
                f"`{column}` is no column of {table.name}",
                accepted=", ".join(table.names),
                do="name the canonical column first: column=FIELD",
            )
        for name in [told] if told in names else told.split(JOIN):
            if name not in names:
                near = process.extractOne(name, names, scorer=fuzz.ratio, score_cutoff=60)
                hint = f"; did you mean `{near[0]}`?" if near else ""
                raise SourceError(
                    f"there is no field `{name}`{hint}", where=where, accepted=some(names, 40)
                )
            used.append(name)
    rest = rows[[name for name in names if name not in {*used, *aside}]]
    sure = {m.column: m.field for m in suggest(rest, table) if m.confidence >= SURE}
    result = {**sure, **said}
    return {column: result[column] for column in table.names if column in result}
