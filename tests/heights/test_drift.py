"""Rates of change and the day on which a hydrant leaves its window."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from scipy import linalg, optimize

from hydrantgis.heights.drift import (
    DAYS_A_YEAR,
    FARTHEST_YEARS,
    SURE_OF_A_RATE,
    Line,
    drifts,
    leaves_window_on,
    lines,
    steady,
)
from hydrantgis.heights.outlet import reading_heights
from hydrantgis.standards.load import load_rule

RULE = load_rule("nfpa24-2019")
visits = st.lists(
    st.tuples(st.integers(0, 9000), st.floats(15, 40), st.sampled_from([0.1, 0.25, 1.0])),
    min_size=3, max_size=8, unique_by=lambda v: v[0],
)  # fmt: skip


@given(towns=st.lists(visits, min_size=1, max_size=4))
def test_rate_and_uncertainty_are_those_of_a_least_squares_fit(towns):
    rows = [(n, *visit) for n, town in enumerate(towns) for visit in town]
    h, days, y, sd = (np.array(column) for column in zip(*rows, strict=True))
    told = lines(h, days, y, sd, hydrants=len(towns))
    for n in range(len(towns)):
        ours = h == n
        t = days[ours] / DAYS_A_YEAR
        design = np.column_stack([t - t.mean(), np.ones(len(t))]) / sd[ours][:, None]
        (rate, _), left, *_ = linalg.lstsq(design, y[ours] / sd[ours])
        cov = linalg.inv(design.T @ design)
        assert told.rate_in_per_yr[n] == pytest.approx(rate, abs=1e-6)
        birge = math.sqrt(max(1.0, float(left) / (ours.sum() - 2)))
        assert told.rate_sd_in_per_yr[n] == pytest.approx(birge * math.sqrt(cov[0, 0]), rel=1e-5)


@example(towns=[[(0, 15.0, 0.1), (1, 15.0, 0.1), (2, 15.0, 0.1)]])
@given(towns=st.lists(visits, min_size=1, max_size=4))
def test_level_rate_and_uncertainties_are_those_of_two_other_fits(towns):
    rows = [(n, *visit) for n, town in enumerate(towns) for visit in town]
    h, days, y, sd = (np.array(column) for column in zip(*rows, strict=True))
    told = lines(h, days, y, sd, hydrants=len(towns))
    for n in range(len(towns)):
        ours = h == n
        t = (days[ours] - told.at_day[n]) / DAYS_A_YEAR
        (rate, level), cov = np.polyfit(t, y[ours], 1, w=1 / sd[ours], cov="unscaled")
        chi2 = (((y[ours] - level - rate * t) / sd[ours]) ** 2).sum()
        left = math.sqrt(max(1.0, chi2 / (ours.sum() - 2)))
        fit, said = optimize.curve_fit(
            lambda x, slope, at: slope * x + at, t, y[ours], sigma=sd[ours],
            p0=[rate + 1, level + 1],  # a fit that begins at its end has no covariance
            jac=lambda x, *_: np.column_stack([x, np.ones(len(x))]), absolute_sigma=True,
        )  # fmt: skip
        for ours_in, theirs in ((told.rate_in_per_yr[n], rate), (told.level_in[n], level)):
            assert ours_in == pytest.approx(theirs, abs=1e-6)
        assert [told.rate_in_per_yr[n], told.level_in[n]] == pytest.approx(fit, rel=1e-4, abs=1e-4)
        for covariance, close in ((cov, 1e-6), (said, 1e-3)):
            both = np.sqrt(np.diag(covariance)) * left
            assert told.rate_sd_in_per_yr[n] == pytest.approx(both[0], rel=close)
            assert told.level_sd_in[n] == pytest.approx(both[1], rel=close)
        # at the mean day, rate and level do not hang together
        assert abs(cov[0, 1]) < 1e-6 * math.sqrt(cov[0, 0] * cov[1, 1])


def test_a_height_to_come_scatters_as_the_line_says():
    """A hundred thousand hydrants with one history, read at the same days with errors anew."""
    rng = np.random.default_rng(2)
    n, days, sd = 100_000, np.array([0.0, 700.0, 3000.0]), np.array([0.25, 1.0, 0.3])
    truth = 30.0 - 0.4 * days / DAYS_A_YEAR
    read = truth + sd * rng.standard_normal((n, 3))
    told = lines(
        np.repeat(np.arange(n), 3), np.tile(days, n), read.ravel(), np.tile(sd, n), hydrants=n
    )
    t = 12.0  # years past the first
    ahead = t - told.at_day / DAYS_A_YEAR
    off = told.level_in + ahead * told.rate_in_per_yr - (30.0 - 0.4 * t)
    design = np.column_stack([np.ones(3), days / DAYS_A_YEAR]) / sd[:, None]
    expected = math.sqrt([1, t] @ linalg.inv(design.T @ design) @ [1, t])
    assert off.std() == pytest.approx(expected, rel=0.01)
    # without the growth for scatter, which only ever makes it larger
    own = np.hypot(told.level_sd_in, ahead * told.rate_sd_in_per_yr)
    assert own.min() == pytest.approx(expected, rel=1e-9)


@given(
    rate=st.floats(-3, 3).filter(lambda r: abs(r) > 0.05), level=st.floats(19, 23),
    days=st.lists(st.integers(0, 9000), min_size=2, max_size=6, unique=True),
)  # fmt: skip
def test_heights_on_a_line_tell_that_line_and_the_day_it_crosses_the_limit(rate, level, days):
    assume(max(days) - min(days) > 400)
    t = np.array(days) / DAYS_A_YEAR
    sd = 0.001
    line = lines([0] * len(t), days, level + rate * t, [sd] * len(t), hydrants=1)
    assert line.rate_in_per_yr[0] == pytest.approx(rate, rel=1e-9)
    assert line.level_in[0] == pytest.approx(level + rate * t.mean(), rel=1e-9)
    crosses = ((18.0 if rate < 0 else 24.0) - level) / rate
    day, side = leaves_window_on(line, lo_in=18.0, hi_in=24.0)
    if abs(crosses - t.mean()) < FARTHEST_YEARS:
        assert day[0] / DAYS_A_YEAR == pytest.approx(crosses, abs=1e-6)
        assert side[0] == ("low" if rate < 0 else "high")
    else:
        assert np.isnan(day[0])


def test_two_days_tell_a_rate_however_near_and_however_unlike():
    told = lines([0, 0], [20_000, 20_001], [20.0, 21.0], [0.01, 50.0], hydrants=1)
    assert told.rate_in_per_yr[0] == pytest.approx(DAYS_A_YEAR)
    assert told.rate_sd_in_per_yr[0] == pytest.approx(math.hypot(0.01, 50.0) * DAYS_A_YEAR)
    assert steady(told).all()


def test_two_readings_are_the_line_between_them():
    told = lines([0, 0], [0, 2 * DAYS_A_YEAR], [22.0, 21.0], [0.3, 0.4], hydrants=1)
    assert told.rate_in_per_yr.tolist() == pytest.approx([-0.5])
    assert told.rate_sd_in_per_yr.tolist() == pytest.approx([math.hypot(0.3, 0.4) / 2])


def test_one_day_tells_no_rate_however_often_it_was_measured():
    told = lines([0, 0, 1], [100, 100, 5], [20.0, 21.0, 19.0], [0.25] * 3, hydrants=3)
    assert np.isnan(told.rate_in_per_yr).all()
    assert told.readings.tolist() == [2, 1, 0]


lines_told = st.tuples(
    st.floats(-2, 2), st.floats(0.01, 0.4), st.floats(14, 40), st.floats(0.05, 1.0)
)


@given(told=lines_told, likely=st.sampled_from([0.1, 0.3, 0.5, 0.7, 0.9]))
def test_on_that_day_the_height_is_out_with_that_probability(told, likely):
    rate, rate_sd, level, level_sd = told
    line = Line(*(np.array([v]) for v in (rate, rate_sd, level, level_sd, 20_000.0)), np.array([3]))
    day, side = leaves_window_on(line, lo_in=18.0, hi_in=36.0, likely=likely)
    if abs(rate) <= SURE_OF_A_RATE * rate_sd:
        assert np.isnan(day[0])
        return
    assume(not np.isnan(day[0]))
    t = (day[0] - 20_000.0) / DAYS_A_YEAR
    rng = np.random.default_rng(5)
    n = 200_000
    at = level + level_sd * rng.standard_normal(n) + t * (rate + rate_sd * rng.standard_normal(n))
    out = at < 18.0 if side[0] == "low" else at > 36.0
    assert out.mean() == pytest.approx(likely, abs=0.01)
    assert side[0] == ("low" if rate < 0 else "high")


def test_a_steady_hydrant_and_one_that_leaves_in_a_century_have_no_day():
    rate = np.array([-0.01, -0.1, -0.1])
    line = Line(rate, np.array([0.02, 0.01, 0.01]), np.array([20.0, 30.0, 20.0]),
                np.full(3, 0.1), np.zeros(3), np.full(3, 4))  # fmt: skip
    day, side = leaves_window_on(line, lo_in=18.0, hi_in=36.0)
    assert side.tolist() == [None, None, "low"]
    assert day[2] / DAYS_A_YEAR == pytest.approx(20.0)
    assert FARTHEST_YEARS < 12 / 0.1
    day, _ = leaves_window_on(line, lo_in=-math.inf, hi_in=36.0)
    assert np.isnan(day).all()
    with pytest.raises(ValueError, match="no probability"):
        leaves_window_on(line, lo_in=18.0, hi_in=36.0, likely=0.99)


def test_screening_and_undated_readings_and_those_before_a_change_tell_no_rate(hydrants, readings):
    town = hydrants(["A", "B", "C"])
    told = readings(
        ["A", "A", "A", "B", "B", "B", "C", "C"],
        outlet_height_in=[24.0, 23.0, 30.0, 24.0, 20.0, 19.0, 20.0, 22.0],
        reading_date=["2020-01-01", "2024-01-01", None, "2016-01-01", "2020-01-01", "2024-01-01",
                      "2020-01-01", "2024-01-01"],
        method=["tape", "tape", "tape", "tape", "tape", "tape", "tape", "eye"],
    )  # fmt: skip
    heights = reading_heights(town, told, RULE)
    since = np.array(["NaT", "2019-01-01", "NaT"], dtype="datetime64[D]")
    table = drifts(town, heights, lo_in=18.0, hi_in=36.0, since=since).set_index("hydrant_id")
    assert table.index.tolist() == ["A", "B"]
    four = (np.datetime64("2024-01-01") - np.datetime64("2020-01-01")).astype(int) / DAYS_A_YEAR
    assert table["rate_in_per_yr"].tolist() == pytest.approx([-1 / four, -1 / four])
    assert table["readings"].tolist() == [2, 2]
    assert table.loc["B", "first_date"].strftime("%Y-%m-%d") == "2020-01-01"
    # 19 in in 2024, an inch in four years: 18 in four years later
    assert table.loc["B", "leaves_season"] == 2028
    assert table.loc["B", "side"] == "low"
    # an inch in four years by a tape is told from none, by eye it is not
    assert table["steady"].tolist() == [False, False]
    told["height_sd_in"] = 1.0
    table = drifts(town, reading_heights(town, told, RULE), lo_in=18.0, hi_in=36.0)
    assert table.loc[table["hydrant_id"] == "A", "steady"].tolist() == [True]
    assert table.loc[table["hydrant_id"] == "A", "leaves_on"].isna().all()
