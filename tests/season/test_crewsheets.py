"""Which jobs get a sheet, in which order, and what goes on the truck."""

from __future__ import annotations

from collections import Counter
from math import ceil

import pandas as pd
import pytest

from hydrantgis import demo as district
from hydrantgis import job
from hydrantgis.ground.results import KIT_REMEDIES
from hydrantgis.season.crewsheets import (
    SHEET_REMEDIES,
    batches,
    loads,
    sheet_rows,
)
from hydrantgis.season.notices import undated_notices
from hydrantgis.standards.load import load_kits


@pytest.fixture(scope="module")
def season(demo):
    return demo[1]


@pytest.fixture(scope="module")
def words():
    return job.load_season(district.folder() / "season.toml")


def some_days(season):
    """A calendar made up from the list: two crews, two days, three stops each."""
    jobs = season.jobs.iloc[:12].reset_index(drop=True)
    return pd.DataFrame(
        {
            "hydrant_id": jobs["hydrant_id"][::-1].to_numpy(),
            "work_date": pd.to_datetime(["2027-05-04", "2027-05-03"] * 6),
            "crew_id": ["South"] * 6 + ["North"] * 6,
            "stop": [3, 3, 2, 2, 1, 1] * 2,
            "kit_from": "order", "out_from": "08:00", "back_by": "10:00", "job_hours": 2.0,
            "drive_ft": 100.0, "drive_hours": 0.1, "mobilisation_hours": 0.0,
        }
    )  # fmt: skip


def test_jobs_of_days_come_first_by_day_crew_and_stop_and_nothing_stands_twice(season):
    calendar = some_days(season)
    rows = sheet_rows(season, calendar, SHEET_REMEDIES)
    first = rows[:12]
    keys = list(zip(first["work_date"], first["crew_id"], first["stop"], strict=True))
    assert keys == sorted(keys)
    assert set(first["hydrant_id"]) == set(calendar["hydrant_id"])
    assert rows["hydrant_id"].is_unique
    every = [season.jobs, *(frame for name, frame in season.others.items() if name != "review")]
    assert len(rows) == sum(len(frame) for frame in every)
    assert rows["work_date"][12:].isna().all()
    areas = rows["area_id"][12:].fillna("~").tolist()
    assert areas == sorted(areas)


def test_without_days_all_kit_jobs_and_no_others_are_there(season):
    rows = sheet_rows(season)
    assert rows["hydrant_id"].tolist() == season.jobs["hydrant_id"].tolist()
    assert set(rows["remedy"]) <= set(KIT_REMEDIES)


def test_a_batch_is_a_crew_s_day_or_an_area_and_batches_follow_each_other(season):
    rows = sheet_rows(season, some_days(season), ("measure",))
    told = batches(rows)
    assert told.tolist() == sorted(told)
    has_day = rows["work_date"].notna()
    keys = [
        (str(row["work_date"]), row["crew_id"]) if day else ("area", str(row["area_id"]))
        for row, day in zip(rows.to_dict("records"), has_day, strict=True)
    ]
    assert len(set(zip(told, keys, strict=True))) == told.nunique() == len(set(keys))


def test_the_load_of_a_batch_is_what_a_plain_count_of_its_jobs_takes(season, words):
    catalogue = load_kits(str(district.folder() / "kits.toml"))
    rows = sheet_rows(season, some_days(season), ("replace", "measure"))
    rows = rows.assign(batch=batches(rows))
    told = loads(rows, catalogue, load_kits("generic"), words)
    for batch in rows["batch"].unique():
        mine = rows[rows["batch"] == batch].to_dict("records")
        fitted = [row["kit_id"] for row in mine if isinstance(row["kit_id"], str)]
        out = [row for row in mine if row["remedy"] != "measure"]
        expected = Counter(fitted)
        for part in catalogue.parts:
            expected[part.part] += part.quantity * len(fitted)
        for used in words.consumables:
            expected[used.item] += ceil(used.a_job * len(out) - 1e-9)
        if out:
            expected["breakaway repair kit"] += words.repair_kits_a_crew
        for row in mine:
            if row["remedy"] == "replace":
                expected[f"{row['family']}, bury {row['bury_after_ft']:g} ft"] += 1
        loaded = told[told["batch"] == batch]
        assert dict(zip(loaded["item"], loaded["quantity"], strict=True)) == {
            name: many for name, many in expected.items() if many
        }


def test_notices_of_jobs_without_a_day_leave_day_and_hours_to_be_written():
    jobs = pd.DataFrame(
        {"hydrant_id": ["H2", "H1"], "area_id": ["A", None], "address": ["2 Elm St", None]}
    )
    told = undated_notices(jobs)
    assert told["told_to"].tolist() == ["fire department"] * 2 + ["customers"] * 2
    assert told["hydrant_id"].tolist() == ["H2", "H1"] * 2
    assert told["tell_by"].isna().all()
    assert told["out_line"].iloc[0] == (
        "Hydrant H2, 2 Elm St: out of service on __________ from ____ to about ____ ."
    )
