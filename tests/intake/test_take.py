"""Intake: every row accounted for, nothing guessed, nothing moved."""

from __future__ import annotations

import datetime as dt
import http.server
import json
import threading
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.errors import (
    CRSError,
    SourceError,
    UnitError,
    UnreadableError,
    WordsError,
)
from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.ledger import Count
from hydrantgis.intake.take import take
from hydrantgis.intake.words import IntakeWords

TODAY = dt.date(2026, 11, 1)
MA = 2249  # NAD83 / Massachusetts Mainland (ftUS)


def layer(**columns: object) -> gpd.GeoDataFrame:
    n = len(next(iter(columns.values())))
    points = [shapely.Point(760_000 + 100 * i, 2_950_000 + 100 * i) for i in range(n)]
    geometry = columns.pop("geometry", points)
    return gpd.GeoDataFrame(columns, geometry=geometry, crs=MA)


def write(tmp_path: Path, frame: gpd.GeoDataFrame, name: str = "h.gpkg", **options: object) -> Path:
    path = tmp_path / name
    frame.to_file(path, **options)
    return path


def text(tmp_path: Path, content: str, name: str = "r.csv") -> Path:
    path = tmp_path / name
    path.write_text(content, encoding="utf-8")
    return path


def codes(intake: object) -> dict[str, int]:
    return intake.findings["code"].value_counts().to_dict()


def test_a_source_without_crs_is_refused_with_candidates(tmp_path) -> None:
    frame = layer(HYD_ID=["1", "2"]).set_crs(None, allow_override=True)
    with pytest.warns(UserWarning, match="'crs' was not provided"):
        path = write(tmp_path, frame, "h.shp")
    with pytest.raises(CRSError) as caught:
        take(str(path), "hydrants", IntakeWords(), today=TODAY)
    assert "EPSG:2249" in str(caught.value)
    assert "--crs" in str(caught.value)
    intake = take(str(path), "hydrants", IntakeWords(crs="EPSG:2249"), today=TODAY)
    assert intake.record["crs_from"] == "user"
    assert intake.count.accepted == 2


def test_degrees_without_crs_name_degrees_as_candidates(tmp_path) -> None:
    path = text(tmp_path, "HYD_ID,LON,LAT\nH1,-71.1,42.3\n")
    with pytest.raises(CRSError, match="EPSG:4326"):
        take(str(path), "hydrants", IntakeWords(), today=TODAY)


def test_a_wrong_crs_is_refused_and_swapped_axes_are_told(tmp_path) -> None:
    frame = layer(HYD_ID=["1"], geometry=[shapely.Point(42.3, -71.1)])
    frame = frame.set_crs(4269, allow_override=True)  # NAD83 is used in North America alone
    with pytest.raises(CRSError, match="swapped"):
        take(str(write(tmp_path, frame)), "hydrants", IntakeWords(), today=TODAY)
    far = layer(HYD_ID=["1"], geometry=[shapely.Point(-71.1, 42.3)])
    with pytest.raises(CRSError, match="look like degrees"):
        take(str(write(tmp_path, far, "far.gpkg")), "hydrants", IntakeWords(), today=TODAY)


def test_ids_that_are_missing_or_shared_are_held_and_a_repeated_row_is_rejected(tmp_path) -> None:
    frame = layer(HYD_ID=["0012", "A", "A", None, "B", "B"], NOTES=["x"] * 6)
    frame.loc[5, "geometry"] = frame.geometry[4]
    intake = take(str(write(tmp_path, frame)), "hydrants", IntakeWords(), today=TODAY)
    assert str(intake.count) == "6 rows in = 2 accepted + 3 held + 1 rejected"
    assert intake.accepted["hydrant_id"].tolist() == ["0012", "B"]
    aside = intake.exceptions.set_index("source_row")["code"].to_dict()
    assert aside == {
        2: "id-in-two-places", 3: "id-in-two-places", 4: "id-missing", 6: "row-repeated",
    }  # fmt: skip
    kept = json.loads(intake.exceptions["row_json"].iloc[0])
    assert kept["HYD_ID"] == "A"


def test_who_is_held_does_not_hang_on_the_order_of_rows(tmp_path) -> None:
    frame = layer(HYD_ID=["A", "B", "A", "C"])
    one = take(str(write(tmp_path, frame)), "hydrants", IntakeWords(), today=TODAY)
    turned = frame.iloc[::-1].reset_index(drop=True)
    two = take(str(write(tmp_path, turned, "t.gpkg")), "hydrants", IntakeWords(), today=TODAY)
    assert set(one.accepted["hydrant_id"]) == set(two.accepted["hydrant_id"]) == {"B", "C"}


