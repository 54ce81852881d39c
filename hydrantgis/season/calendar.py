"""
Jobs onto crew days: as many as have room, the weightiest first, with little driving.

A crew day is a tour from the depot and back within its hours. A job may be done on some crew days
only; neighbors are never out of service on one day; the first day in an area takes longer. The
search takes part of a plan apart and puts it together again, many thousand times.

References
----------
.. [1] Christiaens, J. and Vanden Berghe, G., Slack induction by string removals for vehicle routing
   problems, Transportation Science 54 (2020) 417: strings of neighboring stops are taken out, and
   put back greedily with an eye closed now and then (from memory).
.. [2] Kirkpatrick, S., Gelatt, C. D. and Vecchi, M. P., Optimization by simulated annealing,
   Science 220 (1983) 671 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

TAKEN_OUT = 10
"""So many stops are taken out in a round, on average [1]_."""
LONGEST_STRING = 10
"""So many of them from one tour at most [1]_."""
BLINK = 0.01
"""A place for a stop is overlooked with this probability [1]_."""
WHOLE_DAY = 0.05
"""Share of rounds that take a whole crew day apart, so that days can change places."""
LEFT_OUT_H = 10.0
"""A job of mean priority that has no day counts as so much driving: leaving one out to drive less
is never worth it. [h]"""
MUST_TIMES = 100.0
"""How many times as much one counts that must be done."""
EARLY_H = 0.001
"""A job of mean priority a day earlier is worth so much driving: common practice, no source. [h]"""
ROUNDS_A_JOB, LEAST_ROUNDS, MOST_ROUNDS = 80, 2_000, 240_000
"""Rounds of the search."""
_HOT, _COLD = 0.05, 0.0005
"""How much worse a plan is still taken up at the start and at the end, in hours [2]_."""
_ROOM = 1e-9
_TRIED = 10
"""So many of the jobs without a day are tried again in a round."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """
    Jobs to be put on days, n of them in m areas.

    Attributes
    ----------
    hours
        That each takes at its place; shape (n,). [h]
    area
        From 0 to m-1; shape (n,).
    priority, must
        How much each is worth, and whether it has to be done; shape (n,).
    allowed
        On which crew days each may be done; shape (n, r).
    neighbours
        Pairs of jobs that are not done on one day; shape (k, 2).
    travel
        Hours from place to place, the depot last; symmetric; shape (n + 1, n + 1). [h]
    """

    hours: NDArray[np.float64]
    area: NDArray[np.intp]
    priority: NDArray[np.float64]
    must: NDArray[np.bool_]
    allowed: NDArray[np.bool_]
    neighbours: NDArray[np.intp]
    travel: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewDays:
    """
    Crew days in the order of their days, r of them.

    Attributes
    ----------
    hours
        That each has; shape (r,). [h]
    day
        Number of its day, from 0; shape (r,).
    """

    hours: NDArray[np.float64]
    day: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Tours:
    """
    A plan.

    Attributes
    ----------
    stops
        The jobs of each crew day, in order.
    mobilises
        The job that opens its area is the first of it on the first crew day there; shape (n,).
    crowded
        The job has no crew day for its neighbors alone: one of them is out of service on every day
        that has room; shape (n,).
    """

    stops: tuple[tuple[int, ...], ...]
    mobilises: NDArray[np.bool_]
    crowded: NDArray[np.bool_]


class _Plan:
    """
    Tours as chains: after job i comes `after[i]`; crew day c is node n + c, both ends of its chain.

    `step` is the way from each node to the next. `opened` is the crew day that opens an area.
    """

    def __init__(self, work: Work, days: CrewDays, area_hours: float) -> None:
        n, r = work.allowed.shape
        self.work, self.days, self.area_hours, self.n, self.r = work, days, area_hours, n, r
        self.place = np.minimum(np.arange(n + r), n)
        self.after, self.before = np.arange(n + r), np.arange(n + r)
        self.route = np.concatenate([np.full(n, -1), np.arange(r)])
        self.step = np.zeros(n + r)
        self.load, self.extra, self.size = np.zeros(r), np.zeros(r), np.zeros(r, dtype=np.intp)
        areas = int(work.area.max()) + 1 if n else 0
        self.opened = np.full(areas, r)
        self.count = np.zeros((areas, r), dtype=np.intp)
        self.blocked = np.zeros((n, int(days.day.max()) + 1 if r else 0), dtype=np.int16)
        weight = work.priority / max(float(work.priority.mean()), 1e-12) if n else work.priority
        self.early = EARLY_H * weight
        self.missing = LEFT_OUT_H * (1.0 + weight) * np.where(work.must, MUST_TIMES, 1.0)
        self.value = float(self.missing.sum())
        both = np.vstack([work.neighbours, work.neighbours[:, ::-1]]).astype(np.intp)
        both = both[np.argsort(both[:, 0], kind="stable")]
        cuts = np.searchsorted(both[:, 0], np.arange(n + 1))
        self.near = [both[cuts[i] : cuts[i + 1], 1] for i in range(n)]

    _KEPT = (
        "after", "before", "route", "step", "load", "extra", "size", "opened", "count", "blocked",
    )  # fmt: skip

    def kept(self) -> tuple[object, ...]:
        """What `restore` takes."""
        return (*(getattr(self, name).copy() for name in self._KEPT), self.value)

    def restore(self, kept: tuple[object, ...]) -> None:
        """Go back to what was kept; it is not to be restored twice."""
        for name, array in zip(self._KEPT, kept[:-1], strict=True):
            setattr(self, name, array)
        self.value = kept[-1]  # type: ignore[assignment]

    def best(self, job: int, unseen: NDArray[np.bool_] | None = None) -> int:
        """The node after which a job costs least, -1 where it has no room."""
        work = self.work
        to = work.travel[job][self.place]
        more = to + to[self.after] - self.step
        room = self.days.hours - self.load - self.extra - work.hours[job]
        opened = self.opened[work.area[job]]
        room[:opened] -= self.area_hours
        open_ = work.allowed[job] & (self.blocked[job, self.days.day] == 0)
        room = np.append(np.where(open_, room + _ROOM, -np.inf), -np.inf)
        cost = more + np.append(self.early[job] * self.days.day, 0.0)[self.route]
        cost[more > room[self.route]] = np.inf
        if unseen is not None:
            cost[unseen] = np.inf
        node = int(np.argmin(cost))
        return node if np.isfinite(cost[node]) else -1

    def insert(self, job: int, node: int) -> None:
        """Put a job after a node."""
        work, onward, route = self.work, int(self.after[node]), int(self.route[node])
        way = work.travel[job]
        to, on = way[self.place[node]], way[self.place[onward]]
        more = to + on - self.step[node]
        self.after[node], self.after[job], self.before[job], self.before[onward] = (
            job, onward, node, job,
        )  # fmt: skip
        self.step[node], self.step[job] = to, on
        self.route[job] = route
        self.load[route] += more + work.hours[job]
        self.size[route] += 1
        day, area = self.days.day[route], work.area[job]
        self.blocked[self.near[job], day] += 1
        self.count[area, route] += 1
        first = self.opened[area]
        if route < first:
            self.extra[route] += self.area_hours
            if first < self.r:
                self.extra[first] -= self.area_hours
            self.opened[area] = route
        self.value += more + self.early[job] * day - self.missing[job]

    def remove(self, job: int) -> int:
        """Take a job out; the crew day that opens its area from now on, where that changes."""
        work, route = self.work, int(self.route[job])
        node, onward = int(self.before[job]), int(self.after[job])
        straight = work.travel[self.place[node], self.place[onward]]
        less = self.step[node] + self.step[job] - straight
        self.after[node], self.before[onward] = onward, node
        self.step[node], self.step[job] = straight, 0.0
        self.after[job] = self.before[job] = job
        self.route[job] = -1
        self.load[route] -= less + work.hours[job]
        self.size[route] -= 1
        day, area = self.days.day[route], work.area[job]
        self.blocked[self.near[job], day] -= 1
        self.count[area, route] -= 1
        self.value -= less + self.early[job] * day - self.missing[job]
        if self.count[area, route] or self.opened[area] != route:
            return -1
        self.extra[route] -= self.area_hours
        later = np.flatnonzero(self.count[area])
        self.opened[area] = later[0] if len(later) else self.r
        if not len(later):
            return -1
        self.extra[later[0]] += self.area_hours
        return int(later[0])

    def stops(self, route: int) -> list[int]:
        """The jobs of a crew day, in order."""
        told, node = [], int(self.after[self.n + route])
        while node < self.n:
            told.append(node)
            node = int(self.after[node])
        return told


def place_jobs(
    work: Work,
    days: CrewDays,
    *,
    area_hours: float = 0.0,
    seed: int = 1,
    rounds: int | None = None,
    share: float = 1.0,
) -> Tours:
    """
    Jobs onto crew days.

    Parameters
    ----------
    work, days
        Jobs and crew days.
    area_hours
        That the first crew day in an area takes more. [h]
    seed
        Of the random numbers: the same plan for the same seed.
    rounds
        Of the search; by the number of jobs where None.
    share
        Of those by the number of jobs.

    Returns
    -------
    tours
        Within every limit. A job without a crew day has no room, or is worth less than what takes
        its room.

    Examples
    --------
    >>> three = np.array([[0, 1, 2, 1], [1, 0, 1, 2], [2, 1, 0, 3], [1, 2, 3, 0]]) / 10
    >>> work = Work(hours=np.full(3, 2.0), area=np.zeros(3, int), priority=np.array([3.0, 1, 1]),
    ...     must=np.zeros(3, bool), allowed=np.ones((3, 2), bool),
    ...     neighbours=np.array([[0, 1]]), travel=three)
    >>> days = CrewDays(hours=np.array([5.0, 5.0]), day=np.array([0, 1]))
    >>> [sorted(stops) for stops in place_jobs(work, days).stops]
    [[0], [1, 2]]
    """
    plan = _Plan(work, days, area_hours)
    n, r = plan.n, plan.r
    if not n or not r:
        return Tours(((),) * r, np.zeros(n, dtype=bool), np.zeros(n, dtype=bool))
    rng = np.random.default_rng(seed)
    for job in np.lexsort((np.arange(n), -work.priority, ~work.must)).tolist():
        node = plan.best(job)
        if node >= 0:
            plan.insert(job, node)
    if rounds is None:
        rounds = int(share * min(max(ROUNDS_A_JOB * n, LEAST_ROUNDS), MOST_ROUNDS))
    _search(plan, rng, rounds)
    stops = tuple(tuple(plan.stops(route)) for route in range(r))
    mobilises = _mobilises(plan, stops)
    crowded = plan.route[:n] < 0
    plan.blocked[:] = 0
    for job in np.flatnonzero(crowded).tolist():  # the few without a day
        crowded[job] = plan.best(job) >= 0
    return Tours(stops, mobilises, crowded)


def moved(
    work: Work,
    days: CrewDays,
    tours: Tours,
    job: int,
    allowed: NDArray[np.bool_],
    *,
    area_hours: float = 0.0,
) -> float:
    """
    How much more crews drive when one job may be done on other crew days, and all others stay.

    Parameters
    ----------
    work, days, tours, area_hours
        The plan, as `place_jobs`.
    job
        Which job.
    allowed
        On which crew days it may be done, shape (r,).

    Returns
    -------
    hours
        Below 0 where they drive less; missing where it has no room unless others move. [h]
    """
    rows = work.allowed.copy()
    rows[job] = allowed
    plan = _Plan(replace(work, allowed=rows), days, area_hours)
    for route, stops in enumerate(tours.stops):
        node = plan.n + route
        for stop in stops:
            plan.insert(stop, node)
            node = stop
    before = float(plan.step.sum())
    if plan.route[job] >= 0:
        plan.remove(job)
    node = plan.best(job)
    if node < 0:
        return float("nan")
    plan.insert(job, node)
    return float(plan.step.sum()) - before


def _mobilises(plan: _Plan, stops: tuple[tuple[int, ...], ...]) -> NDArray[np.bool_]:
    """The first job of each area on the crew day that opens it."""
    told = np.zeros(plan.n, dtype=bool)
    for area, route in enumerate(plan.opened.tolist()):  # a few areas
        if route < plan.r:
            told[next(job for job in stops[route] if plan.work.area[job] == area)] = True
    return told


def _search(plan: _Plan, rng: np.random.Generator, rounds: int) -> None:
    """Make the plan better; it ends as the best one that was found."""
    n, r, work = plan.n, plan.r, plan.work
    near = np.argsort(work.travel[:n, :n], axis=1, kind="stable")[:, : min(n, 200)]
    far = work.travel[:n, n]
    open_days = work.allowed.sum(axis=1)
    unseen = rng.random(4 * (n + r) + 1) < BLINK
    heat = _HOT
    cooling = (_COLD / _HOT) ** (1.0 / max(rounds, 1))
    best, best_value = plan.kept(), plan.value
    for _ in range(rounds):
        kept, value = plan.kept(), plan.value
        _take_apart(plan, near, rng)
        out = np.flatnonzero(plan.route[:n] < 0)
        if len(out) > 3 * TAKEN_OUT + _TRIED:
            out = rng.choice(out, 3 * TAKEN_OUT + _TRIED, replace=False)
        keys = (rng.random(len(out)), -work.hours[out], -far[out], -work.priority[out],
                open_days[out], far[out])  # fmt: skip
        key = keys[int(rng.choice(6, p=(0.35, 0.25, 0.1, 0.15, 0.1, 0.05)))]
        for job in out[np.argsort(key, kind="stable")].tolist():
            start = int(rng.integers(3 * (n + r)))
            node = plan.best(job, unseen[start : start + n + r])
            if node >= 0:
                plan.insert(job, node)
        if plan.value < best_value - 1e-9:
            best, best_value = plan.kept(), plan.value
        if plan.value > value - heat * np.log(rng.random() + 1e-300):
            plan.restore(kept)
        heat *= cooling
    plan.restore(best)


def _take_apart(plan: _Plan, near: NDArray[np.intp], rng: np.random.Generator) -> None:
    """Take strings of neighboring stops out, or a whole crew day."""
    tours = np.flatnonzero(plan.size)
    if not len(tours):
        return
    late: list[int] = []
    if rng.random() < WHOLE_DAY:
        for job in plan.stops(int(rng.choice(tours))):
            late.append(plan.remove(job))
    longest = min(float(LONGEST_STRING), float(plan.size[tours].mean()))
    most = 4.0 * TAKEN_OUT / (1.0 + longest) - 1.0
    wanted = int(rng.uniform(1.0, most + 1.0))
    ruined: set[int] = set()
    for job in near[int(rng.integers(plan.n))].tolist():
        route = int(plan.route[job])
        if route < 0 or route in ruined:
            continue
        length = int(rng.uniform(1.0, min(float(plan.size[route]), longest) + 1.0))
        stops = plan.stops(route)
        at = stops.index(job)
        start = int(rng.integers(max(0, at - length + 1), min(at, len(stops) - length) + 1))
        late += [plan.remove(stop) for stop in stops[start : start + length]]
        ruined.add(route)
        if len(ruined) >= wanted:
            break
    # a crew day that opens an area from now on may be too short for that
    while late:
        route = late.pop()
        if route >= 0 and plan.size[route]:
            over = plan.load[route] + plan.extra[route] > plan.days.hours[route] + _ROOM
            if over:
                late += [route, plan.remove(int(plan.before[plan.n + route]))]
