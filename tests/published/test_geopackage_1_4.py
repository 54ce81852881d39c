"""
Every GeoPackage that is written, beside the requirements of the standard.

OGC 12-128, GeoPackage Encoding Standard 1.4 (and 1.3, with the same tables; the schema extension
was seen, the rest is from memory, its numbers too). `R n` is requirement n.
"""

from __future__ import annotations

import sqlite3
import struct
from contextlib import closing

import fiona
import geopandas as gpd
import pyogrio
import pytest
from defusedxml.ElementTree import fromstring

from hydrantgis.deliver.styles import layer_styles

FILES = ("register.gpkg", "checked.gpkg", "season.gpkg")


@pytest.fixture(scope="module", params=FILES)
def base(demo, request):
    path = demo[2][0].parent / request.param
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA query_only = 1")
        yield connection


def ask(base, text, *values):
    return base.execute(text, values).fetchall()


def test_r1_to_r7_it_is_sound_and_says_what_it_is(base):
    assert ask(base, "PRAGMA application_id") == [(0x47504B47,)]  # R 2: "GPKG"
    assert ask(base, "PRAGMA user_version")[0][0] >= 10300
    assert ask(base, "PRAGMA integrity_check") == [("ok",)]  # R 6
    assert ask(base, "PRAGMA foreign_key_check") == []  # R 7


def test_r10_r11_the_systems_of_reference_that_have_to_be_there(base):
    told = dict(ask(base, "SELECT srs_id, organization_coordsys_id FROM gpkg_spatial_ref_sys"))
    assert {-1, 0, 4326} <= set(told)
    assert told[4326] == 4326
    rows = ask(base, "SELECT DISTINCT srs_id FROM gpkg_contents WHERE srs_id IS NOT NULL")
    assert {srs for (srs,) in rows} <= set(told)  # R 16


def test_r13_to_r17_what_is_listed_is_there(base):
    there = {name for (name,) in ask(base, "SELECT name FROM sqlite_master WHERE type = 'table'")}
    listed = ask(base, "SELECT table_name, data_type, last_change FROM gpkg_contents")
    assert {name for name, _, _ in listed} <= there  # R 14
    assert {kind for _, kind, _ in listed} <= {"features", "attributes"}  # R 17, R 118
    for _, _, changed in listed:  # R 15: ISO 8601, UTC
        assert len(changed) == 24
        assert changed.endswith("Z")
    ours = {n for n in there if not n.startswith(("gpkg_", "rtree_", "sqlite_", "ogr_"))}
    assert ours <= {name for name, _, _ in listed}


def test_r21_to_r32_feature_tables_have_their_row_and_their_key(base):
    features = ask(base, "SELECT table_name, srs_id FROM gpkg_contents WHERE data_type='features'")
    columns = {
        row[0]: row[1:] for row in ask(
            base, "SELECT table_name, column_name, geometry_type_name, srs_id, z, m "
            "FROM gpkg_geometry_columns",
        )
    }  # fmt: skip
    assert {name for name, _ in features} == set(columns)  # R 22, R 23
    for name, srs in features:
        column, kind, of_column, z, m = columns[name]
        info = {row[1]: row for row in ask(base, f"PRAGMA table_info('{name}')")}
        assert column in info  # R 24
        assert kind in {"POINT", "MULTIPOLYGON", "MULTILINESTRING"}  # R 25
        assert info[column][2].upper() == kind  # R 31
        assert (of_column, z in (0, 1, 2), m in (0, 1, 2)) == (srs, True, True)  # R 26 to 28
        keys = [row for row in info.values() if row[5]]
        assert [key[2].upper() for key in keys] == ["INTEGER"]  # R 29


def test_r19_r33_geometries_are_blobs_of_the_standard_in_the_system_of_their_table(base):
    for name, column, srs in ask(
        base, "SELECT table_name, column_name, srs_id FROM gpkg_geometry_columns"
    ):
        rows = ask(base, f'SELECT "{column}" FROM "{name}" WHERE "{column}" IS NOT NULL LIMIT 50')
        for (blob,) in rows:
            assert blob[:2] == b"GP"
            assert blob[2] == 0
            order = "<" if blob[3] & 1 else ">"
            assert struct.unpack(f"{order}i", blob[4:8]) == (srs,)


