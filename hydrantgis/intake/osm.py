"""
OpenStreetMap extracts (PBF): the hydrants among their nodes, and the other layers.

Which tags become fields is settled here, by a configuration of our own, and not by the one that an
installation happens to have: every tag of an object becomes a field. The format has no count of
what it holds, so a file that ends between two of its blocks cannot be told from a whole one.

References
----------
.. [1] OpenStreetMap wiki, "PBF Format": blocks with a length, a header and a body; a header is at
   most 64 KiB long and a body 32 MiB.
.. [2] OpenStreetMap wiki, "Tag:emergency=fire_hydrant": a node.
"""

from __future__ import annotations

import tempfile
from importlib import resources
from typing import TYPE_CHECKING, Any

import pandas as pd
import pyproj

from hydrantgis.ground.errors import UnreadableError, WordsError
from hydrantgis.intake.layers import Layer, Source
from hydrantgis.intake.shapes import bounds_of
from hydrantgis.intake.tags import unpack

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd

HYDRANTS_LAYER = "fire_hydrants"
"""Points tagged `emergency=fire_hydrant`, in small letters or great, as a layer of their own."""

_LAYERS = {
    HYDRANTS_LAYER: "Point",
    "points": "Point",
    "lines": "LineString",
    "multilinestrings": "MultiLineString",
    "multipolygons": "MultiPolygon",
}
"""Relations of other kinds are collections of shapes, which no table here is made from."""
_LONGEST_HEADER = 64 * 1024
_LONGEST_BODY = 32 * 1024 * 1024
_LEAST_INDEX_MB, _MOST_INDEX_MB, _INDEX_TO_FILE = 16, 2048, 4


def is_osm(head: bytes) -> bool:
    r"""
    Whether a file that begins so is an OpenStreetMap PBF.

    Examples
    --------
    >>> is_osm(b"\x00\x00\x00\x0d\x0a\x09OSMHeader\x18\x7c")
    True
    >>> is_osm(b'<?xml version="1.0"?>')
    False
    """
    return head[4:15] == b"\x0a\x09OSMHeader" and int.from_bytes(head[:4]) <= _LONGEST_HEADER


def open_osm(path: Path) -> Source:
    """
    Look at an extract: the hydrants first, then the layers that have rows.

    Parameters
    ----------
    path
        A PBF file.

    Returns
    -------
    source
        Driver `OSM`. The fields of `fire_hydrants` are those that its rows have; those of another
        layer are known once it is read. Each count takes one pass over the file.

    Raises
    ------
    UnreadableError
        The file breaks off or is damaged.
    """
    _check_blocks(path)
    crs = pyproj.CRS.from_epsg(4326)
    layers = []
    for name, kind in _LAYERS.items():
        if name == HYDRANTS_LAYER:
            rows = _rows(path, name, None)
            fields = dict.fromkeys(rows.drop(columns=rows.geometry.name).columns.astype(str), "str")
            layers.append(Layer(name, kind, len(rows), crs, fields, bounds_of(rows.geometry)))
            continue
        count = int(_ask(path, name, "COUNT(*)").to_numpy()[0, 0])
        if count:
            ids = ("osm_id", "osm_way_id") if name == "multipolygons" else ("osm_id",)
            layers.append(Layer(name, kind, count, crs, dict.fromkeys((*ids, "all_tags"), "str")))
    return Source(path, path.name, str(path), "OSM", tuple(layers))


def read_osm(source: Source, layer: Layer, where: str | None = None) -> gpd.GeoDataFrame:
    """
    The objects of a layer as rows, index 1 to n, every tag a field of its own.

    An object whose nodes do not make its shape, as at the edge of an extract, is a row without one.

    Parameters
    ----------
    source, layer
        As `open_osm` gave them.
    where
        Only rows for which this holds, told about `osm_id` and `all_tags` in the words of SQL.

    Raises
    ------
    UnreadableError
        The file breaks off, is damaged, or is another than it was.
    WordsError
        The selection cannot be understood.
    """
    _check_blocks(source.path)
    rows = _rows(source.path, layer.name, where)
    if where is None and len(rows) != layer.rows:
        raise UnreadableError(
            "the source has changed since it was opened", where=source.name,
            found=f"{len(rows):,} rows, and {layer.rows:,} before", do="start again",
        )  # fmt: skip
    rows.index = pd.RangeIndex(1, len(rows) + 1)
    return rows


