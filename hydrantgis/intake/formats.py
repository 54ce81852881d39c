"""
What a file is, told from its first bytes, and what is refused before a library opens it.

A library that tries every format it knows would also follow a virtual layer, or a service
description, to another machine; so a file has to begin like a format that is read here.
"""

from __future__ import annotations

import re
import zipfile
from enum import StrEnum
from pathlib import Path

from hydrantgis.ground.errors import UnreadableError, some
from hydrantgis.intake.osm import is_osm
from hydrantgis.intake.parquet import is_parquet


class Format(StrEnum):
    """How a file is read."""

    TEXT = "delimited text"
    SHEETS = "workbook"
    PARQUET = "GeoParquet"
    OSM = "OSM PBF"
    VECTOR = "vector"
    ZIPPED = "zipped vector"
    LANDXML = "LandXML"


ACCEPTED = (
    "GeoPackage, Shapefile (also zipped), file geodatabase, GeoJSON, FlatGeobuf, GeoParquet, KML, "
    "GML, LandXML, CSV, XLSX, OSM PBF, a table of PostGIS (postgresql://...)"
)
_TEXT_ENDINGS = (".csv", ".txt", ".tsv")
_SHAPE_PARTS = (".shx", ".dbf")
_VECTOR_HEADS = (b"SQLite format 3\x00", b"\x00\x00\x27\x0a", b"fgb\x03")
_XML_ROOTS = ("kml", "FeatureCollection")
_HEAD_BYTES = 4096
_ROOTED = r"[/\\]|[A-Za-z]:"
_MOST_UNPACKED = 20_000_000_000
_MOST_SWOLLEN = 1000
_SWOLLEN_FROM = 100_000_000


def of_no_known_format(path: Path, found: str) -> UnreadableError:
    """The error for a file that is none of those that are read here."""
    return UnreadableError(
        "the file is damaged, or of no format that is read here",
        where=path.name,
        found=found,
        accepted=ACCEPTED,
    )


def format_of(path: Path) -> Format:
    """
    How the file or folder is to be read.

    Raises
    ------
    UnreadableError
        It is not there, incomplete, dangerous or of no format that is read here.
    """
    if not path.exists():
        raise UnreadableError("there is no such file", where=str(path), do="check the path")
    if path.is_dir():
        if path.suffix.lower() != ".gdb":
            raise of_no_known_format(path, "a folder")
        return Format.VECTOR
    if path.suffix.lower() == ".shp":
        _need_shape_parts(path)
    with path.open("rb") as stream:
        head = stream.read(_HEAD_BYTES)
    if head.startswith(b"PK"):
        return _zipped(path)
    if is_parquet(head):
        return Format.PARQUET
    if is_osm(head):
        return Format.OSM
    if path.suffix.lower() in _TEXT_ENDINGS:
        if head.startswith(_VECTOR_HEADS):
            raise of_no_known_format(path, "bytes that are no text")
        return Format.TEXT
    if head.startswith(_VECTOR_HEADS):
        return Format.VECTOR
    text = head.decode("utf-8-sig", errors="replace").lstrip()
    if text.startswith("{"):
        return Format.VECTOR
    root = re.search(r"<\s*(?:[\w.-]+:)?([A-Za-z][\w.-]*)", text)
    if text.startswith("<") and root:
        _refuse_entities(path)
        if root.group(1) in _XML_ROOTS:
            return Format.VECTOR
        if root.group(1) == "LandXML":
            return Format.LANDXML
    raise of_no_known_format(path, text[:40].strip() or "nothing")


def _need_shape_parts(path: Path) -> None:
    have = {p.suffix.lower() for p in path.parent.iterdir() if p.stem == path.stem}
    missing = [part for part in _SHAPE_PARTS if part not in have]
    if missing:
        told = " and no ".join(path.stem + part for part in missing)
        raise _of_missing_parts(path, f"no {told} beside it")


def _of_missing_parts(path: Path, found: str) -> UnreadableError:
    return UnreadableError(
        "the shapefile is incomplete", where=str(path), found=found,
        do="ask for the zip with all its parts (.shp .shx .dbf .prj)",
    )  # fmt: skip


def _refuse_entities(path: Path) -> None:
    """Refuse XML with a document type: entities in one can swell without bounds or name files."""
    tail = b""
    with path.open("rb") as stream:
        while block := stream.read(1 << 20):
            if re.search(rb"<!\s*(DOCTYPE|ENTITY)", (tail + block).replace(b"\x00", b"")):
                raise UnreadableError(
                    "XML with a document type or entities is refused",
                    where=path.name,
                    do="save the layer again in a format without them, such as GeoPackage",
                )
            tail = block[-32:]


def _zipped(path: Path) -> Format:
    """A workbook or a zip of vector files; a zip that would unpack elsewhere is refused."""
    try:
        with zipfile.ZipFile(path) as archive:
            parts, own = archive.infolist(), own_members(archive)
    except zipfile.BadZipFile as error:
        raise UnreadableError(
            "the zip file is damaged", where=path.name, found=str(error), do="ask for it again"
        ) from error
    names = [part.filename for part in parts]
    climbing = [n for n in names if re.match(_ROOTED, n) or ".." in re.split(r"[/\\]", n)]
    if climbing:
        raise UnreadableError(
            "the zip file names paths outside itself", where=path.name, found=some(climbing),
            do="be sure of where it came from, and pack the layer again",
        )  # fmt: skip
    whole = sum(part.file_size for part in parts)
    swollen = whole > _SWOLLEN_FROM and whole > _MOST_SWOLLEN * path.stat().st_size
    if swollen or whole > _MOST_UNPACKED:
        raise UnreadableError(
            "the zip file would unpack to far more than it should",
            where=path.name,
            found=f"{whole:,} bytes out of {path.stat().st_size:,}",
            do="be sure of where it came from; unpack it yourself and name the file",
        )
    if "xl/workbook.xml" in names:
        return Format.SHEETS
    endings = {Path(name).suffix.lower() for name in own}
    if ".vrt" in endings or not endings & {".shp", ".gdbtable"}:
        raise of_no_known_format(path, f"a zip of {', '.join(sorted(endings - {''})) or 'nothing'}")
    _need_shape_parts_in_zip(path, own)
    return Format.ZIPPED


def own_members(archive: zipfile.ZipFile) -> list[str]:
    """Names of what was packed, without the copies that one system adds for itself."""
    return [name for name in archive.namelist() if not name.startswith("__MACOSX/")]


def _need_shape_parts_in_zip(path: Path, names: list[str]) -> None:
    have = {name.lower() for name in names}
    shapes = [name[: -len(".shp")] for name in names if name.lower().endswith(".shp")]
    missing = [s + part for s in shapes for part in _SHAPE_PARTS if (s + part).lower() not in have]
    if missing:
        raise _of_missing_parts(path, f"no {' and no '.join(missing)} in it")
