"""Which reading stands for a hydrant, and its height as the rule asks for it."""

from __future__ import annotations

import dataclasses
import math
import tracemalloc

import numpy as np
import pytest

from hydrantgis.heights.basis import BASIS_COLUMNS, basis_heights
from hydrantgis.heights.grade import UNCHECKED_SD_FT, grade_at
from hydrantgis.standards.load import load_rule
from hydrantgis.standards.methods import METHODS

RULE = load_rule("nfpa24-2019")
BOTTOM = dataclasses.replace(RULE, point="bottom")
ANY = load_rule("bowling-green-ky-2021")


def test_a_tape_reading_stands_as_it_is(hydrants, readings):
    basis, found = basis_heights(hydrants(["A"]), readings(["A"], outlet_height_in=[21.5]), RULE)
    assert tuple(basis.columns) == BASIS_COLUMNS
    assert basis["outlet_height_in"].tolist() == [21.5]
    assert basis["height_sd_in"].tolist() == [0.25]
    assert basis["height_basis"].tolist() == ["tape"]
    assert basis["screening"].tolist() == [False]
    assert basis["reading_date"].dt.strftime("%Y-%m-%d").tolist() == ["2026-06-01"]
    assert not len(found)


def test_the_uncertainty_that_a_reading_states_goes_before_that_of_its_method(hydrants, readings):
    basis, _ = basis_heights(
        hydrants(["A", "B"]),
        readings(["A", "B"], outlet_height_in=20.0, height_sd_in=[0.6, None], method="level"),
        RULE,
    )
    assert basis["height_sd_in"].tolist() == [0.6, METHODS["level"].sd_in]


def test_two_elevations_make_a_height(hydrants, readings):
    told = readings(
        ["A"], outlet_elev_ft=[131.57], grade_elev_ft=[130.07], vertical_datum="NAVD88",
        method="level",
    )  # fmt: skip
    basis, _ = basis_heights(hydrants(["A"]), told, RULE)
    assert basis["outlet_height_in"].tolist() == pytest.approx([18.0], abs=1e-9)


@pytest.mark.parametrize(
    ("rule", "measured_to", "expected"),
    [
        (RULE, "hose-centerline", 20.0),
        (RULE, "hose-bottom", 21.25),
        (BOTTOM, "hose-bottom", 20.0),
        (BOTTOM, "hose-centerline", 18.75),
        (dataclasses.replace(BOTTOM, outlet="pumper"), "pumper-centerline", 17.75),
        (dataclasses.replace(RULE, outlet="pumper"), "pumper-bottom", 22.25),
    ],
)
def test_center_and_bottom_differ_by_half_the_outlet(
    hydrants, readings, rule, measured_to, expected
):
    """A 2.5 in hose outlet and a 4.5 in pumper outlet, 20 in to the point that was measured."""
    basis, found = basis_heights(
        hydrants(["A"], hose_outlet_in=2.5, pumper_outlet_in=4.5),
        readings(["A"], outlet_height_in=[20.0], measured_to=measured_to),
        rule,
    )
    assert basis["outlet_height_in"].tolist() == [expected]
    assert not len(found)


@pytest.mark.parametrize(
    ("rule", "columns", "code"),
    [
        (RULE, {"outlet_height_in": [20.0], "measured_to": "pumper-centerline"},
         "reading-other-outlet"),
        (RULE, {"outlet_height_in": [20.0], "measured_to": None}, "reading-other-outlet"),
        (RULE, {"outlet_height_in": [20.0], "measured_to": "hose-bottom"}, "outlet-size-unknown"),
        (RULE, {"outlet_height_in": [20.0], "measured_from": "flange"}, "flange-height-unknown"),
        (RULE, {"outlet_height_in": [20.0], "measured_from": "curb"}, "curb-unknown"),
        (RULE, {"outlet_elev_ft": [101.0], "vertical_datum": "NAVD88"}, "no-grade"),
        (RULE, {"outlet_height_in": [None]}, "no-height"),
    ],
)  # fmt: skip
def test_what_cannot_be_converted_is_told_and_stays_missing(
    hydrants, readings, rule, columns, code
):
    basis, found = basis_heights(hydrants(["A"]), readings(["A"], **columns), rule)
    assert np.isnan(basis["outlet_height_in"]).all()
    assert basis["why_not"].tolist() == [code]
    assert found[["code", "key"]].to_numpy().tolist() == [[code, "A"]]


