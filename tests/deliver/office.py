"""LibreOffice without a screen, and the sheet of the jobs by its headings, for tests."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest

SOFFICE = shutil.which("soffice") or shutil.which("libreoffice")
needs_office = pytest.mark.skipif(SOFFICE is None, reason="needs LibreOffice, `soffice`")


def saved_by_office(path: Path, room: Path) -> Path:
    """The workbook as LibreOffice opens, computes and saves it, in a profile of its own."""
    out = room / "saved"
    done = subprocess.run(
        [
            str(SOFFICE), "--headless", f"-env:UserInstallation={(room / 'profile').as_uri()}",
            "--convert-to", "xlsx", "--outdir", str(out), str(path),
        ],
        capture_output=True, timeout=180, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr.decode()
    return out / path.name


class Jobs:
    """The sheet of the jobs: cells by hydrant and heading."""

    def __init__(self, path: Path, *, values: bool = False) -> None:
        self.book = openpyxl.load_workbook(path, data_only=values)
        self.sheet = self.book["Jobs"]
        rows = range(1, self.sheet.max_row + 1)
        self.heads = next(row for row in rows if self.sheet.cell(row, 1).value == "Hydrant")
        self.columns = {cell.value: cell.column for cell in self.sheet[self.heads]}
        self.rows = {
            self.sheet.cell(row, 1).value: row
            for row in rows
            if row > self.heads and self.sheet.cell(row, 1).value is not None
        }

    def cell(self, hydrant: str, heading: str):
        return self.sheet.cell(self.rows[hydrant], self.columns[heading])

    def band(self, label: str, heading: str):
        """A cell above the list."""
        row = next(r for r in range(1, self.heads) if self.sheet.cell(r, 1).value == label)
        return self.sheet.cell(row, self.columns[heading])

    def subtotal(self, area: str, heading: str):
        """A cell of an area's sums."""
        row = next(
            r
            for r in range(self.heads + 1, self.sheet.max_row + 1)
            if self.sheet.cell(r, 1).value is None
            and self.sheet.cell(r, self.columns["Area"]).value == area
        )
        return self.sheet.cell(row, self.columns[heading])
