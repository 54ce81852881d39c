"""Tables of PostGIS as a source: what stands there comes in, and nothing of an address gets out."""

from __future__ import annotations

import datetime as dt
import hashlib
import time
import traceback
import urllib.parse
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import psycopg
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis import job
from hydrantgis.ground.errors import (
    SourceError,
    UnreadableError,
)
from hydrantgis.ground.tables import HYDRANTS, READINGS
from hydrantgis.intake import database as module
from hydrantgis.intake.cells import read_cells
from hydrantgis.intake.database import open_database, read_table
from hydrantgis.intake.words import IntakeWords
from hydrantgis.register.store import Register

# a server is started for them
pytestmark = pytest.mark.slow

COUNTY = (
    'PROJCS["Example County",GEOGCS["NAD83",DATUM["North_American_Datum_1983",'
    'SPHEROID["GRS 1980",6378137,298.257222101]],PRIMEM["Greenwich",0],'
    'UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],'
    'PARAMETER["latitude_of_origin",42],PARAMETER["central_meridian",-71.5],'
    'PARAMETER["scale_factor",1],PARAMETER["false_easting",500000],'
    'PARAMETER["false_northing",0],UNIT["US survey foot",0.304800609601219]]'
)


class Base:
    """A database of one test: its address, and a way to write into it."""

    def __init__(self, address: str) -> None:
        self.address = address

    def run(self, *statements: str) -> None:
        with psycopg.connect(self.address) as connection:
            for statement in statements:
                connection.execute(statement)

    def rows(self, statement: str) -> list[tuple]:
        with psycopg.connect(self.address) as connection:
            return connection.execute(statement).fetchall()

    def address_of(self, user: str, word: str) -> str:
        parts = urllib.parse.urlsplit(self.address)
        return f"postgresql://{user}:{word}@{parts.hostname}:{parts.port}{parts.path}"

    def read(self, name: str) -> gpd.GeoDataFrame | pd.DataFrame:
        source = open_database(self.address)
        return read_table(source, source.layer(name))[0]

    def digest(self, name: str) -> str:
        source = open_database(self.address)
        return read_table(source, source.layer(name))[1]