def test_measured_from_the_flange_or_the_curb_it_is_brought_to_grade(hydrants, readings):
    basis, _ = basis_heights(
        hydrants(["A", "B"]),
        readings(
            ["A", "B"],
            outlet_height_in=[16.0, 14.0],
            measured_from=["flange", "curb"],
            flange_height_in=[3.0, None],
            curb_above_grade_in=[None, 6.0],
        ),
        RULE,
    )
    assert basis["outlet_height_in"].tolist() == [19.0, 20.0]


def test_a_hydrant_with_no_reading_is_there_with_nothing(hydrants, readings):
    basis, found = basis_heights(
        hydrants(["A", "B"]), readings(["B"], outlet_height_in=[20.0]), RULE
    )
    assert basis["outlet_height_in"].isna().tolist() == [True, False]
    assert basis["why_not"].isna().all()
    assert not len(found)


def test_no_readings_at_all(hydrants, readings):
    basis, found = basis_heights(hydrants(["A", "B"]), readings([]), RULE)
    assert len(basis) == 2
    assert basis["outlet_height_in"].isna().all()
    assert not len(found)


def test_readings_of_hydrants_that_are_not_there_are_passed_over(hydrants, readings):
    basis, found = basis_heights(
        hydrants(["A"]), readings(["Z", "A"], outlet_height_in=[5.0, 20.0]), RULE
    )
    assert basis["outlet_height_in"].tolist() == [20.0]
    assert not len(found)


BETTER = {
    "the one that answers the rule": (
        {"measured_to": "hose-centerline", "method": "eye", "reading_date": "2001-05-01"},
        {"measured_to": "pumper-centerline", "method": "tape", "reading_date": "2026-05-01"},
    ),
    "contact before screening": (
        {"method": "tape", "reading_date": "2001-05-01"},
        {"method": "eye", "reading_date": "2026-05-01"},
    ),
    "a told method before one not told": (
        {"method": "tape", "reading_date": "2001-05-01"},
        {"method": None, "reading_date": "2026-05-01"},
    ),
    "the newest": (
        {"reading_date": "2026-05-02", "height_sd_in": 0.9},
        {"reading_date": "2026-05-01", "height_sd_in": 0.1},
    ),
    "one with a date before one without": (
        {"reading_date": "1985-05-02"},
        {"reading_date": None},
    ),
    "the least uncertain of one day": ({"height_sd_in": 0.2}, {"height_sd_in": 0.3}),
    "the lowest id where all is alike": ({"reading_id": "Ra"}, {"reading_id": "Rb"}),
}


@pytest.mark.parametrize("order", [[0, 1], [1, 0]], ids=["better first", "better last"])
@pytest.mark.parametrize("case", BETTER)
def test_of_several_readings_stands(hydrants, readings, case, order):
    better, worse = BETTER[case]
    rows = [{"reading_id": "R1", **better}, {"reading_id": "R2", **worse}]
    heights = [20.0, 30.0]
    columns = {
        name: [rows[i].get(name, default) for i in order]
        for name, default in (
            ("reading_id", None), ("measured_to", "hose-centerline"), ("method", "tape"),
            ("reading_date", "2026-06-01"), ("height_sd_in", None),
        )
    }  # fmt: skip
    told = readings(["A", "A"], outlet_height_in=[heights[i] for i in order], **columns)
    basis, _ = basis_heights(hydrants(["A"]), told, RULE)
    assert basis["outlet_height_in"].tolist() == [20.0]


def test_readings_of_one_day_that_differ_are_told(hydrants, readings):
    told = readings(["A", "A", "B", "B"], outlet_height_in=[20.0, 21.0, 30.0, 30.0])
    _, found = basis_heights(hydrants(["A", "B"]), told, RULE)
    assert found[["code", "key", "value"]].to_numpy().tolist() == [["readings-same-day", "A", "1"]]


def test_readings_of_other_days_may_differ(hydrants, readings):
    told = readings(
        ["A", "A"], outlet_height_in=[20.0, 24.0], reading_date=["2025-06-01", "2026-06-01"]
    )
    basis, found = basis_heights(hydrants(["A"]), told, RULE)
    assert basis["outlet_height_in"].tolist() == [24.0]
    assert not len(found)


