"""A season from the demo's register: every limit added up from its tables, bad seasons told."""

from __future__ import annotations

import dataclasses
import datetime as dt
import itertools
import json

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from hydrantgis import demo as district
from hydrantgis import job
from hydrantgis.ground.errors import WordsError
from hydrantgis.standards.load import template_of
from hydrantgis.standards.season import Blackout

from .commands import run


def of(words, **changes):
    return dataclasses.replace(words, **changes)


def sums(planned):
    """Cost and hours of what is on the calendar, from the tables and the season's words alone."""
    words, calendar, days = planned.words, planned.calendar, planned.crew_days
    done = planned.selection[planned.selection["selected"]]
    areas = calendar["area_id"].fillna("").nunique()
    drive = days["drive_hours"].sum()
    hours = done["job_hours"].sum() + areas * words.area_hours + drive
    paid = (areas * words.area_hours + drive) * words.hour_cost
    return done["job_cost"].sum() + areas * words.area_cost + paid, hours


def test_a_season_keeps_its_money_and_the_hours_of_its_crews(planned, words):
    cost, hours = sums(planned)
    assert planned.why_none == ()
    assert planned.cost == pytest.approx(cost)
    assert planned.hours == pytest.approx(hours)
    assert cost <= words.budget * (1 - words.contingency_share) + 0.005
    days = planned.crew_days
    used = days[["work_hours", "mobilisation_hours", "drive_hours"]].sum(axis=1)
    assert (used <= days["hours_there"] + 1e-9).all()
    assert planned.selected.gap <= 1e-3
    assert planned.selected.value >= planned.selected.by_greedy


def test_every_job_stands_in_the_selection_once_and_every_chosen_one_on_the_calendar(
    planned, result, words
):
    jobs = result.table[result.table["remedy"].isin(list(words.hours))]
    assert sorted(planned.selection["hydrant_id"]) == sorted(jobs["hydrant_id"])
    done = planned.selection[planned.selection["selected"]]
    assert sorted(done["hydrant_id"]) == sorted(planned.calendar["hydrant_id"])
    assert planned.selection["why"].notna().all()
    assert {"extend", "replace"} <= set(planned.selection["remedy"])


def test_no_day_is_one_on_which_nobody_works(planned, words):
    calendar = planned.calendar
    crews = {crew.crew_id: crew for crew in words.crews}
    for row in calendar.to_dict("records"):
        day, crew = row["work_date"].date(), crews[row["crew_id"]]
        assert words.starts_on <= day <= words.ends_on
        assert day.weekday() in crew.weekdays
        assert day not in words.holidays
        assert (crew.first_on or day) <= day <= (crew.last_on or day)
        assert row["remedy"] in crew.does
        for blackout in words.blackouts:
            if not blackout.areas or row["area_id"] in blackout.areas:
                assert not blackout.first_on <= day <= blackout.last_on
        assert row["week"] == "{}-W{:02}".format(*day.isocalendar()[:2])


def test_neighbors_are_never_out_on_one_day(planned, words):
    where = planned.calendar.geometry.to_crs(planned.calendar.crs)
    feet = planned.calendar.crs.axis_info[0].unit_conversion_factor / 0.3048
    for _, group in planned.calendar.groupby("work_date"):
        for a, b in itertools.combinations(group.index, 2):
            assert where[a].distance(where[b]) * feet >= words.apart_ft


def test_no_kit_is_fitted_before_it_can_be_there(planned, result, words):
    kits = {kit.kit_id: kit for kit in result.kits.kits()}
    calendar = planned.calendar
    for row in calendar[calendar["kit_from"] == "order"].to_dict("records"):
        kit = kits.get(row["kit_id"])
        lead = words.lead_days if kit is None or kit.lead_days is None else kit.lead_days
        assert row["work_date"].date() >= words.planned_on + dt.timedelta(days=lead)
    shelf = calendar[calendar["kit_from"] == "shelf"].groupby("kit_id").size()
    for kit_id, many in shelf.items():
        assert many <= kits[kit_id].on_hand
    orders = planned.orders.set_index("kit_id")
    for kit_id, many in calendar.groupby("kit_id").size().items():
        row, spares = orders.loc[kit_id], int(np.ceil(many * words.spares_share - 1e-9))
        assert (row["kits"], row["spares"]) == (many, spares)
        assert row["to_order"] == max(many + spares - kits[kit_id].on_hand, 0)


