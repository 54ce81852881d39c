"""The planner's workbook that comes back: every edit is told, none is guessed and none is lost."""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.deliver.plannerbook import write_plannerbook
from hydrantgis.ground.errors import SourceError, UnreadableError
from hydrantgis.intake.plannerbook import ENTRY_COLUMNS, read_plannerbook

from ..deliver.invented_plan import plan, selection, words
from ..deliver.office import Jobs, needs_office, saved_by_office

HEADINGS = {
    "decision": "Decision", "crew": "Wanted crew", "week": "Wanted week", "note": "Note",
}  # fmt: skip


@pytest.fixture
def jobs(tmp_path: Path) -> Jobs:
    """A workbook as it was sent, to be filled in."""
    path = tmp_path / "season.xlsx"
    frame = selection()
    frame.loc[2, "decision"], frame.loc[2, "note"] = "include", "key at the depot"
    write_plannerbook(path, plan(frame))
    return Jobs(path)


def back(jobs: Jobs, tmp_path: Path):
    jobs.book.save(tmp_path / "back.xlsx")
    return read_plannerbook(tmp_path / "back.xlsx")


def told(entries: pd.DataFrame) -> list[tuple[str, str, str | None, str | None]]:
    """Hydrant, entry, value, problem."""
    columns = ["hydrant_id", "entry", "value", "problem"]
    plain = entries[columns].astype("object")
    return [tuple(row) for row in plain.where(plain.notna(), None).to_numpy().tolist()]


def only(jobs: Jobs, tmp_path: Path) -> tuple[str | None, str | None]:
    """Value and problem of the one entry."""
    ((_, _, value, problem),) = told(back(jobs, tmp_path).entries)
    return value, problem


def test_a_workbook_as_it_was_sent_has_no_entry(jobs: Jobs, tmp_path: Path) -> None:
    returned = back(jobs, tmp_path)
    assert (returned.fingerprint, returned.season_id) == ("9f2c71aa", "2027")
    assert list(returned.entries.columns) == list(ENTRY_COLUMNS)
    assert len(returned.entries) == 0


def test_edits_are_told_with_what_was_there(jobs: Jobs, tmp_path: Path) -> None:
    jobs.cell("0002", "Decision").value = "include"
    jobs.cell("0003", "Decision").value = None
    jobs.cell("0003", "Note").value = "key at the gate"
    jobs.cell("0005", "Wanted crew").value = "02"
    jobs.cell("0005", "Wanted week").value = "2027-W20"
    entries = back(jobs, tmp_path).entries.set_index(["hydrant_id", "entry"])
    assert entries["problem"].isna().all()
    assert len(entries) == 5
    assert entries.loc[("0002", "decision"), "value"] == "include"
    assert entries.loc[("0002", "decision"), "row"] == jobs.rows["0002"]
    assert pd.isna(entries.loc[("0002", "decision"), "was"])
    assert pd.isna(entries.loc[("0003", "decision"), "value"])
    assert entries.loc[("0003", "decision"), "was"] == "include"
    assert entries.loc[("0003", "note"), "was"] == "key at the depot"
    assert entries.loc[("0005", "crew"), "value"] == "02"
    assert entries.loc[("0005", "week"), "value"] == "2027-W20"


@pytest.mark.parametrize("typed", ["Include", " INCLUDE ", "include\n"])
def test_case_and_blanks_of_a_decision_are_forgiven(jobs: Jobs, tmp_path, typed) -> None:
    jobs.cell("0001", "Decision").value = typed
    assert only(jobs, tmp_path) == ("include", None)


def test_another_word_is_kept_with_what_is_accepted(jobs: Jobs, tmp_path: Path) -> None:
    jobs.cell("0001", "Decision").value = "maybe"
    assert only(jobs, tmp_path) == ("maybe", "accepted are include and exclude")


