"""GeoParquet: what was written is what is read, and damage is told."""

from __future__ import annotations

import datetime as dt
import decimal
import json
import struct
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pyproj
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hydrantgis.ground.errors import UnreadableError
from hydrantgis.intake.parquet import is_parquet, open_parquet, read_parquet
from hydrantgis.intake.tags import unpack

MA = 2249  # NAD83 / Massachusetts Mainland (ftUS)
POINTS = [shapely.Point(760_000, 2_950_000), None, shapely.Point(760_100, 2_950_200)]


def read(path: Path) -> tuple:
    source = open_parquet(path)
    rows = read_parquet(source, source.layers[0])
    assert rows.index.tolist() == list(range(1, source.layers[0].rows + 1))
    return source, source.layers[0], rows


def raw(tmp_path: Path, geo: object = None, name: str = "raw.parquet", **columns: pa.Array) -> Path:
    """A file with metadata that no library would write."""
    table = pa.table(columns)
    if geo is not None:
        told = geo if isinstance(geo, bytes) else json.dumps(geo).encode()
        table = table.replace_schema_metadata({b"geo": told})
    pq.write_table(table, tmp_path / name)
    return tmp_path / name


def wkb(*shapes: shapely.Geometry | None) -> pa.Array:
    return pa.array([None if shape is None else shape.wkb for shape in shapes], pa.binary())


def geo_of(**told: object) -> dict:
    column = {"encoding": "WKB", "geometry_types": ["Point"], **told}
    return {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}


@pytest.mark.parametrize("encoding", ["WKB", "geoarrow"])
@pytest.mark.parametrize("covering", [False, True])
def test_a_layer_comes_back(tmp_path, encoding, covering):
    path = tmp_path / "hydrants.parquet"
    frame = gpd.GeoDataFrame({"id": ["01", "2", None], "n": [1, 2, 3]}, geometry=POINTS, crs=MA)
    frame.to_parquet(path, geometry_encoding=encoding, write_covering_bbox=covering)
    source, layer, rows = read(path)
    assert source.driver == "GeoParquet"
    assert (layer.name, layer.geometry_type, layer.rows) == ("hydrants", "Point", 3)
    assert layer.crs == pyproj.CRS.from_epsg(MA)
    assert layer.bounds == (760_000, 2_950_000, 760_100, 2_950_200)
    assert set(layer.fields) == {"id", "n"}
    assert layer.fields["n"] == "int64"
    assert list(rows.columns) == ["id", "n", "geometry"]
    assert rows.crs == layer.crs
    assert rows.geometry.to_list() == POINTS
    assert rows["id"].dropna().tolist() == ["01", "2"]


@pytest.mark.parametrize("shapes", [
    [shapely.LineString([(0, 0), (1, 1)]), None],
    [shapely.box(0, 0, 1, 1), shapely.box(2, 2, 3, 3)],
    [shapely.MultiPoint([(0, 0), (1, 1)])],
    [shapely.MultiLineString([[(0, 0), (1, 1)], [(2, 2), (3, 3)]])],
    [shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 2, 3, 3)])],
    [shapely.Point(1, 2, 3), shapely.Point(4, 5, 6)],
])  # fmt: skip
@pytest.mark.parametrize("encoding", ["WKB", "geoarrow"])
def test_every_kind_of_shape_comes_back(tmp_path, shapes, encoding):
    path = tmp_path / "s.parquet"
    gpd.GeoDataFrame(geometry=shapes, crs=MA).to_parquet(path, geometry_encoding=encoding)
    _, layer, rows = read(path)
    assert layer.geometry_type == shapes[0].geom_type
    assert shapely.equals_identical(rows.geometry.to_numpy(), np.array(shapes, dtype=object))[
        [shape is not None for shape in shapes]
    ].all()
    assert rows.geometry.isna().tolist() == [shape is None for shape in shapes]


def test_a_table_without_shapes(tmp_path):
    path = raw(tmp_path, a=pa.array([1, 2]), b=pa.array(["x", None]))
    source, layer, rows = read(path)
    assert source.driver == "Parquet"
    assert (layer.geometry_type, layer.crs, layer.bounds) == (None, None, None)
    assert not isinstance(rows, gpd.GeoDataFrame)
    assert list(rows.columns) == ["a", "b"]


