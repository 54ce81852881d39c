"""
A source as it lies on disk or in a database: opened by what it is, its rows as they stand there.
"""

from __future__ import annotations

import hashlib
import json
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd

from hydrantgis.intake.database import is_database, open_database, read_table
from hydrantgis.intake.formats import Format, format_of
from hydrantgis.intake.layers import Layer, Source
from hydrantgis.intake.osm import open_osm, read_osm
from hydrantgis.intake.parquet import open_parquet, read_parquet
from hydrantgis.intake.remote import fetched, is_remote, refuse_remote, told
from hydrantgis.intake.sheets import read_sheets
from hydrantgis.intake.still import standing_still
from hydrantgis.intake.surveyed import open_landxml, open_point_file
from hydrantgis.intake.texts import read_text_table
from hydrantgis.intake.vector import open_vector, read_vector

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator


@contextmanager
def opened(
    text: str | Path,
    *,
    encoding: str | None = None,
    header_row: int = 1,
    order: str | None = None,
    decimal: str | None = None,
    allow_remote: bool = False,
) -> Iterator[Source]:
    """
    Look at a source; no row is brought in.

    Parameters
    ----------
    text
        Path of a file, a zip of a shapefile or geodatabase, a file geodatabase folder, the address
        of a PostGIS database, or, where that is allowed, of a file on the web.
    encoding
        How letters are written, where the source does not say it or says it wrongly.
    header_row
        The row of a table that holds the names.
    order, decimal
        Of a point file without names: what its columns are, such as `PNEZD`, and its decimal mark.
    allow_remote
        Whether a file on the web may be fetched.

    Raises
    ------
    WordsError
        It is remote, and that was not allowed.
    UnreadableError
        It is not there, incomplete, damaged or of no known format.
    """
    address = str(text)
    if is_database(address):
        yield open_database(address)
    elif not is_remote(address):
        with standing_still(Path(text)) as path:
            yield _open_file(path, encoding, header_row, order, decimal)
    elif not allow_remote:
        raise refuse_remote(address)
    else:
        with fetched(address) as path:
            yield replace(
                _open_file(path, encoding, header_row, order, decimal), name=told(address)
            )


def _open_file(
    path: Path, encoding: str | None, header_row: int, order: str | None, decimal: str | None
) -> Source:
    if order is not None and path.is_file():
        return open_point_file(path, order=order, decimal=decimal, encoding=encoding)
    kind = format_of(path)
    if kind is Format.LANDXML:
        return open_landxml(path)
    if kind is Format.TEXT:
        frame, letters = read_text_table(path, encoding=encoding, header_row=header_row)
        return _of_tables(path, "CSV", {path.stem: frame}, letters)
    if kind is Format.SHEETS:
        frames, unreadable = read_sheets(path, header_row=header_row)
        return replace(_of_tables(path, "XLSX", frames, None), options={"unreadable": unreadable})
    if kind is Format.PARQUET:
        return open_parquet(path)
    if kind is Format.OSM:
        return open_osm(path)
    return open_vector(path, zipped=kind is Format.ZIPPED, encoding=encoding)


def _of_tables(
    path: Path, driver: str, tables: dict[str, pd.DataFrame], letters: str | None
) -> Source:
    layers = tuple(
        Layer(name, None, len(frame), None, _kinds(frame)) for name, frame in tables.items()
    )
    return Source(path, path.name, str(path), driver, layers, {}, letters, tables)


def _kinds(frame: pd.DataFrame) -> dict[str, str]:
    numeric = frame.dtypes.map(pd.api.types.is_numeric_dtype)
    return {str(name): "number" if numeric[name] else "text" for name in frame.columns}


def read_rows(source: Source, layer: Layer) -> tuple[gpd.GeoDataFrame | pd.DataFrame, str | None]:
    """
    The rows as they stand, index the row's number from 1, geometry where the source has one.

    Returns
    -------
    rows, sha256
        The digest where the rows are all that there is to take one of, as from a database.

    Raises
    ------
    UnreadableError
        The source breaks off or is damaged.
    """
    if layer.name in source.tables:
        return source.tables[layer.name], None
    if source.driver == "PostGIS":
        return read_table(source, layer)
    if source.driver == "OSM":
        return read_osm(source, layer), None
    if source.driver in ("GeoParquet", "Parquet"):
        return read_parquet(source, layer), None
    return read_vector(source, layer), None


def _files_of(path: Path) -> Iterator[Path]:
    """The files that make up a source: a folder's, a shapefile's with its siblings, or itself."""
    if path.is_dir():
        yield from sorted(p for p in path.rglob("*") if p.is_file())
    elif path.suffix.lower() == ".shp":
        yield from sorted(p for p in path.parent.iterdir() if p.stem == path.stem and p.is_file())
    else:
        yield path


def sha256(source: Source) -> str:
    """SHA-256 of a source's bytes, of all its files in order of name."""
    return sha256_of([source.path])


def sha256_of(paths: Iterable[Path]) -> str:
    """SHA-256 of the bytes of sources one after the other, of all their files in order of name."""
    total = hashlib.sha256()
    for file in (part for path in paths for part in _files_of(path)):
        with file.open("rb") as stream:
            while block := stream.read(1 << 20):
                total.update(block)
    return total.hexdigest()


def row_as_json(frame: pd.DataFrame) -> list[str]:
    """
    Rows as they stood in the source, as JSON text; meant for the few that were not accepted.

    Examples
    --------
    >>> row_as_json(pd.DataFrame({"a": ["x", None]}))
    ['{"a": "x"}', '{}']
    """
    shape = frame.geometry.name if isinstance(frame, gpd.GeoDataFrame) else None
    plain = pd.DataFrame(frame.drop(columns=[shape] if shape else []))
    return [
        json.dumps({str(k): str(v) for k, v in row.items() if not pd.isna(v)}, ensure_ascii=False)
        for row in plain.to_dict(orient="records")
    ]
