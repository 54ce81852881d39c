"""Heights over a grade that changed: by works, by terrain of two days, and what is told of it."""

from __future__ import annotations

import dataclasses

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.tables import WORKS
from hydrantgis.heights.basis import basis_heights
from hydrantgis.heights.carry import after_change, carried_forward
from hydrantgis.heights.changes import (
    TOLD_APART,
    Change,
    SurfaceGrade,
    planned_change,
    terrain_change,
    works_change,
)
from hydrantgis.heights.grade import grade_at
from hydrantgis.standards.load import load_rule
from hydrantgis.standards.rules import Window

RULE = load_rule("nfpa24-2019")


def day(text):
    return np.datetime64(text, "D")


def surface(on, elev, sd=0.05, datum="NAVD88", name=None):
    elevs = np.atleast_1d(np.asarray(elev, dtype=float))
    return SurfaceGrade(name or str(on), day(on), elevs, np.full(len(elevs), sd), datum)


years = st.integers(2000, 2030)


@given(
    terrains=st.dictionaries(
        years, st.tuples(st.floats(99, 101), st.sampled_from(["NAVD88", "NGVD29"])), max_size=4
    ),
    read=st.none() | years,
)
def test_the_change_of_terrain_is_that_of_a_look_at_every_pair(terrains, read):
    layers = [surface(f"{y}-06-01", z, datum=d) for y, (z, d) in terrains.items()]
    told = terrain_change(layers, np.array([day("NaT" if read is None else f"{read}-09-01")]))
    found = []
    for datum in ("NAVD88", "NGVD29"):
        ours = sorted(y for y in terrains if terrains[y][1] == datum)
        if read is None or not ours or ours[-1] <= read:
            continue
        older = [y for y in ours if y <= read]
        # a reading older than all of them lies under all that changed since the first
        pair = ((older or ours[:1])[-1], ours[-1])
        if pair[0] < pair[1]:
            found.append((bool(older), pair))
    best = max(found)[1] if found else None
    change, by = 0.0, ""
    if best is not None:
        rise = (terrains[best[1]][0] - terrains[best[0]][0]) * 12
        if abs(rise) > TOLD_APART * np.hypot(0.05, 0.05) * 12:
            change, by = rise, f"terrain {best[0]}-06-01 to {best[1]}-06-01"
    assert told.change_in[0] == pytest.approx(change)
    assert told.by[0] == by


def test_terrain_without_a_day_or_without_ground_tells_no_change():
    layers = [surface("NaT", 100.0), surface("2018-01-01", 100.0), surface("2024-01-01", np.nan)]
    assert terrain_change(layers, np.array([day("2020-01-01")])).by.tolist() == [""]


@pytest.mark.parametrize(
    ("built", "expected"),
    [
        # the foot between the terrains was filled before the reading, which stands on it
        ("2020-06-01", 0.0), ("2020-09-01", 0.0),
        ("2017-01-01", 12.0), ("2018-01-01", 12.0), ("NaT", 12.0),
    ],
)  # fmt: skip
def test_terrain_of_before_works_says_nothing_of_a_height_after_them(built, expected):
    layers = [surface("2018-01-01", 100.0), surface("2024-01-01", 101.0)]
    told = terrain_change(layers, np.array([day("2020-09-01")]), changed_on=np.array([day(built)]))
    assert told.change_in.tolist() == [expected]


def works(rows):
    frame = gpd.GeoDataFrame(rows, geometry="geometry", crs=2249)
    return gpd.GeoDataFrame(WORKS.conform(frame))


def strip(left, right):
    return shapely.MultiPolygon([shapely.box(left, -10, right, 10)])


def test_works_built_after_the_reading_add_up_and_planned_ones_do_not_count(hydrants):
    built = works(
        [
            {"work_id": "P1", "change_in": 2.0, "change_sd_in": 0.3, "built_on": "2025-05-01",
             "geometry": strip(-10, 600)},
            {"work_id": "P2", "change_in": 8.0, "change_sd_in": 0.4, "built_on": "2026-05-01",
             "geometry": strip(400, 1100)},
            {"work_id": "P3", "change_in": 3.0, "geometry": strip(-10, 1100)},
        ]
    )  # fmt: skip
    points = hydrants(["A", "B", "C"]).geometry
    since = np.array([day("2024-06-01"), day("2024-06-01"), day("2026-05-01")])
    told = works_change(points, built, since)
    assert told.change_in.tolist() == [2.0, 10.0, 0.0]
    assert told.sd_in.tolist() == pytest.approx([0.3, 0.5, 0.0])
    assert told.by.tolist() == [
        "works P1 of 2025-05-01", "works P1 of 2025-05-01, works P2 of 2026-05-01", "",
    ]  # fmt: skip
    plan = planned_change(points, built[built["built_on"].isna()])
    assert plan.change_in.tolist() == [3.0, 3.0, 3.0]
    assert plan.by.tolist() == ["works P3"] * 3


