"""
Elevation and slope of a triangulated surface at points, such as the grade that a design makes.

References
----------
.. [1] Ericson, C., Real-Time Collision Detection (2005), 3.4: barycentric coordinates from signed
   areas (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hydrantgis.ground.errors import WordsError, some
from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.ground.text import fill, numbers

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike, NDArray

LEAST_WIDTH = 1e-6
"""A triangle narrower than this in plan is a line: files hold no more digits. [unit of the plan]"""
_ON_EDGE = 1e-9
"""A point outside a triangle by less than this share of its width lies on its edge."""
_LEVEL = 1e-9
"""Elevations nearer than this, as a share of a triangle's relief, are those of a shared edge."""
_BLOCK = 250_000
"""So many points are looked up together, which bounds the memory that a big surface takes."""


@dataclass(frozen=True, slots=True)
class SurfaceReading:
    """
    A surface at n points.

    Attributes
    ----------
    elev
        Missing outside the surface; shape (n,). [unit of the vertices]
    slope
        Rise over run; missing outside; shape (n,).
    triangles
        How many triangles cover the point, those that meet in it included; shape (n,).
    spread
        Highest less lowest elevation of those triangles: more than nothing where the surface lies
        over itself; missing outside; shape (n,). [unit of the vertices]
    """

    elev: NDArray[np.float64]
    slope: NDArray[np.float64]
    triangles: NDArray[np.intp]
    spread: NDArray[np.float64]


def surface_at(points: ArrayLike, vertices: ArrayLike, faces: ArrayLike) -> SurfaceReading:
    """
    Elevation and slope of a triangulated surface at points.

    Parameters
    ----------
    points
        Shape (n, 2), on the plane of the vertices; missing ones have no elevation.
    vertices
        East, north and elevation, all in one unit, else the slope is none; shape (m, 3).
    faces
        Three vertices each, by place from 0; shape (k, 3).

    Returns
    -------
    reading
        In the order of the points.

    Raises
    ------
    WordsError
        A face names a vertex that there is not.

    Notes
    -----
    Upright triangles, such as the face of a curb or wall, and those that are a line or a point in
    plan have no elevation at a place and are left out. The edge of a triangle belongs to it.

    Where triangles lie over each other the highest governs: it is the ground that one stands on.
    `spread` tells how far the lowest lies below. Where several share the highest elevation, as at
    an edge, the slope is that of the steepest, with which a doubt about the place weighs most.

    Examples
    --------
    A ramp that rises 1 in 10 to the east:

    >>> corners = [[0, 0, 100], [10, 0, 101], [10, 10, 101], [0, 10, 100]]
    >>> reading = surface_at([[4, 5], [11, 5]], corners, [[0, 1, 2], [0, 2, 3]])
    >>> reading.elev.round(6).tolist(), reading.slope.round(6).tolist()
    ([100.4, nan], [0.1, nan])
    """
    places = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    solid = _Triangles.of(vertices, faces)
    n = len(places)
    elev, slope = np.full(n, -np.inf), np.full(n, -np.inf)
    low, count = np.full(n, np.inf), np.zeros(n, dtype=np.intp)
    tree = shapely.STRtree(solid.boxes())
    for start in range(0, n if solid.size else 0, _BLOCK):
        part = slice(start, start + _BLOCK)
        asked = places[part]
        point, face = tree.query(shapely.points(asked))
        inside, z = solid.elevations(asked[point], face)
        point, face, z = point[inside], face[inside], z[inside]
        count[part] = np.bincount(point, minlength=len(asked))
        np.maximum.at(elev[part], point, z)
        np.minimum.at(low[part], point, z)
        governs = elev[part][point] - z <= solid.level[face]
        np.maximum.at(slope[part], point[governs], solid.slope[face[governs]])
    covered = count > 0
    return SurfaceReading(
        elev=np.where(covered, elev, np.nan),
        slope=np.where(covered, slope, np.nan),
        triangles=count,
        spread=np.subtract(elev, low, out=np.full(n, np.nan), where=covered),
    )