@pytest.fixture(scope="session")
def make_base(postgis: str) -> Callable[[], Base]:
    """Makes an empty database with PostGIS."""
    made = 0
    with psycopg.connect(postgis, autocommit=True) as connection:
        connection.execute("CREATE DATABASE pattern")
    pattern = Base(postgis.removesuffix("/postgres") + "/pattern")
    pattern.run("CREATE EXTENSION postgis")

    def make() -> Base:
        nonlocal made
        made += 1
        with psycopg.connect(postgis, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE b{made} TEMPLATE pattern STRATEGY file_copy")
        return Base(postgis.removesuffix("/postgres") + f"/b{made}")

    return make


@pytest.fixture
def base(make_base: Callable[[], Base]) -> Iterator[Base]:
    return make_base()


def test_every_readable_table_is_listed_and_none_of_the_systems(base: Base) -> None:
    base.run(
        "CREATE TABLE hydrants (id text PRIMARY KEY, geom geometry(Point, 2249))",
        "INSERT INTO hydrants VALUES ('1', 'SRID=2249;POINT(760000.125 2950000.5)'),"
        " ('2', 'SRID=2249;POINT(760100.25 2950300)'), ('3', NULL)",
        "CREATE SCHEMA water",
        "CREATE TABLE water.readings (id int, height numeric(6, 2), on_day date)",
        "INSERT INTO water.readings VALUES (1, 18.25, '2026-05-01')",
        "CREATE VIEW water.flat AS SELECT id, st_force2d(geom) AS place FROM hydrants",
        "CREATE MATERIALIZED VIEW water.kept AS SELECT * FROM hydrants",
        "CREATE TABLE water.empty (geom geometry(MultiPolygonZ, 2249))",
        "CREATE TABLE parts (n int, geom geometry(Point, 2249)) PARTITION BY RANGE (n)",
        "CREATE TABLE parts_low PARTITION OF parts FOR VALUES FROM (0) TO (10)",
        "INSERT INTO parts VALUES (1, 'SRID=2249;POINT(1 2)')",
    )
    source = open_database(base.address)
    told = {x.name: (x.geometry_type, x.rows, x.bounds) for x in source.layers}
    box = (760000.125, 2950000.5, 760100.25, 2950300.0)
    assert told == {
        "hydrants": ("Point", 3, box),
        "parts": ("Point", 1, (1.0, 2.0, 1.0, 2.0)),
        "water.empty": ("MultiPolygonZ", 0, None),
        "water.flat": ("Point", 3, box),
        "water.kept": ("Point", 3, box),
        "water.readings": (None, 1, None),
    }
    crs = {x.name: x.crs and x.crs.to_authority() for x in source.layers}
    code = ("EPSG", "2249")
    # a view that computes its shapes declares no SRID; its rows do
    assert crs == {name: code for name in told if name != "water.readings"} | {
        "water.readings": None
    }
    assert source.layer("water.readings").fields == {
        "id": "integer", "height": "numeric(6,2)", "on_day": "date",
    }  # fmt: skip
    assert source.layer("hydrants").fields == {"id": "text"}
    assert source.driver == "PostGIS"
    assert source.name == f"127.0.0.1/{base.address.rsplit('/', 1)[1]}"
    assert str(source.path) == source.name
    assert source.address == base.address
    assert source.options == {"unreadable": {}}
    with pytest.raises(SourceError, match=r"water\.readings"):
        source.layer("readings")
    assert read_table(source, source.layer("parts"))[0]["n"].tolist() == [1]


def test_a_database_without_postgis_has_plain_tables(postgis: str) -> None:
    plain = Base(postgis)
    plain.run("CREATE TABLE readings (id text, geometry text)", "INSERT INTO readings VALUES ('a')")
    try:
        frame = plain.read("readings")
    finally:
        plain.run("DROP TABLE readings")
    assert not isinstance(frame, gpd.GeoDataFrame)
    assert frame["id"].tolist() == ["a"]
    with pytest.raises(UnreadableError, match="no table that this user may read"):
        open_database(postgis)


def test_cells_come_as_they_stand(base: Base) -> None:
    base.run(
        "CREATE TYPE barrel AS ENUM ('dry', 'wet')",
        "CREATE DOMAIN asset AS bigint",
        """CREATE TABLE h (
             n int PRIMARY KEY, id text, code varchar(12), big bigint, small smallint, asset asset,
             height numeric(8, 3), free numeric, long numeric(24, 12), whole numeric(18, 0),
             size real, deep double precision,
             ok boolean, day date, at timestamp, moment timestamptz, u uuid, j jsonb, list text[],
             barrel barrel, raw bytea, span interval)""",
        """INSERT INTO h VALUES
             (2, '', 'a,b', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL,
              NULL, NULL, NULL, NULL, NULL, NULL, NULL),
             (1, '0012', E'say "x"\n\\\\.', 9007199254740993, -7, 9007199254740995,
              18.250, 2.5000000000000000000, 0.123456789012, 900719925474099377, 0.1, 1e-300,
              true, '2026-05-01', '2026-05-01 23:30:00.123456', '2026-05-01 23:30:00-04',
              '5fd9a7d4-0d3c-4f57-8dd0-2f8dd8f10c5a', '{"a": [1, null]}', '{x,NULL,"y,z"}',
              'dry', '\\x00ff', '1 day 02:00'),
             (3, NULL, ' é漢', 1, 2, 3, -0.001, 1e3, 123456789012.123456789012, 1, 'NaN',
              'Infinity', false, '1899-12-30', '1970-01-01', '2026-01-15 20:00:00-05', NULL, '[]',
              '{}', 'wet', '', '0')""",
    )
    frame = base.read("h")
    assert frame.index.equals(pd.RangeIndex(1, 4))
    assert frame["n"].tolist() == [1, 2, 3]
    text = {
        "id": ["0012", "", None],
        "code": ['say "x"\n\\.', "a,b", " é漢"],
        "u": ["5fd9a7d4-0d3c-4f57-8dd0-2f8dd8f10c5a", None, None],
        "j": ['{"a": [1, null]}', None, "[]"],
        "list": ['{x,NULL,"y,z"}', None, "{}"],
        "barrel": ["dry", None, "wet"],
        "raw": ["\\x00ff", None, "\\x"],
        "span": ["1 day 02:00:00", None, "00:00:00"],
        # more digits than a real keeps
        "long": ["0.123456789012", None, "123456789012.123456789012"],
    }
    for name, cells in text.items():
        assert frame[name].dtype == "str", name
        assert frame[name].astype(object).where(frame[name].notna(), None).tolist() == cells
    whole = {
        "big": [9007199254740993, None, 1], "small": [-7, None, 2],
        "asset": [9007199254740995, None, 3], "whole": [900719925474099377, None, 1],
    }  # fmt: skip
    for name, cells in whole.items():
        assert frame[name].dtype == "Int64", name
        assert frame[name].astype(object).where(frame[name].notna(), None).tolist() == cells
    real = {
        "height": [18.25, np.nan, -0.001], "free": [2.5, np.nan, 1000.0],
        "size": [0.1, np.nan, np.nan], "deep": [1e-300, np.nan, np.inf],
    }  # fmt: skip
    for name, cells in real.items():
        assert frame[name].dtype == "float64", name
        np.testing.assert_array_equal(frame[name], cells)
    assert frame["ok"].dtype == "boolean"
    assert frame["ok"].tolist() == [True, pd.NA, False]
    assert frame["day"].tolist() == [pd.Timestamp("2026-05-01"), pd.NaT, pd.Timestamp("1899-12-30")]
    assert frame["at"][1] == pd.Timestamp("2026-05-01 23:30:00.123456")
    # the day of the place: the database's time zone is New York's, in summer and in winter
    local = frame["moment"].dt.tz_localize(None)
    assert local[1] == pd.Timestamp("2026-05-01 23:30")
    assert local[3] == pd.Timestamp("2026-01-15 20:00")
    assert frame["moment"][1] == pd.Timestamp("2026-05-02 03:30", tz="UTC")


def test_days_that_no_clock_of_pandas_holds_stay_text(base: Base) -> None:
    base.run(
        "CREATE TABLE d (day date, at timestamp, moment timestamptz, free numeric)",
        "INSERT INTO d VALUES ('infinity', '0044-03-15 BC', '-infinity', 12345678901234567890.5),"
        " ('2026-05-01', '2026-05-01', '2026-05-01 12:00-04', 1)",
    )
    frame = base.read("d")
    assert frame["day"].tolist() == ["infinity", "2026-05-01"]
    assert frame["at"].tolist() == ["0044-03-15 00:00:00 BC", "2026-05-01 00:00:00"]
    assert frame["moment"].tolist() == ["-infinity", "2026-05-01 12:00:00-04"]
    assert frame["free"].tolist() == ["12345678901234567890.5", "1"]


def test_a_time_zone_of_no_name_leaves_moments_as_text(base: Base) -> None:
    base.run("CREATE TABLE d (moment timestamptz)", "INSERT INTO d VALUES ('2026-05-01 12:00-04')")
    base.run(f"ALTER DATABASE {base.address.rsplit('/', 1)[1]} SET timezone = '<-03>+03'")
    assert base.read("d")["moment"].tolist() == ["2026-05-01 13:00:00-03"]


def test_the_columns_are_those_that_cells_are_read_from(base: Base) -> None:
    base.run(
        """CREATE TABLE r (id bigint, height_in numeric(6, 2), feet real, whole int, on_day date,
             moment timestamptz, epoch bigint, stands boolean)""",
        """INSERT INTO r VALUES
             (9007199254740993, 18.25, 1.5, 18, '2026-05-01', '2026-05-01 23:30-04',
              1777593600000, true),
             (12, NULL, NULL, NULL, NULL, NULL, NULL, NULL)""",
    )
    rows = base.read("r")
    today = dt.date(2026, 11, 1)

    def cells(fields: dict[str, str], table: object = READINGS, **units: str) -> pd.DataFrame:
        frame, found = read_cells(rows, table, fields, IntakeWords(units=units), today=today)
        assert "value-unreadable" not in set(found["code"])
        return frame

    frame = cells({"hydrant_id": "id", "outlet_height_in": "height_in", "reading_date": "on_day"})
    assert frame["hydrant_id"].tolist() == ["9007199254740993", "12"]
    assert frame["outlet_height_in"].tolist()[0] == 18.25
    assert frame["outlet_height_in"].isna().tolist() == [False, True]
    day = pd.Timestamp("2026-05-01")
    assert frame["reading_date"].tolist() == [day, pd.NaT]
    for field, unit in (("feet", "ft"), ("whole", "in")):
        frame = cells({"outlet_height_in": field}, outlet_height_in=unit)
        assert frame["outlet_height_in"].tolist()[0] == 18.0
    for field in ("moment", "epoch"):
        assert cells({"reading_date": field})["reading_date"].tolist() == [day, pd.NaT]
    frame = cells({"hydrant_id": "stands", "flow_gpm": "whole"}, HYDRANTS, flow_gpm="gpm")
    assert frame["hydrant_id"].tolist()[0] == "True"
    assert frame["flow_gpm"].tolist()[0] == 18.0


def test_shapes_come_with_z_and_without_a_place(base: Base) -> None:
    base.run(
        "CREATE TABLE s (n int PRIMARY KEY, geom geometry(GeometryZ, 2249))",
        "INSERT INTO s VALUES (1, 'SRID=2249;POINT Z (1.5 2.25 3.125)'),"
        " (2, 'SRID=2249;MULTIPOINT Z ((1 2 3), (4 5 6))'), (3, NULL),"
        " (4, 'SRID=2249;POINT Z EMPTY'),"
        " (5, 'SRID=2249;POLYGON Z ((0 0 1, 4 0 1, 4 4 1, 0 0 1))')",
    )
    frame = base.read("s")
    assert frame.crs == pyproj.CRS(2249)
    assert frame.geometry.name == "geom"
    shapes = frame.geometry.tolist()
    assert shapes[0].wkt == "POINT Z (1.5 2.25 3.125)"
    assert shapes[1].wkt == "MULTIPOINT Z ((1 2 3), (4 5 6))"
    assert shapes[2] is None
    assert shapes[3].is_empty
    assert shapes[4].has_z
    layer = open_database(base.address).layer("s")
    assert (layer.geometry_type, layer.bounds) == ("GeometryZ", (0.0, 0.0, 4.0, 5.0))


def test_a_long_shape_comes_whole(base: Base) -> None:
    base.run(
        "CREATE TABLE s (n int PRIMARY KEY, geom geometry)",
        "INSERT INTO s SELECT 1, st_makeline(array_agg(st_point(i, i % 7) ORDER BY i))"
        " FROM generate_series(1, 200000) i",
        "INSERT INTO s SELECT n, st_point(n, 0) FROM generate_series(2, 200) n",
    )
    frame = base.read("s")
    assert len(frame) == 200
    assert shapely.get_num_points(frame.geometry.iloc[0]) == 200_000
    assert frame.geometry.iloc[0].coords[-1] == (200_000, 200_000 % 7)


def test_geography_is_in_degrees(base: Base) -> None:
    base.run(
        "CREATE TABLE g (n int PRIMARY KEY, place geography(Point))",
        "INSERT INTO g VALUES (1, 'POINT(-71.5 42.25)')",
        "CREATE TABLE none (place geography)",
    )
    source = open_database(base.address)
    assert source.layer("g").crs == pyproj.CRS(4326)
    assert source.layer("none").crs == pyproj.CRS(4326)
    assert (source.layer("g").geometry_type, source.layer("g").bounds) == (
        "Point", (-71.5, 42.25, -71.5, 42.25),
    )  # fmt: skip
    frame, _ = read_table(source, source.layer("g"))
    assert frame.crs == pyproj.CRS(4326)
    assert frame.geometry.iloc[0] == shapely.Point(-71.5, 42.25)


def test_a_county_crs_without_a_code_is_spelled_out(base: Base) -> None:
    base.run(
        f"INSERT INTO spatial_ref_sys VALUES (990001, 'county', 1, '{COUNTY}', NULL)",
        "INSERT INTO spatial_ref_sys VALUES (990002, NULL, NULL, NULL,"
        " '+proj=tmerc +lat_0=42 +lon_0=-71.5 +x_0=500000 +datum=NAD83 +units=us-ft')",
        "INSERT INTO spatial_ref_sys VALUES (990003, 'county', 3, 'nonsense', 'nonsense')",
        "INSERT INTO spatial_ref_sys VALUES (990004, 'ESRI', 102686, '', '')",
    )
    for srid in (990001, 990002, 990003, 990004, 0):
        base.run(
            f"CREATE TABLE t{srid} (geom geometry(Point, {srid}))",
            f"INSERT INTO t{srid} VALUES ('SRID={srid};POINT(500000 1000)')",
        )
    source = open_database(base.address)
    for srid in (990001, 990002):
        crs = source.layer(f"t{srid}").crs
        assert crs.to_authority() is None
        # by the words above: one degree north of the origin on the central meridian, in US feet
        lon, lat = pyproj.Transformer.from_crs(crs, 4269, always_xy=True).transform(
            500000 if srid == 990001 else 500000 / (1200 / 3937), 0
        )
        assert (lon, lat) == pytest.approx((-71.5, 42), abs=1e-9)
        assert crs.axis_info[0].unit_conversion_factor == pytest.approx(1200 / 3937, rel=1e-12)
        assert read_table(source, source.layer(f"t{srid}"))[0].crs == crs
    assert source.layer("t990004").crs == pyproj.CRS("ESRI:102686")
    for name in ("t990003", "t0"):
        assert source.layer(name).crs is None
        assert read_table(source, source.layer(name))[0].crs is None


def test_rows_in_two_crs_are_refused(base: Base) -> None:
    base.run(
        "CREATE TABLE t (geom geometry)",
        "INSERT INTO t VALUES ('SRID=2249;POINT(1 2)'), ('SRID=4326;POINT(1 2)'), (NULL)",
    )
    source = open_database(base.address)
    assert source.layer("t").crs is None
    with pytest.raises(SourceError, match=r"several coordinate reference systems[\s\S]*2249, 4326"):
        read_table(source, source.layer("t"))


def test_two_geometry_columns_are_one_shape_and_one_text(base: Base) -> None:
    base.run(
        "CREATE TABLE t (label geometry(Point, 4326), geometry geometry(PointZ, 2249),"
        " at geography)",
        "INSERT INTO t VALUES ('SRID=4326;POINT(-71 42)', 'SRID=2249;POINT(1.5 2 3)', NULL)",
    )
    source = open_database(base.address)
    layer = source.layer("t")
    assert list(layer.fields) == ["geometry", "at"]
    frame, _ = read_table(source, layer)
    assert (frame.geometry.name, frame.crs) == ("label", pyproj.CRS(4326))
    assert frame["geometry"].tolist() == ["POINT Z (1.5 2 3)"]
    assert frame["at"].isna().all()


NAMES = [
    'we"ird; drop table x--', "Upper Case", "100%s %(a)s {0}", "Zähler\n漢字", "a.b", '"a',
    "select", "t", "ctid_", "'; COMMIT; DROP TABLE x; --", "\\N",
]  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_names_are_names_and_nothing_else(base: Base, name: str) -> None:
    from psycopg import sql

    quoted = sql.Identifier(name)
    with psycopg.connect(base.address) as connection:
        connection.execute("CREATE TABLE x (kept int)")
        connection.execute(sql.SQL("CREATE SCHEMA {}").format(quoted))
        connection.execute(
            sql.SQL("CREATE TABLE {0}.{0} ({0} text PRIMARY KEY, t text, geom geometry)").format(
                quoted
            )
            if name != "t"
            else sql.SQL("CREATE TABLE {0}.{0} ({0} text PRIMARY KEY, geom geometry)").format(
                quoted
            )
        )
        connection.execute(sql.SQL("INSERT INTO {0}.{0} ({0}) VALUES ('0012')").format(quoted))
        connection.execute(
            sql.SQL("CREATE VIEW {} AS SELECT * FROM {}.{}").format(quoted, quoted, quoted)
        )
    source = open_database(base.address)
    assert len(source.layers) == 3
    assert len({layer.name for layer in source.layers}) == 3
    for layer in source.layers:
        frame, _ = read_table(source, layer)
        assert len(frame) == layer.rows
        if layer.name != "x":
            assert frame[name].tolist() == ["0012"]
            assert layer.fields[name] == "text"
    if name not in ("a.b", '"a'):
        assert {layer.name for layer in source.layers} == {"x", name, f"{name}.{name}"}


def test_names_with_dots_are_told_apart(base: Base) -> None:
    base.run(
        'CREATE SCHEMA "a.b"', "CREATE SCHEMA a", 'CREATE TABLE "a.b".c (one int)',
        'CREATE TABLE a."b.c" (two int)', 'CREATE TABLE "a.b.c" (three int)',
    )  # fmt: skip
    source = open_database(base.address)
    told = {x.name: list(x.fields) for x in source.layers}
    assert told == {'"a.b.c"': ["three"], 'a."b.c"': ["two"], '"a.b".c': ["one"]}
    for layer in source.layers:
        assert list(read_table(source, layer)[0].columns) == told[layer.name]


def test_rows_keep_their_order(base: Base) -> None:
    base.run(
        "CREATE TABLE keyed (b int, a int, v text, PRIMARY KEY (a, b))",
        "INSERT INTO keyed VALUES (2, 2, 'z'), (1, 2, 'y'), (9, 1, 'x')",
        "CREATE TABLE loose (v text)",
        "INSERT INTO loose VALUES ('c'), ('a'), ('b')",
        "CREATE VIEW seen AS SELECT v FROM loose",
    )
    assert base.read("keyed")["v"].tolist() == ["x", "y", "z"]
    assert base.read("loose")["v"].tolist() == ["c", "a", "b"]
    assert base.read("seen")["v"].tolist() == ["a", "b", "c"]


def test_one_column_with_blanks_loses_no_row(base: Base) -> None:
    base.run(
        "CREATE TABLE v (v text)", "INSERT INTO v VALUES (NULL), (''), (NULL), ('x'), (NULL)",
        "CREATE TABLE g (geom geometry)", "INSERT INTO g VALUES (NULL), (NULL)",
        "CREATE TABLE none (a bigint, day date, ok boolean, free numeric, geom geometry)",
    )  # fmt: skip
    cells = base.read("v")["v"]
    assert cells.isna().tolist() == [True, False, True, False, True]
    assert cells[2] == ""
    frame = base.read("g")
    assert (len(frame), frame.index.tolist(), list(frame)) == (2, [1, 2], ["geom"])
    frame = base.read("none")
    assert len(frame) == 0
    assert list(frame) == ["a", "day", "ok", "free", "geom"]


def test_the_digest_is_that_of_the_content(base: Base) -> None:
    base.run(
        "CREATE TABLE h (id text PRIMARY KEY, size real, day date, raw bytea, geom geometry)",
        "INSERT INTO h VALUES ('1', 0.1, '2026-05-01', '\\x00', 'POINT(1 2)'),"
        " ('2', 1, NULL, '', NULL)",
    )
    first = base.digest("h")
    assert first == base.digest("h")
    # the settings of a role are not the content
    base.run(
        "ALTER ROLE keeper SET datestyle = 'German'",
        "ALTER ROLE keeper SET extra_float_digits = 0",
        "ALTER ROLE keeper SET bytea_output = 'escape'",
    )  # fmt: skip
    try:
        assert first == base.digest("h")
    finally:
        base.run("ALTER ROLE keeper RESET ALL")
    base.run("UPDATE h SET size = 0.2 WHERE id = '1'")
    changed = base.digest("h")
    assert changed != first
    base.run("UPDATE h SET size = 0.1 WHERE id = '1'")
    assert base.digest("h") == first
    base.run("UPDATE h SET id = '' WHERE id = '2'")
    assert base.digest("h") != first
    # what it is of, in the open
    base.run("CREATE TABLE d (id text, n int)", "INSERT INTO d VALUES ('0012', NULL), ('', 3)")
    assert base.digest("d") == hashlib.sha256(b'id,n\n0012,\n"",3\n').hexdigest()


def test_only_reading_is_possible(base: Base) -> None:
    base.run(
        "CREATE TABLE kept (n int)",
        "CREATE FUNCTION leave_a_trace() RETURNS int LANGUAGE sql AS"
        " 'INSERT INTO kept VALUES (1) RETURNING n'",
        "CREATE VIEW trap AS SELECT leave_a_trace() AS n",
    )
    source = open_database(base.address)
    assert [layer.name for layer in source.layers] == ["kept"]
    assert "read-only transaction" in source.options["unreadable"]["trap"]
    assert base.rows("SELECT count(*) FROM kept") == [(0,)]


def test_what_may_not_be_read_is_not_listed(base: Base) -> None:
    base.run(
        "CREATE TABLE open (n int)", "CREATE TABLE closed (n int)",
        "CREATE SCHEMA shut", "CREATE TABLE shut.t (n int)",
        "DROP ROLE IF EXISTS clerk", "CREATE ROLE clerk LOGIN PASSWORD 'word-of-clerk'",
        "GRANT SELECT ON open, shut.t TO clerk",
        # its owner may not look below it
        "CREATE VIEW broken AS SELECT * FROM closed", "ALTER VIEW broken OWNER TO clerk",
    )  # fmt: skip
    source = open_database(base.address_of("clerk", "word-of-clerk"))
    assert [x.name for x in source.layers] == ["open"]
    assert list(source.options["unreadable"]) == ["broken"]
    assert "permission denied" in source.options["unreadable"]["broken"]
    # what was open when it was looked at, and is no longer
    base.run("REVOKE SELECT ON open FROM clerk")
    with pytest.raises(SourceError, match="there is no table `open` any more"):
        read_table(source, source.layer("open"))
    with pytest.raises(UnreadableError, match=r"no table[\s\S]*broken: permission denied"):
        open_database(source.address)
    base.run("DROP OWNED BY clerk", "DROP ROLE clerk")


def test_a_row_that_fails_midway_is_told(base: Base) -> None:
    base.run(
        "CREATE TABLE t (n int)", "INSERT INTO t VALUES (1), (0)",
        "CREATE VIEW v AS SELECT 1 / n AS part FROM t",
    )  # fmt: skip
    source = open_database(base.address)
    with pytest.raises(UnreadableError, match=r"the database broke off[\s\S]*division by zero"):
        read_table(source, source.layer("v"))


def test_a_statement_that_takes_too_long_is_told(
    base: Base, monkeypatch: pytest.MonkeyPatch
) -> None:
    base.run(
        "CREATE FUNCTION nap(n int) RETURNS text STABLE LANGUAGE sql"
        " AS 'SELECT pg_sleep(0.1)::text'",
        "CREATE VIEW slow AS SELECT n, nap(n) AS t FROM generate_series(1, 5) n",
    )
    # counting needs no cell of it; reading does
    source = open_database(base.address)
    monkeypatch.setattr(module, "READ_SECONDS", 0.2)
    with pytest.raises(UnreadableError, match="statement timeout"):
        read_table(source, source.layer("slow"))
    own = open_database(base.address + "?options=-c%20statement_timeout%3D60s")
    assert len(read_table(own, own.layer("slow"))[0]) == 5


def test_a_wrong_password_is_refused_and_not_repeated(base: Base) -> None:
    wrong = base.address_of("keeper", "hush-hush")
    with pytest.raises(UnreadableError, match="password authentication failed") as caught:
        open_database(wrong)
    assert "hush" not in "".join(traceback.format_exception(caught.value))
    assert f"127.0.0.1/{base.address.rsplit('/', 1)[1]}" in str(caught.value)


def test_a_source_does_not_show_its_password(base: Base) -> None:
    base.run("CREATE TABLE t (n int)")
    word = urllib.parse.urlsplit(base.address).password
    source = open_database(base.address)
    assert word not in repr(source)
    assert word not in repr([source.name, source.path, source.layers, source.options])
    assert "keeper" not in repr(source)


def test_libpq_finds_a_password_elsewhere(base: Base, tmp_path, monkeypatch) -> None:
    base.run("CREATE TABLE t (n int)")
    parts = urllib.parse.urlsplit(base.address)
    bare = f"postgresql://keeper@127.0.0.1:{parts.port}{parts.path}"
    monkeypatch.setenv("PGPASSFILE", str(tmp_path / "none"))
    with pytest.raises(UnreadableError, match="no password supplied"):
        open_database(bare)
    monkeypatch.setenv("PGPASSWORD", parts.password)
    assert open_database(bare).name == f"127.0.0.1{parts.path}"
    monkeypatch.delenv("PGPASSWORD")
    words = tmp_path / "words"
    words.write_text(f"127.0.0.1:{parts.port}:*:keeper:{parts.password}\n")
    words.chmod(0o600)
    monkeypatch.setenv("PGPASSFILE", str(words))
    assert open_database(bare).name == f"127.0.0.1{parts.path}"
    services = tmp_path / "services"
    services.write_text(
        f"[water]\nhost=127.0.0.1\nport={parts.port}\nuser=keeper\ndbname={parts.path[1:]}\n"
    )
    monkeypatch.setenv("PGSERVICEFILE", str(services))
    assert open_database("postgresql:///?service=water").name == f"127.0.0.1{parts.path}"


def test_a_connection_that_dies_is_told(base: Base) -> None:
    base.run(
        "CREATE VIEW gone AS SELECT n FROM generate_series(1, 100000) n"
        " WHERE n < 50000 OR pg_terminate_backend(pg_backend_pid())"
    )
    with pytest.raises(UnreadableError, match=r"broke off[\s\S]*127.0.0.1"):
        open_database(base.address)


def test_a_postgis_off_the_search_path_is_found(postgis: str) -> None:
    with psycopg.connect(postgis, autocommit=True) as connection:
        connection.execute("CREATE DATABASE elsewhere")
    base = Base(postgis.removesuffix("/postgres") + "/elsewhere")
    base.run(
        'CREATE SCHEMA "Geo"', 'CREATE EXTENSION postgis SCHEMA "Geo"',
        'CREATE TABLE t (n int, geom "Geo".geometry(Point, 2249), label "Geo".geometry)',
        """INSERT INTO t VALUES (1, 'SRID=2249;POINT(1 2)', 'POINT(3 4)')""",
    )  # fmt: skip
    source = open_database(base.address)
    layer = source.layer(None)
    assert (layer.name, layer.geometry_type, layer.bounds) == ("t", "Point", (1, 2, 1, 2))
    frame, _ = read_table(source, layer)
    assert frame.crs == pyproj.CRS(2249)
    assert frame["label"].tolist() == ["POINT(3 4)"]


def read_postgis(base: Base, query: str) -> gpd.GeoDataFrame:
    with psycopg.connect(base.address) as connection, warnings.catch_warnings():
        warnings.filterwarnings("ignore", "pandas only supports SQLAlchemy")
        return gpd.read_postgis(query, connection, geom_col="geom")


def test_rows_are_those_that_geopandas_reads(base: Base) -> None:
    base.run(
        "CREATE TABLE h (n int PRIMARY KEY, id text, height double precision,"
        " geom geometry(PointZ, 2249))",
        "INSERT INTO h SELECT n, lpad(n::text, 6, '0'), n / 7.0,"
        " st_setsrid(st_makepoint(760000 + n / 3.0, 2950000 - n / 3.0, n), 2249)"
        " FROM generate_series(1, 5000) n",
    )
    ours = base.read("h")
    theirs = read_postgis(base, "SELECT * FROM h ORDER BY n")
    assert ours.crs == theirs.crs
    assert ours["n"].tolist() == theirs["n"].tolist()
    assert ours["id"].tolist() == theirs["id"].tolist()
    assert ours["height"].tolist() == theirs["height"].tolist()
    assert (shapely.to_wkb(ours.geometry.array) == shapely.to_wkb(theirs.geometry.array)).all()


def test_a_hundred_thousand_rows_take_no_longer_than_with_geopandas(base: Base) -> None:
    base.run(
        "CREATE TABLE h (n int PRIMARY KEY, geom geometry(Point, 2249), "
        + ", ".join(f"t{i} text, f{i} double precision" for i in range(6))
        + ")",
        "INSERT INTO h SELECT n, st_setsrid(st_makepoint(n / 3.0, n / 7.0), 2249), "
        + ", ".join(f"'text ' || n % {i + 10}, n / {i + 3}.0" for i in range(6))
        + " FROM generate_series(1, 100000) n",
    )
    source = open_database(base.address)
    layer = source.layer(None)

    def seconds(work: Callable[[], object]) -> float:
        started = time.perf_counter()
        work()
        return time.perf_counter() - started

    assert len(read_table(source, layer)[0]) == 100_000
    ours = min(seconds(lambda: read_table(source, layer)) for _ in range(3))
    theirs = min(seconds(lambda: read_postgis(base, "SELECT * FROM h")) for _ in range(3))
    assert ours < 1.5 * theirs


TEXTS = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\x00"), max_size=12)
CELLS = st.tuples(
    st.none() | TEXTS,
    st.none() | st.integers(-(2**63), 2**63 - 1),
    st.none() | st.floats(allow_nan=False),
    st.none() | st.booleans(),
    st.none() | st.dates(),
    st.none() | st.datetimes(),
    st.none() | st.decimals(allow_nan=False, allow_infinity=False, places=3, max_value=10**15),
    st.none() | st.tuples(*[st.floats(allow_nan=False, allow_infinity=False)] * 3),
)


@pytest.fixture(scope="session")
def written(make_base: Callable[[], Base]) -> Base:
    base = make_base()
    base.run(
        "CREATE TABLE r (n int PRIMARY KEY, t text, i bigint, f double precision, b boolean,"
        " d date, at timestamp, m numeric, geom geometry(PointZ, 2249))"
    )
    return base


@given(rows=st.lists(CELLS, max_size=8))
def test_any_rows_come_back_as_they_were_written(written: Base, rows: list[tuple]) -> None:
    with psycopg.connect(written.address) as connection:
        connection.execute("TRUNCATE r")
        connection.cursor().executemany(
            "INSERT INTO r VALUES (%s, %s, %s, %s, %s, %s, %s, %s,"
            " st_setsrid(st_makepoint(%s::float8, %s::float8, %s::float8), 2249))",
            [(n, *row[:-1], *(row[-1] or (None,) * 3)) for n, row in enumerate(rows)],
        )
    frame = written.read("r")
    assert frame["n"].tolist() == list(range(len(rows)))
    for at, name in enumerate(("t", "i", "f", "b")):
        cells = [None if pd.isna(cell) else cell for cell in frame[name].tolist()]
        assert cells == [row[at] for row in rows], name
    # a year before 1000 or a far one is a date too
    days = [None if pd.isna(cell) else cell.date() for cell in frame["d"]]
    assert days == [row[4] for row in rows]
    moments = [None if pd.isna(cell) else cell.to_pydatetime() for cell in frame["at"]]
    assert moments == [row[5] for row in rows]
    # reals where 15 digits are enough, else the whole number or the text
    for cell, row in zip(frame["m"], rows, strict=True):
        assert pd.isna(cell) if row[6] is None else type(row[6])(str(cell)) == row[6]
    for shape, row in zip(frame.geometry, rows, strict=True):
        assert shape is None if row[7] is None else shape.coords[0] == row[7]


def test_a_table_comes_into_a_register_and_no_password_with_it(base: Base, tmp_path: Path) -> None:
    base.run(
        "CREATE TABLE hydrant (hyd_no text PRIMARY KEY, bury_ft numeric(4, 1), "
        "geom geometry(Point, 2249))",
        "INSERT INTO hydrant VALUES ('0012', 4.5, 'SRID=2249;POINT(760000 2950000)'),"
        " ('0450', NULL, 'SRID=2249;POINT(760100 2950000)'), ('0451', 5, NULL)",
    )
    register = tmp_path / "register.gpkg"
    intake, added = job.bring_in(register, base.address, words=IntakeWords(layer="hydrant"))
    assert str(intake.count) == "3 rows in = 3 accepted + 0 held + 0 rejected"
    assert added.rows == 3
    stands = Register(register).hydrants().set_index("hydrant_id")
    assert stands["bury_ft"].dropna().to_dict() == {"0012": 4.5, "0451": 5.0}
    assert stands.geometry["0012"].coords[0] == (760000, 2950000)
    again = job.bring_in(register, base.address, words=IntakeWords(layer="hydrant"))[1]
    assert again.known
    word = urllib.parse.urlsplit(base.address).password
    assert word
    assert word.encode() not in register.read_bytes()