def test_works_are_named_whose_change_was_taken(hydrants):
    rows = [
        {"work_id": "P1", "change_in": 2.0, "geometry": strip(-10, 10)},
        {"work_id": "P2", "change_in": 3.0, "geometry": strip(0, 10)},
        {"work_id": "P3", "change_in": 4.0, "geometry": strip(0, 10)},
    ]
    points = hydrants(["A"]).geometry
    told = planned_change(points, works(rows))
    assert (told.change_in.tolist(), told.by.tolist()) == ([2.0], ["works P1"])
    # inside none of them it takes the largest of those that meet there
    told = planned_change(points, works(rows[1:]))
    assert (told.change_in.tolist(), told.by.tolist()) == ([4.0], ["works P2 P3"])


def test_a_height_carried_over_a_change_is_screening_and_says_so(hydrants, readings):
    town = hydrants(["A", "B"])
    told = readings(["A", "B"], outlet_height_in=[20.0, 21.0], flange_height_in=[3.0, None],
                    reading_date="2024-06-01")  # fmt: skip
    basis, _ = basis_heights(town, told, RULE)
    change = Change(np.array([2.0, 0.0]), np.array([0.3, 0.0]), np.array(["works P1", ""], object))
    carried, noticed = carried_forward(town, basis, change, RULE)
    assert carried["outlet_height_in"].tolist() == [18.0, 21.0]
    assert carried["flange_height_in"].iloc[0] == 1.0
    assert carried["height_sd_in"].tolist() == pytest.approx([np.hypot(0.25, 0.3), 0.25])
    assert carried["screening"].tolist() == [True, False]
    assert carried["height_basis"].tolist() == [
        "tape, ground +2 in since (works P1)", "tape",
    ]  # fmt: skip
    assert noticed["code"].tolist() == ["grade-changed-since"]
    assert noticed["key"].tolist() == ["A"]
    assert basis["outlet_height_in"].tolist() == [20.0, 21.0]


@pytest.mark.parametrize("limits", [Window(), Window(lo_in=2.0, hi_in=6.0)])
def test_an_outlet_over_its_flange_stands_as_it_did_whatever_the_grade_does(
    hydrants, readings, limits
):
    rule = dataclasses.replace(RULE, datum="flange-bottom", flange=limits)
    town = hydrants(["A", "B"])
    told = readings(["A", "B"], outlet_height_in=[24.0, 24.0], flange_height_in=[4.0, 4.0])
    basis, _ = basis_heights(town, told, rule)
    change = Change(np.array([3.0, 0.0]), np.array([0.3, 0.0]), np.array(["works P1", ""], object))
    carried, noticed = carried_forward(town, basis, change, rule)
    # outlet and flange are of one barrel: 24 - 4 in between them before and after
    assert carried["outlet_height_in"].tolist() == [20.0, 20.0]
    assert carried["height_sd_in"].tolist() == basis["height_sd_in"].tolist()
    assert carried["flange_height_in"].tolist() == [1.0, 4.0]
    assert carried["screening"].tolist() == [limits.limited, False]
    assert noticed["key"].tolist() == ["A"]


def test_the_uncertainty_of_a_carried_height_is_what_repeated_surveys_show():
    rng = np.random.default_rng(7)
    n = 200_000
    height = 20.0 + rng.normal(0, 0.25, n)
    change = (rng.normal(100.5, 0.33, n) - rng.normal(100.0, 0.2, n)) * 12
    two = [surface("2018-01-01", 100.0, sd=0.2), surface("2025-01-01", 101.5, sd=0.33)]
    told = terrain_change(two, np.array([day("2018-01-01")]))
    basis = pd.DataFrame(
        {
            "outlet_height_in": [20.0],
            "height_sd_in": [0.25],
            "flange_height_in": [np.nan],
            "grade_elev_ft": [np.nan],
            "grade_sd_ft": [np.nan],
        }
    )
    after = after_change(basis, told, RULE)
    assert after["height_sd_in"].iloc[0] == pytest.approx(np.std(height - change), rel=0.01)
    assert after["outlet_height_in"].iloc[0] == pytest.approx(2.0)


