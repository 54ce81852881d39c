"""A layer in the formats of others: read back by GDAL, fiona and geopandas, nothing moved."""

from __future__ import annotations

import csv
import datetime as dt
import json
import zipfile

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pyogrio
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.deliver.layers import FORMATS, crosswalk, write_layer
from hydrantgis.ground.errors import WordsError
from hydrantgis.ground.results import CHECKED
from hydrantgis.ground.seasons import ALL_TABLES
from hydrantgis.ground.tables import AREAS

MOMENT = dt.datetime(2026, 9, 30, 12)
HOSTILE = [
    '=HYPERLINK("x")', "0012", "a,\"b\"\r\nc", "<img onerror=alert(1)>", "größe ✓ \u202eabc",
    "x" * 300,
]  # fmt: skip


@pytest.fixture(scope="module")
def layer():
    n = len(HOSTILE)
    points = [shapely.Point(760_000.125 + 10 * k, 2_950_000.5) for k in range(n - 1)] + [None]
    frame = gpd.GeoDataFrame(
        {
            "hydrant_id": [f"00{k}" for k in range(n)], "remedy_reason": HOSTILE,
            "outlet_height_in": [17.25, np.nan, 18.0, 19.5, 20.0, 21.0],
            "reading_date": pd.to_datetime(["2026-05-04", None, *["2026-06-01"] * (n - 2)]),
            "marginal": [True, False, None, True, False, None],
        },
        geometry=points, crs=2249,
    )  # fmt: skip
    return gpd.GeoDataFrame(CHECKED.conform(frame))


@pytest.mark.parametrize("kind", FORMATS)
def test_the_same_layer_has_the_same_bytes(layer, tmp_path, kind):
    one, two = (
        write_layer(tmp_path / name, CHECKED, layer, kind, moment=MOMENT) for name in ("a", "b")
    )
    assert one.read_bytes() == two.read_bytes()


def test_geoparquet_keeps_every_value_and_has_a_bbox_to_filter_by(layer, tmp_path):
    path = write_layer(tmp_path, CHECKED, layer, "geoparquet", moment=MOMENT)
    back = gpd.read_parquet(path)
    pd.testing.assert_frame_equal(
        pd.DataFrame(CHECKED.conform(back)).drop(columns="geometry"),
        pd.DataFrame(layer).drop(columns="geometry"),
    )
    assert back.crs.equals(layer.crs)
    assert back.geometry.geom_equals(layer.geometry)[:-1].all()
    meta = json.loads(pq.read_metadata(path).metadata[b"geo"])
    assert meta["version"] == "1.1.0"
    assert meta["columns"]["geometry"]["covering"]["bbox"]["xmin"] == ["bbox", "xmin"]
    few = gpd.read_parquet(path, bbox=(759_000, 2_949_000, 760_005, 2_951_000))
    assert few["hydrant_id"].tolist() == ["000"]


def test_geojson_is_in_wgs_84_and_by_the_right_hand_rule(layer, tmp_path):
    path = write_layer(tmp_path, CHECKED, layer, "geojson", moment=MOMENT)
    told = json.loads(path.read_text(encoding="utf-8"))
    assert "crs" not in told
    assert [f["id"] for f in told["features"]] == layer["hydrant_id"].tolist()
    assert [f["properties"]["remedy_reason"] for f in told["features"]] == HOSTILE
    lon, lat = told["features"][0]["geometry"]["coordinates"]
    there = layer.to_crs(4326).geometry.iloc[0]
    assert (lon, lat) == pytest.approx((there.x, there.y), abs=1e-9)
    assert told["features"][-1]["geometry"] is None
    clockwise = shapely.Polygon([(0, 0), (0, 9), (9, 9), (9, 0)])
    areas = AREAS.conform(
        gpd.GeoDataFrame({"area_id": ["A"]}, geometry=[shapely.MultiPolygon([clockwise])], crs=2249)
    )
    path = write_layer(tmp_path, AREAS, gpd.GeoDataFrame(areas), "geojson", moment=MOMENT)
    (ring,) = json.loads(path.read_text())["features"][0]["geometry"]["coordinates"][0]
    assert shapely.LinearRing(ring).is_ccw


