"""
GeoPackage files: whole or not at all, with titles and allowed values for every column.

Layers go into a temporary file beside the target, which takes the target's place in one step. So
a kill, a full disk or a reader at the wrong moment finds the file before or after, never between.

References
----------
.. [1] OGC 12-128r19, GeoPackage Encoding Standard 1.4, annex F.9, schema extension: tables
   gpkg_data_columns and gpkg_data_column_constraints, requirements 103 to 114.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd
import pyogrio

from hydrantgis.ground.errors import LockedError, UnreadableError, WordsError
from hydrantgis.ground.plane import xy_of_wkb
from hydrantgis.ground.seasons import ALL_TABLES
from hydrantgis.ground.tables import HISTORY, HYDRANTS, IMPORTS, SETTINGS

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Mapping, Sequence

    from hydrantgis.ground.table import Table

_SCHEMA = """
CREATE TABLE IF NOT EXISTS gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL,
  scope TEXT NOT NULL, CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
CREATE TABLE IF NOT EXISTS gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT,
  mime_type TEXT, constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE IF NOT EXISTS gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC,
  min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
"""
_DEFINITION = "http://www.geopackage.org/spec140/#extension_schema"


@contextmanager
def _stamped(moment: dt.datetime) -> Iterator[None]:
    """The time that goes into the file is the data's, not the clock's: same data, same bytes."""
    text = moment.strftime("%Y-%m-%dT%H:%M:%S.000Z")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": text})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def refuse_if_open(path: Path) -> None:
    """
    Refuse to replace a GeoPackage that another program has open for writing.

    A program that keeps its edits in a side file (write-ahead logging) is found by asking for the
    plain journal, which also folds a side file that was left behind into the file.

    Raises
    ------
    LockedError
        Another program has it open.
    UnreadableError
        It is no GeoPackage.
    """
    if not path.exists():
        return
    if path.is_dir():
        raise WordsError("this is a folder", where=str(path), accepted="a GeoPackage file")
    try:
        with closing(sqlite3.connect(path, timeout=0, isolation_level=None)) as base:
            base.execute("PRAGMA journal_mode=DELETE")
            base.execute("BEGIN IMMEDIATE")
            base.execute("ROLLBACK")
    except sqlite3.OperationalError as error:
        raise _open_elsewhere(path, str(error)) from error
    except sqlite3.DatabaseError as error:
        raise UnreadableError(
            "the file is no GeoPackage, or is damaged", where=str(path), found=str(error)
        ) from error
    if path.with_name(f"{path.name}-wal").exists():
        raise _open_elsewhere(path, f"{path.name}-wal stands beside it")


def _open_elsewhere(path: Path, found: str) -> LockedError:
    return LockedError(
        "the file is open for writing in another program",
        where=str(path),
        found=found,
        do="close it there, save its edits first, and run this again",
    )


def _mark(path: Path) -> tuple[object, ...]:
    """What changes when somebody writes to a file: SQLite's change counter, size and time."""
    if not path.exists():
        return ()
    state = path.stat()
    with path.open("rb") as stream:
        return (state.st_size, state.st_mtime_ns, stream.read(100)[24:28])


_OF_A_REGISTER = {SETTINGS.name, IMPORTS.name, HISTORY.name, HYDRANTS.name}
"""Layers that no result has: a register is never written over by one."""


_STYLES = "layer_styles"
_STYLES_TABLE = """
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256),
  f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256),
  styleName TEXT(30), styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT,
  owner TEXT(30), ui TEXT(30), update_time DATETIME
)"""


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """
    A new file beside `path` that takes its place when the block ends well, and goes when not.

    Raises
    ------
    LockedError
        The target cannot be replaced, or somebody wrote to it in the meantime.
    WordsError
        Its folder is a file.
    """
    target = path.resolve()  # a link stays one; what it points at is replaced
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError) as error:
        raise WordsError(
            "there is a file where a folder is needed",
            where=str(path.parent),
            do="name a folder with --out",
        ) from error
    before = _mark(target)
    with tempfile.TemporaryDirectory(prefix=f".{path.name}.", dir=target.parent) as folder:
        fresh = Path(folder) / path.name
        yield fresh
        with fresh.open("rb+") as stream:
            os.fsync(stream.fileno())
        if before:
            shutil.copymode(target, fresh)
        if _mark(target) != before:
            raise _open_elsewhere(path, "it was changed while this run was writing")
        try:
            fresh.replace(target)
        except PermissionError as error:
            raise LockedError(
                "the file is open in another program and cannot be replaced",
                where=str(path),
                do="close it there, or name another with --out",
            ) from error


