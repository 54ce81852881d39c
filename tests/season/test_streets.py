"""Distances along streets, beside a search through the network that is written apart."""

from __future__ import annotations

import heapq
import itertools
import math

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st

from hydrantgis.ground.plane import plane_ft
from hydrantgis.season import streets
from hydrantgis.season.streets import JOIN_FT, REACH_FT, StreetNetwork, matrix_ft, next_usable_ft


def network_of(*lines):
    return StreetNetwork.of(gpd.GeoSeries([shapely.LineString(line) for line in lines]))


def by_search(lines, points):
    """From each point to each other: plain Dijkstra over pieces, joints and ways to the street."""
    pieces = [pair for line in lines for pair in itertools.pairwise(line) if pair[0] != pair[1]]
    paths = {}

    def join(a, b, length):
        paths.setdefault(a, []).append((b, length))
        paths.setdefault(b, []).append((a, length))

    feet = []
    for p in points:
        best = []
        for n, (a, b) in enumerate(pieces):
            (ax, ay), (bx, by) = a, b
            long = math.dist(a, b)
            at = ((p[0] - ax) * (bx - ax) + (p[1] - ay) * (by - ay)) / long
            at = min(max(at, 0.0), long)
            foot = (ax + (bx - ax) * at / long, ay + (by - ay) * at / long)
            best.append((math.dist(p, foot), n, at, foot))
        best.sort()
        # which of two equally near places is taken is another test's business
        assume(all(math.dist(b[3], best[0][3]) < 1e-9 for b in best if b[0] - best[0][0] < 1e-6))
        assume(not best or abs(best[0][0] - REACH_FT) > 1e-6)
        feet.append(best[0] if best and best[0][0] <= REACH_FT else None)
    for n, (a, b) in enumerate(pieces):
        stops = [(0.0, ("vertex", a)), (math.dist(a, b), ("vertex", b))]
        stops += [(f[2], ("foot", i)) for i, f in enumerate(feet) if f and f[1] == n]
        for (s, u), (t, v) in itertools.combinations(stops, 2):
            join(u, v, abs(s - t))
    corners = sorted({corner for pair in pieces for corner in pair})
    for a, b in itertools.combinations(corners, 2):
        if math.dist(a, b) <= JOIN_FT:
            join(("vertex", a), ("vertex", b), math.dist(a, b))
    told = np.full((len(points), len(points)), math.nan)
    for i, foot in enumerate(feet):
        if foot is None:
            continue
        far, heap = {}, [(0.0, ("foot", i))]
        while heap:
            d, u = heapq.heappop(heap)
            if u not in far:
                far[u] = d
                for v, length in paths[u]:
                    heapq.heappush(heap, (d + length, v))
        for j, other in enumerate(feet):
            if other is not None and ("foot", j) in far:
                told[i, j] = 0.0 if i == j else foot[0] + far["foot", j] + other[0]
    return told


def next_by_search(lines, points, usable):
    told = by_search(lines, points)
    np.fill_diagonal(told, math.nan)
    told[:, ~np.asarray(usable, dtype=bool)] = math.nan
    return [min((d for d in row if not math.isnan(d)), default=math.nan) for row in told.tolist()]


corners = st.tuples(st.integers(0, 4), st.integers(0, 4)).map(
    lambda c: (c[0] * 150.0, c[1] * 150.0)
)
near_corners = st.tuples(corners, st.sampled_from([0.0, 0.0, 0.3, 0.7])).map(
    lambda c: (c[0][0] + c[1], c[0][1])
)
towns = st.lists(st.lists(near_corners, min_size=2, max_size=5), min_size=1, max_size=6)
spots = st.tuples(st.floats(-300, 1400), st.floats(-300, 900)) | corners.map(
    lambda c: (c[0] + 20.0, c[1])
)


def drawn(lines):
    """Lines that have a length."""
    return [line for line in lines if len(set(line)) > 1]


@given(towns, st.lists(spots, min_size=1, max_size=7))
def test_distances_are_those_of_a_plain_search(town, points):
    lines = drawn(town)
    told = matrix_ft(points, network_of(*lines))
    assert told == pytest.approx(by_search(lines, points), abs=1e-6, nan_ok=True)


@given(towns, st.lists(spots, min_size=1, max_size=7),
       st.lists(st.booleans(), min_size=7, max_size=7))  # fmt: skip
