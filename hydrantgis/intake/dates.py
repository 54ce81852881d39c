"""
Dates of a source: read by stated forms, never coerced; day and month are told or proved.

`03/04/2024` alone may be March or April. A column proves its order where one cell can be read only
one way and none only the other.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

FIRST_HYDRANTS = pd.Timestamp("1801-01-01")
"""Dates before this are no dates of hydrants."""
DATES_FOR_NONE = tuple(
    pd.Timestamp(day) for day in ("1899-12-30", "1899-12-31", "1900-01-01", "9999-12-31")
)
"""What spreadsheets and databases write where they have no date."""
_EPOCH_MILLISECONDS_LEAST = 10_000_000_000
_EPOCH_TEXT = r"-?\d{11,14}"
_SPELLED = (
    ("%Y-%m-%d", r"\d{4}-\d{1,2}-\d{1,2}"),
    ("%Y/%m/%d", r"\d{4}/\d{1,2}/\d{1,2}"),
    ("%Y%m%d", r"\d{8}"),
    ("%d %b %Y", r"\d{1,2} [A-Za-z]{3} \d{4}"),
    ("%d %B %Y", r"\d{1,2} [A-Za-z]{4,} \d{4}"),
    ("%b %d %Y", r"[A-Za-z]{3} \d{1,2} \d{4}"),
    ("%B %d %Y", r"[A-Za-z]{4,} \d{1,2} \d{4}"),
)
_ORDERED = r"(\d{1,2})[/.-](\d{1,2})[/.-](\d{4})"
_REASONS = (
    (r"\d{1,2}[/.-]\d{1,2}[/.-]\d{2}", "a year of two digits; write four"),
    (r"\d{4}", "a year alone; no day is made up for it"),
    (r"\d{5}(\.\d+)?", "a bare number: a spreadsheet's day count? save the column as dates"),
)
_ASK = "day and month may be either; say --date-order mdy or dmy"


def read_dates(
    series: pd.Series, order: str | None
) -> tuple[pd.Series, pd.Series, list[tuple[str, str]]]:
    """
    Dates, why a cell is none, and what was noticed about the whole column.

    Parameters
    ----------
    series
        Text, moments, or whole numbers.
    order
        `mdy` or `dmy`, as the user says.

    Returns
    -------
    dates, reasons
        Same index.
    remarks
        Finding codes with a message.

    Examples
    --------
    >>> dates, reasons, remarks = read_dates(pd.Series(["13/04/2024", "03/04/2024"]), None)
    >>> dates.dt.strftime("%Y-%m-%d").tolist(), remarks[0][0]
    (['2024-04-13', '2024-04-03'], 'date-order-proved')
    """
    reasons = pd.Series(None, index=series.index, dtype="str")
    if pd.api.types.is_datetime64_any_dtype(series.dtype):
        # the day is that of the place, as the cell tells it, not that of Greenwich
        moments = series.dt.tz_localize(None)
        return moments.dt.normalize().astype("datetime64[ms]"), reasons, []
    if pd.api.types.is_numeric_dtype(series.dtype):
        big = series.abs() >= _EPOCH_MILLISECONDS_LEAST
        if series.notna().any() and (big | series.isna()).mean() > 0.5:
            dates = _from_milliseconds(series.where(big))
            reasons = reasons.mask(
                series.notna() & ~big & (series != 0), "no moment in milliseconds since 1970"
            )
            return dates, reasons, [("dates-as-milliseconds", "")]
    text = _text(series)
    if not text.notna().any():
        return (
            pd.Series(np.datetime64("NaT"), index=series.index, dtype="datetime64[ms]"),
            reasons,
            [],
        )
    if text.str.fullmatch(_EPOCH_TEXT, na=False).sum() > 0.5 * text.notna().sum():
        numbers = pd.to_numeric(text.where(text.str.fullmatch(_EPOCH_TEXT, na=False)))
        dates = _from_milliseconds(numbers)
        bad = text.notna() & numbers.isna() & (text != "0")
        return (
            dates,
            reasons.mask(bad, "no moment in milliseconds since 1970"),
            [("dates-as-milliseconds", "")],
        )
    return _from_text(text, order)


def _text(series: pd.Series) -> pd.Series:
    if pd.api.types.is_float_dtype(series.dtype):
        whole = series.where(series == series.round()).astype("Int64").astype("str")
        return whole.mask(series.isna() | whole.isna())
    text = series.astype("str").str.strip()
    return text.mask(series.isna() | (text == ""))


def _from_milliseconds(numbers: pd.Series) -> pd.Series:
    stamps = numbers.round().astype("Int64").astype("float64")
    moments = pd.Series(stamps.to_numpy().astype("datetime64[ms]"), index=numbers.index)
    return moments.where(numbers.notna()).dt.normalize().astype("datetime64[ms]")


def _from_text(
    text: pd.Series, order: str | None
) -> tuple[pd.Series, pd.Series, list[tuple[str, str]]]:
    # a date with a time behind it is a date; each spelling is read once and handed to its rows
    heads = text.str.replace(r"[T ]+\d{1,2}:\d{2}.*$", "", regex=True)
    cells = pd.Series(heads.dropna().unique(), dtype="str")
    plain = cells.str.replace(r"[,\s]+", " ", regex=True).str.strip()
    plain = plain.str.replace(r"(?<=\d)-(?=[A-Za-z])|(?<=[A-Za-z])-(?=\d)", " ", regex=True)
    made = pd.Series(np.datetime64("NaT"), index=cells.index, dtype="datetime64[ms]")
    for form, pattern in _SPELLED:
        left = made.isna() & plain.str.fullmatch(pattern, na=False)
        made[left] = _strict(plain[left], form)
    remarks: list[tuple[str, str]] = []
    parts = plain.str.extract(f"^{_ORDERED}$").astype("float64")
    ordered = parts[0].notna()
    first, second = parts[0] > 12, parts[1] > 12
    proved = None
    if ordered.any() and first.any() != second.any():
        proved = "dmy" if first.any() else "mdy"
    used = order or proved
    if used is not None:
        day, month = (parts[0], parts[1]) if used == "dmy" else (parts[1], parts[0])
        iso = (
            parts[2].fillna(0).astype("int64").astype("str").str.zfill(4)
            + "-" + month.fillna(0).astype("int64").astype("str")
            + "-" + day.fillna(0).astype("int64").astype("str")
        )  # fmt: skip
        made[ordered] = _strict(iso[ordered], "%Y-%m-%d")
    if order is None and proved is not None:
        shown = cells[first if proved == "dmy" else second].iloc[0]
        remarks.append(("date-order-proved", f"read as {proved}: `{shown}` fits no other order"))
    why = pd.Series(None, index=cells.index, dtype="str")
    bad = made.isna()
    why = why.mask(bad, "no date that is read here").mask(bad & ordered & (used is None), _ASK)
    for pattern, reason in _REASONS:
        why = why.mask(bad & plain.str.fullmatch(pattern, na=False), reason)
    by_cell = dict(zip(cells, made, strict=True))
    dates = heads.map(by_cell).astype("datetime64[ms]")
    reasons = heads.map(dict(zip(cells, why, strict=True))).astype("str")
    return dates, reasons.where(heads.notna() & reasons.notna()), remarks


def _strict(cells: pd.Series, form: str) -> pd.Series:
    return pd.to_datetime(cells, format=form, errors="coerce").astype("datetime64[ms]")
