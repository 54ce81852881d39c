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
.. [3] JCGM 100:2008 (GUM), 4.3.7: a value known only to lie within +/- a has the standard
   uncertainty a / sqrt(3) (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from hydrantgis.heights.epochs import split, standing
from hydrantgis.heights.gradefit import CONTACT_GRADE_SD_FT, OUTLIER_FLOOR_FT, GradeFit

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

OUTLIER_DEVIATIONS = 5.0
"""How many robust standard deviations off the median make an outlier."""
STEEPEST = 1 / 3
"""Ground round a hydrant is taken to be no steeper than this: common practice, no source."""
USUAL_SLOPE = 0.05
"""Where no plane tells the slope it may be this, up or down: common practice, no source."""
UNCHECKED_SD_FT = 0.05
"""Of the ground at a barrel by three shots, beside their own: common practice, no source. [ft]"""
_LEVERAGE_MOST = 1.0
"""Beyond this leverage the barrel lies outside the spread of the shots: the mean is safer."""


def _pairs(
    hydrants: NDArray[np.float64], shots: NDArray[np.float64], radius: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """
    Every hydrant with every shot within the radius, by hydrant, then by shot.

    A tree answers for the nearest k at once; who has more is asked again, with more.
    """
    usable = np.flatnonzero(np.isfinite(shots).all(axis=1))
    asking = np.flatnonzero(np.isfinite(hydrants).all(axis=1))
    parts: list[tuple[NDArray[np.intp], NDArray[np.intp]]] = []
    tree = cKDTree(shots[usable], balanced_tree=False, compact_nodes=False)
    k, most = 8, len(usable)
    while len(asking) and most:
        # the bound is exclusive, the radius is not
        _, found = tree.query(
            hydrants[asking], k=k, distance_upper_bound=np.nextafter(radius, np.inf), workers=-1
        )
        near = np.sort(np.asarray(found), axis=1)  # by shot; places that stayed empty go last
        full = (near[:, -1] < most) & (k < most)
        row, place = np.nonzero((near < most) & ~full[:, None])
        parts.append((asking[row], usable[near[row, place]]))
        asking, k = asking[full], k * 4
    if not parts:
        return np.empty(0, np.intp), np.empty(0, np.intp)
    h = np.concatenate([part[0] for part in parts])
    s = np.concatenate([part[1] for part in parts])
    order = np.argsort(h, kind="stable")
    return h[order], s[order]


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
    days: ArrayLike | None = None,
) -> GradeFit:
    """
    Grade at each hydrant from the ground shots within a radius, by survey.

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
    days
        When each was shot, NaT where that is not known, shape (m,). Where it is told, shots of
        several times make surveys of their own; see `hydrantgis.heights.epochs`. [datetime64[D]]

    Returns
    -------
    fit
        See `GradeFit`. Without days a survey of every hydrant, in their order, one without a shot
        where none is near; with days those that there are.

    Notes
    -----
    A shot is left out when it lies more than `OUTLIER_FLOOR_FT` and more than
    `OUTLIER_DEVIATIONS` robust standard deviations [1]_ off the median of its neighbors, where
    there are at least three, and more than `OUTLIER_FLOOR_FT` off the plane of the others,
    or, where they make no plane, more than ground of slope `STEEPEST` would explain. The
    uncertainty of a plane's value at the barrel is that of a fitted value [2]_ with the larger of
    the shots' own and the residual standard deviation. Three shots make a plane that none checks:
    to it comes `UNCHECKED_SD_FT`, and the rise over their spread of what is beyond `USUAL_SLOPE`,
    since a wrong shot makes a slope. The mean of shots with no plane takes the larger of their own
    uncertainty and half their range, since the ground may slope between them, and with it what a
    slope of `USUAL_SLOPE` either way makes of the distance to their middle [3]_.

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
    day = np.full(len(s), "NaT", "M8[D]") if days is None else np.asarray(days, dtype="M8[D]")[s]
    survey, of = (h, np.arange(n)) if days is None else split(h, day)
    median = _group_median(z_all[s], survey, len(of))
    # Coordinates from the barrel, elevations from the median: a fit's constant is the grade.
    pairs = _Pairs(
        survey=survey,
        dx=shots[s, 0] - hydrants[h, 0],
        dy=shots[s, 1] - hydrants[h, 1],
        dz=z_all[s] - median[survey],
        sd=sd_all[s],
        surveys=len(of),
    )
    out = _outliers(pairs)
    fit = _fit(pairs.where(~out))
    none = fit.count == 0
    elev = np.where(none, np.nan, np.where(fit.plane, fit.at_barrel, fit.mean) + median)
    sd = np.where(
        none,
        np.nan,
        np.where(fit.plane, np.hypot(np.sqrt(fit.var * fit.leverage), fit.unchecked), fit.mean_sd),
    )
    names = np.select([none, fit.plane, fit.count == 1], ["none", "plane", "single"], "mean")
    on, until = _first_and_last(survey[~out], day[~out], len(of))
    told = np.flatnonzero(~none)  # where no shot is near, there is no survey to stand
    stands = standing(of[told], elev[told], sd[told], hydrants=n, vague_ft=CONTACT_GRADE_SD_FT)
    return GradeFit(
        hydrant=of,
        stands=np.append(told, -1)[stands],
        elev_ft=elev,
        sd_ft=sd,
        slope=np.where(fit.plane, np.hypot(fit.bx, fit.by), np.nan),
        residual_ft=np.where(none, np.nan, np.where(fit.plane, fit.off_plane, fit.off_mean)),
        highest_ft=np.where(none, np.nan, fit.highest + median),
        lowest_ft=np.where(none, np.nan, fit.lowest + median),
        shot_sd_ft=np.where(none, np.nan, fit.own_sd),
        shots=fit.count,
        fit=names.astype(object),
        on=on,
        until=until,
        outlier_hydrant=h[out],
        outlier_shot=s[out],
    )


def _first_and_last(
    survey: NDArray[np.intp], days: NDArray[np.datetime64], surveys: int
) -> tuple[NDArray[np.datetime64], NDArray[np.datetime64]]:
    """The first and last day of the shots of each survey, NaT where none is known."""
    known = ~np.isnat(days)
    at, day = survey[known], days[known].astype(np.int64)
    never = np.iinfo(np.int64).min  # NumPy's own mark for no day
    first, last = np.full(surveys, np.iinfo(np.int64).max), np.full(surveys, never)
    np.minimum.at(first, at, day)
    np.maximum.at(last, at, day)
    first[last == never] = never
    return first.astype("datetime64[D]"), last.astype("datetime64[D]")


@dataclass(frozen=True, slots=True)
class _Pairs:
    """Shots of surveys, a row each: place from the barrel, height from the survey's median."""

    survey: NDArray[np.intp]
    dx: NDArray[np.float64]
    dy: NDArray[np.float64]
    dz: NDArray[np.float64]
    sd: NDArray[np.float64]
    surveys: int

    def where(self, rows: NDArray[np.bool_]) -> _Pairs:
        return _Pairs(
            self.survey[rows], self.dx[rows], self.dy[rows], self.dz[rows], self.sd[rows],
            self.surveys,
        )  # fmt: skip

    def total(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        sums = np.bincount(self.survey, weights=values, minlength=self.surveys)
        return np.asarray(sums, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Fit:
    """Mean and plane of each survey's shots; the plane counts where `plane` is true."""

    count: NDArray[np.intp]
    mean_x: NDArray[np.float64]
    mean_y: NDArray[np.float64]
    mean: NDArray[np.float64]
    mean_sd: NDArray[np.float64]
    plane: NDArray[np.bool_]
    at_barrel: NDArray[np.float64]
    bx: NDArray[np.float64]
    by: NDArray[np.float64]
    leverage: NDArray[np.float64]
    var: NDArray[np.float64]
    unchecked: NDArray[np.float64]
    off_plane: NDArray[np.float64]
    off_mean: NDArray[np.float64]
    highest: NDArray[np.float64]
    lowest: NDArray[np.float64]
    own_sd: NDArray[np.float64]


def _fit(p: _Pairs) -> _Fit:
    """Means, and planes from the 3 x 3 normal equations in closed form."""
    h = p.survey
    count = np.bincount(h, minlength=p.surveys)
    some = np.maximum(count, 1)
    sx, sy, sz = p.total(p.dx), p.total(p.dy), p.total(p.dz)
    mean_x, mean_y, mean_z = sx / some, sy / some, sz / some
    # second moments about the mean tell the spread; their determinant, whether it is a line
    cxx = p.total(p.dx * p.dx) - sx * mean_x
    cxy = p.total(p.dx * p.dy) - sx * mean_y
    cyy = p.total(p.dy * p.dy) - sy * mean_y
    cxz = p.total(p.dx * p.dz) - sx * mean_z
    cyz = p.total(p.dy * p.dz) - sy * mean_z
    det, trace = cxx * cyy - cxy * cxy, cxx + cyy
    spread = (count >= 3) & (det > 0.01 * trace * trace) & (trace > 1.0)
    safe = np.where(spread, det, 1.0)
    bx = (cyy * cxz - cxy * cyz) / safe
    by = (cxx * cyz - cxy * cxz) / safe
    leverage = 1 / some + (cyy * mean_x**2 - 2 * cxy * mean_x * mean_y + cxx * mean_y**2) / safe
    at_barrel = mean_z - bx * mean_x - by * mean_y
    residual = p.dz - (at_barrel[h] + bx[h] * p.dx + by[h] * p.dy)
    own = p.total(p.sd**2) / some
    squares = p.total(residual**2)
    # without a fourth shot a steep plane may be a wrong shot: by its rise over the spread
    steep = np.maximum(np.hypot(bx, by) - USUAL_SLOPE, 0.0) * np.sqrt(trace / some / 2)
    unchecked = np.where(count == 3, np.hypot(UNCHECKED_SD_FT, steep), 0.0)
    left = np.where(count > 3, squares / np.maximum(count - 3, 1), 0.0)
    highest, lowest = np.full(p.surveys, -np.inf), np.full(p.surveys, np.inf)
    np.maximum.at(highest, h, p.dz)
    np.minimum.at(lowest, h, p.dz)
    half_range = np.where(count > 1, (highest - lowest) / 2, 0.0)
    # between the barrel and the middle of the shots the ground may slope either way
    unseen = USUAL_SLOPE * np.hypot(mean_x, mean_y) / np.sqrt(3)
    return _Fit(
        count=count,
        mean_x=mean_x,
        mean_y=mean_y,
        mean=mean_z,
        mean_sd=np.hypot(np.maximum(np.sqrt(own / some), half_range), unseen),
        plane=spread & (leverage <= _LEVERAGE_MOST),
        at_barrel=at_barrel,
        bx=bx,
        by=by,
        leverage=leverage,
        var=np.where(spread, np.maximum(own, left), np.nan),
        unchecked=unchecked,
        off_plane=np.sqrt(squares / some),
        off_mean=np.sqrt(p.total((p.dz - mean_z[h]) ** 2) / some),
        highest=highest,
        lowest=lowest,
        own_sd=np.sqrt(own),
    )


def _outliers(p: _Pairs) -> NDArray[np.bool_]:
    """
    Shots that are far off their neighbors and off the plane of the others, a value a pair.

    Off the median alone is no fault: on a slope the one shot uphill is off it, and right.
    """
    h, n = p.survey, p.surveys
    off = np.abs(p.dz)
    spread = 1.4826 * _group_median(off, h, n)
    many = np.bincount(h, minlength=n) >= 3
    doubted = many[h] & (off > np.maximum(OUTLIER_FLOOR_FT, OUTLIER_DEVIATIONS * spread[h]))
    if not doubted.any():
        return doubted
    others = _fit(p.where(~doubted))
    at = h[doubted]
    dx, dy, dz = p.dx[doubted], p.dy[doubted], p.dz[doubted]
    apart = np.abs(dz - (others.at_barrel[at] + others.bx[at] * dx + others.by[at] * dy))
    # where the others make no plane, ground of a plausible slope may lie between them and it
    run = np.hypot(dx - others.mean_x[at], dy - others.mean_y[at])
    rise = np.abs(dz - others.mean[at])
    planar = ~np.isnan(others.var[at])
    right = np.where(planar, apart <= OUTLIER_FLOOR_FT, rise <= STEEPEST * run)
    doubted[doubted] = ~right
    return doubted
