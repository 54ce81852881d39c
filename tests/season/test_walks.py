"""Walks past many stops: whole, the same every time, and short."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.season.walks import walk

places = st.lists(
    st.tuples(st.integers(0, 40), st.integers(0, 40), st.integers(0, 3)), min_size=1, max_size=60
)


def length(points, order=None):
    """Length of the way past all points."""
    at = np.asarray(points, dtype=float)
    at = at if order is None else at[order]
    return float(np.hypot(*np.diff(at, axis=0).T).sum())


def nearest_next(points):
    """The order that goes to the nearest stop left, from the one farthest west."""
    left, order = np.ones(len(points), dtype=bool), [int(np.argmin(points[:, 0]))]
    for _ in range(len(points) - 1):
        left[order[-1]] = False
        away = np.where(left, np.hypot(*(points - points[order[-1]]).T), np.inf)
        order.append(int(away.argmin()))
    return np.array(order)


def turned(points, order):
    """The order once no part of it is better walked backwards, part by part."""
    order, n, better = order.copy(), len(order), True
    while better:
        better = False
        for i, j in itertools.combinations(range(n), 2):
            p = points[order]
            was = math.dist(p[i - 1], p[i]) if i else 0.0
            was += math.dist(p[j], p[j + 1]) if j < n - 1 else 0.0
            new = math.dist(p[i - 1], p[j]) if i else 0.0
            new += math.dist(p[i], p[j + 1]) if j < n - 1 else 0.0
            if new < was - 1e-9:
                order[i : j + 1] = order[i : j + 1][::-1]
                better = True
    return order


def town(rng, n, *, streets):
    """Stops anywhere in a square of 10,000 ft, or along streets 800 ft apart."""
    at = rng.uniform(0, 10_000, (n, 2))
    if streets:
        at[:, 0] = np.round(at[:, 0] / 800) * 800 + rng.normal(0, 15, n)
    return at


@given(rows=places, seed=st.integers(0, 9))
def test_each_stop_once_by_group_and_no_longer_than_as_it_came(rows, seed):
    table = np.array(rows)
    points, group = table[:, :2].astype(float), table[:, 2]
    order = walk(points, group)
    assert sorted(order) == list(range(len(rows)))
    assert (np.diff(group[order]) >= 0).all()
    assert order.tolist() == walk(points, group).tolist()
    for g in np.unique(group):
        ours = order[group[order] == g]
        other = np.random.default_rng(seed).permutation(ours)
        # of a few stops, an order at random may be the shortest that there is
        if len(ours) > 7:
            assert length(points, ours) <= length(points, other) + 1e-9


def test_no_group_hangs_on_the_others():
    rng = np.random.default_rng(3)
    points, group = rng.uniform(0, 1000, (300, 2)), rng.integers(0, 6, 300)
    order = walk(points, group)
    for g in range(6):
        ours = np.flatnonzero(group == g)
        alone = walk(points[ours], np.zeros(len(ours), dtype=int))
        assert ours[alone].tolist() == order[group[order] == g].tolist()


@pytest.mark.parametrize("streets", [False, True])
def test_seven_stops_are_walked_nearly_as_short_as_can_be(streets):
    rng = np.random.default_rng(7)
    every = np.array([p for p in itertools.permutations(range(7)) if p[0] < p[-1]])
    ratios = []
    for _ in range(200):
        points = town(rng, 7, streets=streets)
        way = points[every]
        best = np.hypot(*np.moveaxis(np.diff(way, axis=1), 2, 0)).sum(axis=1).min()
        ratios.append(length(points, walk(points, [0] * 7)) / best)
    assert min(ratios) >= 1 - 1e-9
    assert np.mean(ratios) < 1.03
    assert np.quantile(ratios, 0.95) < 1.15
    assert max(ratios) < 1.5


@pytest.mark.parametrize("streets", [False, True])
def test_a_walk_is_nearly_as_short_as_the_nearest_next_turned_part_by_part(streets):
    rng = np.random.default_rng(11)
    ratios = []
    for _ in range(6):
        points = town(rng, 60, streets=streets)
        slow = length(points, turned(points, nearest_next(points)))
        ratios.append(length(points, walk(points, [0] * 60)) / slow)
    assert np.mean(ratios) < 1.08
    assert max(ratios) < 1.2


def test_no_part_between_near_stops_is_better_walked_backwards():
    rng = np.random.default_rng(12)
    points = rng.uniform(0, 1000, (9, 2))  # each is near each other
    order = walk(points, [0] * 9)
    assert length(points, turned(points, order)) == pytest.approx(length(points, order))


def test_a_town_of_many_stops_is_near_the_shortest_that_can_be_expected():
    """0.7124 sqrt(n A), Beardwood, Halton and Hammersley 1959; the constant from memory."""
    rng = np.random.default_rng(13)
    n = 20_000
    points = rng.uniform(0, 100_000, (n, 2))
    assert length(points, walk(points, np.zeros(n, dtype=int))) < 1.2 * 0.7124 * math.sqrt(
        n * 100_000**2
    )


def test_stops_nowhere_come_last_and_all_at_one_place_are_a_walk():
    nowhere = [np.nan, np.nan]
    assert walk([nowhere, [5, 5], nowhere, [5, 5]], [0, 0, 0, 0]).tolist() == [1, 3, 0, 2]
    assert walk([nowhere, nowhere], [1, 0]).tolist() == [1, 0]
    assert walk([[1, 1]], [0]).tolist() == [0]
    assert walk(np.empty((0, 2)), []).tolist() == []
