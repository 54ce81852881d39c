"""What a look into a source tells: each suspicious thing once, and nothing of a clean one."""

from __future__ import annotations

import json
import re

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from hydrantgis.ground.findings import CODES
from hydrantgis.ground.tables import INTAKE_TABLES
from hydrantgis.intake.look import likely_kind, look
from hydrantgis.intake.match import SURE
from hydrantgis.intake.words import IntakeWords

LOOKS = {"has-heights", "two-coordinates", "page-limit", "no-rows", "zero-extent", "crs-missing",
         "foot-told-apart", "attribute-coordinates-differ"}  # fmt: skip
"""Codes that only a look has."""


def layer(crs=2249, **columns) -> gpd.GeoDataFrame:
    n = len(next(iter(columns.values())))
    points = [shapely.Point(760_000 + 100 * i, 2_950_000 + 7 * i) for i in range(n)]
    geometry = columns.pop("geometry", points)
    return gpd.GeoDataFrame(columns, geometry=geometry, crs=crs)


def seen(tmp_path, frame, name="h.gpkg", kind=None, **said) -> dict:
    path = tmp_path / name
    if isinstance(frame, str):
        path.write_text(frame, encoding="utf-8")
    else:
        frame.to_file(path)
    report = look(str(path), words=IntakeWords(**said), kind=kind)
    json.dumps(report)  # numbers, text and lists alone
    (entry,) = report["layers"]
    assert {f["code"] for f in entry["findings"]} <= {*CODES, *LOOKS}
    return entry


def told(entry: dict, code: str) -> list[tuple[str, str]]:
    return [(f["field"], f["message"]) for f in entry["findings"] if f["code"] == code]


def test_a_clean_layer_raises_no_question(tmp_path) -> None:
    entry = seen(
        tmp_path,
        layer(HYD_NO=["01", "02"], BURY_FT=[4.5, 5.0], INSTALLED=["2004-05-06", "1999-01-31"],
              GLOBALID=["{a}", "{b}"], MEMO=["x", "y"]),
    )  # fmt: skip
    assert {f["code"] for f in entry["findings"]} == {"foot-told-apart"}
    assert (entry["likely_kind"], entry["rows"], entry["geometry_type"]) == ("hydrants", 2, "Point")
    assert (entry["crs"], entry["crs_candidates"]) == ("EPSG:2249", [])
    assert "US survey foot" in entry["crs_told"]
    assert "Massachusetts" in entry["crs_area"]
    assert entry["bounds"] == (760_000, 2_950_000, 760_100, 2_950_007)
    assert entry["z"] == {}
    assert entry["place"] == {"fields": [], "form": ""}
    fields = {f["name"]: f for f in entry["fields"]}
    assert {n: f["column"] for n, f in fields.items()} == {
        "HYD_NO": "hydrant_id", "BURY_FT": "bury_ft", "INSTALLED": "install_date",
        "GLOBALID": None, "MEMO": None,
    }  # fmt: skip
    assert fields["HYD_NO"]["confidence"] >= SURE
    assert fields["GLOBALID"]["meaning"].startswith("id made by a program")
    assert fields["MEMO"]["meaning"] == "text"
    assert (fields["BURY_FT"]["filled"], fields["BURY_FT"]["distinct"]) == (2, 2)
    assert fields["HYD_NO"]["examples"] == ["01", "02"]


def test_ids_that_are_missing_shared_or_nobodys(tmp_path) -> None:
    entry = seen(tmp_path, layer(HYD_NO=["1", "2", "2", None, "TBD", "0"]))
    assert told(entry, "id-missing") == [("HYD_NO", "1 of 6 rows have no id")]
    assert told(entry, "id-placeholder") == [("HYD_NO", "2 rows have `TBD`, `0` for an id")]
    assert told(entry, "id-repeated") == [("HYD_NO", "1 ids stand more than once, first `2`")]


def test_marks_for_not_known(tmp_path) -> None:
    entry = seen(tmp_path, layer(HYD_NO=list("123456"), BURY_FT=[-9999, 4, -9999, 5, 5, 4]))
    assert ("BURY_FT", "`-9999` stands in 2 rows") in told(entry, "sentinel-value")


def test_numbers_without_a_unit_and_lengths_that_cannot_be_read(tmp_path) -> None:
    entry = seen(
        tmp_path,
        layer(HYD_NO=list("12345"), BURY=[1.2, 1.3, 1.4, 1.5, 1.6],
              HOSE_SIZE=["2.5 in", "2.5", "odd", "2.5 in", None]),
    )  # fmt: skip
    asked = told(entry, "unit-missing")
    assert ("BURY", "1.2, 1.3, 1.4, 1.5, 1.6; they look like m; say --unit bury_ft=UNIT") in asked
    unread = told(entry, "value-unreadable")
    assert ("HOSE_SIZE", "1 cells: not a length") in unread
    assert ("HOSE_SIZE", "1 cells: no unit") in unread


