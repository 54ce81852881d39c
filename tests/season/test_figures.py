"""Figures of a report, beside plain loops over the same hydrants."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from hydrantgis.ground.reports import MEASURED_VERDICTS
from hydrantgis.ground.results import CHECKED, VERDICTS
from hydrantgis.ground.seasons import SELECTION
from hydrantgis.ground.tables import HISTORY
from hydrantgis.season.backlog import Backlog, backlog, put_right
from hydrantgis.season.figures import (
    area_shares,
    expected_inside,
    family_figures,
    height_bins,
    remedy_figures,
    worst,
)
from hydrantgis.season.selection import Candidates, Limits
from hydrantgis.season.trend import done, seasons_of, trend
from hydrantgis.season.visits import stale

TITLES = pd.Series({"A": "Old Sidings", "B": "Upper Town", "C": "Empty"}, dtype="str")
LO, HI = 18.0, 24.0


@st.composite
def checks(draw, most: int = 60) -> pd.DataFrame:
    """A checked table as any check could tell it, of a window of 18 to 24 in."""
    many = draw(st.integers(0, most))
    rows = []
    for k in range(many):
        height = draw(st.one_of(st.none(), st.integers(-20, 60), st.floats(-20, 60)))
        dull = draw(st.booleans()) and draw(st.booleans())
        judged = draw(st.integers(0, 9)) > 0
        verdict = (
            "unmeasured" if height is None else "unresolved" if dull
            else "low" if height < LO else "high" if height > HI else "inside"
        )  # fmt: skip
        out = max(LO - height, height - HI, 0.0) if height is not None else 0.0
        rows.append(
            {
                "hydrant_id": f"{k:03d}", "area_id": draw(st.sampled_from(["A", "B", None])),
                "outlet_height_in": height, "window_lo_in": LO, "window_hi_in": HI,
                "verdict": verdict if judged else None, "marginal": False,
                "p_inside": None if height is None else draw(st.floats(0, 1)),
                "shortfall_in": out if height is not None and height < LO else 0.0,
                "excess_in": out if height is not None and height > HI else 0.0,
                "remedy": draw(st.sampled_from(["none", "extend", "measure", "lower"])),
                "kit_id": draw(st.sampled_from(["K-06", "K-08", None])),
            }
        )  # fmt: skip
    frame = pd.DataFrame(rows, columns=CHECKED.names)
    return pd.DataFrame(CHECKED.only(CHECKED.names).conform(frame))


@given(checks(), st.data())
def test_areas_add_up_to_what_a_loop_counts(table, data):
    old = np.array([data.draw(st.booleans()) for _ in range(len(table))], dtype=bool)
    told = area_shares(table, TITLES, old)
    rows = table.to_dict("records")
    measured = [r for r in rows if r["verdict"] in MEASURED_VERDICTS]
    whole = sum(r["verdict"] == "inside" for r in measured) / max(len(measured), 1)
    assert told["hydrants"].sum() == len(rows)
    assert {"A", "B", "C"} <= set(told["area_id"].dropna())
    for area in told.to_dict("records"):
        name = area["area_id"] if isinstance(area["area_id"], str) else None
        mine = [(r, o) for r, o in zip(rows, old, strict=True)
                if (r["area_id"] if isinstance(r["area_id"], str) else None) == name]  # fmt: skip
        seen = [(r, o) for r, o in mine if r["verdict"] in MEASURED_VERDICTS]
        for verdict in VERDICTS:
            assert area[verdict] == sum(r["verdict"] == verdict for r, _ in mine)
        assert area["measured"] == len(seen)
        assert area["stale"] == sum(o for _, o in seen)
        assert area["expected_inside"] == pytest.approx(sum(r["p_inside"] for r, _ in seen))
        spread = math.sqrt(sum(r["p_inside"] * (1 - r["p_inside"]) for r, _ in seen))
        assert area["expected_sd"] == pytest.approx(spread, abs=1e-9)
        if not seen:
            assert math.isnan(area["inside_share"])
            assert area["beside"] == "none measured"
            continue
        ends = binomtest(area["inside"], len(seen)).proportion_ci(0.95, method="wilson")
        assert area["inside_share"] == area["inside"] / len(seen)
        assert (area["share_low"], area["share_high"]) == pytest.approx((ends.low, ends.high))
        if abs(ends.high - whole) > 1e-9 and abs(ends.low - whole) > 1e-9:
            side = "below" if ends.high < whole else "above" if ends.low > whole else "like"
            assert area["beside"] == f"{side} the whole"


@given(checks())
def test_every_measured_height_stands_in_one_bar_that_holds_it(table):
    bins = height_bins(table)
    seen = [r for r in table.to_dict("records") if r["verdict"] in MEASURED_VERDICTS]
    assert bins[list(MEASURED_VERDICTS)].to_numpy().sum() == len(seen)
    if not seen:
        assert not len(bins)
        return
    ends = [
        (-math.inf if math.isnan(a) else a, math.inf if math.isnan(b) else b)
        for a, b in zip(bins["from_in"], bins["to_in"], strict=True)
    ]
    assert LO in [a for a, _ in ends]
    assert HI in [a for a, _ in ends]
    for verdict in MEASURED_VERDICTS:
        counted = [0] * len(ends)
        for row in seen:
            if row["verdict"] == verdict:
                height = row["outlet_height_in"]
                place = next(k for k, (a, b) in enumerate(ends) if a <= height < b)
                counted[place - (height == HI and verdict == "inside")] += 1
        assert bins[verdict].tolist() == counted


@given(checks())
def test_the_worst_are_the_farthest_out_of_those_that_need_no_second_reading(table):
    address = pd.Series("1 Mill Rd", index=table.index, dtype="str")
    told = worst(table, address, TITLES)
    out = [
        (-max(LO - r["outlet_height_in"], r["outlet_height_in"] - HI), r["hydrant_id"])
        for r in table.to_dict("records")
        if r["verdict"] in ("low", "high") and r["remedy"] != "measure"
    ]
    assert told["hydrant_id"].tolist() == [name for _, name in sorted(out)[:10]]
    assert told["out_in"].tolist() == pytest.approx([-by for by, _ in sorted(out)[:10]])
    assert told["rank"].tolist() == list(range(1, len(told) + 1))


@given(checks())
def test_remedies_families_and_the_expected_count_are_those_of_a_loop(table):
    rows, price = table.to_dict("records"), {"K-06": 100.0, "K-08": None}
    told = remedy_figures(table, price)
    for name, many, kits, cost, bare in zip(
        *(told[c] for c in ("remedy", "hydrants", "kits", "kits_cost", "kits_unpriced")),
        strict=True,
    ):
        mine = [r["kit_id"] for r in rows if r["remedy"] == name]
        assert (many, kits) == (len(mine), sum(isinstance(k, str) for k in mine))
        assert (cost, bare) == (100.0 * mine.count("K-06"), mine.count("K-08"))
    assert told["hydrants"].sum() == len(rows)
    family = pd.Series(["Orrin", None] * len(table), dtype="str")[: len(table)]
    by = family_figures(table, family.set_axis(table.index))
    assert by["hydrants"].sum() == len(rows)
    assert by["measured"].sum() == sum(r["verdict"] in MEASURED_VERDICTS for r in rows)
    expected, _ = expected_inside(table)
    assert expected == pytest.approx(
        sum(r["p_inside"] for r in rows if r["verdict"] in MEASURED_VERDICTS)
    )


def test_what_a_season_does_is_taken_from_what_is_left():
    table = pd.DataFrame({"remedy": ["extend", "extend", "lower", "none"], "kit_id": None})
    table["kit_id"] = table["kit_id"].astype("str")
    jobs = SELECTION.conform(pd.DataFrame(
        {"hydrant_id": ["1", "2"], "selected": [True, False], "remedy": "extend",
         "job_cost": [250.0, 300.0]}
    ))  # fmt: skip
    told = remedy_figures(table, {}, jobs).set_index("remedy")
    assert told.loc["extend", ["in_season", "left", "season_cost"]].tolist() == [1, 1, 250.0]
    assert told.loc["lower", ["in_season", "left"]].tolist() == [0, 1]
    assert told.loc["none", "left"] == 0


def test_a_reading_is_stale_by_age_or_by_a_change_of_grade():
    days = pd.Series(pd.to_datetime(["2020-01-01", "2026-05-01", "2026-05-01", None, "2027-01-01"]))
    changed = np.array(["NaT", "2026-06-01", "2026-04-01", "2026-01-01", "NaT"], "M8[D]")
    by_change, by_age, age = stale(days, today=dt.date(2026, 9, 30), changed_on=changed)
    assert by_change.tolist() == [False, True, False, False, False]
    assert by_age.tolist() == [True, False, False, False, False]
    assert np.isnan(age).tolist() == [False, False, False, True, True]


def test_a_trend_is_that_of_hydrants_measured_in_every_season_shown():
    verdicts = pd.DataFrame(
        {
            2023: ["inside"] + ["unmeasured"] * 5,
            2024: ["inside", "low", "inside", "unmeasured", "low", None],
            2026: ["inside", "inside", "low", "high", "unmeasured", "low"],
        }
    )
    told = trend(verdicts, least=3)
    assert told["season_year"].tolist() == [2024, 2026]
    assert told["hydrants"].tolist() == [3, 3]
    assert told["inside"].tolist() == [2, 2]
    assert told["measured_then"].tolist() == [4, 5]
    assert not len(trend(verdicts, least=4))
    assert not len(trend(verdicts[[2026]], least=1))
    assert not len(trend(pd.DataFrame(index=range(3)), least=1))


@given(st.lists(st.lists(st.booleans(), min_size=4, max_size=4), max_size=12), st.integers(1, 4))
def test_seasons_that_are_shown_share_enough_hydrants(rows, least):
    seen = pd.DataFrame(rows, columns=[2021, 2022, 2023, 2024], dtype=bool)
    years = seasons_of(seen, least=least)
    assert years == sorted(years)
    assert len(years) != 1
    if years:
        at = [y - 2021 for y in years]
        assert sum(all(row[k] for k in at) for row in rows) >= least


def test_done_counts_hydrants_and_not_events():
    history = HISTORY.conform(pd.DataFrame(
        {
            "event_id": list("abcdef"),
            "event": ["extended", "extended", "closed_out", "closed_out", "measured", "extended"],
            "hydrant_id": ["1", "1", "1", "2", "3", "4"],
            "event_date": pd.to_datetime(["2027-05-01", "2027-06-01", "2027-06-02", "2028-01-01",
                                          "2027-01-01", None]),
        }
    ))  # fmt: skip
    told = done(history, ["1", "3"], since=dt.date(2027, 5, 1))
    assert told["season_year"].tolist()[:2] == [2027, 2028]
    assert pd.isna(told["season_year"].iloc[2])
    assert told["extended"].tolist() == [1, 0, 1]
    assert told["closed_out"].tolist() == [1, 1, 0]
    assert told["of_plan"].tolist() == [1, 0, 0]
    assert not len(done(HISTORY.empty()))
    late = done(history, ["1", "2", "4"], since=dt.date(2027, 7, 1))
    assert late["of_plan"].tolist() == [0, 1, 0]


def test_a_window_of_one_limit_has_a_bar_that_begins_there():
    rows = {"outlet_height_in": [12.0, 18.0, 40.0], "window_lo_in": 18.0, "window_hi_in": None}
    table = CHECKED.only(CHECKED.names).conform(
        pd.DataFrame({"hydrant_id": list("abc"), "verdict": ["low", "inside", "inside"], **rows})
    )
    bins = height_bins(pd.DataFrame(table))
    assert bins[["inside", "low"]].sum().tolist() == [2, 1]
    assert 18.0 in bins["from_in"].tolist()
    bare = height_bins(pd.DataFrame(table).assign(window_lo_in=float("nan"), verdict="inside"))
    assert bare["inside"].sum() == 3


def test_seasons_go_by_the_money_or_the_hours_whichever_lasts_longer():
    jobs = Candidates(
        priority=np.ones(3), cost=np.array([100.0, 200.0, 300.0]), hours=np.array([2.0, 2.0, 2.0]),
        area=np.array([0, 0, 1]), must=np.zeros(3, bool), never=np.zeros(3, bool),
    )  # fmt: skip
    limits = Limits(budget=400.0, crew_hours=2.0, area_cost=50.0, area_hours=1.0,
                    least=np.array([0, 0]))  # fmt: skip
    told = backlog(jobs, limits)
    assert (told.jobs, told.cost, told.hours) == (3, 700.0, 8.0)
    assert (told.budgets, told.crews) == (1.75, 4.0)
    assert told.seasons == 4
    assert Backlog(3, 700.0, 8.0, math.inf, 4.0).seasons == math.inf
    assert Backlog(0, 0.0, 0.0, 0.0, 0.0).seasons == 0


def test_a_season_puts_right_those_that_end_inside():
    table = pd.DataFrame(
        {
            "hydrant_id": list("abcde"), "verdict": ["low", "high", "low", "inside", "low"],
            "outlet_height_after_in": [18.0, 24.004, 17.98, 20.0, 20.0],
            "window_lo_in": LO, "window_hi_in": HI,
        }
    )  # fmt: skip
    assert put_right(table, pd.Series(list("abcd")), resolution_in=0.01) == 2
