"""
Vector files, looked at and read.

A look goes through fiona, which tells schema and CRS before a row is read; rows come in bulk
through pyogrio with Arrow.
"""

from __future__ import annotations

import codecs
import datetime as dt
import json
import zipfile
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyproj

from hydrantgis.ground.errors import UnreadableError, some
from hydrantgis.intake.formats import of_no_known_format, own_members
from hydrantgis.intake.layers import Layer, Source

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd

_GML_OPTIONS = {
    "WRITE_GFS": "NO",  # no side file next to somebody else's GML
    "DOWNLOAD_SCHEMA": "NO",  # nothing from another machine
}
_DTYPES = {pa.int64(): pd.Int64Dtype()}
_LONGEST_EXACT = 2**53
"""A float holds whole numbers up to this exactly."""
_DBF_RECORDS_AT = 8
"""Where a dBASE header says how long it is; 29 is where it names the code page."""
_SHAPES_END_AT = 24
"""Where the header of a `.shp` says how long it is, in words of two bytes."""
_ENOUGH = 64 << 20
"""As much of a table as is looked at for its letters. [bytes]"""


def open_vector(path: Path, *, zipped: bool, encoding: str | None = None) -> Source:
    """
    Look at a vector file; no row is brought in.

    Raises
    ------
    UnreadableError
        It is damaged or has no layers.
    """
    import fiona
    import fiona.errors

    _need_plain_name(path, zipped=zipped)
    address = _address_in_zip(path) if zipped else str(path)
    options = dict(_GML_OPTIONS) if path.suffix.lower() == ".gml" else {}
    try:
        layers, driver = _look_with_fiona(address, options)
    except fiona.errors.DriverError:
        layers, driver = _look_with_pyogrio(address, path)  # KML and others fiona lacks
    except fiona.errors.FionaError as error:
        raise of_no_known_format(path, str(error)) from error
    if not layers:
        raise UnreadableError(
            "the source has no layers", where=path.name, do="ask for the file again"
        )
    letters = encoding
    if driver == "ESRI Shapefile":
        _need_whole_shapes(path, zipped=zipped)
        letters = letters or _shapefile_letters(path, zipped=zipped)
    return Source(path, path.name, address, driver, tuple(layers), options, letters)


def _need_plain_name(path: Path, *, zipped: bool) -> None:
    """Refuse marks in a path that the readers take for a file inside another one."""
    marks = [mark for mark, part in (("!", str(path)), (";", path.name)) if mark in part]
    if marks and not zipped:
        raise UnreadableError(
            "the path holds a mark that a reader takes for something else", where=str(path),
            found=" and ".join(f"`{mark}`" for mark in marks), do="give the file another name",
        )  # fmt: skip


def _parts_in_zip(archive: zipfile.ZipFile, ending: str) -> list[str]:
    """Members of that ending."""
    return [name for name in own_members(archive) if name.lower().endswith(ending)]


def _address_in_zip(path: Path) -> str:
    """The folder of a zip that holds the layers; a library looks into no other."""
    address = f"/vsizip/{path.resolve().as_posix()}"
    with zipfile.ZipFile(path) as archive:
        parts = _parts_in_zip(archive, ".shp") or _parts_in_zip(archive, ".gdbtable")
    folders = sorted({str(PurePosixPath(part).parent) for part in parts})
    if len(folders) > 1:
        raise UnreadableError(
            "the zip file holds layers in several folders", where=path.name, found=some(folders),
            do="unpack it, and name one of the files",
        )  # fmt: skip
    return address if folders == ["."] else f"{address}/{folders[0]}"


def _need_whole_shapes(path: Path, *, zipped: bool) -> None:
    """Refuse shapes that break off: a library would hand over rows without a place."""
    ends: dict[str, tuple[int, bytes]] = {}
    if zipped:
        with zipfile.ZipFile(path) as archive:
            for name in _parts_in_zip(archive, ".shp"):
                with archive.open(name) as stream:
                    ends[name] = archive.getinfo(name).file_size, stream.read(_SHAPES_END_AT + 4)
    else:
        with path.open("rb") as stream:
            ends[path.name] = path.stat().st_size, stream.read(_SHAPES_END_AT + 4)
    for name, (size, head) in ends.items():
        announced = 2 * int.from_bytes(head[_SHAPES_END_AT:], "big")
        if size < announced:
            raise UnreadableError(
                "the source breaks off", where=name,
                found=f"{size:,} bytes of the {announced:,} that it announces",
                do="ask for the file again",
            )  # fmt: skip


