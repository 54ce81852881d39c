"""Ground that was shot more than once: which shots belong together, and which tell it as it is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.heights.basis import basis_heights
from hydrantgis.heights.changes import shots_change
from hydrantgis.heights.epochs import (
    ONE_SURVEY_DAYS,
    TOLD_APART,
    last_on,
    split,
    standing,
    survey_on,
)
from hydrantgis.heights.grade import grade_at
from hydrantgis.heights.gradefit import CONTACT_GRADE_SD_FT
from hydrantgis.heights.outlet import reading_heights
from hydrantgis.standards.load import load_rule

RULE = load_rule("nfpa24-2019")
CROSS = np.array([[8.0, 0.0], [-8.0, 0.0], [0.0, 8.0], [0.0, -8.0]])
UNDATED = -(10**6)
shot_days = st.one_of(st.just(None), st.integers(0, 800))


def dates(numbers):
    return np.array(
        [np.datetime64("NaT") if n is None else np.datetime64(int(n), "D") for n in numbers],
        dtype="datetime64[D]",
    )


@given(told=st.lists(st.tuples(st.integers(0, 3), shot_days), max_size=14))
def test_shots_are_of_one_survey_where_they_were_taken_within_a_month(told):
    told = sorted(told, key=lambda one: one[0])
    survey, of = split(np.array([h for h, _ in told], np.intp), dates([d for _, d in told]))
    # by hand: chains of days of each hydrant, cut into months from their first day on
    expected = {}
    for hydrant in range(4):
        days = sorted({UNDATED if d is None else d for h, d in told if h == hydrant})
        chain, first = 0, None
        for at, day in enumerate(days):
            if at and day - days[at - 1] > ONE_SURVEY_DAYS:
                chain, first = chain + 1000, day
            first = day if first is None else first
            expected[hydrant, day] = chain + (day - first) // (ONE_SURVEY_DAYS + 1)
    keys = [(h, expected[h, UNDATED if d is None else d]) for h, d in told]
    numbers = {key: n for n, key in enumerate(sorted(set(keys)))}
    assert survey.tolist() == [numbers[key] for key in keys]
    assert of.tolist() == [h for h, _ in sorted(set(keys))]


@given(
    told=st.lists(
        st.tuples(st.integers(0, 3), st.sampled_from([100.0, 100.05, 100.4, 103.0]),
                  st.sampled_from([0.01, 0.1, 0.11, 0.7])),
        max_size=12,
    )
)  # fmt: skip
def test_the_survey_that_stands_is_what_a_look_at_each_says(told):
    told = sorted(told, key=lambda one: one[0])
    of, elev, sd = (np.array(column) for column in zip(*told, strict=True)) if told else ([],) * 3
    got = standing(
        np.array(of, np.intp), np.array(elev, float), np.array(sd, float), hydrants=5,
        vague_ft=CONTACT_GRADE_SD_FT,
    )  # fmt: skip
    for hydrant in range(5):
        mine = [n for n, one in enumerate(told) if one[0] == hydrant]
        expected = mine[-1] if mine else -1
        if mine and told[mine[-1]][2] > CONTACT_GRADE_SD_FT:
            for n in reversed(mine[:-1]):
                apart = abs(told[mine[-1]][1] - told[n][1])
                if apart > TOLD_APART * np.hypot(told[mine[-1]][2], told[n][2]):
                    break
                if told[n][2] <= CONTACT_GRADE_SD_FT:
                    expected = n
                    break
        assert got[hydrant] == expected


@given(
    spans=st.lists(st.tuples(st.integers(0, 2), st.integers(0, 5), st.integers(0, 90)), max_size=9),
    asked=st.lists(st.tuples(st.integers(0, 3), shot_days), max_size=9),
)
def test_a_day_belongs_to_the_nearest_survey_within_the_pause(spans, asked):
    spans = sorted({(h, slot): length for h, slot, length in spans}.items())
    of = np.array([h for (h, _), _ in spans], np.intp)
    first = np.array([slot * 200 for (_, slot), _ in spans], np.int64)
    last = first + np.array([length for _, length in spans], np.int64)
    hydrant = np.array([h for h, _ in asked], np.intp)
    day = dates([d for _, d in asked])
    assert ONE_SURVEY_DAYS < 100  # so that the surveys above lie apart
    got = survey_on(of, first.astype("M8[D]"), last.astype("M8[D]"), hydrant, day)
    before = last_on(of, first.astype("M8[D]"), hydrant, day)
    for (h, d), survey, began in zip(asked, got, before, strict=True):
        if d is None:
            assert survey == -1
            continue
        apart = {n: max(first[n] - d, d - last[n], 0) for n in range(len(of)) if of[n] == h}
        near = {n: gap for n, gap in apart.items() if gap <= ONE_SURVEY_DAYS}
        assert survey == -1 if not near else near.get(survey) == min(near.values())
        assert began == max((n for n in apart if first[n] <= d), default=-1)


def test_the_newest_shots_tell_the_grade_and_the_older_ones_do_not_pull_at_it():
    """Filled by 6 in between 2023 and 2026; a mean of both would be 3 in off either."""
    shots = np.vstack([CROSS, CROSS])
    z = [100.0] * 4 + [100.5] * 4
    days = dates([None] * 8)
    days[:4], days[4:] = np.datetime64("2023-06-01"), np.datetime64("2026-06-01")
    fit = grade_at([[0, 0]], shots, z, np.full(8, 0.02), days=days)
    assert fit.elev_ft.tolist() == pytest.approx([100.0, 100.5])
    assert fit.stands.tolist() == [1]
    assert len(fit.outlier_shot) == 0
    order = np.random.default_rng(3).permutation(8)
    again = grade_at([[0, 0]], shots[order], np.array(z)[order], np.full(8, 0.02), days=days[order])
    assert again.elev_ft.tolist() == pytest.approx([100.0, 100.5])


def test_shots_without_a_day_stand_where_there_are_no_others():
    days = np.array(["NaT", "NaT", "2026-06-01"], "M8[D]")
    fit = grade_at([[0, 0], [500, 0]], [[5, 0], [505, 0], [5, 1]], [100.0, 90.0, 101.0], [0.02] * 3,
                   days=days)  # fmt: skip
    assert fit.elev_ft[fit.stands].tolist() == [101.0, 90.0]


def test_one_new_shot_that_tells_of_a_far_move_is_doubted_and_three_are_not():
    days = dates([0] * 4 + [1000] * 4)
    for fresh, doubted in ((1, True), (4, False)):
        shots = np.vstack([CROSS, CROSS[:fresh]])
        z = [100.0] * 4 + [5.0] * fresh
        fit = grade_at([[0, 0]], shots, z, np.full(4 + fresh, 0.02), days=days[: 4 + fresh])
        assert fit.doubted()[fit.stands].tolist() == [doubted]


def test_an_outlet_stands_over_the_ground_as_it_is_and_over_that_of_its_day(hydrants, readings):
    shots, days = np.vstack([CROSS, CROSS]), dates([0] * 4 + [1000] * 4)
    fit = {"navd88": grade_at([[0, 0]], shots, [100.0] * 4 + [100.5] * 4, np.full(8, 0.02),
                              days=days)}  # fmt: skip
    told = readings(["A"] * 2, outlet_elev_ft=[101.75, 101.8], vertical_datum="NAVD88",
                    method="level", reading_date=["1970-01-15", "1972-09-20"])  # fmt: skip
    town = hydrants(["A"])
    now = reading_heights(town, told, RULE, grades=fit)
    assert now.height_in.tolist() == pytest.approx([15.0, 15.6])
    then = reading_heights(town, told, RULE, grades=fit, own_day=True)
    assert then.height_in.tolist() == pytest.approx([21.0, 15.6])
    # of a day on which nobody shot the ground
    late = told.assign(reading_date=np.datetime64("1971-06-01"))
    assert np.isnan(reading_heights(town, late, RULE, grades=fit, own_day=True).height_in).all()
    basis, _ = basis_heights(town, told, RULE, grades=fit)
    assert basis["outlet_height_in"].tolist() == pytest.approx([15.6])
    assert basis["grade_elev_ft"].tolist() == pytest.approx([100.5])


@pytest.mark.parametrize(
    ("read", "expected"),
    [(-5, "shots"), (0, "shots"), (800, "shots"), (975, ""), (1500, ""), (None, "")],
)
def test_shots_of_before_and_after_a_reading_tell_how_the_ground_changed(read, expected):
    days = dates([0] * 4 + [1000] * 4)
    fit = grade_at([[0, 0]], np.vstack([CROSS, CROSS]), [100.0] * 4 + [100.5] * 4,
                   np.full(8, 0.02), days=days)  # fmt: skip
    told = shots_change(fit, dates([read]))
    assert told.by[0].startswith(expected)
    assert bool(told.by[0]) == bool(expected)
    assert told.change_in.tolist() == pytest.approx([6.0 if expected else 0.0])
    if expected:
        # the mean of four shots of 0.02 ft at the barrel, twice, and 6 in that came before
        rng = np.random.default_rng(11)
        fill_on = rng.uniform(0, 1000, 400_000)
        error = 12 * 0.01 * np.sqrt(2) * rng.standard_normal(400_000) + 6.0 * (fill_on < read)
        assert told.sd_in[0] == pytest.approx(np.sqrt(np.mean(error**2)), rel=0.01)


def test_ground_that_rose_by_less_than_its_uncertainty_has_not_changed():
    days = dates([0, 1000])
    fit = grade_at([[0, 0]], [[0.0, 0.0], [0.0, 0.0]], [100.0, 100.05], [0.02] * 2, days=days)
    assert shots_change(fit, dates([500])).by.tolist() == [""]
