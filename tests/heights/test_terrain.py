"""Grades from a terrain model: their uncertainty, and the heights that rest on them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.heights.terrain import (
    grade_sd_ft,
    statements_agree,
    vertical_accuracy,
)


def test_flat_ground_is_as_sure_as_the_model():
    assert grade_sd_ft([0.0], rmse_z_ft=0.5, hydrant_sd_xy_ft=30.0).tolist() == [0.5]


def test_three_four_five():
    """0.3 ft of the model, and 4 ft off on ground that rises one in ten."""
    assert grade_sd_ft(0.1, rmse_z_ft=0.3, hydrant_sd_xy_ft=4.0) == pytest.approx(0.5)


def test_whole_feet_carry_half_a_foot_over_the_root_of_three():
    assert grade_sd_ft(0.0, rmse_z_ft=0.0, hydrant_sd_xy_ft=0.0, step_ft=1.0) == pytest.approx(
        0.288675, abs=1e-6
    )


def test_uncertainty_of_a_grade_is_what_chance_makes_of_it():
    """Beside a simulation: a plane, read at a place that is off, by a model that is off."""
    rng = np.random.default_rng(8)
    n, gx, gy, rmse, sd_xy = 400_000, 0.08, -0.06, 0.33, 5.0
    off = rng.normal(0, sd_xy, (n, 2))
    told = gx * off[:, 0] + gy * off[:, 1] + rng.normal(0, rmse, n)
    sd = float(grade_sd_ft(math.hypot(gx, gy), rmse_z_ft=rmse, hydrant_sd_xy_ft=sd_xy))
    assert told.std() == pytest.approx(sd, rel=0.01)


@given(st.lists(st.floats(-50, 50), min_size=2, max_size=60), st.floats(-9, 9))
def test_mean_and_spread_make_the_rmse(errors, bias):
    survey = np.linspace(500, 900, len(errors))
    told = vertical_accuracy(survey + errors + bias, survey)
    n = len(errors)
    assert told.rmse_z_ft**2 == pytest.approx(
        told.mean_ft**2 + told.sd_ft**2 * (n - 1) / n, abs=1e-6
    )
    assert told.percentile_95_ft <= np.abs(np.array(errors) + bias).max() + 1e-9


def test_the_percentile_lies_between_the_two_largest_of_twenty():
    """The 95th percentile of 1 to 21 is the 20th of them, by linear ranks."""
    told = vertical_accuracy(np.arange(1.0, 22.0) * np.resize([1, -1], 21), np.zeros(21))
    assert told.percentile_95_ft == pytest.approx(20.0)
    assert told.enough


def test_points_without_an_elevation_do_not_count():
    told = vertical_accuracy([1.0, np.nan, 3.0], [1.5, 2.0, np.nan], survey_rmse_z_ft=1.2)
    assert (told.points, told.mean_ft, told.rmse_z_ft) == (1, -0.5, 0.5)
    assert math.isnan(told.sd_ft)
    assert told.with_survey_rmse_z_ft == pytest.approx(1.3)
    none = vertical_accuracy([np.nan], [1.0])
    assert none.points == 0
    assert math.isnan(none.rmse_z_ft)
    assert not none.enough


def test_statements_that_agree_to_a_twentieth():
    assert statements_agree(1.0, 1.96 * 1.049)
    assert not statements_agree(1.0, 1.96 * 1.051)
    assert not statements_agree(1.0, 1.96 * 0.949)
