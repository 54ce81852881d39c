"""The kit that is chosen, against trying every one in turn; and what more kits may change."""

from __future__ import annotations

import dataclasses
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from hydrantgis.assess.options import choose_kit
from hydrantgis.assess.remedy import choose_bury_raise, remedies_of_family
from hydrantgis.assess.verdict import verdicts
from hydrantgis.standards.kits import Family, HouseRules, Kit
from hydrantgis.standards.load import load_rule
from hydrantgis.standards.rules import Window

NAN = float("nan")
MANY = settings(max_examples=max(400, settings.default.max_examples))

heights = st.integers(-6000, 9000)
flanges = st.none() | st.integers(-3000, 2000)
catalogues = st.lists(st.integers(3, 60), min_size=1, max_size=8, unique=True).map(sorted)


@st.composite
def rules(draw):
    """Windows in hundredths: low end, high end, aim where the rule names one."""
    lo = draw(st.integers(600, 4000))
    hi = lo + draw(st.integers(1, 2000))
    flange = draw(st.sampled_from([None, (200, 600), (None, 600), (0, 250)]))
    return {
        "lo": draw(st.sampled_from([lo, lo, lo, None])),
        "hi": hi,
        "target": draw(st.none() | st.integers(lo, hi)),
        "flange": flange or (None, None),
    }


@st.composite
def houses(draw, installed):
    longest = draw(st.none() | st.integers(6, 80))
    return HouseRules(
        one_extension=draw(st.booleans()),
        # a kit that is in and longer than the rule allows is told elsewhere
        longest_total_in=None if longest is None else float(max(longest, installed)),
        policy=draw(st.sampled_from(["target", "shortest"])),
    )


@st.composite
def cases(draw):
    lengths = draw(catalogues)
    installed = draw(st.sampled_from([0, 0, *lengths, 7]))
    return {
        "y": draw(heights),
        "f": draw(flanges),
        "installed": installed,
        "lengths": lengths,
        "rule": draw(rules()),
        "house": draw(houses(installed)),
    }


def as_rule(limits):
    def inches(hundredths, otherwise):
        return otherwise if hundredths is None else hundredths / 100

    return dataclasses.replace(
        load_rule("nfpa24-2019"),
        window=Window(
            lo_in=inches(limits["lo"], -np.inf),
            hi_in=inches(limits["hi"], np.inf),
            target_in=inches(limits["target"], None),
        ),
        flange=Window(
            lo_in=inches(limits["flange"][0], -np.inf), hi_in=inches(limits["flange"][1], np.inf)
        ),
    )


def lies_in(value, lo, hi):
    return (lo is None or value >= lo) and (hi is None or value <= hi)


def aim_of(limits):
    """In hundredths: the target, else mid-window, else the one limit."""
    if limits["target"] is not None:
        return Fraction(limits["target"])
    if limits["lo"] is None:
        return Fraction(limits["hi"])
    return Fraction(limits["lo"] + limits["hi"], 2)


def by_hand(case):
    """Total of the kits in the hydrant afterwards, in whole inches; None where nothing fits."""
    limits, house, installed = case["rule"], case["house"], case["installed"]
    best = None
    totals = {0, *case["lengths"]}
    if installed and not house.one_extension:
        totals |= {installed + length for length in case["lengths"]}
    for total in sorted(totals):
        if total == installed:
            continue
        if house.longest_total_in is not None and total > house.longest_total_in:
            continue
        rise = 100 * (total - installed)
        if not lies_in(case["y"] + rise, limits["lo"], limits["hi"]):
            continue
        if case["f"] is not None and not lies_in(case["f"] + rise, *limits["flange"]):
            continue
        off = abs(case["y"] + rise - aim_of(limits))
        cost = total if house.policy == "shortest" else off
        if best is None or cost < best[0]:
            best = (cost, total)
    return None if best is None else best[1]


def arrays(case):
    return (
        [case["y"] / 100],
        [NAN if case["f"] is None else case["f"] / 100],
        [float(case["installed"])],
    )


def chosen_total(case):
    kit, raises = choose_kit(
        *arrays(case), [float(v) for v in case["lengths"]],
        rule=as_rule(case["rule"]), house=case["house"],
    )  # fmt: skip
    if kit[0] == -2:
        assert np.isnan(raises[0])
        return None
    total = case["installed"] + raises[0]
    length = 0 if kit[0] == -1 else case["lengths"][kit[0]]
    assert total in (length, case["installed"] + length)
    return total


def remedies(case, step=6.0):
    family = Family(
        name="*", kits=tuple(Kit(kit_id=f"E{v}", length_in=float(v)) for v in case["lengths"])
    )
    return remedies_of_family(
        *arrays(case), family=family, rule=as_rule(case["rule"]), house=case["house"],
        bury_step_in=step,
    )  # fmt: skip


@MANY
@given(case=cases())
def test_the_choice_is_the_best_of_all_that_can_be_tried(case):
    assert chosen_total(case) == by_hand(case)