@pytest.mark.parametrize(
    "typed",
    ["2027-W14", "2027W14", "2027-14", "2027/14", "2027 w14", "W14", "w 14", "wk 14", "Week 14",
     "14", 14, 14.0],
)  # fmt: skip
def test_a_week_in_another_spelling_is_the_week(jobs: Jobs, tmp_path: Path, typed) -> None:
    jobs.cell("0001", "Wanted week").value = typed
    assert only(jobs, tmp_path) == ("2027-W14", None)


@pytest.mark.parametrize(
    ("typed", "kept", "why"),
    [
        ("after Easter", "after Easter", "no week"),
        ("2027-W02", "2027-W02", "not in the season; the season goes from 2027-W13 to 2027-W41"),
        ("2027-99", "2027-99", "not in the season"),
        ("52", "52", "no week of the season"),
        # `2027-04` becomes a day in a spreadsheet: April or week 4, nobody can tell
        (dt.datetime(2027, 4, 1), "2027-04-01", "a day, no week"),
    ],
)
def test_a_week_that_cannot_be_is_kept_as_typed(jobs: Jobs, tmp_path, typed, kept, why) -> None:
    jobs.cell("0001", "Wanted week").value = typed
    value, problem = only(jobs, tmp_path)
    assert value == kept
    assert problem is not None
    assert problem.startswith(why)


def test_a_week_without_year_in_a_season_over_new_year_is_asked_about(tmp_path: Path) -> None:
    path = tmp_path / "season.xlsx"
    season = words(starts_on=dt.date(2026, 10, 1), ends_on=dt.date(2027, 10, 31))
    write_plannerbook(path, plan(words=season))
    jobs = Jobs(path)
    jobs.cell("0001", "Wanted week").value = "W41"
    value, problem = only(jobs, tmp_path)
    assert value == "W41"
    assert problem == "it may be 2026-W41 or 2027-W41; write it with its year"


@pytest.mark.parametrize(("typed", "crew"), [(1.0, "1"), (1, "1"), (2, "02"), ("2", "02")])
def test_crews_that_became_numbers_are_known(jobs: Jobs, tmp_path: Path, typed, crew) -> None:
    jobs.cell("0001", "Wanted crew").value = typed
    assert only(jobs, tmp_path) == (crew, None)


def test_a_crew_that_may_be_two_is_not_guessed(tmp_path: Path) -> None:
    path = tmp_path / "season.xlsx"
    crew = words().crews[0]
    crews = tuple(dataclasses.replace(crew, crew_id=name) for name in ("01", "001"))
    write_plannerbook(path, plan(words=words(crews=crews)))
    jobs = Jobs(path)
    jobs.cell("0001", "Wanted crew").value = 1
    assert only(jobs, tmp_path) == ("1", "no crew of the season; there are 01, 001")


def test_rows_are_known_by_hydrant_wherever_they_stand(jobs: Jobs, tmp_path: Path) -> None:
    jobs.cell("0002", "Decision").value = "include"
    jobs.cell("0024", "Note").value = "gate locked"
    top, end = jobs.heads + 1, jobs.sheet.max_row
    rows = [[cell.value for cell in row] for row in jobs.sheet.iter_rows(top, end)]
    for place, row in enumerate(reversed(rows)):  # sorted the other way
        for column, value in enumerate(row, start=1):
            jobs.sheet.cell(top + place, column).value = value
    jobs.sheet.delete_cols(jobs.columns["Kit"])
    jobs.sheet.insert_rows(top + 3, 2)
    jobs.sheet.insert_rows(1)
    assert set(told(back(jobs, tmp_path).entries)) == {
        ("0024", "note", "gate locked", None), ("0002", "decision", "include", None),
    }  # fmt: skip


def test_a_row_that_is_gone_is_told(jobs: Jobs, tmp_path: Path) -> None:
    jobs.sheet.delete_rows(jobs.rows["0004"])
    entries = back(jobs, tmp_path).entries
    gone = "the row is gone from the sheet; nothing is taken from that"
    assert told(entries) == [("0004", "row", None, gone)]
    assert entries["row"].isna().all()


