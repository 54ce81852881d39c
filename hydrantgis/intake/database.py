"""
Tables of a PostGIS database as a source: what there is, and the rows of one as they stand there.

Rows come as one COPY in CSV, where a missing cell and an empty text are told apart. What a column
of pandas cannot hold to the digit stays the text that the database writes.
"""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from hydrantgis.ground.errors import SourceError, UnreadableError, some
from hydrantgis.intake.connection import SCHEME, Address, connected, telling
from hydrantgis.intake.layers import Layer, Source

if TYPE_CHECKING:
    import psycopg
    import pyarrow as pa
    from psycopg import sql

LOOK_SECONDS = 60
"""The longest that counting one table may take, where neither address nor role says another."""
READ_SECONDS = 1800
"""The longest that reading one table may take, likewise."""

_SHAPES = ("geometry", "geography")
_GEOGRAPHY_SRID = 4326
"""What PostGIS takes where a geography column says none."""

# Columns of all that the user may read, without what belongs to the system or to an extension.
# A part of a partitioned table is read with the whole.
_COLUMNS = """
    SELECT n.nspname, c.relname, c.relkind::text, a.attname, format_type(a.atttypid, a.atttypmod),
           CASE WHEN coalesce(b.typname, t.typname) IN ('geometry', 'geography')
                 AND coalesce(b.typnamespace, t.typnamespace) IS DISTINCT FROM e.extnamespace
                THEN 'other' ELSE coalesce(b.typname, t.typname) END,
           CASE WHEN b.oid IS NULL THEN a.atttypmod ELSE t.typtypmod END,
           array_position(i.indkey::int2[], a.attnum)
    FROM pg_class c
    JOIN pg_namespace n ON n.oid = c.relnamespace
    JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
    JOIN pg_type t ON t.oid = a.atttypid
    LEFT JOIN pg_type b ON t.typtype = 'd' AND b.oid = t.typbasetype
    LEFT JOIN pg_index i ON i.indrelid = c.oid AND i.indisprimary
    LEFT JOIN pg_extension e ON e.extname = 'postgis'
    WHERE c.relkind IN ('r', 'p', 'v', 'm', 'f') AND NOT c.relispartition
      AND n.nspname !~ '^pg_' AND n.nspname <> 'information_schema'
      AND has_schema_privilege(n.oid, 'USAGE') AND has_table_privilege(c.oid, 'SELECT')
      AND NOT EXISTS (SELECT FROM pg_depend d WHERE d.classid = 'pg_class'::regclass
                      AND d.objid = c.oid AND d.deptype = 'e')
    ORDER BY n.nspname <> 'public', n.nspname, c.relname, a.attnum
"""
_POSTGIS = """
    SELECT n.nspname FROM pg_extension e JOIN pg_namespace n ON n.oid = e.extnamespace
    WHERE e.extname = 'postgis'
"""


@dataclass(frozen=True, slots=True)
class _Field:
    """A column: its type as the database writes it, the type's bare name, its place in the key."""

    name: str
    told: str
    kind: str
    modifier: int
    key: int | None


@dataclass(frozen=True, slots=True)
class _Relation:
    """A table or view; `kind` is that of pg_class."""

    schema: str
    table: str
    kind: str
    fields: tuple[_Field, ...]

    @property
    def name(self) -> str:
        # quoted only where a dot, or a quote in front, would let two tables have one name
        parts = [
            '"' + part.replace('"', '""') + '"' if "." in part or part[0] == '"' else part
            for part in (self.schema, self.table)
        ]
        return parts[1] if self.schema == "public" else ".".join(parts)

    @property
    def shape(self) -> _Field | None:
        return next((field for field in self.fields if field.kind in _SHAPES), None)


def is_database(text: str) -> bool:
    """
    Whether the text is the address of a PostgreSQL database.

    Examples
    --------
    >>> is_database("postgresql://gis.example/water"), is_database("water.gpkg")
    (True, False)
    """
    return SCHEME.match(text) is not None


