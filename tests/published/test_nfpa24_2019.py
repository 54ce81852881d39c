"""
Hose outlet height of a private fire hydrant.

NFPA 24, Standard for the Installation of Private Fire Service Mains and Their Appurtenances, 2019
edition: 7.3.3 (the center of a hose outlet not less than 18 in above final grade) and 7.3.3.1 (not
more than 36 in above final grade), printed with the metric twins 450 mm and 900 mm.
Read at thebuildingcodeforum.com, thread "Fire Hydrant Minimum and Maximum Height", 2021-06-20:
second hand, quoted there; the standard itself was not seen.
"""

from __future__ import annotations

import pytest

from hydrantgis.ground.units import LengthUnit, convert
from hydrantgis.standards.load import load_rule

RULE = load_rule("nfpa24-2019")


def test_the_rule_is_as_printed():
    assert (RULE.window.lo_in, RULE.window.hi_in) == (18.0, 36.0)
    assert (RULE.outlet, RULE.point, RULE.datum) == ("hose", "centerline", "grade")
    assert not RULE.flange.limited
    assert RULE.citation.how_read == "second hand"
    assert RULE.citation.clause == "7.3.3 and 7.3.3.1"


@pytest.mark.parametrize(
    ("height", "verdict"),
    [
        (18.0, "inside"),
        (36.0, "inside"),
        (17.99, "low"),
        (36.01, "high"),
        (27.0, "inside"),
    ],
)
def test_not_less_than_18_and_not_more_than_36(judge, height, verdict):
    checked, _ = judge(RULE, outlet_height_in=[height], measured_to="hose-centerline")
    assert checked["verdict"].tolist() == [verdict]


@pytest.mark.parametrize(
    ("feet", "verdict"),
    [(1.5, "inside"), (3.0, "inside"), (1.49, "low"), (3.01, "high")],
)
def test_the_same_edges_as_a_pair_of_elevations(judge, feet, verdict):
    checked, _ = judge(
        RULE,
        grade_elev_ft=[131.07],
        outlet_elev_ft=[131.07 + feet],
        method="level",
        measured_to="hose-centerline",
        vertical_datum="NAVD88",
    )
    assert checked["verdict"].tolist() == [verdict]


def test_the_inch_limits_are_judged_and_not_their_metric_twins(judge):
    """450 mm is 17.72 in and 457 mm 17.99 in, both short of 18; 900 mm is 35.43 in."""
    heights = convert([450, 457, 458, 900, 914, 915], LengthUnit.MM, LengthUnit.IN)
    checked, _ = judge(RULE, outlet_height_in=heights, measured_to="hose-centerline")
    assert checked["verdict"].tolist() == ["low", "low", "inside", "inside", "inside", "high"]


def test_a_pumper_outlet_is_judged_only_where_the_user_says_so(judge):
    """Users of the standard differ on whether it is a hose outlet."""
    read = {"outlet_height_in": [20.0], "measured_to": "pumper-centerline"}
    checked, found = judge(RULE, **read)
    assert checked["verdict"].tolist() == ["unresolved"]
    assert found["code"].tolist() == ["reading-other-outlet"]
    checked, found = judge(RULE.judging("pumper"), **read)
    assert checked["verdict"].tolist() == ["inside"]
    assert checked["rule_id"].tolist() == ["nfpa24-2019+pumper"]
    assert not len(found)
