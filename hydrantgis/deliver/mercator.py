"""
Places on the web map: whole steps of the web-mercator square, and the order in which they travel.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

from hydrantgis.deliver.looks import places_of
from hydrantgis.ground.errors import CRSError

if TYPE_CHECKING:
    from numpy.typing import NDArray

WORLD = 2**30
"""Width of the web-mercator square in steps; a step is 3.7 cm at the equator."""
MOST_LATITUDE = 85.0511
_HALF_M = np.pi * 6378137.0
_LEVELS = 16


def geographic(frame: gpd.GeoDataFrame, what: str, *, beyond: bool = False) -> gpd.GeoSeries:
    """
    The geometry in longitude and latitude.

    Parameters
    ----------
    frame
        In any CRS.
    what
        Of what, for the message.
    beyond
        Whether longitudes go on beyond 180 degrees, so that what lies on both sides of that
        meridian lies together.

    Raises
    ------
    CRSError
        It has no coordinate reference system.
    """
    if frame.crs is None:
        raise CRSError(
            f"the {what} have no coordinate reference system",
            do="name it when the layer is imported; none is guessed",
        )
    shapes = frame.geometry.to_crs(4326)
    if not beyond:
        return shapes
    turned = shapely.transform(shapely.force_2d(shapes.to_numpy()), _east_of_greenwich)
    return gpd.GeoSeries(turned, index=shapes.index, crs=4326)


def _east_of_greenwich(places: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.column_stack(
        [np.where(places[:, 0] < 0, places[:, 0] + 360, places[:, 0]), places[:, 1]]
    )


def beyond_180(geometry: gpd.GeoSeries) -> bool:
    """
    Whether places lie on both sides of the meridian of 180 degrees, nearer so than round Greenwich.

    Examples
    --------
    >>> beyond_180(gpd.GeoSeries(gpd.points_from_xy([179.9, -179.9], [-16.8, -16.8]), crs=4326))
    True
    """
    lon, _ = places_of(geometry)
    lon = lon[np.isfinite(lon)]
    if not len(lon):
        return False
    east = np.where(lon < 0, lon + 360, lon)
    return bool(np.ptp(lon) > 180 and np.ptp(east) < np.ptp(lon))


def steps(
    lon: NDArray[np.float64], lat: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Longitude and latitude as whole steps, y down.

    Examples
    --------
    >>> x, y = steps(np.array([0.0]), np.array([0.0]))
    >>> float(x[0]) == float(y[0]) == WORLD / 2
    True
    """
    x = (lon + 180) / 360
    sine = np.sin(np.radians(lat))
    y = 0.5 - np.log((1 + sine) / (1 - sine)) / (4 * np.pi)
    return np.round(x * WORLD), np.round(y * WORLD)


def located(geometry: gpd.GeoSeries) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Steps of each point; not a number where it has no place on the map.

    Parameters
    ----------
    geometry
        In longitude and latitude.
    """
    lon, lat = places_of(geometry)
    good = np.abs(lat) <= MOST_LATITUDE
    x, y = steps(np.where(good, lon, 0.0), np.where(good, lat, 0.0))
    return np.where(good, x, np.nan), np.where(good, y, np.nan)


def ground_m(lat: float) -> float:
    """
    Metres of the ground that a step has at a latitude.

    Examples
    --------
    >>> round(ground_m(0.0), 4)
    0.0373
    """
    return float(2 * _HALF_M / WORLD * np.cos(np.radians(lat)))


def neighbors_order(x: NDArray[np.int64], y: NDArray[np.int64]) -> NDArray[np.int64]:
    """
    An order in which places that follow each other lie near each other: along a Hilbert curve.

    Parameters
    ----------
    x, y
        Steps. Shape (n,)

    Returns
    -------
    order
        Places of the rows; equal ones stay as they were.

    Examples
    --------
    >>> neighbors_order(np.array([0, 9, 1]), np.array([0, 9, 1])).tolist()
    [0, 2, 1]
    """
    if len(x) == 0:
        return np.zeros(0, dtype=np.int64)
    side = max(int(np.ptp(x)), int(np.ptp(y)), 1)
    cells = 2**_LEVELS - 1
    a = ((x - x.min()) * cells // side).astype(np.int64)
    b = ((y - y.min()) * cells // side).astype(np.int64)
    along = np.zeros(len(x), dtype=np.int64)
    for level in range(_LEVELS - 1, -1, -1):
        right, lower = (a >> level) & 1, (b >> level) & 1
        along = (along << 2) | ((3 * right) ^ lower)
        # the curve of a quarter is turned, so that it ends where the next one begins
        turned = lower == 0
        flipped = turned & (right == 1)
        last = (1 << level) - 1
        a, b = np.where(flipped, a ^ last, a), np.where(flipped, b ^ last, b)
        a, b = np.where(turned, b, a), np.where(turned, a, b)
    return np.argsort(along, kind="stable")
