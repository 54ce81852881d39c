"""Order and labels of rows change nothing, inputs stay as they were, no hydrant is dropped."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.assess.check import check
from hydrantgis.heights.basis import basis_heights
from hydrantgis.standards.load import load_rule
from hydrantgis.standards.rules import Window

RULES = {
    "nfpa24-2019": load_rule("nfpa24-2019"),
    "blue-ash-oh-2017": load_rule("blue-ash-oh-2017").judging("any"),
    "bothell-wa": load_rule("bothell-wa").judging("any"),
    "la-porte-tx": load_rule("la-porte-tx").judging("any"),
    "guarded": dataclasses.replace(
        load_rule("bowling-green-ky-2021"), decision="guarded", flange=Window(lo_in=2, hi_in=6)
    ),
}
rule_ids = st.sampled_from(sorted(RULES))


def both(hydrants, readings, rule, kits):
    basis, on_heights = basis_heights(hydrants, readings, rule)
    checked, on_check = check(hydrants, basis, rule=rule, kits=kits)
    return checked, pd.concat([on_heights, on_check], ignore_index=True)


def in_one_order(frame, by):
    return pd.DataFrame(frame).sort_values(by, kind="stable").reset_index(drop=True)


@given(data=st.data(), rule_id=rule_ids, labels=st.sampled_from(["same", "text", "twice"]))
def test_row_order_and_index_labels_change_nothing(districts, catalogue, data, rule_id, labels):
    hydrants, readings = data.draw(districts)
    rule = RULES[rule_id]
    mixed_hydrants = hydrants.iloc[data.draw(st.permutations(range(len(hydrants))))]
    mixed_readings = readings.iloc[data.draw(st.permutations(range(len(readings))))]
    if labels != "same":
        for frame in (mixed_hydrants, mixed_readings):
            frame.index = [f"row {i // 2 if labels == 'twice' else i}" for i in range(len(frame))]
    before, found = both(hydrants, readings, rule, catalogue)
    after, found_after = both(mixed_hydrants, mixed_readings, rule, catalogue)
    assert after.index.tolist() == mixed_hydrants.index.tolist()
    assert after["hydrant_id"].tolist() == mixed_hydrants["hydrant_id"].tolist()
    pd.testing.assert_frame_equal(
        in_one_order(before, "hydrant_id"), in_one_order(after, "hydrant_id")
    )
    by = list(found.columns)
    pd.testing.assert_frame_equal(in_one_order(found, by), in_one_order(found_after, by))


@given(data=st.data(), rule_id=rule_ids)
def test_inputs_are_not_changed_and_the_index_comes_back(districts, catalogue, data, rule_id):
    hydrants, readings = data.draw(districts)
    hydrants.index = hydrants.index[::-1] + 100
    hydrants_before, readings_before = hydrants.copy(deep=True), readings.copy(deep=True)
    basis, _ = basis_heights(hydrants, readings, RULES[rule_id])
    basis_before = basis.copy(deep=True)
    checked, _ = check(hydrants, basis, rule=RULES[rule_id], kits=catalogue)
    pd.testing.assert_frame_equal(hydrants, hydrants_before)
    pd.testing.assert_frame_equal(readings, readings_before)
    pd.testing.assert_frame_equal(basis, basis_before)
    assert basis.index.equals(hydrants.index)
    assert checked.index.equals(hydrants.index)
    assert checked.geometry.geom_equals(hydrants.geometry).all()


@given(data=st.data(), rule_id=rule_ids)
def test_a_missing_height_stays_missing_and_the_hydrant_stays(districts, catalogue, data, rule_id):
    hydrants, readings = data.draw(districts)
    checked, _ = both(hydrants, readings, RULES[rule_id], catalogue)
    assert checked["hydrant_id"].tolist() == hydrants["hydrant_id"].tolist()
    judged = checked["verdict"].notna()
    skipped = hydrants["barrel"].isin(["wet", "other"]) | (hydrants["status"] == "retired")
    assert judged.tolist() == (~skipped).tolist()
    read = hydrants["hydrant_id"].isin(readings["hydrant_id"])
    missing = checked["outlet_height_in"].isna()
    assert missing[~read].all()
    # nobody measured: unmeasured; measured and of no use for the rule: unresolved
    assert ((checked["verdict"] == "unmeasured") == (judged & ~read)).all()
    assert (checked["verdict"][judged & read & missing] == "unresolved").all()
    for column in ("p_inside", "height_sd_in", "shortfall_in", "raise_in", "kit_length_in"):
        assert checked.loc[missing, column].isna().all()
    assert (checked["remedy"][judged & missing] == "measure").all()
    told = judged & ~missing
    total = checked.loc[told, ["p_inside", "p_low", "p_high"]].sum(axis=1)
    assert total.tolist() == pytest.approx([1.0] * int(told.sum()))


@given(data=st.data(), rule_id=rule_ids)
def test_after_a_kit_both_heights_are_inside(districts, catalogue, data, rule_id):
    hydrants, readings = data.draw(districts)
    rule = RULES[rule_id]
    checked, _ = both(hydrants, readings, rule, catalogue)
    kit_jobs = checked["remedy"].isin(["extend", "exchange", "remove"])
    done = checked[kit_jobs | (checked["remedy"] == "replace")]
    outlet = done["outlet_height_after_in"].round(2)
    flange = done["flange_height_after_in"].round(2)
    assert outlet.between(rule.window.lo_in, rule.window.hi_in).all()
    assert (flange.isna() | flange.between(rule.flange.lo_in, rule.flange.hi_in)).all()
    np.testing.assert_allclose(
        (done["bury_after_ft"] - done["bury_ft"]).dropna() * 12,
        done.loc[done["bury_ft"].notna(), "raise_in"],
    )
    fitted = checked["kit_id"].notna()
    assert (fitted == checked["remedy"].isin(["extend", "exchange"])).all()
    assert (checked["raise_in"].notna() == checked.index.isin(done.index)).all()
