"""
Vector files, looked at and read.

A look goes through fiona, which tells schema and CRS before a row is read; rows come in bulk
through pyogrio with Arrow.
"""

from __future__ import annotations

import codecs
import zipfile
from typing import TYPE_CHECKING, Any

import pandas as pd
import pyproj

from hydrantgis.ground.errors import UnreadableError
from hydrantgis.intake.formats import of_no_known_format
from hydrantgis.intake.layers import Layer, Source

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd

_GML_OPTIONS = {
    "WRITE_GFS": "NO",  # no side file next to somebody else's GML
    "DOWNLOAD_SCHEMA": "NO",  # nothing from another machine
}
_DBF_RECORDS_AT = 8
"""Where a dBASE header says how long it is; 29 is where it names the code page."""
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

    address = f"/vsizip/{path.resolve().as_posix()}" if zipped else str(path)
    options = dict(_GML_OPTIONS) if path.suffix.lower() == ".gml" else {}
    try:
        layers, driver = _look_with_fiona(address, options)
    except fiona.errors.DriverError:
        layers, driver = _look_with_pyogrio(address, path)  # KML and others fiona lacks
    except fiona.errors.FionaError as error:
        raise of_no_known_format(path, str(error)) from error
    if not layers:
        raise UnreadableError("the source has no layers", where=path.name)
    letters = encoding
    if driver == "ESRI Shapefile" and letters is None:
        letters = _shapefile_letters(path, zipped=zipped)
    return Source(path, path.name, address, driver, tuple(layers), options, letters)


def _look_with_fiona(address: str, options: dict[str, Any]) -> tuple[list[Layer], str]:
    import fiona

    layers, driver = [], ""
    for name in fiona.listlayers(address, **options):
        with fiona.open(address, layer=name, **options) as collection:
            driver = str(collection.driver)
            wkt = collection.crs_wkt
            kind = collection.schema.get("geometry")
            rows = len(collection)
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
        tables = [n for n in archive.namelist() if n.lower().endswith(".dbf")]
        pages = [n for n in archive.namelist() if n.lower().endswith(".cpg")]
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
        The file breaks off or is damaged.
    """
    import pyogrio
    import pyogrio.errors

    frame: gpd.GeoDataFrame | pd.DataFrame
    # a ring of too few points is no shape; its row stays, and is told to have none
    options: dict[str, Any] = {"on_invalid": "ignore", **source.options}
    if source.encoding is not None:
        options["encoding"] = source.encoding
    try:
        try:
            frame = pyogrio.read_dataframe(
                source.address, layer=layer.name, use_arrow=True, **options
            )
        except (NotImplementedError, RuntimeError, ValueError):
            # some code domains and mixed columns cannot pass through Arrow
            frame = pyogrio.read_dataframe(source.address, layer=layer.name, **options)
    except (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.FeatureError,
        OSError,
        UnicodeError,
    ) as error:
        raise UnreadableError(
            "the source cannot be read to its end", where=source.name, found=str(error)
        ) from error
    if len(frame) != layer.rows:
        raise UnreadableError(
            "the source breaks off", where=source.name,
            found=f"{len(frame):,} rows of the {layer.rows:,} that it announces",
            do="ask for the file again",
        )  # fmt: skip
    frame.index = pd.RangeIndex(1, len(frame) + 1)
    return frame
