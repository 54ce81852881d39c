"""Lines under the hydrants fit their size, and lie where they say they do."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from hydrantgis.deliver.background import Background, fitted
from hydrantgis.deliver.mercator import WORLD, ground_m, neighbors_order, steps
from hydrantgis.ground.errors import CRSError, WordsError

from . import unpack

CRS = 32610


def wiggly(lines: int, vertices: int = 200, seed: int = 3) -> gpd.GeoDataFrame:
    """Lines of 10 m steps that wander, near 47.7 degrees north."""
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(lines):
        start = rng.uniform((500_000, 5_280_000), (506_000, 5_286_000))
        turns = np.cumsum(rng.normal(0, 0.4, vertices))
        way = np.cumsum(np.column_stack([np.cos(turns), np.sin(turns)]) * 10, axis=0)
        made.append(shapely.LineString(start + way))
    return gpd.GeoDataFrame({"name": [f"L{k}" for k in range(lines)]}, geometry=made, crs=CRS)


def drawn(sent) -> list[shapely.LineString]:
    """What the page draws, in metres of the ground."""
    x, y = (np.array(unpack.whole(sent[axis])) * sent["grid"] for axis in "xy")
    lon = x / WORLD * 360 - 180
    lat = np.degrees(np.arctan(np.sinh(np.pi * (1 - 2 * y / WORLD))))
    points = gpd.GeoSeries(gpd.points_from_xy(lon, lat), crs=4326).to_crs(CRS)
    ends = np.cumsum(unpack.whole(sent["lengths"]))[:-1]
    both = np.column_stack([points.x, points.y])
    return [shapely.LineString(part) for part in np.split(both, ends)]


def test_lines_that_fit_are_sent_as_they_are():
    frame = wiggly(5)
    found = fitted([Background(title="Contours", frame=frame, names="name")], 1_000_000)
    for before, after in zip(frame.geometry, drawn(found.sent[0]), strict=True):
        # a step is 2.5 cm there
        assert shapely.hausdorff_distance(before, after) < 0.04
    assert unpack.column(found.sent[0]["names"]) == list(frame["name"])
    assert found.told == (f"Contours: 5 lines, {found.size / 1e3:,.0f} kB",)


@pytest.mark.parametrize("budget", [35_000, 20_000, 12_000])
def test_simplified_lines_fit_and_lie_as_near_as_is_told(budget):
    frame = wiggly(60)
    found = fitted([Background(title="Contours", frame=frame)], budget)
    assert found.size <= budget
    (told,) = found.told
    feet = float(told.split("within ")[1].split(" ft")[0])
    after = drawn(found.sent[0])
    assert len(after) == 60
    away = max(
        shapely.hausdorff_distance(one, other, densify=0.02)
        for one, other in zip(frame.geometry, after, strict=True)
    )
    # told to two figures; a step of the page is 2.5 cm there
    assert away < feet * 0.3048 * 1.05 + 0.05


def test_lines_that_can_never_fit_lose_the_shortest_and_it_is_told():
    frame = wiggly(4000, 3)
    frame.loc[7, "geometry"] = wiggly(1, 900).geometry.iloc[0]
    found = fitted([Background(title="Contours", frame=frame)], 3_000)
    assert found.size <= 3_000
    left = int(found.told[0].split("the ")[1].split(" shortest")[0].replace(",", ""))
    kept = drawn(found.sent[0])
    assert left == 4000 - len(kept)
    assert max(line.length for line in kept) > 1000


def test_outlines_of_polygons_are_drawn_with_their_holes():
    box = shapely.box(500_000, 5_280_000, 500_400, 5_280_400)
    hole = shapely.box(500_100, 5_280_100, 500_200, 5_280_200)
    frame = gpd.GeoDataFrame(geometry=[box.difference(hole), None, shapely.Point()], crs=CRS)
    found = fitted([Background(title="Parcels", frame=frame)], 1_000_000)
    assert [round(line.length) for line in drawn(found.sent[0])] == [1600, 400]


def test_nothing_at_all_fits_too():
    frame = wiggly(1).iloc[:0]
    found = fitted([Background(title="Contours", frame=frame)], 1_000)
    assert unpack.whole(found.sent[0]["lengths"]) == []


def test_what_is_no_background_is_refused():
    points = gpd.GeoDataFrame(geometry=[shapely.Point(0, 0)], crs=CRS)
    with pytest.raises(WordsError, match="has points"):
        fitted([Background(title="Wells", frame=points)], 1_000)
    with pytest.raises(CRSError, match="contours"):
        fitted(
            [Background(title="Contours", frame=wiggly(1).set_crs(None, allow_override=True))], 1
        )


@settings(max_examples=50)
@given(st.lists(st.tuples(st.integers(0, 2**30), st.integers(0, 2**30)), max_size=60))
def test_the_order_of_travel_loses_no_place(places):
    x, y = (np.array([place[k] for place in places], dtype=np.int64) for k in (0, 1))
    assert sorted(neighbors_order(x, y).tolist()) == list(range(len(places)))


def test_places_that_follow_each_other_are_neighbors():
    """Along a Hilbert curve of 16 by 16 cells each step goes to a cell beside the one before."""
    side = 16
    x, y = (np.array(axis).ravel() for axis in np.meshgrid(np.arange(side), np.arange(side)))
    order = neighbors_order(x, y)
    away = np.abs(np.diff(x[order])) + np.abs(np.diff(y[order]))
    assert set(away.tolist()) == {1}


def test_a_step_has_the_ground_that_the_projection_library_gives_it():
    import pyproj

    lon = np.array([-122.3, -122.3 + 1e-3])
    x, _ = steps(lon, np.array([47.6, 47.6]))
    metres = pyproj.Geod(a=6378137, b=6378137).line_length(lon, [47.6, 47.6])
    assert (x[1] - x[0]) * ground_m(47.6) == pytest.approx(metres, rel=1e-3)