def test_both_are_told_of_every_job_in_time(planned, words):
    told = planned.notices
    days = {"fire department": words.fire_days, "customers": words.customer_days}
    for who, ahead in days.items():
        theirs = told[told["told_to"] == who]
        assert sorted(theirs["hydrant_id"]) == sorted(planned.calendar["hydrant_id"])
        assert ((theirs["out_on"] - theirs["tell_by"]).dt.days >= ahead).all()
        assert (theirs["tell_by"].dt.day_of_week < 5).all()
    lines = told["out_line"] + told["back_line"]
    assert all(h in line for h, line in zip(told["hydrant_id"], lines, strict=True))
    assert not told["out_line"].str.contains("nan|None").any()


def test_ways_follow_the_streets_and_are_no_shorter_than_straight(planned, words):
    calendar = planned.calendar.sort_values(["work_date", "crew_id", "stop"])
    assert (calendar["way_by"] == "streets").mean() > 0.9
    feet = calendar.crs.axis_info[0].unit_conversion_factor / 0.3048
    depot = gpd.GeoSeries.from_xy([words.depot.x], [words.depot.y], crs=words.depot.crs)
    last = depot.to_crs(calendar.crs).iloc[0]
    for row in calendar.itertuples():
        start = depot.to_crs(calendar.crs).iloc[0] if row.stop == 1 else last
        assert row.drive_ft >= start.distance(row.geometry) * feet - 0.01
        assert row.drive_hours == pytest.approx(row.drive_ft / 5280 / words.speed_mph)
        last = row.geometry


def test_the_same_seed_gives_the_same_plan(planned, result, words):
    again = job.plan_season(result, words)
    for name in ("selection", "calendar", "crew_days", "orders", "notices"):
        pd.testing.assert_frame_equal(getattr(again, name), getattr(planned, name))


def test_must_never_and_shares_are_kept(planned, result, words):
    first = planned.selection
    inside = first["hydrant_id"][first["selected"]].tolist()
    outside = first["hydrant_id"][~first["selected"]].tolist()
    poor = of(
        words, budget=20_000.0, must=tuple(outside[:2]), never=tuple(inside[:5]),
        least={"A6": 2, "A3": 1},
    )  # fmt: skip
    told = job.plan_season(result, poor)
    why = told.selection.set_index("hydrant_id")["why"]
    assert why[outside[:2]].tolist() == ["must be done"] * 2
    assert why[inside[:5]].tolist() == ["never"] * 5
    areas = told.calendar["area_id"].value_counts()
    assert areas["A6"] >= 2
    assert areas["A3"] >= 1
    assert sums(told)[0] <= poor.available + 0.005


@pytest.mark.slow
def test_a_job_that_must_be_done_and_has_no_day_is_told_as_an_error(result, words):
    lost = job.plan_season(result, words).selection["hydrant_id"].iloc[0]
    area = result.table.set_index("hydrant_id")["area_id"][lost]
    whole = Blackout(title="frost", first_on=words.starts_on, last_on=words.ends_on, areas=(area,))
    told = job.plan_season(result, of(words, must=(lost,), blackouts=(whole,), least={}))
    row = told.selection.set_index("hydrant_id").loc[lost]
    assert not row["selected"]
    assert row["why"].startswith("must be done, and cannot be: ")
    assert "frost" in row["why"]
    assert told.findings["code"].tolist().count("must-not-placed") == 1
    assert not (told.calendar["area_id"] == area).any()


def test_more_budget_never_brings_less(planned):
    curve = job.budget_curve(planned)
    assert curve["budget"].is_monotonic_increasing
    slack = 1 + 2e-3
    for poor, rich in itertools.pairwise(curve["priority"].tolist()):
        assert rich * slack >= poor
    assert (curve["cost"] <= curve["budget"] * 0.9 + 1e-6).all()
    now = curve[curve["is_now"]]
    assert now["priority"].tolist() == pytest.approx([planned.selected.value], rel=2e-3)
    step = curve["priority"].diff() / curve["budget"].diff() * 1000
    assert curve["priority_a_thousand"].tolist()[1:] == pytest.approx(step.tolist()[1:])


