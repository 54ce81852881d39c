"""
Which extension kit.

CONSTRUCTED for this project, not published: kits of 6 to 48 in by 6 (usual lengths, from memory;
common practice, no source), windows of 18 to 24 and 20 to 22 in, a flange window of 2 to 6 in (its
ends from different utility details, from memory). A kit fits where the height with it lies in the
window; of those that fit the one nearest mid-window is taken, the shorter on a tie. Each expected
value follows from adding the kit's length.
"""

from __future__ import annotations

import dataclasses

import pytest

from hydrantgis.assess.options import choose_kit
from hydrantgis.assess.remedy import remedies_of_family
from hydrantgis.standards.kits import Family, HouseRules, Kit
from hydrantgis.standards.load import load_rule
from hydrantgis.standards.rules import Window

LENGTHS = [6.0, 12.0, 18.0, 24.0, 30.0, 36.0, 42.0, 48.0]
NAN = float("nan")


def family_of(lengths):
    return Family(name="*", kits=tuple(Kit(kit_id=f"E{v:g}", length_in=v) for v in lengths))


def rule_of(lo, hi, flange=None):
    return dataclasses.replace(
        load_rule("nfpa24-2019"), window=Window(lo_in=lo, hi_in=hi), flange=flange or Window()
    )


def chosen(y, rule, *, flange=NAN, installed=0.0, lengths=LENGTHS, house=None):
    kit, raises = choose_kit(
        [y], [flange], [installed], lengths, rule=rule, house=house or HouseRules()
    )
    length = lengths[kit[0]] if kit[0] >= 0 else None
    return length, None if length is None else y + raises[0]


def remedy(y, rule, *, flange=NAN, installed=0.0, lengths=LENGTHS, house=None):
    found = remedies_of_family(
        [y], [flange], [installed],
        family=family_of(lengths), rule=rule, house=house or HouseRules(), bury_step_in=6.0,
    )  # fmt: skip
    return found.remedy[0], found.code[0], found.raise_in[0]


@pytest.mark.parametrize(
    ("y", "kit", "after"), [(13.25, 6.0, 19.25), (11.0, 12.0, 23.0), (-30.0, 48.0, 18.0)]
)
def test_window_of_18_to_24(y, kit, after):
    assert chosen(y, rule_of(18, 24)) == (kit, after)
    assert remedy(y, rule_of(18, 24)) == ("extend", "kit-fits", kit)


def test_a_height_at_the_limit_needs_none(judge):
    checked, _ = judge(rule_of(18, 24), outlet_height_in=[18.0], measured_to="hose-centerline")
    assert checked["remedy"].tolist() == ["none"]
    assert checked["kit_id"].isna().all()


def test_beyond_the_longest_kit_it_is_replaced():
    """From -31 in, 49 to 55 in are needed; of whole steps of bury only 54 in lies between."""
    assert chosen(-31.0, rule_of(18, 24)) == (None, None)
    assert remedy(-31.0, rule_of(18, 24)) == ("replace", "longer-than-longest", 54.0)


def test_an_extension_never_helps_what_is_too_high():
    assert chosen(27.0, rule_of(18, 24)) == (None, None)
    what, why, _ = remedy(27.0, rule_of(18, 24))
    assert (what, why) == ("lower", "too-high")


def test_window_of_20_to_22_from_15_in():
    assert chosen(15.0, rule_of(20, 22)) == (6.0, 21.0)


def test_a_window_narrower_than_the_step_leaves_gaps_and_says_so():
    """From 13.5 in, 6 in gives 19.5 and 12 in gives 25.5: no kit, and nothing is rounded."""
    assert chosen(13.5, rule_of(20, 22)) == (None, None)
    what, why, raised = remedy(13.5, rule_of(20, 22))
    assert (what, why) == ("review", "window-narrower-than-step")
    assert raised != raised


def test_the_gap_is_the_step_less_the_window():
    """Of the heights 6 in apart, 6 - (22 - 20) = 4 in lie between what two kits reach."""
    tenths = [-240 + i for i in range(60)]
    without = [t for t in tenths if chosen(t / 10, rule_of(20, 22))[0] is None]
    # the two ends of a gap can be reached, its inside cannot
    assert len(without) == 40 - 1


def test_flange_and_outlet_rise_alike():
    """Outlet 12, flange -4: 6 in gives 18 and 2, both right; 12 in gives 24 and 8, one wrong."""
    rule = rule_of(18, 24, Window(lo_in=2, hi_in=6))
    assert chosen(12.0, rule, flange=-4.0) == (6.0, 18.0)
    assert chosen(12.0, rule, flange=-4.0, lengths=[12.0]) == (None, None)
    assert remedy(12.0, rule, flange=-4.0, lengths=[12.0])[1] == "flange-conflict"


def test_an_extended_hydrant_gets_a_longer_kit_in_the_place_of_its_own():
    """11 in with a 6 in kit in it: 18 in instead is 12 in more, 23 in."""
    assert chosen(11.0, rule_of(18, 24), installed=6.0) == (18.0, 23.0)
    assert remedy(11.0, rule_of(18, 24), installed=6.0) == ("exchange", "kit-fits", 12.0)


def test_it_is_replaced_where_only_a_second_kit_would_do():
    """One length of 6 in, already in at 13.25 in: the house rule forbids a second, and is named."""
    what, why, raised = remedy(13.25, rule_of(18, 24), installed=6.0, lengths=[6.0])
    assert (what, why, raised) == ("replace", "house-one-extension", 6.0)


def test_with_the_house_rule_off_a_second_kit_is_taken():
    house = HouseRules(one_extension=False)
    found = remedy(13.25, rule_of(18, 24), installed=6.0, lengths=[6.0], house=house)
    assert found == ("extend", "kit-fits", 6.0)


def test_the_shorter_on_a_tie():
    """15 in in a window of 18 to 30: aim 24, so 6 in (21) and 12 in (27) are equally near."""
    assert chosen(15.0, rule_of(18, 30)) == (6.0, 21.0)
