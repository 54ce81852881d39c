"""
By how much works change the grade: an overlay of 2 in, a fill of 8 in, a road dug down.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np
import pandas as pd
import shapely

from hydrantgis.ground.errors import CRSError, SourceError, WordsError, some
from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.ground.text import fill, numbers

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import ArrayLike, NDArray

Overlap = Literal["sum", "largest", "none"]


@dataclass(frozen=True, slots=True)
class GradeChange:
    """
    What works change at n points.

    Attributes
    ----------
    change_in
        0 where no work is, missing where one of unknown change is, or the point; shape (n,). [in]
    works
        How many works the change rests on; shape (n,).
    at_edge
        Whether the point lies on the line of a work and inside none; shape (n,).
    point, work
        Pairs of positions: that point and that work meet, and the work counts there.
    """

    change_in: NDArray[np.float64]
    works: NDArray[np.intp]
    at_edge: NDArray[np.bool_]
    point: NDArray[np.intp]
    work: NDArray[np.intp]

    def total(self, of_work: NDArray[np.float64]) -> NDArray[np.float64]:
        """
        A value of each work, added up where several count, shape (n,); of the largest at an edge.

        Parameters
        ----------
        of_work
            Shape (m,).
        """
        n = len(self.change_in)
        total = np.bincount(self.point, weights=of_work[self.work], minlength=n)
        return np.where(self.at_edge, _farthest(self.point, of_work[self.work], n), total)


def change_at(
    points: NDArray[np.object_],
    works: NDArray[np.object_],
    change_in: ArrayLike,
    *,
    overlap: Overlap = "sum",
) -> GradeChange:
    """
    By how much works change the grade at points.

    Parameters
    ----------
    points
        Shapely points or None, shape (n,).
    works
        Shapely polygons on the same plane, shape (m,).
    change_in
        By how much each raises the ground, shape (m,). [in]
    overlap
        What holds inside several works: `sum`, `largest` (farthest from 0), or `none` (missing).

    Notes
    -----
    Works raise the ground one after the other: a fill of 8 in under an overlay of 2 in makes 10 in.
    So changes add up unless told otherwise. `largest` suits works that were drawn twice.

    A point on the line between two works lies inside neither. It takes the largest change of the
    works that meet there, and never their sum: two strips of one overlay raise it once.

    Examples
    --------
    >>> strips = np.array([shapely.box(0, 0, 10, 10), shapely.box(5, 0, 15, 10)])
    >>> change_at(shapely.points([[2, 5], [7, 5], [99, 5]]), strips, [8, 2]).change_in.tolist()
    [8.0, 10.0, 0.0]
    """
    if overlap not in get_args(Overlap):
        raise WordsError(
            f"`{overlap}` is no rule for works over each other",
            accepted=", ".join(get_args(Overlap)),
        )
    change = np.asarray(change_in, dtype=np.float64)
    n = len(points)
    point, work = shapely.STRtree(works).query(points, predicate="intersects")
    edge = np.asarray(shapely.touches(points[point], works[work]), dtype=bool)
    inner = np.bincount(point[~edge], minlength=n)
    at_edge = (np.bincount(point[edge], minlength=n) > 0) & (inner == 0)
    counts = ~edge | at_edge[point]
    point, work = point[counts], work[counts]
    number = np.bincount(point, minlength=n)
    total = np.bincount(point, weights=change[work], minlength=n)
    far = _farthest(point, change[work], n)
    result = np.where(at_edge | (overlap == "largest"), far, total)
    if overlap == "none":
        result[(number > 1) & ~at_edge] = np.nan
    result[shapely.is_missing(points) | shapely.is_empty(points)] = np.nan
    return GradeChange(result, number, at_edge, point, work)


def _farthest(group: NDArray[np.intp], values: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    """The value farthest from 0 of each group, the greater of two alike; 0 for none."""
    # of several values for one place the last stays; a missing one sorts behind all
    order = np.lexsort((values, np.abs(values), group))
    result = np.zeros(n)
    result[group[order]] = values[order]
    return result


def grade_change_in(
    hydrants: gpd.GeoDataFrame,
    works: gpd.GeoDataFrame,
    *,
    change_column: str = "change_in",
    overlap: Overlap = "sum",
) -> tuple[pd.Series, pd.DataFrame]:
    """
    By how much works change the grade at each hydrant.

    Parameters
    ----------
    hydrants
        The table of that name.
    works
        Polygons with a change of grade, in the same CRS.
    change_column
        The column that holds it; below 0 where the ground is lowered. [in]
    overlap
        As `change_at`.

    Returns
    -------
    change_in
        Index of `hydrants`; as `GradeChange.change_in`. [in]
    findings
        Hydrants in several works, on the line of one, in one of unknown change, or nowhere.

    Raises
    ------
    CRSError
        The two are not in one CRS.
    SourceError
        A work has no area, or crosses itself.

    Examples
    --------
    >>> import geopandas as gpd
    >>> at = gpd.GeoSeries([shapely.Point(1, 1)], crs=2249)
    >>> hydrants = gpd.GeoDataFrame({"hydrant_id": ["H1"]}, geometry=at)
    >>> works = gpd.GeoDataFrame({"change_in": [8.0]}, geometry=at.buffer(9))
    >>> grade_change_in(hydrants, works)[0].tolist()
    [8.0]
    """
    if hydrants.crs is None or works.crs is None or hydrants.crs != works.crs:
        raise CRSError(
            "hydrants and works are not in one CRS",
            found=" and ".join("none" if g.crs is None else g.crs.name for g in (hydrants, works)),
            do="transform the works to the CRS of the hydrants",
        )
    shapes = np.asarray(works.geometry.array, dtype=object)
    # an empty shape would cover nobody without a word
    usable = shapely.is_valid(shapes) & (shapely.area(shapes) > 0)
    if not usable.all():
        raise SourceError(
            "works without a usable area", found=f"rows {some(works.index[~usable].tolist())}",
            accepted="polygons that do not cross themselves", do="mend their shapes",
        )  # fmt: skip
    change = works[change_column].to_numpy(dtype=np.float64, na_value=np.nan)
    points = np.asarray(hydrants.geometry.array, dtype=object)
    told = change_at(points, shapes, change, overlap=overlap)
    ids, missing = hydrants["hydrant_id"], np.isnan(told.change_in)
    nowhere = shapely.is_missing(points) | shapely.is_empty(points)
    several = (told.works > 1) & ~told.at_edge
    unknown = missing & (told.works > 0) & ~(several & (overlap == "none"))
    rule = {
        "sum": "their changes were added up",
        "largest": "the largest change was taken",
        "none": "no change was taken",
    }[overlap]
    return pd.Series(told.change_in, index=hydrants.index, name="change_in"), join_findings(
        findings("no-location", table="hydrants", keys=ids[nowhere], column="change_in"),
        findings(
            "work-change-unknown", table="hydrants", keys=ids[unknown], column="change_in",
        ),
        findings(
            "works-overlap", table="hydrants", keys=ids[several], column="change_in",
            values=numbers(told.change_in[several]),
            messages=fill("inside {k} works; " + rule, k=told.works[several]),
        ),
        findings(
            "work-edge", table="hydrants", keys=ids[told.at_edge], column="change_in",
            values=numbers(told.change_in[told.at_edge]),
        ),
    )  # fmt: skip