def test_flatgeobuf_is_read_with_an_index_and_leaves_out_what_has_no_place(layer, tmp_path):
    path = write_layer(tmp_path, CHECKED, layer, "flatgeobuf", moment=MOMENT)
    back = pyogrio.read_dataframe(path).sort_values("hydrant_id")
    assert back["hydrant_id"].tolist() == layer["hydrant_id"].tolist()[:-1]
    assert back["remedy_reason"].tolist() == HOSTILE[:-1]
    with fiona.open(path) as source:
        assert len(source) == len(layer) - 1
    box = (760_009, 2_949_000, 760_011, 2_951_000)
    assert pyogrio.read_dataframe(path, bbox=box)["hydrant_id"].tolist() == ["001"]


def test_a_shapefile_says_what_its_short_names_stand_for_and_what_it_cut(layer, tmp_path):
    path = write_layer(tmp_path, CHECKED, layer, "shapefile", moment=MOMENT)
    with zipfile.ZipFile(path) as archive:
        archive.extractall(tmp_path / "x")
        told = archive.read("crosswalk.csv").decode("utf-8-sig").splitlines()
    walk = {row["column"]: row for row in csv.DictReader(told)}
    assert set(walk) == set(CHECKED.names)
    assert walk["remedy_reason"]["texts_cut"] == "1"
    back = gpd.read_file(f"zip://{path}")
    field = {column: row["field"] for column, row in walk.items()}
    assert back[field["hydrant_id"]].tolist() == layer["hydrant_id"].tolist()
    assert back[field["outlet_height_in"]].tolist() == pytest.approx(
        layer["outlet_height_in"].tolist(), nan_ok=True
    )
    reasons = back[field["remedy_reason"]].tolist()
    assert reasons[-1] == "x" * 254
    assert [r.replace("\r\n", "") for r in reasons[:-1]] == [
        r.replace("\r\n", "") for r in HOSTILE[:-1]
    ]
    with fiona.open(f"zip://{path}") as source:
        assert source.crs.to_epsg() == 2249


def test_a_csv_has_the_place_and_no_cell_that_a_spreadsheet_would_run(layer, tmp_path):
    path = write_layer(tmp_path, CHECKED, layer, "csv", moment=MOMENT)
    rows = pd.read_csv(path, encoding="utf-8-sig", dtype=str, keep_default_na=False)
    assert rows["hydrant_id"].tolist() == layer["hydrant_id"].tolist()
    assert rows["remedy_reason"][0] == "'" + HOSTILE[0]
    assert float(rows["x"][0]) == 760_000.125
    assert rows["x"].iloc[-1] == ""
    assert set(rows["crs"]) == {layer.crs.name}


@given(
    text=st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\x00\x1a"), max_size=90)
)
def test_what_is_cut_is_never_torn_within_a_letter(text):
    from hydrantgis.deliver.layers import _cut

    long = text * 9
    assert long.startswith(_cut(long))
    assert len(_cut(long).encode()) <= 254
    assert len(long.encode()) <= 254 or len(_cut(long).encode()) > 250


@pytest.mark.parametrize("table", ALL_TABLES, ids=lambda t: t.name)
def test_short_names_are_ten_letters_and_each_its_own(table):
    told = crosswalk(table.columns)
    assert list(told) == table.names
    assert len({name.lower() for name in told.values()}) == len(told)
    assert max(map(len, told.values())) <= 10


def test_a_format_that_is_none_and_a_layer_without_crs_are_refused(layer, tmp_path):
    with pytest.raises(WordsError, match="is no format"):
        write_layer(tmp_path, CHECKED, layer, "dxf", moment=MOMENT)
    bare = layer.set_crs(None, allow_override=True)
    with pytest.raises(WordsError, match="has no CRS"):
        write_layer(tmp_path, CHECKED, bare, "geojson", moment=MOMENT)
