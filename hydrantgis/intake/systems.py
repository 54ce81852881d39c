"""
Coordinate reference systems: what each is called, where it is used, and all that there are.

The numbers of a projection are taken as a PROJ string. That leaves out the datum's finer points,
which move a point by some hundred feet at most: enough to ask whether it lies in a state, and never
used to move one. A PROJ string is thirty times faster to make and to use than a full
transformation, so that all systems of the EPSG data set can be tried on points within a second.
"""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING

import numpy as np
import pyproj
from pyproj.aoi import AreaOfInterest, AreaOfUse
from pyproj.database import query_crs_info
from pyproj.enums import PJType

from hydrantgis.ground.errors import CRSError

if TYPE_CHECKING:
    from numpy.typing import NDArray

_SURE = 70
"""PROJ's confidence from which two systems hold the same numbers under different names."""

_DATUM_WORDS = {"ellps", "datum", "a", "b", "rf", "R", "towgs84", "nadgrids", "pm"}
_NO_WORDS = {"type", "no_defs", "towgs84", "nadgrids", "geoidgrids", "vunits", "vto_meter"}


def user_crs(text: str) -> pyproj.CRS:
    """
    The CRS that a user names.

    Raises
    ------
    CRSError
        There is none of that name.

    Examples
    --------
    >>> user_crs("EPSG:2249").name
    'NAD83 / Massachusetts Mainland (ftUS)'
    """
    try:
        crs = pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError as error:
        raise CRSError(
            f"`{text}` names no coordinate reference system",
            accepted="a code such as EPSG:2249, or WKT",
            do="look the code up in the layer's metadata",
        ) from error
    if not (crs.is_projected or crs.is_geographic):
        raise CRSError(
            f"`{text}` does not say where on the ground a point lies",
            found=f"{crs.name}, a {crs.type_name}",
            accepted="a projected or geographic system, such as EPSG:2249",
            do="look the code up in the layer's metadata",
        )
    return crs


def horizontal(crs: pyproj.CRS) -> pyproj.CRS:
    """
    The part of a CRS that says where, without heights and without a shift bound to it.

    Examples
    --------
    >>> horizontal(pyproj.CRS("EPSG:2249+5703")).to_epsg()
    2249
    """
    if crs.is_compound:
        return horizontal(crs.sub_crs_list[0])
    if crs.is_bound and crs.source_crs is not None:
        return horizontal(crs.source_crs)
    return crs


def unit_text(crs: pyproj.CRS) -> str:
    """
    One unit of the coordinates in words.

    Examples
    --------
    >>> unit_text(pyproj.CRS(2249)), unit_text(pyproj.CRS(26986)), unit_text(pyproj.CRS(4326))
    ('US survey foot', 'metre', 'degree')
    """
    axes = crs.axis_info
    return axes[0].unit_name if axes else "unknown unit"


def describe(crs: pyproj.CRS) -> str:
    """
    Code, name and unit, the unit to ten digits.

    Examples
    --------
    >>> describe(pyproj.CRS(2249))
    'EPSG:2249 NAD83 / Massachusetts Mainland (ftUS), 1 US survey foot = 0.3048006096 m'
    """
    axis = crs.axis_info[0] if crs.axis_info else None
    unit = ""
    if axis is not None and crs.is_projected:
        unit = f", 1 {axis.unit_name} = {axis.unit_conversion_factor:.10f} m"
    elif axis is not None:
        unit = f", {axis.unit_name}s"
    return f"{short(crs)} {crs.name}{unit}"


def short(crs: pyproj.CRS) -> str:
    """
    Authority and code where the CRS has one, else its name.

    Examples
    --------
    >>> short(pyproj.CRS(3736))
    'EPSG:3736'
    """
    return known_code(crs) or crs.name


@lru_cache(maxsize=64)
def known_code(crs: pyproj.CRS) -> str | None:
    """
    The code of the known system that a CRS equals; None where there is none.

    A file writes numbers down with a digit more or less than the data set that names them. PROJ
    then knows it no more; it is the same system all the same where every number agrees to within
    1 mm and the datum is the same.

    Examples
    --------
    >>> known_code(pyproj.CRS.from_wkt(pyproj.CRS(26915).to_wkt("WKT1_ESRI")))
    'EPSG:26915'
    >>> known_code(pyproj.CRS("+proj=tmerc +lat_0=44 +lon_0=-89.5 +x_0=9000 +datum=NAD83"))
    """
    authority = crs.to_authority(min_confidence=_SURE)
    if authority is not None:
        return ":".join(authority)
    if not crs.is_projected:
        return None
    flat = horizontal(crs)
    numbers = _numbers(proj_text(flat))
    if not numbers:
        return None
    for system in all_systems():
        if _same_numbers(numbers, _numbers(system.text)):
            other = pyproj.CRS.from_epsg(int(system.code))
            if _same_datum(flat, other):
                return f"EPSG:{system.code}"
    return None


def _same_datum(a: pyproj.CRS, b: pyproj.CRS) -> bool:
    base_a, base_b = a.geodetic_crs, b.geodetic_crs
    if base_a is None or base_b is None:
        return False
    return bool(base_a.equals(base_b, ignore_axis_order=True)) or (
        base_a.to_epsg() is not None and base_a.to_epsg() == base_b.to_epsg()
    )


def area_of_use(crs: pyproj.CRS) -> AreaOfUse | None:
    """
    The area of use, also of a CRS that a file wrote down without it.

    Examples
    --------
    >>> area_of_use(pyproj.CRS.from_wkt(pyproj.CRS(2249).to_wkt("WKT1_ESRI"))).name[:13]
    'United States'
    """
    flat = horizontal(crs)
    area = flat.area_of_use or crs.area_of_use
    if area is None:
        code = known_code(flat)
        area = user_crs(code).area_of_use if code else None
    if area is None:
        return None
    return AreaOfUse(area.west, area.south, area.east, area.north, area.name)