def open_database(text: str) -> Source:
    """
    Look at a database: its tables and views, their rows counted; no row is brought in.

    Parameters
    ----------
    text
        `postgresql://user@host:port/database`, with libpq's options behind a question mark.

    Returns
    -------
    source
        Layers are named `schema.table`, in the schema `public` just `table`. A table with
        several geometry columns has the first; the others are fields. `options["unreadable"]`
        has what could not be counted (a view whose function fails, a foreign server that is
        down), and why. `address` is the whole connection string.

    Raises
    ------
    WordsError
        The address is none.
    UnreadableError
        psycopg is not installed, the database cannot be reached, or nothing in it may be read.
    """
    layers: list[Layer] = []
    unreadable: dict[str, str] = {}
    with connected(text, LOOK_SECONDS) as (connection, name):
        with telling(name):
            relations, postgis = _relations(connection), _postgis(connection)
        for relation in relations:
            try:
                with telling(f"{name}, {relation.name}"), connection.transaction():
                    layers.append(_look(connection, relation, postgis))
            except UnreadableError as error:
                if connection.closed:
                    raise
                unreadable[relation.name] = str(error.found)
    if not layers:
        raise UnreadableError(
            "the database has no table that this user may read",
            where=name,
            found=some([f"{table}: {why}" for table, why in unreadable.items()]) or None,
            do="ask the keeper of the database for SELECT on the tables",
        )
    return Source(
        Path(name), name, Address(text), "PostGIS", tuple(layers), {"unreadable": unreadable}
    )


def read_table(source: Source, layer: Layer) -> tuple[gpd.GeoDataFrame | pd.DataFrame, str]:
    """
    The rows of a table as they stand, and the SHA-256 of all that was read.

    Rows come by primary key; without one, in the order in which the table stores them; of a
    view, ordered by their text. Moments have the day of the database's time zone.

    Parameters
    ----------
    source, layer
        From `open_database`.

    Returns
    -------
    frame
        Index 1 to n (the row's number), with geometry where the table has one.
    sha256
        Of names and cells as the database wrote them: the same content has the same one.

    Raises
    ------
    SourceError
        The table is gone, or its rows are in several CRS.
    UnreadableError
        The table may not be read, or the database breaks off.
    """
    where = f"{source.name}, {layer.name}"
    with connected(source.address, READ_SECONDS) as (connection, _), telling(where):
        found = [r for r in _relations(connection) if r.name == layer.name]
        if not found:
            raise SourceError(
                f"there is no table `{layer.name}` any more that this user may read",
                where=source.name,
            )
        relation, postgis = found[0], _postgis(connection)
        table, digest = _copy(connection, relation, postgis, where)
        zone = connection.info.parameter_status("TimeZone") or "UTC"
        shape = relation.shape
        columns = {
            field.name: _column(table[field.name], field.kind, zone)
            for field in relation.fields
            if field is not shape
        }
        frame = pd.DataFrame(columns, index=pd.RangeIndex(len(table)))
        frame.index = pd.RangeIndex(1, len(frame) + 1)
        if shape is None:
            return frame, digest
        shapes = _shapes(table[shape.name], where)
        srids = np.unique(shapely.get_srid(shapes[~shapely.is_missing(shapes)])).tolist()
        if len(srids) > 1:
            raise SourceError(
                "the rows of one table are in several coordinate reference systems",
                where=where,
                found=f"SRID {some(srids)} in `{shape.name}`",
                do="make a view that brings them into one with ST_Transform, and name that",
            )
        crs = _crs(connection, postgis, srids[0]) if srids else layer.crs
    geometry = gpd.GeoSeries(shapes, index=frame.index, crs=crs, name=shape.name)
    # another column of the table may be called `geometry`
    return gpd.GeoDataFrame(frame).set_geometry(geometry), digest


def _relations(connection: psycopg.Connection) -> list[_Relation]:
    rows = connection.execute(_COLUMNS).fetchall()
    return [
        _Relation(schema, table, kind, tuple(_Field(*row[3:]) for row in columns))
        for (schema, table, kind), columns in groupby(rows, key=lambda row: row[:3])
    ]


def _postgis(connection: psycopg.Connection) -> str:
    """The schema of PostGIS, which need not be on the search path; `public` where it is absent."""
    row = connection.execute(_POSTGIS).fetchone()
    return str(row[0]) if row else "public"


