"""How sure a share is, against SciPy, against every outcome, and by drawing lots."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from hydrantgis.assess.shares import bounds_of_all, count_of_chances, wilson


@given(st.integers(1, 3000), st.data(), st.sampled_from([0.8, 0.95, 0.99]))
def test_the_interval_is_that_of_scipy(measured, data, confidence):
    inside = data.draw(st.integers(0, measured))
    low, high = wilson(inside, measured, confidence=confidence)
    told = binomtest(inside, measured).proportion_ci(confidence, method="wilson")
    assert float(low) == pytest.approx(told.low, abs=1e-12)
    assert float(high) == pytest.approx(told.high, abs=1e-12)
    assert 0 <= low <= inside / measured <= high <= 1


def test_none_measured_has_no_interval_and_warns_of_nothing():
    low, high = wilson([0, 2], [0, 2])
    assert np.isnan(low[0])
    assert np.isnan(high[0])
    assert high[1] == 1.0


def test_the_ends_solve_the_equation_that_wilson_begins_with():
    """Each end is the share from which the one found lies z standard errors away."""
    low, high = wilson(30, 66)
    for end in (float(low), float(high)):
        apart = abs(30 / 66 - end) / math.sqrt(end * (1 - end) / 66)
        assert apart == pytest.approx(1.959963984540054, rel=1e-12)


@given(st.lists(st.floats(0, 1), min_size=0, max_size=9))
def test_a_count_of_chances_is_that_of_every_outcome_weighed(p):
    mean = spread = 0.0
    outcomes = [
        (sum(hit), math.prod(q if h else 1 - q for q, h in zip(p, hit, strict=True)))
        for hit in itertools.product([0, 1], repeat=len(p))
    ]
    mean = sum(many * weight for many, weight in outcomes)
    spread = math.sqrt(sum((many - mean) ** 2 * weight for many, weight in outcomes))
    expected, sd = count_of_chances(p)
    assert expected == pytest.approx(mean, abs=1e-9)
    assert sd == pytest.approx(spread, abs=1e-6)


def test_a_missing_probability_is_left_out():
    assert count_of_chances([0.5, float("nan")]) == count_of_chances([0.5])


@pytest.mark.slow
def test_drawing_lots_a_hundred_thousand_times_gives_the_same_count_and_spread():
    chance = np.random.default_rng(11)
    p = chance.beta(2, 1, 300)
    drawn = (chance.random((100_000, 300)) < p).sum(axis=1)
    expected, sd = count_of_chances(p)
    assert expected == pytest.approx(drawn.mean(), abs=4 * sd / math.sqrt(100_000))
    assert sd == pytest.approx(drawn.std(), rel=0.02)


@pytest.mark.slow
def test_intervals_of_samples_hold_the_share_about_as_often_as_they_say():
    chance = np.random.default_rng(5)
    for share, many in ((0.6, 335), (0.9, 40), (0.5, 12)):
        inside = chance.binomial(many, share, 40_000)
        low, high = wilson(inside, np.full(40_000, many))
        assert np.mean((low <= share) & (share <= high)) == pytest.approx(0.95, abs=0.02)


@given(st.integers(0, 8), st.integers(0, 8), st.integers(0, 8))
def test_bounds_are_the_least_and_most_of_all_that_the_others_could_be(inside, out, unseen):
    judged = inside + out + unseen
    if judged:
        each = [(inside + others) / judged for others in range(unseen + 1)]
        assert bounds_of_all(inside, inside + out, judged) == (min(each), max(each))
