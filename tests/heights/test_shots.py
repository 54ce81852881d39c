"""Shots on hydrants: whose they are, and the readings that they make."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.tables import SHOTS
from hydrantgis.heights.basis import basis_heights
from hydrantgis.heights.grade import UNCHECKED_SD_FT, grade_at
from hydrantgis.heights.shots import (
    CURB_FT,
    NAMED_FT,
    NEAR_FT,
    hydrant_of_shot,
    readings_of_shots,
)
from hydrantgis.standards.load import load_rule
from hydrantgis.standards.rules import GROUNDS

RULE = load_rule("nfpa24-2019")
spots = st.tuples(st.integers(0, 60), st.integers(0, 20)).map(lambda at: (at[0] / 2, at[1] / 2))


def shots(rows: list[dict[str, object]]) -> pd.DataFrame:
    """A shots table; NAVD88, of hydrants in nobody's name, if not said."""
    usual = {"vertical_datum": "NAVD88", "shot_date": "2026-06-01"}
    told = [{"shot_id": str(n), **usual, **row} for n, row in enumerate(rows)]
    frame = pd.DataFrame(told)
    return pd.DataFrame(SHOTS.only(tuple(SHOTS.names)).conform(frame)).assign(
        x=frame.get("x", np.nan), y=frame.get("y", np.nan)
    )


@given(hydrants=st.lists(spots, min_size=1, max_size=6), at=st.lists(spots, min_size=1, max_size=8),
       named=st.lists(st.integers(-1, 5), min_size=8, max_size=8))  # fmt: skip
def test_whose_a_shot_is_is_what_a_look_at_each_hydrant_says(hydrants, at, named):
    told = [min(n, len(hydrants) - 1) for n in named[: len(at)]]
    result, why = hydrant_of_shot(hydrants, at, told)
    for shot, name, got, reason in zip(at, told, result, why, strict=True):
        apart = [math.dist(shot, hydrant) for hydrant in hydrants]
        near = [i for i, far in enumerate(apart) if far <= NEAR_FT]
        if name >= 0:
            expected = (name, None) if apart[name] <= NAMED_FT else (-1, "shot-elsewhere")
        elif len(near) == 1:
            expected = (near[0], None)
        else:
            expected = (-1, "shot-near-two" if near else "shot-of-no-hydrant")
        assert (got, reason) == expected


def test_a_hydrant_without_a_place_has_the_shots_that_name_it():
    result, why = hydrant_of_shot([[np.nan, np.nan]], [[5.0, 5.0], [5.0, 5.0]], [0, -1])
    assert result.tolist() == [0, -1]
    assert why.tolist() == [None, "shot-of-no-hydrant"]


def read(hydrants, told):
    """The readings of these shots at hydrants 500 ft apart, and what was noticed."""
    frame = shots(told)
    flat = np.column_stack([np.arange(len(hydrants)) * 500.0, np.zeros(len(hydrants))])
    return readings_of_shots(hydrants, frame, flat, frame[["x", "y"]].to_numpy(float))


def flat_grade(elev=100.0):
    around = [[10.0, 0], [-5, 8], [-5, -8]]
    return {"navd88": grade_at([[0.0, 0.0]], around, [elev] * 3, [0.02] * 3)}


def test_outlet_flange_and_curb_make_one_reading_and_a_height(hydrants):
    told = [
        {"shot_code": "outlet-centerline", "measured_to": "hose-centerline", "elev_ft": 101.75,
         "elev_sd_ft": 0.03, "x": 1.0, "y": 0.0},
        {"shot_code": "flange", "elev_ft": 100.25, "x": 0.5, "y": 0.0},
        {"shot_code": "curb", "elev_ft": 100.5, "x": 0.0, "y": -4.0},
        {"shot_code": "curb", "elev_ft": 109.0, "x": 0.0, "y": 9.0},
        {"shot_code": "wall", "elev_ft": 120.0, "x": 0.0, "y": 1.0},
    ]  # fmt: skip
    made, noticed = read(hydrants(["A"]), told)
    assert not len(noticed)
    row = made.iloc[0]
    assert (row["hydrant_id"], row["method"], row["measured_from"]) == ("A", "shot", "grade")
    assert row["outlet_elev_ft"] == 101.75
    assert row["flange_elev_ft"] == 100.25
    assert (row["curb_elev_ft"], row["curb_distance_in"]) == (100.5, pytest.approx(48.0))
    basis, found = basis_heights(hydrants(["A"]), made, RULE, grades=flat_grade())
    assert basis["outlet_height_in"].tolist() == pytest.approx([21.0])
    assert basis["flange_height_in"].tolist() == pytest.approx([3.0])
    assert basis["height_basis"].tolist() == ["shot outlet over plane of 3 shots"]
    # the outlet's own 0.03 ft and three shots of 0.02 ft with the barrel in their middle, unchecked
    expected = 12 * math.hypot(0.03, 0.02 / math.sqrt(3), UNCHECKED_SD_FT)
    assert basis["height_sd_in"].tolist() == pytest.approx([expected])
    assert not basis["screening"].any()
    assert not len(found)


