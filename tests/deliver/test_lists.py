"""CSV lists: text ids stay text, and nothing in them runs."""

from __future__ import annotations

import csv

import pandas as pd

from hydrantgis.deliver.lists import write_csv
from hydrantgis.ground.results import KIT_TOTALS


def test_ids_keep_their_zeros_and_formulas_become_text(tmp_path) -> None:
    frame = KIT_TOTALS.conform(
        pd.DataFrame(
            {
                "area_id": ["0012", '=HYPERLINK("x")', "+1", "@a", "-b", None],
                "family": ["O'Brien", "a,b", 'quo"te', "line\nbreak", "é", "x"],
                "kit_id": ["K"] * 6,
                "kit_length_in": [6.0, 12.5, None, 1.0, 2.0, 3.0],
                "kits": [1, 2, 3, 4, 5, 6],
            }
        )
    )
    path = tmp_path / "kits.csv"
    write_csv(path, KIT_TOTALS, frame)
    assert path.read_bytes().startswith(b"\xef\xbb\xbf")
    with path.open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["area_id"] for row in rows] == [
        "0012", "'=HYPERLINK(\"x\")", "'+1", "'@a", "'-b", "",
    ]  # fmt: skip
    assert rows[3]["family"] == "line\nbreak"
    assert rows[1]["kit_length_in"] == "12.5"
    text = path.read_text(encoding="utf-8-sig")
    assert '"0012"' in text  # quoted, so that a reader tells it from a number
