"""Declarations of tables, and what is derived from them."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from hydrantgis.ground.results import CHECKED
from hydrantgis.ground.seasons import ALL_TABLES
from hydrantgis.ground.table import Column, Kind, Table
from hydrantgis.ground.tables import HYDRANTS, READINGS
from hydrantgis.ground.units import LengthUnit

DESIGNED = (
    "hydrant_id area_id outlet_height_in height_sd_in height_basis reading_date rule_id "
    "window_lo_in window_hi_in verdict marginal p_inside p_low p_high shortfall_in excess_in "
    "flange_height_in flange_verdict remedy remedy_reason kit_id kit_length_in raise_in "
    "outlet_height_after_in flange_height_after_in bury_ft bury_after_ft installed_extension_in"
)


def test_checked_has_the_columns_that_other_people_rely_on() -> None:
    assert " ".join(CHECKED.names) == DESIGNED


def test_a_name_that_lies_about_its_unit_is_refused() -> None:
    with pytest.raises(ValueError, match="not its unit"):
        Column(name="bury_ft", kind=Kind.REAL, title="x", about="x", unit=LengthUnit.IN)
    with pytest.raises(ValueError, match="not its unit"):
        Column(name="bury", kind=Kind.REAL, title="x", about="x", unit=LengthUnit.FT)


def test_a_table_without_its_key_or_with_a_column_twice_is_refused() -> None:
    one = Column(name="a", kind=Kind.TEXT, title="A", about="a")
    with pytest.raises(ValueError, match="twice"):
        Table(name="t", title="T", about="t", key="a", columns=(one, one))
    with pytest.raises(ValueError, match="key"):
        Table(name="t", title="T", about="t", key="b", columns=(one,))


@pytest.mark.parametrize("table", ALL_TABLES, ids=lambda t: t.name)
def test_conforming_an_empty_frame_gives_the_declared_columns(table: Table) -> None:
    frame = table.conform(table.empty(3736 if table.geometry else None))
    assert [c for c in frame.columns if c != "geometry"] == table.names
    assert list(table.conform(frame).dtypes) == list(frame.dtypes)
    assert table.to_arrow(frame).num_rows == 0


def test_conform_keeps_index_order_and_input_and_fills_what_is_missing() -> None:
    source = pd.DataFrame(
        {"hydrant_id": ["b", "a"], "extra": [1, 2], "bury_ft": [4, 5]}, index=[7, 3]
    )
    before = source.copy()
    shaped = gpd.GeoDataFrame(source, geometry=[shapely.Point(0, 1), None], crs=3736)
    frame = HYDRANTS.conform(shaped)
    assert frame.index.tolist() == [7, 3]
    assert "extra" not in frame
    assert frame["bury_ft"].tolist() == [4.0, 5.0]
    assert frame["family"].isna().all()
    pd.testing.assert_frame_equal(source, before)


def test_validate_tells_every_fault_with_its_row() -> None:
    frame = READINGS.conform(
        pd.DataFrame(
            {
                "reading_id": ["r1", None],
                "hydrant_id": ["H1", "H2"],
                "method": ["tape", "guess"],
                "outlet_height_in": [18.0, 999.0],
            }
        )
    )
    found = READINGS.validate(frame)
    assert set(zip(found["code"], found["column"], found["key"], strict=True)) == {
        ("value-missing", "reading_id", "(no id)"),
        ("value-not-allowed", "method", "(no id)"),
        ("value-out-of-range", "outlet_height_in", "(no id)"),
    }


def test_every_column_tells_what_it_is() -> None:
    for table in ALL_TABLES:
        for column in table.columns:
            assert column.title
            assert column.about.endswith("."), (table.name, column.name)
