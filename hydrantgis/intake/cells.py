"""
Cells of a source as the values that a canonical column holds, with a reason for each that is not.

A cell that cannot be read is left blank in the canonical table and told as a finding; its row
stays. No unit and no order of day and month is ever guessed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.errors import UnitError, WordsError, some
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.table import Column, Kind
from hydrantgis.ground.units import LengthUnit, convert, parse_lengths_in
from hydrantgis.intake.match import plain, unit_in_name

if TYPE_CHECKING:
    import datetime as dt

    from hydrantgis.ground.table import Table
    from hydrantgis.intake.words import IntakeWords

FIRST_HYDRANTS = pd.Timestamp("1801-01-01")
"""Dates before this are no dates of hydrants."""
DATES_FOR_NONE = tuple(pd.Timestamp(day) for day in ("1899-12-30", "1899-12-31", "9999-12-31"))
"""What spreadsheets and databases write where they have no date."""
_EPOCH_MILLISECONDS_LEAST = 10_000_000_000
_SPELLED_DATES = ("%Y-%m-%d", "%Y/%m/%d", "%Y%m%d")
_ORDERED_DATES = {"mdy": ("%m/%d/%Y", "%m-%d-%Y"), "dmy": ("%d/%m/%Y", "%d-%m-%Y")}

WORDS: dict[str, dict[str, str]] = {
    "barrel": {
        "dry": "dry", "dry_barrel": "dry", "wet": "wet", "wet_barrel": "wet", "standpipe": "other",
        "wall": "other", "flush": "other", "underground": "other", "pipe": "other",
    },
    "status": {
        "in_service": "in_service", "active": "in_service", "act": "in_service",
        "existing": "in_service", "out_of_service": "out_of_service", "oos": "out_of_service",
        "inactive": "out_of_service", "retired": "retired", "abandoned": "retired",
        "abn": "retired", "removed": "retired",
    },
    "shot_code": {
        "gnd": "ground", "grd": "ground", "ground": "ground", "gs": "ground", "eg": "ground",
        "outlet": "outlet", "flange": "flange", "flg": "flange", "curb": "curb", "tc": "curb",
        "bc": "curb", "other": "other",
    },
}  # fmt: skip
"""What sources write, made plain, and the allowed word that it stands for."""


def _as_text(series: pd.Series) -> pd.Series:
    """Text without blanks round it; whole numbers that a format made real stay whole."""
    if pd.api.types.is_float_dtype(series.dtype):
        whole = series.notna() & (series == series.round()) & (series.abs() < 1e15)
        text = series.astype("str").where(~whole, series.where(whole).astype("Int64").astype("str"))
        return text.mask(series.isna())
    text = series.astype("str").str.strip()
    return text.mask(series.isna() | (text == ""))


def _dates(series: pd.Series, order: str | None) -> tuple[pd.Series, pd.Series, str | None]:
    """Dates, why a cell is none, and a remark about the whole column."""
    none = pd.Series(None, index=series.index, dtype="str")
    if pd.api.types.is_datetime64_any_dtype(series.dtype):
        # the day is that of the place, as the cell tells it, not that of Greenwich
        moments = series.dt.tz_localize(None)
        return moments.dt.normalize().astype("datetime64[ms]"), none, None
    if pd.api.types.is_numeric_dtype(series.dtype):
        big = series.abs() >= _EPOCH_MILLISECONDS_LEAST
        if series.notna().any() and (big | series.isna()).mean() > 0.5:
            stamps = series.where(big).round().astype("Int64").astype("float64")
            moments = pd.Series(
                pd.to_datetime(stamps.to_numpy().astype("datetime64[ms]")), index=series.index
            ).where(big & series.notna())
            reasons = none.mask(series.notna() & ~big, "no moment in milliseconds since 1970")
            return moments.dt.normalize().astype("datetime64[ms]"), reasons, "epoch"
    text = _as_text(series)
    # a date with a time behind it is a date
    head = text.str.replace(r"[T ]\d{1,2}:\d{2}.*$", "", regex=True)
    result = pd.Series(np.datetime64("NaT"), index=series.index, dtype="datetime64[ms]")
    for form in (*_SPELLED_DATES, *(_ORDERED_DATES[order] if order else ())):
        left = result.isna() & head.notna()
        if form == "%Y%m%d":
            left &= head.str.fullmatch(r"\d{8}", na=False)
        if left.any():
            result[left] = pd.to_datetime(head[left], format=form, errors="coerce").astype(
                "datetime64[ms]"
            )
    bad = head.notna() & result.isna()
    slashed = bad & head.str.fullmatch(r"\d{1,2}[/-]\d{1,2}[/-]\d{4}", na=False)
    reasons = none.mask(bad, "no date that is read here").mask(
        slashed & (order is None), "day and month may be either; say --date-order mdy or dmy"
    )
    return result, reasons, None


def _choices(series: pd.Series, column: Column, words: IntakeWords) -> tuple[pd.Series, pd.Series]:
    text = _as_text(series)
    wrong = set(words.meanings.get(column.name, {}).values()) - set(column.allowed)
    if wrong:
        raise WordsError(
            f"`{column.name}` cannot be `{sorted(wrong)[0]}`",
            accepted=", ".join(column.allowed),
            do=f"say --value {column.name}:WORD=ALLOWED",
        )
    said = {plain(word): allowed for word, allowed in words.meanings.get(column.name, {}).items()}
    known = {
        **{plain(word): word for word in column.allowed},
        **WORDS.get(column.name, {}),
        **said,
    }
    made = {word: known.get(plain(word)) for word in text.dropna().unique()}
    result = text.map(made).astype("str").where(text.map(made).notna())
    bad = text.notna() & result.isna()
    reason = f"none of {', '.join(column.allowed)}; say --value {column.name}:WORD=ALLOWED"
    return result, pd.Series(None, index=series.index, dtype="str").mask(bad, reason)


def _lengths(
    series: pd.Series, column: Column, field_name: str, words: IntakeWords
) -> tuple[pd.Series, pd.Series]:
    """Lengths in the column's unit; raises `UnitError` where bare numbers have no unit."""
    unit = words.units.get(column.name) or unit_in_name(field_name)[1]
    bare = series if pd.api.types.is_numeric_dtype(series.dtype) else _as_text(series)
    if unit is None and pd.api.types.is_numeric_dtype(series.dtype) and series.notna().any():
        raise UnitError(
            f"field `{field_name}` holds numbers without a unit",
            where=f"column `{column.name}`",
            found=some([f"{v:g}" for v in series.dropna().unique()[:5]]),
            accepted=", ".join(LengthUnit),
            do=f"say --unit {column.name}=UNIT",
        )
    lengths, reasons = parse_lengths_in(bare, unit=unit, spellings=words.spellings)
    bad = reasons.notna()
    if unit is None and bad.any() and (reasons[bad] == "no unit").all() and lengths.isna().all():
        raise UnitError(
            f"field `{field_name}` holds numbers without a unit",
            where=f"column `{column.name}`",
            found=some([str(v) for v in bare.dropna().unique()[:5]]),
            accepted=", ".join(LengthUnit),
            do=f"say --unit {column.name}=UNIT",
        )
    target = column.unit or LengthUnit.IN
    values = pd.Series(convert(lengths, LengthUnit.IN, target), index=series.index)
    return values.round(9), reasons


