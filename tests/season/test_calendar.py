"""Jobs onto crew days: no limit is broken, small ones equal every order there is."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from hydrantgis.season.calendar import EARLY_H, CrewDays, Work, moved, place_jobs


def work_of(at, *, hours=1.0, allowed=None, days=1, apart=0.0, speed=1.0, **more):
    """Jobs at places on a plane, the last place being the depot."""
    at = np.asarray(at, dtype=np.float64)
    n = len(at) - 1
    ways = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) / speed
    pairs = (
        cKDTree(at[:n]).query_pairs(np.nextafter(apart, 0), output_type="ndarray")
        if n > 1 and apart > 0 else np.zeros((0, 2), dtype=np.intp)
    )  # fmt: skip
    told = {
        "hours": np.full(n, hours), "area": np.zeros(n, dtype=np.intp), "priority": np.ones(n),
        "must": np.zeros(n, dtype=bool), "allowed": np.ones((n, days), dtype=bool),
        "neighbours": pairs.astype(np.intp), "travel": ways,
    }  # fmt: skip
    if allowed is not None:
        told["allowed"] = np.asarray(allowed, dtype=bool)
    return Work(**{**told, **more})


def way(work, stops):
    n = len(work.hours)
    return sum(work.travel[a, b] for a, b in itertools.pairwise((n, *stops, n))) if stops else 0.0


def faults(work, days, tours, area_hours=0.0):
    """Every limit of a plan, by plain loops."""
    told, seen, opened = [], set(), set()
    for route, stops in enumerate(tours.stops):
        hours = way(work, stops) + sum(work.hours[j] for j in stops)
        for job in stops:
            if job in seen:
                told.append(f"{job} twice")
            seen.add(job)
            if not work.allowed[job, route]:
                told.append(f"{job} not allowed on {route}")
            area = work.area[job]
            if area not in opened:
                opened.add(area)
                hours += area_hours
                if not tours.mobilises[job]:
                    told.append(f"{job} opens its area and does not mobilise")
            elif tours.mobilises[job]:
                told.append(f"{job} mobilises an area that is open")
        if hours > days.hours[route] + 1e-6:
            told.append(f"crew day {route} takes {hours}")
    day_of = {j: days.day[r] for r, stops in enumerate(tours.stops) for j in stops}
    for a, b in work.neighbours.tolist():
        if a in day_of and day_of.get(a) == day_of.get(b):
            told.append(f"{a} and {b} on one day")
    return told


@pytest.mark.parametrize("seed", range(5))
def test_the_order_of_eight_stops_is_the_shortest_of_all_orders(seed):
    rng = np.random.default_rng(seed)
    work = work_of(rng.uniform(0, 10, (9, 2)), hours=0.1)
    (stops,) = place_jobs(work, CrewDays(hours=np.array([1e3]), day=np.array([0]))).stops
    best = min(way(work, order) for order in itertools.permutations(range(8)))
    assert sorted(stops) == list(range(8))
    assert way(work, stops) == pytest.approx(best)


def cost_of(work, days, tours, priority):
    """What a plan is worth: driving, and a little for being early."""
    weight = priority / priority.mean()
    return sum(
        way(work, stops) + sum(EARLY_H * weight[j] * days.day[r] for j in stops)
        for r, stops in enumerate(tours)
    )


@pytest.mark.parametrize("seed", range(6))
def test_six_jobs_on_three_days_equal_the_best_of_all_plans(seed):
    rng = np.random.default_rng(100 + seed)
    at = rng.uniform(0, 5, (7, 2))
    allowed = rng.random((6, 3)) < 0.8
    allowed[:, 2] |= ~allowed.any(axis=1)
    work = work_of(at, allowed=allowed, apart=1.5, priority=rng.uniform(0.5, 3, 6), hours=3.0)
    days = CrewDays(hours=np.array([24.0, 18.0, 24.0]), day=np.array([0, 0, 1]))
    tours = place_jobs(work, days)
    assert faults(work, days, tours) == []
    best = np.inf
    for days_of in itertools.product(range(3), repeat=6):
        if not all(allowed[j, r] for j, r in enumerate(days_of)):
            continue
        on = [days.day[r] for r in days_of]
        if any(on[a] == on[b] for a, b in work.neighbours.tolist()):
            continue
        plan = []
        for route in range(3):
            jobs = [j for j in range(6) if days_of[j] == route]
            order = min(itertools.permutations(jobs), key=lambda o: way(work, o))
            if way(work, order) + sum(work.hours[j] for j in jobs) > days.hours[route]:
                break
            plan.append(order)
        else:
            best = min(best, cost_of(work, days, plan, work.priority))
    if np.isfinite(best):
        assert sum(map(len, tours.stops)) == 6
        found = cost_of(work, days, tours.stops, work.priority)
        assert found == pytest.approx(best)


@given(
    n=st.integers(0, 14), r=st.integers(0, 6), seed=st.integers(0, 10_000),
    apart=st.sampled_from([0.0, 1.0, 4.0]), area_hours=st.sampled_from([0.0, 1.5]),
)  # fmt: skip
@settings(deadline=None)
def test_no_plan_breaks_a_limit(n, r, seed, apart, area_hours):
    rng = np.random.default_rng(seed)
    work = work_of(
        rng.uniform(0, 6, (n + 1, 2)), allowed=rng.random((n, r)) < 0.7, apart=apart, speed=4.0,
        hours=2.5, area=rng.integers(0, 3, n), priority=rng.uniform(0, 4, n),
        must=rng.random(n) < 0.2,
    )  # fmt: skip
    days = CrewDays(hours=rng.uniform(3, 9, r), day=np.sort(rng.integers(0, max(r, 1), r)))
    tours = place_jobs(work, days, area_hours=area_hours, rounds=150)
    assert faults(work, days, tours, area_hours) == []
    again = place_jobs(work, days, area_hours=area_hours, rounds=150)
    assert again.stops == tours.stops


def test_what_must_be_done_has_a_day_before_what_is_worth_more():
    work = work_of(
        [[1, 0], [1, 1], [0, 0]], hours=6.0, priority=np.array([9.0, 0.1]),
        must=np.array([False, True]),
    )  # fmt: skip
    tours = place_jobs(work, CrewDays(hours=np.array([9.0]), day=np.array([0])))
    assert tours.stops == ((1,),)


def test_a_job_that_only_its_neighbor_keeps_out_says_so():
    days = CrewDays(hours=np.array([20.0]), day=np.array([0]))
    crowded = place_jobs(work_of([[1, 0], [1.5, 0], [0, 0]], apart=2.0), days)
    assert crowded.crowded.sum() == 1
    full = CrewDays(hours=np.array([3.2]), day=np.array([0]))
    assert place_jobs(work_of([[1, 0], [1.5, 0], [0, 0]], apart=2.0), full).crowded.sum() == 0


def test_more_rounds_never_make_a_plan_worse_than_the_start():
    rng = np.random.default_rng(3)
    work = work_of(rng.uniform(0, 10, (41, 2)), speed=5.0, days=12)
    days = CrewDays(hours=np.full(12, 8.0), day=np.arange(12))
    start, found = (place_jobs(work, days, rounds=k) for k in (0, 1500))
    assert cost_of(work, days, found.stops, work.priority) < cost_of(
        work, days, start.stops, work.priority
    )


def test_what_a_move_does_is_the_difference_of_both_ways():
    work = work_of([[0, 3], [0, 4], [9, 0], [0, 0]], days=2, allowed=[[1, 0], [1, 1], [0, 1]])
    days = CrewDays(hours=np.array([30.0, 30.0]), day=np.array([0, 1]))
    tours = place_jobs(work, days)
    assert [sorted(stops) for stops in tours.stops] == [[0, 1], [2]]
    more = moved(work, days, tours, 1, np.array([False, True]))
    # from 0-3-4-0, 8 long, to 0-3-0; and from 0-9-0 to 0-9-(0,4)-0
    assert more == pytest.approx((6 + 9 + np.hypot(9, 4) + 4) - (8 + 18))
    assert np.isnan(moved(work, days, tours, 1, np.array([False, False])))
