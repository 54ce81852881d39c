"""Which valve isolates a hydrant, against a look at every pair."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.tables import HYDRANTS, VALVES
from hydrantgis.season.isolation import BRANCH_FT, expected_turns, isolation

US_FT = 1200 / 3937 / 0.3048
# no two distances of these are alike
spots = st.tuples(st.integers(0, 40), st.integers(0, 6)).map(
    lambda at: (at[0] * 7.13 + at[1] * 0.017, at[1] * 9.71 + at[0] * 0.011)
)


def layer(table, at, crs=2249, **columns):
    points = gpd.points_from_xy([760_000 + p[0] for p in at], [2_950_000 + p[1] for p in at])
    told = {table.key: [f"{table.name[0]}{n}" for n in range(len(at))], **columns}
    return gpd.GeoDataFrame(table.conform(gpd.GeoDataFrame(told, geometry=points, crs=crs)))


@given(
    hydrants=st.lists(spots, min_size=1, max_size=5, unique=True),
    valves=st.lists(spots, max_size=5, unique=True),
    use=st.lists(st.sampled_from(["Hydrant branch", "main", None]), min_size=5, max_size=5),
)
def test_the_valve_is_the_nearest_branch_valve_that_is_no_neighbors(hydrants, valves, use):
    town = layer(HYDRANTS, hydrants)
    drawn = layer(VALVES, valves, valve_use=use[: len(valves)])
    told, found = isolation(town, town, drawn)
    said = [u for u in use[: len(valves)] if u]
    for n, here in enumerate(hydrants):
        branch = [m for m in range(len(valves)) if not said or use[m] == "Hydrant branch"]
        nearest = min(branch, key=lambda m: math.dist(here, valves[m]), default=None)
        expected = None
        if nearest is not None:
            apart = math.dist(here, valves[nearest]) * US_FT
            mine = min(range(len(hydrants)), key=lambda h: math.dist(hydrants[h], valves[nearest]))
            if apart <= BRANCH_FT and mine == n:
                expected = nearest
        row = told.iloc[n]
        assert (
            row["valve_id"] == f"v{expected}" if expected is not None else pd.isna(row["valve_id"])
        )
        key = f"h{n}" if valves else "(all)"
        assert (key in set(found["key"])) == (expected is None)
        if expected is not None:
            assert row["distance_ft"] == pytest.approx(apart, rel=1e-6)


def test_direction_size_turns_and_what_to_do_on_site():
    town = layer(HYDRANTS, [(0, 0), (500, 0)])
    drawn = layer(
        VALVES, [(0, 10), (490, 0)], valve_use="hydrant branch", size_in=[6.0, 6.0],
        turns=[21.0, 34.0],
    )  # fmt: skip
    told, found = isolation(town, town, drawn)
    assert told["direction"].tolist() == ["N", "W"]
    assert told[["turns_least", "turns_most"]].to_numpy().tolist() == [[20.0, 21.0]] * 2
    assert told["note"].str.contains("confirm on site").all()
    assert found[["code", "key", "value"]].to_numpy().tolist() == [["turns-unusual", "v1", "34"]]
    degrees, _ = isolation(town.to_crs(4326), town.to_crs(4326), drawn.to_crs(4326))
    assert degrees["direction"].tolist() == ["N", "W"]
    assert degrees["distance_ft"].to_numpy() == pytest.approx(
        told["distance_ft"].to_numpy(), rel=1e-3
    )


def test_without_a_branch_valve_the_main_valves_round_it_are_named():
    town = layer(HYDRANTS, [(0, 0)])
    drawn = layer(VALVES, [(0, 300), (200, 0), (0, -400), (900, 0)], valve_use="main", size_in=8.0)
    told, found = isolation(town, town, drawn)
    assert told["valve_id"].isna().all()
    assert told["main_valves"].tolist() == ["v1 (200 ft); v0 (300 ft); v2 (400 ft)"]
    assert found["code"].tolist() == ["no-branch-valve"]


def test_no_valves_no_jobs_and_no_places_make_tables_too():
    town, none = layer(HYDRANTS, [(0, 0)]), layer(VALVES, [])
    told, found = isolation(town, town, none)
    assert (len(told), len(found)) == (1, 1)
    assert len(isolation(town.iloc[:0], town, none)[0]) == 0
    lost = town.set_geometry(gpd.GeoSeries([None], crs=2249))
    assert isolation(lost, lost, layer(VALVES, [(0, 5)]))[0]["valve_id"].isna().all()


def test_turns_are_three_times_the_size_and_two_or_three_more():
    """General article on valve operation, seen: 4 in 14 to 15, 6 in 20 to 21, 8 in 26 to 27."""
    least, most = expected_turns([4.0, 6.0, 8.0])
    assert np.column_stack([least, most]).tolist() == [[14, 15], [20, 21], [26, 27]]