@dataclass(frozen=True, slots=True)
class _Triangles:
    """
    The triangles that have an area in plan.

    One corner of each, its two sides from there, and what follows from them for all points.
    """

    corner: NDArray[np.float64]
    one: NDArray[np.float64]
    two: NDArray[np.float64]
    area2: NDArray[np.float64]
    slope: NDArray[np.float64]
    level: NDArray[np.float64]

    @classmethod
    def of(cls, vertices: ArrayLike, faces: ArrayLike) -> _Triangles:
        xyz = np.asarray(vertices, dtype=np.float64).reshape(-1, 3)
        corners = np.asarray(faces, dtype=np.intp).reshape(-1, 3)
        strange = (corners < 0) | (corners >= len(xyz))
        if strange.any():
            raise WordsError(
                "a triangle names a vertex that there is not",
                found=some(np.unique(corners[strange]).tolist()),
                accepted=f"0 to {len(xyz) - 1}" if len(xyz) else "there are no vertices",
            )
        known = np.asarray(np.isfinite(xyz).all(axis=1))
        corners = corners[known[corners].all(axis=1)]
        a = xyz[corners[:, 0]]
        one, two = xyz[corners[:, 1]] - a, xyz[corners[:, 2]] - a
        area2 = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
        longest = np.max([np.hypot(*s[:, :2].T) for s in (one, two, two - one)], axis=0)
        wide = np.abs(area2) > LEAST_WIDTH * longest
        a, one, two, area2 = a[wide], one[wide], two[wide], area2[wide]
        rise_x = (one[:, 2] * two[:, 1] - two[:, 2] * one[:, 1]) / area2
        rise_y = (two[:, 2] * one[:, 0] - one[:, 2] * two[:, 0]) / area2
        relief = np.abs(one[:, 2]) + np.abs(two[:, 2])
        level = _LEVEL * relief + 8 * np.spacing(np.abs(a[:, 2]) + relief)
        return cls(a, one, two, area2, np.hypot(rise_x, rise_y), level)

    @property
    def size(self) -> int:
        return len(self.area2)

    def boxes(self) -> NDArray[np.object_]:
        """The box of each in plan: only what may cover a point is looked at closely."""
        x, y = ([np.zeros(self.size), self.one[:, d], self.two[:, d]] for d in (0, 1))
        east, north = self.corner[:, 0], self.corner[:, 1]
        return np.asarray(
            shapely.box(
                east + np.min(x, axis=0), north + np.min(y, axis=0),
                east + np.max(x, axis=0), north + np.max(y, axis=0),
            ),
            dtype=object,
        )  # fmt: skip

    def elevations(
        self, points: NDArray[np.float64], face: NDArray[np.intp]
    ) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
        """Which points lie in the triangle beside them, and its elevation there, each (n,)."""
        from_corner = points - self.corner[face, :2]
        one, two, area2 = self.one[face], self.two[face], self.area2[face]
        # shares of the two other corners [1]_; what they leave is that of the first
        u = (from_corner[:, 0] * two[:, 1] - from_corner[:, 1] * two[:, 0]) / area2
        v = (one[:, 0] * from_corner[:, 1] - one[:, 1] * from_corner[:, 0]) / area2
        inside = (u >= -_ON_EDGE) & (v >= -_ON_EDGE) & (u + v <= 1 + _ON_EDGE)
        return inside, self.corner[face, 2] + u * one[:, 2] + v * two[:, 2]


def surface_findings(
    reading: SurfaceReading, keys: pd.Series, *, apart: float, table: str = "hydrants"
) -> pd.DataFrame:
    """
    Who stands outside a surface, and where it lies over itself.

    Parameters
    ----------
    reading
        As `surface_at` gave it.
    keys
        The id of each point, in its order.
    apart
        Triangles over each other by no more than this are not told. [unit of the vertices]
    table
        The table that the points stand in.

    Examples
    --------
    >>> import pandas as pd
    >>> reading = surface_at([[9, 9]], [[0, 0, 1], [1, 0, 1], [0, 1, 1]], [[0, 1, 2]])
    >>> surface_findings(reading, pd.Series(["H1"]), apart=0.01)["code"].tolist()
    ['outside-surface']
    """
    outside = reading.triangles == 0
    double = np.greater(reading.spread, apart, where=~outside, out=np.zeros_like(outside))
    return join_findings(
        findings("outside-surface", table=table, keys=keys[outside]),
        findings(
            "surface-over-itself", table=table, keys=keys[double],
            values=numbers(reading.spread[double], 3),
            messages=fill(
                "{k} triangles cover it, up to {s} apart in height; the highest was taken",
                k=reading.triangles[double], s=numbers(reading.spread[double], 3),
            ),
        ),
    )  # fmt: skip
