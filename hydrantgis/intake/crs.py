"""
The CRS of a source: named by it or by the user, never guessed, and held against the points.

A place is proved before anything is kept: points must lie where their CRS is used, and near the
ground that the register serves where that is known. What would fit is told; nobody but the user
chooses it.

References
----------
.. [1] 85 FR 62698 (2020-10-05): the US survey foot is 1200/3937 m, the foot 0.3048 m.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hydrantgis.ground.errors import CRSError
from hydrantgis.ground.plane import plane_ft
from hydrantgis.ground.units import METRES, LengthUnit
from hydrantgis.intake.fits import AREA_MARGIN_DEG, NEAR_MI, Candidate, can_be_degrees, candidates
from hydrantgis.intake.mislabel import hypotheses
from hydrantgis.intake.systems import (
    area_of_use,
    area_text,
    describe,
    horizontal,
    known_code,
    short,
    to_degrees,
    user_crs,
    within,
)
from hydrantgis.intake.whereabouts import FAR, Place, far_off, miles_text, service_area

if TYPE_CHECKING:
    import pyproj
    import shapely
    from numpy.typing import NDArray

__all__ = [
    "AREA_MARGIN_DEG", "LEAST_SHARE_INSIDE", "SERVICE_MARGIN_MI", "Candidate", "area_of_use",
    "candidates", "describe", "far_off", "foot_note", "hold_against_area", "inside_area",
    "known_code", "outside_service", "resolve", "service_area", "share_inside", "short", "swapped",
    "unproved_note", "user_crs",
]  # fmt: skip

LEAST_SHARE_INSIDE = 0.95
"""Fewer points than this inside the CRS's area of use, and the CRS cannot be right."""

SERVICE_MARGIN_MI = NEAR_MI
"""
How far outside the known ground of the register points may lie.

A utility grows by main extensions of a mile or two; the next wrong zone, or metres for feet, is
tens of miles off. What is nearer than this (the degrees of NAD27 for those of NAD83, some hundred
feet; the other foot, some feet) no margin can tell: `foot_note` and the cross-check are for that.
"""

_MOST_TOLD = 8
_BREAK = "\n" + " " * 12
_TOWNS_DEG = (-56.0, 79.0)
"""No town, and so no hydrant, lies south or north of these latitudes."""
_FROM_ORIGIN_DEG = 6.0
_ORIGINS = ("natural origin", "false origin", "projection centre", "origin")


def share_inside(points: NDArray[np.float64], crs: pyproj.CRS) -> float:
    """
    Share of the points that lie inside the CRS's area of use, with a margin.

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

    Examples
    --------
    >>> import pyproj
    >>> share_inside(np.array([[760_000.0, 2_950_000.0], [0.0, 0.0]]), pyproj.CRS(2249))
    0.5
    """
    known = np.isfinite(points).all(axis=1)
    return float(inside_area(points, crs)[known].mean()) if known.any() else 1.0


def inside_area(points: NDArray[np.float64], crs: pyproj.CRS) -> NDArray[np.bool_]:
    """Which points lie inside the area of use of their CRS and its margin, shape (n,)."""
    area = area_of_use(crs)
    if area is None:
        return np.ones(len(points), dtype=bool)
    return within(*to_degrees(points, crs), area, AREA_MARGIN_DEG)


def outside_service(
    points: NDArray[np.float64], crs: pyproj.CRS, service: shapely.Geometry
) -> NDArray[np.bool_]:
    """
    Which points lie farther than `SERVICE_MARGIN_MI` from the known ground, shape (n,).

    Examples
    --------
    >>> import pyproj, shapely
    >>> points = np.array([[-71.1, 42.4], [-71.1, 43.4]])
    >>> outside_service(points, pyproj.CRS(4326), shapely.Point(-71.1, 42.4)).tolist()
    [False, True]
    """
    known = np.isfinite(points).all(axis=1)
    away: NDArray[np.float64] = Place(service).miles(*to_degrees(points, crs))
    outside: NDArray[np.bool_] = known & (away > SERVICE_MARGIN_MI)
    return outside