def read_column(
    series: pd.Series, column: Column, field_name: str, words: IntakeWords
) -> tuple[pd.Series, pd.Series, str | None]:
    """
    One field as one canonical column.

    Returns
    -------
    values
        Same index; blank where a cell cannot be read.
    reasons
        Same index; why a cell cannot be read, missing where it was.
    remark
        About the column as a whole: `epoch` where whole numbers were read as milliseconds.

    Raises
    ------
    UnitError
        Bare numbers and no unit said.
    """
    if column.kind is Kind.DATE:
        return _dates(series, words.date_order)
    if column.allowed:
        return (*_choices(series, column, words), None)
    if column.kind is Kind.TEXT:
        return _as_text(series), pd.Series(None, index=series.index, dtype="str"), None
    if column.unit is not None:
        return (*_lengths(series, column, field_name, words), None)
    text = _as_text(series)
    values = pd.to_numeric(text, errors="coerce").astype("float64")
    bad = text.notna() & values.isna()
    return values, pd.Series(None, index=series.index, dtype="str").mask(bad, "no number"), None


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
                told = pd.Series(words.constants[column.name], index=rows.index, dtype="str")
                made[column.name], reasons, _ = read_column(told, column, column.name, words)
                if reasons.notna().any():
                    raise UnitError(
                        f"`{words.constants[column.name]}` cannot be the value of `{column.name}`",
                        found=str(reasons.iloc[0]),
                    )
            continue
        try:
            values, reasons, remark = read_column(rows[name], column, name, words)
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
        bad = reasons.notna()
        code = "value-not-allowed" if column.allowed else "value-unreadable"
        found.append(
            findings(
                code, table=table.name, keys=bad.index[bad], column=column.name,
                values=rows.loc[bad, name].astype("str"),
                messages=(f"`{name}`: " + reasons[bad]).tolist(),
            )
        )  # fmt: skip
        if remark == "epoch":
            found.append(
                findings(
                    "dates-as-milliseconds", table=table.name, keys=["(all)"], column=column.name,
                    values=[name],
                )
            )  # fmt: skip
        if column.kind is Kind.DATE:
            values, noticed = _plausible_dates(values, table.name, column.name, today)
            found.append(noticed)
        made[column.name] = values
    frame = table.conform(pd.DataFrame(made, index=rows.index))
    return pd.DataFrame(frame), join_findings(*found)


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
