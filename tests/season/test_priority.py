"""How much a hydrant matters, by what it protects and how far the next one is."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.tables import FACILITIES, HYDRANTS
from hydrantgis.season.priority import ALONE_FT, PROTECTS_FT, priority

US_FT = 1200 / 3937 / 0.3048
spots = st.tuples(st.integers(0, 30), st.integers(0, 10)).map(lambda at: (at[0] * 90, at[1] * 90))


def layer(table, at, crs=2249, **columns):
    """Places as feet from a corner; None is a row without a place."""
    x = [math.nan if p is None else 760_000 + p[0] for p in at]
    y = [math.nan if p is None else 2_950_000 + p[1] for p in at]
    points = gpd.GeoSeries(gpd.points_from_xy(x, y), crs=crs).mask(pd.isna(x))
    told = {table.key: [f"{n}" for n in range(len(at))], **columns}
    return gpd.GeoDataFrame(table.conform(gpd.GeoDataFrame(told, geometry=points)))


@given(
    hydrants=st.lists(st.one_of(st.none(), spots), min_size=1, max_size=7),
    facilities=st.lists(spots, max_size=3),
    status=st.lists(st.sampled_from(["in_service", None, "retired", "out_of_service"]),
                    min_size=7, max_size=7),
)  # fmt: skip
def test_priorities_are_what_a_look_at_each_pair_says(hydrants, facilities, status):
    town = layer(HYDRANTS, hydrants, status=status[: len(hydrants)])
    told = priority(town, layer(FACILITIES, facilities))
    for n, here in enumerate(hydrants):
        expected = 1.0
        if here is not None:
            near = [math.dist(here, there) * US_FT for there in facilities]
            expected += min(near, default=math.inf) <= PROTECTS_FT
            usable = [
                math.dist(here, there) * US_FT
                for m, there in enumerate(hydrants)
                if m != n and there is not None and status[m] in (None, "in_service")
            ]
            if usable:
                expected += min(1.0, max(0.0, (min(usable) - ALONE_FT) / ALONE_FT))
        assert told["priority"].iloc[n] == pytest.approx(expected, abs=1e-6)
        assert pd.isna(told["priority_reasons"].iloc[n]) == (expected == 1.0)


def test_degrees_and_feet_come_to_the_same():
    feet = layer(HYDRANTS, [(0, 0), (800, 0), (800, 300)])
    school = layer(FACILITIES, [(0, 450)], facility_class="school")
    here = priority(feet, school)
    there = priority(feet.to_crs(4326), school.to_crs(4326))
    assert there["priority"].to_numpy() == pytest.approx(here["priority"].to_numpy(), abs=1e-3)
    assert here["priority_reasons"].iloc[0] == "school within 450 ft; next hydrant 800 ft away"
    assert here["priority_reasons"].isna().tolist() == [False, True, True]


def test_hydrants_at_one_place_stand_in_for_each_other():
    told = priority(layer(HYDRANTS, [(0, 0)] * 3), layer(FACILITIES, []))
    assert np.array_equal(told["priority"], [1.0, 1.0, 1.0])
