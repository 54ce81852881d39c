"""
Surveys of several times: which shots belong together, and which of them tells the grade as it is.

Shots of one hydrant from two times are no sample of one ground: it may have been filled between.

References
----------
.. [1] JCGM 106:2012, 6.2: a difference is told from nothing where it exceeds its expanded
   uncertainty; 1.96 standard uncertainties cover 95 % (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

ONE_SURVEY_DAYS = 30
"""Shots of a hydrant are of one survey where they were taken within so many days: common practice,
no source. [days]"""
TOLD_APART = 1.96
"""Two elevations differ where they do by more than this many standard uncertainties [1]_."""
_UNDATED = np.iinfo(np.int32).min
_WIDE = np.int64(1) << 33


def day_numbers(days: ArrayLike) -> NDArray[np.int64]:
    """Days since 1970, those that are not known far before all others, same shape."""
    dates = np.asarray(days, dtype="datetime64[D]")
    return np.where(np.isnat(dates), _UNDATED, dates.astype(np.int64))


def split(hydrant: NDArray[np.intp], days: ArrayLike) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """
    Number the surveys of each hydrant by its shots.

    Parameters
    ----------
    hydrant
        Position of the hydrant of each shot, ascending, shape (p,).
    days
        When each was taken, NaT where that is not known, shape (p,). [datetime64[D]]

    Returns
    -------
    survey
        Of each shot, shape (p,): from 0, by hydrant, then by day, those of unknown day first.
    of
        Position of the hydrant of each survey, shape (k,).

    Examples
    --------
    >>> day = ["2023-05-02", "2023-05-09", "2026-06-01", "NaT"]
    >>> survey, of = split(np.array([0, 0, 0, 4]), day)
    >>> survey.tolist(), of.tolist()
    ([0, 0, 1, 2], [0, 0, 4])
    """
    day = day_numbers(days)
    begins = np.ones(len(hydrant), dtype=bool)
    begins[1:] = hydrant[1:] != hydrant[:-1]
    if not len(day) or day.max() - day.min() <= ONE_SURVEY_DAYS:  # most often
        return np.cumsum(begins) - 1, hydrant[begins]
    order = np.lexsort((day, hydrant))
    ordered, mine = day[order], hydrant[order]
    begins[1:] |= np.diff(ordered) > ONE_SURVEY_DAYS
    # shots that follow each other without a pause are parted from the first one on
    first = ordered[np.maximum.accumulate(np.where(begins, np.arange(len(begins)), 0))]
    part = (ordered - first) // (ONE_SURVEY_DAYS + 1)
    begins[1:] |= np.diff(part) != 0
    survey = np.empty(len(hydrant), dtype=np.intp)
    survey[order] = np.cumsum(begins) - 1
    return survey, mine[begins]


def standing(
    of: NDArray[np.intp],
    elev_ft: NDArray[np.float64],
    sd_ft: NDArray[np.float64],
    *,
    hydrants: int,
    vague_ft: float,
) -> NDArray[np.intp]:
    """
    The survey that tells the grade of each hydrant as it is, -1 where there is none, shape (n,).

    Parameters
    ----------
    of
        Position of the hydrant of each survey, by hydrant, then by day, shape (k,).
    elev_ft, sd_ft
        Grade and standard uncertainty by each, shape (k,). [ft]
    hydrants
        n.
    vague_ft
        A survey that tells the grade no better than this is vague. [ft]

    Notes
    -----
    The newest stands. Where that one is vague an older one does that is not, as long as none after
    it tells that the ground has moved [1]_.

    Examples
    --------
    >>> sure, vague = 0.02, 0.7
    >>> standing(np.array([0, 0]), np.array([100.0, 100.5]), np.array([sure, vague]),
    ...          hydrants=1, vague_ft=0.1).tolist()
    [0]
    >>> standing(np.array([0, 0]), np.array([100.0, 103.0]), np.array([sure, vague]),
    ...          hydrants=1, vague_ft=0.1).tolist()
    [1]
    """
    result = np.full(hydrants, -1, dtype=np.intp)
    result[of] = np.arange(len(of))  # of several for one place the last stays
    asking = result >= 0
    asking[asking] = sd_ft[result[asking]] > vague_ft
    first = np.searchsorted(of, np.arange(hydrants))
    older = result - 1
    moved = np.zeros(hydrants, dtype=bool)
    newest = result.copy()
    asking &= older >= first
    while asking.any():  # as often as a hydrant was surveyed
        at = np.flatnonzero(asking)
        had, has = newest[at], older[at]
        apart = np.abs(elev_ft[had] - elev_ft[has])
        moved[at] |= apart > TOLD_APART * np.hypot(sd_ft[had], sd_ft[has])
        better = ~moved[at] & (sd_ft[has] <= vague_ft)
        result[at[better]] = has[better]
        older[at] -= 1
        asking[at] = ~better & ~moved[at] & (older[at] >= first[at])
    return result


def last_on(
    of: NDArray[np.intp], first: ArrayLike, hydrant: NDArray[np.intp], days: ArrayLike
) -> NDArray[np.intp]:
    """
    The last survey of a hydrant that began on a day or before it, -1 where none did, shape (m,).

    Parameters
    ----------
    of, first
        Position of the hydrant and first day of each survey, by hydrant, then by day; shape (k,).
    hydrant, days
        Position and day, shape (m,).

    Examples
    --------
    >>> days = np.array(["2018-05-02", "2026-06-01"], dtype="datetime64[D]")
    >>> last_on(np.array([7, 7]), days, np.array([7, 7]), ["2026-05-31", "2018-01-01"]).tolist()
    [0, -1]
    """
    # hydrant and day as one number, so that one search finds both
    keys = of * _WIDE + day_numbers(first)
    row = np.searchsorted(keys, hydrant * _WIDE + day_numbers(days), side="right") - 1
    same = (row >= 0) & (np.append(of, -1)[row] == hydrant)
    return np.where(same, row, -1)


def survey_on(
    of: NDArray[np.intp],
    first: ArrayLike,
    last: ArrayLike,
    hydrant: NDArray[np.intp],
    days: ArrayLike,
) -> NDArray[np.intp]:
    """
    The survey of a hydrant that a day belongs to, -1 where there is none, shape (m,).

    Parameters
    ----------
    of, first, last
        Position of the hydrant, first and last day of each survey, by hydrant, then by day; shape
        (k,).
    hydrant, days
        Position and day, NaT where that is not known, shape (m,).

    Examples
    --------
    >>> days = np.array(["2023-05-02", "2026-06-01"], dtype="datetime64[D]")
    >>> survey_on(np.array([7, 7]), days, days, np.array([7, 7, 7]),
    ...           ["2026-06-20", "2024-01-01", "NaT"]).tolist()
    [1, -1, -1]
    """
    begin, end, day = day_numbers(first), day_numbers(last), day_numbers(days)
    result = np.full(len(hydrant), -1, dtype=np.intp)
    if not len(of):
        return result
    place = np.searchsorted(of * _WIDE + begin, hydrant * _WIDE + day, side="right")
    nearest = np.full(len(hydrant), np.inf)
    for row in (place - 1, place):  # the survey that began before the day, and the next one
        at = np.clip(row, 0, len(of) - 1)
        apart = np.maximum(np.maximum(begin[at] - day, day - end[at]), 0)
        fits = (row == at) & (of[at] == hydrant) & (apart <= ONE_SURVEY_DAYS) & (apart < nearest)
        fits &= day != _UNDATED
        result[fits], nearest[fits] = at[fits], apart[fits]
    return result
