"""
What a terrain model tells of a grade and how surely, and how good it is against a survey.

A height over a terrain grade is a screening height, however small its uncertainty.

References
----------
.. [1] JCGM 100:2008 (GUM), 5.1.2: variances of independent parts add up, each times the square of
   its sensitivity; 4.3.7: a value known only to lie within +/- a has the standard uncertainty
   a / sqrt(3) (from memory).
.. [2] FGDC-STD-007.3-1998 (NSSDA): accuracy at 95 % is 1.9600 RMSEz (second hand), from at least
   20 check points (from memory).
.. [3] ASPRS Positional Accuracy Standards, Edition 1 (2014), Annex D (from memory).
.. [4] ASPRS Positional Accuracy Standards, Edition 2 (2023): the error of the survey is part of the
   accuracy, RMSE = sqrt(RMSE1^2 + RMSE2^2), and at least 30 check points (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hydrantgis.heights.grade import OUTLIER_DEVIATIONS
from hydrantgis.heights.gradefit import OUTLIER_FLOOR_FT

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

NSSDA_95 = 1.9600
"""Accuracy at 95 % over RMSEz [2]_."""
LEAST_CHECK_POINTS = 20
"""Fewer say little of an accuracy [2]_."""
STATEMENTS_DIFFER = 0.05
"""A stated accuracy this far off 1.9600 RMSEz, as a share, is not of the same check points."""


@dataclass(frozen=True, slots=True)
class VerticalAccuracy:
    """
    A terrain model against check points.

    Attributes
    ----------
    points
        How many check points have both elevations.
    mean_ft, sd_ft
        Mean error, terrain minus survey, and the sample standard deviation; the latter is missing
        with one point. [ft]
    rmse_z_ft
        Root of the mean squared error. [ft]
    accuracy_95_ft
        1.9600 RMSEz [2]_; holds for normal errors without bias. [ft]
    percentile_95_ft
        Of the errors without their sign; needs no such thing. [ft]
    with_survey_rmse_z_ft
        RMSEz with the survey's own error in it [4]_. [ft]
    """

    points: int
    mean_ft: float
    sd_ft: float
    rmse_z_ft: float
    accuracy_95_ft: float
    percentile_95_ft: float
    with_survey_rmse_z_ft: float

    @property
    def enough(self) -> bool:
        """Whether there are as many check points as the NSSDA asks for."""
        return self.points >= LEAST_CHECK_POINTS


def vertical_accuracy(
    terrain_elev_ft: ArrayLike, survey_elev_ft: ArrayLike, *, survey_rmse_z_ft: float = 0.0
) -> VerticalAccuracy:
    """
    How good a terrain model is, from points surveyed better than it.

    Parameters
    ----------
    terrain_elev_ft, survey_elev_ft
        Elevations of one vertical datum, shape (n,); a point that lacks one does not count. [ft]
    survey_rmse_z_ft
        Accuracy of the survey. [ft]

    Returns
    -------
    accuracy
        All missing where no point has both elevations.

    Examples
    --------
    >>> told = vertical_accuracy([100.3, 99.6], [100.0, 100.0])
    >>> round(told.rmse_z_ft, 4), round(told.accuracy_95_ft, 4), told.enough
    (0.3536, 0.693, False)
    """
    error = np.asarray(terrain_elev_ft, dtype=np.float64) - np.asarray(
        survey_elev_ft, dtype=np.float64
    )
    error = error[np.isfinite(error)]
    n = len(error)
    if not n:
        return VerticalAccuracy(0, *[math.nan] * 6)
    rmse = float(np.sqrt(np.mean(error**2)))
    return VerticalAccuracy(
        points=n,
        mean_ft=float(error.mean()),
        sd_ft=float(error.std(ddof=1)) if n > 1 else math.nan,
        rmse_z_ft=rmse,
        accuracy_95_ft=NSSDA_95 * rmse,
        percentile_95_ft=float(np.quantile(np.abs(error), 0.95)),
        with_survey_rmse_z_ft=math.hypot(rmse, survey_rmse_z_ft),
    )


def blunders(error_ft: ArrayLike) -> NDArray[np.bool_]:
    """
    Check points so far off the others that they tell of themselves, not of the terrain, shape (n,).

    Parameters
    ----------
    error_ft
        Terrain minus survey, shape (n,). [ft]

    Returns
    -------
    blunder
        Where the error is more than `OUTLIER_FLOOR_FT` and more than `OUTLIER_DEVIATIONS` robust
        standard deviations off the median. A check point is left out only where that is told.

    Examples
    --------
    >>> blunders([0.1, -0.2, 0.3, 0.0, 95.0]).tolist()
    [False, False, False, False, True]
    """
    error = np.asarray(error_ft, dtype=np.float64)
    known = np.isfinite(error)
    if not known.any():
        return np.zeros(error.shape, dtype=bool)
    off = np.abs(error - np.median(error[known]))
    spread = 1.4826 * np.median(off[known])
    return np.asarray(
        known & (off > max(OUTLIER_FLOOR_FT, OUTLIER_DEVIATIONS * spread)), dtype=bool
    )


def statements_agree(rmse_z: float, accuracy_95: float) -> bool:
    """
    Whether a stated accuracy at 95 % is 1.9600 times the RMSEz stated beside it.

    Parameters
    ----------
    rmse_z, accuracy_95
        Both in one unit, whichever.

    Examples
    --------
    >>> statements_agree(0.10, 0.196), statements_agree(0.046, 0.053)
    (True, False)
    """
    return abs(accuracy_95 / (NSSDA_95 * rmse_z) - 1.0) <= STATEMENTS_DIFFER


def grade_sd_ft(
    slope: ArrayLike,
    *,
    rmse_z_ft: ArrayLike,
    hydrant_sd_xy_ft: ArrayLike,
    step_ft: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """
    Standard uncertainty of a grade that a terrain model tells at a hydrant.

    Parameters
    ----------
    slope
        Rise over run of the ground there.
    rmse_z_ft
        Vertical accuracy of the terrain. [ft]
    hydrant_sd_xy_ft
        Standard uncertainty of the hydrant's place along either axis: where the radial RMSEr is
        stated, that over sqrt(2). [ft]
    step_ft
        Elevations are told in steps of this; 1 for whole feet. [ft]

    Returns
    -------
    sd
        Missing where the slope is; the shapes broadcast. [ft]

    Notes
    -----
    The root of the sum of squares of RMSEz, slope times the uncertainty of the place, and half a
    step over sqrt(3) [1]_. Nothing is added for what lies between the centers of cells: how the
    ground bends there the terrain does not tell, and the mean of four cells is surer than each.

    Examples
    --------
    A tenth of a meter, and three feet off on ground that rises one in ten:

    >>> grade_sd_ft([0.0, 0.1], rmse_z_ft=0.328, hydrant_sd_xy_ft=3.0).round(3)
    array([0.328, 0.445])
    """
    by_place = np.asarray(slope, dtype=np.float64) * np.asarray(hydrant_sd_xy_ft, dtype=np.float64)
    by_step = np.asarray(step_ft, dtype=np.float64) / (2.0 * math.sqrt(3.0))
    model = np.asarray(rmse_z_ft, dtype=np.float64)
    return np.asarray(np.sqrt(model**2 + by_place**2 + by_step**2), dtype=np.float64)