def flat_grade(n, elev=130.0):
    """Grade of n hydrants 500 ft apart from three shots each."""
    at = np.column_stack([np.arange(n) * 500.0, np.zeros(n)])
    layout = np.array([[10.0, 0], [-5, 8], [-5, -8]])
    shots = (at[:, None, :] + layout).reshape(-1, 2)
    return grade_at(at, shots, np.full(3 * n, elev), np.full(3 * n, 0.02))


def test_an_outlet_elevation_alone_is_set_against_the_grade_from_shots(hydrants, readings):
    told = readings(["A"], outlet_elev_ft=[131.75], vertical_datum="NAVD88", method="level")
    basis, found = basis_heights(hydrants(["A"]), told, RULE, grades={"navd88": flat_grade(1)})
    assert basis["outlet_height_in"].tolist() == pytest.approx([21.0])
    # the outlet's rod reading of 0.02 ft; three shots of 0.02 ft with the barrel in their middle,
    # which none checks
    expected = 12 * math.hypot(0.02, 0.02 / math.sqrt(3), UNCHECKED_SD_FT)
    assert basis["height_sd_in"].tolist() == pytest.approx([expected], rel=1e-6)
    assert basis["height_basis"].tolist() == ["level outlet over plane of 3 shots"]
    assert not len(found)


@pytest.mark.parametrize(("ground", "height"), [("highest", 15.0), ("lowest", 27.0)])
def test_the_rule_says_which_ground_governs(hydrants, readings, ground, height):
    told = readings(["A"], outlet_elev_ft=[131.75], vertical_datum="NAVD88", method="level")
    layout = np.array([[10.0, 0], [-5, 8], [-5, -8]])
    fit = grade_at([[0.0, 0.0]], layout, [130.5, 130.0, 129.5], [0.02] * 3)
    rule = dataclasses.replace(RULE, ground=ground)
    basis, _ = basis_heights(hydrants(["A"]), told, rule, grades={"navd88": fit})
    assert basis["outlet_height_in"].tolist() == pytest.approx([height])
    assert basis["height_sd_in"].tolist() == pytest.approx([12 * np.hypot(0.02, 0.02)])
    assert basis["height_basis"].tolist() == [f"level outlet over {ground} of 3 shots"]
    assert f"({ground} round the barrel)" in str(rule)


def test_elevations_of_two_vertical_datums_are_never_subtracted(hydrants, readings):
    told = readings(["A"], outlet_elev_ft=[131.75], vertical_datum="NGVD29", method="level")
    basis, found = basis_heights(hydrants(["A"]), told, RULE, grades={"navd88": flat_grade(1)})
    assert basis["outlet_height_in"].isna().all()
    assert found["code"].tolist() == ["datums-differ"]


def test_a_reading_with_its_own_grade_does_not_take_that_of_the_shots(hydrants, readings):
    told = readings(
        ["A"], outlet_elev_ft=[131.75], grade_elev_ft=[130.25], vertical_datum="LOCAL",
        method="level",
    )  # fmt: skip
    basis, found = basis_heights(hydrants(["A"]), told, RULE, grades={"navd88": flat_grade(1)})
    assert basis["outlet_height_in"].tolist() == pytest.approx([18.0])
    assert not len(found)


def test_heights_by_eye_and_over_terrain_are_screening(hydrants, readings):
    told = readings(["A", "B", "C"], outlet_height_in=20.0, method=["eye", "terrain", "gnss"])
    basis, _ = basis_heights(hydrants(["A", "B", "C"]), told, ANY)
    assert basis["screening"].tolist() == [True, True, False]


def test_heights_whose_method_nobody_told_are_screening(hydrants, readings):
    told = readings(["A", "B"], outlet_height_in=20.0, method=None)
    basis, _ = basis_heights(hydrants(["A", "B"]), told, RULE)
    assert basis["outlet_height_in"].tolist() == [20.0, 20.0]
    assert basis["screening"].tolist() == [True, True]
    assert basis["height_sd_in"].tolist() == [METHODS["eye"].sd_in] * 2


def test_the_flange_is_that_of_the_reading_that_stands(hydrants, readings):
    told = readings(
        ["A", "A"], outlet_height_in=[20.0, 24.0], flange_height_in=[1.0, 3.0],
        reading_date=["2025-06-01", "2026-06-01"],
    )  # fmt: skip
    basis, _ = basis_heights(hydrants(["A"]), told, RULE)
    assert basis["flange_height_in"].tolist() == [3.0]


