"""
Time and worth of a season: `python -m tests.bench.season [JOBS]`.

Selection of 10,000 jobs beside the greedy choice and the bound; a calendar of 500 jobs on 60 crew
days beside one that goes to the nearest job that may be done next, as one would by hand; and, with
neither dates nor neighbors, beside pyvrp.
"""

from __future__ import annotations

import itertools
import resource
import sys
import time

import numpy as np
from scipy.spatial import cKDTree

from hydrantgis.job.solving import select
from hydrantgis.season.calendar import CrewDays, Tours, Work, place_jobs
from hydrantgis.season.selection import Candidates, Limits

AREA_HOURS = 1.0


def candidates(n: int, areas: int = 60) -> tuple[Candidates, Limits]:
    """Jobs of which money pays half."""
    rng = np.random.default_rng(1)
    jobs = Candidates(
        priority=rng.gamma(2.0, 1.5, n), cost=rng.uniform(400, 1500, n),
        hours=rng.uniform(2, 7, n), area=rng.integers(0, areas, n),
        must=np.zeros(n, dtype=bool), never=rng.random(n) < 0.02,
    )  # fmt: skip
    return jobs, Limits(
        budget=float(jobs.cost.sum()) / 2, crew_hours=float(jobs.hours.sum()) * 0.55,
        area_cost=3000.0, area_hours=4.0, least=np.zeros(areas, dtype=np.intp),
    )  # fmt: skip


def town(
    n: int, days: int = 30, crews: int = 2, *, bare: bool = False, seed: int = 1
) -> tuple[Work, CrewDays]:
    """Jobs of half an hour to an hour in 4 by 4 miles; a fifth of them cannot begin at once."""
    rng = np.random.default_rng(seed)
    at = np.vstack([rng.uniform(0, 21_120, (n, 2)), [[10_000.0, 10_000.0]]])
    way = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) * 1.3 / 5280 / 20
    day = np.repeat(np.arange(days), crews)
    allowed = np.ones((n, days * crews), dtype=bool)
    area = (at[:n, 0] // 5280).astype(np.intp) + 4 * (at[:n, 1] // 5280).astype(np.intp)
    pairs = np.zeros((0, 2), dtype=np.intp)
    if not bare:
        ready = np.where(rng.random(n) < 0.2, rng.integers(0, days // 2, n), 0)
        shut = rng.integers(0, days - 5, 16)
        allowed &= day >= ready[:, None]
        allowed &= (day < shut[area][:, None]) | (day >= shut[area][:, None] + 5)
        pairs = cKDTree(at[:n]).query_pairs(600.0, output_type="ndarray").astype(np.intp)
    work = Work(
        hours=rng.uniform(0.5, 1.0, n), area=area, priority=rng.gamma(2.0, 1.5, n),
        must=np.zeros(n, dtype=bool), allowed=allowed, neighbours=pairs, travel=way,
    )  # fmt: skip
    return work, CrewDays(hours=np.full(days * crews, 8.0), day=day)


def by_hand(work: Work, days: CrewDays, area_hours: float) -> Tours:
    """Crew day after crew day, each going on to the nearest job that may be done."""
    n, r = work.allowed.shape
    left, opened, mobilises = set(range(n)), set(), np.zeros(n, dtype=bool)
    near: dict[int, set[int]] = {job: set() for job in range(n)}
    for a, b in work.neighbours.tolist():
        near[a].add(b)
        near[b].add(a)
    out_on: dict[int, set[int]] = {}
    tours = []
    for route in range(r):
        stops: list[int] = []
        here, hours, out = n, 0.0, out_on.setdefault(int(days.day[route]), set())
        while True:
            best, cost = -1, np.inf
            for job in left:
                more = work.travel[here, job] + work.hours[job]
                more += 0.0 if work.area[job] in opened else area_hours
                back = work.travel[job, n]
                if (
                    work.allowed[job, route] and not near[job] & out
                    and hours + more + back <= days.hours[route] and work.travel[here, job] < cost
                ):  # fmt: skip
                    best, cost = job, work.travel[here, job]
            if best < 0:
                break
            hours += cost + work.hours[best]
            if work.area[best] not in opened:
                opened.add(work.area[best])
                hours, mobilises[best] = hours + area_hours, True
            stops.append(best)
            out.add(best)
            left.remove(best)
            here = best
        tours.append(tuple(stops))
    return Tours(tuple(tours), mobilises, np.zeros(n, dtype=bool))


def driving(work: Work, tours: Tours) -> float:
    """All driving of a plan. [h]"""
    n = len(work.hours)
    pairs = itertools.chain.from_iterable(
        itertools.pairwise((n, *stops, n)) for stops in tours.stops if stops
    )
    return float(sum(work.travel[a, b] for a, b in pairs))


def by_pyvrp(work: Work, days: CrewDays, seconds: float) -> float:
    """The driving of tours that pyvrp finds, without dates and neighbors. [h]"""
    import pyvrp

    n, scale = len(work.hours), 36_000
    model = pyvrp.Model()
    places = [model.add_location(k, 0) for k in range(n + 1)]
    model.add_depot(places[0])
    for job in range(n):
        model.add_client(places[job + 1], service_duration=round(work.hours[job] * scale))
    model.add_vehicle_type(len(days.hours), shift_duration=round(days.hours[0] * scale))
    ways = np.roll(work.travel, (1, 1), axis=(0, 1))
    whole = np.round(ways * scale).astype(np.int64)
    data = model.data().replace(distance_matrices=[whole], duration_matrices=[whole])
    told = pyvrp.solve(data, pyvrp.stop.MaxRuntime(seconds), seed=1, display=False)
    assert told.is_feasible()
    return float(told.best.distance()) / scale


def main(n: int = 500) -> None:
    jobs, limits = candidates(10_000)
    start = time.perf_counter()
    told = select(jobs, limits)
    took = time.perf_counter() - start
    print(f"10,000 jobs in 60 areas chosen in {took:.1f} s: priority {told.value:,.0f}, "
          f"gap {told.gap:.3%}, greedy {told.by_greedy / told.bound:.2%} of the bound")  # fmt: skip
    work, days = town(n)
    hand = by_hand(work, days, AREA_HOURS)
    start = time.perf_counter()
    ours = place_jobs(work, days, area_hours=AREA_HOURS)
    took = time.perf_counter() - start
    for name, tours in (("by hand", hand), ("hydrantgis", ours)):
        placed, out = sum(map(len, tours.stops)), sum(1 for stops in tours.stops if stops)
        print(f"{n} jobs on {len(days.hours)} crew days, {name}: {placed} placed on {out}, "
              f"driving {driving(work, tours):.1f} h")  # fmt: skip
    print(f"  in {took:.1f} s; way of the greedy order : ours "
          f"{driving(work, hand) / driving(work, ours):.2f}")  # fmt: skip
    bare, long = town(n, days=40, bare=True)
    start = time.perf_counter()
    plain = driving(bare, place_jobs(bare, long))
    took = time.perf_counter() - start
    other = by_pyvrp(bare, long, max(took, 10.0))
    print(f"without dates and neighbors: ours {plain:.2f} h in {took:.1f} s, pyvrp {other:.2f} h "
          f"in {max(took, 10.0):.1f} s, ratio {plain / other:.3f}")  # fmt: skip
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{peak:,.0f} MB at most")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
