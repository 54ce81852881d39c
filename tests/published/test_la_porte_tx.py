"""
Connection and flange height in La Porte, Texas.

Design standards, fire hydrants, item d, as published: bottom of the 5 in quick-connect 18 in or
more above the surrounding natural ground; lower horizontal flange no more than 6 in above it.
https://publicrecords.laportetx.gov/WebLink/0/doc/2144/Page11.aspx (seen).
"""

from __future__ import annotations

import math

import pytest

from hydrantgis.standards.load import load_rule

RULE = load_rule("la-porte-tx")


def test_the_rule_is_as_printed():
    assert (RULE.window.lo_in, RULE.window.hi_in) == (18.0, math.inf)
    assert (RULE.flange.lo_in, RULE.flange.hi_in) == (-math.inf, 6.0)
    assert (RULE.outlet, RULE.point, RULE.datum) == ("pumper", "bottom", "grade")
    assert RULE.citation.how_read == "seen"


@pytest.mark.parametrize(
    ("flange", "verdict"), [(-3.0, "inside"), (6.0, "inside"), (6.01, "high"), (None, "unknown")]
)
def test_the_flange_stands_6_in_above_ground_at_most(judge, flange, verdict):
    checked, _ = judge(
        RULE, outlet_height_in=[19.0], flange_height_in=flange, measured_to="pumper-bottom"
    )
    assert checked["flange_verdict"].tolist() == [verdict]


def test_the_bottom_of_a_5_in_connection_lies_half_of_it_below_the_centerline(judge):
    checked, _ = judge(
        RULE,
        outlet_height_in=[20.49, 20.5],
        pumper_outlet_in=5.0,
        measured_to="pumper-centerline",
    )
    assert checked["outlet_height_in"].tolist() == pytest.approx([17.99, 18.0])
    assert checked["verdict"].tolist() == ["low", "inside"]


def test_a_kit_that_lifts_the_flange_above_6_in_does_not_fit(judge):
    """Outlet 13 in and flange 1 in: 6 in gives 19 and 7. Flange 0: 6 in gives 19 and 6."""
    checked, _ = judge(
        RULE,
        outlet_height_in=[13.0, 13.0],
        flange_height_in=[1.0, 0.0],
        measured_to="pumper-bottom",
    )
    assert checked["kit_length_in"].fillna(0).tolist() == [0.0, 6.0]
    assert checked["remedy_reason"][0].startswith("flange-conflict")
    assert checked["flange_height_after_in"][1] == 6.0
