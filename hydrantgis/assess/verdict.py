"""
Verdict: is the outlet inside its window, below, above, or can it not be told.

References
----------
.. [1] JCGM 106:2012, Evaluation of measurement data - The role of measurement uncertainty in
   conformity assessment: 7.3 and 7.4 (conformance probability, normal distribution), 8.2 (simple
   acceptance), 8.3 (guard bands) (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import ndtr

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


class Chances(NamedTuple):
    """Probabilities of being inside, below and above; they sum to one. Shape of the heights."""

    inside: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]


def chances(
    height_in: ArrayLike, sd_in: ArrayLike, *, lo_in: ArrayLike, hi_in: ArrayLike
) -> Chances:
    """
    Probabilities that the true height is inside the window, below it and above it.

    Parameters
    ----------
    height_in
        Estimates, any shape. [in]
    sd_in
        Their standard uncertainty, same shape, 0 or above. [in]
    lo_in, hi_in
        Limits, one for all or of the same shape; `-inf` and `inf` where there is none. [in]

    Returns
    -------
    chances
        Normal distribution about the estimate [1]_; missing where height or uncertainty is.

    Examples
    --------
    Motor oil of JCGM 106, 7.4: 12.5 to 16.3 mm2/s, estimate 13.6, uncertainty 1.8.

    >>> float(chances(13.6, 1.8, lo_in=12.5, hi_in=16.3).inside.round(2))
    0.66
    """
    y, u = np.asarray(height_in, dtype=np.float64), np.asarray(sd_in, dtype=np.float64)
    lo, hi = np.asarray(lo_in, dtype=np.float64), np.asarray(hi_in, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        above_lo, below_hi = (y - lo) / u, (hi - y) / u
    # a height with no uncertainty at all lies exactly at a limit, and that is inside
    above_lo = np.where((u == 0) & (y == lo), np.inf, above_lo)
    below_hi = np.where((u == 0) & (y == hi), np.inf, below_hi)
    low, high = ndtr(-above_lo), ndtr(-below_hi)
    # the difference of the smaller tails keeps digits that `1 - low - high` would lose
    inside = np.where(below_hi > above_lo, ndtr(below_hi) - low, ndtr(above_lo) - high)
    missing = np.isnan(y) | np.isnan(u)
    return Chances(*(np.where(missing, np.nan, np.clip(p, 0, 1)) for p in (inside, low, high)))


def undecidable(
    sd_in: ArrayLike, *, lo_in: float, hi_in: float, confidence: float = 0.95
) -> NDArray[np.bool_]:
    """
    Whether no height at all could be told inside a window, shape of the uncertainties.

    Parameters
    ----------
    sd_in
        Standard uncertainties. [in]
    lo_in, hi_in
        Limits. [in]
    confidence
        Least probability for a guarded verdict.

    Notes
    -----
    The probability of being inside is greatest in the middle of the window; where even there it is
    less than the confidence, the acceptance limits have crossed [1]_.

    Examples
    --------
    A grade from lidar of RMSEz 10 cm under a window of 18 to 24 in, and a level:

    >>> undecidable([3.944, 0.339], lo_in=18.0, hi_in=24.0).tolist()
    [True, False]
    """
    sd = np.asarray(sd_in, dtype=np.float64)
    if not (np.isfinite(lo_in) and np.isfinite(hi_in)):
        return np.zeros(sd.shape, dtype=bool)
    best = chances(np.full(sd.shape, (lo_in + hi_in) / 2), sd, lo_in=lo_in, hi_in=hi_in).inside
    return np.asarray(best < confidence, dtype=bool)


def rounded(height_in: ArrayLike, resolution_in: float) -> NDArray[np.float64]:
    """
    Heights at the resolution at which they are held against a limit. [in]

    Examples
    --------
    >>> rounded((101.50 - 100.00) * 12, 0.01).item()
    18.0
    """
    steps = np.round(np.asarray(height_in, dtype=np.float64) / resolution_in)
    # through the decimal number that the step stands for, so that 1800 steps are 18 exactly
    return np.round(steps * resolution_in, 9)


def verdicts(
    height_in: ArrayLike,
    sd_in: ArrayLike,
    *,
    lo_in: float,
    hi_in: float,
    resolution_in: float = 0.01,
    guarded: ArrayLike = False,
    confidence: float = 0.95,
) -> tuple[NDArray[np.object_], NDArray[np.bool_]]:
    """
    The verdict of each height, and whether it is marginal.

    Parameters
    ----------
    height_in, sd_in
        Estimates and standard uncertainties, shape (n,). [in]
    lo_in, hi_in
        Limits, both allowed heights themselves. [in]
    resolution_in
        Heights are rounded to this before they are held against a limit. [in]
    guarded
        Where true a verdict needs `confidence` [1]_; else the estimate decides.
    confidence
        Least probability for a guarded verdict.

    Returns
    -------
    verdict
        `inside`, `low`, `high`, `unresolved`, or `unmeasured` where the height is missing.
    marginal
        Where the expanded uncertainty (coverage factor 2) crosses a limit.

    Examples
    --------
    >>> v, m = verdicts([17.9, 18.0, 24.4], [0.25, 0.25, 0.25], lo_in=18, hi_in=24)
    >>> v.tolist(), m.tolist()
    (['low', 'inside', 'high'], [True, True, True])
    """
    y, u = np.asarray(height_in, dtype=np.float64), np.asarray(sd_in, dtype=np.float64)
    at = rounded(y, resolution_in)
    simple = np.select(
        [np.isnan(y), at < lo_in, at > hi_in], ["unmeasured", "low", "high"], "inside"
    )
    p = chances(y, u, lo_in=lo_in, hi_in=hi_in)
    sure = np.select(
        [np.isnan(y), p.inside >= confidence, p.low >= confidence, p.high >= confidence],
        ["unmeasured", "inside", "low", "high"],
        "unresolved",
    )
    with np.errstate(invalid="ignore"):
        marginal = (np.abs(y - lo_in) < 2 * u) | (np.abs(y - hi_in) < 2 * u)
    verdict = np.where(np.broadcast_to(np.asarray(guarded, dtype=bool), y.shape), sure, simple)
    return verdict.astype(object), marginal & ~np.isnan(y)


def flange_verdicts(
    flange_in: ArrayLike, *, lo_in: float, hi_in: float, resolution_in: float = 0.01
) -> NDArray[np.object_]:
    """
    Where the breakaway flange stands; `unknown` where it was not measured.

    Parameters
    ----------
    flange_in
        Flange over grade, shape (n,). [in]
    lo_in, hi_in
        Limits, both allowed. [in]
    resolution_in
        As `verdicts`. [in]

    Examples
    --------
    >>> flange_verdicts([2.0, -1.0, float("nan")], lo_in=2, hi_in=6).tolist()
    ['inside', 'low', 'unknown']
    """
    at = rounded(flange_in, resolution_in)
    names = np.select([np.isnan(at), at < lo_in, at > hi_in], ["unknown", "low", "high"], "inside")
    return names.astype(object)
