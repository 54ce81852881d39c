"""By how much works change the grade: inside, on the line, in several, and against a plain loop."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.errors import CRSError, SourceError, WordsError
from hydrantgis.heights.works import change_at, grade_change_in


def hydrants(points, crs=2249):
    ids = [f"H{place}" for place in range(len(points))]
    at = gpd.GeoSeries([p and shapely.Point(p) for p in points], crs=crs)
    return gpd.GeoDataFrame({"hydrant_id": ids}, geometry=at)


def works(shapes, changes, crs=2249):
    return gpd.GeoDataFrame({"change_in": changes}, geometry=gpd.GeoSeries(shapes, crs=crs))


boxes = st.tuples(*[st.integers(0, 8)] * 4).filter(lambda b: b[0] < b[2] and b[1] < b[3])
changes = st.one_of(st.integers(-12, 24).map(float), st.just(float("nan")))


@given(
    drawn=st.lists(st.tuples(boxes, changes), max_size=6),
    at=st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8)), min_size=1, max_size=12),
    overlap=st.sampled_from(["sum", "largest", "none"]),
)
def test_changes_are_those_of_a_plain_loop(drawn, at, overlap) -> None:
    expected = []
    for x, y in at:
        inner = [c for (w, s, e, n), c in drawn if w < x < e and s < y < n]
        edge = [
            c for (w, s, e, n), c in drawn
            if w <= x <= e and s <= y <= n and not (w < x < e and s < y < n)
        ]  # fmt: skip
        far = max(inner or edge, key=lambda c: (abs(c), c), default=0.0)
        unknown = any(np.isnan(c) for c in inner or edge)
        one = {"sum": sum(inner), "largest": far, "none": far if len(inner) < 2 else np.nan}
        expected.append(np.nan if unknown else one[overlap] if inner else far)
    shapes = np.array([shapely.box(*box) for box, _ in drawn], dtype=object)
    told = change_at(shapely.points(at), shapes, [c for _, c in drawn], overlap=overlap)
    assert told.change_in.tolist() == pytest.approx(expected, nan_ok=True)


def test_an_overlay_over_a_fill_raises_by_both_and_is_told() -> None:
    shapes = [shapely.box(0, 0, 100, 100), shapely.box(50, 0, 200, 100)]
    at = hydrants([(10, 50), (75, 50), (150, 50), (500, 50)])
    change, told = grade_change_in(at, works(shapes, [8.0, 2.0]))
    assert change.tolist() == [8, 10, 2, 0]
    assert told[["code", "key", "value"]].values.tolist() == [["works-overlap", "H1", "10"]]
    assert told["message"].item() == "inside 2 works; their changes were added up"


def test_other_rules_for_works_over_each_other() -> None:
    at = hydrants([(1, 1)])
    double = works([shapely.box(0, 0, 2, 2)] * 2, [2.0, 2.0])
    change, told = grade_change_in(at, double, overlap="largest")
    assert (change.tolist(), told["code"].tolist()) == ([2.0], ["works-overlap"])
    dug = works([shapely.box(0, 0, 2, 2)] * 2, [2.0, -6.0])
    assert grade_change_in(at, dug, overlap="largest")[0].tolist() == [-6.0]
    change, told = grade_change_in(at, double, overlap="none")
    assert change.isna().all()
    assert told["code"].tolist() == ["works-overlap"]
    with pytest.raises(WordsError, match="no rule"):
        grade_change_in(at, double, overlap="first")


def test_on_the_line_of_two_strips_the_overlay_counts_once() -> None:
    strips = works([shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10)], [2.0, 2.0])
    change, told = grade_change_in(hydrants([(10, 5), (20, 5), (9, 5)]), strips)
    assert change.tolist() == [2, 2, 2]
    assert told[["code", "key"]].values.tolist() == [["work-edge", "H0"], ["work-edge", "H1"]]


def test_inside_one_work_the_line_of_another_does_not_count() -> None:
    shapes = works([shapely.box(0, 0, 20, 10), shapely.box(10, 0, 30, 10)], [8.0, 2.0])
    change, told = grade_change_in(hydrants([(10, 5)]), shapes)
    assert (change.tolist(), len(told)) == ([8.0], 0)


def test_what_is_not_known_stays_missing_and_is_told() -> None:
    at = hydrants([(1, 1), None, (50, 50)])
    change, told = grade_change_in(at, works([shapely.box(0, 0, 2, 2)], [None]))
    assert change.isna().tolist() == [True, True, False]
    assert told[["code", "key"]].values.tolist() == [
        ["no-location", "H1"], ["work-change-unknown", "H0"],
    ]  # fmt: skip


def test_the_index_is_that_of_the_hydrants_and_nothing_is_changed() -> None:
    at = hydrants([(1, 1), (9, 9)]).set_index(pd.Index([40, 7]))
    before, shapes = at.copy(), works([shapely.box(0, 0, 2, 2)], [3.0])
    change, _ = grade_change_in(at, shapes)
    assert change.to_dict() == {40: 3.0, 7: 0.0}
    pd.testing.assert_frame_equal(at, before)
    assert grade_change_in(at, shapes.iloc[:0])[0].tolist() == [0, 0]
    assert grade_change_in(at.iloc[:0], shapes)[0].empty


def test_another_crs_and_shapes_that_cover_nothing_are_refused() -> None:
    at, box = hydrants([(1, 1)]), shapely.box(0, 0, 2, 2)
    with pytest.raises(CRSError, match="not in one CRS"):
        grade_change_in(at, works([box], [1.0], crs=26986))
    with pytest.raises(CRSError, match="not in one CRS"):
        grade_change_in(hydrants([(1, 1)], crs=None), works([box], [1.0], crs=None))
    bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    for shape in (
        bow,
        None,
        shapely.Polygon(),
        shapely.Point(1, 1),
        shapely.LineString([(0, 0), (1, 1)]),
    ):
        with pytest.raises(SourceError, match=r"(?s)without a usable area.*rows 1"):
            grade_change_in(at, works([box, shape], [1.0, 1.0]))