def _look_with_fiona(address: str, options: dict[str, Any]) -> tuple[list[Layer], str]:
    import fiona

    layers, driver = [], ""
    for name in fiona.listlayers(address, **options):
        with fiona.open(address, layer=name, **options) as collection:
            driver = str(collection.driver)
            wkt = collection.crs_wkt
            kind = collection.schema.get("geometry")
            rows = _count(collection, address, name, options)
            shaped = kind not in (None, "None")
            layers.append(
                Layer(
                    name=name,
                    geometry_type=str(kind) if shaped else None,
                    rows=rows,
                    crs=_crs_of(wkt),
                    fields=dict(collection.schema["properties"]),
                    bounds=tuple(collection.bounds) if rows and shaped else None,
                )
            )
    return layers, driver


def _count(collection: Any, address: str, name: str, options: dict[str, Any]) -> int:  # noqa: ANN401
    """How many rows a layer has; some formats cannot say it of an empty layer, and are read."""
    import pyogrio

    try:
        return len(collection)
    except TypeError:
        told = pyogrio.read_info(address, layer=name, force_feature_count=True, **options)
        return int(told["features"])


def _crs_of(wkt: str | None) -> pyproj.CRS | None:
    """The CRS of a source; that of a drawing or a site, which lies nowhere on earth, is none."""
    if not wkt:
        return None
    crs = pyproj.CRS.from_user_input(wkt)
    return None if crs.is_engineering else crs


def _look_with_pyogrio(address: str, path: Path) -> tuple[list[Layer], str]:
    import pyogrio
    import pyogrio.errors

    try:
        layers, driver = [], ""
        for layer, _ in pyogrio.list_layers(address):
            info = pyogrio.read_info(address, layer=layer, force_feature_count=True)
            driver = str(info["driver"])
            bounds = info["total_bounds"]
            layers.append(
                Layer(
                    name=str(layer),
                    geometry_type=info["geometry_type"],
                    rows=int(info["features"]),
                    crs=_crs_of(info["crs"]),
                    fields=dict(zip(info["fields"], info["dtypes"], strict=True)),
                    bounds=None if bounds is None else tuple(float(b) for b in bounds),  # type: ignore[arg-type]
                )
            )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise of_no_known_format(path, str(error)) from error
    return layers, driver


def _shapefile_letters(path: Path, *, zipped: bool) -> str | None:
    """
    How a shapefile's table is written, where it does not say so itself or says it wrongly.

    A `.cpg` beside it, or the code page in the table's header, stands, unless it says UTF-8 and
    the bytes are not.
    """
    parts = _table_and_code_page(path, zipped=zipped)
    if parts is None:
        return None
    table, said = parts
    letters = encoding_of_bytes(table)
    if said is None:
        named = len(table) > 29 and table[29] not in (0, 0x57)  # 0x57: whatever the machine had
        return None if named or table.isascii() else letters
    wrong = said.strip().upper().replace("-", "") in ("UTF8", "65001") and letters != "utf-8"
    return letters if wrong else None


def _table_and_code_page(path: Path, *, zipped: bool) -> tuple[bytes, str | None] | None:
    """The records of the one table and what a `.cpg` says; None where there are several tables."""
    if not zipped:
        beside = {p.suffix.lower(): p for p in path.parent.iterdir() if p.stem == path.stem}
        if ".dbf" not in beside:
            return None
        said = beside[".cpg"].read_text("ascii", "replace") if ".cpg" in beside else None
        with beside[".dbf"].open("rb") as stream:
            return stream.read(_ENOUGH), said
    with zipfile.ZipFile(path) as archive:
        tables, pages = _parts_in_zip(archive, ".dbf"), _parts_in_zip(archive, ".cpg")
        if len(tables) != 1:
            return None
        said = archive.read(pages[0]).decode("ascii", "replace") if len(pages) == 1 else None
        with archive.open(tables[0]) as stream:
            return stream.read(_ENOUGH), said


