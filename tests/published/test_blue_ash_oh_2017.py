"""
Discharge height in Blue Ash, Ohio, from the higher of curb and grade.

City code, Ord. 2017-10, (b): bottom of the lowest discharge 12 to 18 in above finished grade; where
a curb is within 36 in of the outlets, above the higher of curb and finished grade.
https://codelibrary.amlegal.com/codes/blueash/latest/blueash_oh/0-0-0-19477 (seen).
The figures of the two hydrants below are made up to show the two ways of reading it.
"""

from __future__ import annotations

import pytest

from hydrantgis.standards.load import load_rule

RULE = load_rule("blue-ash-oh-2017")
GRADE_FT, CURB_FT, OUTLET_FT = 100.00, 100.50, 101.60


def test_the_rule_is_as_printed():
    assert (RULE.window.lo_in, RULE.window.hi_in) == (12.0, 18.0)
    assert (RULE.outlet, RULE.point) == ("lowest", "bottom")
    assert (RULE.datum, RULE.curb_within_in) == ("higher-of-curb-and-grade", 36.0)
    assert not RULE.flange.limited
    assert RULE.citation.how_read == "seen"


@pytest.mark.parametrize(
    ("distance", "height", "verdict"),
    [
        (30.0, 13.2, "inside"),
        (36.0, 13.2, "inside"),
        (36.01, 19.2, "high"),
        (40.0, 19.2, "high"),
    ],
)
def test_a_curb_counts_up_to_36_in_away(judge, distance, height, verdict):
    checked, _ = judge(
        RULE,
        grade_elev_ft=[GRADE_FT],
        outlet_elev_ft=[OUTLET_FT],
        curb_above_grade_in=(CURB_FT - GRADE_FT) * 12,
        curb_distance_in=distance,
        vertical_datum="NAVD88",
        method="level",
        measured_to="lowest-bottom",
    )
    assert checked["outlet_height_in"].tolist() == pytest.approx([height], abs=1e-6)
    assert checked["verdict"].tolist() == [verdict]


def test_a_curb_below_grade_changes_nothing(judge):
    checked, _ = judge(
        RULE,
        outlet_height_in=[13.0],
        curb_above_grade_in=-4.0,
        curb_distance_in=20.0,
        measured_to="lowest-bottom",
    )
    assert checked["outlet_height_in"].tolist() == [13.0]


def test_a_height_measured_from_the_curb_is_one_over_the_curb(judge):
    """13.2 in over a curb 6 in above grade and 30 in away is 13.2 in; 40 in away it is 19.2 in."""
    checked, _ = judge(
        RULE,
        outlet_height_in=[13.2, 13.2],
        curb_above_grade_in=6.0,
        curb_distance_in=[30.0, 40.0],
        measured_from="curb",
        measured_to="lowest-bottom",
    )
    assert checked["outlet_height_in"].tolist() == pytest.approx([13.2, 19.2])


def test_a_curb_that_was_not_recorded_leaves_it_open(judge):
    checked, found = judge(RULE, outlet_height_in=[13.2], measured_to="lowest-bottom")
    assert checked["verdict"].tolist() == ["unresolved"]
    assert found["code"].tolist() == ["curb-unknown"]
