"""
The CRS of a source: named by it or by the user, never guessed, and held against the points.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyproj
from pyproj.aoi import AreaOfInterest, AreaOfUse
from pyproj.database import query_crs_info
from pyproj.enums import PJType

from hydrantgis.ground.errors import CRSError, some

if TYPE_CHECKING:
    from numpy.typing import NDArray

LEAST_SHARE_INSIDE = 0.95
"""Fewer points than this inside the CRS's area of use, and the CRS cannot be right."""


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
        return pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError as error:
        raise CRSError(
            f"`{text}` names no coordinate reference system",
            accepted="a code such as EPSG:2249, or WKT",
            do="look the code up in the layer's metadata",
        ) from error


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
    authority = crs.to_authority()
    return ":".join(authority) if authority else crs.name


def area_of_use(crs: pyproj.CRS) -> AreaOfUse | None:
    """
    The area of use, also of a CRS that a file wrote down without it.

    Examples
    --------
    >>> area_of_use(pyproj.CRS.from_wkt(pyproj.CRS(2249).to_wkt("WKT1_ESRI"))).name[:13]
    'United States'
    """
    area, authority = crs.area_of_use, crs.to_authority()
    if area is None and authority is not None:
        area = pyproj.CRS.from_authority(*authority).area_of_use
    if area is None:
        return None
    return AreaOfUse(area.west, area.south, area.east, area.north, area.name)


def share_inside(points: NDArray[np.float64], crs: pyproj.CRS) -> float:
    """
    Share of the points that lie inside the CRS's area of use, with a margin of a degree.

    Parameters
    ----------
    points
        Shape (n, 2), missing ones not counted. [CRS]
    crs
        Their CRS.

    Returns
    -------
    share
        0 to 1; 1 where there is no point or the CRS has no area of use.
    """
    known = np.isfinite(points).all(axis=1)
    return float(inside_area(points, crs)[known].mean()) if known.any() else 1.0


def inside_area(points: NDArray[np.float64], crs: pyproj.CRS) -> NDArray[np.bool_]:
    """Which points lie inside the area of use of their CRS, give or take a degree, shape (n,)."""
    area = area_of_use(crs)
    if area is None:
        return np.ones(len(points), dtype=bool)
    to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    lon, lat = to_degrees.transform(points[:, 0], points[:, 1])
    lon, lat = np.asarray(lon), np.asarray(lat)
    east, west = area.east + 1, area.west - 1
    between = (lon >= west) & (lon <= east) if west <= east else (lon >= west) | (lon <= east)
    return between & (lat >= area.south - 1) & (lat <= area.north + 1)


def candidates(bounds: tuple[float, float, float, float]) -> list[str]:
    """
    Systems that coordinates of these bounds may be in; a help for asking, never a choice.

    Parameters
    ----------
    bounds
        Least x, least y, greatest x, greatest y.

    Returns
    -------
    codes
        `EPSG:` codes with names: degrees where the numbers could be degrees, else the State Plane
        zones of 1983 in feet whose area of use holds all four corners.
    """
    west, south, east, north = bounds
    if max(abs(west), abs(east)) <= 180 and max(abs(south), abs(north)) <= 90:
        return ["EPSG:4326 WGS 84 (longitude, latitude)", "EPSG:4269 NAD83 (longitude, latitude)"]
    america = AreaOfInterest(-180, 15, -60, 75)
    found: list[str] = []
    for info in query_crs_info("EPSG", PJType.PROJECTED_CRS, area_of_interest=america):
        if not info.name.startswith("NAD83 /") or "ft" not in info.name.rsplit("(", 1)[-1]:
            continue
        crs = pyproj.CRS.from_epsg(int(info.code))
        area = crs.area_of_use
        if area is None:
            continue
        to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
        lon, lat = to_degrees.transform([west, east, west, east], [south, south, north, north])
        if (
            min(lon) >= area.west
            and max(lon) <= area.east
            and min(lat) >= area.south
            and max(lat) <= area.north
        ):
            found.append(f"EPSG:{info.code} {info.name}")
    return found


def resolve(
    named: pyproj.CRS | None,
    said: str | None,
    bounds: tuple[float, float, float, float] | None,
    *,
    where: str,
) -> tuple[pyproj.CRS, str]:
    """
    The CRS of a source, and who named it: `user` or `source`.

    Raises
    ------
    CRSError
        Nobody names one; the error lists candidates.
    """
    if said is not None:
        return user_crs(said), "user"
    if named is not None:
        return named, "source"
    likely = candidates(bounds) if bounds is not None else []
    raise CRSError(
        "the source names no coordinate reference system",
        where=where,
        found="no CRS"
        if bounds is None
        else "coordinates from "
        + " to ".join(f"({x:,.3f}, {y:,.3f})" for x, y in (bounds[:2], bounds[2:])),
        accepted=some(likely, 8) if likely else "a code such as EPSG:2249",
        do="ask whoever made the layer, and pass --crs CODE",
    )


def _refuse_degrees(points: NDArray[np.float64], crs: pyproj.CRS, *, where: str) -> None:
    """Refuse degrees that are called lengths: the corner of a projected plane is no district."""
    known = points[np.isfinite(points).all(axis=1)]
    if crs.is_projected and len(known) and (np.abs(known) <= (180.0, 90.0)).all():
        raise CRSError(
            f"the coordinates look like degrees, and {short(crs)} is in lengths",
            where=where,
            found=f"the first is ({known[0, 0]:g}, {known[0, 1]:g})",
            accepted="a CRS in degrees, for example EPSG:4326",
            do="find the right CRS and pass --crs CODE",
        )


FAR = 10.0
"""Points this many times farther from the middle than 95 % of all are told."""


def far_off(points: NDArray[np.float64]) -> NDArray[np.bool_]:
    """
    Points far from where nearly all the others are, shape (n,).

    Examples
    --------
    >>> points = np.column_stack((np.arange(40.0), np.zeros(40)))
    >>> points[7] = (9000.0, 9000.0)
    >>> np.flatnonzero(far_off(points)).tolist()
    [7]
    """
    known = np.isfinite(points).all(axis=1)
    if known.sum() < 20:
        return np.zeros(len(points), dtype=bool)
    away = np.hypot(*(points - np.median(points[known], axis=0)).T)
    far: NDArray[np.bool_] = known & (away > FAR * np.quantile(away[known], 0.95))
    return far


def hold_against_area(
    points: NDArray[np.float64], crs: pyproj.CRS, *, where: str
) -> NDArray[np.bool_]:
    """
    Which points lie outside the area of use of their CRS, shape (n,).

    Raises
    ------
    CRSError
        So many do that the CRS cannot be right; swapped axes are told apart.
    """
    _refuse_degrees(points, crs, where=where)
    known, inside = np.isfinite(points).all(axis=1), inside_area(points, crs)
    share = float(inside[known].mean()) if known.any() else 1.0
    if share < LEAST_SHARE_INSIDE:
        swapped, area = share_inside(points[:, ::-1], crs), area_of_use(crs)
        hint = (
            "with X and Y swapped they lie inside: the source has its axes the wrong way round"
            if swapped >= LEAST_SHARE_INSIDE
            else "the source was labelled with a CRS that is not its own"
        )
        raise CRSError(
            f"only {share:.0%} of the points lie where {short(crs)} is used",
            where=where,
            found=hint,
            accepted=f"{crs.name}: {area.name if area else 'anywhere'}",
            do="find the right CRS and pass --crs CODE",
        )
    return known & ~inside
