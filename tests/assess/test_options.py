"""Everything that can be tried, held against a plain loop; what more allowances and stock do."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from hydrantgis.assess.options import choose_kit, options
from hydrantgis.assess.remedy import remedies_of_family
from hydrantgis.standards.kits import Family, HouseRules, Kit
from hydrantgis.standards.load import load_rule
from hydrantgis.standards.rules import Window

NAN = float("nan")
MANY = settings(max_examples=max(300, settings.default.max_examples))
BY_SIX = tuple(float(v) for v in range(6, 49, 6))
quarters = st.integers(-160, 240).map(lambda q: q / 4)


def inside(value, window):
    return math.isnan(value) or window.lo_in - 1e-9 <= value <= window.hi_in + 1e-9


def by_hand(y, f, e, sd, lengths, rule, house, moves, shelf):
    """The raise that is chosen, by trying each option in turn; None where nothing fits."""
    gain = 0.0 if rule.datum == "flange-bottom" else 1.0
    totals = [(0.0, True), *zip(lengths, shelf, strict=True)]
    if e and not house.one_extension:
        totals += [(e + length, have) for length, have in zip(lengths, shelf, strict=True)]
    fits = []
    for total, have in totals:
        raised = total - e
        too_long = house.longest_total_in is not None and total > house.longest_total_in
        if raised == 0 or (too_long and raised > 0) or not have:
            continue
        ends = (y + gain * raised, f + raised)
        later = (ends[0] - gain * moves, ends[1] - moves)
        if all(inside(o, rule.window) and inside(g, rule.flange) for o, g in (ends, later)):
            p = norm.cdf(rule.window.hi_in, ends[0], sd) - norm.cdf(rule.window.lo_in, ends[0], sd)
            off = abs(ends[0] - rule.window.aim_in)
            if not math.isfinite(rule.window.lo_in + rule.window.hi_in) and off < 2 * sd:
                off += 1e6
            cost = {"target": off, "shortest": raised, "surest": -p}[house.policy]
            fits.append((round(float(cost), 6), raised))
    return min(fits)[1] if fits else None


@st.composite
def situations(draw):
    lo = draw(st.integers(10, 30))
    rule = dataclasses.replace(
        load_rule("nfpa24-2019"),
        window=Window(
            lo_in=float(lo),
            hi_in=draw(st.sampled_from([math.inf, float(lo + draw(st.integers(1, 18)))])),
        ),
        flange=draw(st.sampled_from([Window(), Window(lo_in=2.0, hi_in=6.0), Window(hi_in=6.0)])),
        datum=draw(st.sampled_from(["grade", "grade", "flange-bottom"])),
    )
    house = HouseRules(
        one_extension=draw(st.booleans()),
        longest_total_in=draw(st.sampled_from([None, 24.0, 48.0])),
        policy=draw(st.sampled_from(["target", "shortest", "surest"])),
    )
    lengths = sorted(draw(st.sets(st.sampled_from([3.0, 4.0, 6.0, 8.0, 12.0, 18.0, 24.0, 36.0]),
                                  min_size=1)))  # fmt: skip
    shelf = draw(st.lists(st.booleans(), min_size=len(lengths), max_size=len(lengths)))
    return rule, house, lengths, shelf, draw(st.sampled_from([0.0, 0.0, 2.0, -1.5]))


@MANY
@given(
    situation=situations(),
    rows=st.lists(
        st.tuples(quarters, st.none() | quarters, st.sampled_from([0.0, 0.0, 6.0, 12.0])),
        min_size=1, max_size=6,
    ),
)  # fmt: skip
def test_the_choice_is_what_trying_each_option_in_turn_says(situation, rows):
    rule, house, lengths, shelf, moves = situation
    y = [row[0] for row in rows]
    f = [NAN if row[1] is None else row[1] for row in rows]
    e = [row[2] for row in rows]
    kit, raises = choose_kit(
        y, f, e, lengths, rule=rule, house=house, sd_in=0.5, allowance_in=[moves] * len(rows),
        on_shelf=shelf,
    )  # fmt: skip
    for n in range(len(rows)):
        expected = by_hand(y[n], f[n], e[n], 0.5, lengths, rule, house, moves, shelf)
        assert (kit[n] == -2) == (expected is None)
        assert expected is None or raises[n] == pytest.approx(expected)


def test_a_hundred_thousand_hydrants_are_chosen_as_a_loop_over_the_catalogue_does():
    rng = np.random.default_rng(8)
    n = 100_000
    y = rng.integers(-160, 200, n) / 4
    f = np.where(rng.random(n) < 0.4, NAN, rng.integers(-40, 40, n) / 4)
    e = rng.choice([0.0, 0.0, 0.0, 6.0, 18.0], n)
    rule = dataclasses.replace(
        load_rule("nfpa24-2019"), window=Window(lo_in=18, hi_in=24), flange=Window(hi_in=6.0)
    )
    for house in (HouseRules(longest_total_in=36.0), HouseRules(one_extension=False)):
        _, raises = choose_kit(y, f, e, BY_SIX, rule=rule, house=house)
        # one option at a time, the best so far kept
        best, off = np.full(n, NAN), np.full(n, np.inf)
        alone = [(np.full(n, total), np.ones(n, bool)) for total in (0.0, *BY_SIX)]
        stacked = [] if house.one_extension else [(e + total, e > 0) for total in BY_SIX]
        for total, able in (*alone, *stacked):
            raised = total - e
            longest = np.inf if house.longest_total_in is None else house.longest_total_in
            able = able & (raised != 0) & ((total <= longest) | (raised < 0))
            able &= (y + raised >= 18) & (y + raised <= 24) & ~(f + raised > 6)
            away = np.abs(y + raised - 21)
            better = able & ((away < off) | ((away == off) & (raised < best)))
            best[better], off[better] = raised[better], away[better]
        np.testing.assert_array_equal(raises, best)


@MANY
@given(situation=situations(), y=quarters, f=st.none() | quarters, lift=st.integers(-20, 20))
def test_raising_windows_and_readings_together_changes_nothing(situation, y, f, lift):
    rule, house, lengths, shelf, moves = situation
    flange = NAN if f is None else f
    higher = dataclasses.replace(
        rule,
        window=Window(lo_in=rule.window.lo_in + lift, hi_in=rule.window.hi_in + lift),
        flange=Window(lo_in=rule.flange.lo_in + lift, hi_in=rule.flange.hi_in + lift),
    )
    told = [
        choose_kit([y + up], [flange + up], [6.0], lengths, rule=asked, house=house, sd_in=0.5,
                   allowance_in=[moves], on_shelf=shelf)
        for up, asked in ((0.0, rule), (float(lift), higher))
    ]  # fmt: skip
    np.testing.assert_array_equal(told[0][0], told[1][0])
    np.testing.assert_array_equal(told[0][1], told[1][1])


def one(y, *, f=NAN, e=0.0, rule, house=None, on_hand=None, moves=0.0, lengths=BY_SIX):
    kits = tuple(
        Kit(kit_id=f"E{v:g}", length_in=v, on_hand=None if on_hand is None else on_hand.get(v, 0))
        for v in lengths
    )
    told = remedies_of_family(
        [y], [f], [e], family=Family(name="*", kits=kits), rule=rule, house=house or HouseRules(),
        bury_step_in=6.0, allowance_in=moves,
    )  # fmt: skip
    return told.remedy[0], told.code[0], told.sentence[0], told.raise_in[0]


def test_only_what_lies_on_the_shelf_is_taken_where_the_house_says_so(rule_of):
    rule, house = rule_of(18, 36), HouseRules(stock_only=True)
    assert one(13.0, rule=rule, house=house, on_hand={12.0: 1})[3] == 12.0
    # 12 in would end at 25, nearer the middle; 18 in lies there
    assert one(13.0, rule=rule, house=house, on_hand={18.0: 1})[3] == 18.0
    remedy, code, sentence, _ = one(13.0, rule=rule, house=house, on_hand={48.0: 3})
    assert (remedy, code) == ("review", "none-on-shelf")
    assert sentence == "raised 6 in it would end at 19 in; no such kit is on the shelf"
    # without the rule of the house an empty shelf only means an order
    assert one(13.0, rule=rule, on_hand={})[3] == 12.0


def test_ground_that_will_rise_is_allowed_for(rule_of):
    rule = rule_of(18, 24)
    assert one(13.0, rule=rule)[3] == 6.0
    # 19 in now is 17 in under an overlay of 2 in; 25 in would be too high today
    remedy, code, sentence, _ = one(13.0, rule=rule, moves=2.0)
    # by whole steps of bury it would end where the kit does
    assert (remedy, code) == ("review", "allowance")
    assert sentence.startswith(
        "raised 6 in it ends at 19 in, and at 17 in when the ground has moved by 2 in; the window "
        "is 18 to 24 in; no bury in steps of 6 in"
    )
    # 12 in ends at 23 and at 21
    assert one(11.0, rule=rule, moves=2.0)[3] == 12.0


def test_ground_is_raised_to_a_hydrant_little_too_high_where_the_house_says_so(rule_of):
    house = HouseRules(most_regrade_in=3.0)
    remedy, code, sentence, raised = one(26.0, rule=rule_of(18, 24), house=house)
    assert (remedy, code) == ("regrade", "too-high")
    assert sentence.endswith("raise the ground by 2 to 3 in")
    assert math.isnan(raised)
    assert one(28.0, rule=rule_of(18, 24), house=house)[0] == "lower"
    # the flange would be buried
    low = rule_of(18, 24, flange=(2, 6))
    assert one(26.0, f=3.0, rule=low, house=house)[0] == "review"
    remedy, _, sentence, _ = one(26.0, f=4.5, rule=low, house=house)
    assert remedy == "regrade"
    assert sentence.endswith("raise the ground by 2 to 2.5 in")


def test_a_hydrant_too_high_is_lowered_by_whole_steps_of_bury(rule_of):
    remedy, _, sentence, raised = one(28.0, rule=rule_of(18, 24))
    assert (remedy, raised) == ("lower", -6.0)
    assert sentence.endswith("a bury 6 in shorter puts it right")
    # 28 less 6 and 12 in is 22 and 16
    remedy, code, sentence, raised = one(28.0, rule=rule_of(18, 20))
    assert (remedy, code) == ("review", "too-high")
    assert math.isnan(raised)
    assert "no bury in steps of 6 in" in sentence


def test_a_shorter_bury_puts_a_flange_right_too(rule_of):
    """Outlet 24 in and flange 8 in: 6 in shorter both stand right, at 18 and 2 in."""
    remedy, code, sentence, raised = one(24.0, f=8.0, rule=rule_of(18, 24, flange=(2, 6)))
    assert (remedy, code, raised) == ("lower", "flange-outside", -6.0)
    assert sentence.endswith("a bury 6 in shorter puts it right")


def test_a_replacement_stands_right_when_the_ground_has_moved_too(rule_of):
    rule = rule_of(18, 24)
    # 54 in up it ends at 23 and at 21; 48 in are the longest kit
    assert one(-31.0, rule=rule, moves=2.0)[3] == 54.0
    # 48 in up it ends at 18 today and at 16 then, 54 in up at 24 and 22
    assert one(-30.0, rule=rule, moves=2.0)[::3] == ("replace", 54.0)


def test_no_bury_is_shorter_than_the_shortest(rule_of):
    told = [
        remedies_of_family(
            [30.0], [NAN], [0.0], family=None, rule=rule_of(18, 24), house=HouseRules(),
            bury_step_in=6.0, least_bury_raise_in=[least],
        )
        for least in (-12.0, -11.0, NAN)
    ]  # fmt: skip
    assert [t.remedy[0] for t in told] == ["lower", "lower", "lower"]
    assert [t.raise_in[0] for t in told] == [-12.0, -6.0, -12.0]
    (deep,) = remedies_of_family(
        [40.0], [NAN], [0.0], family=None, rule=rule_of(18, 24), house=HouseRules(),
        bury_step_in=6.0, least_bury_raise_in=[-12.0],
    ).remedy  # fmt: skip
    assert deep == "review"


def test_with_one_limit_the_kit_ends_clear_of_it(rule_of):
    """12 in ends on the limit, inside with one half; 18 in is the next."""
    rule = rule_of(18, np.inf)
    for sd, expected in ((0.25, 18.0), (0.0, 12.0)):
        _, raises = choose_kit([6.0], [NAN], [0.0], BY_SIX, rule=rule, house=HouseRules(),
                               sd_in=[sd])  # fmt: skip
        assert raises.tolist() == [expected]
    # where nothing else fits, what ends on it is taken
    _, raises = choose_kit([6.0], [NAN], [0.0], [12.0], rule=rule, house=HouseRules(), sd_in=[0.25])
    assert raises.tolist() == [12.0]


def test_a_policy_that_is_none_is_refused(rule_of):
    with pytest.raises(ValueError, match="target, shortest, surest"):
        choose_kit([6.0], [NAN], [0.0], BY_SIX, rule=rule_of(18, 24), house=HouseRules(policy="x"))


@pytest.mark.parametrize(("y", "sd"), [(7.0, 0.25), (12.0, 3.0), (6.5, 0.1), (0.0, 5.0)])
def test_the_surest_kit_is_the_one_most_probably_inside(rule_of, y, sd):
    house, rule = HouseRules(policy="surest"), rule_of(18, 36)
    _, raises = choose_kit([y], [NAN], [0.0], BY_SIX, rule=rule, house=house, sd_in=[sd])
    fits = [k for k in BY_SIX if 18 <= y + k <= 36]
    told = {k: round(norm.cdf(36, y + k, sd) - norm.cdf(18, y + k, sd), 6) for k in fits}
    # of those alike the one that raises least
    assert raises[0] == min(k for k in fits if told[k] == max(told.values()))


@given(
    y=quarters, e=st.sampled_from([0.0, 6.0, 18.0]),
    lengths=st.sets(st.integers(1, 60).map(float), min_size=2, max_size=8).map(sorted),
)  # fmt: skip
def test_a_longer_kit_never_ends_lower_at_outlet_or_flange(y, e, lengths):
    told = options([y], [y - 16], [e], lengths, rule=load_rule("nfpa24-2019"), house=HouseRules())
    in_place = ~np.isnan(told.raises[0])
    assert (np.diff(told.outlet_in[0][in_place]) > 0).all()
    assert (np.diff(told.flange_in[0][in_place]) > 0).all()