def test_a_height_over_one_far_shot_is_a_screening_height(hydrants, readings):
    """One shot 24 ft off tells the grade to 0.05 * 24 / sqrt(3) = 0.69 ft, and orders no kit."""
    told = readings(["A"], outlet_elev_ft=101.0, method="gnss", vertical_datum="NAVD88")
    for away, screening in ((24.0, True), (2.0, False)):
        fit = grade_at([[0, 0]], [[away, 0]], [100.0], [0.02])
        basis, _ = basis_heights(hydrants(["A"]), told, RULE, grades={"navd88": fit})
        assert basis["outlet_height_in"].tolist() == [12.0]
        assert basis["screening"].tolist() == [screening]
        slope = 0.05 * away / math.sqrt(3)
        assert fit.sd_ft[0] == pytest.approx(math.hypot(0.02, slope))


def test_undated_readings_that_differ_are_told(hydrants, readings):
    told = readings(["A", "A"], outlet_height_in=[20.0, 22.0], reading_date=[None, None])
    _, found = basis_heights(hydrants(["A"]), told, RULE)
    assert found["message"].tolist() == ["2 readings of no known day lie between 20 and 22 in"]


def test_a_reading_of_no_day_that_differs_from_the_one_that_stands_is_told(hydrants, readings):
    told = readings(
        ["A", "A", "B", "B"], outlet_height_in=[20.0, 22.0, 20.0, 20.5],
        reading_date=["2020-06-01", None] * 2,
    )  # fmt: skip
    basis, found = basis_heights(hydrants(["A", "B"]), told, RULE)
    assert basis["outlet_height_in"].tolist() == [20.0, 20.0]
    assert found[["code", "key"]].to_numpy().tolist() == [["reading-undated-differs", "A"]]


@pytest.mark.parametrize(
    ("heights", "methods", "screening"),
    [
        ([1.67], ["tape"], True), ([-20.0], ["tape"], True), ([61.0], ["tape"], True),
        ([3.0], ["tape"], False), ([60.0], ["tape"], False),
        # a second reading says so too; one by eye does not
        ([2.0, 2.5], ["tape", "tape"], False), ([1.0, 2.5], ["tape", "tape"], True),
        ([2.0, 2.5], ["tape", "eye"], True),
    ],
)  # fmt: skip
def test_a_height_that_few_hydrants_have_orders_no_kit_until_it_is_confirmed(
    hydrants, readings, heights, methods, screening
):
    told = readings(["A"] * len(heights), outlet_height_in=heights, method=methods)
    basis, found = basis_heights(hydrants(["A"]), told, RULE)
    assert basis["screening"].tolist() == [screening]
    assert ("height-unconfirmed" in set(found["code"])) == screening


def test_a_slip_of_the_pen_loses_to_a_reading_of_the_same_day(hydrants, readings):
    told = readings(["A", "A"], outlet_height_in=[-20.0, 19.75])
    basis, _ = basis_heights(hydrants(["A"]), told, RULE)
    assert basis["outlet_height_in"].tolist() == [19.75]


def test_a_stated_uncertainty_is_the_readings_own_whatever_the_ground_is(hydrants, readings):
    told = readings(
        ["A"], outlet_elev_ft=101.5, method="gnss", vertical_datum="NAVD88", height_sd_in=2.0
    )
    fit = grade_at([[0, 0]], [[0, 0]], [100.0], [0.02])
    basis, _ = basis_heights(hydrants(["A"]), told, RULE, grades={"navd88": fit})
    assert basis["height_sd_in"].iloc[0] == pytest.approx(math.hypot(2.0, 0.02 * 12))


def test_a_crowd_of_shots_round_one_hydrant_costs_the_others_nothing():
    """Two thousand shots round one of five thousand hydrants, one round each of the others."""
    rng = np.random.default_rng(5)
    at = np.column_stack([np.arange(5000) * 100.0, np.zeros(5000)])
    crowd = rng.uniform(-20, 20, (2000, 2))
    shots = np.vstack([at + 1.0, crowd])
    tracemalloc.start()
    fit = grade_at(at, shots, np.full(7000, 100.0), np.full(7000, 0.02))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert fit.shots[0] == 1 + (np.hypot(*crowd.T) <= 25).sum()
    assert (fit.shots[1:] == 1).all()
    assert peak < 20e6  # five thousand times two thousand places alone would take 80 MB