def _rows(path: Path, layer: str, where: str | None) -> gpd.GeoDataFrame:
    import geopandas as gpd

    packed = _ask(path, layer, "*", where).drop(columns="emergency", errors="ignore")
    rows = gpd.GeoDataFrame(unpack(packed)[0])
    # a layer without rows has no tag to unpack
    return rows if len(rows) else rows.drop(columns="all_tags")


def _ask(path: Path, layer: str, what: str, where: str | None = None) -> gpd.GeoDataFrame:
    """What GDAL answers; not through Arrow, which keeps silent about a damaged block."""
    import pyogrio

    if layer == HYDRANTS_LAYER:
        choice = f"SELECT {what} FROM points WHERE emergency = 'fire_hydrant'"  # noqa: S608
    else:
        choice = f"SELECT {what} FROM {layer}"  # noqa: S608  both are words of this module
    if not pyogrio.get_gdal_config_option("CPL_TMPDIR"):
        # where an index goes that memory is not set aside for; the working folder otherwise
        pyogrio.set_gdal_config_options({"CPL_TMPDIR": tempfile.gettempdir()})

    def read(indexing: str) -> gpd.GeoDataFrame:
        with resources.as_file(resources.files("hydrantgis.intake") / "osmconf.ini") as config:
            frame: gpd.GeoDataFrame = pyogrio.read_dataframe(
                path, sql=choice, sql_dialect="OGRSQL", where=where, CONFIG_FILE=str(config),
                MAX_TMPFILE_SIZE=str(_index_mb(path, layer)), TAGS_FORMAT="HSTORE",
                USE_CUSTOM_INDEXING=indexing,
                on_invalid="ignore",  # where an extract was cut, a ring may have lost its nodes
            )  # fmt: skip
        return frame

    try:
        try:
            return read("YES")
        except RuntimeError:
            return read("NO")  # half as fast; takes nodes in any order, and ids below zero
    except (RuntimeError, OSError, UnicodeDecodeError) as error:
        raise UnreadableError(
            "the extract is damaged", where=path.name, found=str(error), do="ask for it again"
        ) from error
    except ValueError as error:
        if where is None:
            raise
        raise WordsError(
            "the selection cannot be understood", where=path.name, found=where,
            accepted="a condition on osm_id and all_tags, as in SQL",
        ) from error  # fmt: skip


def _index_mb(path: Path, layer: str) -> int:
    """Memory set aside for the places of nodes, which ways refer to; points need none. [MB]"""
    if _LAYERS[layer] == "Point":
        return 1
    wanted = _INDEX_TO_FILE * path.stat().st_size // 1_000_000
    return min(max(wanted, _LEAST_INDEX_MB), _MOST_INDEX_MB)


def _check_blocks(path: Path) -> None:
    """Go from block to block, without unpacking any; GDAL takes a torn end for the end."""
    size = path.stat().st_size

    def refuse(what: str, place: int) -> UnreadableError:
        return UnreadableError(
            what, where=path.name, found=f"byte {place:,} of {size:,}", do="ask for it again"
        )

    place = 0
    with path.open("rb") as stream:
        while place < size:
            stream.seek(place)
            length = int.from_bytes(stream.read(4))
            if place + 4 > size or place + 4 + length > size:
                raise refuse("the extract breaks off", place)
            if length > _LONGEST_HEADER:
                raise refuse("the extract is damaged", place)
            header = _fields_of(stream.read(length))
            body = header.get(3)
            kind = header.get(1)
            if kind not in (b"OSMHeader", b"OSMData") or not isinstance(body, int):
                raise refuse("the extract is damaged, or has a block of unknown kind", place)
            if body > _LONGEST_BODY:
                raise refuse("the extract is damaged", place)
            end = place + 4 + length + body
            if end > size:
                raise refuse("the extract breaks off", place)
            place = end


def _fields_of(message: bytes) -> dict[int, Any]:
    """Numbers and byte strings of a protobuf message; as far as it can be read."""
    fields: dict[int, Any] = {}
    place = 0

    def number() -> int:
        nonlocal place
        value = shift = 0
        while place < len(message):
            byte = message[place]
            place += 1
            value |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                break
        return value

    while place < len(message):
        tag = number()
        if tag & 7 == 0:
            fields[tag >> 3] = number()
        elif tag & 7 == 2:
            length = number()
            fields[tag >> 3] = message[place : place + length]
            place += length
        else:
            break
    return fields