def test_the_next_usable_point_is_the_nearest_of_a_plain_search(town, points, usable):
    lines, usable = drawn(town), usable[: len(points)]
    told = next_usable_ft(points, usable, network_of(*lines))
    expected = next_by_search(lines, points, usable)
    assert told == pytest.approx(expected, abs=1e-6, nan_ok=True)


@given(towns, st.lists(spots, min_size=2, max_size=7))
def test_searching_in_small_parts_comes_to_the_same(town, points):
    network = network_of(*drawn(town))
    whole = matrix_ft(points, network)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(streets, "_CHUNK_BYTES", 1)
        assert np.array_equal(matrix_ft(points, network), whole, equal_nan=True)


@given(towns, st.lists(spots, min_size=3, max_size=7))
def test_there_and_back_are_one_length_and_no_way_round_is_shorter(town, points):
    told = matrix_ft(points, network_of(*drawn(town)))
    assert told == pytest.approx(told.T, abs=1e-9, nan_ok=True)
    straight = np.hypot(*(np.array(points)[:, None] - np.array(points)).transpose(2, 0, 1))
    with np.errstate(invalid="ignore"):
        assert not (told < straight - JOIN_FT * len(points)).any()
        by_third = np.nanmin(
            np.where(np.isnan(told), np.inf, told)[:, :, None]
            + np.where(np.isnan(told), np.inf, told)[None], axis=1,
        )  # fmt: skip
        assert not (by_third < told - 1e-6).any()


def test_a_grid_town_by_hand():
    # blocks of 300 by 200 ft, three streets each way
    across = [[(0, y), (300, y), (600, y)] for y in (0, 200, 400)]
    up = [[(x, 0), (x, 200), (x, 400)] for x in (0, 300, 600)]
    network = network_of(*across, *up)
    points = [(100, 15), (450, 190), (285, 300), (600, 420), (-400, 0), (-501, -1)]
    told = matrix_ft(points, network)
    # 15 to the street, 200 to the corner, 200 up, 150 along, 10 off
    assert told[0, 1] == pytest.approx(15 + 200 + 200 + 150 + 10)
    assert told[0, 2] == pytest.approx(15 + 200 + 300 + 15)
    assert told[1, 2] == pytest.approx(10 + 150 + 100 + 15)
    assert told[2, 3] == pytest.approx(15 + 100 + 300 + 20)
    assert told[0, 4] == pytest.approx(15 + 100 + 400)  # from the corner of the town
    assert np.isnan(told[5]).all()
    assert np.isnan(told[:, 5]).all()
    assert told.diagonal()[:5].tolist() == [0] * 5
    # the third is out of service, and nobody's next
    usable = [True, True, False, True, True, True]
    expected = [515, 10 + 150 + 200 + 20, 275, 380, 515, math.nan]
    assert next_usable_ft(points, usable, network) == pytest.approx(expected, nan_ok=True)


def test_streets_that_cross_without_a_vertex_pass_over_each_other():
    under, over = [(0, 0), (600, 0)], [(300, -300), (300, 300)]
    points = [(250, 5), (305, 200)]
    assert np.isnan(matrix_ft(points, network_of(under, over))[0, 1])
    assert np.isnan(next_usable_ft(points, [True, True], network_of(under, over))).all()
    joined = network_of([(0, 0), (300, 0), (600, 0)], [(300, -300), (300, 0), (300, 300)])
    assert matrix_ft(points, joined)[0, 1] == pytest.approx(5 + 50 + 200 + 5)


def test_a_river_with_one_bridge_is_gone_round():
    north, south = [(0, 100), (2000, 100)], [(0, 0), (2000, 0)]
    bridge = [(2000, 0), (2000, 100)]
    points = [(100, 110), (100, -10)]  # 120 ft apart across the water
    told = next_usable_ft(points, [True, True], network_of(north, south, bridge))
    assert told == pytest.approx([10 + 1900 + 100 + 1900 + 10] * 2)
    assert np.isnan(next_usable_ft(points, [True, True], network_of(north, south))).all()


@pytest.mark.parametrize(("gap", "expected"), [(0.0, 300.0), (0.4, 300.0), (0.6, math.nan)])
def test_vertices_within_half_a_foot_are_one_place(gap, expected):
    network = network_of([(0, 0), (200, 0)], [(200 + gap, 0), (400, 0)])
    told = matrix_ft([(50, 0), (350, 0)], network)[0, 1]
    assert told == pytest.approx(expected, abs=1e-6, nan_ok=True)


