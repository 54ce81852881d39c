"""Maps of the areas, from a check and its season."""

from __future__ import annotations

import re
import subprocess

import pytest

from hydrantgis import job

ROW = re.compile(
    r"^\s*(\d+) +(T-\d+) +([\d.\u2013]+) ?→ ?([\d.\u2013]+) +(\S+)$", re.MULTILINE
)  # fmt: skip
DASH = "\u2013"


def listed(path) -> list[list[tuple[str, ...]]]:
    """The rows of the list on each page of the file that has one."""
    words = ["pdftotext", "-layout", "-x", "528", "-y", "60", "-W", "264", "-H", "440", path, "-"]
    text = subprocess.run(words, capture_output=True, check=True, text=True).stdout
    return [rows for page in text.split("\f") if (rows := ROW.findall(page))]


def figures(result, hydrant_id) -> tuple[str, str]:
    row = result.table[result.table["hydrant_id"] == hydrant_id].iloc[0]
    both = row["outlet_height_in"], row["outlet_height_after_in"]
    return tuple(DASH if h != h else f"{round(h, 2):g}" for h in both)


@pytest.fixture(scope="module")
def season(result):
    return job.plan(result)


def test_without_a_calendar_numbers_follow_the_season_list(result, season, tmp_path):
    paths = job.write_area_maps(result, season, tmp_path, title="Tesselbrook")
    expected: dict[str, list[tuple[str, ...]]] = {a: [] for a in sorted(result.areas["area_id"])}
    for hydrant_id, area_id in zip(
        season.jobs["hydrant_id"], season.jobs["area_id"], strict=True
    ):  # fmt: skip
        rows = expected[area_id]
        rows.append((str(len(rows) + 1), hydrant_id, *figures(result, hydrant_id), DASH))
    assert listed(paths[0]) == [rows for rows in expected.values() if rows]
    assert [p.name for p in paths] == [
        "areas.pdf", *(f"area_{a}.png" for a in expected), "area_none.png",
    ]  # fmt: skip


def test_with_a_calendar_numbers_follow_its_days_and_stops(result, season, planned, tmp_path):
    paths = job.write_area_maps(result, season, tmp_path, planned=planned, title="Tesselbrook")
    calendar = planned.calendar
    expected: dict[str, list[tuple[str, ...]]] = {a: [] for a in sorted(result.areas["area_id"])}
    stops = sorted(
        zip(calendar["work_date"], calendar["crew_id"], calendar["stop"], calendar["area_id"],
            calendar["hydrant_id"], strict=True)
    )  # fmt: skip
    for day, _, _, area_id, hydrant_id in stops:
        rows = expected[area_id]
        rows.append((str(len(rows) + 1), hydrant_id, *figures(result, hydrant_id), f"{day:%F}"))
    assert listed(paths[0]) == [rows for rows in expected.values() if rows]
    jobs = job.area_jobs(result, season, planned)
    waiting = set(season.jobs["hydrant_id"]) - set(calendar["hydrant_id"])
    assert set(jobs.loc[jobs["number"].isna(), "hydrant_id"]) == waiting
    assert waiting


def test_figures_come_for_a_notebook(result, season):
    pages = job.draw_area_maps(result, season, title="Tesselbrook")
    assert len(pages) == len(result.areas) + 1
