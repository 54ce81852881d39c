"""
Simple acceptance and the risk at the limit.

ILAC-G8:09/2019, Guidelines on Decision Rules and Statements of Conformity, 4.2: under binary simple
acceptance the probability of false acceptance is up to 50 % at the limit; with a guard band of U
(95 %) it is below 2.5 %. Second hand: restated at consultglp.com.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from hydrantgis.assess.verdict import chances, verdicts
from hydrantgis.standards.load import load_rule


@pytest.mark.parametrize("limit", [18.0, 36.0])
def test_a_height_at_the_limit_passes_with_half_a_chance_to_be_outside(judge, limit):
    rule = load_rule("nfpa24-2019")
    checked, _ = judge(rule, outlet_height_in=[limit], measured_to="hose-centerline")
    assert checked["verdict"].tolist() == ["inside"]
    assert checked["p_inside"].tolist() == pytest.approx([0.5], abs=1e-9)
    assert checked["marginal"].tolist() == [True]


def test_a_guard_band_of_twice_the_uncertainty_leaves_less_than_2_5_percent():
    u = 0.339411
    p = chances([18 + 2 * u, 36 - 2 * u], [u, u], lo_in=18, hi_in=36)
    assert (1 - p.inside < 0.025).all()
    assert (1 - p.inside > 0.0225).all()


def test_in_the_guard_band_a_rule_that_asks_for_confidence_says_unresolved(judge):
    rule = dataclasses.replace(load_rule("nfpa24-2019"), decision="guarded", confidence=0.975)
    heights = [17.0, 17.9, 18.0, 18.4, 19.0, 35.6, 36.0, 37.0]
    checked, _ = judge(
        rule, outlet_height_in=heights, height_sd_in=0.25, measured_to="hose-centerline"
    )
    assert checked["verdict"].tolist() == [
        "low", "unresolved", "unresolved", "unresolved", "inside", "unresolved", "unresolved",
        "high",
    ]  # fmt: skip


def test_simple_and_guarded_differ_only_near_a_limit():
    heights = np.arange(16.0, 26.0, 0.05)
    u = np.full(len(heights), 0.25)
    simple, marginal = verdicts(heights, u, lo_in=18, hi_in=24)
    guarded, _ = verdicts(heights, u, lo_in=18, hi_in=24, guarded=True, confidence=0.977)
    assert (simple == guarded)[~marginal].all()
    assert (guarded == "unresolved")[marginal].any()
