"""Workbooks and delimited text as programs write them."""

from __future__ import annotations

import re
import zipfile
from typing import TYPE_CHECKING

import openpyxl
import pytest

from hydrantgis.ground.errors import UnreadableError
from hydrantgis.intake.sheets import read_sheets
from hydrantgis.intake.texts import read_text_table

if TYPE_CHECKING:
    from pathlib import Path


def workbook(tmp_path: Path, told: str) -> Path:
    """A workbook of one row, the cell with the formula as XML."""
    plain, path = tmp_path / "plain.xlsx", tmp_path / "h.xlsx"
    book = openpyxl.Workbook()
    for row in (["HYD_NO", "NOTE"], ["H1", '=IF(1=1,"","a")']):
        book.active.append(row)
    book.save(plain)
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                text = re.sub(r'<c r="B2".*?</c>', told, text.decode()).encode()
            new.writestr(name, text)
    return path


def test_a_formula_that_came_to_an_empty_text_is_a_blank_cell(tmp_path) -> None:
    cell = '<c r="B2" t="str"><f>IF(1=1,"","a")</f><v></v></c>'
    frame = read_sheets(workbook(tmp_path, cell))[0]["Sheet"]
    assert frame["HYD_NO"].tolist() == ["H1"]
    assert frame["NOTE"].isna().all()


def test_a_formula_that_was_never_computed_is_refused(tmp_path) -> None:
    path = workbook(tmp_path, '<c r="B2"><f>1+1</f><v></v></c>')
    with pytest.raises(UnreadableError, match="never computed"):
        read_sheets(path)


def test_lines_that_end_in_a_lone_return_are_lines(tmp_path) -> None:
    path = tmp_path / "h.csv"
    path.write_bytes(b"HYD_NO,NOTE\rH1,a\rH2,b\r")
    frame, _ = read_text_table(path)
    assert frame.to_numpy().tolist() == [["H1", "a"], ["H2", "b"]]