@pytest.mark.parametrize(
    ("ground", "datum", "expected"),
    [
        ("barrel", "grade", 21.0), ("highest", "grade", 18.6), ("lowest", "grade", 22.2),
        # whichever ground: outlet less flange, and outlet less curb
        *((ground, "flange-bottom", 18.0) for ground in GROUNDS),
        *((ground, "higher-of-curb-and-grade", 15.0) for ground in GROUNDS),
    ],
)  # fmt: skip
def test_outlet_flange_and_curb_stand_over_one_ground(hydrants, ground, datum, expected):
    slope = grade_at([[0.0, 0.0]], [[10.0, 0], [-5, 8], [-5, -8]], [100.2, 99.9, 99.9], [0.02] * 3)
    rule = dataclasses.replace(RULE, ground=ground, datum=datum, curb_within_in=60.0)
    told = [
        {"shot_code": "outlet-centerline", "measured_to": "hose-centerline", "elev_ft": 101.75,
         "x": 0.0, "y": 0.0},
        {"shot_code": "flange", "elev_ft": 100.25, "x": 0.0, "y": 0.0},
        {"shot_code": "curb", "elev_ft": 100.5, "x": 0.0, "y": -4.0},
    ]  # fmt: skip
    frame, town = shots(told), hydrants(["A"])
    made, _ = readings_of_shots(town, frame, np.zeros((1, 2)), frame[["x", "y"]].to_numpy(float))
    basis, _ = basis_heights(town, made, rule, grades={"navd88": slope})
    assert basis["outlet_height_in"].tolist() == pytest.approx([expected])


def test_a_shot_on_a_hydrant_with_no_ground_near_it_is_told(hydrants):
    told = [{"shot_code": "outlet-centerline", "measured_to": "hose-centerline", "elev_ft": 101.75,
             "x": 0.0, "y": 0.0}]  # fmt: skip
    made, _ = read(hydrants(["A"]), told)
    basis, found = basis_heights(hydrants(["A"]), made, RULE)
    assert basis["outlet_height_in"].isna().all()
    assert found["code"].tolist() == ["no-grade"]


@pytest.mark.parametrize("code", ["flange", "nut", "curb"])
def test_what_is_no_outlet_makes_no_reading(hydrants, code):
    made, noticed = read(
        hydrants(["A"]), [{"shot_code": code, "elev_ft": 101.0, "x": 0.0, "y": 0.0}]
    )
    assert not len(made)
    assert not len(noticed)


def test_datums_are_never_mixed(hydrants):
    told = [
        {"shot_code": "outlet-centerline", "measured_to": "hose-centerline", "elev_ft": 101.75,
         "vertical_datum": "NGVD29", "x": 0.0, "y": 0.0},
        {"shot_code": "flange", "elev_ft": 100.25, "x": 0.0, "y": 0.0},
        {"shot_code": "curb", "elev_ft": 100.5, "x": 0.0, "y": -4.0},
    ]  # fmt: skip
    made, _ = read(hydrants(["A"]), told)
    row = made.iloc[0]
    assert row[["flange_height_in", "curb_above_grade_in", "curb_distance_in"]].isna().all()
    basis, found = basis_heights(hydrants(["A"]), made, RULE, grades=flat_grade())
    assert found["code"].tolist() == ["datums-differ"]
    assert basis["outlet_height_in"].isna().all()


def test_a_curb_just_beyond_reach_is_not_the_one_beside_the_hydrant(hydrants):
    for apart, told in ((CURB_FT, [180.0]), (CURB_FT + 0.01, [])):
        rows = [
            {"shot_code": "outlet", "elev_ft": 101.0, "x": 0.0, "y": 0.0},
            {"shot_code": "curb", "elev_ft": 100.5, "x": 0.0, "y": apart},
        ]
        made, _ = read(hydrants(["A"]), rows)
        assert made["curb_distance_in"].dropna().tolist() == pytest.approx(told)


def test_shots_that_are_nobodys_are_told_with_their_description(hydrants):
    rows = [
        {"shot_code": "nut", "elev_ft": 101.0, "x": 250.0, "y": 0.0, "description": "FH NUT"},
        {"shot_code": "outlet", "elev_ft": 101.0, "x": 0.0, "y": 0.0, "hydrant_id": "B",
         "description": "FH B"},
    ]  # fmt: skip
    made, noticed = read(hydrants(["A", "B"]), rows)
    assert not len(made)
    assert dict(zip(noticed["code"], noticed["value"], strict=True)) == {
        "shot-elsewhere": "FH B", "shot-of-no-hydrant": "FH NUT",
    }  # fmt: skip
