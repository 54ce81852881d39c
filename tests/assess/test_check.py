"""The check of a whole table."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from hydrantgis.assess.check import check
from hydrantgis.ground.results import CHECKED
from hydrantgis.standards.kits import HouseRules
from hydrantgis.standards.load import load_kits

NAN = float("nan")
KITS = load_kits("generic")


def test_every_hydrant_comes_back_with_every_column_of_its_declaration(rule_of, hydrants, heights):
    rule = rule_of(18, 24, flange=(2, 6))
    at = heights([20, 11, 30, NAN, -31], flange=[3, -9, 10, NAN, NAN])
    checked, _ = check(hydrants(5), at, rule=rule, kits=KITS)
    assert checked.columns.tolist() == [*CHECKED.names, "geometry"]
    assert checked["hydrant_id"].tolist() == ["H0", "H1", "H2", "H3", "H4"]
    assert checked["verdict"].tolist() == ["inside", "low", "high", "unmeasured", "low"]
    assert checked["remedy"].tolist() == ["none", "extend", "lower", "measure", "replace"]
    assert not len(CHECKED.validate(checked))


def test_how_far_outside_is_told_on_the_side_where_it_stands(rule_of, hydrants, heights):
    checked, _ = check(hydrants(4), heights([15.5, 18, 24, 26.25]), rule=rule_of(18, 24), kits=KITS)
    assert checked["shortfall_in"].tolist() == [2.5, 0, 0, 0]
    assert checked["excess_in"].tolist() == [0, 0, 0, 2.25]


def test_wet_barrels_and_retired_hydrants_are_there_and_not_judged(rule_of, hydrants, heights):
    facts = hydrants(
        4, barrel=["wet", "dry", "other", "dry"], status=[None, "retired", None, "in_service"]
    )
    checked, found = check(facts, heights([14.0] * 4), rule=rule_of(18, 24), kits=KITS)
    assert checked["verdict"].isna().tolist() == [True, True, True, False]
    assert checked["remedy"].tolist() == ["none", "none", "none", "extend"]
    reasons = checked["remedy_reason"].str.split(":").str[0]
    assert reasons.tolist() == ["wet-barrel", "retired", "other-barrel", "kit-fits"]
    assert checked["p_inside"].isna().tolist() == [True, True, True, False]
    assert checked["shortfall_in"].isna().tolist() == [True, True, True, False]
    assert found[["code", "key"]].to_numpy().tolist() == [
        ["retired", "H1"], ["not-dry-barrel", "H0"], ["not-dry-barrel", "H2"],
    ]  # fmt: skip


def test_a_barrel_not_recorded_is_judged_and_told_once(rule_of, hydrants, heights):
    checked, found = check(
        hydrants(3, barrel=[None, "dry", None]), heights([20.0] * 3), rule=rule_of(), kits=KITS
    )
    assert checked["verdict"].tolist() == ["inside"] * 3
    assert found["code"].tolist() == ["barrel-unknown"]


def test_kits_not_recorded_are_taken_as_none_and_told_once(rule_of, hydrants, heights):
    checked, found = check(
        hydrants(2, installed_extension_in=[None, 6.0]),
        heights([14.0] * 2),
        rule=rule_of(),
        kits=KITS,
    )
    assert checked["remedy"].tolist() == ["extend", "exchange"]
    assert found["code"].tolist() == ["extension-unknown"]


def test_a_screening_height_ranks_a_visit_and_orders_no_kit(rule_of, hydrants, heights):
    checked, _ = check(
        hydrants(3), heights([5.0, 21.0, 40.0], sd=2.0, screening=True), rule=rule_of(), kits=KITS
    )
    assert checked["verdict"].tolist() == ["low", "unresolved", "high"]
    assert checked["remedy"].tolist() == ["measure"] * 3
    assert checked["kit_id"].isna().all()
    assert checked["raise_in"].isna().all()


def test_a_reading_that_does_not_answer_is_unresolved_with_its_reason(rule_of, hydrants, heights):
    checked, _ = check(
        hydrants(1), heights([NAN], why_not=["curb-unknown"]), rule=rule_of(), kits=KITS
    )
    assert checked["verdict"].tolist() == ["unresolved"]
    assert checked["remedy"].tolist() == ["measure"]
    assert checked["remedy_reason"].str.startswith("curb-unknown: ").all()


def test_a_wrong_flange_under_a_right_outlet_is_not_passed_over(rule_of, hydrants, heights):
    rule = rule_of(18, 24, flange=(2, 6))
    checked, _ = check(hydrants(2), heights([18.0, 20.0], flange=[-2, 9]), rule=rule, kits=KITS)
    assert checked["verdict"].tolist() == ["inside", "inside"]
    assert checked["flange_verdict"].tolist() == ["low", "high"]
    assert checked["remedy"].tolist() == ["extend", "review"]
    assert checked["flange_height_after_in"].tolist()[0] == 4.0


def test_each_family_gets_its_own_kits(rule_of, hydrants, heights, family_of, catalogue_of):
    kits = catalogue_of(family_of(9.0, name="Tern"), family_of(6.0, 12.0, name="Alder"))
    facts = hydrants(4, family=["alder", "Tern ", None, "Yew"])
    checked, _ = check(facts, heights([12.0] * 4), rule=rule_of(18, 24), kits=kits)
    assert checked["kit_id"].fillna("-").tolist() == ["Alder6", "Tern9", "-", "-"]
    assert checked["kit_length_in"].fillna(0).tolist() == [6.0, 9.0, 0, 0]
    assert checked["remedy"].tolist() == ["extend", "extend", "review", "review"]


def test_a_second_kit_is_listed_with_its_own_length(
    rule_of, hydrants, heights, family_of, catalogue_of
):
    """One length of 6 in, one already in: a second 6 in kit raises by 6."""
    kits = catalogue_of(family_of(6.0), house=HouseRules(one_extension=False))
    checked, _ = check(
        hydrants(1, installed_extension_in=6.0, bury_ft=4.0), heights([14.0]),
        rule=rule_of(18, 24), kits=kits,
    )  # fmt: skip
    assert checked["remedy"].tolist() == ["extend"]
    assert checked[["kit_length_in", "raise_in", "bury_after_ft"]].to_numpy().tolist() == [
        [6.0, 6.0, 4.5]
    ]


@pytest.mark.parametrize("screening", [False, True])
@pytest.mark.parametrize(
    ("height", "verdict"), [(17.5, "low"), (18.0, "inside"), (21.0, "inside"), (24.5, "high")]
)
def test_a_stated_uncertainty_of_nothing_leaves_no_doubt(
    rule_of, hydrants, heights, height, verdict, screening
):
    """The readings table allows a stated uncertainty of 0."""
    at = heights([height], sd=0.0, screening=screening)
    checked, _ = check(hydrants(1), at, rule=rule_of(18, 24), kits=KITS)
    assert checked["verdict"].tolist() == [verdict]
    chances = checked[["p_low", "p_inside", "p_high"]].iloc[0].tolist()
    assert chances == [float(verdict == v) for v in ("low", "inside", "high")]


def test_areas_stand_beside_their_hydrants(rule_of, hydrants, heights):
    areas = pd.Series(["N", None], dtype="str")
    checked, _ = check(
        hydrants(2), heights([20.0, 20.0]), rule=rule_of(), kits=KITS, area_ids=areas
    )
    assert checked["area_id"].fillna("-").tolist() == ["N", "-"]


def test_a_table_without_a_hydrant(rule_of, hydrants, heights):
    checked, found = check(hydrants(0), heights([]), rule=rule_of(), kits=KITS)
    assert len(checked) == 0
    assert checked.columns.tolist() == [*CHECKED.names, "geometry"]
    assert not len(found)


def test_the_deep_burys_are_counted(rule_of, hydrants, heights):
    facts = hydrants(3, bury_ft=[4.0, 4.5, 5.0])
    checked, found = check(facts, heights([11.0] * 3), rule=rule_of(18, 24), kits=KITS)
    assert checked["bury_after_ft"].tolist() == [5.0, 5.5, 6.0]
    assert found[["code", "value"]].to_numpy().tolist() == [
        ["bury-beyond-torque-range", "2 hydrants"]
    ]


def test_inputs_stay_as_they_were(rule_of, hydrants, heights):
    facts, at = hydrants(3), heights([11.0, NAN, 40.0])
    before, at_before = facts.copy(deep=True), at.copy(deep=True)
    check(facts, at, rule=rule_of(), kits=KITS)
    pd.testing.assert_frame_equal(facts, before)
    pd.testing.assert_frame_equal(at, at_before)
    assert np.isnan(at["outlet_height_in"].iloc[1])