def test_a_hydrant_without_a_point_stays_and_is_told(tmp_path) -> None:
    frame = layer(
        HYD_ID=["1", "2", "3", "4"],
        geometry=[shapely.Point(760_000, 2_950_000), None, shapely.Point(), shapely.Point(0, 0)],
    )
    intake = take(str(write(tmp_path, frame)), "hydrants", IntakeWords(), today=TODAY)
    assert intake.count.accepted == 4
    assert intake.accepted.geometry.notna().tolist() == [True, False, False, False]
    assert codes(intake)["no-location"] == 2
    assert codes(intake)["zero-location"] == 1


def test_one_part_becomes_a_point_and_several_parts_are_held(tmp_path) -> None:
    a, b = shapely.Point(760_000, 2_950_000), shapely.Point(760_100, 2_950_000)
    frame = layer(HYD_ID=["1", "2"], geometry=[shapely.MultiPoint([a]), shapely.MultiPoint([a, b])])
    intake = take(str(write(tmp_path, frame)), "hydrants", IntakeWords(), today=TODAY)
    assert intake.accepted.geometry.tolist() == [a]
    assert codes(intake)["many-parts"] == 1


def test_z_is_left_out_and_told(tmp_path) -> None:
    frame = layer(HYD_ID=["1"], geometry=[shapely.Point(760_000, 2_950_000, 12)])
    intake = take(str(write(tmp_path, frame)), "hydrants", IntakeWords(), today=TODAY)
    assert not intake.accepted.geometry.iloc[0].has_z
    assert "z-left-out" in codes(intake)


def test_bare_numbers_without_a_unit_are_left_out_until_the_unit_is_said(tmp_path) -> None:
    path = write(tmp_path, layer(HYD_ID=["1"], BURY=[4.5]))
    silent = take(str(path), "hydrants", IntakeWords(), today=TODAY)
    assert silent.accepted["bury_ft"].isna().all()
    assert "unit-missing" in codes(silent)
    said = IntakeWords(units={"bury_ft": LengthUnit.M})
    told = take(str(path), "hydrants", said, today=TODAY)
    assert told.accepted["bury_ft"].iloc[0] == pytest.approx(4.5 / 0.3048)
    named = take(str(write(tmp_path, layer(HYD_ID=["1"], BURY_FT=[4.5]), "n.gpkg")), "hydrants",
                 IntakeWords(), today=TODAY)  # fmt: skip
    assert named.accepted["bury_ft"].iloc[0] == 4.5


def test_dates_that_may_be_read_both_ways_are_asked_for(tmp_path) -> None:
    path = write(tmp_path, layer(HYD_ID=["1", "2"], INSTALLED=["03/04/2004", "2004-05-06"]))
    silent = take(str(path), "hydrants", IntakeWords(), today=TODAY)
    assert silent.accepted["install_date"].isna().tolist() == [True, False]
    assert "--date-order" in silent.findings["message"].str.cat()
    for order, month in (("mdy", 3), ("dmy", 4)):
        intake = take(str(path), "hydrants", IntakeWords(date_order=order), today=TODAY)
        assert intake.accepted["install_date"].iloc[0].month == month


def test_dates_before_hydrants_are_blanked_and_future_ones_told(tmp_path) -> None:
    path = write(tmp_path, layer(HYD_ID=["1", "2"], INSTALLED=["0911-01-01", "2031-01-01"]))
    intake = take(str(path), "hydrants", IntakeWords(), today=TODAY)
    assert intake.accepted["install_date"].isna().tolist() == [True, False]
    assert {"date-implausible", "date-in-future"} <= set(codes(intake))


def test_dates_that_stand_for_none_are_blanked_and_told(tmp_path) -> None:
    told = ["1899-12-30", "9999-12-31", "1999-12-30"]
    path = write(tmp_path, layer(HYD_ID=["1", "2", "3"], INSTALLED=told))
    intake = take(str(path), "hydrants", IntakeWords(), today=TODAY)
    assert intake.accepted["install_date"].isna().tolist() == [True, True, False]
    assert codes(intake)["sentinel-value"] == 2


