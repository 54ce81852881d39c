"""
The days of the crews, and on which of them each job may be done.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.text import fill

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import NDArray

    from hydrantgis.standards.season import SeasonWords


def crew_days(words: SeasonWords) -> pd.DataFrame:
    """
    Every day of every crew, in order of day and crew.

    Parameters
    ----------
    words
        Dates, crews, holidays, and blackouts that hold everywhere.

    Returns
    -------
    days
        Columns `work_date`, `crew_id`, `hours`, and `day`, the number of the day among those that
        anybody works on.
    """
    every = pd.date_range(words.starts_on, words.ends_on, freq="D", unit="ms")
    free = every.isin(pd.DatetimeIndex(words.holidays))
    for blackout in words.blackouts:
        if not blackout.areas:
            free |= np.asarray(
                (every >= pd.Timestamp(blackout.first_on))
                & (every <= pd.Timestamp(blackout.last_on))
            )
    parts = []
    for crew in words.crews:
        there = (
            ~free & every.day_of_week.isin(crew.weekdays) & ~every.isin(pd.DatetimeIndex(crew.off))
        )
        if crew.first_on is not None:
            there &= np.asarray(every >= pd.Timestamp(crew.first_on))
        if crew.last_on is not None:
            there &= np.asarray(every <= pd.Timestamp(crew.last_on))
        days = every[there] if crew.hours_a_day > 0 else every[:0]
        parts.append(
            pd.DataFrame({"work_date": days, "crew_id": crew.crew_id, "hours": crew.hours_a_day})
        )
    frame = pd.concat(parts) if parts else pd.DataFrame({"work_date": every[:0], "crew_id": "",
                                                         "hours": 0.0})  # fmt: skip
    frame = frame.sort_values(["work_date", "crew_id"], kind="stable").reset_index(drop=True)
    return frame.assign(day=pd.factorize(frame["work_date"])[0])


def iso_week(days: pd.Series) -> pd.Series:
    """
    The week of each day as ISO 8601 writes it; missing where there is no day.

    Examples
    --------
    >>> iso_week(pd.Series(pd.to_datetime(["2027-01-03", "2027-01-04", None]))).tolist()
    ['2026-W53', '2027-W01', nan]
    """
    told = days.dt.isocalendar()
    text = told["year"].astype("str") + "-W" + told["week"].astype("str").str.zfill(2)
    return pd.Series(text.astype("str").mask(days.isna()), dtype="str")


def openings(
    jobs: pd.DataFrame, days: pd.DataFrame, words: SeasonWords
) -> tuple[NDArray[np.bool_], NDArray[np.object_]]:
    """
    On which crew days each job may be done, and why where there is none.

    Parameters
    ----------
    jobs
        Columns `remedy`, `area_id`, `hours` with driving there and back,
        `ready_on`, the first day on which parts are there and all have been told, and `asked_crew`
        and `asked_week`, missing where anything goes.
    days
        From `crew_days`.
    words
        Crews and blackouts.

    Returns
    -------
    allowed
        Shape (n, r).
    why_not
        In words; None where there is a day. Shape (n,).
    """
    n = len(jobs)
    allowed = np.ones((n, len(days)), dtype=bool)
    why = np.full(n, None, dtype=object)

    def keep(good: NDArray[np.bool_], reason: NDArray[np.object_] | str) -> None:
        had = allowed.any(axis=1)
        np.logical_and(allowed, good, out=allowed)
        lost = had & ~allowed.any(axis=1)
        why[lost] = reason if isinstance(reason, str) else reason[lost]

    if not len(days):
        why[:] = "the season has no crew day"
        return allowed, why
    does = {crew.crew_id: set(crew.does) for crew in words.crews}
    remedy = jobs["remedy"].to_numpy(dtype=object)
    skilled = np.zeros_like(allowed)
    for name in pd.unique(remedy):  # a few remedies
        able = days["crew_id"].map({crew: name in kinds for crew, kinds in does.items()})
        skilled[remedy == name] = able.to_numpy(dtype=bool)
    keep(skilled, fill("no crew does `{r}`", r=remedy))
    hours = jobs["hours"].to_numpy(dtype=np.float64)
    most = float(days["hours"].max())
    keep(
        hours[:, None] <= days["hours"].to_numpy()[None, :] + 1e-9,
        fill(
            "takes {h} hours with the way there and back; the longest crew day has {m}",
            h=hours, m=np.full(n, most),
        ),
    )  # fmt: skip
    dates = days["work_date"].to_numpy(dtype="datetime64[D]")
    ready = jobs["ready_on"].to_numpy(dtype="datetime64[D]")
    keep(
        dates[None, :] >= ready[:, None],
        fill(
            "its parts and notices take until {d}, after the last crew day", d=ready.astype("str")
        ),
    )
    free = np.ones_like(allowed)
    area = jobs["area_id"].to_numpy(dtype=object)
    titles = np.full(n, "", dtype=object)
    for blackout in words.blackouts:  # a few
        if blackout.areas:
            inside = np.isin(area.astype("str"), blackout.areas) & ~pd.isna(area)
            then = (dates >= np.datetime64(blackout.first_on)) & (
                dates <= np.datetime64(blackout.last_on)
            )
            shut = inside[:, None] & then[None, :]
            free &= ~shut
            counts = (shut & allowed).any(axis=1)
            titles[counts] += np.where(titles[counts] == "", "", ", ") + blackout.title
    keep(free, fill("on every day left nobody may work in its area ({t})", t=titles))
    crew = jobs["asked_crew"].to_numpy(dtype=object)
    of_day = days["crew_id"].to_numpy(dtype=object)
    keep(
        pd.isna(crew)[:, None] | (crew[:, None] == of_day[None, :]),
        fill("crew {c}, to which it was given, has no day for it", c=crew),
    )
    week, of_week = jobs["asked_week"].to_numpy(dtype=object), iso_week(days["work_date"])
    keep(
        pd.isna(week)[:, None] | (week[:, None] == of_week.to_numpy(dtype=object)[None, :]),
        fill("week {w}, to which it was given, has no day for it", w=week),
    )
    return allowed, why


def clock(hours: NDArray[np.float64], starts: float) -> NDArray[np.object_]:
    """
    Times of day, so many hours after the start, to the full minute.

    Parameters
    ----------
    hours
        Since the start, shape (n,). [h]
    starts
        The start, since midnight. [h]

    Examples
    --------
    >>> clock(np.array([0.0, 2.755]), 7.0).tolist()
    ['07:00', '09:45']
    """
    minutes = np.round((np.asarray(hours) + starts) * 60.0).astype(np.int64)
    pad = [np.char.zfill(part.astype("str"), 2) for part in (minutes // 60, minutes % 60)]
    return np.char.add(np.char.add(pad[0], ":"), pad[1]).astype(object)


def last_working_day(days: pd.Series, words: SeasonWords, *, not_before: dt.date) -> pd.Series:
    """
    The last day from Monday to Friday, no holiday, that is not after each day.

    Parameters
    ----------
    days
        Missing ones stay missing.
    words
        Holidays.
    not_before
        No day before this is told, whatever day it is.
    """
    known = days.notna().to_numpy()
    dates = days.to_numpy(dtype="datetime64[D]")[known]
    rolled = np.busday_offset(dates, 0, roll="backward", holidays=list(words.holidays))
    told = np.full(len(days), np.datetime64("NaT"), dtype="datetime64[ms]")
    told[known] = np.maximum(rolled, np.datetime64(not_before, "D"))
    return pd.Series(told, index=days.index)