def sweep(path: Path) -> None:
    """Take away what killed runs left beside `path`; nobody else may be writing to it."""
    for left in path.resolve().parent.glob(f".{path.name}.*"):
        if left.is_dir():
            shutil.rmtree(left, ignore_errors=True)


def write_layers(
    path: Path,
    layers: Sequence[tuple[Table, pd.DataFrame]],
    *,
    moment: dt.datetime,
    append: Sequence[str] = (),
) -> None:
    """
    Write tables as layers of a GeoPackage.

    Parameters
    ----------
    path
        The file to write into; it must not be in use. Layers of the same name are replaced.
    layers
        Declarations and conformed frames; a frame's CRS is that of its layer.
    moment
        The time that the file is stamped with.
    append
        Names of layers to which the rows are added instead.
    """
    with _stamped(moment):
        for table, frame in layers:
            adding = table.name in append and _has_layer(path, table.name)
            if table.geometry is None:
                pyogrio.write_arrow(
                    table.to_arrow(frame), path, layer=table.name, driver="GPKG", append=adding,
                    ASPATIAL_VARIANT="GPKG_ATTRIBUTES",
                )  # fmt: skip
                continue
            crs = frame.crs if isinstance(frame, gpd.GeoDataFrame) else None
            pyogrio.write_arrow(
                table.to_arrow(frame), path, layer=table.name, driver="GPKG", append=adding,
                geometry_name="geometry", geometry_type=table.geometry,
                crs=crs.to_wkt() if crs is not None else None,
            )  # fmt: skip
    _describe(path, [table for table, _ in layers])


def write_geopackage(
    path: Path,
    layers: Sequence[tuple[Table, pd.DataFrame]],
    *,
    moment: dt.datetime,
    styles: Mapping[str, str] | None = None,
) -> None:
    """
    Write a GeoPackage of exactly these layers, in the place of the one that may be there.

    Parameters
    ----------
    path, layers, moment
        As `write_layers`.
    styles
        How a desktop GIS shows a layer at first, as a QGIS style, by name of the layer.

    Raises
    ------
    LockedError
        Another program is writing to the file that is there.
    WordsError
        The file that is there holds layers of somebody else.
    """
    refuse_if_open(path)
    if path.exists():
        ours = {table.name for table in ALL_TABLES} - _OF_A_REGISTER
        others = set(layer_names(path)) - {table.name for table, _ in layers} - ours - {_STYLES}
        if others:
            raise WordsError(
                "the file holds layers that would be lost",
                where=str(path),
                found=", ".join(sorted(others)),
                do="name another place with --out, or move the file away",
            )
    there = {table.name for table, _ in layers}
    told = {name: style for name, style in (styles or {}).items() if name in there}
    with replacing(path) as fresh:
        write_layers(fresh, layers, moment=moment)
        if told:
            _add_styles(fresh, told, moment)


def _add_styles(path: Path, styles: Mapping[str, str], moment: dt.datetime) -> None:
    """The table in which QGIS keeps styles with their layers, told as a table without geometry."""
    stamp = f"{moment:%Y-%m-%dT%H:%M:%S.000Z}"
    with closing(sqlite3.connect(path)) as base, base:
        base.execute(_STYLES_TABLE)
        base.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, "
            "last_change) VALUES (?, 'attributes', ?, ?, ?)",
            (_STYLES, _STYLES, "How layers are shown", stamp),
        )
        base.executemany(
            "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, "
            "f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, description, owner, "
            "ui, update_time) SELECT '', '', table_name, column_name, table_name, ?, '', 1, '', "
            "'', NULL, ? FROM gpkg_geometry_columns WHERE table_name = ?",
            [(style, stamp, name) for name, style in styles.items()],
        )


def _has_layer(path: Path, name: str) -> bool:
    return path.exists() and name in layer_names(path)