def test_words_of_the_source_are_understood_mapped_or_told(tmp_path) -> None:
    path = write(tmp_path, layer(HYD_ID=["1", "2", "3"], BARREL=["Dry Barrel", "WET", "odd"]))
    intake = take(str(path), "hydrants", IntakeWords(), today=TODAY)
    assert intake.accepted["barrel"].tolist()[:2] == ["dry", "wet"]
    assert intake.accepted["barrel"].isna().iloc[2]
    assert codes(intake)["value-not-allowed"] == 1
    said = IntakeWords(meanings={"barrel": {"odd": "other"}})
    assert take(str(path), "hydrants", said, today=TODAY).accepted["barrel"].iloc[2] == "other"


def test_ten_letter_shapefile_names_are_known_again(tmp_path) -> None:
    frame = layer(hydrant_number=["1"], installed_extension_in=[6.0])
    with pytest.warns((UserWarning, RuntimeWarning)):
        path = write(tmp_path, frame, "h.shp")
    said = IntakeWords(units={"installed_extension_in": LengthUnit.IN})
    intake = take(str(path), "hydrants", said, today=TODAY)
    fields = json.loads(str(intake.record["fields"]))
    assert fields == {"hydrant_id": "hydrant_nu", "installed_extension_in": "installed_"}


def test_no_likely_id_field_is_asked_for_and_row_numbers_are_a_choice(tmp_path) -> None:
    path = write(tmp_path, layer(colour=["red", "blue"]))
    with pytest.raises(SourceError, match="--number-rows"):
        take(str(path), "hydrants", IntakeWords(), today=TODAY)
    intake = take(str(path), "hydrants", IntakeWords(number_rows="H-"), today=TODAY)
    assert intake.accepted["hydrant_id"].tolist() == ["H-1", "H-2"]


def test_a_field_that_is_not_there_is_told_with_the_nearest(tmp_path) -> None:
    path = write(tmp_path, layer(HYDNUM=["1"]))
    with pytest.raises(SourceError, match="did you mean `HYDNUM`"):
        take(str(path), "hydrants", IntakeWords(fields={"hydrant_id": "HYDNUMB"}), today=TODAY)
    with pytest.raises(SourceError, match="no column"):
        take(str(path), "hydrants", IntakeWords(fields={"hydrant": "HYDNUM"}), today=TODAY)


def test_several_layers_and_none_named_are_listed(tmp_path) -> None:
    path = write(tmp_path, layer(HYD_ID=["1"]), layer="a")
    layer(HYD_ID=["1"]).to_file(path, layer="b")
    with pytest.raises(SourceError, match=r"a \(Point, 1\); b \(Point, 1\)"):
        take(str(path), "hydrants", IntakeWords(), today=TODAY)


@pytest.mark.parametrize("address", ["https://example.org/h.geojson", "/vsicurl/x", "/vsis3/b/k"])
def test_remote_sources_are_refused(address: str) -> None:
    with pytest.raises(WordsError, match="remote"):
        take(address, "hydrants", IntakeWords(), today=TODAY)


def test_broken_files_are_told_in_words(tmp_path) -> None:
    with pytest.raises(UnreadableError, match="no such file"):
        take(str(tmp_path / "none.gpkg"), "hydrants", IntakeWords(), today=TODAY)
    for name in ("x.gpkg", "x.geojson", "x.zip", "x.kml"):
        with pytest.raises(UnreadableError, match="damaged"):
            take(str(text(tmp_path, "not at all", name)), "hydrants", IntakeWords(), today=TODAY)
    with pytest.raises(UnreadableError, match="empty"):
        take(str(text(tmp_path, "")), "readings", IntakeWords(), today=TODAY)
    with pytest.raises(UnreadableError, match="unlike numbers of cells"):
        take(
            str(text(tmp_path, "HYDRANT,HEIGHT_IN\nA,1,2\n")),
            "readings",
            IntakeWords(),
            today=TODAY,
        )