def _crs(connection: psycopg.Connection, postgis: str, srid: int) -> pyproj.CRS | None:
    """The CRS of an SRID: its code where it has a known one, else what its row spells out."""
    from psycopg import sql

    table = sql.Identifier(postgis, "spatial_ref_sys")
    row = connection.execute(
        sql.SQL("SELECT auth_name, auth_srid, srtext, proj4text FROM {} WHERE srid = {}").format(
            table, sql.Literal(srid)
        )
    ).fetchone()
    if row is None:
        return None
    authority, code, *texts = row
    spelled = [f"{authority}:{code}"] if str(authority).upper() in ("EPSG", "ESRI") else []
    for text in (*spelled, *texts):
        try:
            return pyproj.CRS.from_user_input(text or "")
        except pyproj.exceptions.CRSError:
            continue
    return None


def _look(connection: psycopg.Connection, relation: _Relation, postgis: str) -> Layer:
    """A table's rows counted, its CRS, type and bounds, each declared or else that of all rows."""
    from psycopg import sql

    table, shape = sql.Identifier(relation.schema, relation.table), relation.shape
    fields = {field.name: field.told for field in relation.fields if field is not shape}
    if shape is None:
        row = connection.execute(sql.SQL("SELECT count(*) FROM {}").format(table)).fetchone()
        return Layer(relation.name, None, int(row[0]) if row else 0, None, fields)
    text = """
        SELECT n, {s}.postgis_typmod_type({m}), {s}.postgis_typmod_srid({m}), types, srids,
               {s}.st_xmin(box), {s}.st_ymin(box), {s}.st_xmax(box), {s}.st_ymax(box)
        FROM (SELECT count(*) AS n, {s}.st_extent(shape) AS box,
                     ARRAY[min({s}.st_geometrytype(shape)), max({s}.st_geometrytype(shape))] types,
                     ARRAY[min({s}.st_srid(shape)), max({s}.st_srid(shape))] AS srids
              FROM (SELECT {g}::{s}.geometry AS shape FROM {t}) AS shapes) AS told
    """
    row = connection.execute(
        sql.SQL(text).format(
            s=sql.Identifier(postgis), m=sql.Literal(shape.modifier),
            g=sql.Identifier(shape.name), t=table,
        )
    ).fetchone()  # fmt: skip
    assert row is not None  # noqa: S101 - an aggregate has one row
    rows, kind, srid, kinds, srids, *bounds = row
    if kind == "Geometry" and kinds[0] is not None and kinds[0] == kinds[1]:
        kind = kinds[0].removeprefix("ST_")
    if not srid:
        srid = srids[0] if srids[0] == srids[1] else None
        srid = _GEOGRAPHY_SRID if srid is None and shape.kind == "geography" else srid
    west, south, east, north = bounds
    return Layer(
        relation.name, str(kind), int(rows), _crs(connection, postgis, srid) if srid else None,
        fields, None if west is None else (west, south, east, north),
    )  # fmt: skip


def _select(relation: _Relation, postgis: str) -> sql.Composed:
    """The query of all rows in an order that stays; shapes but the first as well-known text."""
    from psycopg import sql

    def told(field: _Field) -> sql.Composable:
        name = sql.Identifier(field.name)
        if field.kind not in _SHAPES or field is relation.shape:
            return name
        return sql.SQL("{}.st_astext({}) AS {}").format(sql.Identifier(postgis), name, name)

    keyed = sorted((f for f in relation.fields if f.key is not None), key=lambda f: f.key or 0)
    order: list[sql.Composable] = [sql.Identifier(field.name) for field in keyed]
    if relation.kind in ("r", "p"):
        # children of a table may repeat its key
        order += [sql.SQL("tableoid"), sql.SQL("ctid")]
    else:
        order = [sql.SQL('(t.*)::text COLLATE "C"')]
    return sql.SQL("SELECT {} FROM {} AS t ORDER BY {}").format(
        sql.SQL(", ").join(told(field) for field in relation.fields),
        sql.Identifier(relation.schema, relation.table),
        sql.SQL(", ").join(order),
    )


