"""
Which coordinate reference systems points may be in: a help for asking, never a choice.

The numbers alone often fit hundreds of systems. They are ranked by how likely a hydrant layer is to
hold such numbers: a point falls into a small area of use less easily by chance than into a large
one, so that the chance grows with 1 / area; and systems that utilities keep their layers in are
handicapped less than others. A place that the points must lie near decides far better.

References
----------
.. [1] IOGP, EPSG Geodetic Parameter Dataset, as PROJ carries it: areas of use, projections, units.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj
from pyproj.database import query_crs_info
from pyproj.enums import PJType

from hydrantgis.intake.systems import (
    System,
    all_systems,
    area_text,
    systems_near,
    unit_text,
    within,
)
from hydrantgis.intake.whereabouts import Place, far_off, miles_text

if TYPE_CHECKING:
    import shapely
    from numpy.typing import NDArray
    from pyproj.aoi import AreaOfUse

AREA_MARGIN_DEG = 0.25
"""
How far outside the box of an area of use a point may lie and still belong to it.

The boxes of the data set are drawn round a state, a zone or a country and rounded to 0.01 degree. A
district that crosses the border goes on in the zone it began in; 0.25 degree is 17 miles north to
south and 13 east to west at 40 degrees, wider than a district that serves some streets across a
border, and a fraction of a zone, so that a point of the next zone but one does not pass.
"""

NEAR_MI = 5.0
"""Points this near a place that is known, by any system, are as good as in it."""

_LOOK_AROUND_DEG = 2.0
_HOME = (-172.0, 14.0, -47.0, 86.0)
"""North America as NAD83 is used: without a place, it tells degrees with x and y swapped."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """
    A system that points may be in.

    Attributes
    ----------
    code
        Authority and code, as `--crs` takes it.
    name, unit
        As the data set has them.
    reason
        Why it may be this one, in words.
    swapped
        The points fit with x and y exchanged.
    miles
        How far the farthest point would lie from the place that was named; None where none was.

    Examples
    --------
    >>> found = candidates((745_000.0, 2_940_000.0, 765_000.0, 2_960_000.0), near=(-71.1, 42.4))
    >>> print(found[0])
    EPSG:2249 NAD83 / Massachusetts Mainland (ftUS)
    """

    code: str
    name: str
    unit: str
    reason: str
    swapped: bool = False
    miles: float | None = None

    def __str__(self) -> str:
        return f"{self.code} {self.name}" + (", x and y swapped" if self.swapped else "")


def candidates(
    points: NDArray[np.float64] | tuple[float, float, float, float],
    *,
    near: shapely.Geometry | tuple[float, ...] | None = None,
    place: str = "the place named",
) -> list[Candidate]:
    """
    Systems that points may be in, the likeliest first.

    Parameters
    ----------
    points
        Points, shape (n, 2), of which single ones may be wrong; or their bounds, least x, least y,
        greatest x, greatest y.
    near
        Where the points must lie: a shape, or `(lon, lat)`, or `(west, south, east, north)`. [deg]
    place
        What `near` is called in the reasons.

    Returns
    -------
    candidates
        Every system of the EPSG data set in whose area of use they lie: geographic ones where the
        numbers can be degrees, else projected ones; with `near` those alone that are used near it.
        Realisations of one datum stand behind the plain one.

    Examples
    --------
    >>> [str(c) for c in candidates((-71.2, 42.3, -71.0, 42.5))[:2]]
    ['EPSG:4326 WGS 84', 'EPSG:4269 NAD83']
    >>> str(candidates((42.3, -71.2, 42.5, -71.0))[0])
    'EPSG:4326 WGS 84, x and y swapped'
    """
    corners = _corners(points)
    if not len(corners):
        return []
    target = Place(near) if near is not None else None
    if can_be_degrees(corners):
        found = _in_degrees(corners, target, place)
    else:
        found = _in_lengths(corners, target, place)
    return [entry.told for entry in found]


def can_be_degrees(points: NDArray[np.float64]) -> bool:
    """
    Whether all known points can be longitude and latitude, in either order.

    Examples
    --------
    >>> can_be_degrees(np.array([[42.3, -171.1]])), can_be_degrees(np.array([[760e3, 2950e3]]))
    (True, False)
    """
    known = np.abs(points[np.isfinite(points).all(axis=1)])
    if not len(known):
        return False
    x, y = known.max(axis=0)
    return bool((x <= 180 and y <= 90) or (x <= 90 and y <= 180))


def _corners(points: NDArray[np.float64] | tuple[float, ...]) -> NDArray[np.float64]:
    """The outermost points in sixteen directions and the middle one; few stand for all."""
    if isinstance(points, tuple):
        west, south, east, north = points
        box = [(west, south), (east, south), (west, north), (east, north)]
        return np.array([*box, ((west + east) / 2, (south + north) / 2)])
    known = points[np.isfinite(points).all(axis=1) & ~far_off(points)]
    if not len(known):
        return known
    turns = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    outermost = {int(np.argmax(known @ (np.cos(turn), np.sin(turn)))) for turn in turns}
    return np.vstack((known[sorted(outermost)], np.median(known, axis=0)))


@dataclass(frozen=True, slots=True)
class _Ranked:
    key: tuple[float, ...]
    family: str
    told: Candidate


def _in_degrees(corners: NDArray[np.float64], target: Place | None, place: str) -> list[_Ranked]:
    readings = [
        (turned, corners[:, ::-1] if turned else corners)
        for turned in (False, True)
        if (np.abs(corners[:, ::-1] if turned else corners) <= (180.0, 90.0)).all()
    ]
    away = [float(target.miles(*c.T).max()) if target else np.inf for _, c in readings]
    home = [bool(_inside_box(c, _HOME).all()) for _, c in readings]
    if target is not None and min(away) < 100 * NEAR_MI:
        readings = [readings[int(np.argmin(away))]]
    elif any(home):
        readings = [readings[home.index(True)]]
    found: list[_Ranked] = []
    for info in query_crs_info("EPSG", PJType.GEOGRAPHIC_2D_CRS):
        if info.area_of_use is None:
            continue
        for turned, c in readings:
            if not within(c[:, 0], c[:, 1], info.area_of_use, AREA_MARGIN_DEG).all():
                continue
            crs = pyproj.CRS.from_epsg(int(info.code))
            if unit_text(crs) != "degree":
                continue
            miles = float(target.miles(c[:, 0], c[:, 1]).max()) if target else None
            reason = _reason(c, info.area_of_use, "degree", miles, place)
            if turned:
                reason = f"x looks like latitude and y like longitude: swapped, {reason}"
            told = Candidate(f"EPSG:{info.code}", info.name, "degree", reason, turned, miles)
            common = {"4326": 0.0, "4269": 1.0, "4258": 2.0}.get(info.code, 3.0)
            key = (float(turned), common, _realisation(info.name), float(info.code))
            found.append(_Ranked(key, info.code, told))
    ranked = sorted(found, key=lambda entry: entry.key)
    return list({(e.told.code, e.told.swapped): e for e in reversed(ranked)}.values())[::-1]


def _inside_box(points: NDArray[np.float64], box: tuple[float, ...]) -> NDArray[np.bool_]:
    west, south, east, north = box
    x, y = points.T
    inside: NDArray[np.bool_] = (x >= west) & (x <= east) & (y >= south) & (y <= north)
    return inside


def _in_lengths(corners: NDArray[np.float64], target: Place | None, place: str) -> list[_Ranked]:
    if target is None:
        pool: list[System] | tuple[System, ...] = all_systems()
    else:
        west, south, east, north = target.bounds
        pad = _LOOK_AROUND_DEG
        pool = systems_near(west - pad, south - pad, east + pad, north + pad)
    by_text: dict[str, list[System]] = {}
    for system in pool:
        by_text.setdefault(system.text, []).append(system)
    found: list[_Ranked] = []
    for turned in (False, True) if target is not None else (False,):
        seen = corners[:, ::-1] if turned else corners
        for group in by_text.values():
            places = group[0].degrees(seen)
            if not np.isfinite(places).all():
                continue
            miles = float(target.miles(*places.T).max()) if target is not None else None
            if turned and miles is not None and miles > NEAR_MI:
                continue
            found += [
                _ranked(system, places, miles, turned=turned, place=place)
                for system in group
                if within(places[:, 0], places[:, 1], system.area, AREA_MARGIN_DEG).all()
            ]
    # the data set may name several areas of use for one system
    ranked = sorted(found, key=lambda entry: entry.key)
    found = list({(e.told.code, e.told.swapped): e for e in reversed(ranked)}.values())[::-1]
    if target is not None:
        return found
    # one of each projection first: its realisations differ by feet and would crowd out the others
    first = {entry.family: entry for entry in reversed(found)}
    heads = [entry for entry in found if first[entry.family] is entry]
    return [*heads, *(entry for entry in found if first[entry.family] is not entry)]


def _ranked(
    system: System, places: NDArray[np.float64], miles: float | None, *, turned: bool, place: str
) -> _Ranked:
    unit = unit_text(pyproj.CRS.from_epsg(int(system.code)))
    reason = _reason(places, system.area, unit, miles, place)
    if turned:
        reason = f"with x and y swapped, {reason}"
    told = Candidate(f"EPSG:{system.code}", system.name, unit, reason, turned, miles)
    at_edge = float(not within(places[:, 0], places[:, 1], system.area, 0.02).all())
    # realisations differ by some feet; that says nothing of which is meant
    apart = 0.0 if miles is None or miles <= NEAR_MI else float(np.ceil(miles / NEAR_MI))
    likely = float(np.log10(system.km2)) + handicap(system) + at_edge
    return _Ranked((apart, float(turned), likely, float(system.code)), system.family, told)


def _reason(
    places: NDArray[np.float64], area: AreaOfUse, unit: str, miles: float | None, place: str
) -> str:
    strict = within(places[:, 0], places[:, 1], area, 0.02).all()
    how = "all points inside its area of use" if strict else "points at the edge of its area of use"
    told = f"{how} ({area_text(area)}); 1 {unit}"
    if miles is None:
        return told
    where = f"within {miles_text(NEAR_MI)} of" if miles <= NEAR_MI else f"{miles_text(miles)} from"
    return f"{told}; {where} {place}"


def _realisation(name: str) -> float:
    """How seldom a layer says this one of several realisations of its datum. [decades]"""
    if re.search(r"\((HARN|NSRS2007|CORS96|FBN|MA11|PA11|86|93|CSRS)\)|v\d+\b|WGS 72", name):
        return 2.0
    if re.match(r"NAD27|ED50|ED79|Pulkovo|GSK|Old |OSGB70|MGI 1901", name):
        return 1.5
    return 1.0 if "(2011)" in name or "1984" in name else 0.0


def handicap(system: System) -> float:
    """
    How much seldomer hydrants are kept in a system than its size alone would let one think.

    In powers of ten. State Plane zones and UTM are what utilities keep their layers in; one-county
    grids are many and small, and seldom.

    Examples
    --------
    >>> plane, world = (next(s for s in all_systems() if s.code == c) for c in ("2249", "4087"))
    >>> handicap(plane) < handicap(world)
    True
    """
    name = system.name
    american = (system.area.name or "").startswith("United States (USA)")
    plain = name.startswith("NAD83 / ")
    decades = _realisation(name)
    zone = re.search(r"/ (?:UTM|BLM) (?:zone )?(\d+)N", name)
    if system.code == "3857":
        return -4.0
    if zone and "BLM" not in name and 10 <= int(zone[1]) <= 20:
        decades -= 3.0 if plain else 2.5
    elif zone:
        decades -= 1.0
    elif american and plain:
        decades -= 2.0 if "ft" in name.rsplit("(", 1)[-1] else 1.5
    if re.search(r"CRS (?!\()|ICS83|NCRS|LDP|Equi7|Statistics|Atlas|Albers", name.split("/")[-1]):
        decades += 2.5
    return decades
