"""
How fast the height of a hydrant changes, and when it is likely to leave the window.

Ground settles, yards are filled a little each year: two or more dated readings tell a rate, one
tells none.

References
----------
.. [1] Bevington, P. R. and Robinson, D. K., Data Reduction and Error Analysis, 3rd ed. (2003), 6.3
   and 6.4: weighted straight line and the variances of its coefficients (from memory).
.. [2] Birge, R. T., The calculation of errors by the method of least squares, Phys. Rev. 40 (1932)
   207: where residuals are larger than the stated uncertainties, those grow by the root of chi
   square over its degrees of freedom (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
from scipy.special import ndtri

from hydrantgis.ground.results import DRIFTS
from hydrantgis.heights.outlet import BEFORE_ALL_DAYS

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from hydrantgis.heights.outlet import ReadingHeights

DAYS_A_YEAR = 365.25
SURE_OF_A_RATE = 1.96
"""A rate smaller than this many standard uncertainties is no drift."""
LIKELY = 0.5
"""A hydrant is likely out of its window where that has this probability."""
FARTHEST_YEARS = 50.0
"""What happens later nobody plans for. [yr]"""


class Line(NamedTuple):
    """
    A line through the readings of each of n hydrants.

    Rate and level at the weighted mean day are uncorrelated [1]_; both missing where there are
    fewer than two days. A rate told apart from a height of today stands with today as the day.
    """

    rate_in_per_yr: NDArray[np.float64]
    rate_sd_in_per_yr: NDArray[np.float64]
    level_in: NDArray[np.float64]
    level_sd_in: NDArray[np.float64]
    at_day: NDArray[np.float64]
    readings: NDArray[np.intp]


def lines(
    hydrant: ArrayLike, days: ArrayLike, height_in: ArrayLike, sd_in: ArrayLike, *, hydrants: int
) -> Line:
    """
    The weighted straight line through the heights of each hydrant, all at once.

    Parameters
    ----------
    hydrant
        Position of the hydrant of each reading, 0 to n-1, shape (m,).
    days
        When each was taken, shape (m,). [days]
    height_in, sd_in
        Height and standard uncertainty, above 0, shape (m,). [in]
    hydrants
        n.

    Returns
    -------
    line
        Shape (n,) each. The uncertainties are those that the stated ones make [1]_, times the Birge
        ratio where the readings scatter more than that [2]_.

    Examples
    --------
    >>> told = lines([0, 0], [0.0, 365.25], [21.0, 20.5], [0.25, 0.25], hydrants=1)
    >>> told.rate_in_per_yr.tolist(), told.rate_sd_in_per_yr.round(4).tolist()
    ([-0.5], [0.3536])
    """
    h = np.asarray(hydrant, dtype=np.intp)
    y, w = np.asarray(height_in, dtype=np.float64), np.asarray(sd_in, dtype=np.float64) ** -2.0

    def total(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.bincount(h, weights=values, minlength=hydrants), dtype=np.float64)

    day = np.asarray(days, dtype=np.float64)
    earliest, latest = np.full(hydrants, np.inf), np.full(hydrants, -np.inf)
    np.minimum.at(earliest, h, day)
    np.maximum.at(latest, h, day)
    several = latest > earliest
    count = np.bincount(h, minlength=hydrants)
    weight = np.where(count > 0, total(w), 1.0)
    # from the first day of each on, so that a few days between readings keep their digits
    t = (day - earliest[h]) / DAYS_A_YEAR
    mean_t, mean_y = total(w * t) / weight, total(w * y) / weight
    away, off = t - mean_t[h], y - mean_y[h]
    safe = np.where(several, total(w * away**2), 1.0)
    rate = total(w * away * off) / safe
    chi2 = total(w * (off - rate[h] * away) ** 2)
    birge = np.sqrt(np.maximum(1.0, chi2 / np.maximum(count - 2, 1)))
    birge = np.where(count > 2, birge, 1.0)

    def told(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(several, values, np.nan)

    return Line(
        told(rate), told(birge / np.sqrt(safe)), told(mean_y), told(birge / np.sqrt(weight)),
        told(earliest + mean_t * DAYS_A_YEAR), count,
    )  # fmt: skip


def steady(line: Line) -> NDArray[np.bool_]:
    """
    Whether a rate is known and cannot be told from none, shape (n,).

    Examples
    --------
    >>> steady(lines([0, 0], [0.0, 365.25], [21.0, 20.5], [0.25, 0.25], hydrants=1)).tolist()
    [True]
    """
    return np.asarray(
        np.abs(line.rate_in_per_yr) <= SURE_OF_A_RATE * line.rate_sd_in_per_yr, dtype=bool
    )


def leaves_window_on(
    line: Line, *, lo_in: float, hi_in: float, likely: float = LIKELY
) -> tuple[NDArray[np.float64], NDArray[np.object_]]:
    """
    The day from which a drifting hydrant is beyond the limit ahead of it with a probability.

    Parameters
    ----------
    line
        From `lines`.
    lo_in, hi_in
        Limits; infinite where there is none. [in]
    likely
        The probability, above 0.025 and below 0.975.

    Returns
    -------
    day
        Missing where there is no drift (`steady`), or where it takes longer than `FARTHEST_YEARS`
        from the mean day; a day that is past tells since when the hydrant is likely out; shape
        (n,). [days]
    side
        `low` or `high` where there is a day, else None; shape (n,).

    Raises
    ------
    ValueError
        The probability is beyond what a rate that is told from none allows.

    Notes
    -----
    The height at a time t past the mean day is normal about level + rate t, with the variance
    level_sd^2 + t^2 rate_sd^2. The day is where the limit is that normal's quantile, the root of a
    quadratic equation in t.

    Examples
    --------
    >>> told = lines([0, 0], [0.0, 3652.5], [23.0, 20.0], [0.25, 0.25], hydrants=1)
    >>> day, side = leaves_window_on(told, lo_in=18.0, hi_in=24.0)
    >>> (day / DAYS_A_YEAR).round(2).tolist(), side.tolist()
    ([16.67], ['low'])
    """
    if not 0.025 < likely < 0.975:
        raise ValueError(f"{likely} is no probability between 0.025 and 0.975")
    rate, rate_sd = line.rate_in_per_yr, line.rate_sd_in_per_yr
    falls = rate < 0
    limit = np.where(falls, lo_in, hi_in)
    moves = np.isfinite(rate) & ~steady(line) & np.isfinite(limit)
    # as if every height fell towards a limit below it
    gap = np.where(falls, line.level_in - limit, limit - line.level_in)
    speed = np.abs(rate)
    z = float(ndtri(likely))
    a = speed**2 - z**2 * rate_sd**2
    with np.errstate(invalid="ignore", divide="ignore"):  # no limit on that side
        b = gap * speed
        c = gap**2 - z**2 * line.level_sd_in**2
        root = np.sqrt(np.maximum(b**2 - a * c, 0.0))
        t = (b + np.sign(z) * root) / a if z else gap / speed
    known = moves & np.isfinite(t) & (np.abs(t) <= FARTHEST_YEARS)
    day = np.where(known, line.at_day + t * DAYS_A_YEAR, np.nan)
    side = np.full(len(day), None, dtype=object)
    side[known] = np.where(falls[known], "low", "high")
    return day, side


def drifts(
    hydrants: pd.DataFrame,
    told: ReadingHeights,
    *,
    lo_in: float,
    hi_in: float,
    since: NDArray[np.datetime64] | None = None,
) -> pd.DataFrame:
    """
    The `drifts` table: a row for each hydrant whose readings tell a rate.

    Parameters
    ----------
    hydrants
        The `hydrants` table.
    told
        Its readings, from `hydrantgis.heights.outlet.reading_heights`; screening heights, those
        without a day and those said to be without uncertainty do not count.
    lo_in, hi_in
        Limits of the window; infinite where there is none. [in]
    since
        Readings before this day do not count, since the grade or the hydrant changed at once; NaT
        where all do; shape (n,). [datetime64[D]]

    Returns
    -------
    drifts
        In the order of the hydrants.
    """
    days = told.days
    usable = ~np.isnan(told.height_in) & ~told.screening & (days > BEFORE_ALL_DAYS)
    usable &= told.sd_in > 0
    if since is not None:
        first = np.where(np.isnat(since), BEFORE_ALL_DAYS, since.astype(np.int64))
        usable &= days >= first[told.hydrant]
    n, at, days = len(hydrants), told.hydrant[usable], days[usable]
    line = lines(at, days, told.height_in[usable], told.sd_in[usable], hydrants=n)
    day, side = leaves_window_on(line, lo_in=lo_in, hi_in=hi_in)
    earliest, latest = np.full(n, np.iinfo(np.int64).max), np.full(n, BEFORE_ALL_DAYS)
    np.minimum.at(earliest, at, days)
    np.maximum.at(latest, at, days)
    rows = np.isfinite(line.rate_in_per_yr)
    leaves = pd.Series(day[rows]).round().astype("Int64")
    when = pd.to_datetime(leaves, unit="D")
    return DRIFTS.conform(
        pd.DataFrame(
            {
                "hydrant_id": hydrants["hydrant_id"].to_numpy(dtype=object)[rows],
                "readings": line.readings[rows],
                "first_date": earliest[rows].astype("datetime64[D]").astype("datetime64[ms]"),
                "last_date": latest[rows].astype("datetime64[D]").astype("datetime64[ms]"),
                "rate_in_per_yr": line.rate_in_per_yr[rows],
                "rate_sd_in_per_yr": line.rate_sd_in_per_yr[rows],
                "steady": steady(line)[rows],
                "leaves_on": when,
                "leaves_season": when.dt.year.astype("Int64"),
                "side": side[rows],
            }
        )
    )