def _copy(
    connection: psycopg.Connection, relation: _Relation, postgis: str, where: str
) -> tuple[pa.Table, str]:
    """All rows, numbers and truth values read, the rest as text; and the SHA-256 of the bytes."""
    import pyarrow as pa
    from psycopg import sql
    from pyarrow import csv

    stream, total, longest = io.BytesIO(), hashlib.sha256(), 0
    copy_all = sql.SQL("COPY ({}) TO STDOUT (FORMAT csv, HEADER true)")
    with connection.cursor() as cursor:
        with cursor.copy(copy_all.format(_select(relation, postgis))) as copy:
            for block in copy:
                stream.write(block)
                total.update(block)
                longest = max(longest, len(block))
        copied = cursor.rowcount
    plain = {
        **dict.fromkeys(("int2", "int4", "int8"), pa.int64()),
        **dict.fromkeys(("float4", "float8"), pa.float64()),
        "bool": pa.bool_(),
    }
    try:
        table = csv.read_csv(
            pa.py_buffer(stream.getbuffer()),
            # a row must fit in a block, and a district's outline can be long
            read_options=csv.ReadOptions(block_size=min(max(1 << 20, 2 * longest), (1 << 31) - 1)),
            parse_options=csv.ParseOptions(newlines_in_values=True, ignore_empty_lines=False),
            convert_options=csv.ConvertOptions(
                column_types={f.name: plain.get(f.kind, pa.string()) for f in relation.fields},
                null_values=[""], strings_can_be_null=True, quoted_strings_can_be_null=False,
                true_values=["t"], false_values=["f"],
            ),
        )  # fmt: skip
    except pa.ArrowInvalid as error:
        raise UnreadableError("the rows cannot be read", where=where, found=str(error)) from error
    if len(table) != copied:
        raise UnreadableError(
            "the table breaks off", where=where,
            found=f"{len(table):,} rows of the {copied:,} that the database sent",
        )  # fmt: skip
    return table, total.hexdigest()


def _column(cells: pa.ChunkedArray, kind: str, zone: str) -> pd.Series:
    """A column of pandas; one that could not hold every cell as it is written stays text."""
    import pyarrow as pa

    dtypes = {
        pa.int64(): pd.Int64Dtype(),
        pa.bool_(): pd.BooleanDtype(),
        pa.string(): pd.StringDtype(na_value=np.nan),
    }
    series: pd.Series
    made = cells
    try:
        if kind == "numeric":
            made = _numbers(cells)
        elif kind in ("date", "timestamp"):
            made = cells.cast(pa.timestamp("s" if kind == "date" else "us"))
        elif kind == "timestamptz":
            made = cells.cast(pa.timestamp("us", "UTC")).cast(pa.timestamp("us", zone))
        series = made.to_pandas(types_mapper=dtypes.get)
    except (ValueError, KeyError):
        # infinity, years before Christ or after 9999; a time zone that is not known here
        series = cells.to_pandas(types_mapper=dtypes.get)
    return series


def _numbers(cells: pa.ChunkedArray) -> pa.ChunkedArray:
    """
    Numbers without limit of digits as reals, else whole numbers, where no digit is lost.

    Examples
    --------
    >>> import pyarrow as pa
    >>> def kind(*cells): return str(_numbers(pa.chunked_array([list(cells)])).type)
    >>> kind("18.2500000000000000", None), kind("9007199254740993"), kind("0.12345678901234567890")
    ('double', 'int64', 'string')
    """
    import pyarrow as pa
    from pyarrow import compute as pc

    figures = pc.replace_substring_regex(cells, r"(\.[0-9]*?)0+$", r"\1")
    digits = pc.utf8_length(pc.replace_substring_regex(figures, r"^-?0*(\.0*)?|[^0-9]", ""))
    if (pc.max(digits).as_py() or 0) <= np.finfo(np.float64).precision:
        return cells.cast(pa.float64())
    whole = pc.all(pc.match_substring_regex(cells, r"^-?\d{1,18}$")).as_py()
    return cells.cast(pa.int64()) if whole else cells


def _shapes(cells: pa.ChunkedArray, where: str) -> np.ndarray:
    try:
        shapes: np.ndarray = shapely.from_wkb(cells.to_numpy().astype(object))
    except (shapely.errors.GEOSException, NotImplementedError) as error:
        raise UnreadableError(
            "a shape cannot be read", where=where, found=str(error),
            do="make a view with ST_CurveToLine, and name that",
        ) from error  # fmt: skip
    return shapes
