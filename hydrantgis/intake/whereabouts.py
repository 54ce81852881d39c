"""
A place on the ground, and how far points lie from it, in true miles.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
import shapely

from hydrantgis.ground.plane import plane_ft

if TYPE_CHECKING:
    from collections.abc import Callable

    import geopandas as gpd
    from numpy.typing import NDArray

FT_PER_MILE = 5280.0
_CELL_FT = 2640.0
_ROUND_A_POINT_FT = 5280.0
_WGS84 = pyproj.CRS(4326)
_PLANE_REACH_DEG = 40.0


class Place:
    """
    A point, box or area in longitude and latitude, laid on a plane that measures true.

    Parameters
    ----------
    where
        A shape, or `(lon, lat)`, or `(west, south, east, north)`. [deg]

    Examples
    --------
    >>> here = Place((-71.1, 42.4))
    >>> here.miles(np.array([-71.1, -71.1]), np.array([42.4, 43.4])).round().tolist()
    [0.0, 69.0]
    """

    def __init__(self, where: shapely.Geometry | tuple[float, ...]) -> None:
        shape = _shape(where)
        self.bounds: tuple[float, float, float, float] = tuple(  # type: ignore[assignment]
            float(end) for end in shapely.bounds(shape)
        )
        # long straight edges in degrees are bent on the plane
        fine = shapely.segmentize(shape, 0.25)
        self.middle = (
            (self.bounds[0] + self.bounds[2]) / 2,
            (self.bounds[1] + self.bounds[3]) / 2,
        )
        self._plane = plane_ft(np.array([self.middle]), _WGS84)
        self._shape = shapely.transform(fine, _pairs(self._plane.transform))
        shapely.prepare(self._shape)

    def miles(self, lon: NDArray[np.float64], lat: NDArray[np.float64]) -> NDArray[np.float64]:
        """How far away places lie, 0 inside, infinite where they are nowhere, shape (n,). [mi]"""
        result = np.full(len(lon), np.inf)
        on_earth = np.isfinite(lon) & np.isfinite(lat) & (np.abs(lat) <= 90) & (np.abs(lon) <= 360)
        off = np.abs((np.where(on_earth, lon, 0.0) - self.middle[0] + 180) % 360 - 180)
        near = on_earth & (off <= _PLANE_REACH_DEG) & (np.abs(lat - self.middle[1]) <= 60)
        if near.any():
            x, y = self._plane.transform(lon[near], lat[near])
            # nearly all lie inside, and to tell that is far faster than to measure
            away = np.where(shapely.contains_xy(self._shape, x, y), 0.0, np.nan)
            out = np.isnan(away)
            away[out] = shapely.distance(self._shape, shapely.points(x[out], y[out]))
            result[near] = away / FT_PER_MILE
        far = on_earth & ~near
        if far.any():
            n = int(far.sum())
            _, _, metres = pyproj.Geod(ellps="WGS84").inv(
                np.full(n, self.middle[0]), np.full(n, self.middle[1]), lon[far], lat[far]
            )
            result[far] = np.asarray(metres) / 0.3048 / FT_PER_MILE
        return result


def _shape(where: shapely.Geometry | tuple[float, ...]) -> shapely.Geometry:
    if isinstance(where, shapely.Geometry):
        return where
    if len(where) == 2:
        return shapely.Point(*where)
    west, south, east, north = where
    return shapely.box(west, south, east + 360 if east < west else east, north)


_ROUND_A_TOWN_DEG = 0.5


def round_a_town(near: tuple[float, float] | None) -> shapely.Geometry | None:
    """
    The ground round a latitude and longitude that somebody names for the place of a utility.

    Examples
    --------
    >>> round_a_town((42.0, -71.0)).bounds
    (-71.5, 41.5, -70.5, 42.5)
    """
    if near is None:
        return None
    lat, lon = near
    reach = _ROUND_A_TOWN_DEG
    return shapely.box(lon - reach, lat - reach, lon + reach, lat + reach)


def miles_text(miles: float) -> str:
    """
    A distance as people say it.

    Examples
    --------
    >>> miles_text(3.14), miles_text(1234.5), miles_text(0.0), miles_text(float("inf"))
    ('3.1 mi', '1,234 mi', '0 mi', 'no place on earth')
    """
    if not np.isfinite(miles):
        return "no place on earth"
    if miles >= 10:
        return f"{miles:,.0f} mi"
    return f"{miles:.1f} mi" if miles >= 0.05 else "0 mi"


FAR = 5.0
"""Points this many times farther from the middle than 95 % of all are told."""


def far_off(points: NDArray[np.float64], crs: pyproj.CRS | None = None) -> NDArray[np.bool_]:
    """
    Points far from where nearly all the others are, shape (n,).

    Parameters
    ----------
    points
        Shape (n, 2), missing ones never far. [CRS]
    crs
        Their CRS: distances are then true ones; without it they are those of the numbers.

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
    if crs is not None:
        points = np.column_stack(plane_ft(points, crs).transform(points[:, 0], points[:, 1]))
    placed = known & np.isfinite(points).all(axis=1)
    if not placed.any():
        return np.zeros(len(points), dtype=bool)
    # what has no place on the plane is as far as can be
    away = np.full(len(points), np.inf)
    away[placed] = np.hypot(*(points[placed] - np.median(points[placed], axis=0)).T)
    far: NDArray[np.bool_] = known & (away > FAR * np.quantile(away[known], 0.95))
    return far


