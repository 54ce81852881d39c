"""
Which jobs a season does, and on which days.

They are chosen by a guess of the driving, put on crew days, and chosen again by what crews drove.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.job.moment import quiet
from hydrantgis.job.solving import Selected, select
from hydrantgis.season.calendar import CrewDays, Tours, Work, place_jobs
from hydrantgis.season.candidates import ready_on
from hydrantgis.season.crewdays import openings
from hydrantgis.season.orders import from_shelf
from hydrantgis.season.selection import Candidates, Limits

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    from numpy.typing import NDArray

    from hydrantgis.job.contenders import Contenders

ATTEMPTS = 3
"""The jobs are chosen so often, by a better guess of the driving each time."""
_CLOSE = 0.05
_QUICK = 0.2
"""Share of the search while jobs are still being chosen."""


@dataclass(frozen=True, slots=True)
class Made:
    """
    A plan on the way.

    Attributes
    ----------
    selected, pool
        The choice; what it was made from, and within which limits.
    chosen
        Positions of the jobs chosen, among all.
    why_not
        Why one of them has no day, in words; None where it has.
    way_ft, by_streets
        Ways among them, the depot last, and whether they follow streets, shape (k + 1, k + 1). [ft]
    work, tours
        What was put on the calendar, and the calendar.
    cost, hours, priority
        Of what is on it. [money, h, -]
    """

    selected: Selected
    pool: tuple[Candidates, Limits]
    chosen: NDArray[np.intp]
    why_not: NDArray[np.object_]
    way_ft: NDArray[np.float64]
    by_streets: NDArray[np.bool_]
    work: Work
    tours: Tours
    cost: float
    hours: float
    priority: float


def pool(from_: Contenders, scale: float) -> tuple[Candidates, Limits, NDArray[np.intp]]:
    """
    What can be chosen, within what; a guess of the driving is part of what a job takes.

    Parameters
    ----------
    from_
        The jobs.
    scale
        By what the guess is multiplied.

    Returns
    -------
    candidates, limits
        Of the jobs that can be done.
    rows
        Which ones these are.
    """
    table, words = from_.table, from_.words
    rows = np.flatnonzero(table["barred"].isna().to_numpy())
    free = table.iloc[rows]
    area, names = pd.factorize(free["area_id"].fillna(""), sort=True)
    drive = free["drive_hours_about"].to_numpy() * scale
    jobs = Candidates(
        priority=free["priority"].to_numpy(),
        cost=free["job_cost"].to_numpy() + drive * words.hour_cost,
        hours=free["job_hours"].to_numpy() + drive, area=area.astype(np.intp),
        must=free["must"].to_numpy(), never=np.zeros(len(free), dtype=bool),
    )  # fmt: skip
    there, most = float(from_.days["hours"].sum()), words.most_crew_hours
    owed = [words.least.get(name, 0) for name in names]
    lost = [least for name, least in words.least.items() if name not in set(names) and least]
    limits = Limits(
        budget=words.available, crew_hours=there if most is None else min(there, most),
        area_cost=words.area_cost + words.area_hours * words.hour_cost,
        area_hours=words.area_hours,
        # an area without any job that can be done is owed in vain
        least=np.array([*owed, *lost], dtype=np.intp),
    )  # fmt: skip
    return jobs, limits, rows


def choose(
    from_: Contenders,
    *,
    seed: int = 1,
    tell: Callable[[str], None] = quiet,
    like: Collection[str] = (),
) -> Made:
    """
    Choose by a guess of the driving, put on days, choose again by what crews drove.

    Parameters
    ----------
    from_
        The jobs.
    seed
        Of the random numbers.
    tell
        Told each stage of the work.
    like
        Hydrants that another plan chose. Where that choice still holds and nothing better is found,
        it stays.

    Returns
    -------
    made
        The plan of the highest priority that keeps every limit; an empty one where none does.
    """
    vain = _owed_in_vain(from_)
    if vain:
        return _empty(from_, vain, seed=seed)
    best: Made | None = None
    scale, wrong, before = 1.0, "", None
    about = from_.table["drive_hours_about"].to_numpy()
    for attempt in range(2 * ATTEMPTS):
        tell("choosing the jobs" if not attempt else "choosing again, by the driving of the plan")
        jobs, limits, rows = pool(from_, scale)
        selected = select(jobs, limits)
        chosen = rows[selected.chosen]
        if before is not None and np.array_equal(chosen, before):
            break
        before = chosen
        tell("the calendar")
        made = _placed(from_, chosen, selected, (jobs, limits), seed=seed, share=_QUICK)
        broken = _broken(from_, made)
        if not broken and (best is None or made.priority > best.priority + 1e-9):
            best = made
        wrong = broken or wrong
        guess = float(about[chosen].sum()) * scale
        if not len(chosen) or not guess or (best is not None and attempt + 1 >= ATTEMPTS):
            break
        right = _driven(made.work, made.tours) / guess
        if best is made and (abs(right - 1.0) < _CLOSE or (right < 1 and not selected.binding)):
            break
        scale *= float(np.clip(right, 0.2, 5.0)) * (1.02 if broken else 1.0)
    if best is None:
        return _empty(from_, (wrong,), seed=seed)
    same = from_.table["hydrant_id"].isin(list(like)).to_numpy()
    kept = same & from_.table["barred"].isna().to_numpy()
    if same.any() and kept[same].all() and kept[from_.table["must"].to_numpy()].all():
        tell("the choice as it was before")
        old = _placed(from_, np.flatnonzero(kept), best.selected, best.pool, seed=seed)
        if not _broken(from_, old) and old.priority > best.priority - 1e-9:
            best = old
    tell("the calendar, at leisure")
    last = _placed(from_, best.chosen, best.selected, best.pool, seed=seed)
    better = last.priority > best.priority + 1e-9 or (
        last.priority > best.priority - 1e-9 and last.hours <= best.hours
    )
    return last if better and not _broken(from_, last) else best


def _owed_in_vain(from_: Contenders) -> tuple[str, ...]:
    """Areas that are owed more jobs than can be done there, and what stands in the way."""
    table, told = from_.table, []
    for area, least in sorted(from_.words.least.items()):  # a few areas
        barred = table["barred"][(table["area_id"] == area).to_numpy()]
        able = int(barred.isna().sum())
        if able < least:
            why = barred.dropna().value_counts()
            most = f"; {why.iloc[0]:,} more: {why.index[0]}" if len(why) else ""
            told.append(f"area {area} is owed {_jobs_said(least)}, {able:,} can be done{most}")
    return tuple(told)


def _jobs_said(many: int) -> str:
    return f"{many:,} job{'' if many == 1 else 's'}"


def _empty(from_: Contenders, why: tuple[str, ...], *, seed: int) -> Made:
    """A plan of nothing."""
    jobs, limits, rows = pool(from_, 1.0)
    nothing = np.zeros(len(rows), dtype=bool)
    selected = Selected(nothing, 0.0, 0.0, 0.0, 0.0, 0.0, (), why)
    return _placed(from_, rows[nothing], selected, (jobs, limits), seed=seed)


def _broken(from_: Contenders, made: Made) -> str:
    """Which limit the calendar breaks, though the choice by a guess of the driving kept it."""
    words, placed = from_.words, _jobs_of(made.tours)
    if not len(made.chosen):
        return ""
    if made.cost > words.available + 0.005:
        return "with the driving it costs more than the budget allows"
    if words.most_crew_hours is not None and made.hours > words.most_crew_hours + 1e-9:
        return "with the driving it takes more than the crew hours allowed"
    areas = from_.table["area_id"].iloc[made.chosen[placed]].value_counts()
    for area, least in words.least.items():
        if areas.get(area, 0) < least:
            return (
                f"area {area} is owed {_jobs_said(least)}, days are found for {areas.get(area, 0)}"
            )
    return ""


def _jobs_of(tours: Tours) -> NDArray[np.intp]:
    """The jobs that have a day."""
    return np.array([job for stops in tours.stops for job in stops], dtype=np.intp)


def _driven(work: Work, tours: Tours) -> float:
    """All driving of a plan. [h]"""
    n = len(work.hours)
    ways = [np.array([n, *stops, n]) for stops in tours.stops if stops]
    return float(sum(work.travel[way[:-1], way[1:]].sum() for way in ways))


def _owed(jobs: pd.DataFrame, least: dict[str, int]) -> NDArray[np.bool_]:
    """The jobs of highest priority in areas that are owed some, as many as they are owed."""
    order = np.argsort(-jobs["priority"].to_numpy(), kind="stable")
    area = jobs["area_id"].iloc[order]
    rank = area.groupby(area).cumcount().reindex(area.index).to_numpy()
    owed = np.zeros(len(jobs), dtype=bool)
    owed[order] = rank < area.map(least).fillna(0).to_numpy(dtype=np.float64)
    return owed


def _placed(
    from_: Contenders,
    chosen: NDArray[np.intp],
    selected: Selected,
    of: tuple[Candidates, Limits],
    *,
    seed: int,
    share: float = 1.0,
) -> Made:
    """Put chosen jobs on crew days."""
    jobs, words, days, ways = from_.table.iloc[chosen], from_.words, from_.days, from_.ways
    shelf = from_shelf(jobs["kit_id"], jobs["priority"], from_.catalogue)
    ready = jobs.assign(ready_on=ready_on(jobs, words, from_.catalogue, shelf=shelf))
    allowed, why_not = openings(ready, days, words)
    way_ft, by_streets = ways.matrix(chosen)
    work = Work(
        hours=jobs["job_hours"].to_numpy(),
        area=pd.factorize(jobs["area_id"].fillna(""), sort=True)[0].astype(np.intp),
        priority=jobs["priority"].to_numpy(),
        must=jobs["must"].to_numpy() | _owed(jobs, words.least), allowed=allowed,
        neighbours=ways.neighbours(chosen, words.apart_ft), travel=ways.hours(way_ft, words),
    )  # fmt: skip
    crew = CrewDays(hours=days["hours"].to_numpy(), day=days["day"].to_numpy())
    tours = place_jobs(work, crew, area_hours=words.area_hours, seed=seed, share=share)
    placed = _jobs_of(tours)
    why_not[tours.crowded] = "a neighbor is out of service on every day that has room"
    lost = np.ones(len(jobs), dtype=bool)
    lost[placed] = False
    why_not[lost & pd.isna(why_not)] = "no crew day has room for it"
    drive, areas = _driven(work, tours), float(tours.mobilises.sum())
    hours = float(work.hours[placed].sum()) + drive + areas * words.area_hours
    cost = float(jobs["job_cost"].to_numpy()[placed].sum()) + areas * words.area_cost
    cost += (drive + areas * words.area_hours) * words.hour_cost
    return Made(
        selected=selected, pool=of, chosen=chosen, why_not=why_not,
        way_ft=way_ft, by_streets=by_streets, work=work,
        tours=tours, cost=cost, hours=hours, priority=float(work.priority[placed].sum()),
    )  # fmt: skip
