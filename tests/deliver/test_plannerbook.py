"""The planner's workbook: sums that follow the planner, text that stays text, the same bytes."""

from __future__ import annotations

import dataclasses
import datetime as dt
import zipfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from openpyxl.formula.translate import Translator

from hydrantgis.deliver.booksheets import as_cell
from hydrantgis.deliver.plannerbook import Plannerbook, weeks_of, write_plannerbook
from hydrantgis.ground.seasons import CALENDAR, CREW_DAYS, NOTICES, ORDERS, SELECTION

from .invented_plan import plan, selection, words
from .office import Jobs, needs_office, saved_by_office

HOSTILE = ("=cmd|' /C calc'!A0", "+1+1", "-2", "@SUM(A1)", '=HYPERLINK("http://x.example")')
SUMS = {"Priority": "priority", "Cost": "cost", "Crew hours": "hours", "of which driving": "drive"}
EDITS = {"0001": "exclude", "0002": "include", "0004": "include", "0019": "exclude"}


def worked(book: Plannerbook, edits: dict[str, str]) -> dict[str | None, dict[str, float]]:
    """Sums of each area, and of all under None, one job after the other."""
    season, scale = book.words, 1.0
    jobs = book.selection.to_dict("records")
    about = sum(job["drive_hours_about"] for job in jobs if job["selected"])
    if about and len(book.crew_days):
        scale = sum(book.crew_days["drive_hours"]) / about
    none = {"jobs": 0.0, "areas": 0.0, "priority": 0.0, "cost": 0.0, "hours": 0.0, "drive": 0.0}
    told: dict[str | None, dict[str, float]] = {None: dict(none)}
    for job in jobs:
        area = job["area_id"] if isinstance(job["area_id"], str) else "(none)"
        told.setdefault(area, dict(none))
        inside = {"include": True, "exclude": False}.get(
            edits.get(job["hydrant_id"], ""), job["selected"]
        )
        if not inside:
            continue
        drive = job["drive_hours_about"] * scale
        money = 0.0 if pd.isna(job["job_cost"]) else job["job_cost"] + drive * season.hour_cost
        for sums in (told[area], told[None]):
            sums["jobs"] += 1
            sums["priority"] += job["priority"]
            sums["cost"] += money
            sums["hours"] += job["job_hours"] + drive
            sums["drive"] += drive
    for area in [name for name in told if name is not None]:
        if told[area]["jobs"]:
            for sums in (told[area], told[None]):
                sums["areas"] += 1
                sums["cost"] += season.area_cost + season.area_hours * season.hour_cost
                sums["hours"] += season.area_hours
    return told


def check_sums(jobs: Jobs, book: Plannerbook, edits: dict[str, str]) -> None:
    told = worked(book, edits)
    for heading, name in SUMS.items():
        assert jobs.band("After edits", heading).value == pytest.approx(told[None][name])
        for area in [area for area in told if area is not None]:
            assert jobs.subtotal(area, heading).value == pytest.approx(told[area][name])
    left = book.words.available - told[None]["cost"]
    assert jobs.band("Left", "Cost").value == pytest.approx(left, abs=1e-3)
    said = f"{told[None]['jobs']:.0f} jobs in {told[None]['areas']:.0f} areas"
    assert jobs.band("After edits", "Address").value == said


@pytest.fixture
def written(tmp_path: Path) -> tuple[Plannerbook, Path]:
    book, path = plan(), tmp_path / "season.xlsx"
    write_plannerbook(path, book)
    return book, path


def test_readers_that_compute_nothing_see_the_sums(written) -> None:
    book, path = written
    check_sums(Jobs(path, values=True), book, {})


def test_no_edit_comes_to_the_sums_of_the_plan(written) -> None:
    book, path = written
    jobs = Jobs(path, values=True)
    inside = book.selection[book.selection["selected"].astype(bool)]
    # 7.5 hours are what the crews of the invented plan drive; each of 4 areas is set up once
    hours = inside["job_hours"].sum() + 7.5 + 4 * 1.5
    cost = inside["job_cost"].sum() + 7.5 * 85 + 4 * (300 + 1.5 * 85)
    for row in ("As planned", "After edits"):
        assert jobs.band(row, "Crew hours").value == pytest.approx(hours)
        assert jobs.band(row, "Cost").value == pytest.approx(cost)
    assert jobs.band("Available", "Cost").value == 27_000
    assert jobs.band("Available", "Crew hours").value == 260