def test_a_height_over_terrain_holds_from_the_day_of_the_terrain(hydrants, readings):
    town = hydrants(["A"])
    told = readings(["A"], outlet_elev_ft=[101.75], vertical_datum="NAVD88", method="gnss",
                    reading_date="2020-06-01")  # fmt: skip
    layers = [surface("2025-01-01", 100.0, name="new"), surface("2018-01-01", 99.0, name="old")]
    basis, found = basis_heights(town, told, RULE, terrains=layers)
    assert basis["outlet_height_in"].tolist() == pytest.approx([21.0])
    assert basis["height_basis"].tolist() == ["gnss outlet over terrain new"]
    assert basis["screening"].tolist() == [True]
    assert not len(found)
    # the outlet stands where it was shot, and the ground below it is that of 2025 already
    since = basis["grade_date"].to_numpy().astype("datetime64[D]")
    assert terrain_change(layers, since).by.tolist() == [""]
    # half a gnss pair's variance, and the terrain's
    expected = 12 * np.hypot(0.02 / 0.3048, 0.05)
    assert basis["height_sd_in"].tolist() == pytest.approx([expected])


@pytest.mark.parametrize(
    ("shot", "read", "expected"),
    [
        # outlet at 101.75 ft over ground shot at 100 ft: 21 in; works of 2022 raise that by 6 in
        ("2018-05-01", "2018-05-01", 15.0),
        ("2018-05-01", "2024-05-01", 15.0),
        ("2024-05-01", "2018-05-01", 21.0),
        ("NaT", "2018-05-01", 15.0),
        ("NaT", "2024-05-01", 21.0),
    ],
)
def test_a_height_over_shots_holds_from_the_day_of_the_shots(
    hydrants, readings, shot, read, expected
):
    around = [[10.0, 0], [-5, 8], [-5, -8], [3, 3]]
    days = np.array([shot, shot, shot, "NaT"], dtype="datetime64[D]")
    grades = {"navd88": grade_at([[0.0, 0.0]], around, [100.0] * 4, [0.02] * 4, days=days)}
    told = readings(["A"], outlet_elev_ft=[101.75], vertical_datum="NAVD88", method="level",
                    reading_date=read)  # fmt: skip
    town = hydrants(["A"])
    basis, _ = basis_heights(town, told, RULE, grades=grades)
    built = works([{"work_id": "P1", "change_in": 6.0, "built_on": "2022-05-01",
                    "geometry": strip(-10, 10)}])  # fmt: skip
    since = basis["grade_date"].to_numpy().astype("datetime64[D]")
    carried, _ = carried_forward(town, basis, works_change(town.geometry, built, since), RULE)
    assert carried["outlet_height_in"].tolist() == pytest.approx([expected])


def test_the_day_of_a_grade_is_the_first_of_the_shots_that_it_rests_on():
    around = [[10.0, 0], [-5, 8], [-5, -8], [3, 3], [400, 0]]
    days = np.array(["2018-03-12", "2018-03-04", "2018-03-28", "2018-03-02", "2000-01-01"], "M8[D]")
    # the fourth lies 9 ft up and is left out, the fifth is too far away
    fit = grade_at([[0.0, 0.0], [900.0, 0.0]], around, [100.0] * 3 + [109.0, 100.0], [0.02] * 5,
                   days=days)  # fmt: skip
    assert fit.stands.tolist() == [0, -1]
    assert fit.on.astype(str).tolist() == ["2018-03-04"]
    assert fit.until.astype(str).tolist() == ["2018-03-28"]


def test_terrain_of_another_datum_is_no_ground(hydrants, readings):
    told = readings(["A"], outlet_elev_ft=[101.75], vertical_datum="NGVD29", method="gnss")
    basis, found = basis_heights(hydrants(["A"]), told, RULE, terrains=[surface("2025-01-01", 100)])
    assert basis["outlet_height_in"].isna().all()
    assert found["code"].tolist() == ["datums-differ"]
