"""Coordinates among the fields: do they tell the place that the points tell?"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.findings import COLUMNS
from hydrantgis.intake.crosscheck import (
    AGREE_FT,
    ROW_FT,
    Pair,
    coordinate_pairs,
    crosscheck,
    disagreement,
    numbers_of,
)

MA = pyproj.CRS(2249)


def hydrants(n: int = 40, crs: int = 2249) -> gpd.GeoSeries:
    rng = np.random.default_rng(3)
    points = rng.uniform((745_000, 2_940_000), (775_000, 2_965_000), (n, 2))
    return gpd.GeoSeries.from_xy(*points.T, crs=2249).to_crs(crs)


def told_in(shapes: gpd.GeoSeries, crs: int) -> tuple[np.ndarray, np.ndarray]:
    """Coordinates of shapes, computed by a transformer of their own."""
    to_other = pyproj.Transformer.from_crs(shapes.crs, crs, always_xy=True)
    return to_other.transform(shapes.x.to_numpy(), shapes.y.to_numpy())


def messages(rows: pd.DataFrame, shapes: gpd.GeoSeries) -> list[str]:
    found = crosscheck(rows, shapes, "hydrants")
    assert tuple(found.columns) == COLUMNS
    assert set(found["code"]) <= {"attribute-coordinates-differ"}
    return found["message"].tolist()


# --- names -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("x", "y"),
    [
        ("X", "Y"), ("x", "y"), ("POINT_X", "POINT_Y"), ("X_COORD", "Y_COORD"), ("lon83", "lat83"),
        ("xcoord", "ycoord"), ("Longitude", "Latitude"), ("LON", "LAT"), ("long", "lat"),
        ("GPS_LONG", "GPS_LAT"), ("gps_lon", "gps_lat"), ("Lng", "Lat"), ("Easting", "Northing"),
        ("EASTING_FT", "NORTHING_FT"), ("PointX", "PointY"), ("hyd x", "hyd y"), ("X_24", "Y_24"),
        ("XCOORD", "YCOORD"), ("LONGITUD", "LATITUD"), ("CoordX", "CoordY"), ("X_LONG", "Y_LAT"),
    ],
)  # fmt: skip
def test_names_of_pairs(x, y) -> None:
    fields = ["HYD_ID", y, "NOTES", x, "MAX", "FLAT", "LATERAL", "EXTRA_X9"]
    assert coordinate_pairs(fields) == [Pair(x, y)]
    assert coordinate_pairs(pd.DataFrame(columns=fields)) == coordinate_pairs(fields)


def test_names_that_are_no_pair() -> None:
    assert coordinate_pairs(["X", "POINT_Y", "LAT", "EAST_ST", "NORTHERN", "INDEX", "CITY"]) == []
    assert coordinate_pairs([]) == []


def test_numbers_as_text_are_read_and_0_is_none() -> None:
    text = pd.Series([" 760000.5 ", "", "0", "unknown", None, "1e3", "inf"])
    expected = [760000.5, np.nan, np.nan, np.nan, np.nan, 1000.0, np.nan]
    np.testing.assert_array_equal(numbers_of(text), expected)


# --- agreement ---------------------------------------------------------------------------------


@pytest.mark.parametrize("crs", [2249, 4326, 3857, 26919])
@pytest.mark.parametrize("as_text", [True, False])
def test_the_own_coordinates_agree(crs, as_text) -> None:
    shapes = hydrants(crs=crs)
    rows = pd.DataFrame({"POINT_X": shapes.x, "POINT_Y": shapes.y})
    if as_text:
        rows = rows.astype("str")
    assert messages(rows, shapes) == []


@pytest.mark.parametrize("decimals", [4, 5, 6, 7])
def test_rounded_degrees_agree_within_their_decimals(decimals) -> None:
    shapes = hydrants()
    lon, lat = told_in(shapes, 4326)
    rows = pd.DataFrame({"LON": np.round(lon, decimals), "LAT": np.round(lat, decimals)})
    assert messages(rows, shapes) == []


def test_5_decimals_are_3_6_ft_and_no_more_is_forgiven() -> None:
    """Half a step of 1e-5 degree in both directions is 2.6 ft; 8 ft is not rounding."""
    shapes = hydrants()
    lon, lat = (np.round(a, 5) for a in told_in(shapes, 4326))
    result = disagreement(lon, lat, shapes, MA)
    assert result.agrees
    assert result.best.rounding_ft == pytest.approx(365_000 * 1e-5 / np.sqrt(2))
    shifted = gpd.GeoSeries.from_xy(shapes.x + 8, shapes.y, crs=2249)
    result = disagreement(lon, lat, shifted, MA)
    assert not result.agrees
    assert result.plain.median_ft == pytest.approx(8.0, abs=2.7)


@pytest.mark.slow
@given(dx=st.floats(-400, 400), dy=st.floats(-400, 400))
def test_distances_are_those_that_were_made(dx, dy) -> None:
    shapes = hydrants(30)
    x, y = shapes.x.to_numpy() + dx, shapes.y.to_numpy() + dy
    result = disagreement(x, y, shapes, MA)
    made = np.hypot(dx, dy) * 1.000002  # survey feet in feet
    assert result.plain.median_ft == pytest.approx(made, rel=1e-9, abs=1e-6)
    assert result.plain.greatest_ft == pytest.approx(made, rel=1e-9, abs=1e-6)
    assert result.agrees == (made <= AGREE_FT + result.plain.rounding_ft)


def test_distances_in_degrees_are_true_feet() -> None:
    shapes = hydrants(crs=4326)
    geod = pyproj.Geod(ellps="WGS84")
    east = np.full(len(shapes), 90.0)
    lon, lat, _ = geod.fwd(shapes.x, shapes.y, east, np.full(len(shapes), 100 * 0.3048))
    result = disagreement(lon, lat, shapes, shapes.crs)
    assert result.plain.median_ft == pytest.approx(100.0, abs=0.05)


# --- what would fit ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("crs", "system"),
    [(26986, "EPSG:26986"), (26919, "EPSG:26919"), (3857, "EPSG:3857"), (26786, "EPSG:26786")],
)
def test_another_system_is_named(crs, system) -> None:
    shapes = hydrants()
    x, y = told_in(shapes, crs)
    rows = pd.DataFrame({"X": x, "Y": y})
    told = messages(rows, shapes)
    assert len(told) == 1
    assert f"they fit {system} within 0.0 ft" in told[0]
    assert "from the points (median; read in EPSG:2249)" in told[0]


def test_swapped_attributes_are_named() -> None:
    shapes = hydrants()
    lon, lat = told_in(shapes, 4326)
    told = messages(pd.DataFrame({"LONGITUDE": lat, "LATITUDE": lon}), shapes)
    assert "they fit EPSG:4326, x and y swapped, within 0.0 ft" in told[0]
    told = messages(pd.DataFrame({"X": shapes.y, "Y": shapes.x}), shapes)
    assert "they fit EPSG:2249, x and y swapped, within 0.0 ft" in told[0]


def test_degrees_of_nad27_are_named_with_how_well_the_shift_is_known() -> None:
    """Without grid files the shift is known to tens of feet, and no more is claimed."""
    shapes = hydrants()
    lon, lat = told_in(shapes, 4267)
    result = disagreement(lon, lat, shapes, MA)
    assert not result.agrees
    # between NAD27 and NAD83 lie some 100 ft in New England
    assert 50 < result.plain.median_ft < 300
    assert result.best.system == "EPSG:4267"
    told = messages(pd.DataFrame({"LON": lon, "LAT": lat}), shapes)[0]
    assert "EPSG:4267" in told
    assert "the datum shift is known here to within" in told or "is not stated" in told


def test_the_wrong_foot_is_seen() -> None:
    """Read with the other foot, coordinates of 3 million move by 6 ft."""
    shapes = hydrants()
    lon, lat = told_in(shapes, 4326)
    factor = 0.3048 / (1200 / 3937)
    other = gpd.GeoSeries.from_xy(shapes.x * factor, shapes.y * factor, crs=2249)
    result = disagreement(lon, lat, other, MA)
    assert not result.agrees
    assert result.plain.median_ft == pytest.approx(6.1, abs=0.2)


def test_nothing_fits_and_nothing_is_claimed() -> None:
    shapes = hydrants()
    rng = np.random.default_rng(9)
    x = shapes.x.to_numpy() + rng.uniform(500, 900, len(shapes))
    told = messages(pd.DataFrame({"X": x, "Y": shapes.y}), shapes)
    assert len(told) == 1
    assert "no system tried fits" in told[0]


# --- rows --------------------------------------------------------------------------------------


def test_single_rows_that_differ_are_told_by_number() -> None:
    shapes = hydrants()
    shapes.index = pd.RangeIndex(1, len(shapes) + 1)
    rows = pd.DataFrame({"X": shapes.x, "Y": shapes.y})
    rows.loc[5, "X"] += 50.0
    rows.loc[9, "Y"] -= 7.0  # below what is told of one row
    rows.loc[11, ["X", "Y"]] = [1.0, 1.0]
    rows.loc[13, ["X", "Y"]] = 0.0  # stands for none
    rows.loc[14, "X"] = np.nan
    found = crosscheck(rows, shapes, "hydrants")
    assert found["key"].tolist() == ["(all)", "5", "11"]
    assert found["message"][0] == (
        f"2 of 38 rows lie more than {ROW_FT:g} ft from their `X`, `Y` (read in EPSG:2249): "
        "row 5, row 11"
    )
    assert found["message"][1] == "the point lies 50 ft from the coordinates of the row"
    assert found["column"].tolist() == ["X, Y"] * 3


def test_rows_are_told_in_the_system_that_fits() -> None:
    shapes = hydrants()
    x, y = told_in(shapes, 26986)
    rows = pd.DataFrame({"X": x, "Y": y})
    rows.loc[6, "Y"] += 100.0  # metres
    found = crosscheck(rows, shapes, "hydrants")
    assert found["key"].tolist() == ["(all)", "(all)", "6"]
    assert "lies 328 ft" in found["message"][2]


def test_missing_points_and_thin_columns_are_left_out() -> None:
    shapes = hydrants()
    x, y = shapes.x.to_numpy(), shapes.y.to_numpy()
    holes = shapes.where(np.arange(len(shapes)) % 3 > 0)
    assert messages(pd.DataFrame({"X": x, "Y": y}), holes) == []
    thin = np.where(np.arange(len(x)) < 5, x + 900, np.nan)
    assert messages(pd.DataFrame({"X": thin, "Y": y}), shapes) == []
    assert messages(pd.DataFrame({"X": ["north"] * len(x), "Y": ["side"] * len(x)}), shapes) == []
    no_crs = gpd.GeoSeries(shapes.to_numpy())
    assert messages(pd.DataFrame({"X": x + 900, "Y": y}), no_crs) == []
    nothing = shapes.where(np.zeros(len(shapes), dtype=bool))
    assert disagreement(x, y, nothing, MA) is None


def test_shapes_with_extent_stand_for_a_point_within_them() -> None:
    shapes = hydrants()
    rows = pd.DataFrame({"X": shapes.x, "Y": shapes.y})
    assert messages(rows, shapes.buffer(2.0)) == []


def test_eastings_of_a_real_layer_agree_with_its_points(open_data) -> None:
    layer = gpd.read_file(open_data / "iowa_dem_points" / "XYdata_137Cs.shp")
    assert coordinate_pairs(list(layer.columns)) == [Pair("Easting", "Northing")]
    told = messages(layer.drop(columns="geometry"), layer.geometry)
    assert told == []
    shifted = layer.geometry.translate(30.48, 0)
    told = messages(layer.drop(columns="geometry"), shifted)
    assert "lie 100.0 ft from the points" in told[0]