def test_sums_are_formulas_and_go_by_no_text_of_the_data(written) -> None:
    _, path = written
    jobs = Jobs(path)
    for heading in SUMS:
        assert jobs.band("After edits", heading).value.startswith("=SUM(")
        # an area `*` or `12` beside `0012` would be taken for another
        assert jobs.subtotal("*", heading).value.startswith("=SUMIFS(")
        assert '"' not in jobs.subtotal("*", heading).value
    assert jobs.cell("0001", "In plan after edits").value.startswith("=IF(")


@pytest.mark.slow
@needs_office
@pytest.mark.parametrize("edits", [{}, EDITS], ids=["untouched", "edited"])
def test_a_spreadsheet_program_computes_the_sums(written, tmp_path: Path, edits) -> None:
    book, path = written
    jobs = Jobs(path)
    for hydrant, decision in edits.items():
        jobs.cell(hydrant, "Decision").value = decision
    # saved without values, so that every formula has to be computed
    jobs.book.save(path)
    check_sums(Jobs(saved_by_office(path, tmp_path), values=True), book, edits)


@pytest.mark.slow
@needs_office
def test_an_area_without_a_job_left_costs_no_mobilisation(written, tmp_path: Path) -> None:
    book, path = written
    jobs = Jobs(path)
    out = {row["hydrant_id"]: "exclude" for row in book.selection.to_dict("records")[:6]}
    for hydrant in out:
        jobs.cell(hydrant, "Decision").value = "EXCLUDE"  # a spreadsheet takes both for one
    jobs.book.save(path)
    saved = Jobs(saved_by_office(path, tmp_path), values=True)
    assert saved.subtotal("0012", "Cost").value == 0
    check_sums(saved, book, out)


@pytest.mark.slow
@needs_office
def test_sums_hold_when_rows_are_sorted(written, tmp_path: Path) -> None:
    book, path = written
    jobs = Jobs(path)
    jobs.cell("0002", "Decision").value = "include"
    rows = list(jobs.sheet.iter_rows(jobs.heads + 1, jobs.sheet.max_row))
    held = [[cell.value for cell in row] for row in rows]
    for row, values in zip(rows, reversed(held), strict=True):
        old = rows[len(rows) - 1 - rows.index(row)]
        for cell, was, value in zip(row, old, values, strict=True):
            # a formula that moves refers to its new row, as in a spreadsheet's own sort
            moved = str(value).startswith("=")
            cell.value = (
                Translator(value, was.coordinate).translate_formula(cell.coordinate)
                if moved
                else value
            )
    jobs.book.save(path)
    check_sums(Jobs(saved_by_office(path, tmp_path), values=True), book, {"0002": "include"})


@pytest.mark.slow
@needs_office
def test_a_plan_over_its_limits_says_so(tmp_path: Path) -> None:
    book = plan(words=words(budget=5_000.0, most_crew_hours=20.0))
    path = tmp_path / "season.xlsx"
    write_plannerbook(path, book)
    assert Jobs(path, values=True).band("Left", "Address").value == "over the budget"
    saved = Jobs(saved_by_office(path, tmp_path), values=True)
    assert saved.band("Left", "Address").value == "over the budget"
    assert saved.band("Left", "Cost").value < 0
    formats = [str(ranges.sqref) for ranges in saved.sheet.conditional_formatting]
    assert any(saved.band("Left", "Cost").coordinate in text for text in formats)


def test_a_decision_that_was_sent_is_in_the_plan_already(tmp_path: Path) -> None:
    frame = selection()
    frame.loc[1, "decision"] = "include"  # asked for, and not in the plan: refused
    path = tmp_path / "season.xlsx"
    write_plannerbook(path, plan(frame))
    jobs = Jobs(path, values=True)
    assert jobs.cell("0002", "Decision").value == "include"
    assert jobs.cell("0002", "In plan after edits").value == "no"
    check_sums(jobs, plan(frame), {})