def resolve(
    named: pyproj.CRS | None,
    said: str | None,
    points: NDArray[np.float64] | tuple[float, float, float, float] | None,
    *,
    where: str,
    service: shapely.Geometry | None = None,
) -> tuple[pyproj.CRS, str]:
    """
    The CRS of a source, and who named it: `user` or `source`.

    Parameters
    ----------
    named, said
        By the source, by the user.
    points
        Points, shape (n, 2), or their bounds; None where there are none.
    where
        The source, for messages.
    service
        The ground that the register serves; it ranks the candidates. [deg]

    Raises
    ------
    CRSError
        Nobody names one, and the error lists candidates; or what is named is none of a map.
    """
    if said is not None:
        return _of_a_map(user_crs(said), where=where), "user"
    if named is not None:
        return _of_a_map(named, where=where), "source"
    likely: list[Candidate] = []
    bounds: tuple[float, ...] | None = None
    if points is not None:
        likely = candidates(points, near=service, place="the ground that is known")
        near = [c for c in likely if c.miles is not None and c.miles <= SERVICE_MARGIN_MI]
        likely = near or likely
        bounds = points if isinstance(points, tuple) else _bounds(points)
    reasons = [f"{c}: {c.reason}" for c in likely[:_MOST_TOLD]]
    if len(likely) > _MOST_TOLD:
        reasons.append(f"and {len(likely) - _MOST_TOLD:,} more, less likely by the numbers alone")
    raise CRSError(
        "the source names no coordinate reference system",
        where=where,
        found="no CRS"
        if bounds is None
        else "coordinates from "
        + " to ".join(f"({x:,.3f}, {y:,.3f})" for x, y in (bounds[:2], bounds[2:])),
        accepted=_below(reasons) if reasons else "a code such as EPSG:2249",
        do="ask whoever made the layer, and pass --crs CODE"
        + (" --swap-xy" if likely and likely[0].swapped else ""),
    )


def _of_a_map(crs: pyproj.CRS, *, where: str) -> pyproj.CRS:
    """The CRS, refused where it is that of heights, of space, or of a site that lies nowhere."""
    if crs.is_projected or crs.is_geographic:
        return crs
    raise CRSError(
        f"{short(crs)} is no coordinate reference system of points on a map",
        where=where,
        found=f"{crs.name} ({crs.type_name})",
        accepted="a projected or geographic one, for example EPSG:2249",
        do="find the right CRS and pass --crs CODE",
    )


def _below(lines: list[str]) -> str:
    """Lines one below the other, as an error sets them."""
    return _BREAK.join(lines)


def _bounds(points: NDArray[np.float64]) -> tuple[float, ...] | None:
    known = points[np.isfinite(points).all(axis=1)]
    return (*known.min(axis=0).tolist(), *known.max(axis=0).tolist()) if len(known) else None


def hold_against_area(
    points: NDArray[np.float64],
    crs: pyproj.CRS,
    *,
    where: str,
    service: shapely.Geometry | None = None,
) -> NDArray[np.bool_]:
    """
    Which points lie outside the area of use of their CRS, shape (n,).

    Parameters
    ----------
    points
        Shape (n, 2). [CRS]
    crs
        As the source is labelled.
    where
        The source, for messages.
    service
        The ground that the points should lie near, as `service_area` tells it. [deg]

    Raises
    ------
    CRSError
        So many lie outside the area of use, or far from the known ground, that the CRS cannot be
        right; the error says what would fit.

    Examples
    --------
    >>> import pyproj
    >>> try:
    ...     hold_against_area(np.array([[236e3, 901e3]]), pyproj.CRS(2249), where="h.shp")
    ... except CRSError as error:
    ...     print(error.do)
    if the first is right, pass --crs EPSG:26986; else ask whoever made the layer
    """
    known = np.isfinite(points).all(axis=1)
    if not known.any():
        return np.zeros(len(points), dtype=bool)
    area = area_of_use(crs)
    if crs.is_projected and can_be_degrees(points):
        x, y = points[known][0]
        _refuse(
            f"the coordinates look like degrees, and {short(crs)} is in lengths", points, crs,
            where=where, service=service, also=f"the first is ({x:g}, {y:g}); ",
        )  # fmt: skip
    if crs.is_geographic and service is None:
        _hold_against_towns(points[known], crs, where=where)
    if area is None:
        _hold_against_origin(points[known], crs, where=where)
    inside = inside_area(points, crs)
    share = float(inside[known].mean())
    if share < LEAST_SHARE_INSIDE:
        _refuse(
            f"only {share:.0%} of the points lie where {short(crs)} is used", points, crs,
            where=where, service=service,
        )  # fmt: skip
    if service is not None:
        outside = outside_service(points, crs, service)
        share = 1.0 - float(outside[known].mean())
        if share < LEAST_SHARE_INSIDE:
            away = float(np.median(Place(service).miles(*to_degrees(points[known], crs))))
            _refuse(
                f"only {share:.0%} of the points lie within {miles_text(SERVICE_MARGIN_MI)} of the "
                f"ground that is known", points, crs, where=where, service=service,
                also=f"as {short(crs)} they lie {miles_text(away)} away; ",
            )  # fmt: skip
    return known & ~inside


