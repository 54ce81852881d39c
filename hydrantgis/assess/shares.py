"""
How sure a share is: for having measured some and not all, and for what each reading leaves open.

The two are told apart, since they have other reasons and other cures: more hydrants measured, or
better readings.

References
----------
.. [1] Wilson, E. B., Probable inference, the law of succession, and statistical inference, Journal
   of the American Statistical Association 22 (1927), 209-212 (from memory).
.. [2] Wang, Y. H., On the number of successes in independent trials, Statistica Sinica 3 (1993),
   295-312: mean and variance of a count of trials of unlike chances (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

CONFIDENCE = 0.95
"""Of every interval that is told."""
EXPANDED = 2.0
"""Coverage factor of an expanded uncertainty."""


def wilson(
    inside: ArrayLike, measured: ArrayLike, *, confidence: float = CONFIDENCE
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Wilson's interval for a share [1]_, without a correction for continuity.

    Parameters
    ----------
    inside, measured
        Counts, shape (n,).
    confidence
        Probability with which such an interval holds the share.

    Returns
    -------
    low, high
        From 0 to 1; missing where none is measured; shape (n,).

    Notes
    -----
    The interval takes the measured ones for a sample drawn by lot from many more. It is no narrower
    where all are measured: it then tells what chance alone does to a group of that size, which is
    what areas are compared by. Where crews went first to hydrants that they thought bad, the
    measured ones are no such sample, and no interval mends that.

    Examples
    --------
    >>> low, high = wilson([205, 0, 3, 0], [335, 0, 3, 8])
    >>> low.round(3).tolist(), high.round(3).tolist()
    ([0.559, nan, 0.439, 0.0], [0.663, nan, 1.0, 0.324])
    """
    k, n = np.asarray(inside, dtype=np.float64), np.asarray(measured, dtype=np.float64)
    n = np.where(n > 0, n, np.nan)
    z = ndtri(0.5 + confidence / 2.0)
    middle = (k + z**2 / 2.0) / (n + z**2)
    half = z * np.sqrt(k * (n - k) / n + z**2 / 4.0) / (n + z**2)
    # none and all have an end of their own, that rounding may miss by a hair
    low = np.where(k == 0, 0.0, np.clip(middle - half, 0.0, 1.0))
    high = np.where(k == n, 1.0, np.clip(middle + half, 0.0, 1.0))
    missing = np.isnan(n)
    return np.where(missing, np.nan, low), np.where(missing, np.nan, high)


def count_of_chances(p: ArrayLike) -> tuple[float, float]:
    """
    How many are expected to be inside by their probabilities, and its standard uncertainty.

    Parameters
    ----------
    p
        Probability of each, shape (n,); a missing one is left out.

    Returns
    -------
    expected, sd
        Sum of p, and the root of the sum of p (1 - p) [2]_.

    Notes
    -----
    The errors of the readings are taken as independent. A tape that all were measured with and that
    reads wrong moves them together, and is not in it.

    Examples
    --------
    >>> count_of_chances([1.0, 0.5, 0.5, 0.0, float("nan")])
    (2.0, 0.7071067811865476)
    """
    told = np.asarray(p, dtype=np.float64)
    told = told[~np.isnan(told)]
    return float(told.sum()), float(np.sqrt((told * (1.0 - told)).sum()))


def bounds_of_all(inside: int, measured: int, judged: int) -> tuple[float, float]:
    """
    Least and greatest share inside of all that are judged, whatever those not measured are.

    Parameters
    ----------
    inside, measured, judged
        Counts; judged is one or more.

    Examples
    --------
    >>> bounds_of_all(60, 80, 100)
    (0.6, 0.8)
    """
    return inside / judged, (inside + judged - measured) / judged
