"""
Outlet height in Bowling Green, Kentucky.

City code, Ord. BG2021-15 (2021): the center of a hydrant outlet 18 to 36 in above final grade.
https://codelibrary.amlegal.com/codes/bowlinggreen/latest/bowlinggreen_ky/0-0-0-64572 (seen).
"""

from __future__ import annotations

import pytest

from hydrantgis.standards.load import load_rule

RULE = load_rule("bowling-green-ky-2021")


def test_the_rule_is_as_printed():
    assert (RULE.window.lo_in, RULE.window.hi_in) == (18.0, 36.0)
    assert (RULE.outlet, RULE.point, RULE.datum) == ("any", "centerline", "grade")
    assert not RULE.flange.limited
    assert RULE.citation.how_read == "seen"


@pytest.mark.parametrize("outlet", ["hose", "pumper", "lowest", "any"])
def test_the_center_of_whichever_outlet_is_judged(judge, outlet):
    checked, _ = judge(
        RULE, outlet_height_in=[17.99, 18.0, 36.0, 36.01], measured_to=f"{outlet}-centerline"
    )
    assert checked["verdict"].tolist() == ["low", "inside", "inside", "high"]
