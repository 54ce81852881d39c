"""
Cells of a source as the values that a canonical column holds, with a reason for each that is not.

A cell that cannot be read is left blank in the canonical table and told as a finding; its row
stays. No unit, decimal mark or order of day and month is ever guessed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.errors import UnitError, WordsError, some
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.flows import FlowUnit, flow_unit_in_name, flow_unit_of, parse_flows_gpm
from hydrantgis.ground.numerals import read_numbers, with_dots
from hydrantgis.ground.table import Column, Kind
from hydrantgis.ground.text import as_text
from hydrantgis.ground.units import LengthUnit, convert, parse_lengths_in, unit_of
from hydrantgis.intake.dates import DATES_FOR_NONE, FIRST_HYDRANTS, read_dates
from hydrantgis.intake.descriptions import shot_kind
from hydrantgis.intake.match import plain, unit_in_name
from hydrantgis.intake.plausible import looks_like, sentinels_in

if TYPE_CHECKING:
    import datetime as dt

    from hydrantgis.ground.table import Table
    from hydrantgis.intake.words import IntakeWords

WORDS: dict[str, dict[str, str]] = {
    "barrel": {
        "dry": "dry", "dry_barrel": "dry", "drybarrel": "dry", "wet": "wet", "wet_barrel": "wet",
        "wetbarrel": "wet", "standpipe": "other", "wall": "other", "flush": "other",
        "underground": "other", "pipe": "other", "seco": "dry", "humedo": "wet",
    },
    "status": {
        "in_service": "in_service", "active": "in_service", "act": "in_service",
        "existing": "in_service", "out_of_service": "out_of_service", "oos": "out_of_service",
        "inactive": "out_of_service", "retired": "retired", "abandoned": "retired",
        "abn": "retired", "removed": "retired", "activo": "in_service", "en_servicio": "in_service",
        "fuera_de_servicio": "out_of_service", "en_service": "in_service",
        "hors_service": "out_of_service", "in_betrieb": "in_service",
        "ausser_betrieb": "out_of_service", "in_gebruik": "in_service",
    },
}  # fmt: skip
"""What sources write, made plain, and the allowed word that it stands for."""
SAY_NOTHING = frozenset(
    ("n_a", "na", "null", "none", "nan", "unknown", "unk", "tbd", "not_known", "pillar", "")
)
"""Words, made plain, that stand for `not known` where a word, number, length or date is due."""
_BLANK_TEXT = frozenset(("<null>", "null", "nan", "#n/a", "#value!", "#ref!"))
"""What programs write into text for a missing value."""


@dataclass(frozen=True, slots=True)
class Read:
    """
    One field, read.

    Attributes
    ----------
    column
        Blank where a cell cannot be read.
    reasons
        Why a cell cannot be read, missing where it was.
    remarks
        About the column as a whole: finding codes with a message.
    """

    column: pd.Series
    reasons: pd.Series
    remarks: list[tuple[str, str]] = field(default_factory=list)


def _none(series: pd.Series) -> pd.Series:
    return pd.Series(None, index=series.index, dtype="str")


def said_nothing(text: pd.Series) -> pd.Series:
    """
    Which cells hold a word for `not known`.

    Examples
    --------
    >>> said_nothing(pd.Series(["N/A", "12", None])).tolist()
    [True, False, False]
    """
    # no such word has a digit in it, and of numbers there are as many as rows
    worded = text[text.notna() & ~text.str.contains(r"\d", na=True)]
    spelled = worded.unique()
    return text.isin([cell for cell in spelled if plain(cell) in SAY_NOTHING])


def known_words(column: Column) -> dict[str, str]:
    """
    Folded words and what each of them means in a column that allows few.

    Examples
    --------
    >>> from hydrantgis.ground.tables import HYDRANTS
    >>> known_words(next(c for c in HYDRANTS.columns if c.name == "barrel"))["dry"]
    'dry'
    """
    return {plain(word): word for word in column.allowed} | WORDS.get(column.name, {})


def _choices(series: pd.Series, column: Column, words: IntakeWords) -> Read:
    text = as_text(series)
    wrong = set(words.meanings.get(column.name, {}).values()) - set(column.allowed)
    if wrong:
        raise WordsError(
            f"`{column.name}` cannot be `{sorted(wrong)[0]}`",
            accepted=", ".join(column.allowed),
            do=f"say --value {column.name}:WORD=ALLOWED",
        )
    said = {plain(word): allowed for word, allowed in words.meanings.get(column.name, {}).items()}
    known = known_words(column) | said
    made = {word: known.get(plain(word)) for word in text.dropna().unique()}
    result = text.map(made).astype("str")
    bad = text.notna() & result.isna() & ~said_nothing(text)
    reason = f"none of {', '.join(column.allowed)}; say --value {column.name}:WORD=ALLOWED"
    remarks = []
    if column.name == "barrel" and "pillar" not in said:
        pillars = int((text.str.casefold() == "pillar").sum())
        if pillars:
            remarks.append(
                ("value-says-nothing", f"{pillars:,} rows say `pillar`: it may be dry or wet")
            )
    return Read(result, _none(series).mask(bad, reason), remarks)


def _texts(series: pd.Series, column: Column, words: IntakeWords) -> Read:
    """Text as it stands, or the text that the user's table has for it."""
    text = as_text(series)
    text = text.mask(text.str.lower().isin(_BLANK_TEXT))
    meanings = words.meanings.get(column.name)
    if not meanings:
        return Read(text, _none(series))
    said = {plain(word): told for word, told in meanings.items()}
    kept = {plain(told) for told in meanings.values()}
    spelled = list(text.dropna().unique())
    made = {word: said.get(plain(word), word) for word in spelled}
    strange = [w for w in spelled if plain(w) not in said and plain(w) not in kept]
    remarks = []
    if strange:
        message = f"{len(strange):,} spellings are not in the table and stay as they are"
        remarks.append(("spelling-unknown", f"{message}: {some(sorted(strange), 8)}"))
    return Read(text.map(made).astype("str").where(text.notna()), _none(series), remarks)


