"""
The way to a raster's file: rasterio with its own PROJ, and nothing but files on this machine.
"""

from __future__ import annotations

import os
import threading
import warnings
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import UnreadableError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from types import ModuleType

CACHE_MB = 64
"""Blocks are read once each, so GDAL need not keep them; tiles of one grid share a few."""
_DRIVERS = [
    "GTiff", "HFA", "AAIGrid", "GRASSASCIIGrid", "EHdr", "ENVI", "USGSDEM", "DTED", "SRTMHGT",
    "SAGA", "GPKG", "JP2OpenJPEG",
]  # fmt: skip
"""Formats of files on this machine; those that fetch from another one are left out."""
_VRT_BEGINS = b"<VRTDataset"
_NAMING = ("SourceFilename", "SourceDataset", "SourceDEM")
_PROJ_PLACES = ("PROJ_DATA", "PROJ_LIB")
_environment = threading.Lock()


@cache
def load_rasterio() -> ModuleType:
    """
    rasterio, imported apart from the PROJ of other programs.

    Where PROJ_DATA or PROJ_LIB name the data of another PROJ, as desktop programs set them,
    rasterio takes those instead of its own, and knows no CRS any more.
    """
    with _environment:
        aside = {name: os.environ.pop(name) for name in _PROJ_PLACES if name in os.environ}
        try:
            import rasterio
            import rasterio.env
        finally:
            os.environ.update(aside)
    module: ModuleType = rasterio
    return module


@contextmanager
def reading() -> Iterator[ModuleType]:
    """Settings under which rasters are read: a small cache, no code of a file's own."""
    rasterio = load_rasterio()
    with rasterio.Env(
        GDAL_CACHEMAX=CACHE_MB, GTIFF_REPORT_COMPD_CS="YES", GDAL_VRT_ENABLE_PYTHON="NO"
    ):
        yield rasterio


def open_dataset(rasterio: ModuleType, path: Path) -> Any:  # noqa: ANN401 (rasterio has no types)
    """
    A dataset of a local file, open for reading.

    Raises
    ------
    UnreadableError
        There is no such file, or it is no raster.
    """
    drivers = ["VRT"] if _is_vrt(path) else _DRIVERS
    try:
        with warnings.catch_warnings():
            # a raster without a place is refused with words of its own
            warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
            return rasterio.io.DatasetReader(path.resolve(), driver=drivers)
    except rasterio.errors.RasterioError as error:
        raise UnreadableError(
            "the file is no raster of a known format, or it is damaged",
            where=path.name,
            found=" ".join(str(error).split()),
            accepted="GeoTIFF, VRT, Erdas Imagine, ASCII grid and the like, not packed",
            do="unpack it, or convert it to GeoTIFF",
        ) from error


def _is_vrt(path: Path) -> bool:
    """
    Whether a file is a VRT, which holds no cells and names rasters that do.

    Raises
    ------
    UnreadableError
        There is no such file.
    """
    try:
        with path.open("rb") as file:
            return _VRT_BEGINS in file.read(1024)
    except OSError as error:
        raise UnreadableError(
            "there is no such file, or it may not be read", where=str(path), do="check the name"
        ) from error


def need_local_parts(path: Path, above: frozenset[Path] = frozenset()) -> None:
    """
    Refuse a VRT that draws on anything but rasters that are files on this machine.

    It is read before it is opened, since to open it may be to fetch.

    Parameters
    ----------
    path
        A raster.
    above
        VRTs that draw on it.

    Raises
    ------
    UnreadableError
        It draws on something else, or on itself.
    """
    import defusedxml
    import defusedxml.ElementTree as Xml

    if not _is_vrt(path):
        return
    try:
        tree = Xml.parse(path)
    except (Xml.ParseError, defusedxml.DefusedXmlException) as error:
        raise UnreadableError(
            "the VRT is no plain XML", where=path.name, found=str(error), do="build it anew"
        ) from error
    within = above | {path.resolve()}
    named = [part for tag in _NAMING for part in tree.iter(tag)]
    local = {
        (path.parent if part.get("relativeToVRT") == "1" else path.cwd()) / str(part.text)
        for part in named
    }
    if not named or {name.resolve() for name in local} & within:
        raise UnreadableError(
            "the VRT names no raster, or itself", where=path.name, do="build it anew"
        )
    for name in sorted(local):
        need_local_parts(name, within)
        with reading() as rasterio:
            open_dataset(rasterio, name).close()