@pytest.mark.parametrize("name", ["h.vrt", "h.json", "h.gml", "h.shp", "h.xml"])
def test_a_file_that_points_elsewhere_is_not_followed(tmp_path, name: str) -> None:
    """A virtual layer names a source on another machine, whatever the file is called."""
    asked: list[str] = []

    class Listener(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        do_HEAD = do_GET  # noqa: N815

        def log_message(self, *_: object) -> None:
            return

    server = http.server.HTTPServer(("127.0.0.1", 0), Listener)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    address = f"http://127.0.0.1:{server.server_port}/h.geojson"
    try:
        path = text(
            tmp_path,
            f"<OGRVRTDataSource><OGRVRTLayer name='h'><SrcDataSource>{address}</SrcDataSource>"
            "</OGRVRTLayer></OGRVRTDataSource>",
            name,
        )
        for sibling in (".shx", ".dbf"):
            path.with_suffix(sibling).write_bytes(b"")
        with pytest.raises(UnreadableError, match="no format that is read here"):
            take(str(path), "hydrants", IntakeWords(), today=TODAY)
    finally:
        server.shutdown()
        server.server_close()
    assert asked == []


def test_a_source_that_breaks_off_is_refused(tmp_path) -> None:
    path = write(tmp_path, layer(HYD_ID=[str(i) for i in range(100)]), "h.shp")
    table = path.with_suffix(".dbf")
    table.write_bytes(table.read_bytes()[: table.stat().st_size * 6 // 10])
    with pytest.raises(UnreadableError, match=r"breaks off|to its end"):
        take(str(path), "hydrants", IntakeWords(), today=TODAY)


def test_two_columns_of_one_name_are_told(tmp_path) -> None:
    path = text(tmp_path, "HYD_NO,note,note ,X,Y\n1,a,b,760000,2950000\n")
    with pytest.raises(UnreadableError, match="one name"):
        take(str(path), "hydrants", IntakeWords(crs="EPSG:2249"), today=TODAY)


def test_a_column_called_geometry_is_a_column(tmp_path) -> None:
    path = text(tmp_path, "HYD_NO,geometry,X,Y\n1,round,760000,2950000\n")
    said = IntakeWords(crs="EPSG:2249", fields={"note": "geometry"})
    assert take(str(path), "hydrants", said, today=TODAY).accepted["note"].tolist() == ["round"]


def test_words_for_what_there_is_not_are_refused(tmp_path) -> None:
    path = write(tmp_path, layer(HYD_ID=["1"], BARREL=["WB"]))
    with pytest.raises(WordsError, match="`barrel` cannot be `Wet`"):
        take(str(path), "hydrants", IntakeWords(meanings={"barrel": {"WB": "Wet"}}), today=TODAY)
    for said in (
        IntakeWords(units={"bury": LengthUnit.FT}),
        IntakeWords(meanings={"statos": {"a": "b"}}),
        IntakeWords(constants={"methd": "tape"}),
    ):
        with pytest.raises(SourceError, match="is no column of hydrants"):
            take(str(path), "hydrants", said, today=TODAY)


def test_a_day_is_that_of_the_place_and_seven_digits_are_no_date(tmp_path) -> None:
    frame = layer(HYD_ID=["1", "2"], INSTALLED=["2024113", "20240113"])
    intake = take(str(write(tmp_path, frame)), "hydrants", IntakeWords(), today=TODAY)
    assert intake.accepted["install_date"].isna().tolist() == [True, False]
    content = (
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"HYD_ID":"1",'
        '"INSTALLED":"2024-03-01T20:00:00-08:00"},"geometry":{"type":"Point",'
        '"coordinates":[-71.1,42.3]}}]}'
    )
    aware = take(str(text(tmp_path, content, "a.geojson")), "hydrants", IntakeWords(), today=TODAY)
    assert str(aware.accepted["install_date"].iloc[0])[:10] == "2024-03-01"


def test_a_reading_of_next_year_is_held(tmp_path) -> None:
    intake = take_readings(tmp_path, "A,2062-05-01,tape,pumper-centerline,grade,20\n")
    assert (intake.count.held, intake.exceptions["code"].tolist()) == (1, ["date-in-future"])


def test_a_height_and_elevations_that_differ_are_told(tmp_path) -> None:
    path = text(
        tmp_path,
        "HYDRANT,METHOD,MEASURED_TO,MEASURED_FROM,HEIGHT_IN,OUTLET_ELEV_FT,GRADE_ELEV_FT,DATUM\n"
        "A,level,pumper-centerline,grade,20,101,100,NAVD88\n"
        "A,level,pumper-centerline,grade,12.5,101,100,NAVD88\n",
    )
    intake = take(str(path), "readings", IntakeWords(), today=TODAY)
    assert codes(intake)["height-and-elevations-differ"] == 1


def test_one_swapped_point_among_many_is_told(tmp_path) -> None:
    points = [shapely.Point(-71.1 + i / 1000, 42.3) for i in range(40)]
    points[7] = shapely.Point(-42.3, 71.1)
    frame = layer(HYD_ID=[f"H{i}" for i in range(40)], geometry=points)
    frame = frame.set_crs(4326, allow_override=True)
    intake = take(str(write(tmp_path, frame)), "hydrants", IntakeWords(), today=TODAY)
    told = intake.findings[intake.findings["code"] == "far-location"]
    assert told["key"].tolist() == ["H7 (row 8)"]


def test_points_the_wrong_way_round_are_held_and_attributes_are_compared(tmp_path) -> None:
    points = [shapely.Point(-71.1 + i / 1000, 42.3 + i / 2000) for i in range(40)]
    frame = layer(HYD_ID=[f"H{i}" for i in range(40)], geometry=points)
    frame = frame.assign(LON=frame.geometry.x, LAT=frame.geometry.y)
    frame.loc[9, "LAT"] += 0.001
    frame.loc[7, "geometry"] = shapely.Point(42.3035, -71.093)
    frame = frame.set_crs(4326, allow_override=True)
    intake = take(str(write(tmp_path, frame)), "hydrants", IntakeWords(), today=TODAY)
    assert str(intake.count) == "40 rows in = 39 accepted + 1 held + 0 rejected"
    assert intake.exceptions["code"].tolist() == ["axes-swapped"]
    assert "far-location" not in codes(intake)
    told = intake.findings[intake.findings["code"] == "attribute-coordinates-differ"]
    assert told["key"].tolist() == ["(all)", "H7 (row 8)", "H9 (row 10)"]


def test_a_crs_said_over_that_of_the_source_is_told(tmp_path) -> None:
    path = write(tmp_path, layer(HYD_ID=["1"]))
    intake = take(str(path), "hydrants", IntakeWords(crs="EPSG:6492"), today=TODAY)
    assert codes(intake)["crs-overruled"] == 1


def test_separators_of_thousands_are_read_where_a_cell_proves_them_and_else_refused(
    tmp_path,
) -> None:
    path = text(tmp_path, 'HYD_NO,X,Y\n1,"760,000.50","2,950,000.25"\n')
    intake = take(str(path), "hydrants", IntakeWords(crs="EPSG:2249"), today=TODAY)
    assert intake.accepted.geometry[1].coords[0] == (760000.5, 2950000.25)
    path = text(tmp_path, 'HYD_NO,X,Y\n1,"236,000","900,000"\n')
    with pytest.raises(UnreadableError, match=r"236,000.*thousands or decimals"):
        take(str(path), "hydrants", IntakeWords(crs="EPSG:26986"), today=TODAY)
    said = IntakeWords(crs="EPSG:26986", decimal=".")
    assert take(str(path), "hydrants", said, today=TODAY).accepted.geometry[1].x == 236_000


def test_a_height_of_0_in_a_shapefile_tells_nothing(tmp_path) -> None:
    frame = layer(HYDRANT=["A", "B"], HEIGHT_IN=[0.0, 20.0])
    said = IntakeWords(
        constants={"method": "tape", "measured_to": "any-centerline", "measured_from": "grade"}
    )
    intake = take(str(write(tmp_path, frame, "r.shp")), "readings", said, today=TODAY)
    assert (intake.count.accepted, codes(intake)["sentinel-value"]) == (1, 1)


def test_an_unknown_method_holds_its_row_and_unsure_dates_are_asked_for(tmp_path) -> None:
    intake = take_readings(
        tmp_path,
        "A,2026-05-01,laser,pumper-centerline,grade,20\n"
        "B,2026-05-01,tape,pumper-centerline,grade,20\n",
    )
    assert (intake.count.accepted, intake.count.held) == (1, 1)
    assert "--value method:WORD=ALLOWED" in intake.findings["message"].str.cat()
    with pytest.raises(UnitError, match="both ways"):
        take_readings(tmp_path, "A,03/04/2026,tape,pumper-centerline,grade,20\n")


def test_a_lone_shp_names_the_parts_that_are_missing(tmp_path) -> None:
    path = write(tmp_path, layer(HYD_ID=["1"]), "h.shp")
    path.with_suffix(".dbf").unlink()
    with pytest.raises(UnreadableError, match=r"h\.dbf"):
        take(str(path), "hydrants", IntakeWords(), today=TODAY)


def test_polygons_are_no_hydrants(tmp_path) -> None:
    frame = layer(HYD_ID=["1"], geometry=[shapely.box(760_000, 2_950_000, 760_010, 2_950_010)])
    with pytest.raises(SourceError, match="cannot be hydrants"):
        take(str(write(tmp_path, frame)), "hydrants", IntakeWords(), today=TODAY)


def test_areas_of_one_id_become_one_and_bent_ones_are_mended(tmp_path) -> None:
    box = shapely.box(760_000, 2_950_000, 760_100, 2_950_100)
    bow = shapely.Polygon(
        [(761_000, 2_950_000), (761_100, 2_950_100), (761_100, 2_950_000), (761_000, 2_950_100)]
    )
    other = shapely.box(760_200, 2_950_000, 760_300, 2_950_100)
    frame = layer(AREA=["A", "A", "B"], geometry=[box, other, bow])
    intake = take(str(write(tmp_path, frame)), "areas", IntakeWords(), today=TODAY)
    assert intake.count.accepted == 3
    areas = intake.accepted.set_index("area_id")
    assert areas.geometry["A"].area == pytest.approx(20_000)
    assert areas.geometry["B"].is_valid
    assert codes(intake)["shape-mended"] == 1


READING = "HYDRANT,DATE,METHOD,MEASURED_TO,MEASURED_FROM,HEIGHT_IN\n"


def take_readings(tmp_path: Path, rows: str, **said: object) -> object:
    known = gpd.GeoDataFrame({"hydrant_id": ["A", "B"]}, geometry=[None, None], crs=2249)
    path = text(tmp_path, READING + rows)
    return take(str(path), "readings", IntakeWords(**said), today=TODAY, stands=known)


def test_a_height_of_999_is_rejected_and_a_stranger_is_held(tmp_path) -> None:
    intake = take_readings(
        tmp_path,
        "A,2026-05-01,tape,pumper-centerline,grade,999\n"
        "Z,2026-05-01,tape,pumper-centerline,grade,20\n"
        "B,2026-05-01,tape,pumper-centerline,grade,20\n"
        "B,2026-05-01,tape,pumper-centerline,grade,\n",
    )
    assert str(intake.count) == "4 rows in = 1 accepted + 1 held + 2 rejected"
    assert intake.exceptions["code"].tolist() == [
        "no-height",
        "unknown-hydrant",
        "no-height",
    ]


def test_readings_must_say_how_and_from_where(tmp_path) -> None:
    path = text(tmp_path, "HYDRANT,HEIGHT_IN\nA,20\n")
    with pytest.raises(UnitError, match="measured_to"):
        take(str(path), "readings", IntakeWords(), today=TODAY)
    with pytest.raises(UnitError, match="without a unit"):
        bare = text(tmp_path, "HYDRANT,HEIGHT\nA,20\n", "bare.csv")
        take(str(bare), "readings", IntakeWords(), today=TODAY)


def test_an_elevation_needs_a_unit_and_a_datum(tmp_path) -> None:
    head = "HYDRANT,METHOD,MEASURED_TO,OUTLET_ELEV_FT\nA,gnss,pumper-centerline,101.5\n"
    with pytest.raises(UnitError, match="vertical datum"):
        take(str(text(tmp_path, head)), "readings", IntakeWords(), today=TODAY)
    said = IntakeWords(constants={"vertical_datum": "NAVD88"})
    intake = take(str(text(tmp_path, head)), "readings", said, today=TODAY)
    assert intake.accepted["outlet_elev_ft"].tolist() == [101.5]


def test_the_same_reading_has_the_same_id_in_any_file(tmp_path) -> None:
    row = "A,2026-05-01,tape,pumper-centerline,grade,20\n"
    other = "B,2026-05-01,tape,pumper-centerline,grade,20\n"
    one, two = take_readings(tmp_path, row), take_readings(tmp_path, other + row)
    assert one.accepted["reading_id"].iloc[0] == two.accepted["reading_id"].iloc[1]
    assert two.accepted["reading_id"].is_unique


def test_shots_read_their_code_from_the_description_and_drop_no_row(tmp_path) -> None:
    path = text(
        tmp_path,
        "P,N,E,Z,D\n1,2950000,760000,101.25,GND\n2,2950001,760001,-9999,GND\n"
        "3,2950002,760002,101.5,TC curb\n4,2950003,760003,0,GRD\n5,2950003,760003,,GRD\n",
    )
    said = IntakeWords(
        crs="EPSG:2249", units={"elev_ft": LengthUnit.FT_US}, constants={"vertical_datum": "NAVD88"}
    )
    intake = take(str(path), "shots", said, today=TODAY)
    assert str(intake.count) == "5 rows in = 2 accepted + 0 held + 3 rejected"
    assert intake.accepted["shot_code"].tolist() == ["ground", "curb"]
    assert intake.accepted["elev_ft"].iloc[0] == pytest.approx(101.25 * 1.000002000004)
    point = intake.accepted.geometry.iloc[0]
    assert (point.x, point.y) == (760_000, 2_950_000)


def test_ids_stay_text_through_csv(tmp_path) -> None:
    path = text(
        tmp_path, "HYD_NO;X;Y\n0012;760000;2950000\n0450;760100;2950000\n12;760200;2950000\n"
    )
    intake = take(str(path), "hydrants", IntakeWords(crs="EPSG:2249"), today=TODAY)
    assert intake.accepted["hydrant_id"].tolist() == ["0012", "0450", "12"]


@pytest.mark.parametrize("name", ["h.gpkg", "h.geojson", "h.fgb", "h.shp"])
def test_formats_come_in_alike(tmp_path, name: str) -> None:
    frame = layer(HYD_ID=["01", "02"], NOTES=["O'Brien", "<b>`${x}`"]).to_crs(4326)
    intake = take(str(write(tmp_path, frame, name)), "hydrants", IntakeWords(), today=TODAY)
    assert intake.accepted.sort_values("hydrant_id")["note"].tolist() == ["O'Brien", "<b>`${x}`"]
    assert intake.record["crs"] == "EPSG:4326"


@given(
    rows=st.lists(
        st.tuples(
            st.sampled_from(["A", "B", "C", "D", ""]),
            st.sampled_from(["18 in", "1.5 ft", "999 in", "", "ftt", "2'6\"", "-80 in"]),
        ),
        min_size=1,
        max_size=30,
    )
)
def test_rows_in_are_always_accepted_held_or_rejected(tmp_path_factory, rows) -> None:
    lines = "".join(f'{h},"{height.replace(chr(34), chr(34) * 2)}"\n' for h, height in rows)
    path = text(tmp_path_factory.mktemp("rows"), "HYDRANT,HEIGHT\n" + lines)
    said = IntakeWords(
        constants={"method": "tape", "measured_to": "any-centerline", "measured_from": "grade"}
    )
    stands = gpd.GeoDataFrame({"hydrant_id": list("ABC")}, geometry=[None] * 3, crs=2249)
    intake = take(str(path), "readings", said, today=TODAY, stands=stands)
    assert intake.count.rows == len(rows)
    assert len(intake.accepted) == intake.count.accepted
    assert len(intake.exceptions) == intake.count.held + intake.count.rejected
    told = set(intake.accepted.index) | set(intake.exceptions["source_row"])
    assert told == set(range(1, len(rows) + 1))


def test_a_count_that_does_not_add_up_is_a_fault() -> None:
    with pytest.raises(Exception, match="do not add up"):
        Count(rows=3, accepted=1, held=1, rejected=0)


def shots_of(tmp_path: Path, rows: str, **said: object) -> object:
    stands = gpd.GeoDataFrame({"hydrant_id": ["HYD-7", "HYD-8"]}, geometry=[None] * 2, crs=2249)
    told = {
        "crs": "EPSG:2249", "units": {"elev_ft": LengthUnit.FT},
        "constants": {"vertical_datum": "NAVD88", "measured_to": "pumper-centerline"}, **said,
    }  # fmt: skip
    path = text(tmp_path, "P,N,E,Z,D\n" + rows)
    return take(str(path), "shots", IntakeWords(**told), today=TODAY, stands=stands)


def test_shots_tell_what_they_stand_on_and_which_hydrant(tmp_path) -> None:
    rows = (
        "1,2950000,760000,101.7,FH HYD-7 OUTLET\n2,2950000,760000,101.5,HYD-8 BOT OUTLET\n"
        "3,2950000,760000,100.2,FH HYD-7 FLG\n4,2950000,760000,100,GND\n"
        "5,2950000,760000,100,BC\n6,2950000,760000,102,HYD-7 HYD-8 NUT\n7,2950000,760000,100,\n"
    )
    intake = shots_of(tmp_path, rows)
    assert intake.accepted["shot_code"].tolist() == [
        "outlet", "outlet-bottom", "flange", "ground", "other", "nut", "other",
    ]  # fmt: skip
    named = intake.accepted["hydrant_id"]
    assert named.where(named.notna(), "").tolist() == ["HYD-7", "HYD-8", "HYD-7", "", "", "", ""]
    points = intake.accepted["measured_to"]
    assert points.dropna().tolist() == ["pumper-centerline", "pumper-bottom"]
    assert {"shot-word-ambiguous", "shot-name-unsure", "shot-code-unknown"} <= codes(intake).keys()


def test_the_user_says_what_words_of_a_field_book_stand_for(tmp_path) -> None:
    said = {"meanings": {"shot_code": {"BC": "curb", "BRL": "ground"}}}
    intake = shots_of(tmp_path, "1,2950000,760000,101,BC\n2,2950000,760001,100,BRL\n", **said)
    assert intake.accepted["shot_code"].tolist() == ["curb", "ground"]


def test_a_shot_that_names_a_stranger_is_held(tmp_path) -> None:
    path = text(tmp_path, "P,N,E,Z,D,HYD_ID\n1,2950000,760000,101,OUTLET,HYD-99\n")
    stands = gpd.GeoDataFrame({"hydrant_id": ["HYD-7"]}, geometry=[None], crs=2249)
    said = IntakeWords(
        crs="EPSG:2249", units={"elev_ft": LengthUnit.FT}, constants={"vertical_datum": "NAVD88"}
    )
    intake = take(str(path), "shots", said, today=TODAY, stands=stands)
    assert str(intake.count) == "1 rows in = 0 accepted + 1 held + 0 rejected"
    assert codes(intake)["unknown-hydrant"] == 1


def test_a_point_file_without_names_is_read_in_the_order_that_is_said(tmp_path) -> None:
    path = tmp_path / "day1.pts"
    path.write_text(
        "# day one\n101,2950000,760000,101.7,FH HYD-7 OUTLET, north side\n"
        "102,2950001,760001,100.0,GND\n103,2950001,76000I,100.0,GND\n104,2950001,760003,,GND\n",
        encoding="utf-8",
    )
    said = IntakeWords(
        order="PNEZD", crs="EPSG:2249", units={"elev_ft": LengthUnit.FT},
        constants={"vertical_datum": "NAVD88"},
    )  # fmt: skip
    intake = take(str(path), "shots", said, today=TODAY)
    assert str(intake.count) == "4 rows in = 2 accepted + 0 held + 2 rejected"
    assert intake.accepted["shot_id"].tolist() == ["101", "102"]
    assert intake.accepted["description"].tolist() == ["FH HYD-7 OUTLET, north side", "GND"]
    assert [(p.x, p.y) for p in intake.accepted.geometry] == [(760000, 2950000), (760001, 2950001)]
    assert intake.exceptions["source_row"].tolist() == [4, 5]
    assert "103,2950001,76000I" in intake.exceptions["row_json"].iloc[0]
    assert {"line-unreadable", "comments-left-out"} <= codes(intake).keys()


def test_points_of_landxml_bring_unit_datum_and_crs_along(tmp_path) -> None:
    path = tmp_path / "points.xml"
    path.write_text(
        '<?xml version="1.0"?><LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" '
        'version="1.2"><Units><Metric linearUnit="meter" elevationUnit="meter"/></Units>'
        '<CoordinateSystem epsgCode="26986" verticalDatum="NAVD88"/><CgPoints>'
        '<CgPoint name="1" code="GND">901000.0 236000.0 30.48</CgPoint>'
        '<CgPoint name="2" code="FH" desc="FLANGE">901001.0 236001.0 30.6</CgPoint>'
        '<CgPoint name="3" pntRef="9"/></CgPoints></LandXML>',
        encoding="utf-8",
    )
    intake = take(str(path), "shots", IntakeWords(), today=TODAY)
    assert str(intake.count) == "3 rows in = 2 accepted + 0 held + 1 rejected"
    assert intake.record["crs"] == "EPSG:26986"
    assert intake.accepted["elev_ft"].tolist() == pytest.approx([100.0, 30.6 / 0.3048])
    assert intake.accepted["shot_code"].tolist() == ["ground", "flange"]
    assert intake.accepted["vertical_datum"].tolist() == ["NAVD88", "NAVD88"]
    assert (intake.accepted.geometry.iloc[0].x, intake.accepted.geometry.iloc[0].y) == (
        236000, 901000,
    )  # fmt: skip
