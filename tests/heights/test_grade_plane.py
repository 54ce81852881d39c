"""Grade from shots on a plane, at its edges, and which shots count."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import linalg

from hydrantgis.heights.grade import (
    UNCHECKED_SD_FT,
    USUAL_SLOPE,
    grade_at,
)
from hydrantgis.heights.gradefit import CONTACT_GRADE_SD_FT


def textbook(hydrant, shots, z, own_sd):
    """Value at the hydrant and its standard error, by least squares on the design matrix."""
    design = np.column_stack([np.ones(len(shots)), shots - hydrant])
    coefficients, _, rank, _ = linalg.lstsq(design, z)
    assert rank == 3
    residuals = z - design @ coefficients
    freedom = len(z) - 3
    of_fit = np.sqrt(residuals @ residuals / freedom) if freedom else 0.0
    at = np.array([1.0, 0.0, 0.0])
    leverage = at @ np.linalg.inv(design.T @ design) @ at
    sigma, slope = max(own_sd, of_fit), np.hypot(*coefficients[1:])
    error = sigma * np.sqrt(leverage)
    if not freedom:  # no fourth shot tells whether one of the three is wrong
        spread = np.sqrt(np.trace(np.cov(shots.T, bias=True)) / 2)
        steep = max(slope - USUAL_SLOPE, 0.0) * spread
        error = np.sqrt(error**2 + UNCHECKED_SD_FT**2 + steep**2)
    return coefficients[0], error, slope


slopes = st.floats(-0.03, 0.03)
places = st.tuples(st.integers(-120, 120), st.integers(-120, 120))


@given(
    shots=st.lists(places, min_size=3, max_size=9, unique=True),
    east=slopes,
    north=slopes,
    base=st.floats(-200, 9000),
    shift=st.tuples(st.integers(-3_000_000, 3_000_000), st.integers(-3_000_000, 3_000_000)),
)
def test_shots_on_a_plane_give_the_plane_at_the_barrel_wherever_it_lies(
    shots, east, north, base, shift
):
    xy = np.array(shots, dtype=float) / 8
    z = base + east * xy[:, 0] + north * xy[:, 1]
    own = np.full(len(xy), 0.02)
    fit = grade_at([[0.0, 0.0]], xy, z, own)
    moved = grade_at([np.array(shift, dtype=float)], xy + shift, z, own)
    assert moved.fit[0] == fit.fit[0]
    assert moved.elev_ft[0] == pytest.approx(fit.elev_ft[0], abs=1e-6)
    assert moved.sd_ft[0] == pytest.approx(fit.sd_ft[0], abs=1e-9)
    assert fit.shots[0] == len(xy)
    if fit.fit[0] == "plane":
        assert fit.elev_ft[0] == pytest.approx(base, abs=1e-6)
        assert fit.slope[0] == pytest.approx(np.hypot(east, north), abs=1e-7)
    else:
        assert fit.elev_ft[0] == pytest.approx(z.mean(), abs=1e-9)


@given(
    shots=st.lists(places, min_size=3, max_size=9, unique=True),
    lift=st.floats(-500, 500),
)
def test_raising_every_shot_raises_the_grade_and_nothing_else(shots, lift):
    xy = np.array(shots, dtype=float) / 8
    z = 100 + 0.05 * np.sin(np.arange(len(xy)) * 2.4)
    own = np.full(len(xy), 0.02)
    before, after = grade_at([[0, 0]], xy, z, own), grade_at([[0, 0]], xy, z + lift, own)
    assert after.elev_ft[0] - before.elev_ft[0] == pytest.approx(lift, abs=1e-9)
    assert after.sd_ft[0] == pytest.approx(before.sd_ft[0], abs=1e-9)
    assert after.fit[0] == before.fit[0]


@given(
    shots=st.lists(places, min_size=3, max_size=12, unique=True),
    noise=st.lists(st.integers(-8, 8), min_size=12, max_size=12),
    own=st.sampled_from([0.005, 0.02, 0.1]),
)
def test_value_and_uncertainty_are_those_of_least_squares(shots, noise, own):
    xy = np.array(shots, dtype=float) / 8
    z = 640 + xy @ [0.011, -0.007] + np.array(noise[: len(xy)]) / 100
    fit = grade_at([[0.0, 0.0]], xy, z, np.full(len(xy), own))
    assume(fit.fit[0] == "plane")
    value, error, slope = textbook(np.zeros(2), xy, z, own)
    assert fit.elev_ft[0] == pytest.approx(value, abs=1e-8)
    assert fit.sd_ft[0] == pytest.approx(error, rel=1e-6)
    assert fit.slope[0] == pytest.approx(slope, abs=1e-8)
    assert (fit.highest_ft[0], fit.lowest_ft[0]) == (pytest.approx(z.max()), pytest.approx(z.min()))
    design = np.column_stack([np.ones(len(xy)), xy])
    off = z - design @ linalg.lstsq(design, z)[0]
    assert fit.residual_ft[0] == pytest.approx(np.sqrt(np.mean(off**2)), abs=1e-8)
    assert fit.shot_sd_ft[0] == pytest.approx(own)


@pytest.mark.parametrize(
    ("ground", "elev", "sd"), [("highest", 101.0, 0.05), ("lowest", 98.5, 0.05)]
)
def test_the_ground_that_governs_may_be_the_highest_or_lowest_shot(ground, elev, sd):
    xy = [[10.0, 0.0], [-5.0, 8.0], [-5.0, -8.0], [3.0, 9.0]]
    fit = grade_at([[0.0, 0.0]], xy, [101.0, 99.9, 98.5, 100.3], [0.05] * 4)
    at, of = fit.governing(ground)
    assert (at[0], of[0]) == (pytest.approx(elev), pytest.approx(sd))
    with pytest.raises(ValueError, match="barrel, highest, lowest"):
        fit.governing("middle")


def test_a_blunder_is_neither_the_highest_ground_nor_the_lowest():
    xy = [[10.0, 0.0], [-5.0, 8.0], [-5.0, -8.0], [3.0, 9.0]]
    fit = grade_at([[0.0, 0.0]], xy, [100.2, 99.9, 99.9, 5.0], [0.02] * 4)
    assert fit.lowest_ft[0] == pytest.approx(99.9)
    assert fit.shots[0] == 3


def test_many_hydrants_at_once_are_each_done_alone():
    """Six hundred hydrants with shots of their neighbors about, against one solve each."""
    rng = np.random.default_rng(20260601)
    hydrants = rng.uniform(0, 1500, (600, 2))
    shots = rng.uniform(0, 1500, (6000, 2))
    z = 640 + shots @ [0.004, 0.003] + rng.normal(0, 0.04, len(shots))
    fit = grade_at(hydrants, shots, z, np.full(len(shots), 0.03), radius_ft=40.0)
    kinds = set()
    for i, hydrant in enumerate(hydrants):
        near = np.hypot(*(shots - hydrant).T) <= 40.0
        assert fit.shots[i] == near.sum()
        kinds.add(fit.fit[i])
        if fit.fit[i] == "plane":
            value, error, slope = textbook(hydrant, shots[near], z[near], 0.03)
            assert fit.elev_ft[i] == pytest.approx(value, abs=1e-8)
            assert fit.sd_ft[i] == pytest.approx(error, rel=1e-6)
            assert fit.slope[i] == pytest.approx(slope, abs=1e-8)
        elif near.any():
            assert fit.elev_ft[i] == pytest.approx(z[near].mean(), abs=1e-9)
        else:
            assert np.isnan(fit.elev_ft[i])
    assert "plane" in kinds
    assert len(fit.outlier_shot) == 0


@given(
    hydrants=st.lists(places, min_size=1, max_size=5),
    shots=st.lists(places, min_size=1, max_size=60),
    radius=st.sampled_from([0.625, 5.0, 6.25, 10.0, 13.0, 25.0]),
    far=st.sampled_from([0, 937_512, 2_741_003]),
)
def test_shots_within_the_radius_count_and_those_exactly_at_it_do(hydrants, shots, radius, far):
    """Places are eighths of a foot, so that a squared distance in 64ths is a whole number."""
    within = [
        sum(64 * radius**2 >= (a - x) ** 2 + (b - y) ** 2 for a, b in shots) for x, y in hydrants
    ]
    at = np.array(hydrants) / 8 + far
    xy = np.array(shots) / 8 + far
    fit = grade_at(at, xy, np.full(len(xy), 100.0), np.full(len(xy), 0.02), radius_ft=radius)
    assert fit.shots.tolist() == within


@pytest.mark.parametrize("corner", [(7, 24), (15, 20), (20, 15), (24, 7), (25, 0), (0, -25)])
def test_a_shot_exactly_25_ft_away_counts(corner):
    for shift in (0.0, 2_963_503.0):
        at = np.array([[shift, shift]])
        assert grade_at(at, at + corner, [100.0], [0.02], radius_ft=25.0).shots[0] == 1
        beyond = at + np.array(corner) * 1.0001
        assert grade_at(at, beyond, [100.0], [0.02], radius_ft=25.0).shots[0] == 0


def test_dozens_of_shots_at_one_hydrant_all_count():
    angles = np.linspace(0, 2 * np.pi, 150, endpoint=False)
    ring = 20 * np.column_stack([np.cos(angles), np.sin(angles)])
    fit = grade_at([[0, 0], [1000, 0]], ring, 100 + ring @ [0.02, 0.0], np.full(150, 0.02))
    assert fit.shots.tolist() == [150, 0]
    assert fit.elev_ft[0] == pytest.approx(100.0, abs=1e-9)


def test_two_shots_at_one_place_count_twice():
    fit = grade_at([[0, 0]], [[3, 0], [3, 0]], [100.0, 100.1], [0.02, 0.02])
    assert fit.shots[0] == 2
    assert fit.elev_ft[0] == pytest.approx(100.05)


@pytest.mark.parametrize(("wrong", "sure"), [(0.0, True), (1.0, False), (2.0, False), (4.0, False)])
def test_a_wrong_shot_of_three_leaves_no_height_that_orders_a_kit(wrong, sure):
    """Nothing checks it; but ground as steep as it makes is unusual, and so the grade is vague."""
    ring = 8.0 * np.array([[1.0, 0.0], [-0.5, np.sqrt(0.75)], [-0.5, -np.sqrt(0.75)]])
    fit = grade_at([[0.0, 0.0]], ring, [100.0 - wrong, 100.0, 100.0], [0.02] * 3)
    assert (fit.sd_ft[0] <= CONTACT_GRADE_SD_FT) == sure
    assert abs(fit.elev_ft[0] - 100.0) == pytest.approx(wrong / 3)