def test_a_job_without_a_price_is_told(tmp_path: Path) -> None:
    frame = selection()
    frame.loc[0, "job_cost"] = None
    path = tmp_path / "season.xlsx"
    write_plannerbook(path, plan(frame))
    jobs = Jobs(path, values=True)
    assert jobs.cell("0001", "Cost").value is None
    assert jobs.band("After edits", "Reasons").value == "1 without a price count as 0"
    check_sums(jobs, plan(frame), {})


def test_ids_and_text_like_formulas_stay_text(tmp_path: Path) -> None:
    frame = selection(areas=("0012", "=1+1"), jobs=5)
    frame["address"], frame["note"] = list(HOSTILE) * 2, list(HOSTILE) * 2
    path = tmp_path / "season.xlsx"
    write_plannerbook(path, plan(frame))
    jobs = Jobs(path)
    assert jobs.cell("0001", "Area").value == "0012"
    assert jobs.cell("0001", "Hydrant").data_type == "s"
    for hydrant, row in zip(frame["hydrant_id"], HOSTILE * 2, strict=True):
        for heading in ("Address", "Note"):
            cell = jobs.cell(hydrant, heading)
            assert (cell.value, cell.data_type, cell.hyperlink) == (row, "s", None)
    orders = [cell for cell in jobs.book["Orders"]["C"] if cell.value in ("0808", "=K")]
    assert [cell.data_type for cell in orders] == ["s", "s"]


def test_days_are_dates(written) -> None:
    _, path = written
    jobs = Jobs(path)
    day = jobs.cell("0001", "Day")
    assert (day.value, day.is_date) == (dt.datetime(2027, 4, 5), True)
    for name, title in (("Calendar", "Day"), ("Crew days", "Day"), ("Notices", "Tell by")):
        sheet = jobs.book[name]
        at = next(cell for cell in sheet[3] if cell.value == title)
        assert sheet.cell(4, at.column).is_date


def test_only_what_the_planner_decides_can_be_edited(written) -> None:
    _, path = written
    jobs = Jobs(path)
    open_ = {head for head in jobs.columns if not jobs.cell("0001", head).protection.locked}
    assert open_ == {"Decision", "Wanted crew", "Wanted week", "Note"}
    assert jobs.subtotal("0012", "Decision").protection.locked
    for sheet in jobs.book.worksheets:
        assert sheet.protection.sheet
        assert sheet.protection.password in (None, "")
    # what is protected is said the other way round in a file
    assert not jobs.sheet.protection.autoFilter
    assert not jobs.sheet.protection.sort
    assert not jobs.sheet.protection.formatColumns


def test_choices_come_from_lists(written) -> None:
    _, path = written
    jobs = Jobs(path)
    rules = {}
    for rule in jobs.sheet.data_validations.dataValidation:
        (cells,) = rule.sqref.ranges
        assert cells.min_row <= min(jobs.rows.values())
        assert cells.max_row >= max(jobs.rows.values())
        rules[cells.min_col] = rule
    assert rules[jobs.columns["Decision"]].formula1 == '"include,exclude"'
    hidden = jobs.book["As sent"]
    for heading, expected in (
        ("Wanted crew", ["1", "02"]),
        ("Wanted week", weeks_of(dt.date(2027, 4, 1), dt.date(2027, 10, 15))),
    ):
        cells = hidden[rules[jobs.columns[heading]].formula1.split("!")[1].replace("$", "")]
        assert [cell.value for (cell,) in cells] == expected


def test_headings_and_sums_stay_in_view_and_print_on_each_page(written) -> None:
    _, path = written
    jobs = Jobs(path)
    assert jobs.sheet.freeze_panes == f"C{jobs.heads + 1}"
    assert jobs.sheet.print_title_rows == f"${jobs.heads}:${jobs.heads}"
    for name in ("Jobs", "Calendar", "Crew days", "Orders", "Notices"):
        sheet = jobs.book[name]
        assert sheet.auto_filter.ref
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        # one page wide where nothing else is said; 0 for as many as it takes
        assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) in ((1, 0), (None, 0))
        assert sheet.freeze_panes
        assert "Season 2027" in sheet.oddFooter.left.text
        assert "&P" in sheet.oddFooter.right.text
    # a sort moves what is filtered; sums hold only where their hidden columns move along
    last = max(jobs.columns.values())
    assert jobs.sheet.auto_filter.ref.split(":")[1].startswith(
        openpyxl.utils.get_column_letter(last)
    )


