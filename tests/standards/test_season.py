"""Season files: the template is sound, what is broken is told with its address."""

from __future__ import annotations

import tomllib

import pytest

from hydrantgis.ground.errors import SettingsError
from hydrantgis.standards.load import template_of
from hydrantgis.standards.season import PARTS, season_from_mapping

TEMPLATE = template_of("season")


def read(text: str):
    return season_from_mapping(tomllib.loads(text), "season.toml")


def test_the_template_is_a_sound_season():
    found = read(TEMPLATE)
    assert (found.budget, found.contingency_share, found.crew_hours) == (60_000, 0.1, 800)
    assert found.hours == {"extend": 4, "exchange": 5, "remove": 4}
    assert set(found.weights) == set(PARTS)
    assert (found.area_cost, found.area_hours, found.least) == (300, 2, {"A1": 1})


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("budget = 60000", "budget = -1", r"\$\.budget: -1 is below 0"),
        ("budget = 60000", 'budget = "60,000"', "is no number"),
        ("budget = 60000", "", r"\$\.budget: missing|budget"),
        ("contingency_share = 0.10", "contingency_share = 10", "contingency_share: 10 is over 1"),
        ("ends_on = 2027-10-15", "ends_on = 2027-04-01", "does not lie after `starts_on`"),
        ("ends_on = 2027-10-15", 'ends_on = "2027-10-15"', "is no date"),
        ("extend = 4", "extend = 0", r"\$\.hours\.extend: 0 is not above 0"),
        ("extend = 4", "", r"\$\.hours\.extend"),
        ("severity = 4", "severity = -1", r"\$\.weights\.severity: -1 is below 0"),
        ("severity = 4", "severty = 4", "did you mean `severity`"),
        ("least = 1", "least = 1.5", "is no whole number"),
        ('[[share]]', '[[share]]\narea = "A1"\nleast = 2\n[[share]]', "'A1' stands twice"),
    ],
)  # fmt: skip
def test_what_is_broken_is_told_with_its_address(old, new, told):
    assert old in TEMPLATE
    with pytest.raises(SettingsError, match=told):
        read(TEMPLATE.replace(old, new, 1))


def test_what_must_be_done_and_may_not_be_is_told():
    both = TEMPLATE.replace("must = []", 'must = ["A"]').replace("never = []", 'never = ["A"]')
    with pytest.raises(SettingsError, match="'A' must be done too"):
        read(both)


def test_weights_of_nothing_choose_nothing():
    text = TEMPLATE
    for line in ("severity = 4", "protects = 1", "alone = 1", "age = 0.5"):
        text = text.replace(line, line.split("=")[0] + "= 0", 1)
    with pytest.raises(SettingsError, match="all weights are 0"):
        read(text)
