"""Season files: the template is sound, what is broken is told with its address."""

from __future__ import annotations

import datetime as dt
import tomllib

import pytest

from hydrantgis.ground.errors import SettingsError
from hydrantgis.standards.load import template_of
from hydrantgis.standards.season import PARTS, Consumable, Depot
from hydrantgis.standards.seasonfile import season_from_mapping

TEMPLATE = template_of("season")


def read(text: str):
    return season_from_mapping(tomllib.loads(text), "season.toml")


def test_the_template_is_a_sound_season():
    found = read(TEMPLATE)
    assert (found.budget, found.contingency_share, found.available) == (60_000, 0.1, 54_000)
    assert found.hours == {"extend": 2.5, "exchange": 3, "remove": 2.5}
    assert found.materials == {"extend": 40, "exchange": 40, "remove": 25}
    assert set(found.weights) == set(PARTS)
    assert (found.area_cost, found.area_hours, found.least) == (300, 1, {"A1": 1})
    (crew,) = found.crews
    assert (crew.weekdays, crew.does) == ((0, 1, 2, 3), ("extend", "exchange", "remove"))
    (blackout,) = found.blackouts
    assert (blackout.title, blackout.areas) == ("school begins", ())
    assert found.depot == Depot(x=-71.45, y=41.95, crs="EPSG:4326")
    assert found.consumables == (Consumable(item="cap gaskets", a_job=3, unit_cost=4),)
    assert found.day_starts == dt.time(7)
    assert found.protects == {"*": 1}


def test_other_work_is_planned_where_the_file_says_what_it_takes():
    text = TEMPLATE.replace("# replace = 8 ", "replace = 8 ").replace(
        "# replace = 5000", "replace = 5000"
    )
    found = read(text)
    assert (found.hours["replace"], found.materials["replace"]) == (8, 5000)
    assert "replace" not in read(TEMPLATE).hours
    without = text.replace("does = [", "# does = [")
    assert read(without).crews[0].does == ("extend", "exchange", "remove", "replace")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("budget = 60000", "budget = -1", r"\$\.budget: -1 is below 0"),
        ("budget = 60000", 'budget = "60,000"', "is no number"),
        ("budget = 60000", "", r"\$\.budget: missing"),
        ("contingency_share = 0.10", "contingency_share = 10", "contingency_share: 10 is over 1"),
        ("ends_on = 2027-10-15", "ends_on = 2027-03-01", "lies before `starts_on`"),
        ("ends_on = 2027-10-15", 'ends_on = "2027-10-15"', "is no date"),
        ("day_starts = 07:00:00", 'day_starts = "7"', r"\$\.day_starts: '7' is no time of day"),
        ("holidays = [", "holidays = [1, ", r"\$\.holidays: .* is no list of dates"),
        ('crew_id = "1"', "", r"\$\.crew\[0\]\.crew_id: missing"),
        ("[[blackout]]", '[[crew]]\ncrew_id = "1"\nhours_a_day = 8\n[[blackout]]',
         r"\$\.crew\[1\]\.crew_id: '1' stands twice"),
        ('"mon", "tue"', '"mon", "tuesday"', r"\$\.crew\[0\]\.weekdays: 'tuesday' is none of mon"),
        ('does = ["extend"', 'does = ["dig"', r"\$\.crew\[0\]\.does: 'dig' is none of extend"),
        ("hours_a_day = 8 ", "hours_a_day = 25 ", r"\$\.crew\[0\]\.hours_a_day: 25 is over 24"),
        ("off = []", "first_on = 2027-06-01\nlast_on = 2027-05-01\noff = []",
         r"\$\.crew\[0\]\.last_on: 2027-05-01 lies before `first_on`"),
        ("last_on = 2027-09-03", "last_on = 2027-08-03", r"\$\.blackout\[0\]\.last_on: 2027-08-03"),
        ("x = -71.45", "", r"\$\.depot\.x: missing"),
        ("speed_mph = 20", "speed_mph = 0", r"\$\.travel\.speed_mph: 0 is not above 0"),
        ("street_factor = 1.3", "street_factor = 0.9", r"\$\.travel\.street_factor: 0.9 is below"),
        ("extend = 2.5", "extend = 0", r"\$\.hours\.extend: 0 is not above 0"),
        ("extend = 2.5", "", r"\$\.hours\.extend"),
        ("# replace = 8 ", "replace = 8 ", r"\$\.hours\.replace: say how long it takes here and"),
        ("apart_ft = 600", "apart_ft = -1", r"\$\.spacing\.apart_ft: -1 is below 0"),
        ("customer_days = 2", "customer_days = 1.5", r"\$\.notices\.customer_days: 1.5 is no"),
        ("lead_days = 30", "", r"\$\.orders\.lead_days: missing"),
        ("spares_share = 0.05", "spares_share = 5", r"\$\.orders\.spares_share: 5 is over 1"),
        ("a_job = 3", "a_job = 0", r"\$\.consumable\[0\]\.a_job: 0 is not above 0"),
        ('"*" = 1 ', '"*" = 2 ', r"\$\.protects\.classes\.\*: 2 is over 1"),
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
    for line in ("severity = 4", "protects = 1", "alone = 1", "flow = 0.5", "age = 0.5"):
        text = text.replace(line, line.split("=")[0] + "= 0", 1)
    with pytest.raises(SettingsError, match="all weights are 0"):
        read(text)
