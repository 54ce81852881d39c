"""
GeoParquet, and Parquet without shapes, through Arrow alone.

References
----------
.. [1] GeoParquet 1.1.0: metadata under the key `geo`; a column without `crs` is in OGC:CRS84, one
   with `crs: null` in an unknown CRS; shapes as WKB or in an encoding of GeoArrow.
"""

from __future__ import annotations

import json
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pyproj.exceptions
import shapely
from geopandas.array import GeometryArray

from hydrantgis.ground.errors import UnreadableError, some
from hydrantgis.intake.layers import Layer, Source

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import pyarrow as pa
    import pyarrow.parquet as pq

_NATIVE = {
    "point": ("Point", 0),
    "linestring": ("LineString", 1),
    "polygon": ("Polygon", 2),
    "multipoint": ("MultiPoint", 1),
    "multilinestring": ("MultiLineString", 2),
    "multipolygon": ("MultiPolygon", 3),
}
"""Encodings of GeoArrow [1]_: the shapes that they hold, and lists round each pair of X and Y."""


def is_parquet(head: bytes) -> bool:
    """
    Whether a file that begins so is Parquet.

    Examples
    --------
    >>> is_parquet(b"PAR1"), is_parquet(b"PK")
    (True, False)
    """
    return head.startswith(b"PAR1")


@dataclass(frozen=True, slots=True)
class _Geo:
    """What the metadata say of shapes: the columns that hold some, and the one that leads."""

    primary: str
    columns: dict[str, dict[str, Any]]
    coverings: set[str]


def open_parquet(path: Path) -> Source:
    """
    Look at a file; no row is read.

    Parameters
    ----------
    path
        GeoParquet 1.0 or 1.1, or Parquet.

    Returns
    -------
    source
        One layer, called as the file; driver `GeoParquet`, or `Parquet` for a table without shapes.
        The bounds are those that the file tells, None where it tells none.

    Raises
    ------
    UnreadableError
        The file breaks off, is damaged, or its metadata are broken.
    """
    with _in_words(path.name):
        file = _file(path)
        schema, rows = file.schema_arrow, int(file.metadata.num_rows)
    geo = _geo(schema, path.name)
    aside = {geo.primary, *geo.coverings} if geo else set()
    fields = {field.name: str(field.type) for field in schema if field.name not in aside}
    if geo is None:
        layer = Layer(path.stem, None, rows, None, fields)
    else:
        told = geo.columns[geo.primary]
        crs, bounds = _crs(told, path.name), _bounds(told.get("bbox"))
        layer = Layer(path.stem, _kind(told), rows, crs, fields, bounds)
    driver = "Parquet" if geo is None else "GeoParquet"
    return Source(path, path.name, str(path), driver, (layer,))


def read_parquet(source: Source, layer: Layer) -> gpd.GeoDataFrame | pd.DataFrame:
    """
    The rows as they stand, index 1 to n.

    Text stays text, and whole numbers stay whole with a gap among them or without. Decimal numbers
    become text, nested values JSON text, bytes hexadecimal text, and shapes other than the leading
    ones WKT.

    Parameters
    ----------
    source, layer
        As `open_parquet` gave them.

    Raises
    ------
    UnreadableError
        The file breaks off or is damaged.
    """
    with _in_words(source.name):
        file = _file(source.path)
        geo = _geo(file.schema_arrow, source.name)
        aside = geo.coverings if geo else set()
        table = file.read(columns=[name for name in file.schema_arrow.names if name not in aside])
        table.validate(full=True)
        if table.num_rows != layer.rows:
            raise UnreadableError(
                "the source breaks off", where=source.name,
                found=f"{table.num_rows:,} rows of the {layer.rows:,} that it announces",
                do="ask for the file again",
            )  # fmt: skip
        columns: dict[str, Any] = {}
        for name in table.column_names:
            told = geo.columns.get(name) if geo else None
            if told is None:
                columns[name] = _values(table.column(name)).array
                continue
            shapes = _shapes(table.column(name), told, f"{source.name}, column `{name}`")
            columns[name] = shapes if geo and name == geo.primary else _as_wkt(shapes)
    frame = pd.DataFrame(columns, index=pd.RangeIndex(1, table.num_rows + 1))
    return frame if geo is None else gpd.GeoDataFrame(frame, geometry=geo.primary, crs=layer.crs)


@contextmanager
def _in_words(name: str) -> Iterator[None]:
    """Whatever Arrow stumbles over, as an error of this package."""
    import pyarrow as pa

    try:
        yield
    except (pa.ArrowException, OSError, ValueError, KeyError, shapely.errors.ShapelyError) as error:
        raise UnreadableError(
            "the file is damaged, or cannot be read to its end", where=name, found=str(error)[:200],
            do="ask for the file again",
        ) from error  # fmt: skip


