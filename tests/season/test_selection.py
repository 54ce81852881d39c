"""Which jobs are chosen, against trying every set of them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hydrantgis.job.solving import select
from hydrantgis.season.selection import Candidates, Limits, broken, greedy

FEW = settings(max_examples=60, deadline=None)


def jobs_of(rows):
    priority, cost, hours, area, must, never = zip(*rows, strict=True)
    return Candidates(
        priority=np.array(priority, float), cost=np.array(cost, float),
        hours=np.array(hours, float), area=np.array(area, np.intp), must=np.array(must, bool),
        never=np.array(never, bool),
    )  # fmt: skip


def keeps(rows, limits, chosen):
    """Whether a set of jobs keeps every limit, by adding up."""
    done = [row for row, taken in zip(rows, chosen, strict=True) if taken]
    areas = {row[3] for row in done}
    if sum(row[1] for row in done) + len(areas) * limits.area_cost > limits.budget + 1e-9:
        return False
    if sum(row[2] for row in done) + len(areas) * limits.area_hours > limits.crew_hours + 1e-9:
        return False
    if any(row[4] and not taken for row, taken in zip(rows, chosen, strict=True)):
        return False
    if any(row[5] for row in done):
        return False
    return all(sum(row[3] == a for row in done) >= owed for a, owed in enumerate(limits.least))


rows_of = st.lists(
    st.tuples(
        st.integers(0, 9), st.integers(1, 9), st.integers(1, 5), st.integers(0, 2),
        st.sampled_from([False] * 8 + [True]), st.sampled_from([False] * 8 + [True]),
    ),
    min_size=1, max_size=9,
)  # fmt: skip
limits_of = st.builds(
    lambda budget, hours, cost, time, least: Limits(
        budget=float(budget), crew_hours=float(hours), area_cost=float(cost),
        area_hours=float(time), least=np.array(least, np.intp),
    ),
    st.integers(0, 40), st.integers(0, 25), st.integers(0, 4), st.integers(0, 2),
    st.lists(st.sampled_from([0, 0, 0, 1, 2]), min_size=3, max_size=3),
)  # fmt: skip


@FEW
@given(rows=rows_of, limits=limits_of)
def test_no_set_of_jobs_within_the_limits_is_worth_more(rows, limits):
    told = select(jobs_of(rows), limits, gap=0.0)
    best = None
    for chosen in itertools.product([False, True], repeat=len(rows)):
        if keeps(rows, limits, chosen):
            value = sum(row[0] for row, taken in zip(rows, chosen, strict=True) if taken)
            best = value if best is None else max(best, value)
    if best is None:
        assert told.why_none
        assert not told.chosen.any()
        return
    assert keeps(rows, limits, told.chosen)
    assert told.value == pytest.approx(best)
    assert told.bound >= told.value - 1e-9
    assert told.by_greedy <= told.value + 1e-9


@FEW
@given(rows=rows_of, limits=limits_of)
def test_what_is_said_to_be_broken_is_what_adding_up_says(rows, limits):
    jobs = jobs_of(rows)
    for chosen in (greedy(jobs, limits), np.ones(len(rows), bool), np.zeros(len(rows), bool)):
        assert (broken(jobs, limits, chosen) == []) == keeps(rows, limits, chosen)


def a_town(n, areas, seed):
    rng = np.random.default_rng(seed)
    jobs = Candidates(
        priority=rng.uniform(1, 10, n), cost=rng.uniform(400, 1500, n), hours=rng.uniform(2, 6, n),
        area=rng.integers(0, areas, n), must=rng.random(n) < 0.01, never=rng.random(n) < 0.01,
    )  # fmt: skip
    jobs.never[jobs.must] = False
    limits = Limits(
        budget=0.3 * jobs.cost.sum(), crew_hours=0.4 * jobs.hours.sum(), area_cost=300.0,
        area_hours=2.0, least=np.full(areas, 3),
    )  # fmt: skip
    return jobs, limits


def test_a_thousand_jobs_are_chosen_to_a_thousandth_the_same_each_time():
    jobs, limits = a_town(1000, 12, 4)
    one, two = select(jobs, limits), select(jobs, limits)
    np.testing.assert_array_equal(one.chosen, two.chosen)
    assert one.gap <= 1e-3
    assert one.value >= one.by_greedy
    assert broken(jobs, limits, one.chosen) == []
    assert "budget" in one.binding


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"budget": 0.0}, "no job fits"),
        ({"crew_hours": 0.0}, "no job fits"),
        ({"least": np.array([4])}, "too few jobs in 1 of the areas"),
    ],
)
def test_an_empty_season_says_why(change, why):
    rows = [(5, 10, 3, 0, False, False)] * 3
    usual = {"budget": 90.0, "crew_hours": 90.0, "area_cost": 5.0, "area_hours": 1.0,
             "least": np.array([0])}  # fmt: skip
    told = select(jobs_of(rows), Limits(**{**usual, **change}))
    assert not told.chosen.any()
    assert why in "; ".join(told.why_none)


def test_what_must_be_done_beyond_the_budget_is_told_and_nothing_else_is_tried():
    rows = [(5, 10, 3, 0, True, False), (5, 10, 3, 0, False, False)]
    limits = Limits(
        budget=9.0, crew_hours=90.0, area_cost=0.0, area_hours=0.0, least=np.zeros(1, int)
    )
    assert select(jobs_of(rows), limits).why_none == ("cost 10.00 over the budget of 9.00",)
    both = [(5, 10, 3, 0, True, True)]
    assert "must be done and may not be" in select(jobs_of(both), limits).why_none[0]


def test_no_jobs_make_no_season():
    none = np.zeros(0)
    jobs = Candidates(priority=none, cost=none, hours=none, area=none.astype(np.intp),
                      must=none.astype(bool), never=none.astype(bool))  # fmt: skip
    limits = Limits(
        budget=1.0, crew_hours=1.0, area_cost=0.0, area_hours=0.0, least=np.zeros(0, int)
    )
    assert select(jobs, limits).why_none == ("there are no jobs",)


def test_the_solver_says_nothing_on_standard_output(capfd):
    jobs, limits = a_town(40, 3, 1)
    select(jobs, limits)
    assert capfd.readouterr().out == ""
