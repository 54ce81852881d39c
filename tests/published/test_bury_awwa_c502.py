"""
Bury after an extension, and where the stated torque ends.

Bury: ground-line mark on the barrel to the bottom of the inlet pipe, so that an extension adds its
own length (a rural-water circuit rider's article, ru.scribd.com/document/148153701/Article-Dt,
seen; 3.5 ft and 12 in make 4.5 ft: common practice, no source).
ANSI/AWWA C502-18, 4.5.5: the operating torque is stated for burys up to 5 ft only.
https://standards.biao-zhun.cn/awwa-c502-18-pdf-download.html (seen, page of a seller).
"""

from __future__ import annotations

import dataclasses

import pytest

from hydrantgis.standards.load import load_rule
from hydrantgis.standards.rules import Window

RULE = dataclasses.replace(load_rule("nfpa24-2019"), window=Window(lo_in=18, hi_in=24))


@pytest.mark.parametrize(
    ("bury", "height", "kit", "after", "told"),
    [
        (3.5, 11.0, 12.0, 4.5, False),
        (4.0, 13.25, 6.0, 4.5, False),
        (4.5, 13.25, 6.0, 5.0, False),
        (4.5, 11.0, 12.0, 5.5, True),
    ],
)
def test_an_extension_adds_its_length_to_the_bury(judge, bury, height, kit, after, told):
    checked, found = judge(
        RULE, outlet_height_in=[height], bury_ft=bury, measured_to="hose-centerline"
    )
    assert checked["kit_length_in"].tolist() == [kit]
    assert checked["bury_after_ft"].tolist() == [after]
    assert ("bury-beyond-torque-range" in found["code"].tolist()) is told


def test_five_and_a_half_feet_and_18_in_make_seven(judge):
    """Common practice, no source; under 18 to 36 in a height of 9 in needs 18."""
    checked, found = judge(
        load_rule("nfpa24-2019"), outlet_height_in=[9.0], bury_ft=5.5, measured_to="hose-centerline"
    )
    assert checked["kit_length_in"].tolist() == [18.0]
    assert checked["bury_after_ft"].tolist() == [7.0]
    assert "bury-beyond-torque-range" in found["code"].tolist()


def test_an_exchange_adds_the_difference(judge):
    """A 6 in kit is in, an 18 in kit takes its place: a foot more, whatever the bury was."""
    checked, _ = judge(
        RULE,
        outlet_height_in=[11.0],
        bury_ft=4.0,
        installed_extension_in=6.0,
        measured_to="hose-centerline",
    )
    assert checked["kit_length_in"].tolist() == [18.0]
    assert checked["bury_after_ft"].tolist() == [5.0]


def test_an_unknown_bury_stays_unknown(judge):
    checked, found = judge(RULE, outlet_height_in=[11.0], measured_to="hose-centerline")
    assert checked["kit_length_in"].tolist() == [12.0]
    assert checked["bury_after_ft"].isna().all()
    assert not len(found)
