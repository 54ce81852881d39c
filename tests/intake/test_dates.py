"""Dates of every form, beside the calendar of the standard library."""

from __future__ import annotations

import calendar
import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.intake.dates import read_dates

DAYS = st.dates(dt.date(1801, 1, 1), dt.date(2100, 12, 31))


def read(cells, order=None, dtype="str"):
    return read_dates(pd.Series(cells, dtype=dtype), order)


def days(dates: pd.Series) -> list[dt.date | None]:
    return [None if pd.isna(d) else d.date() for d in dates]


@pytest.mark.parametrize(
    "cell",
    [
        "2024-04-03", "2024-4-3", "2024/04/03", "20240403", "3 Apr 2024", "03 April 2024",
        "3-Apr-2024", "Apr 3, 2024", "April 3, 2024", "April 03 2024", "3 apr 2024",
        " 2024-04-03 ", "2024-04-03T23:59:59Z", "2024-04-03 00:00", "2024-04-03T20:00:00-08:00",
        "2024-04-03 20:00:00.123+00",
    ],
)  # fmt: skip
def test_forms_that_can_be_read_one_way(cell) -> None:
    dates, reasons, remarks = read([cell])
    assert days(dates) == [dt.date(2024, 4, 3)]
    assert reasons.isna().all()
    assert remarks == []


@pytest.mark.parametrize(
    ("cell", "why"),
    [
        ("3/4/24", "two digits"), ("1987", "a year alone"), ("45292", "day count"),
        ("45292.5", "day count"), ("2024-02-30", "no date"), ("2024-13-01", "no date"),
        ("20241301", "no date"), ("2024013", "no date"), ("soon", "no date"),
        ("31 Foo 2024", "no date"), ("30/30/2024", "no date"), ("03/04/2024", "--date-order"),
    ],
)  # fmt: skip
def test_what_is_no_date_says_why(cell, why) -> None:
    dates, reasons, _ = read([cell])
    assert days(dates) == [None]
    assert why in reasons[0]


@given(st.lists(DAYS, min_size=1, max_size=10), st.sampled_from("/.-"), st.booleans())
def test_ordered_dates_come_back_where_told_or_proved_and_else_not_at_all(told, mark, dmy) -> None:
    form = f"%d{mark}%m{mark}%Y" if dmy else f"%m{mark}%d{mark}%Y"
    cells = [day.strftime(form) for day in told]
    order = "dmy" if dmy else "mdy"
    dates, reasons, _ = read(cells, order)
    assert days(dates) == told
    assert reasons.isna().all()
    dates, reasons, remarks = read(cells)
    if any(day.day > 12 for day in told):
        assert days(dates) == told
        assert remarks[0][0] == "date-order-proved"
    else:
        assert days(dates) == [None] * len(told)
        assert reasons.str.contains("--date-order").all()
        assert remarks == []


def test_a_date_that_there_is_in_no_order_proves_none() -> None:
    for odd in ("32/01/2024", "30/02/2024", "00/13/2024", "02/31/2024"):
        dates, reasons, remarks = read([odd, "03/04/2024"])
        assert days(dates) == [None, None]
        assert remarks == []
        assert reasons[0] == "no date that is read here"
        assert "--date-order" in reasons[1]


def test_dates_that_contradict_each_other_prove_nothing() -> None:
    dates, reasons, remarks = read(["13/04/2024", "04/13/2024", "2024-01-05"])
    assert days(dates) == [None, None, dt.date(2024, 1, 5)]
    assert reasons.notna().tolist() == [True, True, False]
    assert remarks == []


def test_what_does_not_fit_the_told_order_is_refused() -> None:
    dates, reasons, _ = read(["13/04/2024", "04/13/2024"], "mdy")
    assert days(dates) == [None, dt.date(2024, 4, 13)]
    assert reasons.notna().tolist() == [True, False]