def service_area(shapes: gpd.GeoSeries) -> shapely.Geometry | None:
    """
    The ground that hydrants stand on or areas cover, as one shape in degrees.

    Points stand for the mile round them; areas for themselves. Distances are true, whatever the CRS
    of the shapes.

    Parameters
    ----------
    shapes
        Points or areas; missing ones are left out. [their CRS]

    Returns
    -------
    area
        Longitude and latitude on WGS 84; None where there is no shape.

    Examples
    --------
    >>> import geopandas as gpd
    >>> area = service_area(gpd.GeoSeries([shapely.Point(760_000, 2_950_000)], crs=2249))
    >>> [round(end, 2) for end in area.bounds]
    [-71.13, 42.32, -71.1, 42.35]
    """
    whole = np.asarray(shapes.array, dtype=object)
    whole = whole[~(shapely.is_missing(whole) | shapely.is_empty(whole))]
    if not len(whole) or shapes.crs is None:
        return None
    centers = shapely.centroid(whole)
    middle = np.column_stack((shapely.get_x(centers), shapely.get_y(centers)))
    to_plane = plane_ft(middle, shapes.crs)
    flat = shapely.get_dimensions(whole) < 2
    parts = [shapely.transform(whole[~flat], _pairs(to_plane.transform))]
    if flat.any():
        x, y = to_plane.transform(middle[flat, 0], middle[flat, 1])
        xy = np.column_stack((x, y))
        # a cell stands for all the points in it: a million hydrants are some thousand cells
        cells = np.unique(np.round(xy[np.isfinite(xy).all(axis=1)] / _CELL_FT), axis=0) * _CELL_FT
        parts.append(shapely.buffer(shapely.points(cells), _ROUND_A_POINT_FT, quad_segs=4))
    covered = shapely.union_all(np.concatenate(parts))
    back = pyproj.Transformer.from_crs(shapes.crs, 4326, always_xy=True)

    def degrees(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[Any, Any]:
        lon, lat = back.transform(*to_plane.transform(x, y, direction="INVERSE"))
        return lon, lat

    return shapely.transform(covered, _pairs(degrees))


def _pairs(
    two: Callable[..., tuple[Any, Any]],
) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
    """A function of x and y as one of pairs."""
    return lambda xy: np.column_stack(two(xy[:, 0], xy[:, 1]))