def area_text(area: AreaOfUse) -> str:
    """
    The name of an area of use without lists of counties.

    Examples
    --------
    >>> area_text(pyproj.CRS(2249).area_of_use)
    'Massachusetts onshore'
    """
    name = (area.name or "unnamed").rstrip(".").removeprefix("United States (USA) - ")
    name = re.split(r" - (?:counties|county|parishes|onshore and offshore)", name)[0]
    return name if len(name) <= 60 else f"{name[:57].rstrip()}..."


def within(
    lon: NDArray[np.float64], lat: NDArray[np.float64], area: AreaOfUse, margin: float
) -> NDArray[np.bool_]:
    """
    Which places lie inside the box of an area of use, widened by a margin, shape (n,). [deg]

    Examples
    --------
    >>> aleutian = AreaOfUse(172, 51, -170, 54, "across 180 degrees")
    >>> within(np.array([179.0, -179.0, 0.0]), np.full(3, 52.0), aleutian, 0.0).tolist()
    [True, True, False]
    """
    width = (area.east - area.west) % 360 or 360.0
    between = np.abs(lon) <= 360
    if width + 2 * margin < 360:
        east_of_edge = (np.where(between, lon, 0.0) - area.west + margin) % 360
        between &= east_of_edge <= width + 2 * margin
    inside: NDArray[np.bool_] = (
        between & (lat >= area.south - margin) & (lat <= area.north + margin)
    )
    return inside


def to_degrees(
    points: NDArray[np.float64], crs: pyproj.CRS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Longitude and latitude of points, not finite where there is none, each (n,). [deg]"""
    transformer = pyproj.Transformer.from_crs(horizontal(crs), 4326, always_xy=True)
    lon, lat = transformer.transform(points[:, 0], points[:, 1])
    return np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class System:
    """A projected system of the EPSG data set; `text` is its PROJ string."""

    code: str
    name: str
    area: AreaOfUse
    text: str

    @property
    def family(self) -> str:
        """The projection alone, without the datum: realisations of one datum share it."""
        words = (w for w in self.text.split() if w[1:].split("=")[0] not in _DATUM_WORDS)
        return " ".join(words)

    @property
    def km2(self) -> float:
        """Size of the box of the area of use. [km2]"""
        width = np.radians((self.area.east - self.area.west) % 360 or 360.0)
        band = np.sin(np.radians(self.area.north)) - np.sin(np.radians(self.area.south))
        return float(6371.0**2 * width * band)

    def degrees(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Longitude and latitude on the system's own datum, shape (n, 2). [deg]"""
        step = f"+inv {self.text} +step +proj=unitconvert +xy_in=rad +xy_out=deg"
        transformer = pyproj.Transformer.from_pipeline(f"+proj=pipeline +step {step}")
        return np.column_stack(transformer.transform(points[:, 0], points[:, 1]))


def systems_near(west: float, south: float, east: float, north: float) -> list[System]:
    """Systems whose area of use meets a box in degrees."""
    box = AreaOfInterest(max(west, -180), max(south, -90), min(east, 180), min(north, 90))
    found = query_crs_info("EPSG", PJType.PROJECTED_CRS, area_of_interest=box)
    return [made for info in found if (made := _system(info.code, info.name, info.area_of_use))]


@cache
def all_systems() -> tuple[System, ...]:
    """Every projected system of the data set that PROJ can compute and that is not deprecated."""
    found = query_crs_info("EPSG", PJType.PROJECTED_CRS)
    made = (_system(info.code, info.name, info.area_of_use) for info in found)
    return tuple(system for system in made if system is not None)


@lru_cache(maxsize=8192)
def _system(code: str, name: str, area: AreaOfUse | None) -> System | None:
    text = proj_text(pyproj.CRS.from_epsg(int(code)))
    return System(code, name, area, text) if text and area is not None else None


def proj_text(crs: pyproj.CRS) -> str:
    """
    The projection as a step of a PROJ pipeline; empty where there is none.

    Examples
    --------
    >>> proj_text(pyproj.CRS(26915))
    '+proj=utm +zone=15 +datum=NAD83 +units=m'
    """
    with warnings.catch_warnings():
        # it says that a string leaves out the datum's finer points; it does
        warnings.simplefilter("ignore", UserWarning)
        try:
            text = crs.to_proj4()
        except pyproj.exceptions.CRSError:
            return ""
    words = [w for w in text.split() if w[1:].split("=")[0] not in _NO_WORDS]
    return " ".join(words) if words and words[0].startswith("+proj=") else ""


_NUMBER = re.compile(r"\+(\w+)=(\S+)")


def _numbers(text: str) -> dict[str, str | float]:
    """The words of a PROJ string, without the datum; standard parallels in one order."""
    found: dict[str, str | float] = {}
    for name, value in _NUMBER.findall(text):
        if name in _DATUM_WORDS:
            continue
        try:
            found[name] = value if name in {"proj", "units"} else float(value)
        except ValueError:
            found[name] = value
    one, two = found.get("lat_1"), found.get("lat_2")
    if isinstance(one, float) and isinstance(two, float):
        found["lat_1"], found["lat_2"] = min(one, two), max(one, two)
    return found


def _same_numbers(a: dict[str, str | float], b: dict[str, str | float]) -> bool:
    if a.keys() != b.keys():
        return False
    for name, one in a.items():
        two = b[name]
        if isinstance(one, str) or isinstance(two, str):
            if one != two:
                return False
        elif abs(one - two) > (1e-3 if name in {"x_0", "y_0"} else 1e-8):
            return False
    return True