def layer_names(path: Path) -> list[str]:
    """
    Names of the layers of a GeoPackage, in the order in which they were made.

    Raises
    ------
    UnreadableError
        It is none, or is damaged.
    """
    if path.is_dir():
        raise WordsError("this is a folder", where=str(path), accepted="a GeoPackage file")
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as base:
            rows = base.execute("SELECT table_name FROM gpkg_contents ORDER BY rowid").fetchall()
    except sqlite3.DatabaseError as error:
        raise UnreadableError(
            "the file is no GeoPackage, or is damaged", where=str(path), found=str(error)
        ) from error
    return [str(row[0]) for row in rows]


def _describe(path: Path, tables: Sequence[Table]) -> None:
    """Titles, descriptions and allowed values of every column, after the schema extension [1]_."""
    with closing(sqlite3.connect(path)) as base, base:
        base.executescript(_SCHEMA)
        for name in ("gpkg_data_columns", "gpkg_data_column_constraints"):
            base.execute(
                "INSERT INTO gpkg_extensions SELECT ?, NULL, 'gpkg_schema', ?, 'read-write' WHERE "
                "NOT EXISTS (SELECT 1 FROM gpkg_extensions WHERE table_name = ? "
                "AND extension_name = 'gpkg_schema')",
                (name, _DEFINITION, name),
            )
        for table in tables:
            base.execute("DELETE FROM gpkg_data_columns WHERE table_name = ?", (table.name,))
            base.execute(
                "UPDATE gpkg_contents SET identifier = ?, description = ? WHERE table_name = ?",
                (table.title, table.about, table.name),
            )
            for column in table.columns:
                rule = f"{table.name}_{column.name}"
                base.execute(
                    "DELETE FROM gpkg_data_column_constraints WHERE constraint_name = ?", (rule,)
                )
                limited = column.least is not None and column.most is not None
                if column.allowed:
                    base.executemany(
                        "INSERT INTO gpkg_data_column_constraints (constraint_name, "
                        "constraint_type, value) VALUES (?, 'enum', ?)",
                        [(rule, value) for value in column.allowed],
                    )
                elif limited:
                    base.execute(
                        "INSERT INTO gpkg_data_column_constraints VALUES "
                        "(?, 'range', NULL, ?, 1, ?, 1, NULL)",
                        (rule, column.least, column.most),
                    )
                base.execute(
                    "INSERT INTO gpkg_data_columns VALUES (?, ?, ?, ?, ?, NULL, ?)",
                    (
                        table.name, column.name, column.name, column.heading, column.about,
                        rule if column.allowed or limited else None,
                    ),
                )  # fmt: skip


def read_layer(path: Path, table: Table, *, where: str | None = None) -> pd.DataFrame:
    """
    A layer as its table is declared; with no rows where the file has no such layer.

    Parameters
    ----------
    path
        The file.
    table
        The declaration; only its columns are read.
    where
        An SQL condition that the rows have to meet.

    Raises
    ------
    UnreadableError
        The file is damaged.
    """
    if not _has_layer(path, table.name):
        return table.empty()
    with _in_words(path, table):
        frame = pyogrio.read_dataframe(
            path, layer=table.name, columns=table.names, where=where, use_arrow=True
        )
    return table.conform(frame)


def read_points(path: Path, table: Table, *, where: str | None = None) -> pd.DataFrame:
    """
    A point layer with `x` and `y` in the place of shapes, which take much longer to make.

    Parameters
    ----------
    path, table, where
        As `read_layer`.

    Raises
    ------
    UnreadableError
        The file is damaged.
    """
    if not _has_layer(path, table.name):
        return pd.DataFrame(table.empty()).assign(x=0.0, y=0.0)
    with _in_words(path, table):
        meta, rows = pyogrio.read_arrow(path, layer=table.name, columns=table.names, where=where)
    shape = meta["geometry_name"] or "wkb_geometry"
    frame = pd.DataFrame(table.conform(rows.drop_columns([shape]).to_pandas()))
    frame[["x", "y"]] = xy_of_wkb(rows.column(shape))
    return frame


@contextmanager
def _in_words(path: Path, table: Table) -> Iterator[None]:
    try:
        yield
    except pyogrio.errors.DataSourceError as error:
        raise UnreadableError(
            "the layer cannot be read", where=f"{path}, layer {table.name}", found=str(error)
        ) from error
