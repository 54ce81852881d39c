"""Marks for `not known` and unusual units, beside exact fractions and lists of allowed values."""

from __future__ import annotations

import statistics

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.tables import HYDRANTS, READINGS, VALVES
from hydrantgis.ground.units import METRES, LengthUnit
from hydrantgis.intake.cells import read_column
from hydrantgis.intake.plausible import MARKS, USUAL, looks_like, sentinels_in
from hydrantgis.intake.words import IntakeWords

TABLES = {c.name: c for table in (VALVES, HYDRANTS, READINGS) for c in table.columns}
COLUMNS = [TABLES[name] for name in USUAL]
TRIED = (LengthUnit.IN, LengthUnit.FT, LengthUnit.MM, LengthUnit.CM, LengthUnit.M)


def exact(value: float, source: LengthUnit, target: LengthUnit) -> float:
    return float(value * METRES[source] / METRES[target])


def usual(column, value: float, unit: LengthUnit) -> bool:
    least, most = USUAL[column.name]
    return least <= exact(value, unit, column.unit) <= most


@given(
    st.sampled_from(COLUMNS),
    st.lists(st.one_of(st.none(), st.integers(-50, 4000).map(lambda n: n / 4)), max_size=12),
)
def test_the_units_that_numbers_look_like_are_those_that_make_the_middle_usual(column, cells):
    told = looks_like(pd.Series(cells, dtype="float64"), column)
    filled = [cell for cell in cells if cell and cell > 0]
    fits = [u for u in TRIED if len(filled) >= 5 and usual(column, statistics.median(filled), u)]
    assert told == (" or ".join(fits) or None)


@given(
    st.sampled_from(COLUMNS),
    st.lists(st.integers(1, 4000).map(lambda n: n / 4), min_size=5, max_size=12),
    st.sampled_from(TRIED),
)
def test_numbers_that_are_usual_as_read_look_like_nothing_else(column, cells, unit) -> None:
    values = pd.Series([exact(cell, unit, column.unit) for cell in cells])
    middle = statistics.median(cells)
    fits = [u for u in TRIED if u is not unit and usual(column, middle, u)]
    expected = None if usual(column, middle, unit) else " or ".join(fits) or None
    edges = [exact(end, column.unit, u) for end in USUAL[column.name] for u in TRIED]
    if all(abs(middle - edge) > 1e-9 * edge for edge in edges):
        assert looks_like(values, column, read_as=unit) == expected


@given(
    st.sampled_from([*COLUMNS, HYDRANTS["flow_gpm"], VALVES["turns"]]),
    st.lists(st.one_of(st.none(), st.sampled_from(MARKS), st.floats(-1e5, 1e5)), max_size=12),
    st.sampled_from([None, *TRIED]),
)
def test_a_mark_is_what_the_column_allows_in_no_way(column, cells, unit) -> None:
    marks, remarks = sentinels_in(pd.Series(cells, dtype="float64"), column, unit, ())
    low = float("-inf") if column.least is None else column.least
    high = float("inf") if column.most is None else column.most
    units = [unit] if unit is not None else TRIED
    for cell, mark in zip(cells, marks, strict=True):
        allowed = cell is not None and any(
            low <= (exact(cell, u, column.unit) if column.unit else cell) <= high for u in units
        )
        assert mark == (cell in MARKS and column.limited and not allowed)
    assert ("sentinel-value" in dict(remarks)) == bool(marks.any())


def test_a_value_is_no_mark_where_the_row_names_a_unit_that_makes_it_one() -> None:
    said = IntakeWords(unit_fields={"bury_ft": "UNIT"})
    cells, units = pd.Series([999.0, 999.0, -9999.0, 5.0]), pd.Series(["mm", "ft", "mm", "ft"])
    read = read_column(cells, HYDRANTS["bury_ft"], "BURY", said, row_units=units)
    assert read.column[0] == pytest.approx(exact(999, LengthUnit.MM, LengthUnit.FT))
    assert read.column[1] == 999  # the intake clears it as out of range, and tells the row
    assert pd.isna(read.column[2])
    assert read.column[3] == 5


def test_marks_that_are_said_are_marks_as_numbers_and_as_text() -> None:
    said = ("5", "N/K")
    for cells in ([5.0, 6.0], ["5", "6"], ["5.0", "6"]):
        series = pd.Series(cells)
        marks, _ = sentinels_in(series, HYDRANTS["bury_ft"], LengthUnit.FT, said)
        assert marks.tolist() == [True, False]
    marks, remarks = sentinels_in(
        pd.Series(["N/K", None, "4"], dtype="str"), HYDRANTS["bury_ft"], LengthUnit.FT, said
    )
    assert marks.tolist() == [True, False, False]
    assert remarks == [("sentinel-value", "1 cells hold `N/K`: left blank as not known")]


def test_an_odd_value_in_many_rows_is_told_and_kept() -> None:
    cells = pd.Series([0.0] * 6 + [88.0] * 5 + [24.0] * 200)
    marks, remarks = sentinels_in(cells, READINGS["outlet_height_in"], LengthUnit.IN, ())
    assert not marks.any()
    assert remarks == [("value-too-often", "`0` stands in 6 of 211 rows")]
    column = READINGS["outlet_height_in"]
    assert sentinels_in(cells.iloc[2:], column, LengthUnit.IN, ())[1] == []


@pytest.mark.parametrize("name", ["turns", "flow_gpm"])
def test_what_is_kept_as_a_number_does_not_change_with_the_mark_of_text(name) -> None:
    column = TABLES[name]
    cells = pd.Series([1.234, 750.125, None])
    said = IntakeWords(decimal=",")
    read = read_column(cells, column, f"{name}_gpm" if "flow" in name else name, said)
    assert read.column.tolist()[:2] == [1.234, 750.125]
    text = read_column(pd.Series(["1.234", "750,125"]), column, "FLOW_GPM", said)
    assert text.column.tolist() == [1234, 750.125]
