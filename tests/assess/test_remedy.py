"""Which kit, and why none."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from hydrantgis.assess.options import choose_kit
from hydrantgis.assess.reasons import REASONS
from hydrantgis.assess.remedy import choose_bury_raise, remedies_of_family
from hydrantgis.standards.kits import HouseRules

NAN = float("nan")
BY_SIX = (6.0, 12.0, 18.0, 24.0, 30.0, 36.0, 42.0, 48.0)


def remedy(y, rule, family, *, flange=NAN, installed=0.0, house=None, step=6.0):
    return remedies_of_family(
        [y], [flange], [installed],
        family=family, rule=rule, house=house or HouseRules(), bury_step_in=step,
    )  # fmt: skip


def test_the_policy_takes_the_nearest_to_the_aim_or_the_shortest(rule_of):
    """10 in: 12 gives 22, 18 gives 28, 24 gives 34; the aim of 18 to 36 is 27."""
    rule = rule_of(18, 36)
    for policy, length in (("target", 18.0), ("shortest", 12.0)):
        kit, raises = choose_kit(
            [10.0], [NAN], [0.0], BY_SIX, rule=rule, house=HouseRules(policy=policy)
        )
        assert BY_SIX[kit[0]] == raises[0] == length


def test_the_target_of_a_rule_goes_before_mid_window(rule_of):
    kit, _ = choose_kit(
        [10.0], [NAN], [0.0], BY_SIX, rule=rule_of(18, 36, target=34.0), house=HouseRules()
    )
    assert BY_SIX[kit[0]] == 24.0


def test_a_rule_with_one_limit_aims_at_it(rule_of):
    kit, _ = choose_kit([10.0], [NAN], [0.0], BY_SIX, rule=rule_of(18, np.inf), house=HouseRules())
    assert BY_SIX[kit[0]] == 12.0


def test_taking_the_kit_out_brings_a_high_hydrant_down(rule_of, family_of):
    found = remedy(27.0, rule_of(18, 24), family_of(*BY_SIX), installed=6.0)
    assert (found.remedy[0], found.kit[0], found.raise_in[0]) == ("remove", -1, -6.0)


def test_a_shorter_kit_in_its_place_brings_a_high_hydrant_down(rule_of, family_of):
    """33 in with 18 in in it: 6 in instead gives 21, taking it out would give 15."""
    found = remedy(33.0, rule_of(18, 24), family_of(*BY_SIX), installed=18.0)
    assert (found.remedy[0], found.kit[0], found.raise_in[0]) == ("exchange", 0, -12.0)


def test_taking_the_kit_out_needs_no_catalogue(rule_of):
    found = remedy(27.0, rule_of(18, 24), None, installed=6.0)
    assert (found.remedy[0], found.raise_in[0]) == ("remove", -6.0)


def test_no_kit_for_the_family_is_for_review_and_too_high_is_still_too_high(rule_of):
    rule = rule_of(18, 24)
    low, high = remedy(12.0, rule, None), remedy(30.0, rule, None)
    assert (low.remedy[0], low.code[0]) == ("review", "no-kit-for-family")
    assert (high.remedy[0], high.code[0]) == ("lower", "too-high")
    assert np.isnan(low.raise_in[0])


def test_an_unknown_flange_is_told_beside_the_kit(rule_of, family_of):
    rule = rule_of(18, 24, flange=(2, 6))
    unknown = remedy(13.0, rule, family_of(*BY_SIX))
    known = remedy(13.0, rule, family_of(*BY_SIX), flange=-1.0)
    assert (unknown.remedy[0], unknown.code[0]) == ("extend", "kit-fits-flange-unknown")
    assert (known.remedy[0], known.code[0]) == ("extend", "kit-fits")


def test_a_flange_that_stands_wrong_under_an_outlet_that_stands_right(rule_of, family_of):
    """Outlet 23, flange 0: 6 in lifts the flange to 6 and the outlet to 29."""
    found = remedy(23.0, rule_of(18, 24, flange=(2, 6)), family_of(*BY_SIX), flange=0.0)
    assert (found.remedy[0], found.code[0]) == ("review", "flange-outside")


def test_a_kit_that_puts_outlet_and_flange_right_is_taken_for_the_flange_too(rule_of, family_of):
    """Outlet 18 is right, flange -2 is not: 6 in makes 24 and 4."""
    found = remedy(18.0, rule_of(18, 24, flange=(2, 6)), family_of(*BY_SIX), flange=-2.0)
    assert (found.remedy[0], found.raise_in[0]) == ("extend", 6.0)


def test_no_kit_for_a_height_measured_from_the_flange(rule_of, family_of):
    rule = dataclasses.replace(rule_of(18, np.inf), datum="flange-bottom")
    found = remedy(12.0, rule, family_of(*BY_SIX))
    assert (found.remedy[0], found.code[0]) == ("review", "flange-datum")
    assert np.isnan(found.raise_in[0])


def test_the_longest_total_is_named_where_it_forbids_a_kit(rule_of, family_of):
    """-10 in needs 28 to 34 in: the 30 in kit would do, and 24 in is the most allowed."""
    house = HouseRules(longest_total_in=24.0)
    found = remedy(-10.0, rule_of(18, 24), family_of(*BY_SIX), house=house)
    assert (found.remedy[0], found.code[0]) == ("replace", "house-longest-total")


def test_the_longest_total_is_named_where_it_forbids_a_second_kit(rule_of, family_of):
    """
    0 in with 36 in in it: 48 in instead gives 12.

    18 or 24 in on top would reach, 54 or 60 in all, where 48 is the most allowed.
    """
    house = HouseRules(one_extension=False, longest_total_in=48.0)
    found = remedy(0.0, rule_of(18, 24), family_of(*BY_SIX), installed=36.0, house=house)
    assert (found.remedy[0], found.code[0]) == ("replace", "house-longest-total")


def test_a_kit_of_metric_length_takes_the_place_of_another(rule_of, family_of):
    """
    Kits of 75, 100, .. 1200 mm, kept in inches; every one installed, every longer in its place.

    No length is a whole decimal in inches; the remedy is an exchange all the same, for the house
    rule allows one extension.
    """
    lengths = tuple(mm / 25.4 for mm in range(75, 1201, 25))
    family, rule = family_of(*lengths), rule_of(18, 18.5)
    for installed in lengths:
        for taken in lengths:
            if taken <= installed:
                continue
            found = remedy(18.25 - (taken - installed), rule, family, installed=installed)
            assert found.raise_in[0] == pytest.approx(taken - installed)
            assert found.remedy[0] == "exchange", (installed * 25.4, taken * 25.4)


def test_a_replacement_is_named_with_the_steps_of_bury_it_needs(rule_of):
    """From 5 in, 13 to 19 in are needed; of steps of 6 in only 18 lies between, of 12 in none."""
    rule = rule_of(18, 24)
    assert choose_bury_raise([5.0], [NAN], step_in=6.0, rule=rule).tolist() == [18.0]
    assert np.isnan(choose_bury_raise([6.5], [NAN], step_in=30.0, rule=rule)).all()


def test_a_replacement_keeps_the_flange_in_its_window_too(rule_of):
    """Outlet 10, flange -3: 12 in gives 22 and 9; 6 in gives 16 and 3. Neither does."""
    rule = rule_of(18, 24, flange=(2, 6))
    assert np.isnan(choose_bury_raise([10.0], [-3.0], step_in=6.0, rule=rule)).all()
    assert choose_bury_raise([10.0], [-8.0], step_in=6.0, rule=rule).tolist() == [12.0]


def test_every_reason_that_is_given_is_one_that_is_told_in_words(rule_of, family_of):
    rng = np.random.default_rng(8)
    n = 600
    y, f = rng.integers(-60, 60, n).astype(float), rng.integers(-20, 12, n).astype(float)
    e = rng.choice([0.0, 6.0, 24.0], n)
    seen = set()
    for house in (HouseRules(), HouseRules(one_extension=False, longest_total_in=18.0)):
        for lengths in (BY_SIX, (6.0,), (40.0,)):
            found = remedies_of_family(
                y, np.where(f > 8, NAN, f), e, family=family_of(*lengths),
                rule=rule_of(18, 24, flange=(2, 6)), house=house, bury_step_in=6.0,
            )  # fmt: skip
            seen |= set(found.code)
            assert all(len(sentence) > 10 for sentence in found.sentence)
            assert not any("{" in sentence or "nan" in sentence for sentence in found.sentence)
    assert seen <= set(REASONS)
    assert seen >= {
        "kit-fits", "kit-fits-flange-unknown", "too-high", "flange-conflict", "flange-outside",
        "longer-than-longest", "window-narrower-than-step", "house-one-extension",
        "house-longest-total",
    }  # fmt: skip


def test_what_a_house_rule_keeps_out_is_told_with_its_numbers(rule_of, family_of):
    house = HouseRules(longest_total_in=24.0)
    found = remedy(-16.0, rule_of(18, 24), family_of(6.0, 36.0), house=house)
    assert found.sentence[0] == (
        "raised 36 in it would end at 20 in; the house rule is 24 in of kits in all, and 0 in are "
        "in it"
    )
    found = remedy(11.0, rule_of(18, 24), family_of(6.0, 12.0), installed=12.0)
    assert found.code[0] == "house-one-extension"
    assert found.sentence[0] == (
        "raised 12 in by a second kit on top of the 12 in one it would end at 23 in; the house "
        "rule is one per hydrant"
    )