def test_the_priority_is_the_weighted_sum_of_its_parts(planned, result, words):
    table = planned.selection
    parts = table[list(words.weights)].to_numpy(dtype=float)
    assert ((parts >= 0) & (parts <= 1)).all()
    expected = parts @ np.array(list(words.weights.values()))
    assert table["priority"].to_numpy() == pytest.approx(expected, abs=1e-6)
    # by hand: 6 in or more out and sure of it is 1; half as far is half
    at = result.table.set_index("hydrant_id").loc[table["hydrant_id"]]
    out = (at["shortfall_in"].fillna(0) + at["excess_in"].fillna(0)).to_numpy()
    flange = at["flange_verdict"].isin(["low", "high"]).to_numpy()
    severity = np.maximum(np.minimum(out / 6, 1) * (1 - at["p_inside"]), 0.5 * flange)
    assert table["severity"].to_numpy() == pytest.approx(severity.to_numpy(), abs=1e-6)
    today = pd.Timestamp(result.moment.date())
    age = ((today - at["reading_date"]).dt.days / 365.25 / 5).clip(0, 1).fillna(0)
    assert table["age"].to_numpy() == pytest.approx(age.to_numpy(), abs=1e-6)


def test_cost_and_hours_of_a_job_are_what_the_file_says(planned, result, words):
    price = {kit.kit_id: kit.unit_cost for kit in result.kits.kits()}
    at = result.table.set_index("hydrant_id")
    for row in planned.selection.to_dict("records"):
        flange = at.loc[row["hydrant_id"], "flange_height_in"]
        buried_ft = 0.0 if np.isnan(flange) else max(0.0, -flange / 12)
        hours = words.hours[row["remedy"]] + 0.25 + 0.25 + 1.0 * buried_ft
        assert row["job_hours"] == pytest.approx(hours)
        kit = 0.0 if pd.isna(row["kit_id"]) else price[row["kit_id"]]
        cost = (np.nan if kit is None else kit) + words.materials[row["remedy"]] + 92 * hours
        assert row["job_cost"] == pytest.approx(cost, nan_ok=True)


@pytest.mark.slow
def test_what_a_facility_counts_hangs_on_its_class(result, words):
    none = job.plan_season(result, of(words, protects={})).selection
    assert (none["protects"] == 0).all()
    some = job.plan_season(result, of(words, protects={"SCHOOL": 0.5})).selection
    assert set(some["protects"]) == {0.0, 0.5}
    assert some["priority_reasons"].str.contains("school within")[some["protects"] > 0].all()


EMPTY = {
    "no money": ({"budget": 0.0, "least": {}}, "no job fits into the budget"),
    "no working days": ({"crews": ()}, "the season has no crew day"),
    "jobs longer than a day": (
        {"hours": {"extend": 30.0, "exchange": 30.0, "remove": 30.0}}, "the longest crew day has 8",
    ),
    "kits that come too late": ({"planned_on": dt.date(2028, 1, 1)}, "after the last crew day"),
    "an area that is owed in vain": (
        {"least": {"A3": 50}}, "area A3 is owed 50 jobs, 2 can be done",
    ),
    "one day, and it is a holiday": (
        {"starts_on": dt.date(2027, 5, 31), "ends_on": dt.date(2027, 5, 31)}, "no crew day",
    ),
    "crews that do nothing": ({"most_crew_hours": 0.0, "least": {}}, "no job fits"),
    "driving that takes the whole day": ({"speed_mph": 0.01}, "with the way there and back"),
}  # fmt: skip


@pytest.mark.parametrize("change", EMPTY)
def test_a_season_that_can_do_nothing_says_why(result, words, change):
    changes, told = EMPTY[change]
    if "hours" in changes:
        changes = {**changes, "materials": dict.fromkeys(changes["hours"], 0.0)}
    plan = job.plan_season(result, of(words, **changes))
    assert len(plan.calendar) == len(plan.crew_days) == len(plan.notices) == len(plan.orders) == 0
    assert told in "; ".join(plan.why_none)
    assert not plan.selection["selected"].any()
    assert plan.selection["why"].notna().all()
    assert (plan.cost, plan.hours) == (0.0, 0.0)
    job.budget_curve(plan)


def test_all_hydrants_never(result, words):
    every = tuple(result.table["hydrant_id"])
    plan = job.plan_season(result, of(words, never=every, least={}))
    assert "never" in plan.why_none[0]