def test_r103_to_r110_the_schema_extension_describes_columns_that_are_there(base):
    names = dict(ask(base, "SELECT table_name, data_type FROM gpkg_contents"))
    rows = ask(base, "SELECT table_name, column_name, constraint_name FROM gpkg_data_columns")
    assert rows
    for table, column, _ in rows:
        if table in names:
            info = [row[1] for row in ask(base, f"PRAGMA table_info('{table}')")]
            assert column in info
    rules = ask(
        base, "SELECT constraint_name, constraint_type, value FROM gpkg_data_column_constraints"
    )
    assert {kind for _, kind, _ in rules} <= {"range", "enum", "glob"}
    assert {rule for _, _, rule in rows if rule} <= {rule for rule, _, _ in rules}
    for rule, kind, value in rules:
        assert rule == rule.lower()  # names of constraints are lower case
        assert (value is None) == (kind == "range")
    told = {name for (name,) in ask(base, "SELECT extension_name FROM gpkg_extensions")}
    assert "gpkg_schema" in told


@pytest.mark.parametrize("name", FILES)
def test_gdal_fiona_and_geopandas_read_every_layer_alike(demo, name):
    path = demo[2][0].parent / name
    layers = pyogrio.list_layers(path)[:, 0].tolist()
    assert set(fiona.listlayers(path)) == set(layers)
    for layer in layers:
        with fiona.open(path, layer=layer) as source:
            assert len(source) == len(gpd.read_file(path, layer=layer)) >= 0


def test_a_desktop_gis_finds_a_style_for_hydrants_and_areas(demo):
    with closing(sqlite3.connect(demo[2][0].parent / "checked.gpkg")) as base:
        rows = ask(
            base, "SELECT s.f_table_name, s.styleQML, s.useAsDefault, g.column_name FROM "
            "layer_styles s JOIN gpkg_geometry_columns g ON g.table_name = s.f_table_name "
            "AND g.column_name = s.f_geometry_column",
        )  # fmt: skip
        verdicts = {v or "" for (v,) in ask(base, "SELECT DISTINCT verdict FROM checked")}
    assert {row[0]: row[1] for row in rows} == layer_styles()
    assert all(default == 1 for _, _, default, _ in rows)
    style = fromstring({row[0]: row[1] for row in rows}["checked"])
    categories = style.findall(".//category")
    assert verdicts <= {c.get("value") for c in categories}
    symbols = {s.get("name") for s in style.findall(".//symbol")}
    assert {c.get("symbol") for c in categories} == symbols
    shapes = [o.get("value") for o in style.findall(".//Option[@name='name']")]
    turns = [o.get("value") for o in style.findall(".//Option[@name='angle']")]
    assert len(set(zip(shapes, turns, strict=True))) == len(categories)


def test_areas_carry_figures_that_are_counted_from_the_hydrants(demo):
    path = demo[2][0].parent / "checked.gpkg"
    areas, checked = (gpd.read_file(path, layer=name) for name in ("area_figures", "checked"))
    for row in areas.to_dict("records"):
        ours = checked[checked["area_id"] == row["area_id"]]
        measured = ours[ours["verdict"].isin(["inside", "low", "high", "unresolved"])]
        assert row["hydrants"] == len(ours)
        assert row["measured"] == len(measured)
        assert row["inside_share"] == pytest.approx((measured["verdict"] == "inside").mean())
        assert row["to_measure"] == (ours["remedy"] == "measure").sum()
        assert row["geometry"].covers(ours.geometry.union_all().representative_point())
    remedies = gpd.read_file(path, layer="remedies")
    needs = checked[checked["remedy"].notna() & (checked["remedy"] != "none")]
    assert remedies["hydrant_id"].tolist() == needs["hydrant_id"].tolist()
