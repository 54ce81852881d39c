"""How much a hydrant matters, by what it protects and how far the next one is."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.tables import FACILITIES, HYDRANTS, STREETS
from hydrantgis.season.priority import ALONE_FT, PROTECTS_FT, STREET_FACTOR, priority

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
                apart = STREET_FACTOR * min(usable)
                expected += min(1.0, max(0.0, (apart - ALONE_FT) / ALONE_FT))
        assert told["priority"].iloc[n] == pytest.approx(expected, abs=1e-6)
        assert pd.isna(told["priority_reasons"].iloc[n]) == (expected == 1.0)


def test_degrees_and_feet_come_to_the_same():
    feet = layer(HYDRANTS, [(0, 0), (800, 0), (800, 300)])
    school = layer(FACILITIES, [(0, 450)], facility_class="school")
    here = priority(feet, school)
    there = priority(feet.to_crs(4326), school.to_crs(4326))
    assert there["priority"].to_numpy() == pytest.approx(here["priority"].to_numpy(), abs=1e-3)
    assert (
        here["priority_reasons"].iloc[0] == "school within 450 ft; next hydrant about 1040 ft away"
    )
    assert here["priority_reasons"].isna().tolist() == [False, True, True]


def test_hydrants_at_one_place_stand_in_for_each_other():
    told = priority(layer(HYDRANTS, [(0, 0)] * 3), layer(FACILITIES, []))
    assert np.array_equal(told["priority"], [1.0, 1.0, 1.0])


def centerlines(*lines, crs=2249):
    shapes = [shapely.LineString([(760_000 + x, 2_950_000 + y) for x, y in line]) for line in lines]
    ids = {"street_id": [f"S{n}" for n in range(len(lines))]}
    frame = gpd.GeoDataFrame(ids, geometry=gpd.GeoSeries(shapes, crs=crs))
    return gpd.GeoDataFrame(STREETS.conform(frame))


RIVER = centerlines(
    [(0, 0), (700, 0)], [(700, 0), (700, 100)], [(700, 100), (0, 100)], [(5000, 0), (5600, 0)]
)
"""Two streets along a river with one bridge, and one street apart."""


def test_the_next_hydrant_is_looked_for_along_streets():
    at = [(500, -10), (500, 110), (5000, 0), (9000, 0), None]
    town = layer(HYDRANTS, at, status="in_service")
    told = priority(town, layer(FACILITIES, []), RIVER)
    # 10 to the street, 200 to the bridge, 100 over it, 200 back, 10 from the street: 520
    assert told["alone"].iloc[:2].to_numpy() == pytest.approx((520 * US_FT - 500) / 500, abs=1e-6)
    # the third is alone on its street and the fourth far from any: the straight line tells
    assert told["alone"].iloc[2:].tolist() == [1.0, 1.0, 0.0]
    assert told["priority_reasons"].tolist()[:4] == [
        "next hydrant 520 ft along streets", "next hydrant 520 ft along streets",
        "next hydrant about 5200 ft away", "next hydrant about 5200 ft away",
    ]  # fmt: skip


def test_a_hydrant_that_streets_lead_to_may_be_nearer_than_the_guess():
    town = layer(HYDRANTS, [(0, 0), (600, 0)], status="in_service")
    none = layer(FACILITIES, [])
    street = centerlines([(0, 0), (600, 0)])
    assert priority(town, none, street)["alone"].iloc[0] == pytest.approx(0.2, abs=1e-4)
    assert priority(town, none)["alone"].iloc[0] == pytest.approx((1.3 * 600 - 500) / 500, abs=1e-4)
    assert priority(town, none, factor=1.0)["alone"].iloc[0] == pytest.approx(0.2, abs=1e-4)
    assert priority(town, none, street.iloc[:0]).equals(priority(town, none))


def test_streets_in_degrees_come_to_the_same():
    town = layer(HYDRANTS, [(500, -10), (500, 110), (5000, 0)], status="in_service")
    none = layer(FACILITIES, [])
    here = priority(town, none, RIVER)
    there = priority(town.to_crs(4326), none.to_crs(4326), RIVER.to_crs(4326))
    assert there["priority"].to_numpy() == pytest.approx(here["priority"].to_numpy(), abs=1e-3)
    assert there["priority_reasons"].tolist() == here["priority_reasons"].tolist()


def test_a_hydrant_out_of_service_is_nobodys_next_along_streets():
    town = layer(HYDRANTS, [(0, 0), (100, 0), (700, 0)],
                 status=["in_service", "out_of_service", "in_service"])  # fmt: skip
    told = priority(town, layer(FACILITIES, []), RIVER)["alone"]
    assert told.tolist() == pytest.approx([0.4, 0.0, 0.4], abs=1e-4)