@MANY
@given(case=cases())
def test_the_remedy_is_named_for_what_becomes_of_the_installed_kit(case):
    expected, found = by_hand(case), remedies(case)
    if expected is None:
        assert found.remedy[0] in ("replace", "lower", "review")
        assert found.kit[0] == -1
    elif expected == 0:
        assert found.remedy[0] == "remove"
    elif case["installed"] and expected in case["lengths"]:
        assert found.remedy[0] == "exchange"
    else:
        assert found.remedy[0] == "extend"
    if case["installed"] and case["house"].one_extension:
        assert found.remedy[0] != "extend"


@MANY
@given(case=cases())
def test_a_hydrant_put_right_stands_right_at_outlet_and_flange(case):
    found, limits = remedies(case), case["rule"]
    if np.isnan(found.raise_in[0]):
        assert found.remedy[0] in ("lower", "review")
        return
    rise = round(100 * found.raise_in[0])
    assert lies_in(case["y"] + rise, limits["lo"], limits["hi"])
    assert case["f"] is None or lies_in(case["f"] + rise, *limits["flange"])


@given(cases=st.lists(cases(), min_size=2, max_size=8), shared=cases())
def test_hydrants_done_together_get_what_each_gets_alone(cases, shared):
    y = [case["y"] / 100 for case in cases]
    f = [NAN if case["f"] is None else case["f"] / 100 for case in cases]
    e = [float(shared["lengths"][i % len(shared["lengths"])]) * (i % 2) for i in range(len(cases))]
    lengths = [float(v) for v in shared["lengths"]]
    rule, house = as_rule(shared["rule"]), shared["house"]
    kits, raises = choose_kit(y, f, e, lengths, rule=rule, house=house)
    for i in range(len(cases)):
        kit, raised = choose_kit([y[i]], [f[i]], [e[i]], lengths, rule=rule, house=house)
        assert kit[0] == kits[i]
        assert raised[0] == raises[i] or np.isnan([raised[0], raises[i]]).all()


@MANY
@given(case=cases(), more=st.integers(1, 70))
def test_one_more_length_never_takes_a_way_out_away_nor_ends_farther_from_the_aim(case, more):
    case = {**case, "house": dataclasses.replace(case["house"], policy="target")}
    richer = {**case, "lengths": sorted({*case["lengths"], more})}
    before, after = chosen_total(case), chosen_total(richer)
    if before is None:
        return
    assert after is not None
    aim = aim_of(case["rule"])

    def off(total):
        return abs(case["y"] + 100 * (round(total) - case["installed"]) - aim)

    assert off(after) <= off(before)


def bury_by_hand(y, f, limits, step):
    """Every whole step of bury within reach that ends right, in hundredths."""
    return [
        n * step
        for n in range(-400, 401)
        if lies_in(y + n * step, limits["lo"], limits["hi"])
        and (f is None or lies_in(f + n * step, *limits["flange"]))
    ]


@MANY
@given(y=heights, f=flanges, limits=rules(), step=st.sampled_from([300, 600, 1200]))
def test_the_bury_of_a_replacement_is_the_best_of_whole_steps(y, f, limits, step):
    raised = choose_bury_raise(
        [y / 100], [NAN if f is None else f / 100], step_in=step / 100, rule=as_rule(limits)
    )[0]
    ways = bury_by_hand(y, f, limits, step)
    if not ways:
        assert np.isnan(raised)
        return
    rise = round(100 * raised)
    assert rise == pytest.approx(100 * raised)
    assert rise in ways
    aim = aim_of(limits)
    assert abs(y + rise - aim) == min(abs(y + way - aim) for way in ways)


@MANY
@example(y=-18_985, lo=1801, wide=500, step=6.0)
@given(
    y=st.integers(-60_000, 60_000), lo=st.integers(600, 4000), wide=st.integers(1, 2000),
    step=st.sampled_from([3.0, 6.0]),
)  # fmt: skip
def test_a_replacement_measured_to_a_thousandth_ends_inside_after_rounding(y, lo, wide, step):
    """The verdict rounds to 0.01 in; what is ordered must pass that same verdict."""
    rule = as_rule({"lo": lo, "hi": lo + wide, "target": None, "flange": (None, None)})
    height = y / 1000
    raised = choose_bury_raise([height], [NAN], step_in=step, rule=rule)
    if np.isnan(raised[0]):
        return
    verdict, _ = verdicts(
        [height + raised[0]], [0.25], lo_in=rule.window.lo_in, hi_in=rule.window.hi_in
    )
    assert verdict.tolist() == ["inside"]


@MANY
@given(case=cases())
def test_a_replacement_is_longer_and_comes_only_where_no_kit_fits(case):
    found = remedies(case)
    if found.remedy[0] == "replace":
        assert by_hand(case) is None
        assert found.raise_in[0] > 0
        ways = bury_by_hand(case["y"], case["f"], case["rule"], 600)
        assert round(100 * found.raise_in[0]) in ways
