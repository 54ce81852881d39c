"""The workbook of a report: formulas with their values, text that stays text, real dates."""

from __future__ import annotations

import datetime as dt

import openpyxl
import pytest

from hydrantgis import job
from hydrantgis.job.reportbook import sheets_of, write_book
from tests.deliver.office import needs_office, saved_by_office


@pytest.fixture(scope="module")
def told(result, planned, folder):
    return job.report(
        result, season=job.plan(result), planned=planned, title="Tesselbrook",
        register=folder / "demo" / "register.gpkg",
    )  # fmt: skip


@pytest.fixture(scope="module")
def path(told, tmp_path_factory):
    place = tmp_path_factory.mktemp("book") / "report.xlsx"
    write_book(place, told)
    return place


def column(sheet, heading: str) -> dict[int, object]:
    """Cells below a heading, by row."""
    place = next(cell.column for cell in sheet[3] if cell.value == heading)
    return {row: sheet.cell(row, place).value for row in range(4, sheet.max_row + 1)}


def check(path, told) -> None:
    """Every sum and share, from the tables that it stands below."""
    book = openpyxl.load_workbook(path, data_only=True)
    figures = book["Figures"]
    for name, over, under, value in figures.iter_rows(4, max_col=4, values_only=True):
        if under:
            assert value == pytest.approx(over / under), name
    for told_sheet in sheets_of(told):
        sheet, frame = book[told_sheet.name], told_sheet.frame
        for name in told_sheet.total if len(frame) else ():
            cells = column(sheet, told_sheet.table[name].heading)
            assert cells[4 + len(frame)] == pytest.approx(sum(frame[name].dropna())), name
        if told_sheet.shared:
            share = column(sheet, "Share inside")[4 + len(frame)]
            assert share == pytest.approx(sum(frame["inside"]) / sum(frame["measured"]))


def test_readers_that_compute_nothing_see_every_sum_and_share(path, told):
    check(path, told)


@needs_office
@pytest.mark.slow
def test_libreoffice_comes_to_the_same(path, told, tmp_path):
    bare = tmp_path / "bare.xlsx"
    openpyxl.load_workbook(path).save(bare)  # formulas without the values written with them
    kept = openpyxl.load_workbook(bare, data_only=True)
    assert kept["Figures"]["D4"].value is None
    saved = saved_by_office(bare, tmp_path)
    check(saved, told)
    book = openpyxl.load_workbook(saved, data_only=True)
    cells = [c for sheet in book for row in sheet.iter_rows() for c in row]
    assert not [c.value for c in cells if c.data_type == "e"]


def test_every_table_of_the_report_and_of_the_season_is_there(path, told, planned):
    book = openpyxl.load_workbook(path)
    names = ["Figures", *(sheet.name for sheet in sheets_of(told)), "About"]
    assert book.sheetnames == names
    for frame in (planned.selection, planned.calendar, planned.orders, planned.notices):
        assert any(sheet.frame is frame for sheet in sheets_of(told))
    for sheet in book.worksheets[:-1]:
        assert sheet.freeze_panes == "A4"


def test_ids_are_text_and_days_are_days(path):
    sheet = openpyxl.load_workbook(path)["Season jobs"]
    ids = [value for value in column(sheet, "Hydrant").values() if value]
    assert all(isinstance(value, str) for value in ids)
    days = [value for value in column(sheet, "Day").values() if value]
    assert days
    assert all(isinstance(value, dt.datetime) for value in days)


def test_the_same_report_has_the_same_bytes(path, told, tmp_path):
    write_book(tmp_path / "again.xlsx", told)
    assert (tmp_path / "again.xlsx").read_bytes() == path.read_bytes()
