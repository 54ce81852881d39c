"""
Grade at hydrants by survey: what the fits of ground shots tell.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hydrantgis.heights.epochs import survey_on
from hydrantgis.standards.rules import GROUNDS

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

OUTLIER_FLOOR_FT = 1.0
"""Shots nearer than this to the median of their neighbors are never outliers. [ft]"""
CONTACT_GRADE_SD_FT = 0.1
"""Shots that tell the grade no better than this are vague: a height over them is a screening
height. [ft]"""
SURE_SHOTS = 3
"""So many shots of one survey are needed to tell by themselves that the ground has moved far."""


@dataclass(frozen=True, slots=True)
class GradeFit:
    """
    Grade at n hydrants, by k surveys of one hydrant each.

    Attributes
    ----------
    hydrant
        Position of the hydrant of each survey, ascending, its surveys by day; shape (k,).
    stands
        The survey that tells the grade as it is, -1 where there is none; shape (n,).
    elev_ft, sd_ft
        Grade and its standard uncertainty, missing where there is no shot; shape (k,). [ft]
    slope
        Rise over run of the fitted plane; missing where none was fitted; shape (k,).
    residual_ft
        Root mean square distance of the shots from the plane, or from their mean; missing where
        there is no shot; shape (k,). [ft]
    highest_ft, lowest_ft
        The highest and lowest shot of those that it rests on; shape (k,). [ft]
    shot_sd_ft
        Standard uncertainty of one of them, root mean square; shape (k,). [ft]
    shots
        How many shots it rests on; shape (k,).
    fit
        `plane`, `mean`, `single` or `none`; shape (k,).
    on, until
        The first and last day of those shots, NaT where none is known; shape (k,).
        [datetime64[D]]
    outlier_hydrant, outlier_shot
        Pairs of positions: at that hydrant this shot was left out.
    """

    hydrant: NDArray[np.intp]
    stands: NDArray[np.intp]
    elev_ft: NDArray[np.float64]
    sd_ft: NDArray[np.float64]
    slope: NDArray[np.float64]
    residual_ft: NDArray[np.float64]
    highest_ft: NDArray[np.float64]
    lowest_ft: NDArray[np.float64]
    shot_sd_ft: NDArray[np.float64]
    shots: NDArray[np.intp]
    fit: NDArray[np.object_]
    on: NDArray[np.datetime64]
    until: NDArray[np.datetime64]
    outlier_hydrant: NDArray[np.intp]
    outlier_shot: NDArray[np.intp]

    def governing(self, ground: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """
        The grade that a rule measures from and its standard uncertainty, shape (k,). [ft]

        Parameters
        ----------
        ground
            One of `GROUNDS`: read at the barrel, or the highest or lowest of the shots round it.

        Raises
        ------
        ValueError
            It is none of them.

        Examples
        --------
        >>> from hydrantgis.heights.grade import grade_at
        >>> fit = grade_at([[0.0, 0.0]], [[10.0, 0], [-5, 8], [-5, -8]],
        ...                [100.2, 99.9, 99.9], [0.02, 0.02, 0.02])
        >>> [float(fit.governing(ground)[0][0].round(3)) for ground in GROUNDS]
        [100.0, 100.2, 99.9]
        """
        if ground not in GROUNDS:
            raise ValueError(f"{ground!r} is none of {', '.join(GROUNDS)}")
        if ground == "barrel":
            return self.elev_ft, self.sd_ft
        return (self.highest_ft if ground == "highest" else self.lowest_ft), self.shot_sd_ft

    def on_day(self, hydrant: NDArray[np.intp], days: ArrayLike) -> NDArray[np.intp]:
        """
        The survey of a hydrant that a day belongs to, -1 where there is none, shape (m,).

        Parameters
        ----------
        hydrant, days
            Position and day, shape (m,). [datetime64[D]]
        """
        return survey_on(self.hydrant, self.on, self.until, hydrant, days)

    @staticmethod
    def told(values: NDArray[np.float64], survey: NDArray[np.intp]) -> NDArray[np.float64]:
        """
        Values of surveys, missing where the survey is -1, shape (m,).

        Parameters
        ----------
        values
            Of each survey, shape (k,).
        survey
            Which, shape (m,).

        Examples
        --------
        >>> GradeFit.told(np.array([], dtype=float), np.array([-1])).tolist()
        [nan]
        """
        return np.append(values, np.nan)[survey]

    def before(self) -> NDArray[np.intp]:
        """The survey of the same hydrant before each, -1 where there is none, shape (k,)."""
        rows = np.arange(len(self.hydrant)) - 1
        same = np.zeros(len(rows), dtype=bool)
        same[1:] = self.hydrant[1:] == self.hydrant[:-1]
        return np.where(same, rows, -1)

    def doubted(self) -> NDArray[np.bool_]:
        """
        Whether a shot or two alone say that the ground has moved far since the survey before.

        Farther than `OUTLIER_FLOOR_FT`, and no neighbor tells whether they are blunders; shape
        (k,).
        """
        before = self.before()
        moved = np.abs(self.elev_ft - self.elev_ft[before]) > OUTLIER_FLOOR_FT
        return np.asarray((before >= 0) & moved & (self.shots < SURE_SHOTS), dtype=bool)
