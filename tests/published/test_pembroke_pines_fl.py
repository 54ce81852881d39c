"""
Steamer cap height in Pembroke Pines, Florida.

City code, fire hydrants, (E), as published: the 4.5 in steamer cap 24 to 30 in above ground.
https://codelibrary.amlegal.com/codes/pembrokepines/latest/pembrokepines_fl/0-0-0-67362 (seen).
The text does not say which point of the cap; the rule file reads it as its centerline and says so.
"""

from __future__ import annotations

from hydrantgis.standards.load import load_rule

RULE = load_rule("pembroke-pines-fl")


def test_the_rule_is_as_printed():
    assert (RULE.window.lo_in, RULE.window.hi_in) == (24.0, 30.0)
    assert (RULE.outlet, RULE.point, RULE.datum) == ("pumper", "centerline", "grade")
    assert not RULE.flange.limited
    assert RULE.citation.how_read == "seen"
    assert "centerline" in RULE.note


def test_24_to_30_at_the_pumper_outlet(judge):
    checked, _ = judge(
        RULE, outlet_height_in=[23.99, 24.0, 30.0, 30.01], measured_to="pumper-centerline"
    )
    assert checked["verdict"].tolist() == ["low", "inside", "inside", "high"]


def test_the_height_of_a_hose_outlet_does_not_answer(judge):
    checked, found = judge(RULE, outlet_height_in=[27.0], measured_to="hose-centerline")
    assert checked["verdict"].tolist() == ["unresolved"]
    assert checked["remedy"].tolist() == ["measure"]
    assert found["code"].tolist() == ["reading-other-outlet"]