def test_a_hydrant_twice_with_different_entries_is_told_of_both(jobs, tmp_path: Path) -> None:
    jobs.cell("0001", "Decision").value = "exclude"
    copy = jobs.sheet.max_row + 2
    jobs.sheet.cell(copy, 1).value = "0001"
    jobs.sheet.cell(copy, jobs.columns["Decision"]).value = "include"
    jobs.sheet.cell(copy, jobs.columns["Note"]).value = "twice"
    where = f"the hydrant stands in rows {jobs.rows['0001']}, {copy} with different entries"
    assert set(told(back(jobs, tmp_path).entries)) == {
        ("0001", "decision", "exclude", where), ("0001", "decision", "include", where),
        ("0001", "note", "twice", where),
    }  # fmt: skip


def test_a_hydrant_twice_with_one_entry_is_that_entry(jobs: Jobs, tmp_path: Path) -> None:
    jobs.cell("0001", "Decision").value = "exclude"
    copy = jobs.sheet.max_row + 2
    jobs.sheet.cell(copy, 1).value = "0001"
    jobs.sheet.cell(copy, jobs.columns["Decision"]).value = "Exclude"
    assert only(jobs, tmp_path) == ("exclude", None)


def test_a_hydrant_that_was_not_sent_is_told(jobs: Jobs, tmp_path: Path) -> None:
    end = jobs.sheet.max_row
    for k, (hydrant, decision) in enumerate((("9999", "include"), ("9998", None), (None, "x"))):
        jobs.sheet.cell(end + 1 + k, 1).value = hydrant
        jobs.sheet.cell(end + 1 + k, jobs.columns["Decision"]).value = decision
    unknown = "the hydrant was not in the workbook as it was sent"
    assert told(back(jobs, tmp_path).entries) == [
        ("9999", "decision", "include", unknown), ("9998", "row", None, unknown),
        (None, "decision", "x", "the row has no hydrant"),
    ]  # fmt: skip


def test_an_id_that_became_a_number_is_known(jobs: Jobs, tmp_path: Path) -> None:
    jobs.cell("0002", "Decision").value = "include"
    jobs.cell("0002", "Hydrant").value = 2
    assert told(back(jobs, tmp_path).entries) == [("0002", "decision", "include", None)]


def test_a_column_that_is_gone_is_told_where_something_stood(jobs: Jobs, tmp_path: Path) -> None:
    jobs.sheet.delete_cols(jobs.columns["Note"])
    problem = "the column is gone from the sheet; nothing is taken from that"
    assert told(back(jobs, tmp_path).entries) == [("0003", "note", None, problem)]


def test_a_formula_that_was_never_computed_is_told(jobs: Jobs, tmp_path: Path) -> None:
    jobs.cell("0001", "Decision").value = '=IF(1=1,"include","")'
    value, problem = only(jobs, tmp_path)
    assert value == '=IF(1=1,"include","")'
    assert problem is not None
    assert problem.startswith("a formula that was never computed")


def test_an_error_in_a_cell_is_told(jobs: Jobs, tmp_path: Path) -> None:
    jobs.cell("0001", "Note").value = "#N/A"
    assert only(jobs, tmp_path) == ("#N/A", "an error stands there")


@pytest.mark.parametrize("content", [b"", b"no workbook", b"PK\x03\x04broken"])
def test_what_is_no_workbook_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "back.xlsx"
    path.write_bytes(content)
    with pytest.raises(UnreadableError, match="no workbook that can be read"):
        read_plannerbook(path)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnreadableError, match="no such file"):
        read_plannerbook(tmp_path / "back.xlsx")


