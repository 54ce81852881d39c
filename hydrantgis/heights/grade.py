"""
Grade at the barrel from surveyed ground points.

Where three or more shots are well spread round the hydrant a plane is fitted and read at the
barrel; otherwise their mean stands. A shot far off its neighbors is left out and named.

All hydrants are done at once: pairs come from a k-d tree, sums per hydrant from `bincount`, and
the 3 x 3 normal equations are solved in closed form.

References
----------
.. [1] Huber, P. J. and Ronchetti, E. M., Robust Statistics, 2nd ed. (2009), 5.1: the median and
   the median absolute deviation, 1.4826 of which estimates a standard deviation (from memory).
.. [2] Weisberg, S., Applied Linear Regression, 4th ed. (2014), A.4: variance of a fitted value
   (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

OUTLIER_FLOOR_FT = 1.0
"""Shots nearer than this to the median of their neighbors are never outliers. [ft]"""
OUTLIER_DEVIATIONS = 5.0
"""How many robust standard deviations off the median make an outlier."""
_LEVERAGE_MOST = 1.0
"""Beyond this leverage the barrel lies outside the spread of the shots: the mean is safer."""


@dataclass(frozen=True, slots=True)
class GradeFit:
    """
    Grade at n hydrants.

    Attributes
    ----------
    elev_ft, sd_ft
        Grade and its standard uncertainty, missing where there is no shot; shape (n,). [ft]
    slope
        Rise over run of the fitted plane; missing where none was fitted; shape (n,).
    shots
        How many shots it rests on; shape (n,).
    fit
        `plane`, `mean`, `single` or `none`; shape (n,).
    outlier_hydrant, outlier_shot
        Pairs of positions: at that hydrant this shot was left out.
    """

    elev_ft: NDArray[np.float64]
    sd_ft: NDArray[np.float64]
    slope: NDArray[np.float64]
    shots: NDArray[np.intp]
    fit: NDArray[np.object_]
    outlier_hydrant: NDArray[np.intp]
    outlier_shot: NDArray[np.intp]


def _pairs(
    hydrants: NDArray[np.float64], shots: NDArray[np.float64], radius: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """
    Every hydrant with every shot within the radius, by hydrant, then by shot.

    A tree answers for the nearest k at once; k grows until no hydrant has its last place taken.
    """
    usable = np.flatnonzero(np.isfinite(shots).all(axis=1))
    asking = np.flatnonzero(np.isfinite(hydrants).all(axis=1))
    if not len(usable) or not len(asking):
        return np.empty(0, np.intp), np.empty(0, np.intp)
    tree = cKDTree(shots[usable], balanced_tree=False, compact_nodes=False)
    k = 8
    while True:
        # the bound is exclusive, the radius is not
        _, found = tree.query(
            hydrants[asking], k=k, distance_upper_bound=np.nextafter(radius, np.inf), workers=-1
        )
        near = np.asarray(found)
        if k >= len(usable) or (near[:, -1] == len(usable)).all():
            break
        k *= 2
    near = np.sort(near, axis=1)  # by shot; the places that stayed empty go last
    row, place = np.nonzero(near < len(usable))
    return asking[row], usable[near[row, place]]


def _group_median(
    values: NDArray[np.float64], group: NDArray[np.intp], n: int
) -> NDArray[np.float64]:
    """Median of each group; groups are 0 to n-1, a group with no value is missing."""
    order = np.lexsort((values, group))
    ordered = values[order]
    size = np.bincount(group, minlength=n)
    start = np.concatenate(([0], np.cumsum(size)[:-1]))
    median = np.full(n, np.nan)
    has = size > 0
    low = start[has] + (size[has] - 1) // 2
    high = start[has] + size[has] // 2
    median[has] = (ordered[low] + ordered[high]) / 2
    return median


def grade_at(
    hydrants_ft: ArrayLike,
    shots_ft: ArrayLike,
    elevs_ft: ArrayLike,
    sds_ft: ArrayLike,
    *,
    radius_ft: float = 25.0,
) -> GradeFit:
    """
    Grade at each hydrant from the ground shots within a radius.

    Parameters
    ----------
    hydrants_ft
        Where the hydrants stand, shape (n, 2), on a plane. [ft]
    shots_ft
        Where the shots are, shape (m, 2), on the same plane. [ft]
    elevs_ft, sds_ft
        Elevation of the shots and its standard uncertainty, shape (m,). [ft]
    radius_ft
        Shots farther than this do not count; exactly at it they do. [ft]

    Returns
    -------
    fit
        In the order of the hydrants; see `GradeFit`.

    Notes
    -----
    A shot is left out when it lies more than `OUTLIER_FLOOR_FT` and more than
    `OUTLIER_DEVIATIONS` robust standard deviations [1]_ off the median of its neighbors, where
    there are at least three. The uncertainty of a plane's value at the barrel is that of a fitted
    value [2]_ with the larger of the shots' own and the residual standard deviation. The mean of
    shots with no plane takes the larger of their own uncertainty and half their range, since the
    ground may slope between them.

    Examples
    --------
    A plane that rises 2 ft in 100 is read at the barrel:

    >>> fit = grade_at([[0.0, 0.0]], [[10.0, 0], [-5, 8], [-5, -8]],
    ...                [100.2, 99.9, 99.9], [0.02, 0.02, 0.02])
    >>> float(fit.elev_ft[0].round(6)), float(fit.slope[0].round(6)), fit.fit[0]
    (100.0, 0.02, 'plane')
    """
    hydrants = np.asarray(hydrants_ft, dtype=np.float64).reshape(-1, 2)
    shots = np.asarray(shots_ft, dtype=np.float64).reshape(-1, 2)
    z_all = np.asarray(elevs_ft, dtype=np.float64)
    sd_all = np.asarray(sds_ft, dtype=np.float64)
    n = len(hydrants)
    h, s = _pairs(hydrants, shots, radius_ft)
    known = np.isfinite(z_all[s])
    h, s = h[known], s[known]

    median = _group_median(z_all[s], h, n)
    off = np.abs(z_all[s] - median[h])
    spread = 1.4826 * _group_median(off, h, n)
    many = np.bincount(h, minlength=n) >= 3
    out = many[h] & (off > np.maximum(OUTLIER_FLOOR_FT, OUTLIER_DEVIATIONS * spread[h]))
    outlier_hydrant, outlier_shot = h[out], s[out]
    h, s = h[~out], s[~out]

    # Coordinates from the barrel, elevations from the median: the intercept is the grade.
    dx = shots[s, 0] - hydrants[h, 0]
    dy = shots[s, 1] - hydrants[h, 1]
    dz = z_all[s] - median[h]

    def total(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.bincount(h, weights=values, minlength=n), dtype=np.float64)

    count = np.bincount(h, minlength=n)
    some = np.maximum(count, 1)
    sx, sy, sz = total(dx), total(dy), total(dz)
    sxx, sxy, syy = total(dx * dx), total(dx * dy), total(dy * dy)
    sxz, syz = total(dx * dz), total(dy * dz)
    own_var = total(sd_all[s] ** 2) / some

    # Centered second moments tell the spread; the determinant tells whether it is a line.
    cxx, cxy, cyy = sxx - sx * sx / some, sxy - sx * sy / some, syy - sy * sy / some
    det = cxx * cyy - cxy * cxy
    trace = cxx + cyy
    spreading = (count >= 3) & (det > 0.01 * trace * trace) & (trace > 1.0)
    safe = np.where(spreading, det, 1.0)
    cxz, cyz = sxz - sx * sz / some, syz - sy * sz / some
    bx = (cyy * cxz - cxy * cyz) / safe
    by = (cxx * cyz - cxy * cxz) / safe
    mean_z, mean_x, mean_y = sz / some, sx / some, sy / some
    leverage = 1 / some + (cyy * mean_x**2 - 2 * cxy * mean_x * mean_y + cxx * mean_y**2) / safe
    plane = spreading & (leverage <= _LEVERAGE_MOST)

    at_barrel = mean_z - bx * mean_x - by * mean_y
    residual = dz - (at_barrel[h] + bx[h] * dx + by[h] * dy)
    freedom = np.maximum(count - 3, 1)
    fit_var = np.where(count > 3, total(residual**2) / freedom, 0.0)
    plane_sd = np.sqrt(np.maximum(own_var, fit_var) * leverage)

    highest = np.full(n, -np.inf)
    lowest = np.full(n, np.inf)
    np.maximum.at(highest, h, dz)
    np.minimum.at(lowest, h, dz)
    half_range = np.where(count > 1, (highest - lowest) / 2, 0.0)
    mean_sd = np.maximum(np.sqrt(own_var / some), half_range)

    none = count == 0
    elev = np.where(plane, at_barrel, mean_z) + median
    sd = np.where(plane, plane_sd, mean_sd)
    return GradeFit(
        elev_ft=np.where(none, np.nan, elev),
        sd_ft=np.where(none, np.nan, sd),
        slope=np.where(plane, np.hypot(bx, by), np.nan),
        shots=count,
        fit=np.select([none, plane, count == 1], ["none", "plane", "single"], "mean").astype(
            object
        ),
        outlier_hydrant=outlier_hydrant,
        outlier_shot=outlier_shot,
    )
