"""The order of work that job sheets print: every job has one, and every line says whence it is."""

from __future__ import annotations

import pytest

from hydrantgis.season.crewsheets import OUT_REMEDIES, SHEET_REMEDIES
from hydrantgis.standards.load import cautions, fieldwork, load_kits


@pytest.mark.parametrize("remedy", SHEET_REMEDIES)
def test_every_job_has_steps_hold_points_and_cautions_with_their_sources(remedy):
    work = fieldwork()
    steps, cautions = work.steps_of(remedy), work.cautions_of(remedy)
    assert len(steps) >= 4
    assert any(step.hold for step in steps)
    assert cautions
    for line in (*steps, *cautions):
        assert line.source
        assert line.text.endswith(".")
        assert set(line.jobs) <= set(SHEET_REMEDIES)


@pytest.mark.parametrize("remedy", OUT_REMEDIES)
def test_whoever_takes_a_hydrant_out_proves_it_dry_first_and_opens_the_valve_last(remedy):
    holds = [step.hold for step in fieldwork().steps_of(remedy) if step.hold]
    assert holds[0] == "Isolated and proved"
    assert holds[-3:] == ["No leak at any joint", "Drains flushed", "Isolating valve fully open"]
    if remedy in ("extend", "exchange", "remove"):
        assert holds[1] == "Pins seated, pulled up"


@pytest.mark.parametrize("remedy", ["extend", "exchange", "remove"])
def test_pins_are_pulled_once_the_upper_barrel_is_on_and_before_a_bolt_is_tight(remedy):
    steps = fieldwork().steps_of(remedy)
    at = [step.hold for step in steps].index("Pins seated, pulled up")
    assert "set the upper barrel on" in steps[at - 1].text
    assert [step.hold for step in steps[at + 1 : at + 3]] == [
        "Outlets face as before",
        "Bolts even",
    ]


def test_one_word_for_the_valve_to_close_and_none_for_two():
    """`own valve` is the hydrant's to one and its branch's to another."""
    work = fieldwork()
    said = [line.text for line in (*work.steps, *work.cautions)] + list(cautions())
    assert not [text for text in said if "own valve" in text]
    assert any("isolating valve" in text for text in cautions())
    assert not [text for text in said if " may not " in text or "may come" in text]


@pytest.mark.parametrize("remedy", OUT_REMEDIES)
def test_an_extension_flange_is_looked_at_where_there_is_one(remedy):
    (leak,) = [step for step in fieldwork().steps_of(remedy) if step.hold == "No leak at any joint"]
    assert ("extension flange" in leak.text) == (remedy in ("extend", "exchange"))


def test_torque_where_a_catalogue_says_none_is_common_practice():
    """75 to 80 lbf ft at flanges, about 60 at the breakaway: common practice, no source."""
    joints = load_kits("generic").joints
    assert [(j.least_torque_lbf_ft, j.most_torque_lbf_ft) for j in joints] == [
        (75, 80), (75, 80), (60, 60),
    ]  # fmt: skip
    assert all("common practice, no source" in joint.source for joint in joints)
