"""The jobs of a season, from the demo's register to the list, checked by adding up."""

from __future__ import annotations

import dataclasses
import datetime as dt
import itertools
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from hydrantgis import demo, job
from hydrantgis.cli import app
from hydrantgis.ground.errors import WordsError
from hydrantgis.standards.load import template_of


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("season")
    demo.run(place / "demo")
    (place / "season.toml").write_text(template_of("season"), encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def result(folder):
    return job.check(folder / "demo" / "register.gpkg")


@pytest.fixture(scope="module")
def words(folder):
    return job.load_season(folder / "season.toml")


def holds(chosen, words):
    """Every hard limit of the season, added up from the table alone."""
    done = chosen.table[chosen.table["selected"]]
    areas = done["area_id"].fillna("").nunique()
    cost = done["job_cost"].sum() + areas * words.area_cost
    hours = done["job_hours"].sum() + areas * words.area_hours
    assert cost <= words.budget * (1 - words.contingency_share) + 1e-6
    assert hours <= words.crew_hours + 1e-6
    assert cost == pytest.approx(chosen.selected.cost)
    assert hours == pytest.approx(chosen.selected.hours)
    assert set(words.must) <= set(done["hydrant_id"])
    assert not set(words.never) & set(done["hydrant_id"])
    for area, least in words.least.items():
        assert (done["area_id"] == area).sum() >= least


def test_a_season_keeps_every_limit_and_is_as_good_as_any(result, words):
    chosen = job.choose_season(result, words)
    holds(chosen, words)
    assert chosen.selected.gap <= 1e-3
    assert chosen.selected.value >= chosen.selected.by_greedy
    jobs = result.table[result.table["remedy"].isin(["extend", "exchange", "remove"])]
    assert sorted(chosen.table["hydrant_id"]) == sorted(jobs["hydrant_id"])


def test_must_never_and_shares_are_kept(result, words):
    first = job.choose_season(result, words).table
    inside = first["hydrant_id"][first["selected"]].tolist()
    outside = first["hydrant_id"][~first["selected"]].tolist()
    poor = dataclasses.replace(
        words, budget=20_000.0, must=tuple(outside[:2]), never=tuple(inside[:5]),
        least={"A6": 2, "A3": 1},
    )  # fmt: skip
    chosen = job.choose_season(result, poor)
    holds(chosen, poor)
    told = chosen.table.set_index("hydrant_id")["why"]
    assert told[outside[:2]].tolist() == ["must be done"] * 2
    assert told[inside[:5]].tolist() == ["never"] * 5


def test_more_budget_never_brings_less(result, words):
    values = [
        job.choose_season(result, dataclasses.replace(words, budget=budget)).selected
        for budget in (5_000.0, 20_000.0, 60_000.0, 1e9)
    ]
    for poor, rich in itertools.pairwise(values):
        assert rich.bound >= poor.value
        assert rich.value >= poor.value * (1 - 2e-3)
    assert values[-1].binding in ((), ("crew hours",))


def test_the_priority_is_the_weighted_sum_of_its_parts(result, words):
    table = job.choose_season(result, words).table
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
    age = ((today - at["reading_date"]).dt.days / 365.25 / 5).clip(0, 1)
    assert table["age"].to_numpy() == pytest.approx(age.to_numpy(), abs=1e-6)


def test_a_season_that_can_pay_for_nothing_says_so(result, words):
    chosen = job.choose_season(result, dataclasses.replace(words, budget=0.0, least={}))
    assert chosen.selected.why_none
    assert not chosen.table["selected"].any()
    assert set(chosen.table["why"]) == {"the season has no plan"}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"money": "EUR"}, "one money"), ({"must": ("T-9999",)}, "`must`"),
        ({"never": ("T-9999",)}, "`never`"), ({"least": {"ZZ": 1}}, "`share`"),
    ],
)  # fmt: skip
def test_names_that_are_not_there_are_refused(result, words, change, told):
    with pytest.raises(WordsError) as error:
        job.choose_season(result, dataclasses.replace(words, **change))
    assert told in str(error.value)


def run(capsys, *words):
    try:
        app.main([str(word) for word in words])
        code = 0
    except SystemExit as end:
        code = int(end.code or 0)
    return code, *capsys.readouterr()


def test_the_season_is_chosen_and_written_from_the_command_line(capsys, folder):
    words = ("plan", "--register", folder / "demo" / "register.gpkg", "--season",
             folder / "season.toml", "--quiet")  # fmt: skip
    code, out, _ = run(capsys, *words, "--out", folder / "one")
    assert code == 0
    assert "no choice could have more than" in out
    code, out, _ = run(capsys, *words, "--out", folder / "two", "--json")
    told = json.loads(out)["selection"]
    rows = pd.read_csv(folder / "two" / "season_selection.csv", encoding="utf-8-sig")
    assert told["selected"] == int(rows["selected"].sum())
    for name in ("season_selection.csv", "season.gpkg"):
        assert (folder / "one" / name).read_bytes() == (folder / "two" / name).read_bytes()


def test_a_season_file_is_begun_and_never_written_over(capsys, tmp_path):
    path = tmp_path / "s.toml"
    assert run(capsys, "plan", "--write-season", path)[0] == 0
    assert job.load_season(path).starts_on == dt.date(2027, 4, 1)
    code, _, err = run(capsys, "plan", "--write-season", path)
    assert code == 2
    assert "there is a file of that name" in err