def _no_unit(
    column: Column, field_name: str, cells: pd.Series, numbers: pd.Series, accepted: str
) -> UnitError:
    likely = looks_like(numbers, column)
    hint = f"; they look like {likely}" if likely else ""
    return UnitError(
        f"field `{field_name}` holds numbers without a unit",
        where=f"column `{column.name}`",
        found=some([str(v) for v in cells.dropna().unique()[:5]]) + hint,
        accepted=accepted,
        do=f"say --unit {column.name}=UNIT",
    )


def _unit(column: Column, field_name: str, words: IntakeWords) -> LengthUnit | None:
    said = words.units.get(column.name)
    if isinstance(said, FlowUnit):
        raise WordsError(f"`{said}` is no unit of length", where=f"column `{column.name}`")
    return said or unit_in_name(field_name)[1]


def _lengths(
    series: pd.Series,
    column: Column,
    field_name: str,
    words: IntakeWords,
    row_units: pd.Series | None,
) -> Read:
    """Lengths in the column's unit; raises `UnitError` where bare numbers have no unit."""
    unit = _unit(column, field_name, words)
    numeric = pd.api.types.is_numeric_dtype(series.dtype)
    bare = series.astype("float64") if numeric else as_text(series)
    marks, remarks = sentinels_in(bare, column, unit, words.sentinels.get(column.name, ()))
    cells = bare.mask(marks)
    if not numeric:
        cells = cells.mask(said_nothing(cells))
        cells = with_dots(cells, words.decimal)
    if row_units is not None:
        return _by_row(cells, column, words, row_units, remarks)
    if unit is None and numeric and cells.notna().any():
        raise _no_unit(column, field_name, cells.map("{:g}".format), cells, ", ".join(LengthUnit))
    lengths, reasons = parse_lengths_in(cells, unit=unit, spellings=words.spellings)  # type: ignore[arg-type]
    bad = reasons.notna()
    if unit is None and bad.any() and (reasons[bad] == "no unit").all() and lengths.isna().all():
        numbers = pd.to_numeric(cells, errors="coerce")
        raise _no_unit(column, field_name, cells, numbers, ", ".join(LengthUnit))
    values = pd.Series(convert(lengths, LengthUnit.IN, column.unit or LengthUnit.IN), series.index)
    values = values.round(9)
    if unit is not None and (likely := looks_like(values, column, read_as=unit)):
        middle = f"the middle value is {values.median():g} {column.unit}"
        remarks.append(("unit-doubtful", f"read as {unit}, {middle}; they look like {likely}"))
    return Read(values, reasons, remarks)