def _file(path: Path) -> pq.ParquetFile:
    import pyarrow.parquet as pq

    file = pq.ParquetFile(path, page_checksum_verification=True, arrow_extensions_enabled=False)
    names = file.schema_arrow.names
    if len(set(names)) < len(names):
        twice = sorted({name for name in names if names.count(name) > 1})
        raise UnreadableError(
            "two columns of the table have one name", where=path.name, found=some(twice),
            do="give each column a name of its own",
        )  # fmt: skip
    return file


def _broken(where: str, found: object) -> UnreadableError:
    return UnreadableError(
        "the metadata about the shapes are broken", where=f"{where}, `geo`", found=str(found)[:200],
        accepted="those of GeoParquet 1.0 or 1.1", do="write the file again",
    )  # fmt: skip


def _geo(schema: pa.Schema, where: str) -> _Geo | None:
    """The metadata about shapes, held against the columns that there are."""
    import pyarrow as pa

    raw = (schema.metadata or {}).get(b"geo")
    if raw is None:
        return None
    try:
        told = json.loads(raw)
    except (ValueError, RecursionError) as error:
        raise _broken(where, error) from error
    columns = told.get("columns") if isinstance(told, dict) else None
    primary = told.get("primary_column") if isinstance(told, dict) else None
    if not isinstance(columns, dict) or not isinstance(primary, str) or primary not in columns:
        raise _broken(where, raw.decode(errors="replace"))
    for name, column in columns.items():
        if name not in schema.names:
            raise _broken(where, f"column `{name}`, and the table has {some(schema.names, 12)}")
        encoding = column.get("encoding") if isinstance(column, dict) else column
        if encoding != "WKB" and encoding not in list(_NATIVE):
            raise _broken(where, f"encoding `{encoding}` of column `{name}`")
    coverings = {
        name
        for column in columns.values()
        for name in _names_of_covering(column)
        if name in schema.names and pa.types.is_struct(schema.field(name).type)
    }
    return _Geo(primary, columns, coverings - set(columns))


def _names_of_covering(told: dict[str, Any]) -> set[str]:
    """Columns that hold the box round each shape, which adds nothing to the shape."""
    covering = told.get("covering")
    box = covering.get("bbox") if isinstance(covering, dict) else None
    paths = box.values() if isinstance(box, dict) else ()
    return {str(path[0]) for path in paths if isinstance(path, list) and path}


def _crs(told: dict[str, Any], where: str) -> pyproj.CRS | None:
    crs = told.get("crs", "OGC:CRS84")
    if crs is None:
        return None
    try:
        if isinstance(crs, dict):
            return pyproj.CRS.from_json_dict(crs)
        # before 1.0 it was WKT
        return pyproj.CRS.from_string(crs) if crs == "OGC:CRS84" else pyproj.CRS.from_wkt(crs)
    except (pyproj.exceptions.CRSError, TypeError) as error:
        raise _broken(where, f"crs: {error}") from error


def _kind(told: dict[str, Any]) -> str:
    """The one kind of shape that the column holds, `Unknown` where it is not told or not one."""
    if told["encoding"] in _NATIVE:
        return _NATIVE[told["encoding"]][0]
    kinds = told.get("geometry_types")
    plain = {str(kind).split(" ")[0] for kind in kinds} if isinstance(kinds, list) else set()
    families = {kind.removeprefix("Multi") for kind in plain}
    if len(families) != 1:
        return "Unknown"
    return plain.pop() if len(plain) == 1 else f"Multi{families.pop()}"


def _bounds(box: object) -> tuple[float, float, float, float] | None:
    """The least and greatest X and Y of a box in two or three dimensions."""
    if not isinstance(box, list) or len(box) not in (4, 6):
        return None
    if not all(isinstance(end, int | float) and np.isfinite(end) for end in box):
        return None
    half = len(box) // 2
    west, south, east, north = (float(box[place]) for place in (0, 1, half, half + 1))
    # a box over the antimeridian has its west in the east
    return (west, south, east, north) if west <= east and south <= north else None


