"""The days of crews, and on which of them a job may be done: beside loops over single days."""

from __future__ import annotations

import dataclasses
import datetime as dt
import tomllib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.season.crewdays import clock, crew_days, iso_week, last_working_day, openings
from hydrantgis.standards.load import template_of
from hydrantgis.standards.season import Blackout, Crew
from hydrantgis.standards.seasonfile import season_from_mapping

D = dt.date


def crew(name, weekdays=(0, 1, 2, 3, 4), **more):
    return Crew(
        crew_id=name, weekdays=weekdays, **{"does": ("extend",), "hours_a_day": 8.0, **more}
    )


def jobs(n=1, **columns):
    told = {
        "remedy": "extend", "area_id": "A", "hours": 3.0, "ready_on": pd.Timestamp("2027-01-01"),
        "asked_crew": None, "asked_week": None,
    }  # fmt: skip
    return pd.DataFrame({**told, **columns}, index=range(n))


def test_crew_days_are_those_of_the_calendar_on_the_wall(season):
    words = season(
        starts_on=D(2027, 5, 27), ends_on=D(2027, 6, 4), holidays=(D(2027, 5, 31),),
        blackouts=(Blackout(title="fair", first_on=D(2027, 6, 3), last_on=D(2027, 6, 3)),
                   Blackout(title="paving", first_on=D(2027, 6, 1), last_on=D(2027, 6, 1),
                            areas=("A",))),
        crews=(crew("2", off=(D(2027, 6, 2),)), crew("1", (3, 4), first_on=D(2027, 5, 28)),
               crew("idle", hours_a_day=0.0)),
    )  # fmt: skip
    told = crew_days(words)
    days = list(zip(told["work_date"].dt.date, told["crew_id"], strict=True))
    # Thursday 27 May to Friday 4 June 2027; Monday 31 is a holiday, Thursday 3 is out everywhere
    assert days == [
        (D(2027, 5, 27), "2"), (D(2027, 5, 28), "1"), (D(2027, 5, 28), "2"), (D(2027, 6, 1), "2"),
        (D(2027, 6, 4), "1"), (D(2027, 6, 4), "2"),
    ]  # fmt: skip
    assert told["day"].tolist() == [0, 1, 1, 2, 3, 3]


def test_a_season_without_working_days_has_none(season):
    assert len(crew_days(season(crews=()))) == 0
    assert len(crew_days(season(crews=(crew("1", weekdays=()),)))) == 0


@given(st.lists(st.dates(D(2000, 1, 1), D(2100, 1, 1)), min_size=1, max_size=20))
def test_weeks_are_those_of_iso_8601(days):
    told = iso_week(pd.Series(pd.to_datetime(days)))
    assert told.tolist() == [f"{d.isocalendar().year}-W{d.isocalendar().week:02}" for d in days]


@given(day=st.dates(D(2027, 1, 1), D(2027, 12, 31)))
def test_a_notice_is_never_due_on_a_day_off(day):
    words = season_from_mapping(tomllib.loads(template_of("season")), "season.toml")
    (told,) = last_working_day(
        pd.Series(pd.to_datetime([day])), words, not_before=D(2027, 1, 1)
    ).dt.date
    expected = day
    while expected.weekday() > 4 or expected in words.holidays:
        expected -= dt.timedelta(days=1)
    assert told == max(expected, D(2027, 1, 1))


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        ({"remedy": "replace"}, "no crew does `replace`"),
        ({"hours": 8.5}, "takes 8.5 hours with the way there and back; the longest crew day has 8"),
        ({"ready_on": pd.Timestamp("2027-06-05")}, "until 2027-06-05, after the last crew day"),
        ({"area_id": "B"}, r"nobody may work in its area (paving)"),
        ({"asked_crew": "9"}, "crew 9, to which it was given, has no day"),
        ({"asked_week": "2027-W40"}, "week 2027-W40, to which it was given, has no day"),
    ],
)
def test_a_job_without_a_day_says_why(season, columns, told):
    words = season(
        starts_on=D(2027, 6, 1), ends_on=D(2027, 6, 4), holidays=(), crews=(crew("1"),),
        blackouts=(Blackout(title="paving", first_on=D(2027, 5, 1), last_on=D(2027, 7, 1),
                            areas=("B",)),),
    )  # fmt: skip
    days = crew_days(words)
    allowed, why = openings(jobs(), days, words)
    assert (allowed.sum(), why.tolist()) == (4, [None])
    allowed, why = openings(jobs(**columns), days, words)
    assert not allowed.any()
    assert told in why[0]


def test_a_season_without_crew_days_tells_every_job_so(season):
    words = season(crews=())
    allowed, why = openings(jobs(3), crew_days(words), words)
    assert allowed.shape == (3, 0)
    assert why.tolist() == ["the season has no crew day"] * 3


@given(seed=st.integers(0, 5_000))
def test_days_of_jobs_equal_a_loop_over_days_and_jobs(seed):
    rng = np.random.default_rng(seed)
    plain = season_from_mapping(tomllib.loads(template_of("season")), "season.toml")
    first = D(2027, 4, 1)
    days_of = [first + dt.timedelta(days=int(k)) for k in rng.integers(0, 30, 8)]
    words = dataclasses.replace(
        plain, starts_on=first, ends_on=D(2027, 4, 30), holidays=(days_of[0],),
        crews=(crew("1", (0, 2, 4), hours_a_day=6.0), crew("2", does=("extend", "remove"))),
        blackouts=(
            Blackout(title="x", first_on=min(days_of[1:3]), last_on=max(days_of[1:3]),
                     areas=("A",)),
            Blackout(title="y", first_on=days_of[3], last_on=days_of[3]),
        ),
    )  # fmt: skip
    n = 6
    table = jobs(
        n, remedy=rng.choice(["extend", "remove"], n), area_id=rng.choice(["A", "B", None], n),
        hours=rng.choice([3.0, 7.0], n), ready_on=pd.to_datetime(days_of[2:]),
        asked_crew=rng.choice(["1", "2", None], n),
        asked_week=rng.choice(["2027-W14", None, None], n),
    )  # fmt: skip
    days = crew_days(words)
    allowed, why = openings(table, days, words)
    for i, job in enumerate(table.to_dict("records")):
        for k, day in enumerate(days.to_dict("records")):
            date = day["work_date"].date()
            who = next(c for c in words.crews if c.crew_id == day["crew_id"])
            iso = date.isocalendar()
            good = (
                job["remedy"] in who.does and job["hours"] <= who.hours_a_day
                and date >= job["ready_on"].date()
                and not (job["area_id"] == "A"
                         and words.blackouts[0].first_on <= date <= words.blackouts[0].last_on)
                and (job["asked_crew"] in (None, who.crew_id) or pd.isna(job["asked_crew"]))
                and (pd.isna(job["asked_week"])
                     or job["asked_week"] == f"{iso.year}-W{iso.week:02}")
            )  # fmt: skip
            assert allowed[i, k] == good
        assert (why[i] is None) == allowed[i].any()


def test_times_of_day_round_to_the_minute():
    assert clock(np.array([0.0, 0.508, 17.25]), 6.75).tolist() == ["06:45", "07:15", "24:00"]
