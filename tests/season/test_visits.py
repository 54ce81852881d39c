"""Where to measure next: probabilities, ranks and walks."""

from __future__ import annotations

import datetime as dt
import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.results import CHECKED
from hydrantgis.ground.tables import HYDRANTS
from hydrantgis.season.visits import (
    LIKE_THE_OTHERS,
    STALE_YEARS,
    UNSEEN_IN_PER_YR,
    reading_is_out,
    share_out,
    visits,
)

TODAY = dt.date(2026, 11, 1)


def town(rows, *, apart=100.0):
    """Checked hydrants and the hydrants themselves, in a row; 18 to 24 in, tape, read this year."""
    usual = {
        "area_id": "N", "outlet_height_in": 21.0, "height_sd_in": 0.25, "verdict": "inside",
        "remedy": "none", "window_lo_in": 18.0, "window_hi_in": 24.0, "reading_date": "2026-06-01",
    }  # fmt: skip
    frame = pd.DataFrame([{**usual, "hydrant_id": f"H{n}", **row} for n, row in enumerate(rows)])
    at = frame.get("east", pd.Series(np.arange(len(rows)) * apart, frame.index))
    points = gpd.points_from_xy(760_000 + at, np.full(len(rows), 2_950_000.0))
    hydrants = HYDRANTS.conform(
        gpd.GeoDataFrame({"hydrant_id": frame["hydrant_id"], "family": frame.get("family", "F")},
                         geometry=points, crs=2249)
    )  # fmt: skip
    checked = CHECKED.conform(gpd.GeoDataFrame(frame, geometry=points, crs=2249))
    return checked, hydrants


UNMEASURED = {
    "verdict": "unmeasured", "remedy": "measure", "outlet_height_in": None, "height_sd_in": None,
    "reading_date": None,
}  # fmt: skip


@given(
    height=st.floats(10, 32), sd=st.floats(0.05, 4.0),
)  # fmt: skip
def test_the_chance_of_a_reading_is_what_repeated_readings_show(height, sd):
    rng = np.random.default_rng(3)
    read = height + sd * rng.standard_normal(100_000) + 0.25 * rng.standard_normal(100_000)
    out = ((read < 18) | (read > 24)).mean()
    told = reading_is_out([height], [sd], lo_in=18.0, hi_in=24.0)[0]
    assert told == pytest.approx(out, abs=0.01)


@given(
    st.lists(st.tuples(st.integers(0, 2), st.booleans(), st.booleans()), min_size=1, max_size=30)
)
def test_the_share_of_a_group_lies_between_its_own_and_that_of_all(rows):
    group, measured, out = (np.array(column) for column in zip(*rows, strict=True))
    told = share_out(group, measured, out)
    n, bad = int(measured.sum()), int((measured & out).sum())
    everyone = (bad + 1) / (n + 2)
    for g, share in zip(group, told, strict=True):
        ours = measured & (group == g)
        many, outside = int(ours.sum()), int((ours & out).sum())
        assert share == pytest.approx(
            (outside + LIKE_THE_OTHERS * everyone) / (many + LIKE_THE_OTHERS)
        )
        if many:
            low, high = sorted((outside / many, everyone))
            assert low - 1e-12 <= share <= high + 1e-12


def test_each_reason_is_told_and_who_needs_no_visit_is_left_out():
    rows = [
        {},
        UNMEASURED,
        {"verdict": "unresolved", "remedy": "measure", "outlet_height_in": 18.0,
         "height_sd_in": 2.0},
        {"verdict": "low", "remedy": "measure", "outlet_height_in": 12.0, "height_sd_in": 1.0},
        {"reading_date": "2019-11-01"},
        {"verdict": "low", "remedy": "extend", "outlet_height_in": 17.0, "kit_id": "K6",
         "reading_date": "2019-11-01"},
        {"verdict": None, "remedy": "none"},
        {"verdict": "low", "remedy": "extend", "outlet_height_in": 15.0},
    ]  # fmt: skip
    told = visits(*town(rows), today=TODAY).set_index("hydrant_id")
    assert told["reason"].to_dict() == {
        "H1": "unmeasured", "H2": "unresolved", "H3": "screening", "H4": "stale", "H5": "stale",
    }  # fmt: skip
    years = (np.datetime64("2026-11-01") - np.datetime64("2019-11-01")).astype(int) / 365.25
    assert years > STALE_YEARS
    aged = math.hypot(0.25, UNSEEN_IN_PER_YR * years)
    inside = 1 - reading_is_out([17.0], [aged], lo_in=18.0, hi_in=24.0)[0]
    # of a planned job, what changes the list is that it stands inside after all
    assert told.loc["H5", "p_changes"] == pytest.approx(inside)
    assert told.loc["H2", "p_changes"] == pytest.approx(0.5, abs=0.01)
    assert told.loc["H3", "p_changes"] > 0.99
    assert told["rank"].sort_values().tolist() == [1, 2, 3, 4, 5]
    assert told["p_changes"].rank(ascending=False).tolist() == told["rank"].tolist()


def test_what_matters_more_goes_first():
    checked, hydrants = town([UNMEASURED, UNMEASURED, UNMEASURED])
    alike = visits(checked, hydrants, today=TODAY).sort_values("rank")
    assert alike["hydrant_id"].tolist() == ["H0", "H1", "H2"]
    told = visits(checked, hydrants, today=TODAY, weight=[1.0, 3.0, 2.0]).sort_values("rank")
    assert told["hydrant_id"].tolist() == ["H1", "H2", "H0"]


@given(
    east=st.lists(st.integers(0, 5000), min_size=1, max_size=20, unique=True),
    areas=st.lists(st.sampled_from(["N", "S", None]), min_size=20, max_size=20),
)
def test_the_walk_passes_each_once_by_area_in_any_order_of_rows(east, areas):
    rows = [{**UNMEASURED, "east": e, "area_id": a} for e, a in zip(east, areas, strict=False)]
    checked, hydrants = town(rows)
    told = visits(checked, hydrants, today=TODAY)
    assert sorted(told["hydrant_id"]) == sorted(checked["hydrant_id"])
    for _, part in told.groupby("area_id", dropna=False):
        assert part["stop"].tolist() == list(range(1, len(part) + 1))
    turned = visits(checked.iloc[::-1], hydrants, today=TODAY)
    assert turned["hydrant_id"].tolist() == told["hydrant_id"].tolist()


def test_a_walk_is_far_shorter_than_the_list_by_number():
    rng = np.random.default_rng(11)
    n = 400
    points = rng.uniform(0, 10_000, (n, 2))
    checked, hydrants = town([UNMEASURED] * n)
    shapes = gpd.points_from_xy(*points.T)
    checked = checked.set_geometry(gpd.GeoSeries(shapes, crs=2249))
    told = visits(checked, hydrants, today=TODAY)

    def length(order):
        return float(np.hypot(*np.diff(order, axis=0).T).sum())

    walk = length(np.column_stack([told.geometry.x, told.geometry.y]))
    # about 0.92 of it is the expected length along a Hilbert curve; 0.7124 sqrt(n A) is the best
    # (Beardwood, Halton and Hammersley 1959; constants from memory)
    assert walk < 1.5 * 0.7124 * math.sqrt(n * 10_000**2)
    assert walk < 0.2 * length(points)