def test_a_finely_drawn_curve_keeps_its_length():
    # vertices a tenth of a foot apart are each within half a foot of the next
    network = network_of([(x / 10, 0) for x in range(10_001)])
    assert matrix_ft([(0, 0), (1000, 0)], network)[0, 1] == pytest.approx(1000)


def test_points_on_one_piece_go_straight_along_it():
    # the way round by the other side is no way
    block = network_of([(0, 0), (1000, 0), (1000, 500), (0, 500), (0, 0)])
    points = [(200, 10), (230, -10), (230, 10), (900, 0)]
    told = matrix_ft(points, block)
    assert told[0].tolist() == [0, 50, 50, 710]
    assert told[1, 2] == 20
    assert next_usable_ft(points, [True] * 4, block).tolist() == [50, 20, 20, 680]


def test_hydrants_at_one_place_are_each_others_next():
    network = network_of([(0, 0), (1000, 0)])
    points = [(400, 0)] * 3 + [(0, 0), (0, 0), (1000, 30)]
    assert next_usable_ft(points, [True] * 6, network).tolist() == [0, 0, 0, 0, 0, 630]
    one = [False, True, False, False, False, True]
    assert next_usable_ft(points, one, network).tolist() == [0, 630, 0, 400, 400, 630]


def test_a_point_between_two_streets_takes_the_one_drawn_first():
    first, second = [(0, 0), (100, 0)], [(0, 100), (100, 100)]
    points = [(50, 50), (10, 0)]
    assert matrix_ft(points, network_of(first, second))[0, 1] == 90
    assert np.isnan(matrix_ft(points, network_of(second, first))[0, 1])


def test_points_too_far_or_without_a_place_have_no_distance():
    network = network_of([(0, 0), (1000, 0)])
    points = [(0, REACH_FT), (500, REACH_FT + 1), (math.nan, math.nan), (800, 0)]
    told = next_usable_ft(points, [True] * 4, network)
    assert told == pytest.approx([1300, math.nan, math.nan, 1300], nan_ok=True)
    assert np.isnan(matrix_ft(points, network)[1:3]).all()


@pytest.mark.parametrize("lines", [[], [None], [shapely.LineString([(5, 5), (5, 5)])]])
def test_without_streets_nothing_has_a_distance(lines):
    network = StreetNetwork.of(gpd.GeoSeries(lines, dtype="geometry"))
    assert np.isnan(matrix_ft([(0, 0), (9, 9)], network)).all()
    assert np.isnan(next_usable_ft([(0, 0), (9, 9)], [True, True], network)).all()


def test_without_points_there_is_nothing_to_tell():
    network = network_of([(0, 0), (1000, 0)])
    assert matrix_ft(np.empty((0, 2)), network).shape == (0, 0)
    assert next_usable_ft(np.empty((0, 2)), [], network).shape == (0,)
    assert np.isnan(next_usable_ft([(0, 0)], [True], network)).all()
    assert np.isnan(next_usable_ft([(0, 0), (50, 0)], [False, False], network)).all()


def test_a_ring_and_a_line_told_twice_change_nothing():
    street = [(0, 0), (300, 0), (600, 0)]
    ring = [(2000, 2000), (2100, 2000), (2100, 2100), (2000, 2000)]
    points = [(100, 0), (500, 0)]
    assert matrix_ft(points, network_of(street, street, ring))[0, 1] == 400
    # on a ring both ways round are open: 341.42 ft in all
    told = matrix_ft([(2000, 2000), (2100, 2050)], network_of(ring))
    assert told[0, 1] == pytest.approx(150)


def test_parts_of_one_line_are_not_joined_and_the_plane_is_in_feet():
    # a metre CRS: 300 m along the street are 984.25 ft
    line = shapely.MultiLineString(
        [[(500_000, 4_600_000), (500_300, 4_600_000)], [(500_400, 4_600_000), (500_500, 4_600_000)]]
    )
    lines = gpd.GeoSeries([line, None], crs=32617)
    to_plane = plane_ft(np.array([[500_000.0, 4_600_000.0]]), lines.crs)
    points = np.column_stack(
        to_plane.transform([500_000.0, 500_300.0, 500_400.0], [4_600_000.0] * 3)
    )
    told = matrix_ft(points, StreetNetwork.of(lines, to_plane))
    assert told[0, 1] == pytest.approx(300 / 0.3048)
    assert np.isnan(told[0, 2])
