"""A look into a source tells what an intake would, before anything is brought in."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import shapely

from hydrantgis.intake.look import look
from hydrantgis.intake.words import IntakeWords

from .corpus.makers import EAST, FT, NORTH, hydrants, layer, located, table, then


def codes(report: dict[str, object]) -> list[str]:
    return [entry["code"] for entry in report["layers"][0]["findings"]]


@pytest.mark.parametrize(
    ("rows", "limit"), [(1000, True), (2000, True), (999, False), (1001, False)]
)
def test_a_whole_page_of_rows_may_be_an_export_cut_off(
    tmp_path: Path, rows: int, limit: bool
) -> None:
    report = look(str(table(located(rows))(tmp_path)), words=IntakeWords(crs=FT))
    assert report["layers"][0]["rows"] == rows
    assert ("page-limit" in codes(report)) is limit


def test_points_all_at_one_place_and_at_0_0_are_told(tmp_path: Path) -> None:
    one = layer(geometry=[shapely.Point(EAST, NORTH)] * 3, HYD_NO=["1", "2", "3"])(tmp_path)
    assert "zero-extent" in codes(look(str(one)))
    nowhere = layer(
        "n.gpkg", geometry=[shapely.Point(0, 0), shapely.Point(EAST, NORTH)], HYD_NO=["1", "2"]
    )
    assert "zero-location" in codes(look(str(nowhere(tmp_path))))


def test_the_foot_of_a_crs_is_told_to_ten_digits(tmp_path: Path) -> None:
    """A US survey foot is 1200/3937 m = 0.304800609601 m, an international one 0.3048 m."""
    entry = look(str(layer(HYD_NO=["1"])(tmp_path)))["layers"][0]
    assert "1 US survey foot = 0.3048006096 m" in entry["crs_told"]
    foot = layer(
        "f.gpkg", crs="EPSG:2222", geometry=[shapely.Point(700_000, 900_000)], HYD_NO=["1"]
    )
    assert "1 foot = 0.3048000000 m" in look(str(foot(tmp_path)))["layers"][0]["crs_told"]


def test_z_is_told_with_its_range_and_its_zeros(tmp_path: Path) -> None:
    points = [shapely.Point(EAST + 100 * n, NORTH, z) for n, z in enumerate((12.5, 0, -3))]
    entry = look(str(layer(geometry=points, HYD_NO=["1", "2", "3"])(tmp_path)))["layers"][0]
    assert entry["z"] == {"present": 3, "least": -3.0, "greatest": 12.5, "exactly_zero": 1}


def test_a_missing_crs_is_told_with_candidates(tmp_path: Path) -> None:
    entry = look(str(hydrants(NOTE=["a", "b"])(tmp_path)))["layers"][0]
    assert entry["crs"] is None
    assert any(told.startswith("EPSG:2249") for told in entry["crs_candidates"])


def test_marks_ids_and_units_that_look_wrong_are_told(tmp_path: Path) -> None:
    count = 60
    columns = {
        **located(count), "HYD_NO": ["TBD", "7", "7", ""] + [str(n) for n in range(100, 156)],
        "BURY": ["-9999"] * 5 + ["4.5"] * 55, "INSTALLED": ["1899-12-30"] * 5 + ["2004-05-06"] * 55,
    }  # fmt: skip
    report = look(str(table(columns)(tmp_path)), words=IntakeWords(crs=FT))
    told = {(entry["code"], entry["field"]) for entry in report["layers"][0]["findings"]}
    assert told >= {
        ("id-placeholder", "HYD_NO"), ("id-repeated", "HYD_NO"), ("id-missing", "HYD_NO"),
        ("sentinel-value", "BURY"), ("sentinel-value", "INSTALLED"), ("unit-missing", "BURY"),
    }  # fmt: skip


def test_a_layer_without_rows_is_told(tmp_path: Path) -> None:
    def empty(path: Path) -> None:
        with closing(sqlite3.connect(path)) as base, base:
            base.execute("DELETE FROM h")

    path = then(layer(HYD_NO=["1"], options={"SPATIAL_INDEX": "NO"}), empty)(tmp_path)
    assert codes(look(str(path))) == ["no-rows"]


def test_a_report_is_fit_for_json_whatever_stands_in_the_fields(tmp_path: Path) -> None:
    hostile = ["<script>", "\x1b[2J", "'; DROP TABLE h; --", "\u202ex", '{"a": [1]}']
    path = layer(HYD_NO=hostile, PHOTO=[b"\xff\xd8"] * 5, FLAG=[True] * 5)(tmp_path)
    report = json.loads(json.dumps(look(str(path))))
    fields = {field["name"]: field for field in report["layers"][0]["fields"]}
    assert fields["HYD_NO"]["distinct"] == 5
    assert set(fields["HYD_NO"]["examples"]) <= set(hostile)