def test_dates_that_may_be_read_both_ways_and_those_that_prove_their_order(tmp_path) -> None:
    entry = seen(tmp_path, layer(HYD_NO=["1", "2"], INSTALLED=["03/04/2004", "05/06/2004"]))
    assert told(entry, "value-unreadable") == [
        ("INSTALLED", "2 cells: day and month may be either; say --date-order mdy or dmy")
    ]
    entry = seen(
        tmp_path, layer(HYD_NO=["1", "2"], INSTALLED=["13/04/2004", "05/06/2004"]), "p.gpkg"
    )
    assert told(entry, "date-order-proved")[0][1].startswith("read as dmy")
    millis = layer(HYD_NO=["1", "2"], INSTALLED=[1_081_036_800_000, 0], EDITED=[1.1e12, 1.2e12])
    entry = seen(tmp_path, millis, "m.gpkg")
    assert told(entry, "dates-as-milliseconds")[0][0] == "INSTALLED"
    meanings = {f["name"]: f["meaning"] for f in entry["fields"]}
    assert meanings["EDITED"] == "date, as milliseconds since 1970"


def test_rows_without_a_shape_at_zero_and_all_at_one_place(tmp_path) -> None:
    p = shapely.Point(760_000, 2_950_000)
    entry = seen(tmp_path, layer(HYD_NO=list("123"), geometry=[p, None, shapely.Point(0, 0)]))
    assert told(entry, "no-location") == [("", "1 rows have no shape")]
    assert told(entry, "zero-location") == [("", "1 points lie at exactly 0, 0")]
    entry = seen(tmp_path, layer(HYD_NO=list("12"), geometry=[p, p]), "one.gpkg")
    assert told(entry, "zero-extent") == [("", "all points lie at one place")]


def test_no_crs_and_what_it_may_be(tmp_path) -> None:
    entry = seen(tmp_path, "HYD_NO,X,Y\n1,760000,2950000\n2,760100,2950000\n", "h.csv")
    assert told(entry, "crs-missing") == [("", "no CRS; say it with --crs")]
    first = entry["crs_candidates"][0]
    assert first.startswith("EPSG:2249 NAD83 / Massachusetts Mainland (ftUS): all points inside")
    assert entry["place"] == {"fields": ["X", "Y"], "form": "X and Y"}
    assert [f["meaning"] for f in entry["fields"]] == ["hydrant_id", *["place (X and Y)"] * 2]
    path = tmp_path / "h.csv"
    (said,) = look(str(path), words=IntakeWords(crs="EPSG:2249"))["layers"]
    assert told(said, "crs-missing") == []
    assert (said["crs"], said["crs_candidates"]) == ("EPSG:2249", [])
    (wrong,) = look(str(path), words=IntakeWords(crs="EPSG:2250"))["layers"]
    assert told(said, "outside-crs-area") == []
    assert len(told(wrong, "outside-crs-area")) == 1


def test_points_where_the_crs_is_not_used_and_swapped_axes(tmp_path) -> None:
    points = [shapely.Point(42.3, -71.1), shapely.Point(42.4, -71.2)]
    entry = seen(tmp_path, layer(4269, HYD_NO=list("12"), geometry=points))
    [(_, message)] = told(entry, "outside-crs-area")
    assert "where there is no town" in message
    assert "with x and y swapped it would be at latitude 42.3" in message
    entry = seen(tmp_path, layer(4269, HYD_NO=list("12"), geometry=points), "s.gpkg", swap_xy=True)
    assert told(entry, "outside-crs-area") == []


def test_z_is_told_and_not_taken_for_another_kind(tmp_path) -> None:
    points = [shapely.Point(760_000, 2_950_000, z) for z in (0.0, 12.5, 30.0)]
    entry = seen(tmp_path, layer(HYD_NO=list("123"), geometry=points))
    assert entry["z"] == {"present": 3, "least": 0.0, "greatest": 30.0, "exactly_zero": 1}
    assert entry["likely_kind"] == "hydrants"


def test_heights_beside_hydrants_are_told(tmp_path) -> None:
    entry = seen(tmp_path, layer(HYD_NO=["1", "2"], NOZZLE_HEIGHT=[18.5, 22.0]), kind="hydrants")
    assert [field for field, _ in told(entry, "has-heights")] == ["NOZZLE_HEIGHT"]


