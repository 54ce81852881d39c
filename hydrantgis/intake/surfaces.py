"""
Surfaces of triangles out of LandXML files, all in feet; and what the user says of any surface.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hydrantgis.ground.errors import CRSError, SourceError, UnitError, UnreadableError, some
from hydrantgis.ground.units import METRES, LengthUnit, factor
from hydrantgis.intake.formats import Format, format_of
from hydrantgis.intake.landxml import read_surfaces
from hydrantgis.intake.systems import user_crs

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd
    import pyproj
    from numpy.typing import NDArray

    from hydrantgis.intake.landxml import Surface

_LANDXML = (".xml", ".landxml")


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceWords:
    """
    What the user says of a surface; it goes before what the file says.

    Attributes
    ----------
    name
        What the register calls it; the file's name, or that of the surface in it, where None.
    layer
        The surface in a LandXML file of several.
    unit, crs, vertical_datum
        Of the elevations; horizontal; of the elevations.
    nodata, band
        Of a raster: the mark for `no value`, and the band that holds the elevations.
    """

    name: str | None = None
    layer: str | None = None
    unit: LengthUnit | None = None
    crs: str | None = None
    vertical_datum: str | None = None
    nodata: float | None = None
    band: int | None = None


@dataclass(frozen=True, slots=True)
class Triangulation:
    """
    A surface of triangles.

    Attributes
    ----------
    name
        What it is called.
    vertices_ft
        East, north and elevation, shape (m, 3). [ft]
    faces
        Three vertices each, by place from 0, shape (k, 3).
    crs
        In which east and north are told, there in its own unit.
    flat
        Feet in that unit.
    vertical_datum
        None where neither file nor user names one.
    findings
        What was noticed.
    """

    name: str
    vertices_ft: NDArray[np.float64]
    faces: NDArray[np.intp]
    crs: pyproj.CRS
    flat: float
    vertical_datum: str | None
    findings: pd.DataFrame


def is_landxml(path: Path) -> bool:
    """
    Whether a surface is one of triangles, by the ending of its name.

    Examples
    --------
    >>> from pathlib import Path
    >>> is_landxml(Path("design.xml")), is_landxml(Path("dem.tif"))
    (True, False)
    """
    return path.suffix.lower() in _LANDXML


def read_triangulation(path: Path, words: SurfaceWords) -> Triangulation:
    """
    A surface of triangles.

    Parameters
    ----------
    path
        A LandXML file.
    words
        What the user says.

    Raises
    ------
    CRSError, UnitError
        Neither file nor user says the CRS, or the unit of elevations.
    SourceError
        There are several surfaces and none is named, or none that has triangles.
    UnreadableError
        The file is damaged.
    """
    if format_of(path) is not Format.LANDXML:
        raise UnreadableError("the file holds no surface", where=path.name, accepted="LandXML")
    read = read_surfaces(path)
    surface = _chosen(read.surfaces, words.layer, path.name)
    crs = read.words.crs if words.crs is None else user_crs(words.crs)
    if crs is None:
        raise CRSError(
            "the surface names no CRS that is known", where=path.name,
            found=read.words.crs_name or "none", do="ask whoever made it, and pass --crs",
        )  # fmt: skip
    unit = words.unit or read.words.elevation_unit
    if unit is None:
        raise UnitError(
            "the surface does not say the unit of its elevations", where=path.name,
            accepted=", ".join(LengthUnit), do="say --unit elev_ft=UNIT",
        )  # fmt: skip
    flat = crs.axis_info[0].unit_conversion_factor / float(METRES[LengthUnit.FT])
    up = float(factor(unit, LengthUnit.FT))
    return Triangulation(
        name=words.name or surface.name,
        vertices_ft=surface.vertices * np.array([flat, flat, up]),
        faces=surface.faces,
        crs=crs,
        flat=flat,
        vertical_datum=words.vertical_datum or read.words.vertical_datum,
        findings=read.findings,
    )


def _chosen(surfaces: list[Surface], name: str | None, where: str) -> Surface:
    """The surface of that name, or the only one with triangles."""
    whole = [surface for surface in surfaces if len(surface.faces)]
    told = some([f"{s.name} ({len(s.faces):,} triangles)" for s in surfaces], 12)
    named = whole if name is None else [s for s in whole if s.name == name]
    if len(named) == 1:
        return named[0]
    raise SourceError(
        "the file holds no surface of triangles"
        if not whole
        else "the file holds several surfaces"
        if name is None
        else f"there is no surface `{name}`, or more than one",
        where=where,
        found=told or "none",
        do="name one with --layer" if whole else "ask for a surface with its triangles",
    )
