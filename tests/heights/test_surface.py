"""Elevation and slope of a triangulated surface: planes, edges, upright faces, and another way."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay

from hydrantgis.ground.errors import WordsError
from hydrantgis.heights.surface import surface_at, surface_findings

SQUARE = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], dtype=float)
HALVES = [[0, 1, 2], [0, 2, 3]]


def on(xy, z):
    return np.column_stack((xy, np.broadcast_to(np.asarray(z, dtype=float), len(xy))))


@given(
    seed=st.integers(0, 2**32 - 1),
    corners=st.integers(3, 60),
    shift=st.tuples(st.integers(-3_000_000, 3_000_000), st.integers(-7_000_000, 7_000_000)),
)
def test_the_same_triangles_give_what_an_interpolator_gives(seed, corners, shift) -> None:
    random = np.random.default_rng(seed)
    xy = random.uniform(0, 1000, (corners, 2))
    z = random.uniform(-50, 300, corners)
    triangles = Delaunay(xy)
    at = random.uniform(-100, 1100, (200, 2))
    expected = LinearNDInterpolator(triangles, z)(at)
    # moved far off, as real coordinates are, by whole numbers that leave the digits as they are
    moved = np.round(xy * 1024) / 1024 + shift
    reading = surface_at(at, on(xy, z), triangles.simplices)
    assert np.isnan(reading.elev).tolist() == np.isnan(expected).tolist()
    assert reading.elev == pytest.approx(expected, abs=1e-7, nan_ok=True)
    assert (reading.triangles[~np.isnan(expected)] == 1).all()
    far = surface_at(moved, on(moved, z), triangles.simplices)
    assert far.elev == pytest.approx(z, abs=1e-7)


@given(
    cells=st.lists(st.booleans(), min_size=36, max_size=36),
    at=st.lists(st.tuples(st.integers(0, 24), st.integers(0, 24)), min_size=1, max_size=40),
    east=st.floats(-2, 2),
    north=st.floats(-2, 2),
    base=st.floats(-500, 9000),
)
def test_no_point_of_a_plane_falls_between_triangles(cells, at, east, north, base) -> None:
    """A square of 6 by 6 cells, each cut along one diagonal or the other; many points on edges."""
    x, y = np.meshgrid(np.arange(7) * 4.0, np.arange(7) * 4.0)
    origin = np.array([2_100_000.1, 740_000.7])
    xy = np.column_stack((x.ravel(), y.ravel())) + origin
    faces = []
    for cell, diagonal in enumerate(cells):
        a = cell // 6 * 7 + cell % 6
        b, c, d = a + 1, a + 8, a + 7
        faces += [[a, b, c], [a, c, d]] if diagonal else [[a, b, d], [d, b, c]]
    z = base + east * (xy[:, 0] - xy[0, 0]) + north * (xy[:, 1] - xy[0, 1])
    places = np.array(at, dtype=float) + origin
    reading = surface_at(places, on(xy, z), faces)
    offset = places - xy[0]
    assert reading.elev == pytest.approx(base + offset @ (east, north), abs=1e-8)
    assert reading.slope == pytest.approx(np.full(len(at), np.hypot(east, north)), abs=1e-8)
    assert reading.spread == pytest.approx(np.zeros(len(at)), abs=1e-8)


@given(seed=st.integers(0, 2**32 - 1), along=st.floats(0, 1))
def test_points_of_edges_are_on_the_surface_though_they_are_rounded_off_it(seed, along) -> None:
    xy = np.random.default_rng(seed).uniform(2_000_000, 2_001_000, (40, 2))
    z = np.arange(40.0)
    triangles = Delaunay(xy - xy.mean(axis=0))
    a = triangles.simplices.ravel()
    b = np.roll(triangles.simplices, 1, axis=1).ravel()
    reading = surface_at(xy[a] + along * (xy[b] - xy[a]), on(xy, z), triangles.simplices)
    assert reading.elev == pytest.approx(z[a] + along * (z[b] - z[a]), abs=1e-4)


def test_outside_and_nowhere_there_is_no_elevation() -> None:
    points = [[5, 5], [10.001, 5], [np.nan, 5], [np.nan, np.nan], [-1e9, 1e9]]
    reading = surface_at(points, on(SQUARE, 7), HALVES)
    assert np.isnan(reading.elev).tolist() == [False, True, True, True, True]
    assert np.isnan(reading.slope).tolist() == [False, True, True, True, True]
    assert np.isnan(reading.spread).tolist() == [False, True, True, True, True]
    assert reading.triangles.tolist() == [2, 0, 0, 0, 0]


def test_corners_and_edges_belong_to_the_surface() -> None:
    points = np.vstack((SQUARE, [[5, 0], [10, 5], [5, 5]]))
    reading = surface_at(points, on(SQUARE, [1, 2, 4, 8]), HALVES)
    assert reading.elev == pytest.approx([1, 2, 4, 8, 1.5, 3, 2.5], abs=1e-12)
    assert reading.triangles.tolist() == [2, 1, 2, 1, 1, 1, 2]


def test_upright_faces_and_faces_without_area_are_left_out() -> None:
    # a curb 0.5 high along x = 10: road west of it, walk east of it, and the face between
    xyz = [
        [0, 0, 100], [10, 0, 100], [10, 10, 100], [0, 10, 100],
        [10, 0, 100.5], [10, 10, 100.5], [20, 0, 100.5], [20, 10, 100.5],
    ]  # fmt: skip
    road, walk = [[0, 1, 2], [0, 2, 3]], [[4, 6, 7], [4, 7, 5]]
    upright = [[1, 2, 5], [1, 5, 4]]
    nothing = [[0, 0, 0], [0, 1, 1], [0, 1, 0]]
    points = [[5, 5], [15, 5], [10, 5]]
    reading = surface_at(points, xyz, [*upright, *road, *nothing, *walk])
    # at the face itself road and walk both begin, and the higher of the two governs
    assert reading.elev.tolist() == [100, 100.5, 100.5]
    assert reading.slope.tolist() == [0, 0, 0]
    assert reading.spread.tolist() == [0, 0, 0.5]
    assert np.isnan(surface_at(points, xyz, upright + nothing).elev).all()


def test_the_highest_of_triangles_over_each_other_governs_with_its_own_slope() -> None:
    low = on(SQUARE, [100, 103, 103, 100])
    bridge = on(SQUARE, [105, 106, 106, 105])
    for order in (1, -1):
        xyz = np.vstack((low, bridge)[::order])
        faces = [*HALVES, *(np.array(HALVES) + 4).tolist()]
        reading = surface_at([[2, 7]], xyz, faces)
        assert reading.elev == pytest.approx([105.2])
        assert reading.slope == pytest.approx([0.1])
        assert reading.spread == pytest.approx([4.6])
        assert reading.triangles.tolist() == [2]


def test_at_a_ridge_the_slope_is_that_of_the_steeper_side() -> None:
    xyz = [[0, 0, 0], [10, 0, 1], [10, 10, 1], [0, 10, 0], [14, 5, -1]]
    faces = [[0, 1, 2], [0, 2, 3], [1, 4, 2]]
    for turned in (faces, faces[::-1]):
        reading = surface_at([[10, 5]], xyz, turned)
        assert reading.elev == pytest.approx([1])
        assert reading.slope == pytest.approx([0.5])


def test_which_corner_comes_first_and_which_way_round_changes_nothing() -> None:
    random = np.random.default_rng(3)
    xyz = random.uniform(0, 10, (3, 3))
    at = random.uniform(0, 10, (500, 2))
    expected = surface_at(at, xyz, [[0, 1, 2]])
    assert 0 < (expected.triangles > 0).sum() < 500
    for face in ([1, 2, 0], [2, 0, 1], [2, 1, 0]):
        reading = surface_at(at, xyz, [face])
        assert reading.elev == pytest.approx(expected.elev, abs=1e-9, nan_ok=True)
        assert reading.slope == pytest.approx(expected.slope, abs=1e-9, nan_ok=True)


def test_a_corner_without_elevation_takes_its_triangles_with_it() -> None:
    for bad in (np.nan, np.inf):
        reading = surface_at([[9, 1], [1, 9]], on(SQUARE, [5, bad, 5, 5]), HALVES)
        assert np.isnan(reading.elev).tolist() == [True, False]


def test_many_points_are_read_as_few_are(monkeypatch: pytest.MonkeyPatch) -> None:
    random = np.random.default_rng(5)
    xyz = random.uniform(0, 10, (30, 3))
    faces = random.integers(0, 30, (40, 3))
    at = random.uniform(0, 10, (101, 2))
    whole = surface_at(at, xyz, faces)
    monkeypatch.setattr("hydrantgis.heights.surface._BLOCK", 7)
    parts = surface_at(at, xyz, faces)
    assert (whole.triangles > 1).any()
    for name in ("elev", "slope", "triangles", "spread"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(parts, name))


def test_a_surface_without_triangles_has_no_elevation_anywhere() -> None:
    for vertices in (np.empty((0, 3)), on(SQUARE, 1)):
        reading = surface_at([[1, 1]], vertices, np.empty((0, 3), int))
        assert np.isnan(reading.elev).all()
    assert surface_at(np.empty((0, 2)), on(SQUARE, 1), HALVES).elev.shape == (0,)


@pytest.mark.parametrize("face", [[0, 1, 4], [0, 1, -1]])
def test_a_face_of_an_unknown_vertex_is_refused(face) -> None:
    with pytest.raises(WordsError, match="a vertex that there is not"):
        surface_at([[1, 1]], on(SQUARE, 1), [face])


def test_findings_tell_who_is_outside_and_where_the_surface_is_double() -> None:
    xyz = np.vstack((on(SQUARE, 100), on(SQUARE, 103)))
    faces = [*HALVES, [4, 5, 6]]
    reading = surface_at([[8, 2], [2, 8], [5, 5], [50, 50]], xyz, faces)
    keys = pd.Series(["H1", "H2", "H3", "H4"], index=[7, 5, 3, 1])
    told = surface_findings(reading, keys, apart=0.01).set_index("key")
    assert told["code"].to_dict() == {
        "H4": "outside-surface", "H1": "surface-over-itself", "H3": "surface-over-itself",
    }  # fmt: skip
    assert told.loc["H1", "value"] == "3"
    assert told.loc["H1", "message"].startswith("2 triangles cover it, up to 3 apart")
    assert surface_findings(reading, keys, apart=3.5)["key"].tolist() == ["H4"]
