"""Kit catalogues: the template is sound, what is broken is told with its address."""

from __future__ import annotations

import tomllib

import pytest

from hydrantgis.ground.errors import SettingsError
from hydrantgis.standards.kitfile import catalogue_from_mapping
from hydrantgis.standards.load import template_of

TEMPLATE = template_of("kits")


def read(text: str):
    return catalogue_from_mapping(tomllib.loads(text), "ours.toml")


def test_the_template_is_a_sound_catalogue_that_says_everything_there_is():
    found = read(TEMPLATE)
    (family,) = found.families
    assert (family.name, family.main_valve_in) == ("Name of the family", (4.5, 5.25))
    assert (family.first_year, family.last_year) == (1985, 2012)
    six, twelve, _ = family.kits
    assert (six.kit_id, six.unit_cost, six.on_hand, six.lead_days) == ("FA-6", 400.0, 4, 21)
    assert (twelve.kit_id, twelve.unit_cost, twelve.on_hand) == ("FA-12", None, None)
    assert found.house.allowances[0].change_in == 2.0
    assert str(found.parts[0]) == "2 pieces barrel gaskets"
    assert str(found.joints[0]) == "breakaway flange, 8 bolts, 60 lbf ft"
    assert (found.money, found.cost_source) == ("USD", "quotation of the supplier")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("lengths_in = [6, 12, 18]", "lengths_in = [12, 6]", r"\$\.family\[0\]\.lengths_in"),
        ("lengths_in = [6, 12, 18]", "lengths_in = []", "no list of numbers"),
        (
            "length_in = 6\n",
            "length_in = 7\n",
            r"\$\.family\[0\]\.length\[0\]\.length_in: 7 is none",
        ),
        ("unit_cost = 400.00", "unit_cost = -1", "unit_cost: -1 is below 0"),
        ("on_hand = 4", "on_hand = 4.5", "on_hand: 4.5 is no whole number"),
        ("lead_days = 21", "lead_days = true", "lead_days: True is no whole number"),
        ('money = "USD"', "", r"\$\.costs\.money: missing|money"),
        ("last_year = 2012", "last_year = 1980", "last_year: 1980 lies before"),
        ('policy = "target"', 'policy = "cheapest"', "policy: 'cheapest' is none of"),
        ("stock_only = false", "stock_only = false\nstock_onl = true", "unknown key; did you mean"),
        ("most_torque_lbf_ft = 60", "", "least and most torque go together"),
        ("most_torque_lbf_ft = 60", "most_torque_lbf_ft = 50", "most_torque_lbf_ft: 50 is below"),
        ("bolts = 8", "bolts = 0", "bolts: 0 is below 1"),
        ('use = "extension"', 'use = "spare"', "use: 'spare' is none of extension, repair"),
        ("grade_change_in = 2", 'grade_change_in = "2 in"', "grade_change_in: '2 in' is no number"),
        ("main_valve_in = [4.5, 5.25]", 'main_valve_in = "5 1/4"', "main_valve_in"),
    ],
)
def test_what_is_broken_is_told_with_its_address(old, new, told):
    assert old in TEMPLATE
    with pytest.raises(SettingsError, match=told):
        read(TEMPLATE.replace(old, new, 1))


FAMILY = """
[[family]]
name = "{name}"
kit_prefix = "{prefix}"
lengths_in = [6]
{more}
"""


@pytest.mark.parametrize(
    ("name", "prefix", "more", "told"),
    [
        ("Name of the family", "FB", "", "a hydrant may be of both"),
        ("name of the FAMILY", "FB", "main_valve_in = [5.25]", "a hydrant may be of both"),
        ("Name of the family", "FB", "main_valve_in = [6]", None),
        ("Name of the family", "FB", "first_year = 2013", None),
        ("Name of the family", "FB", "first_year = 2012", "a hydrant may be of both"),
        ("Another", "FA", "", "is that of another family"),
        ("Another", "FB", "", None),
    ],
)
def test_families_of_one_name_stay_apart_by_valve_or_years(name, prefix, more, told):
    text = TEMPLATE + FAMILY.format(name=name, prefix=prefix, more=more)
    if told is None:
        assert len(read(text).families) == 2
    else:
        with pytest.raises(SettingsError, match=told):
            read(text)


def test_a_shelf_that_nobody_counted_rules_nothing():
    bare = TEMPLATE.replace("on_hand = 4", "").replace("stock_only = false", "stock_only = true")
    with pytest.raises(SettingsError, match="no kit says `on_hand`"):
        read(bare)


def test_a_price_needs_money_source_and_day():
    start, end = TEMPLATE.index("[costs]"), TEMPLATE.index("# Rules of the house")
    with pytest.raises(SettingsError, match=r"say `money`, `source` and `read_on` under \[costs\]"):
        read(TEMPLATE[:start] + TEMPLATE[end:])


def test_house_rules_are_told_in_words():
    told = str(read(TEMPLATE).house)
    assert told == (
        "one extension per hydrant; kits raise 36 in at most; policy target; area N: ground moves "
        "+2 in"
    )
