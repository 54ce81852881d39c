"""
Dates of a source: read by stated forms, never coerced; day and month are told or proved.

`03/04/2024` alone may be March or April. A column proves its order where one cell can be read only
one way and none only the other.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from hydrantgis.ground.text import as_text

FIRST_HYDRANTS = pd.Timestamp("1801-01-01")
"""Dates before this are no dates of hydrants."""
DATES_FOR_NONE = tuple(
    pd.Timestamp(day) for day in ("1899-12-30", "1899-12-31", "1900-01-01", "9999-12-31")
)
"""What spreadsheets and databases write where they have no date."""
_EPOCH_MILLISECONDS = (10_000_000_000, 253_402_300_799_999)
"""April 1970 to the end of the year 9999; numbers nearer to zero may be something else."""
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
        numbers = series.astype("float64")
        if _mostly(moments := numbers.abs().between(*_EPOCH_MILLISECONDS), numbers.fillna(0) != 0):
            return _from_milliseconds(numbers, moments)
    text = as_text(series)
    if not text.notna().any():
        none = pd.Series(np.datetime64("NaT"), index=series.index, dtype="datetime64[ms]")
        return none, reasons, []
    moments = text.str.fullmatch(_EPOCH_TEXT, na=False)
    if _mostly(moments, text.notna() & (text != "0")):
        numbers = pd.to_numeric(text.where(moments | (text == "0")))
        return _from_milliseconds(numbers.where(numbers.notna() | text.isna(), np.inf), moments)
    return _from_text(text, order)


def _mostly(moments: pd.Series, filled: pd.Series) -> bool:
    """Whether more than half of the filled cells are moments."""
    return bool(moments.sum() > 0.5 * filled.sum())


def _from_milliseconds(
    numbers: pd.Series, moments: pd.Series
) -> tuple[pd.Series, pd.Series, list[tuple[str, str]]]:
    """Days of the moments; 0 is what a table writes that has no date, other numbers are none."""
    stamps = numbers.where(moments).round().to_numpy(dtype="float64")
    days = pd.Series(stamps.astype("datetime64[ms]"), index=numbers.index).dt.normalize()
    reasons = pd.Series(None, index=numbers.index, dtype="str").mask(
        numbers.notna() & ~moments & (numbers != 0), "no moment in milliseconds since 1970"
    )
    remarks = [("dates-as-milliseconds", "")]
    if zeros := int((numbers == 0).sum()):
        remarks.append(("sentinel-value", f"{zeros:,} cells hold `0`: left blank as not known"))
    return days.astype("datetime64[ms]"), reasons, remarks


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
    ordered = plain.str.fullmatch(_ORDERED, na=False)
    parts = plain[ordered].str.extract(_ORDERED)
    ways = {
        "dmy": _strict(parts[2] + "-" + parts[1] + "-" + parts[0], "%Y-%m-%d"),
        "mdy": _strict(parts[2] + "-" + parts[0] + "-" + parts[1], "%Y-%m-%d"),
    }
    # a date that there is in one order and not in the other proves it
    alone = {
        "dmy": ways["dmy"].notna() & ways["mdy"].isna(),
        "mdy": ways["mdy"].notna() & ways["dmy"].isna(),
    }
    proved = None
    if alone["dmy"].any() != alone["mdy"].any():
        proved = "dmy" if alone["dmy"].any() else "mdy"
    used = order or proved
    if used is not None:
        made[ordered] = ways[used]
    if order is None and proved is not None:
        shown = cells[ordered][alone[proved]].iloc[0]
        remarks.append(("date-order-proved", f"read as {proved}: `{shown}` fits no other order"))
    why = pd.Series(None, index=cells.index, dtype="str")
    bad = made.isna()
    why = why.mask(bad, "no date that is read here")
    if used is None:
        why[why.index.isin(parts.index[ways["dmy"].notna() | ways["mdy"].notna()])] = _ASK
    for pattern, reason in _REASONS:
        why = why.mask(bad & plain.str.fullmatch(pattern, na=False), reason)
    by_cell = dict(zip(cells, made, strict=True))
    dates = heads.map(by_cell).astype("datetime64[ms]")
    reasons = heads.map(dict(zip(cells, why, strict=True))).astype("str")
    return dates, reasons.where(heads.notna() & reasons.notna()), remarks


def _strict(cells: pd.Series, form: str) -> pd.Series:
    return pd.to_datetime(cells, format=form, errors="coerce").astype("datetime64[ms]")
