"""PDF pages from a template and data."""

from __future__ import annotations

import datetime as dt
import shutil
import subprocess

import pytest

from hydrantgis.deliver import typeset as pages
from hydrantgis.ground.errors import HydrantGISError

MOMENT = dt.datetime(2026, 9, 30, 12)
HOSTILE = ("$x$", "#panic()", "`raw` *bold* _it_", "<label> @ref", r"C:\new\table", '"', "//")


@pytest.fixture
def template(monkeypatch):
    def use(text: str) -> None:
        head = pages._template("paper")
        monkeypatch.setattr(pages, "_template", lambda _: f"{head}\n{text}")

    return use


def test_text_from_data_is_never_markup(template, tmp_path):
    if shutil.which("pdftotext") is None:
        pytest.skip("needs `pdftotext`")
    template("#for text in data.texts [#text \\ ]")
    (tmp_path / "a.pdf").write_bytes(pages.typeset("a", data={"texts": HOSTILE}, moment=MOMENT))
    done = subprocess.run(
        ["pdftotext", "-layout", "a.pdf", "-"], cwd=tmp_path, capture_output=True, check=True
    )
    assert [line.strip() for line in done.stdout.decode().splitlines() if line.strip()] == [
        *HOSTILE
    ]


def test_the_same_data_give_the_same_bytes(template):
    template("#data.a")
    once, again = (pages.typeset("a", data={"a": "one"}, moment=MOMENT) for _ in range(2))
    assert once == again
    assert once.startswith(b"%PDF-")
    assert once != pages.typeset("a", data={"a": "two"}, moment=MOMENT)


def test_a_font_that_is_not_there_is_a_fault(template):
    template('#set text(font: "No Such Font")\n#data.a')
    with pytest.raises(HydrantGISError, match="could not be set"):
        pages.typeset("a", data={"a": "one"}, moment=MOMENT)


def test_a_fault_of_a_template_is_told_with_its_place(template):
    template("#data.b")
    with pytest.raises(HydrantGISError, match="could not be set"):
        pages.typeset("a", data={"a": "one"}, moment=MOMENT)