def test_two_numbers_in_one_field_are_asked_for(tmp_path) -> None:
    text = 'HYD_NO,SPOT\n1,"42.3, -71.1"\n2,"42.4, -71.2"\n'
    for kind in (None, "hydrants", "readings"):
        entry = seen(tmp_path, text, "h.csv", kind=kind)
        assert [field for field, _ in told(entry, "two-coordinates")] == ["SPOT"]
    entry = seen(
        tmp_path, 'HYD_NO,SPOT\n1,"42.3, -71.1"\n', "l.csv", kind="hydrants",
        place={"latlon": "SPOT"},
    )  # fmt: skip
    assert told(entry, "two-coordinates") == []
    assert entry["bounds"] == (-71.1, 42.3, -71.1, 42.3)


@pytest.mark.parametrize("rows", [999, 1000, 2000])
def test_an_export_that_may_have_been_cut_off(tmp_path, rows) -> None:
    text = "HYD_NO,X,Y\n" + "".join(f"{i},{760_000 + i},2950000\n" for i in range(rows))
    entry = seen(tmp_path, text, "h.csv", crs="EPSG:2249")
    assert bool(told(entry, "page-limit")) == (rows != 999)


def test_an_empty_layer(tmp_path) -> None:
    entry = seen(tmp_path, layer(HYD_NO=["1"]).iloc[:0])
    assert told(entry, "no-rows") == [("", "the layer is empty")]
    assert entry["bounds"] is None


def test_coordinates_that_cannot_be_read_are_counted(tmp_path) -> None:
    entry = seen(
        tmp_path, "HYD_NO,X,Y\n1,760000,2950000\n2,here,2950000\n3,760200,2950000\n", "h.csv"
    )
    (found,) = told(entry, "place-unreadable")
    assert found == ("", "1 rows: no number")


def test_letters_that_are_not_in_utf8_are_told(tmp_path) -> None:
    path = tmp_path / "h.csv"
    path.write_bytes("HYD_NO,X,Y,RUE\n1,760000,2950000,\u00c9glise\n".encode("cp1252"))
    entry = look(str(path))["layers"][0]
    assert "cp1252" in told(entry, "encoding-taken")[0][1]


def test_one_layer_is_looked_at_where_one_is_named_else_all(tmp_path) -> None:
    path = tmp_path / "h.gpkg"
    layer(HYD_NO=["1"]).to_file(path, layer="a")
    layer(AREA=["N"], geometry=[shapely.box(0, 0, 1, 1)]).to_file(path, layer="b")
    report = look(str(path))
    assert [(e["name"], e["likely_kind"]) for e in report["layers"]] == [
        ("a", "hydrants"), ("b", "areas"),
    ]  # fmt: skip
    assert [e["name"] for e in look(str(path), words=IntakeWords(layer="b"))["layers"]] == ["b"]
    assert (report["source"], report["driver"]) == ("h.gpkg", "GPKG")


ROWS = pd.DataFrame({"ASSET_ID": ["1", "2", "3"], "NAME": ["a", "b", "c"]})


@pytest.mark.parametrize(
    ("shape", "wants"),
    [
        *((s, "Point") for s in ("Point", "MultiPoint", "Point Z", "3D Point", "PointZM",
                                 "3D Measured MultiPoint", "Point M", "2.5D Point")),
        *((s, "MultiLineString") for s in ("LineString", "3D LineString", "MultiLineString Z")),
        *((s, "MultiPolygon") for s in ("Polygon", "3D MultiPolygon", "Polygon ZM")),
    ],
)  # fmt: skip
def test_a_shape_that_cannot_be_it_rules_a_kind_out(shape, wants) -> None:
    assert INTAKE_TABLES[likely_kind(shape, ROWS)].geometry == wants


@pytest.mark.parametrize("shape", ["Unknown", "Geometry", "GeometryCollection"])
def test_shapes_of_several_kinds_are_no_table_without_any(shape) -> None:
    assert INTAKE_TABLES[likely_kind(shape, ROWS)].geometry is not None


def test_hostile_names_and_cells_stay_data(tmp_path) -> None:
    rows = {"HYD_NO": ["1", "2"], "a\"'; DROP": ["\x1b[2J", "\n"], "BURY": ["x\x07", "y"]}
    entry = seen(tmp_path, layer(**rows))
    assert [f["name"] for f in entry["fields"]] == ["HYD_NO", "a\"'; DROP", "BURY"]
    assert all(re.fullmatch(r"[a-z-]+", f["code"]) for f in entry["findings"])