@given(
    st.lists(
        st.datetimes(dt.datetime(1970, 6, 1), dt.datetime(2100, 1, 1)), min_size=1, max_size=6
    ),
    st.sampled_from(["int64", "float64", "Int64", "str"]),
    st.integers(0, 6),
)
def test_milliseconds_since_1970_are_days_and_gaps_do_not_matter(told, dtype, blanks) -> None:
    epoch = dt.datetime(1970, 1, 1)
    cells = [(moment - epoch) // dt.timedelta(milliseconds=1) for moment in told]
    if dtype == "str":
        # eleven digits and more are told from a day written as eight
        cells = [str(cell) for cell in cells]
    if dtype != "int64":
        cells = [None] * blanks + cells
        told = [None] * blanks + told
    dates, reasons, remarks = read(cells, dtype=dtype)
    assert days(dates) == [moment and moment.date() for moment in told]
    assert reasons.isna().all()
    assert remarks == [("dates-as-milliseconds", "")]


def test_a_zero_among_milliseconds_is_a_mark_and_told() -> None:
    for cells, dtype in (([0, 1_700_000_000_000], "int64"), (["0", "1700000000000"], "str")):
        dates, reasons, remarks = read(cells, dtype=dtype)
        assert days(dates) == [None, dt.date(2023, 11, 14)]
        assert reasons.isna().all()
        assert [code for code, _ in remarks] == ["dates-as-milliseconds", "sentinel-value"]


@pytest.mark.parametrize("blanks", [0, 1, 5])
def test_days_of_eight_digits_are_days_however_they_are_kept(blanks) -> None:
    for dtype in ("float64", "Int64", "str"):
        cells = [None] * blanks + [20240131 if dtype != "str" else "20240131"]
        dates, reasons, _ = read(cells, dtype=dtype)
        assert days(dates)[-1] == dt.date(2024, 1, 31)
        assert reasons.isna().all()


NUMBERS = st.one_of(
    st.none(), st.floats(allow_nan=False), st.integers(-(10**15), 10**15).map(float),
    st.sampled_from([0.0, 1987.0, 45292.0, 45292.75, 1.7e12, -1.7e12, 20240131.0]),
)  # fmt: skip


@given(st.lists(NUMBERS, min_size=1, max_size=10))
def test_every_number_is_a_date_or_has_a_reason_or_is_blank(cells) -> None:
    dates, reasons, remarks = read(cells, dtype="float64")
    _whole(cells, dates, reasons, marks={0.0} if len(remarks) > 1 else set())


WORDS = st.one_of(
    st.none(), st.text(max_size=12), DAYS.map(str), DAYS.map(lambda d: d.strftime("%m/%d/%Y")),
    DAYS.map(lambda d: d.strftime("%d.%m.%Y")), st.integers(0, 10**14).map(str),
    st.sampled_from(["", " ", "0", "1987", "TBD", "1/2/24", "2024-00-00", "0001-01-01"]),
)  # fmt: skip


@given(st.lists(WORDS, min_size=1, max_size=10), st.sampled_from([None, "mdy", "dmy"]))
def test_every_cell_is_a_date_or_has_a_reason_or_is_blank(cells, order) -> None:
    dates, reasons, remarks = read(cells, order)
    codes = [code for code, _ in remarks]
    filled = [None if c is None or not c.strip() else c.strip() for c in cells]
    _whole(filled, dates, reasons, marks={"0"} if "sentinel-value" in codes else set())


def _whole(cells, dates, reasons, marks) -> None:
    for cell, date, why in zip(cells, dates, reasons, strict=True):
        blank = cell is None or cell in marks
        assert [pd.notna(date), pd.notna(why), blank].count(True) == 1


@given(DAYS, st.sampled_from(["us", "ms", "ns"]), st.sampled_from([None, "UTC", "America/Denver"]))
def test_moments_are_the_day_that_they_tell(day, unit, zone) -> None:
    moments = pd.Series([dt.datetime.combine(day, dt.time(23, 30)), None])
    moments = moments.astype(f"datetime64[{unit}]").dt.tz_localize(
        zone, ambiguous=True, nonexistent="shift_forward"
    )
    dates, reasons, remarks = read_dates(moments, None)
    assert days(dates) == [day, None]
    assert reasons.isna().all()
    assert remarks == []


@given(DAYS)
def test_months_in_words_come_back(day) -> None:
    name = calendar.month_name[day.month]
    forms = [f"{day.day} {name} {day.year}", f"{name} {day.day}, {day.year}",
             f"{day.day:02}-{name[:3].upper()}-{day.year}"]  # fmt: skip
    assert days(read(forms)[0]) == [day] * 3


def test_flags_are_no_dates() -> None:
    dates, reasons, _ = read_dates(pd.Series([True, False]), None)
    assert dates.isna().all()
    assert reasons.notna().all()


def test_the_index_stays_and_an_empty_column_is_one() -> None:
    dates, reasons, _ = read_dates(pd.Series(["2024-01-02", "x"], index=[9, 4], dtype="str"), None)
    assert dates.index.tolist() == reasons.index.tolist() == [9, 4]
    dates, _, _ = read([None, None])
    assert dates.dtype == np.dtype("datetime64[ms]")
    assert dates.isna().all()


@pytest.mark.parametrize(("moments", "others"), [(3, 2), (2, 2), (2, 3)])
def test_a_column_is_of_moments_where_more_than_half_of_its_cells_are(moments, others) -> None:
    cells = [1_700_000_000_000] * moments + [20240131] * others
    dates, reasons, _ = read(cells, dtype="int64")
    if moments > others:
        assert days(dates) == [dt.date(2023, 11, 14)] * moments + [None] * others
        assert reasons.dropna().str.contains("no moment").tolist() == [True] * others
    else:
        assert days(dates) == [None] * moments + [dt.date(2024, 1, 31)] * others
        assert reasons.notna().sum() == moments
