"""
Lowest outlet in Washington State.

Washington Administrative Code 246-293-650(4), as published: the bottom of the lowest outlet no less
than 18 in above grade. https://apps.leg.wa.gov/WAC/default.aspx?cite=246-293-650 (seen).
"""

from __future__ import annotations

import math

from hydrantgis.standards.load import load_rule

RULE = load_rule("wac-246-293-650")


def test_the_rule_is_as_printed():
    assert (RULE.window.lo_in, RULE.window.hi_in) == (18.0, math.inf)
    assert (RULE.outlet, RULE.point, RULE.datum) == ("lowest", "bottom", "grade")
    assert not RULE.flange.limited
    assert RULE.citation.how_read == "seen"
    assert "(4)" in RULE.citation.clause


def test_one_limit_only(judge):
    checked, _ = judge(RULE, outlet_height_in=[17.99, 18.0, 60.0], measured_to="lowest-bottom")
    assert checked["verdict"].tolist() == ["low", "inside", "inside"]
    assert checked["window_hi_in"].isna().all()
    assert (checked["p_high"] == 0).all()


def test_the_centerline_of_an_outlet_of_unknown_size_does_not_answer(judge):
    checked, found = judge(RULE, outlet_height_in=[19.0], measured_to="lowest-centerline")
    assert checked["verdict"].tolist() == ["unresolved"]
    assert found["code"].tolist() == ["outlet-size-unknown"]
