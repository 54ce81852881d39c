"""Verdicts of outlets and flanges."""

from __future__ import annotations

import numpy as np
import pytest

from hydrantgis.assess.verdict import flange_verdicts, rounded, verdicts

NAN = float("nan")


def test_both_limits_are_inside():
    verdict, _ = verdicts([17.99, 18, 24, 24.01], [0.25] * 4, lo_in=18, hi_in=24)
    assert verdict.tolist() == ["low", "inside", "inside", "high"]


@pytest.mark.parametrize(
    ("resolution", "height", "verdict"),
    [
        (0.01, 17.996, "inside"),
        (0.01, 17.994, "low"),
        (0.125, 17.95, "inside"),
        (0.125, 17.93, "low"),
        (1.0, 17.6, "inside"),
        (1.0, 17.4, "low"),
    ],
)
def test_a_height_is_rounded_to_the_resolution_before_it_is_judged(resolution, height, verdict):
    found, _ = verdicts([height], [0.25], lo_in=18, hi_in=24, resolution_in=resolution)
    assert found.tolist() == [verdict]


@pytest.mark.parametrize("resolution", [0.01, 0.05, 0.1, 0.125, 0.25, 0.5, 1.0])
def test_a_whole_number_of_steps_stays_what_it_is(resolution):
    steps = np.arange(0, 4000)
    decimals = np.array([round(k * resolution, 6) for k in range(4000)])
    assert (rounded(steps * resolution + 1e-10, resolution) == decimals).all()


def test_a_missing_height_is_unmeasured_and_never_marginal():
    verdict, marginal = verdicts([NAN, NAN], [NAN, 0.25], lo_in=18, hi_in=24, guarded=[True, False])
    assert verdict.tolist() == ["unmeasured", "unmeasured"]
    assert marginal.tolist() == [False, False]


@pytest.mark.parametrize(
    ("height", "marginal"),
    [(17.4, False), (17.6, True), (18.4, True), (18.6, False), (23.6, True), (24.6, False)],
)
def test_marginal_is_within_twice_the_uncertainty_of_a_limit(height, marginal):
    _, found = verdicts([height], [0.25], lo_in=18, hi_in=24)
    assert found.tolist() == [marginal]


def test_a_missing_limit_is_never_near():
    _, marginal = verdicts([500.0], [0.25], lo_in=18, hi_in=np.inf)
    assert marginal.tolist() == [False]


def test_guarded_and_simple_heights_stand_in_one_table():
    """Half an inch low, uncertain by an inch: the estimate decides, or it cannot be told."""
    verdict, _ = verdicts([17.5, 17.5], [1.0, 1.0], lo_in=18, hi_in=24, guarded=[False, True])
    assert verdict.tolist() == ["low", "unresolved"]


def test_guarded_low_and_high_need_the_confidence_too():
    """1.6449 standard uncertainties below the limit is 95 % sure."""
    heights = [18 - 1.66, 18 - 1.63, 24 + 1.63, 24 + 1.66]
    verdict, _ = verdicts(heights, [1.0] * 4, lo_in=18, hi_in=24, guarded=True, confidence=0.95)
    assert verdict.tolist() == ["low", "unresolved", "unresolved", "high"]


def test_a_flange_that_was_not_measured_is_unknown():
    found = flange_verdicts([1.99, 2.0, 6.0, 6.01, NAN], lo_in=2, hi_in=6)
    assert found.tolist() == ["low", "inside", "inside", "high", "unknown"]