def _refuse(
    what: str,
    points: NDArray[np.float64],
    crs: pyproj.CRS,
    *,
    where: str,
    service: shapely.Geometry | None,
    also: str = "",
) -> None:
    """Refuse a label, with what would fit."""
    tried = hypotheses(points, crs, service=service)
    best = [h for h in tried if h.share >= LEAST_SHARE_INSIDE] or tried
    area = area_of_use(crs)
    raise CRSError(
        what,
        where=where,
        found=also
        + (
            "what would fit:" + _BREAK + _below([str(h) for h in best[:4]])
            if best
            else "no system tried puts them where they should be"
        ),
        accepted=f"{crs.name}: {area_text(area) if area else 'area of use not known'}",
        do=f"{best[0].do}; else ask whoever made the layer"
        if best
        else "find the right CRS and pass --crs CODE",
    )


def _hold_against_towns(points: NDArray[np.float64], crs: pyproj.CRS, *, where: str) -> None:
    """Refuse degrees of ground without towns that are degrees of towns with x and y exchanged."""

    def without(latitudes: NDArray[np.float64]) -> float:
        return float(((latitudes < _TOWNS_DEG[0]) | (latitudes > _TOWNS_DEG[1])).mean())

    beyond = without(points[:, 1])
    if beyond > 1 - LEAST_SHARE_INSIDE and without(points[:, 0]) <= 1 - LEAST_SHARE_INSIDE:
        x, y = points[0]
        raise CRSError(
            f"{beyond:.0%} of the points lie where there is no town",
            where=where,
            found=f"the first is at latitude {y:g}, longitude {x:g}; with x and y swapped it "
            f"would be at latitude {x:g}, longitude {y:g}",
            accepted=f"longitude and latitude, in that order, of {short(crs)}",
            do="if that is right, pass --swap-xy",
        )


def _hold_against_origin(points: NDArray[np.float64], crs: pyproj.CRS, *, where: str) -> None:
    """
    Hold points against the origin of a projection that no data set gives an area of use.

    A projection is made for the ground round its origin. An origin on the equator, as that of a
    transverse Mercator, says nothing of the latitude.
    """
    lon, lat = to_degrees(points, crs)
    lon_0, lats = _origin(crs)
    near = np.isfinite(lon) & np.isfinite(lat) & (np.abs(lat) <= 90)
    if lon_0 is not None:
        near &= np.abs((np.where(near, lon, 0.0) - lon_0 + 180) % 360 - 180) <= _FROM_ORIGIN_DEG
    if lats:
        reach = (min(lats) - _FROM_ORIGIN_DEG, max(lats) + _FROM_ORIGIN_DEG)
        near &= (lat >= reach[0]) & (lat <= reach[1])
    share = float(near.mean())
    if share < LEAST_SHARE_INSIDE:
        origin = f"longitude {lon_0:g}" if lon_0 is not None else "its origin"
        if lats:
            origin += f", latitude {min(lats):g}" + (f" to {max(lats):g}" if len(lats) > 1 else "")
        _refuse(
            f"only {share:.0%} of the points lie within {_FROM_ORIGIN_DEG:g} degrees of the origin "
            f"of `{crs.name}`", points, crs, where=where, service=None,
            also=f"its origin is at {origin}; ",
        )  # fmt: skip