def test_an_area_without_a_polygon_has_no_jobs_and_stops_nothing(result, words):
    areas = result.areas.copy()
    areas.loc[areas["area_id"] == "A3", "geometry"] = None
    from hydrantgis.season.areas import area_of

    ids, _ = area_of(result.hydrants, areas)
    assert not (ids == "A3").any()
    table = result.table.assign(area_id=ids.to_numpy())
    bare = dataclasses.replace(result, table=table, areas=areas)
    assert job.plan_season(bare, of(words, least={})).why_none == ()
    assert "area A3 is owed 1 job, 0 can be done" in job.plan_season(bare, words).why_none[0]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"money": "EUR"}, "one money"), ({"must": ("T-9999",)}, "`jobs.must`"),
        ({"never": ("T-9999",)}, "`jobs.never`"), ({"least": {"ZZ": 1}}, "`share`"),
        ({"blackouts": (Blackout(title="x", first_on=dt.date(2027, 5, 1),
                                 last_on=dt.date(2027, 5, 2), areas=("ZZ",)),)}, "`blackout`"),
    ],
)  # fmt: skip
def test_names_that_are_not_there_are_refused(result, words, change, told):
    with pytest.raises(WordsError) as error:
        job.plan_season(result, of(words, **change))
    assert told in str(error.value)


def test_what_must_be_done_and_has_no_job_is_told_with_what_it_has(result, words):
    idle = result.table["hydrant_id"][result.table["remedy"] == "none"].iloc[0]
    with pytest.raises(WordsError) as error:
        job.plan_season(result, of(words, must=(idle,)))
    assert "have no job of this season" in str(error.value)
    assert f"{idle} (none)" in str(error.value)


def test_an_area_that_is_owed_in_vain_says_what_stands_in_the_way(result, words):
    hours = dict.fromkeys(["extend", "exchange", "remove"], 20.0)
    plan = job.plan_season(result, of(words, hours=hours, materials=dict.fromkeys(hours, 0.0)))
    assert "area A3 is owed 1 job, 0 can be done; " in plan.why_none[0]
    assert "the longest crew day has 8.5" in plan.why_none[0]
    assert plan.findings["code"].tolist() == ["season-empty"]


def test_a_blackout_is_named_where_it_stands_in_the_way_and_nowhere_else(result, words):
    shut = (
        Blackout(title="paving", first_on=words.starts_on, last_on=words.ends_on, areas=("A1",)),
        Blackout(title="fair", first_on=words.starts_on, last_on=words.ends_on, areas=("A4",)),
        Blackout(title="last year", first_on=dt.date(2026, 1, 1), last_on=dt.date(2026, 2, 1),
                 areas=("A1", "A4")),
    )  # fmt: skip
    table = job.plan_season(result, of(words, blackouts=shut)).selection
    for area, title in (("A1", "paving"), ("A4", "fair")):
        assert set(table["why"][table["area_id"] == area]) == {
            f"on every day left nobody may work in its area ({title})"
        }


def test_kits_of_the_shelf_go_to_the_first_days(planned, result):
    stock = {kit.kit_id: kit.on_hand or 0 for kit in result.kits.kits()}
    fitted = planned.calendar[planned.calendar["kit_id"].notna()]
    for kit_id, jobs in fitted.groupby("kit_id"):
        shelf = jobs["kit_from"] == "shelf"
        assert shelf.sum() == min(stock[kit_id], len(jobs))
        if shelf.any() and not shelf.all():
            assert jobs["work_date"][shelf].max() <= jobs["work_date"][~shelf].min()


def test_flanges_are_measured_before_their_kits_are_ordered(planned):
    orders = planned.orders
    waits = orders["waiting"] > 0
    assert waits.any()
    assert orders["measure_by"][waits].equals(orders["order_by"][waits])
    assert orders["measure_by"][~waits].isna().all()


def test_a_depot_far_away_or_nowhere_is_refused(result, words):
    degrees = dataclasses.replace(words.depot, crs="EPSG:4326")
    with pytest.raises(WordsError, match="lies far from every job"):
        job.plan_season(result, of(words, depot=degrees))
    far = dataclasses.replace(words.depot, crs="EPSG:4326", x=10.0, y=50.0)
    with pytest.raises(WordsError, match="far from every job"):
        job.plan_season(result, of(words, depot=far))
    with pytest.raises(WordsError, match="CRS is not known"):
        job.plan_season(result, of(words, depot=dataclasses.replace(words.depot, crs="here")))


