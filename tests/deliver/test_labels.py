"""Numbers and names on a drawn map."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.deliver.labels import crowds, names_along, place_numbers

PAGE = (0.0, 0.0, 400.0, 400.0)
WIDTH, HEIGHT, MARK = 14.0, 6.0, 8.0


def boxes(x, y, width=WIDTH, height=HEIGHT):
    return [
        shapely.box(a - width / 2, b - height / 2, a + width / 2, b + height / 2)
        for a, b in zip(x, y, strict=True)
    ]


def touch(one, other):
    return one.intersection(other).area > 1e-6


@given(st.lists(st.tuples(st.floats(20, 380), st.floats(20, 380)), min_size=1, max_size=60))
def test_numbers_cover_no_number_and_no_mark_and_stay_on_the_page(places):
    x, y = (np.array(values) for values in zip(*places, strict=True))
    label_x, label_y = place_numbers(
        x, y, np.full(len(x), WIDTH), height=HEIGHT, mark=MARK, page=PAGE
    )
    labels, marks = boxes(label_x, label_y), boxes(x, y, MARK, MARK)
    assert not any(touch(a, b) for a, b in combinations(labels, 2))
    assert not any(touch(label, mark) for label in labels for mark in marks)
    whole = shapely.box(*PAGE)
    assert all(whole.covers(label) for label in labels)


def test_a_lone_number_stands_right_beside_its_mark():
    x, y = place_numbers([100.0], [50.0], [WIDTH], height=HEIGHT, mark=MARK, page=PAGE)
    assert x[0] == pytest.approx(100 + MARK / 2 + WIDTH / 2, abs=2)
    assert y[0] == pytest.approx(50)


def test_what_is_blocked_stays_free_where_there_is_room():
    kept_off = [[104.0, 0.0, 400.0, 400.0]]
    x, y = place_numbers(
        [100.0], [50.0], [WIDTH], height=HEIGHT, mark=MARK, page=PAGE, blocked=kept_off
    )
    assert not touch(boxes(x, y)[0], shapely.box(*kept_off[0]))


def test_where_there_is_no_room_each_number_still_has_a_place():
    x, y = place_numbers(
        np.full(400, 20.0), np.full(400, 20.0), np.full(400, WIDTH), height=HEIGHT, mark=MARK,
        page=(0.0, 0.0, 40.0, 40.0),
    )  # fmt: skip
    assert np.isfinite(x).all()
    assert ((x > 0) & (x < 40) & (y > 0) & (y < 40)).all()


def names(lines, titles, width=40.0, blocked=()):
    return names_along(
        np.array(lines, dtype=object), np.array(titles, dtype=object),
        dict.fromkeys(filter(None, titles), width), height=6.0, page=PAGE, blocked=blocked,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("ends", "degrees"),
    [(((50, 50), (250, 50)), 0), (((250, 50), (50, 50)), 0), (((50, 250), (50, 50)), 90),
     (((50, 50), (50, 250)), 90), (((50, 50), (250, 250)), 45), (((250, 50), (50, 250)), -45)],
)  # fmt: skip
def test_a_name_lies_along_its_street_and_is_read_upright(ends, degrees):
    line = shapely.LineString(ends)
    (name,) = names([line], ["Mill Road"])
    assert name.degrees == pytest.approx(degrees)
    assert line.distance(shapely.Point(name.x, name.y)) < 1e-9


def test_pieces_of_a_street_are_named_once_on_the_longest():
    pieces = [
        shapely.LineString([(20, 20), (80, 20)]),
        shapely.LineString([(80, 20), (300, 20)]),
        shapely.LineString([(300, 20), (300, 100)]),
        None,
        shapely.MultiLineString(),
    ]
    (name,) = names(pieces, ["Mill Road"] * 5)
    assert (name.x, name.y) == (160, 20)


def test_a_name_too_long_for_its_street_is_left_out_and_so_is_none():
    line = shapely.LineString([(20, 20), (120, 20)])
    assert names([line], ["A"], width=95.0) == []
    assert names([line], [None]) == []
    assert names([], []) == []


def test_names_cover_neither_each_other_nor_what_is_kept_off():
    lines = [shapely.LineString([(0, k * 3), (400, k * 3)]) for k in range(130)]
    kept_off = [[150.0, 0.0, 250.0, 400.0]]
    found = names(lines, [f"S{k}" for k in range(130)], blocked=kept_off)
    rooms = boxes([n.x for n in found], [n.y for n in found], 40.0)
    assert len(found) > 60
    assert not any(touch(a, b) for a, b in combinations(rooms, 2))
    assert not any(touch(room, shapely.box(*kept_off[0])) for room in rooms)


def test_a_street_beside_which_hydrants_stand_is_named_beside_it():
    line = shapely.LineString([(20, 100), (200, 100)])
    hydrants = [[k - 2.0, 97.0, k + 2.0, 101.0] for k in range(20, 200, 10)]
    (name,) = names([line], ["Mill Road"], blocked=hydrants)
    assert 2 < abs(name.y - 100) < 10


@given(
    st.lists(
        st.tuples(st.floats(0, 400), st.floats(0, 300), st.booleans()), min_size=1, max_size=40
    )
)
def test_crowds_hold_each_mark_once_and_within_half_a_page(marks):
    at = np.array([mark[:2] for mark in marks])
    away = np.array([mark[2] for mark in marks])
    found = crowds(at, away, page=(400.0, 300.0))
    rows = np.concatenate([np.empty(0, int), *(crowd.rows for crowd in found)])
    assert len(rows) == len(set(rows))
    for crowd in found:
        x0, y0, x1, y1 = crowd.box
        assert away[crowd.rows].any()
        assert ((at[crowd.rows] >= (x0, y0)) & (at[crowd.rows] <= (x1, y1))).all()
        assert x1 - x0 <= 0.5 * 400 + 24
        assert y1 - y0 <= 0.5 * 300 + 24
    if away.sum() < 2:
        assert found == []
    # two that are away, near each other, are in one
    for a, b in combinations(np.flatnonzero(away), 2):
        if np.hypot(*(at[a] - at[b])) < 20:
            assert {a, b} <= set(rows)
