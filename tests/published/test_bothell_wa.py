"""
Lowest outlet in Bothell, Washington, from the bottom of the flange.

Bothell Municipal Code 20.32.140, as published: the lowest outlet no less than 18 in above the
bottom of the hydrant flange. https://bothell.municipal.codes/BMC/20.32.140 (seen). The text names
no point of the outlet; the rule file reads it as the centerline and says so. The hydrant below is
made up.
"""

from __future__ import annotations

import math

from hydrantgis.standards.load import load_rule

RULE = load_rule("bothell-wa")


def test_the_rule_is_as_printed():
    assert (RULE.window.lo_in, RULE.window.hi_in) == (18.0, math.inf)
    assert (RULE.outlet, RULE.datum) == ("lowest", "flange-bottom")
    assert not RULE.flange.limited
    assert RULE.citation.how_read == "seen"
    assert "centerline" in RULE.note


def test_19_in_above_grade_over_a_flange_2_in_above_grade_is_17_in(judge):
    checked, _ = judge(
        RULE, outlet_height_in=[19.0], flange_height_in=2.0, measured_to="lowest-centerline"
    )
    assert checked["outlet_height_in"].tolist() == [17.0]
    assert checked["verdict"].tolist() == ["low"]


def test_no_kit_changes_a_height_over_the_flange(judge):
    checked, _ = judge(
        RULE, outlet_height_in=[19.0], flange_height_in=2.0, measured_to="lowest-centerline"
    )
    assert checked["kit_id"].isna().all()
    assert checked["remedy"].tolist() == ["review"]
    assert checked["remedy_reason"].str.startswith("flange-datum").all()


def test_measured_from_the_flange_it_is_taken_as_it_is(judge):
    checked, _ = judge(
        RULE,
        outlet_height_in=[17.99, 18.0],
        measured_from="flange",
        measured_to="lowest-centerline",
    )
    assert checked["verdict"].tolist() == ["low", "inside"]


def test_measured_from_the_curb_it_goes_by_way_of_grade(judge):
    """14 in over a curb 6 in above grade is 20 in over grade, 18 in over a flange at 2 in."""
    checked, _ = judge(
        RULE,
        outlet_height_in=[14.0],
        curb_above_grade_in=6.0,
        flange_height_in=2.0,
        measured_from="curb",
        measured_to="lowest-centerline",
    )
    assert checked["outlet_height_in"].tolist() == [18.0]
    assert checked["verdict"].tolist() == ["inside"]


def test_without_a_flange_height_it_stays_open(judge):
    checked, found = judge(RULE, outlet_height_in=[19.0], measured_to="lowest-centerline")
    assert checked["verdict"].tolist() == ["unresolved"]
    assert found["code"].tolist() == ["flange-height-unknown"]