def _fits(kind: pa.DataType, encoding: str) -> bool:
    """Whether a column of this type can hold shapes in this encoding."""
    import pyarrow as pa

    is_a = pa.types
    if encoding == "WKB":
        return bool(is_a.is_binary(kind) or is_a.is_large_binary(kind))
    for _ in range(_NATIVE[encoding][1]):
        if not (is_a.is_list(kind) or is_a.is_large_list(kind)):
            return False
        kind = kind.value_type
    if is_a.is_fixed_size_list(kind):
        return kind.list_size in (2, 3) and bool(is_a.is_float64(kind.value_type))
    if not is_a.is_struct(kind):
        return False
    axes = [field.name for field in kind]
    return axes in (["x", "y"], ["x", "y", "z"]) and all(is_a.is_float64(f.type) for f in kind)


def _shapes(cells: pa.ChunkedArray, told: dict[str, Any], where: str) -> GeometryArray:
    """Shapes of a column, missing where it has none."""
    import pyarrow as pa

    encoding = told["encoding"]
    if not _fits(cells.type, encoding):
        raise UnreadableError(
            "the shapes are not what the metadata say", where=where, found=str(cells.type)[:200],
            accepted=f"a column in the encoding `{encoding}`",
        )  # fmt: skip
    if encoding != "WKB":
        extension = {"ARROW:extension:name": f"geoarrow.{encoding}"}
        field = pa.field("shape", cells.type, metadata=extension)
        table = pa.Table.from_arrays([cells], schema=pa.schema([field]))
        return GeometryArray(np.asarray(gpd.GeoDataFrame.from_arrow(table).geometry, dtype=object))
    written = cells.to_numpy()
    shapes = shapely.from_wkb(written, on_invalid="ignore")
    lost = np.flatnonzero(shapely.is_missing(shapes) & ~pd.isna(written))
    if len(lost):
        raise UnreadableError(
            f"{len(lost):,} shapes cannot be read", where=where,
            found=f"no WKB in row {some([int(row) for row in lost + 1])}",
            do="ask for the file again",
        )  # fmt: skip
    return GeometryArray(shapes)


def _as_wkt(shapes: GeometryArray) -> pd.api.extensions.ExtensionArray:
    whole = np.asarray(shapes, dtype=object)
    return pd.array(shapely.to_wkt(whole, rounding_precision=-1), dtype="str")


def _values(cells: pa.ChunkedArray) -> pd.Series:
    """Cells of a column without shapes as the rest of the intake knows them."""
    import pyarrow as pa

    is_a = pa.types
    if isinstance(cells.type, pa.BaseExtensionType):
        cells = cells.cast(cells.type.storage_type)
    if is_a.is_dictionary(cells.type):
        cells = cells.cast(cells.type.value_type)
    kind = cells.type
    made: pd.Series
    if is_a.is_nested(kind):
        made = pd.Series(_as_json(cells), dtype="str")
    elif is_a.is_binary(kind) or is_a.is_large_binary(kind) or is_a.is_fixed_size_binary(kind):
        made = pd.Series([x if x is None else x.hex() for x in cells.to_pylist()], dtype="str")
    elif is_a.is_duration(kind):
        made = pd.Series([x if x is None else str(x) for x in cells.to_pylist()], dtype="str")
    elif is_a.is_floating(kind):
        made = cells.cast(pa.float32() if is_a.is_float16(kind) else kind).to_pandas()
    elif is_a.is_timestamp(kind) or is_a.is_date(kind):
        made = cells.to_pandas(date_as_object=False)
    elif is_a.is_integer(kind) and cells.null_count:
        # a plain column would make real numbers of them, and other ids of great ones
        wide = pa.uint64() if is_a.is_uint64(kind) else pa.int64()
        gapped = {pa.uint64(): pd.UInt64Dtype(), pa.int64(): pd.Int64Dtype()}
        made = cells.cast(wide).to_pandas(types_mapper=gapped.get)
    elif is_a.is_boolean(kind) and cells.null_count:
        made = cells.to_pandas(types_mapper={kind: pd.BooleanDtype()}.get)
    elif is_a.is_integer(kind) or is_a.is_boolean(kind):
        made = cells.to_pandas()
    else:
        made = cells.cast(pa.large_string()).to_pandas().astype("str")
    return made


def _as_json(cells: pa.ChunkedArray) -> list[str | None]:
    """Nested values as JSON text; a map with keys of text as an object, another as its pairs."""
    try:
        values = cells.to_pylist(maps_as_pydicts="strict")
        return [_json(value) for value in values]
    except (KeyError, TypeError):  # a key stands twice, or is no text
        return [_json(value) for value in cells.to_pylist()]


def _json(value: object) -> str | None:
    if value is None:
        return None
    return json.dumps(
        value, ensure_ascii=False, default=lambda x: x.hex() if isinstance(x, bytes) else str(x)
    )