def _origin(crs: pyproj.CRS) -> tuple[float | None, list[float]]:
    """Longitude of the origin, and the latitudes that the projection names apart from 0. [deg]"""
    operation = horizontal(crs).coordinate_operation
    if operation is None:
        return None, []
    lon_0, lats = None, []
    for parameter in operation.params:
        name = parameter.name.lower()
        degrees = float(np.degrees(float(parameter.value) * parameter.unit_conversion_factor))
        if name.startswith("longitude of") and any(word in name for word in _ORIGINS):
            lon_0 = degrees
        elif name.startswith("latitude of") and degrees != 0:
            lats.append(degrees)
    return lon_0, lats


def unproved_note(crs: pyproj.CRS) -> str | None:
    """
    Say of a CRS without an area of use that it could be held against its origin alone.

    Examples
    --------
    >>> import pyproj
    >>> unproved_note(pyproj.CRS(2249))
    >>> unproved_note(pyproj.CRS("+proj=tmerc +lat_0=44 +lon_0=-89.5 +x_0=9000 +datum=NAD83"))
    '`unknown` has no code and no area of use; the points were held against its origin alone'
    """
    if area_of_use(crs) is not None:
        return None
    return (
        f"`{crs.name}` has no code and no area of use; the points were held against its origin "
        "alone"
    )


def foot_note(points: NDArray[np.float64], crs: pyproj.CRS) -> str | None:
    """
    How far the points would lie away, read with the other foot; None for a CRS not in feet.

    The two feet differ by 2 parts in a million [1]_, and the false origin stands in metres: the
    ground moves by that share of the coordinates themselves.

    Parameters
    ----------
    points
        Shape (n, 2). [CRS]
    crs
        Their CRS.

    Examples
    --------
    >>> import pyproj
    >>> foot_note(np.array([[1_450_000.0, 540_000.0]]), pyproj.CRS(2264))
    'in US survey feet; read in international feet the points would lie 3.1 ft away'
    """
    axes = horizontal(crs).axis_info
    known = points[np.isfinite(points).all(axis=1)]
    if not crs.is_projected or not axes or not len(known):
        return None
    unit = axes[0].unit_conversion_factor
    survey, foot = float(METRES[LengthUnit.FT_US]), float(METRES[LengthUnit.FT])
    if abs(unit - survey) < 1e-9:
        ours, other, ratio = "US survey", "international", foot / survey
    elif abs(unit - foot) < 1e-9:
        ours, other, ratio = "international", "US survey", survey / foot
    else:
        return None
    x, y = np.median(known, axis=0)
    plane = plane_ft(known, horizontal(crs))
    here, there = plane.transform(x, y), plane.transform(x * ratio, y * ratio)
    away = float(np.hypot(there[0] - here[0], there[1] - here[1]))
    return f"in {ours} feet; read in {other} feet the points would lie {away:.1f} ft away"


def swapped(
    points: NDArray[np.float64], crs: pyproj.CRS, *, service: shapely.Geometry | None = None
) -> NDArray[np.bool_]:
    """
    Points that lie far off, and with x and y exchanged would lie among the rest, shape (n,).

    Parameters
    ----------
    points
        Shape (n, 2). [CRS]
    crs
        Their CRS.
    service
        The ground that the points should lie near, where it is known. [deg]

    Examples
    --------
    >>> import pyproj
    >>> points = np.column_stack((np.linspace(-71.2, -71.0, 30), np.linspace(42.3, 42.5, 30)))
    >>> points[4] = points[4, ::-1]
    >>> np.flatnonzero(swapped(points, pyproj.CRS(4326))).tolist()
    [4]
    """
    known = np.isfinite(points).all(axis=1)
    astray = known & (~inside_area(points, crs) | far_off(points, crs))
    if service is not None:
        astray |= outside_service(points, crs, service)
    if not astray.any():
        return astray
    turned = points[astray, ::-1]
    result = np.zeros(len(points), dtype=bool)
    if service is not None:
        result[astray] = ~outside_service(turned, crs, service) & inside_area(turned, crs)
        return result
    rest = points[known & ~astray]
    if len(rest) < 3:
        return result
    plane = plane_ft(rest, crs)
    x, y = plane.transform(rest[:, 0], rest[:, 1])
    middle = (np.median(x), np.median(y))
    reach = np.quantile(np.hypot(x - middle[0], y - middle[1]), 0.95)
    away = np.hypot(*(np.array(plane.transform(*turned.T)).T - middle).T)
    result[astray] = inside_area(turned, crs) & (away <= FAR * max(float(reach), 1.0))
    return result