@pytest.mark.parametrize(("told", "crs"), [
    ({}, pyproj.CRS.from_user_input("OGC:CRS84")),
    ({"crs": None}, None),
    ({"crs": pyproj.CRS.from_epsg(MA).to_json_dict()}, pyproj.CRS.from_epsg(MA)),
    ({"crs": pyproj.CRS.from_epsg(MA).to_wkt()}, pyproj.CRS.from_epsg(MA)),
])  # fmt: skip
def test_the_crs_is_the_one_that_the_specification_says(tmp_path, told, crs):
    _, layer, rows = read(raw(tmp_path, geo_of(**told), geometry=wkb(*POINTS)))
    assert layer.crs == crs
    assert rows.crs == crs


@pytest.mark.parametrize(("types", "kind"), [
    (["Point"], "Point"), (["Point Z"], "Point"), (["Point", "Point ZM"], "Point"),
    (["Polygon", "MultiPolygon"], "MultiPolygon"), (["Point", "Polygon"], "Unknown"),
    ([], "Unknown"), ("Point", "Unknown"),
])  # fmt: skip
def test_kinds_of_shapes(tmp_path, types, kind):
    path = raw(tmp_path, geo_of(geometry_types=types), geometry=wkb(*POINTS))
    assert open_parquet(path).layers[0].geometry_type == kind


@pytest.mark.parametrize(("box", "bounds"), [
    ([1, 2, 3, 4], (1, 2, 3, 4)), ([1, 2, -9, 3, 4, 9], (1, 2, 3, 4)), ([179, 0, -179, 1], None),
    ([1, 2, 3], None), (["a", 2, 3, 4], None), ("no", None), ([1, 2, float("nan"), 4], None),
])  # fmt: skip
def test_bounds_are_told_or_left_open(tmp_path, box, bounds):
    path = raw(tmp_path, geo_of(bbox=box), geometry=wkb(*POINTS))
    assert open_parquet(path).layers[0].bounds == bounds


def test_other_shapes_are_text(tmp_path):
    geo = geo_of()
    geo["columns"]["area"] = {"encoding": "WKB", "geometry_types": []}
    box = shapely.box(0, 0, 1 / 3, 1)
    path = raw(tmp_path, geo, area=wkb(box, None), geometry=wkb(*POINTS[:2]))
    _, layer, rows = read(path)
    assert set(layer.fields) == {"area"}
    assert shapely.from_wkt(rows["area"].iloc[0]).equals_exact(box, 0)
    assert pd.isna(rows["area"].iloc[1])


def test_columns_of_every_type(tmp_path):
    big = 2**53 + 1
    day, moment = dt.date(2024, 5, 6), dt.datetime(2024, 5, 6, 7, 8, 9)
    path = raw(
        tmp_path,
        gapped=pa.array([big, None], pa.int64()),
        whole=pa.array([big, 1], pa.int64()),
        unsigned=pa.array([2**64 - 1, None], pa.uint64()),
        yes=pa.array([True, None]),
        real=pa.array([1.5, None]),
        coded=pa.array(["a", None]).dictionary_encode(),
        numbered=pa.array([7, None]).dictionary_encode(),
        exact=pa.array([decimal.Decimal("12.50"), None]),
        day=pa.array([day, None]),
        moment=pa.array([moment, None]),
        clock=pa.array([moment.time(), None]),
        raw=pa.array([b"\x01\xff", None]),
        nothing=pa.array([None, None]),
        parts=pa.array([[1, 2], None]),
        group=pa.array([{"a": 1, "b": {"c": "x"}}, None]),
        tags=pa.array([[("ref", "12")], None], pa.map_(pa.string(), pa.string())),
        twice=pa.array([[("k", "1"), ("k", "2")], None], pa.map_(pa.string(), pa.string())),
    )
    _, layer, rows = read(path)
    first, second = rows.iloc[0], rows.iloc[1]
    assert first.drop(["day", "moment"]).to_dict() == {
        "gapped": big, "whole": big, "unsigned": 2**64 - 1, "yes": True, "real": 1.5, "coded": "a",
        "numbered": 7, "exact": "12.50", "clock": "07:08:09.000000", "raw": "01ff",
        "nothing": first["nothing"], "parts": "[1, 2]", "group": '{"a": 1, "b": {"c": "x"}}',
        "tags": '{"ref": "12"}', "twice": '[["k", "1"], ["k", "2"]]',
    }  # fmt: skip
    assert (first["day"], first["moment"]) == (pd.Timestamp(day), pd.Timestamp(moment))
    assert second.drop("whole").isna().all()
    assert pd.isna(first["nothing"])
    assert layer.fields["tags"].startswith("map<")
    told, names = unpack(rows[["group", "tags"]])
    assert names == ["group", "tags"]
    assert told.iloc[0].to_dict() == {"a": "1", "b.c": "x", "ref": "12"}