def test_a_workbook_without_its_sheets_is_refused(jobs: Jobs, tmp_path: Path) -> None:
    del jobs.book["As sent"]
    with pytest.raises(SourceError, match="lost its hidden sheet `As sent`") as caught:
        back(jobs, tmp_path)
    assert "take the workbook of the plan again" in str(caught.value)
    jobs.book["Jobs"].title = "Work"
    with pytest.raises(SourceError, match="no sheet `Jobs`"):
        back(jobs, tmp_path)


def test_a_sheet_without_headings_is_refused(jobs: Jobs, tmp_path: Path) -> None:
    jobs.sheet.delete_rows(jobs.heads)
    with pytest.raises(SourceError, match="no row of headings"):
        back(jobs, tmp_path)


def test_a_heading_that_stands_twice_is_refused(jobs: Jobs, tmp_path: Path) -> None:
    jobs.sheet.cell(jobs.heads, jobs.columns["Kit"]).value = "decision"
    with pytest.raises(SourceError, match="a heading stands twice"):
        back(jobs, tmp_path)


def test_a_hidden_sheet_of_another_format_is_refused(jobs: Jobs, tmp_path: Path) -> None:
    jobs.book["As sent"]["B1"].value = "2"
    with pytest.raises(SourceError, match="no known format"):
        back(jobs, tmp_path)


TEXTS = st.text(st.characters(exclude_categories=("Cs",)), max_size=40) | st.sampled_from(
    ["=1+1", "0012", "_x0041_", "a\r\nb", "\t", "<b>&amp;", "#N/A", "1e5", "TRUE"]
)


@given(texts=st.lists(TEXTS, min_size=6, max_size=6))
def test_any_text_goes_out_and_comes_back(tmp_path_factory, texts: list[str]) -> None:
    path = tmp_path_factory.mktemp("texts") / "season.xlsx"
    frame = selection(areas=("12",))
    frame["note"], frame["address"] = texts, texts
    frame["area_title"] = texts[0]
    write_plannerbook(path, plan(frame))
    assert len(read_plannerbook(path).entries) == 0
    cells = openpyxl.load_workbook(path)["Jobs"]
    assert all(
        cell.data_type != "f" for row in cells.iter_rows(min_row=8, max_col=3) for cell in row
    )


@pytest.mark.slow
@needs_office
def test_edits_come_back_from_another_spreadsheet_program(tmp_path: Path) -> None:
    path = tmp_path / "season.xlsx"
    frame = selection()
    frame.loc[2, "decision"], frame.loc[2, "note"] = "include", "key at  the\ndepot, =gate"
    write_plannerbook(path, plan(frame))
    untouched = saved_by_office(path, tmp_path)
    returned = read_plannerbook(untouched)
    assert (returned.fingerprint, returned.season_id) == ("9f2c71aa", "2027")
    assert len(returned.entries) == 0
    jobs = Jobs(untouched)
    edits = {
        ("0001", "decision"): "exclude", ("0002", "decision"): "include",
        ("0003", "note"): "ask first", ("0005", "crew"): "02", ("0006", "week"): "2027-W20",
    }  # fmt: skip
    for (hydrant, entry), value in edits.items():
        jobs.cell(hydrant, HEADINGS[entry]).value = value
    jobs.book.save(tmp_path / "edited.xlsx")
    entries = read_plannerbook(saved_by_office(tmp_path / "edited.xlsx", tmp_path)).entries
    assert entries["problem"].isna().all()
    assert {(h, e): v for h, e, v, _ in told(entries)} == edits


@pytest.mark.slow
@needs_office
def test_a_formula_of_the_planner_is_read_by_its_value(jobs: Jobs, tmp_path: Path) -> None:
    jobs.cell("0001", "Decision").value = '=IF(1=1,"include","")'
    jobs.cell("0002", "Decision").value = '=IF(1=1,"","include")'
    jobs.book.save(tmp_path / "formula.xlsx")
    entries = read_plannerbook(saved_by_office(tmp_path / "formula.xlsx", tmp_path)).entries
    assert told(entries) == [("0001", "decision", "include", None)]
