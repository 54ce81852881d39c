"""
A plane to measure distances on, in feet, whatever the coordinate reference system.

Degrees are no lengths, and a web-map projection stretches them; neither is ever measured on.

References
----------
.. [1] Snyder, J. P., Map Projections - A Working Manual, USGS PP 1395 (1987), p. 41: the Mercator
   scale grows with the secant of the latitude (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyproj
import shapely

from hydrantgis.ground.units import METRES, LengthUnit

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

SAME_PLACE_FT = 3.0
"""Two hydrants nearer than this are one, until told otherwise: common practice, no source. [ft]"""
_TRUE_NEARBY = (
    "transverse mercator", "lambert conic conformal", "oblique mercator", "stereographic", "krovak",
)  # fmt: skip
"""Methods of the systems that surveys are kept in; all keep lengths near their lines."""


def xy(points: gpd.GeoSeries) -> NDArray[np.float64]:
    """
    Coordinates of points, missing where there is no point, shape (n, 2). [CRS]

    Examples
    --------
    >>> import geopandas as gpd
    >>> xy(gpd.GeoSeries([shapely.Point(1, 2), None])).tolist()
    [[1.0, 2.0], [nan, nan]]
    """
    shapes = np.asarray(points.array, dtype=object)
    both = (shapely.get_x(shapes), shapely.get_y(shapes))
    return np.column_stack(both).astype(np.float64, copy=False)


_POINT = np.dtype([("order", "u1"), ("kind", "<u4"), ("x", "<f8"), ("y", "<f8")])
"""A point as well-known binary, little endian: 21 bytes."""


def xy_of_wkb(wkb: pa.ChunkedArray) -> NDArray[np.float64]:
    """
    Coordinates of points, straight from their bytes where all are plain points, shape (n, 2). [CRS]

    Making a million shapes only to ask them where they are takes ten times as long.

    Examples
    --------
    >>> points = [shapely.Point(1, 2), None, shapely.Point(3, 4)]
    >>> xy_of_wkb(pa.chunked_array([pa.array(shapely.to_wkb(points), pa.binary())])).tolist()
    [[1.0, 2.0], [nan, nan], [3.0, 4.0]]
    """
    column = wkb.combine_chunks()
    buffers = column.buffers()
    if len(column) and column.null_count == 0 and column.type == pa.binary():
        starts = np.frombuffer(buffers[1], np.int32)[column.offset :][: len(column) + 1]
        if (np.diff(starts) == _POINT.itemsize).all():
            points = np.frombuffer(buffers[2], _POINT, len(column), int(starts[0]))
            if ((points["order"] == 1) & (points["kind"] == 1)).all():
                return np.column_stack((points["x"], points["y"]))
    shapes = shapely.from_wkb(column.to_numpy(zero_copy_only=False))
    return np.column_stack((shapely.get_x(shapes), shapely.get_y(shapes)))


def measures_true(crs: pyproj.CRS) -> bool:
    """
    Whether distances may be measured in this CRS as it is.

    Examples
    --------
    >>> [measures_true(pyproj.CRS(code)) for code in (2249, 32617, 3857, 4087, 4326)]
    [True, True, False, False, False]
    """
    if not crs.is_projected or crs.coordinate_operation is None:
        return False
    method = crs.coordinate_operation.method_name.lower()
    return any(name in method for name in _TRUE_NEARBY)


def plane_ft(points: NDArray[np.float64], crs: pyproj.CRS) -> pyproj.Transformer:
    """
    A transformer from the CRS to a plane in which distances near the points are true. [ft]

    Parameters
    ----------
    points
        The plane is laid through the middle of these, shape (n, 2). [CRS]
    crs
        Their CRS.

    Returns
    -------
    transformer
        To international feet: the CRS itself in feet where it measures true, else a transverse
        Mercator through the middle of the points.

    Examples
    --------
    >>> t = plane_ft(np.array([[-71.1, 42.37]]), pyproj.CRS(4326))
    >>> bool(abs(t.transform(-71.1, 42.37)[0]) < 1e-6)
    True
    """
    to_ft = float(1 / METRES[LengthUnit.FT])
    if measures_true(crs):
        scale = crs.axis_info[0].unit_conversion_factor * to_ft
        return pyproj.Transformer.from_pipeline(f"+proj=affine +s11={scale!r} +s22={scale!r}")
    geographic = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    known = np.isfinite(points).all(axis=1)
    lon, lat = geographic.transform(points[known, 0], points[known, 1])
    lon0 = float(np.median(lon)) if known.any() else 0.0
    lat0 = float(np.median(lat)) if known.any() else 0.0
    local = pyproj.CRS.from_proj4(
        f"+proj=tmerc +lat_0={lat0!r} +lon_0={lon0!r} +k=1 +datum=WGS84 +units=ft"
    )
    return pyproj.Transformer.from_crs(crs, local, always_xy=True)


def on_plane_ft(points: NDArray[np.float64], crs: pyproj.CRS) -> NDArray[np.float64]:
    """
    Points on the plane of `plane_ft`, shape (n, 2). [ft]

    Parameters
    ----------
    points
        Shape (n, 2), missing ones stay missing. [CRS]
    crs
        Their CRS.

    Examples
    --------
    >>> on_plane_ft(np.array([[100.0, 0.0]]), pyproj.CRS(32617)).round(2).tolist()
    [[328.08, 0.0]]
    """
    to_plane = plane_ft(points, crs)
    return np.column_stack(to_plane.transform(points[:, 0], points[:, 1]))