def test_an_index_that_was_written_along_is_a_column(tmp_path):
    path = tmp_path / "i.parquet"
    gpd.GeoDataFrame(
        {"a": [1, 2, 3]}, geometry=POINTS, index=pd.Index(["x", "y", "z"], name="key"), crs=MA
    ).to_parquet(path)
    _, _, rows = read(path)
    assert rows["key"].tolist() == ["x", "y", "z"]


def test_a_folder_called_like_a_partition_adds_no_column(tmp_path):
    (tmp_path / "year=2024").mkdir()
    _, _, rows = read(raw(tmp_path / "year=2024", a=pa.array([1])))
    assert list(rows.columns) == ["a"]


CELLS = {
    "text": st.none() | st.text(st.characters(codec="utf-8"), max_size=6),
    "whole": st.none() | st.integers(-(2**63), 2**63 - 1),
    "real": st.none() | st.floats(allow_nan=False),
    "yes": st.none() | st.booleans(),
    "geometry": st.none()
    | st.builds(shapely.Point, *[st.floats(-1e7, 1e7, allow_subnormal=False)] * 2),
}


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.fixed_dictionaries(CELLS), max_size=6), st.sampled_from(["WKB", "geoarrow"]))
def test_any_table_comes_back(tmp_path, told, encoding):
    path = tmp_path / "any.parquet"
    kinds = {"text": "str", "whole": "Int64", "real": "float64", "yes": "boolean"}
    columns = {k: pd.Series([row[k] for row in told], dtype=kind) for k, kind in kinds.items()}
    shapes = gpd.GeoSeries([row["geometry"] for row in told], crs=MA)
    frame = gpd.GeoDataFrame(columns, geometry=shapes)
    if frame.geometry.isna().all():
        encoding = "WKB"  # the other has no name for a column without shapes
    frame.to_parquet(path, geometry_encoding=encoding)
    _, layer, rows = read(path)
    assert layer.rows == len(told)
    for name in CELLS:
        assert [None if pd.isna(cell) else cell for cell in rows[name]] == [
            row[name] for row in told
        ]


BROKEN = [
    (b"{not json", "broken"),
    (b"\xff\xfe", "broken"),
    (b"[" * 100_000, "broken"),
    (b"[1]", "broken"),
    (b"{}", "broken"),
    ({"primary_column": "geometry", "columns": []}, "broken"),
    ({"primary_column": "geom", "columns": geo_of()["columns"]}, "broken"),
    ({"primary_column": "geom", "columns": {"geom": {"encoding": "WKB"}}}, "column `geom`"),
    ({"primary_column": "geometry", "columns": {"geometry": 5}}, "encoding `5`"),
    (geo_of(encoding="WKT"), "encoding `WKT`"),
    (geo_of(encoding=["WKB"]), "encoding"),
    (geo_of(crs={"type": "nonsense"}), "crs"),
    (geo_of(crs=7), "crs"),
    (geo_of(crs="EPSG:nonsense"), "crs"),
]


@pytest.mark.parametrize(("geo", "told"), BROKEN)
def test_broken_metadata_are_told(tmp_path, geo, told):
    path = raw(tmp_path, geo, geometry=wkb(*POINTS))
    with pytest.raises(UnreadableError, match=told):
        open_parquet(path)


def test_a_box_that_is_not_there_hurts_nobody(tmp_path):
    covering = {"bbox": {"xmin": ["nowhere", "xmin"], "ymin": [], "xmax": 5}}
    _, _, rows = read(raw(tmp_path, geo_of(covering=covering), geometry=wkb(*POINTS)))
    assert len(rows) == 3