def test_titles_of_columns_are_those_of_the_declarations(written) -> None:
    _, path = written
    book = openpyxl.load_workbook(path)
    for name, table in (
        ("Calendar", CALENDAR), ("Crew days", CREW_DAYS), ("Orders", ORDERS), ("Notices", NOTICES),
    ):  # fmt: skip
        heads = [cell.value for cell in book[name][3]]
        assert heads == [column.heading for column in table.columns]


def test_orders_are_summed_by_a_formula(written) -> None:
    _, path = written
    totals = [
        next(c.value for row in openpyxl.load_workbook(path, data_only=values)["Orders"].rows
             if row[0].value == "Total" for c in row[1:] if c.value is not None)
        for values in (False, True)
    ]  # fmt: skip
    assert totals[0].startswith("=SUBTOTAL(109,")
    assert totals[1] == 1_000


def test_the_last_sheet_tells_how_to_send_it_back(written) -> None:
    _, path = written
    book = openpyxl.load_workbook(path)
    text = "\n".join(str(cell.value) for row in book["Read me"].rows for cell in row if cell.value)
    for part in ("--adopt FILE", "budget of the district", "2027-01-10", "maker's instructions"):
        assert part in text
    assert [sheet.title for sheet in book if sheet.sheet_state == "visible"][-1] == "Read me"
    assert book["As sent"].sheet_state == "veryHidden"


def test_the_same_plan_gives_the_same_bytes(tmp_path: Path) -> None:
    paths = [tmp_path / name for name in ("a.xlsx", "b.xlsx")]
    for path in paths:
        write_plannerbook(path, plan())
    assert paths[0].read_bytes() == paths[1].read_bytes()
    core = zipfile.ZipFile(paths[0]).read("docProps/core.xml").decode()
    assert "2027-01-15T12:30:00Z" in core


def test_the_stamp_is_in_utc(tmp_path: Path) -> None:
    east = dt.timezone(dt.timedelta(hours=2))
    book = dataclasses.replace(plan(), moment=dt.datetime(2027, 1, 15, 14, 30, tzinfo=east))
    write_plannerbook(tmp_path / "a.xlsx", book)
    write_plannerbook(tmp_path / "b.xlsx", plan())
    created = [
        openpyxl.load_workbook(tmp_path / n).properties.created for n in ("a.xlsx", "b.xlsx")
    ]
    assert created[0] == created[1]


def test_a_season_without_jobs_is_a_workbook(tmp_path: Path) -> None:
    tables = {
        "calendar": CALENDAR.empty(), "crew_days": CREW_DAYS.empty(), "orders": ORDERS.empty(),
        "notices": NOTICES.empty(),
    }  # fmt: skip
    path = tmp_path / "season.xlsx"
    write_plannerbook(path, plan(SELECTION.empty(), **tables))
    jobs = Jobs(path, values=True)
    assert jobs.band("After edits", "Cost").value == 0
    assert jobs.band("After edits", "Address").value == "0 jobs in 0 areas"
    assert jobs.book["Orders"]["A4"].value == "none"


def test_text_that_no_cell_can_hold_is_made_to_fit() -> None:
    assert as_cell("a\x00b\x1f\ufffe\ud800") == "a\ufffdb\ufffd\ufffd\ufffd"
    assert as_cell("a\r\nb\rc") == "a\nb\nc"
    assert len(as_cell("x" * 40_000).encode("utf-16-le")) // 2 <= 32_767
    assert len(as_cell("\U0001f6b0" * 40_000).encode("utf-16-le")) // 2 <= 32_767


def test_a_title_cannot_break_the_footer(tmp_path: Path) -> None:
    path = tmp_path / "season.xlsx"
    write_plannerbook(path, plan(words=words(title="Mains & hydrants &P " + "x" * 300)))
    foot = zipfile.ZipFile(path).read("xl/worksheets/sheet1.xml").decode()
    assert "Mains &amp;&amp; hydrants &amp;&amp;P" in foot