def _by_row(
    cells: pd.Series,
    column: Column,
    words: IntakeWords,
    row_units: pd.Series,
    remarks: list[tuple[str, str]],
) -> Read:
    """Lengths whose unit stands in a field of its own."""
    named = as_text(row_units).str.lower()
    values = pd.Series(np.nan, index=cells.index)
    reasons = _none(cells).mask(cells.notna() & named.isna(), "the row names no unit")
    for word in named.dropna().unique():
        rows = (named == word) & cells.notna()
        unit = words.spellings.get(word)
        try:
            unit = unit or unit_of(word)
        except UnitError:
            reasons = reasons.mask(rows, f"`{word}` is no known unit")
            continue
        lengths, why = parse_lengths_in(cells[rows], unit=unit, spellings=words.spellings)
        values[rows] = convert(lengths, LengthUnit.IN, column.unit or LengthUnit.IN)
        reasons = reasons.where(~rows, why.reindex(cells.index))
    return Read(values.round(9), reasons, remarks)


def _numbers(series: pd.Series, column: Column, field_name: str, words: IntakeWords) -> Read:
    """Numbers; flow rates with their unit."""
    text = as_text(series)
    # what is kept as a number has a decimal dot, whatever mark text is written with
    decimal = "." if pd.api.types.is_numeric_dtype(series.dtype) else words.decimal
    marks, remarks = sentinels_in(text, column, None, words.sentinels.get(column.name, ()))
    text = text.mask(marks | said_nothing(text))
    if column.name != "flow_gpm":
        return Read(*read_numbers(text, decimal), remarks)
    said = words.units.get(column.name)
    unit = flow_unit_of(said) if said is not None else flow_unit_in_name(plain(field_name))
    values, reasons = parse_flows_gpm(with_dots(text, decimal), unit=unit)
    if unit is None and (reasons == "no unit").any() and values.isna().all():
        raise _no_unit(column, field_name, text, values, ", ".join(FlowUnit))
    return Read(values, reasons, remarks)


def _without_marks(
    series: pd.Series, said: tuple[str, ...]
) -> tuple[pd.Series, list[tuple[str, str]]]:
    """Cells without the marks for `not known` that the user names, and what was noticed."""
    marks = as_text(series).isin(said) if said else pd.Series(False, index=series.index)
    if not marks.any():
        return series, []
    spelled = some([f"`{cell}`" for cell in as_text(series)[marks].unique()], 3)
    told = f"{int(marks.sum()):,} cells hold {spelled}: left blank as not known"
    return series.mask(marks), [("sentinel-value", told)]


def _shot_codes(series: pd.Series, words: IntakeWords) -> Read:
    """What shots stand on, by the words of a field book; what is none of them is `other`."""
    text = as_text(series)
    kinds, noticed = shot_kind(text, codes_of_shots(words))
    remarks = list(zip(noticed["code"], noticed["message"], strict=True))
    return Read(kinds.replace("unknown", "other").where(text.notna()), _none(series), remarks)


def codes_of_shots(words: IntakeWords) -> dict[str, str]:
    """What the user says that words of a field book stand for."""
    said = words.meanings.get("shot_code", {})
    return {word: "unknown" if kind == "other" else kind for word, kind in said.items()}


def _dates_or_text(series: pd.Series, column: Column, words: IntakeWords) -> Read:
    if column.name == "shot_code":
        return _shot_codes(series, words)
    if column.kind is Kind.DATE:
        told = series.mask(said_nothing(series)) if series.dtype == "str" else series
        return Read(*read_dates(told, words.date_order))
    return _choices(series, column, words) if column.allowed else _texts(series, column, words)


def read_column(
    series: pd.Series,
    column: Column,
    field_name: str,
    words: IntakeWords,
    *,
    row_units: pd.Series | None = None,
) -> Read:
    """
    One field as one canonical column.

    Parameters
    ----------
    series
        As the source has it.
    column
        What it shall be.
    field_name
        A unit at its end counts as told.
    words
        What the user says.
    row_units
        Units, row by row.

    Raises
    ------
    UnitError
        Bare numbers and no unit said.
    """
    if column.kind in (Kind.DATE, Kind.TEXT):
        told, noticed = _without_marks(series, words.sentinels.get(column.name, ()))
        read = _dates_or_text(told, column, words)
        return Read(read.column, read.reasons, noticed + read.remarks)
    if column.unit is not None:
        return _lengths(series, column, field_name, words, row_units)
    return _numbers(series, column, field_name, words)