def test_shapes_that_are_none_are_told(tmp_path):
    path = raw(tmp_path, geo_of(), geometry=pa.array([POINTS[0].wkb, b"\x01\x02", None]))
    with pytest.raises(UnreadableError, match="row 2"):
        read(path)


@pytest.mark.parametrize(("encoding", "column"), [
    ("WKB", pa.array(["POINT (1 2)"])),
    ("point", pa.array([5])),
    ("point", pa.array([{"x": "1", "y": "2"}])),
    ("point", pa.array([{"x": 1.0, "y": 2.0, "m": 3.0}])),
    ("point", pa.array([{"lon": 1.0, "lat": 2.0}])),
    ("point", pa.array([[1.0, 2.0]])),
    ("linestring", pa.array([{"x": 1.0, "y": 2.0}])),
    ("polygon", pa.array([[{"x": 1.0, "y": 2.0}]])),
])  # fmt: skip
def test_shapes_of_another_make_than_told_are_refused(tmp_path, encoding, column):
    path = raw(tmp_path, geo_of(encoding=encoding), geometry=column)
    with pytest.raises(UnreadableError, match="not what the metadata say"):
        read(path)


def test_a_line_of_one_point_is_refused(tmp_path):
    path = raw(tmp_path, geo_of(encoding="linestring"), geometry=pa.array([[{"x": 1.0, "y": 2.0}]]))
    with pytest.raises(UnreadableError):
        read(path)


def test_pairs_of_numbers_are_points_too(tmp_path):
    pairs = pa.array([[1.0, 2.0], None, [3.0, 4.0]], pa.list_(pa.float64(), 2))
    _, _, rows = read(raw(tmp_path, geo_of(encoding="point"), geometry=pairs))
    assert rows.geometry.to_list() == [shapely.Point(1, 2), None, shapely.Point(3, 4)]


def test_two_columns_of_one_name_are_told(tmp_path):
    table = pa.table([pa.array([1]), pa.array([2])], names=["a", "a"])
    pq.write_table(table, tmp_path / "two.parquet")
    with pytest.raises(UnreadableError, match="one name"):
        open_parquet(tmp_path / "two.parquet")


def test_text_that_is_none_is_told(tmp_path):
    bad = pa.Array.from_buffers(
        pa.string(), 1, [None, pa.py_buffer(struct.pack("<ii", 0, 2)), pa.py_buffer(b"\xff\xfe")]
    )
    with pytest.raises(UnreadableError):
        read(raw(tmp_path, a=bad))


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "w.parquet"
    frame = gpd.GeoDataFrame({"id": ["01", "2", None], "n": [1, 2, 3]}, geometry=POINTS, crs=MA)
    frame.to_parquet(path, write_page_checksum=True)
    return path


@pytest.mark.parametrize("length", [0, 1, 2**16, 2**31 - 1, 2**31, 2**32 - 1])
def test_a_footer_of_any_claimed_length_is_refused(whole, tmp_path, length):
    path = tmp_path / "f.parquet"
    path.write_bytes(whole.read_bytes()[:-8] + struct.pack("<I", length) + b"PAR1")
    with pytest.raises(UnreadableError):
        open_parquet(path)


@given(st.data())
def test_a_file_that_breaks_off_is_refused(whole, data):
    content = whole.read_bytes()
    path = whole.with_name("cut.parquet")
    path.write_bytes(content[: data.draw(st.integers(0, len(content) - 1))])
    with pytest.raises(UnreadableError):
        open_parquet(path)


@given(st.data(), st.integers(1, 255))
def test_a_changed_byte_brings_no_other_error(whole, data, by):
    content = bytearray(whole.read_bytes())
    content[data.draw(st.integers(0, len(content) - 1))] ^= by
    path = whole.with_name("bent.parquet")
    path.write_bytes(content)
    try:
        _, layer, rows = read(path)
    except UnreadableError:
        return
    assert len(rows) == layer.rows


def test_the_first_bytes_tell_the_format(whole):
    assert is_parquet(whole.read_bytes()[:4096])
    assert not is_parquet(b"SQLite format 3\x00")
    assert not is_parquet(b"")