FLANGE_RULE = dataclasses.replace(RULE, datum="flange-bottom")
CURB_RULE = dataclasses.replace(RULE, datum="higher-of-curb-and-grade", curb_within_in=60.0)


def test_over_a_flange_that_was_shot_the_ground_is_neither_asked_for_nor_doubted(
    hydrants, readings
):
    """Two points of 0.03 ft each, and the ground known to 0.3 ft or not at all."""
    told = readings(
        ["A", "B"], outlet_elev_ft=[101.75, 91.75], flange_elev_ft=[100.25, 90.25],
        vertical_datum="NAVD88", method="shot", height_sd_in=0.36,
    )  # fmt: skip
    vague = {"navd88": grade_at([[0, 0], [500, 0]], [[10.0, 0.0]], [100.0], [0.02])}
    basis, found = basis_heights(hydrants(["A", "B"]), told, FLANGE_RULE, grades=vague)
    assert basis["outlet_height_in"].tolist() == pytest.approx([18.0, 18.0])
    assert basis["height_sd_in"].tolist() == pytest.approx([0.36 * math.sqrt(2)] * 2)
    # how far the flange stands above the ground is another question
    assert basis["flange_height_in"].tolist() == pytest.approx([3.0, math.nan], nan_ok=True)
    assert not len(found)


@pytest.mark.parametrize(
    ("rule", "columns", "expected"),
    [
        # a tape to the flange and one to the outlet
        (FLANGE_RULE, {"outlet_height_in": 21.0, "flange_height_in": 3.0}, (18.0, 0.25 * 2**0.5)),
        (FLANGE_RULE, {"outlet_height_in": 18.0, "measured_from": "flange"}, (18.0, 0.25)),
        (RULE, {"outlet_height_in": 18.0, "measured_from": "flange", "flange_height_in": 3.0},
         (21.0, 0.25 * 2**0.5)),
        (CURB_RULE, {"outlet_height_in": 21.0, "curb_above_grade_in": 6.0, "curb_distance_in": 9.0},
         (15.0, 0.25 * 2**0.5)),
        (CURB_RULE, {"outlet_height_in": 15.0, "measured_from": "curb", "curb_above_grade_in": 6.0,
                     "curb_distance_in": 9.0}, (15.0, 0.25)),
        # a lower curb does not count
        (CURB_RULE, {"outlet_height_in": 21.0, "curb_above_grade_in": -1.0,
                     "curb_distance_in": 9.0}, (21.0, 0.25)),
    ],
)  # fmt: skip
def test_what_lies_between_two_points_was_measured_too(hydrants, readings, rule, columns, expected):
    told = readings(["A"], **{name: [value] for name, value in columns.items()})
    basis, _ = basis_heights(hydrants(["A"]), told, rule)
    got = basis[["outlet_height_in", "height_sd_in"]].to_numpy()[0]
    assert got.tolist() == pytest.approx(expected)


@pytest.mark.parametrize("curb", [100.5, 99.0])
def test_over_a_curb_that_was_shot_the_uncertainty_is_what_repeated_surveys_show(
    hydrants, readings, curb
):
    told = readings(
        ["A"], outlet_elev_ft=[101.75], curb_elev_ft=[curb], curb_distance_in=[30.0],
        vertical_datum="NAVD88", method="shot", height_sd_in=[0.36],
    )  # fmt: skip
    fit = {"navd88": grade_at([[0, 0]], [[0.0, 0.0]], [100.0], [0.05])}
    basis, _ = basis_heights(hydrants(["A"]), told, CURB_RULE, grades=fit)
    rng = np.random.default_rng(23)
    draw = {name: rng.normal(0, sd, 400_000) for name, sd in
            (("outlet", 0.03), ("curb", 0.03), ("ground", 0.05))}  # fmt: skip
    over = np.maximum(curb + draw["curb"], 100.0 + draw["ground"])
    heights = (101.75 + draw["outlet"] - over) * 12
    assert basis["outlet_height_in"].tolist() == pytest.approx([heights.mean()], abs=0.01)
    assert basis["height_sd_in"].tolist() == pytest.approx([heights.std()], rel=0.01)