def field_of(rows: pd.DataFrame, name: str, join: str) -> pd.Series:
    """A field, or several joined to one text, blanks left out."""
    if name in rows:
        return pd.Series(rows[name])
    parts = [as_text(rows[part]) for part in name.split(join)]
    text = parts[0].fillna("")
    for part in parts[1:]:
        text = (text + " " + part.fillna("")).str.strip()
    return text.mask(text == "")


def read_cells(
    rows: pd.DataFrame,
    table: Table,
    fields: dict[str, str],
    words: IntakeWords,
    *,
    today: dt.date,
    needed: tuple[str, ...] = (),
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    The canonical table's columns from a source's rows.

    Parameters
    ----------
    rows
        As the source has them.
    table
        The canonical table.
    fields
        Canonical column and field.
    words
        Units, constants, value words and date order.
    today
        Dates after it lie in the future.
    needed
        Columns without which the intake is pointless: their missing unit is an error, not a
        finding.

    Returns
    -------
    frame
        Same index as `rows`, conformed, no geometry.
    findings
        Keyed by the row's number.

    Raises
    ------
    UnitError
        A needed column has bare numbers and no unit said.
    """
    made: dict[str, pd.Series] = {}
    found: list[pd.DataFrame] = [no_findings()]
    for column in table.columns:
        name = fields.get(column.name)
        if name is None:
            if column.name in words.constants:
                made[column.name] = _constant(rows, column, words)
            continue
        cells = field_of(rows, name, " + ")
        unit_field = words.unit_fields.get(column.name)
        try:
            read = read_column(
                cells, column, name, words,
                row_units=None if unit_field is None else rows[unit_field],
            )  # fmt: skip
        except UnitError as error:
            if column.name in needed:
                raise
            found.append(
                findings(
                    "unit-missing", table=table.name, keys=["(all)"], column=column.name,
                    values=[error.found], messages=f"{error.what}; {error.do}",
                )
            )  # fmt: skip
            continue
        bad = read.reasons.notna()
        code = "value-not-allowed" if column.allowed else "value-unreadable"
        found.append(
            findings(
                code, table=table.name, keys=bad.index[bad], column=column.name,
                values=cells[bad].astype("str"),
                messages=(f"`{name}`: " + read.reasons[bad]).tolist(),
            )
        )  # fmt: skip
        found += [
            findings(
                remark, table=table.name, keys=["(all)"], column=column.name, values=[name],
                messages=message or None,
            )
            for remark, message in read.remarks
        ]  # fmt: skip
        values = read.column
        if column.kind is Kind.DATE:
            values, noticed = _plausible_dates(values, table.name, column.name, today)
            found.append(noticed)
        made[column.name] = values
    frame = table.conform(pd.DataFrame(made, index=rows.index))
    return pd.DataFrame(frame), join_findings(*found)


def _constant(rows: pd.DataFrame, column: Column, words: IntakeWords) -> pd.Series:
    told = pd.Series(words.constants[column.name], index=rows.index, dtype="str")
    read = read_column(told, column, column.name, words)
    if read.reasons.notna().any():
        raise UnitError(
            f"`{words.constants[column.name]}` cannot be the value of `{column.name}`",
            found=str(read.reasons.iloc[0]),
        )
    return read.column


def _plausible_dates(
    dates: pd.Series, table: str, column: str, today: dt.date
) -> tuple[pd.Series, pd.DataFrame]:
    mark = dates.isin(DATES_FOR_NONE)
    early = (dates < FIRST_HYDRANTS) & ~mark
    late = (dates > pd.Timestamp(today)) & ~mark
    noticed = join_findings(
        findings(
            "sentinel-value", table=table, keys=dates.index[mark], column=column,
            values=dates[mark].astype("str"), messages="a date that stands for none; left blank",
        ),
        findings(
            "date-implausible", table=table, keys=dates.index[early], column=column,
            values=dates[early].astype("str"), messages=f"before {FIRST_HYDRANTS:%Y}; left blank",
        ),
        findings(
            "date-in-future", table=table, keys=dates.index[late], column=column,
            values=dates[late].astype("str"), messages=f"after {today}; kept as it stands",
        ),
    )  # fmt: skip
    return dates.mask(early | mark), noticed