def test_two_plans_stand_side_by_side(planned, result, words):
    other = job.plan_season(result, of(words, budget=30_000.0))
    told = job.compare_plans(planned, result, other, result)
    figures = told.figures.set_index("figure")
    assert figures.loc["budget", ["plan_a", "plan_b", "change"]].tolist() == [
        "62,000", "30,000", -32_000.0,
    ]  # fmt: skip
    assert figures.loc["jobs planned", "change"] == len(other.calendar) - len(planned.calendar)
    assert figures.loc["cost", "change"] == pytest.approx(other.cost - planned.cost, abs=0.011)
    a, b = set(planned.calendar["hydrant_id"]), set(other.calendar["hydrant_id"])
    jobs = told.jobs
    assert set(jobs["hydrant_id"][jobs["in_a"] & ~jobs["in_b"]]) == a - b
    assert set(jobs["hydrant_id"][jobs["in_b"] & ~jobs["in_a"]]) == b - a
    same = job.compare_plans(planned, result, planned, result)
    assert len(same.jobs) == 0
    assert (same.figures["change"].fillna(0) == 0).all()


@pytest.mark.slow
def test_the_season_is_planned_and_written_from_the_command_line(capsys, folder):
    words = ("plan", "--register", folder / "demo" / "register.gpkg", "--season",
             district.folder() / "season.toml", "--quiet")  # fmt: skip
    code, out, _ = run(capsys, *words, "--out", folder / "one")
    assert code == 0
    assert "no choice could have more than" in out
    assert "What money brings" in out
    code, out, _ = run(capsys, *words, "--out", folder / "two", "--json")
    told = json.loads(out)["season"]
    rows = pd.read_csv(folder / "two" / "season_selection.csv", encoding="utf-8-sig")
    assert told["selected"] == int(rows["selected"].sum()) == len(told["calendar"])
    names = {path.name for path in (folder / "one").iterdir()}
    assert {"season_calendar.csv", "season_crew_days.csv", "season_notices.csv",
            "season_orders.csv", "season_curve.csv", "season_curve.png"} <= names  # fmt: skip
    for name in sorted(names - {"season_curve.svg"}):
        assert (folder / "one" / name).read_bytes() == (folder / "two" / name).read_bytes()


def test_two_season_files_are_compared_from_the_command_line(capsys, folder):
    text = (district.folder() / "season.toml").read_text(encoding="utf-8")
    other = folder / "poor.toml"
    other.write_text(text.replace("budget = 62000", "budget = 25000"), encoding="utf-8")
    words = ("plan", "--register", folder / "demo" / "register.gpkg", "--quiet", "--no-curve")
    code, out, _ = run(capsys, *words, "--season", district.folder() / "season.toml", "--against",
                       other, "--out", folder / "versus")  # fmt: skip
    assert code == 0
    assert "Two plans" in out
    assert "jobs only in A" in out
    assert (folder / "versus" / "season_compared.csv").exists()
    code, _, err = run(capsys, *words, "--against", other)
    assert code == 2
    assert "--against needs a season" in err


def test_a_season_without_a_plan_is_an_error_of_the_data_where_that_is_asked_for(capsys, folder):
    text = (district.folder() / "season.toml").read_text(encoding="utf-8")
    none = folder / "none.toml"
    none.write_text(text.replace("budget = 62000", "budget = 0"), encoding="utf-8")
    words = ("plan", "--register", folder / "demo" / "register.gpkg", "--season", none, "--quiet",
             "--no-curve", "--out", folder / "none")  # fmt: skip
    code, out, _ = run(capsys, *words)
    assert code == 0
    assert "no plan" in out
    assert run(capsys, *words, "--strict")[0] == 3


def test_a_season_file_is_begun_and_never_written_over(capsys, tmp_path):
    path = tmp_path / "s.toml"
    assert run(capsys, "plan", "--write-season", path)[0] == 0
    assert path.read_text(encoding="utf-8") == template_of("season")
    code, _, err = run(capsys, "plan", "--write-season", path)
    assert code == 2
    assert "there is a file of that name" in err
