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
    chances_of_reading,
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
    told = chances_of_reading([height], [sd], lo_in=18.0, hi_in=24.0)
    assert told.low[0] == pytest.approx((read < 18).mean(), abs=0.01)
    assert told.high[0] == pytest.approx((read > 24).mean(), abs=0.01)
    assert told.inside[0] == pytest.approx(((read >= 18) & (read <= 24)).mean(), abs=0.01)


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
    low = chances_of_reading([17.0], [aged], lo_in=18.0, hi_in=24.0).low[0]
    # of a planned job, what changes the list is that it does not stand low after all
    assert told.loc["H5", "p_changes"] == pytest.approx(1 - low)
    assert told.loc["H2", "p_changes"] == pytest.approx(0.5, abs=0.01)
    assert told.loc["H3", "p_changes"] > 0.99
    assert told["rank"].sort_values().tolist() == [1, 2, 3, 4, 5]
    assert told["p_changes"].rank(ascending=False).tolist() == told["rank"].tolist()


def test_what_changes_is_counted_by_readings_of_each_hydrant():
    """Draw true heights and readings, judge each reading, and count lists that changed."""
    old = "2016-11-01"
    rows = [
        {"outlet_height_in": 19.0, "reading_date": old},
        {"verdict": "low", "remedy": "extend", "outlet_height_in": 16.0, "reading_date": old},
        {"verdict": "low", "remedy": "replace", "outlet_height_in": 5.0, "reading_date": old},
        {"verdict": "high", "remedy": "lower", "outlet_height_in": 26.0, "reading_date": old},
        # a kit for the flange alone: the outlet stands well, and a reading that says so again
        # changes nothing
        {"remedy": "extend", "outlet_height_in": 20.0, "reading_date": old},
        {"verdict": "low", "remedy": "measure", "outlet_height_in": 17.0, "height_sd_in": 2.0},
    ]  # fmt: skip
    told = visits(*town(rows), today=TODAY).set_index("hydrant_id")["p_changes"]
    rng = np.random.default_rng(8)
    n = 200_000
    years = (np.datetime64("2026-11-01") - np.datetime64(old)).astype(int) / 365.25
    for number, row in enumerate(rows):
        stale = row.get("reading_date") == old
        true = row["outlet_height_in"] + row.get("height_sd_in", 0.25) * rng.standard_normal(n)
        true += (UNSEEN_IN_PER_YR * years if stale else 0.0) * rng.standard_normal(n)
        read = true + 0.25 * rng.standard_normal(n)
        now = np.select([read < 18, read > 24], ["low", "high"], "inside")
        # nobody has planned a job by a screening height
        listed = "inside" if row.get("remedy") == "measure" else row.get("verdict", "inside")
        assert told[f"H{number}"] == pytest.approx((now != listed).mean(), abs=0.005)


def test_a_reading_from_before_a_change_of_grade_is_stale_however_young():
    rows = [{"reading_date": "2026-06-01"}] * 4 + [{"reading_date": None}]
    changed = np.array(["2026-06-02", "2026-06-01", "NaT", "NaT", "2026-06-02"],
                       dtype="datetime64[D]")  # fmt: skip
    told = visits(
        *town(rows), today=TODAY, changed_on=changed, screening=[True, False, False, True, False]
    ).set_index("hydrant_id")
    assert told["reason"].to_dict() == {"H0": "stale", "H3": "screening"}
    assert told["days_since_reading"].tolist() == [153, 153]  # 29 + 31 + 31 + 30 + 31 + 1 days


def test_hydrants_without_a_reading_are_as_their_measured_neighbours():
    """The same ones out of all, in one area or the other."""
    out = {"verdict": "low", "remedy": "extend", "outlet_height_in": 15.0}
    rows = [*[{"area_id": "N", **out}] * 8, *[{"area_id": "S"}] * 8,
            {**UNMEASURED, "area_id": "N"}, {**UNMEASURED, "area_id": "S"},
            {**UNMEASURED, "area_id": "W"}]  # fmt: skip
    told = visits(*town(rows), today=TODAY).set_index("area_id")["p_changes"]
    # 8 of 16 are out, so that all count as 5 out of 10 more
    assert told["N"] == pytest.approx((8 + 5) / 18)
    assert told["S"] == pytest.approx((0 + 5) / 18)
    assert told["W"] == pytest.approx(0.5)


def test_what_matters_more_goes_first():
    checked, hydrants = town([UNMEASURED, UNMEASURED, UNMEASURED])
    alike = visits(checked, hydrants, today=TODAY).sort_values("rank")
    assert alike["hydrant_id"].tolist() == ["H0", "H1", "H2"]
    matters = pd.DataFrame({"priority": [1.0, 3.0, 2.0], "priority_reasons": [None, "x", None]})
    told = visits(checked, hydrants, today=TODAY, priorities=matters).sort_values("rank")
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


def test_a_walk_along_a_street_goes_along_it_and_hydrants_nowhere_come_last():
    rng = np.random.default_rng(4)
    checked, hydrants = town([UNMEASURED] * 9)
    shapes = checked.geometry.to_numpy()[rng.permutation(9)]
    shapes[4] = None
    checked = checked.set_geometry(gpd.GeoSeries(shapes, crs=2249))
    told = visits(checked, hydrants, today=TODAY)
    assert told["hydrant_id"].tolist()[-1] == "H4"
    east = told.geometry.iloc[:-1].x.to_numpy()
    assert (np.diff(east) > 0).all() or (np.diff(east) < 0).all()


def test_a_walk_in_degrees_goes_by_feet():
    """At 60 degrees north a step to the east is half of what it looks."""
    checked, hydrants = town([UNMEASURED] * 4)
    shapes = gpd.points_from_xy([10.0, 10.0015, 10.0, 10.0015], [60.0, 60.0, 60.001, 60.001])
    checked = checked.set_geometry(gpd.GeoSeries(shapes, crs=4326), crs=4326)
    told = visits(checked, hydrants, today=TODAY)
    north = np.diff(told.geometry.y) != 0
    assert north.tolist() == [False, True, False]


def test_no_visit_is_a_table_too():
    checked, hydrants = town([{}])
    assert visits(checked, hydrants, today=TODAY).empty
    assert visits(checked.iloc[:0], hydrants, today=TODAY).empty


def test_a_kit_that_waits_for_its_flange_sends_someone_to_measure_it():
    rows = [
        {"verdict": "low", "remedy": "extend", "outlet_height_in": 15.0, "remedy_reason": code}
        for code in ("kit-fits-flange-unknown: x", "kit-fits: y", "kit-fits: z",
                     "flange-conflict: w")
    ]  # fmt: skip
    told = visits(*town(rows), today=TODAY)
    assert told[["hydrant_id", "reason"]].to_numpy().tolist() == [["H0", "flange"]]
    # one of three flanges that are known forbids the kit: (1 + 1) / (3 + 2)
    assert told["p_changes"].tolist() == pytest.approx([2 / 5])