def encoding_of_bytes(table: bytes) -> str:
    """`utf-8` where the bytes after the header are, else `cp1252`."""
    start = int.from_bytes(table[_DBF_RECORDS_AT : _DBF_RECORDS_AT + 2], "little")
    try:
        codecs.getincrementaldecoder("utf-8")().decode(table[start:])
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def read_vector(source: Source, layer: Layer) -> gpd.GeoDataFrame | pd.DataFrame:
    """
    The rows as they stand, index 1 to n.

    Raises
    ------
    UnreadableError
        The file breaks off, is damaged, or its letters are of another encoding.
    """
    import pyogrio
    import pyogrio.errors

    frame: gpd.GeoDataFrame | pd.DataFrame
    # a ring of too few points is no shape; its row stays, and is told to have none. Moments of
    # summer and winter differ in their offset; in UTC some would be of another day
    options: dict[str, Any] = {
        "on_invalid": "ignore", "mixed_offsets_as_utc": False, **source.options,
    }  # fmt: skip
    if source.encoding is not None:
        options["encoding"] = source.encoding
    try:
        try:
            frame = pyogrio.read_dataframe(
                source.address, layer=layer.name, use_arrow=True,
                arrow_to_pandas_kwargs={"types_mapper": _DTYPES.get}, **options,
            )  # fmt: skip
        except (NotImplementedError, RuntimeError, ValueError):
            # some code domains and mixed columns cannot pass through Arrow
            frame = pyogrio.read_dataframe(source.address, layer=layer.name, **options)
    except UnicodeError as error:
        raise _of_another_encoding(source, str(error)) from error
    except (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.FeatureError,
        OSError,
    ) as error:
        raise UnreadableError(
            "the source cannot be read to its end", where=source.name, found=str(error),
            do="ask for the file again",
        ) from error  # fmt: skip
    if len(frame) != layer.rows:
        raise UnreadableError(
            "the source breaks off", where=source.name,
            found=f"{len(frame):,} rows of the {layer.rows:,} that it announces",
            do="ask for the file again",
        )  # fmt: skip
    frame = _with_field_of_shape(frame, source, layer)
    for name in frame.columns[[dtype != "geometry" for dtype in frame.dtypes]]:
        try:
            frame[name] = _cells(frame[name])
        except pa.ArrowInvalid as error:
            raise _of_another_encoding(source, f"field `{name}`: {error}") from error
    frame.index = pd.RangeIndex(1, len(frame) + 1)
    return frame


def _of_another_encoding(source: Source, found: str) -> UnreadableError:
    return UnreadableError(
        f"the letters of the source are not in {source.encoding or 'utf-8'}", where=source.name,
        found=found[:120], do="say --encoding NAME, for example cp1252",
    )  # fmt: skip


def _with_field_of_shape(
    frame: gpd.GeoDataFrame | pd.DataFrame, source: Source, layer: Layer
) -> gpd.GeoDataFrame | pd.DataFrame:
    """The frame with the field that its shapes have put out of place, if there is one."""
    import geopandas as gpd
    import pyogrio

    if not isinstance(frame, gpd.GeoDataFrame) or frame.geometry.name not in layer.fields:
        return frame
    name = str(frame.geometry.name)
    told = pyogrio.read_dataframe(
        source.address, layer=layer.name, columns=[name], read_geometry=False
    )
    return frame.rename_geometry(f"{name} (shape)").assign(**{name: told[name].to_numpy()})


def _cells(series: pd.Series) -> pd.Series:
    """
    A field as numbers, moments or text, all of it as it stands in the source.

    Raises
    ------
    pyarrow.ArrowInvalid
        Its letters are not in UTF-8.
    """
    if isinstance(series.dtype, pd.Int64Dtype):
        if not series.hasnans:
            return series.astype("int64")
        # a float would round long whole numbers, and they may be ids
        small = bool((series.dropna().abs() < _LONGEST_EXACT).all())
        return series.astype("float64") if small else series.astype("str")
    if series.dtype == "str":
        pa.array(series, from_pandas=True).validate(full=True)
    first = series.dropna().iloc[:1].tolist() if series.dtype == object else []
    if first and isinstance(first[0], dt.datetime):
        return series.astype("str")
    if first and isinstance(first[0], np.ndarray | list):
        return pd.Series(series.map(_list_as_text, na_action="ignore"), dtype="str")
    return series


def _list_as_text(cell: object) -> str:
    return json.dumps(list(cell), ensure_ascii=False, default=str)  # type: ignore[call-overload]
