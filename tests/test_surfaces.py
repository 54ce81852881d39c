"""Surfaces and works from file to verdict: rasters, triangles, shots on hydrants, scenarios."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine

from hydrantgis import job
from hydrantgis.ground.errors import CRSError, SourceError, UnitError, WordsError
from hydrantgis.ground.tables import HISTORY
from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.surfaces import SurfaceWords
from hydrantgis.intake.words import IntakeWords
from hydrantgis.register.store import Register

NOW = dt.datetime(2026, 11, 1, 12, 0)
WEST, SOUTH = 760_000.0, 2_950_000.0
US_FT = 1200 / 3937
STANDARDS = {"rule": "nfpa24-2019", "kits": "generic"}
METRES = SurfaceWords(unit=LengthUnit.M, vertical_datum="NAVD88")


def ground_ft(east, north):
    """The plane that all of these surfaces lie on: 100 ft, rising 1 in 50 to the east. [ft]"""
    return 100.0 + 0.02 * (np.asarray(east) - WEST) + 0.0 * np.asarray(north)


@pytest.fixture
def register(tmp_path):
    """Six hydrants 100 ft apart, and tape readings of all but the last two."""
    names = [f"H{n}" for n in range(6)]
    points = [shapely.Point(WEST + 100 * n, SOUTH) for n in range(6)]
    gpd.GeoDataFrame({"HYD_ID": names, "BARREL": "dry"}, geometry=points, crs=2249).to_file(
        tmp_path / "hydrants.gpkg"
    )
    path = tmp_path / "register.gpkg"
    job.bring_in(path, tmp_path / "hydrants.gpkg", now=NOW)
    (tmp_path / "readings.csv").write_text(
        "HYDRANT,DATE,HEIGHT\nH0,2024-06-01,19 in\nH1,2024-06-01,16 in\nH2,2024-06-01,24 in\n"
        "H3,2026-06-01,19 in\n",
        encoding="utf-8",
    )
    said = {"method": "tape", "measured_to": "hose-centerline", "measured_from": "grade"}
    job.bring_in(
        path, tmp_path / "readings.csv", "readings", words=IntakeWords(constants=said), now=NOW
    )
    return path


def raster(path: Path, rise_ft: float = 0.0) -> Path:
    """The plane as metres in survey feet, cells of 10 ft."""
    cell, columns, rows = 10.0, 80, 20
    east = WEST - 100 + cell * (np.arange(columns) + 0.5)
    z = np.tile(ground_ft(east, 0.0) + rise_ft, (rows, 1)) * 0.3048
    with rasterio.open(
        path, "w", driver="GTiff", width=columns, height=rows, count=1, dtype="float64",
        crs="EPSG:2249", transform=Affine(cell, 0, WEST - 100, 0, -cell, SOUTH + 100),
    ) as out:  # fmt: skip
        out.write(z, 1)
    return path


def triangles(path: Path, rise_ft: float, *, east: float = 350.0) -> Path:
    """The plane raised, over the hydrants up to so far east, as LandXML in survey feet."""
    corners = [(x, y) for x in (WEST - 50, WEST + east) for y in (SOUTH - 50, SOUTH + 50)]
    points = "".join(
        f'<P id="{n}">{y:.4f} {x:.4f} {ground_ft(x, y) + rise_ft:.6f}</P>'
        for n, (x, y) in enumerate(corners)
    )
    path.write_text(
        '<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2"><Units>'
        '<Imperial linearUnit="USSurveyFoot" elevationUnit="feet"/></Units><CoordinateSystem '
        'epsgCode="2249" verticalDatum="NAVD88"/><Surfaces><Surface name="street"><Definition '
        f'surfType="TIN"><Pnts>{points}</Pnts><Faces><F>0 1 2</F><F>1 2 3</F></Faces></Definition>'
        "</Surface></Surfaces></LandXML>",
        encoding="utf-8",
    )
    return path


def check(register):
    return job.check(register, **STANDARDS).table.set_index("hydrant_id")


def test_a_terrain_is_read_at_every_hydrant_and_replaced_by_its_name(register, tmp_path):
    dem = raster(tmp_path / "dem.tif")
    done = job.bring_surface(register, [dem], "terrain", words=METRES, rmse_z_ft=0.3, now=NOW)
    assert str(done.count) == "6 rows in = 6 accepted + 0 held + 0 rejected"
    east = WEST + 100.0 * np.arange(6)
    assert done.rows["elev_ft"].to_numpy() == pytest.approx(ground_ft(east, 0), abs=1e-6)
    # a survey foot along is a survey foot, and the rise is told in international ones
    slope = 0.02 * 0.3048 / US_FT
    assert done.rows["slope"].to_numpy() == pytest.approx(slope, rel=1e-6)
    assert done.rows["elev_sd_ft"].iloc[0] == pytest.approx(math.hypot(0.3, slope * 3.0))
    before = register.read_bytes()
    again = job.bring_surface(register, [dem], "terrain", words=METRES, rmse_z_ft=0.3, now=NOW)
    assert again.known
    assert register.read_bytes() == before
    job.bring_surface(register, [dem], "terrain", words=METRES, rmse_z_ft=0.5, now=NOW)
    stands = job.heights.surfaces_of(Register(register), Register(register).hydrants(), "terrain")
    assert [s.name for s in stands] == ["dem"]
    assert stands[0].sd_ft[0] == pytest.approx(math.hypot(0.5, slope * 3.0))


@pytest.mark.parametrize(
    ("words", "rmse", "error", "tells"),
    [
        (SurfaceWords(vertical_datum="NAVD88"), 0.3, UnitError, "does not tell the unit"),
        (SurfaceWords(unit=LengthUnit.M), 0.3, UnitError, "vertical datum"),
        (METRES, None, UnitError, "how accurate the terrain is"),
        (METRES, "from-shots", WordsError, "0 of them lie on it"),
        (METRES, -1.0, WordsError, "greater than 0"),
    ],
)
def test_nothing_of_a_terrain_is_guessed(register, tmp_path, words, rmse, error, tells):
    dem = raster(tmp_path / "dem.tif")
    before = register.read_bytes()
    with pytest.raises(error, match=tells):
        job.bring_surface(register, [dem], "terrain", words=words, rmse_z_ft=rmse, now=NOW)
    assert register.read_bytes() == before


@pytest.mark.parametrize(
    ("rmse", "at_95", "taken", "told"),
    [
        (None, 0.196, 0.1, []),
        (0.1, 0.196, 0.1, []),
        # a report states RMSE 0.046 m and 0.053 m at 95 %, which is of an RMSE of 0.027 m
        (0.046, 0.053, 0.046, ["terrain-statements-differ"]),
        (0.1, 0.53, 0.53 / 1.96, ["terrain-statements-differ"]),
    ],
)
def test_an_accuracy_at_95_percent_is_held_against_the_rmse(
    register, tmp_path, rmse, at_95, taken, told
):
    done = job.bring_surface(
        register, [raster(tmp_path / "dem.tif")], "terrain", words=METRES, rmse_z_ft=rmse,
        accuracy_95_ft=at_95, place_sd_ft=0.0, now=NOW,
    )  # fmt: skip
    assert done.rows["elev_sd_ft"].to_numpy() == pytest.approx(taken)
    assert done.findings["code"].tolist() == told


def test_the_accuracy_may_stand_in_the_metadata_beside_the_file(register, tmp_path):
    dem = raster(tmp_path / "dem.tif")
    (tmp_path / "dem.tif.xml").write_text("<m><vertaccr>RMSEz of 15 cm</vertaccr></m>")
    with pytest.raises(UnitError, match="how accurate the terrain is") as asked:
        job.bring_surface(register, [dem], "terrain", words=METRES, now=NOW)
    assert asked.value.found == "its metadata say: RMSEz of 15 cm"
    told = job.bring_surface(
        register, [dem], "terrain", words=METRES, rmse_z_ft="from-metadata", place_sd_ft=0.0,
        now=NOW,
    )  # fmt: skip
    assert told.rows["elev_sd_ft"].to_numpy() == pytest.approx(0.15 / 0.3048)
    (tmp_path / "dem.tif.xml").unlink()
    with pytest.raises(WordsError, match="metadata tell no RMSEz"):
        job.bring_surface(
            register, [dem], "terrain", words=METRES, rmse_z_ft="from-metadata", now=NOW
        )


def test_a_terrain_elsewhere_is_refused(register, tmp_path):
    dem = raster(tmp_path / "dem.tif")
    said = SurfaceWords(unit=LengthUnit.M, vertical_datum="NAVD88", crs="EPSG:2250")
    with pytest.raises(SourceError, match="tells the ground at no hydrant"):
        job.bring_surface(register, [dem], "terrain", words=said, rmse_z_ft=0.3, now=NOW)


def shoot(register, tmp_path, rows: str, on: str | None = None) -> None:
    path = tmp_path / "shots.txt"
    path.write_text(rows, encoding="utf-8")
    said = {"vertical_datum": "NAVD88", "measured_to": "hose-centerline"}
    words = IntakeWords(
        order="PNEZD", crs="EPSG:2249", units={"elev_ft": LengthUnit.FT},
        constants={**said, **({"shot_date": on} if on else {})},
    )  # fmt: skip
    job.bring_in(register, path, "shots", words=words, now=NOW)


def around(number: int, up: float = 0.0) -> str:
    """Three ground shots round a hydrant."""
    lines = []
    for n, (east, north) in enumerate([(10, 0), (-5, 8), (-5, -8)]):
        x, y = WEST + 100 * number + east, SOUTH + north
        lines.append(f"{number}{n},{y},{x},{float(ground_ft(x, y)) + up:.3f},GND\n")
    return "".join(lines)


def test_a_wrong_order_of_the_letters_is_told_in_letters(register, tmp_path):
    (tmp_path / "shots.txt").write_text(around(4), encoding="utf-8")
    words = IntakeWords(
        order="PENZD", crs="EPSG:2249", units={"elev_ft": LengthUnit.FT},
        constants={"vertical_datum": "NAVD88"},
    )  # fmt: skip
    with pytest.raises(CRSError) as told:
        job.bring_in(register, tmp_path / "shots.txt", "shots", words=words, now=NOW)
    assert "--order PNEZD in place of PENZD" in str(told.value.do)


def test_shots_on_a_hydrant_make_its_height(register, tmp_path):
    rows = around(4) + f"49,{SOUTH},{WEST + 401},{float(ground_ft(WEST + 400, 0)) + 1.75:.3f},"
    shoot(register, tmp_path, rows + "FH H4 OUTLET\n")
    row = check(register).loc["H4"]
    assert row["outlet_height_in"] == pytest.approx(21.0, abs=0.01)
    assert row["height_basis"] == "shot outlet over plane of 3 shots"
    assert row["verdict"] == "inside"
    result = job.check(register, **STANDARDS)
    path = tmp_path / "checked.gpkg"
    result.write(path)
    grades = gpd.read_file(path, layer="grades")
    assert grades[["hydrant_id", "fit", "shots"]].to_numpy().tolist() == [["H4", "plane", 3]]


def outlet(number: int, up: float) -> str:
    """A shot on the hose outlet of a hydrant, so far over the plane. [ft]"""
    x = WEST + 100 * number
    return f"{number}9,{SOUTH},{x},{float(ground_ft(x, SOUTH)) + up:.3f},FH H{number} OUTLET\n"


def test_the_newest_shots_tell_the_grade_and_those_of_before_make_the_drift(register, tmp_path):
    shoot(register, tmp_path, around(4) + outlet(4, 1.75), "2021-06-01")
    shoot(register, tmp_path, around(4, up=0.5) + around(0, up=0.5), "2026-06-01")
    shoot(register, tmp_path, around(0), "2022-06-01")
    result = job.check(register, **STANDARDS)
    table = result.table.set_index("hydrant_id")
    # the outlet stands where it was shot in 2021, over the ground of 2026
    assert table.loc["H4", "outlet_height_in"] == pytest.approx(15.0, abs=0.02)
    assert table.loc["H4", "remedy"] == "extend"
    # a tape read in 2024, between two surveys of the ground
    assert table.loc["H0", "outlet_height_in"] == pytest.approx(13.0, abs=0.02)
    assert table.loc["H0", "remedy"] == "measure"
    moved = result.findings.query("code == 'grade-moved'").set_index("key")["message"]
    assert sorted(moved.index) == ["H0", "H4"]
    assert "from those of 2021-06-01 to those of 2026-06-01" in moved["H4"]
    result.write(tmp_path / "checked.gpkg")
    grades = gpd.read_file(tmp_path / "checked.gpkg", layer="grades").query("hydrant_id == 'H4'")
    assert grades["stands"].tolist() == [False, True]
    assert grades["survey_date"].dt.year.tolist() == [2021, 2026]
    shoot(register, tmp_path, outlet(4, 1.75).replace("49,", "50,"), "2026-06-15")
    (drift,) = (
        job.check(register, **STANDARDS).drifts().query("hydrant_id == 'H4'").to_dict("records")
    )
    # 21 in over the ground of 2021, 15 in over that of 2026
    assert drift["rate_in_per_yr"] == pytest.approx(-6.0 / (1840 / 365.25), abs=0.01)


def test_under_a_design_the_ground_that_a_height_stood_over_counts_no_more(register, tmp_path):
    shots = [around(5).splitlines(keepends=True)[0], outlet(5, 1.75)]
    shoot(register, tmp_path, "".join(shots), "2026-06-01")
    # a lone shot 10 ft away tells the ground to 0.29 ft
    row = check(register).loc["H5"]
    lone = math.hypot(0.02, 0.05 * 10 * US_FT / 0.3048 / math.sqrt(3)) * 12
    assert row["height_sd_in"] == pytest.approx(math.hypot(0.24, lone), rel=1e-3)
    job.bring_surface(
        register,
        [triangles(tmp_path / "street.xml", 0.25, east=550.0)],
        "design",
        rmse_z_ft=0.05,
        now=NOW,
    )
    then = job.scenario(register, surface="street", **STANDARDS).table.set_index("hydrant_id")
    # the outlet 1.75 ft over the plane, the design 0.25 ft: whatever the ground is
    assert then.loc["H5", "outlet_height_then_in"] == pytest.approx(18.0, abs=0.01)
    store = Register(register)
    (design,) = job.heights.surfaces_of(store, store.hydrants(), "design")
    sure = math.hypot(0.24, 12 * design.sd_ft[5])
    assert then.loc["H5", "height_sd_then_in"] == pytest.approx(sure)
    assert then.loc["H5", "grade_change_sd_in"] == pytest.approx(
        math.hypot(12 * design.sd_ft[5], lone)
    )


def test_a_height_of_no_day_is_not_trusted_where_the_grade_has_changed(register, tmp_path):
    rows = "HYDRANT,HEIGHT\nH4,19 in\nH5,19 in\n"
    (tmp_path / "undated.csv").write_text(rows, encoding="utf-8")
    said = {"method": "tape", "measured_to": "hose-centerline", "measured_from": "grade"}
    words = IntakeWords(constants=said)
    job.bring_in(register, tmp_path / "undated.csv", "readings", words=words, now=NOW)
    assert check(register).loc[["H4", "H5"], "verdict"].tolist() == ["inside", "inside"]
    works(register, tmp_path, "2025-05-01", east=450)
    result = job.check(register, **STANDARDS)
    told = result.findings.query("code == 'grade-changed-undated'")
    assert told["key"].tolist() == ["H4"]
    table = result.table.set_index("hydrant_id")
    assert table.loc[["H4", "H5"], "outlet_height_in"].tolist() == [19.0, 19.0]
    assert result.heights.basis["screening"].tolist()[4:] == [True, False]


def test_works_that_are_built_stand_in_the_history_of_the_hydrants(register, tmp_path):
    def told():
        events = Register(register).read(HISTORY, where="event = 'grade_changed'")
        return events[["hydrant_id", "event_date", "note"]].astype("str").to_numpy().tolist()

    works(register, tmp_path, None)
    works(register, tmp_path, "2027-05-01")
    assert told() == []
    expected = [[f"H{n}", "2025-05-01", "grade +2 in by work OVL"] for n in range(3)]
    for built in ("2025-05-01", None, "2025-05-01"):
        works(register, tmp_path, built)
        assert told() == expected
    assert Register(register).hydrants()["hydrant_id"].tolist() == [f"H{n}" for n in range(6)]


def test_works_of_a_day_to_come_are_planned(register, tmp_path):
    works(register, tmp_path, "2027-05-01")
    result = job.check(register, **STANDARDS)
    assert result.table["outlet_height_in"].tolist()[:3] == [19.0, 16.0, 24.0]
    assert result.findings.query("code == 'work-ahead'")["key"].tolist() == ["OVL"]
    then = job.scenario(register, works=["OVL"], **STANDARDS).table
    assert then["outlet_height_then_in"].tolist()[:3] == [17.0, 14.0, 22.0]


def test_a_height_of_before_another_kit_orders_none(register, tmp_path):
    for length in (0, 12):
        points = [shapely.Point(WEST + 100 * n, SOUTH) for n in range(2)]
        told = {"HYD_ID": ["H0", "H1"], "EXTENSION": [f"{length} in", None]}
        gpd.GeoDataFrame(told, geometry=points, crs=2249).to_file(tmp_path / "kits.gpkg")
        words = IntakeWords(fields={"installed_extension_in": "EXTENSION"})
        job.bring_in(register, tmp_path / "kits.gpkg", words=words, adds=True,
                     now=NOW + dt.timedelta(days=length))  # fmt: skip
        result = job.check(register, **STANDARDS)
        told_of = result.findings.query("code == 'kit-fitted-since'")
        assert told_of["key"].tolist() == ([] if length == 0 else ["H0"])
    assert "on 2026-11-13" in told_of["message"].iloc[0]
    assert result.heights.basis["screening"].tolist()[:2] == [True, False]


def test_an_outlet_whose_point_is_not_said_is_told_and_can_be_said_later(register, tmp_path):
    top = float(ground_ft(WEST + 400, 0)) + 1.75
    path = tmp_path / "shots.txt"
    path.write_text(
        around(4) + f"49,{SOUTH},{WEST + 400},{top:.3f},FH H4 OUTLET\n", encoding="utf-8"
    )
    told = {"order": "PNEZD", "crs": "EPSG:2249", "units": {"elev_ft": LengthUnit.FT}}
    datum = {"vertical_datum": "NAVD88"}
    first, _ = job.bring_in(
        register, path, "shots", words=IntakeWords(constants=datum, **told), now=NOW
    )
    assert set(first.findings["code"]) == {"outlet-unsaid", "elev-sd-assumed"}
    assert check(register).loc["H4", "verdict"] == "unresolved"
    said = IntakeWords(constants={**datum, "measured_to": "hose-centerline"}, **told)
    _, added = job.bring_in(register, path, "shots", words=said, now=NOW)
    assert (added.rows, added.struck) == (4, 4)
    assert added.findings["code"].tolist() == ["told-before"]
    assert check(register).loc["H4", "outlet_height_in"] == pytest.approx(21.0, abs=0.01)


def test_an_outlet_over_terrain_alone_is_screening_and_orders_no_kit(register, tmp_path):
    elev = float(ground_ft(WEST + 400, 0)) + 0.5
    shoot(register, tmp_path, f"40,{SOUTH},{WEST + 400},{elev:.3f},FH H4 OUTLET\n")
    assert check(register).loc["H4", "verdict"] == "unresolved"
    job.bring_surface(
        register, [raster(tmp_path / "dem.tif")], "terrain", words=METRES, rmse_z_ft=0.3, now=NOW
    )
    row = check(register).loc["H4"]
    assert row["outlet_height_in"] == pytest.approx(6.0, abs=0.01)
    assert (row["verdict"], row["remedy"]) == ("low", "measure")


def test_shots_tell_how_good_a_terrain_is_and_that_is_used(register, tmp_path):
    up = [0.2, -0.1, 0.15, 0.05, -0.2, 0.1, 0.0]
    shoot(register, tmp_path, "".join(around(n % 6, u).replace(f"\n{n % 6}", f"\n{n}9")
                                      for n, u in enumerate(up[:6])))  # fmt: skip
    few = job.bring_surface(
        register, [raster(tmp_path / "dem.tif")], "terrain", words=METRES, rmse_z_ft=0.3, now=NOW
    )
    assert few.accuracy.points == 18
    assert not few.accuracy.enough
    assert "terrain-checked" in set(few.findings["code"])
    shoot(register, tmp_path, around(2, up[6]).replace("2", "7", 1).replace("\n2", "\n7"))
    told = job.bring_surface(
        register, [tmp_path / "dem.tif"], "terrain", words=METRES, rmse_z_ft="from-shots", now=NOW
    )
    errors = -np.repeat(up, 3)
    assert told.accuracy.points == 21
    assert told.accuracy.rmse_z_ft == pytest.approx(np.sqrt(np.mean(errors**2)), abs=1e-3)
    slope = 0.02 * 0.3048 / US_FT
    expected = math.hypot(told.accuracy.rmse_z_ft, slope * 3.0)
    assert told.rows["elev_sd_ft"].iloc[0] == pytest.approx(expected)


def test_terrain_of_two_days_carries_a_height_over_the_change(register, tmp_path):
    for on, rise in (("2020-04-01", 0.0), ("2025-04-01", 1.0)):
        dem = raster(tmp_path / f"dem{on[:4]}.tif", rise)
        job.bring_surface(
            register, [dem], "terrain", words=METRES, rmse_z_ft=0.1,
            on=dt.date.fromisoformat(on), now=NOW,
        )  # fmt: skip
    table = check(register)
    # the reading of 2024 lies under a foot of fill, that of 2026 was taken on it
    assert table.loc["H2", "outlet_height_in"] == pytest.approx(12.0, abs=0.01)
    assert table.loc["H2", "remedy"] == "measure"
    assert table.loc["H3", "outlet_height_in"] == 19.0
    works(register, tmp_path, "2024-05-01")
    # built between the first terrain and the reading of 2024: the reading stands on them
    assert check(register).loc["H2", "outlet_height_in"] == 24.0
    slope = 0.02 * 0.3048 / US_FT
    one = math.hypot(0.1, slope * 3.0) * 12
    # of the 1826 days between the terrains 1522 had passed: the reading may be of after the fill
    held = 12.0 * math.sqrt(1522 / 1826)
    assert table.loc["H2", "height_sd_in"] == pytest.approx(
        math.hypot(0.25, one, one, held), abs=0.01
    )


def works(register, tmp_path, built: str | None, *, east: float = 250.0) -> None:
    shape = shapely.box(WEST - 50, SOUTH - 50, WEST + east, SOUTH + 50)
    told = {"PROJECT_NO": ["OVL"], "LIFT_IN": [2.0], "SD": ["0.5 in"], "BUILT": [built]}
    frame = gpd.GeoDataFrame(told, geometry=[shape], crs=2249)
    frame.to_file(tmp_path / "works.gpkg")
    words = IntakeWords(fields={"built_on": "BUILT", "change_sd_in": "SD"})
    job.bring_in(register, tmp_path / "works.gpkg", "works", words=words, now=NOW)


def test_works_that_are_built_make_older_readings_stale(register, tmp_path):
    works(register, tmp_path, "2025-05-01")
    result = job.check(register, **STANDARDS)
    table = result.table.set_index("hydrant_id")
    assert table["outlet_height_in"].tolist()[:4] == [17.0, 14.0, 22.0, 19.0]
    assert table["remedy"].tolist()[:2] == ["measure", "measure"]
    stale = result.findings.query("code == 'grade-changed-since'")
    assert stale["key"].tolist() == ["H0", "H1", "H2"]
    assert table.loc["H0", "height_sd_in"] == pytest.approx(math.hypot(0.25, 0.5))


def test_a_scenario_builds_nothing_twice(register, tmp_path):
    works(register, tmp_path, "2025-05-01")
    # 2 in are off the reading of 19 in already
    assert check(register).loc["H0", "outlet_height_in"] == 17.0
    with pytest.raises(WordsError, match="`OVL` is built"):
        job.scenario(register, works=["OVL"], **STANDARDS)


def test_a_scenario_of_planned_works_says_who_leaves_and_which_jobs_are_wrong(register, tmp_path):
    works(register, tmp_path, None)
    assert check(register).loc["H0", "outlet_height_in"] == 19.0
    before = register.read_bytes()
    told = job.scenario(register, **STANDARDS)
    assert register.read_bytes() == before
    table = told.table.set_index("hydrant_id")
    assert table["effect"].tolist() == [
        "leaves", "stays out", "stays inside", "stays inside", "not told", "not told",
    ]  # fmt: skip
    assert table["outlet_height_then_in"].tolist()[:4] == [17.0, 14.0, 22.0, 19.0]
    assert told.counts()["leaves"] == 1
    assert told.counts()["on_changed_grade"] == 3
    # 16 in with a kit of 12 in is 28, the nearest to the middle of 18 to 36; so is 14 with one
    assert table.loc["H1", ["kit_length_then_in", "job_wrong"]].tolist() == [12.0, False]
    path = tmp_path / "scenario.gpkg"
    told.write(path)
    assert len(gpd.read_file(path, layer="scenario")) == 6
    notes = gpd.read_file(path, layer="provenance")
    assert notes["value"].iloc[0] == "works OVL"
    with pytest.raises(WordsError, match="no work `X`"):
        job.scenario(register, works=["X"], **STANDARDS)


def test_a_scenario_of_a_design_reaches_as_far_as_the_design_and_the_grade_are_known(
    register, tmp_path
):
    job.bring_surface(register, [triangles(tmp_path / "street.xml", 0.5)], "design", now=NOW)
    blind = job.scenario(register, surface="street", **STANDARDS)
    assert blind.counts()["change_not_known"] == 4
    assert set(blind.findings["code"]) == {"no-present-grade", "beyond-design"}
    shoot(register, tmp_path, around(0) + around(1))
    table = job.scenario(register, surface="street", **STANDARDS).table.set_index("hydrant_id")
    change = table["grade_change_in"]
    assert change.tolist() == pytest.approx(
        [6.0, 6.0, math.nan, math.nan, 0.0, 0.0], abs=0.01, nan_ok=True
    )
    assert table["outlet_height_then_in"].tolist()[:2] == pytest.approx([13.0, 10.0], abs=0.01)
    assert table["verdict_then"].tolist()[2] == "unresolved"
    with pytest.raises(WordsError, match="no design surface `lane`"):
        job.scenario(register, surface="lane", **STANDARDS)
    with pytest.raises(WordsError, match="a surface and works"):
        job.scenario(register, surface="street", works=["OVL"], **STANDARDS)


def test_a_design_leaves_a_terrain_of_its_name_where_it_is(register, tmp_path):
    for role, rise in (("terrain", 0.0), ("design", 0.5)):
        path = triangles(tmp_path / "street.xml", rise)
        job.bring_surface(register, [path], role, rmse_z_ft=0.1, now=NOW)
    store = Register(register)
    for role, rise in (("terrain", 0.0), ("design", 0.5)):
        (told,) = job.heights.surfaces_of(store, store.hydrants(), role)
        expected = ground_ft(WEST + 100.0 * np.arange(4), 0) + rise
        assert told.elev_ft[:4] == pytest.approx(expected, abs=1e-5)


def test_a_design_changes_no_grade_that_was_built_to_it_already(register, tmp_path):
    dem, street = raster(tmp_path / "dem.tif"), triangles(tmp_path / "street.xml", 0.5)
    job.bring_surface(
        register, [dem], "terrain", words=METRES, rmse_z_ft=0.1, on=dt.date(2023, 4, 1), now=NOW
    )
    job.bring_surface(register, [street], "design", now=NOW)
    works(register, tmp_path, "2025-05-01")
    table = job.scenario(register, surface="street", **STANDARDS).table.set_index("hydrant_id")
    # 2 of the 6 in between terrain and design are built at H0, H1 and H2, and off their heights
    assert table["outlet_height_in"].tolist()[:3] == [17.0, 14.0, 22.0]
    assert table["grade_change_in"].tolist()[:4] == pytest.approx([4.0, 4.0, 4.0, 6.0], abs=0.01)
    assert table["outlet_height_then_in"].tolist()[:3] == pytest.approx([13, 10, 18], abs=0.01)


def test_a_surface_that_reaches_nobody_is_refused(register, tmp_path):
    path = triangles(tmp_path / "street.xml", 0.0, east=-40.0)
    with pytest.raises(SourceError, match="at no hydrant"):
        job.bring_surface(register, [path], "design", now=NOW)


def test_hydrants_told_later_are_not_on_a_surface_until_it_is_read_again(register, tmp_path):
    dem = raster(tmp_path / "dem.tif")
    job.bring_surface(register, [dem], "terrain", words=METRES, rmse_z_ft=0.3, now=NOW)
    more = gpd.GeoDataFrame(
        {"HYD_ID": ["H9"]}, geometry=[shapely.Point(WEST + 50, SOUTH)], crs=2249
    )
    more.to_file(tmp_path / "more.gpkg")
    job.bring_in(register, tmp_path / "more.gpkg", now=NOW)
    store = Register(register)
    elev = job.heights.surfaces_of(store, store.hydrants(), "terrain")[0].elev_ft
    assert pd.Series(elev).isna().tolist() == [False] * 6 + [True]
    job.bring_surface(register, [dem], "terrain", words=METRES, rmse_z_ft=0.3, now=NOW)
    elev = job.heights.surfaces_of(store, store.hydrants(), "terrain")[0].elev_ft
    assert np.isfinite(elev).all()


def test_a_hydrant_that_moved_is_on_no_surface_until_it_is_read_again(register, tmp_path):
    dem = raster(tmp_path / "dem.tif")
    job.bring_surface(register, [dem], "terrain", words=METRES, rmse_z_ft=0.3, now=NOW)
    points = [shapely.Point(WEST + 100 * n + 60 * (n == 0), SOUTH) for n in range(6)]
    names = [f"H{n}" for n in range(6)]
    frame = gpd.GeoDataFrame({"HYD_ID": names, "BARREL": "dry"}, geometry=points, crs=2249)
    frame.to_file(tmp_path / "hydrants.gpkg")
    _, added = job.bring_in(register, tmp_path / "hydrants.gpkg", now=NOW)
    told = added.findings.query("code == 'surface-left'")
    assert told["key"].tolist() == ["H0"]
    store = Register(register)
    (stands,) = job.heights.surfaces_of(store, store.hydrants(), "terrain")
    assert np.isnan(stands.elev_ft).tolist() == [True] + [False] * 5
    job.bring_surface(register, [dem], "terrain", words=METRES, rmse_z_ft=0.3, now=NOW)
    (stands,) = job.heights.surfaces_of(store, store.hydrants(), "terrain")
    assert stands.elev_ft[0] == pytest.approx(ground_ft(WEST + 60, 0), abs=1e-6)


def test_elevations_of_another_datum_are_converted_where_the_way_is_known(tmp_path):
    """EPSG 5404: Black Sea heights are 0.4 m more than Baltic 1977 ones, accurate to 0 m."""
    east, north = 720_600.0, 4_613_900.0  # UTM 37N, on the eastern shore of that sea
    points = [shapely.Point(east + 30 * n, north) for n in range(3)]
    gpd.GeoDataFrame({"HYD_ID": ["A", "B", "C", "D"]}, geometry=[*points, None], crs=32637).to_file(
        tmp_path / "hydrants.gpkg"
    )
    register = tmp_path / "register.gpkg"
    job.bring_in(register, tmp_path / "hydrants.gpkg", now=NOW)
    rows = []
    for n in range(3):
        for k, (dx, dy) in enumerate([(3, 0), (-1.5, 2.4), (-1.5, -2.4)]):
            rows.append(f"{n}{k},{north + dy},{east + 30 * n + dx},10.0,GND\n")
    (tmp_path / "shots.txt").write_text("".join(rows), encoding="utf-8")
    words = IntakeWords(order="PNEZD", crs="EPSG:32637", units={"elev_ft": LengthUnit.M},
                        constants={"vertical_datum": "Baltic 1977"})  # fmt: skip
    job.bring_in(register, tmp_path / "shots.txt", "shots", words=words, now=NOW)
    (tmp_path / "readings.csv").write_text(
        "HYDRANT,OUTLET_ELEV,DATUM\nA,10.9 m,Black Sea\nB,10.5 m,Baltic 1977\nC,10.5 m,plant\n"
        "D,10.9 m,Black Sea\n",
        encoding="utf-8",
    )
    said = {"method": "level", "measured_to": "hose-centerline"}
    job.bring_in(
        register, tmp_path / "readings.csv", "readings", words=IntakeWords(constants=said), now=NOW
    )
    result = job.check(register, **STANDARDS)
    heights = result.table["outlet_height_in"]
    assert heights.tolist()[:2] == pytest.approx([0.5 / 0.0254] * 2, abs=1e-3)
    assert result.table["verdict"].tolist() == ["inside", "inside", "unresolved", "unresolved"]
    # D has no place, where its elevation has to stay as it is
    assert "1 elevations in Black Sea" in " ".join(result.findings["message"].dropna())
    told = result.findings.set_index("code")["message"]
    assert "Baltic 1977 height to Black Sea height (1)" in told["datum-converted"]
    assert "nothing is known of `plant`" in told["datum-not-converted"]
    assert "datums-differ" in told.index


def test_a_grid_that_is_not_here_is_named(register, tmp_path):
    shoot(register, tmp_path, around(4))
    told = "HYDRANT,OUTLET_ELEV,DATUM\nH4,112 ft,NGVD29\nH5,112 ft,NGVD29\n"
    (tmp_path / "more.csv").write_text(told, encoding="utf-8")
    said = {"method": "level", "measured_to": "hose-centerline"}
    job.bring_in(
        register, tmp_path / "more.csv", "readings", words=IntakeWords(constants=said), now=NOW
    )
    result = job.check(register, **STANDARDS)
    message = result.findings.query("code == 'datum-not-converted'")["message"].iloc[0]
    assert "NGVD29 into NAVD88: the grid us_noaa_vertcon" in message
    verdicts = result.table.set_index("hydrant_id")["verdict"]
    assert verdicts[["H4", "H5"]].tolist() == ["unresolved", "unresolved"]
    # near the second nobody has shot any ground: the datum is not what is missing
    why = result.findings.set_index("key")["code"]
    assert why[["H4", "H5"]].tolist() == ["datums-differ", "no-grade"]


def test_a_hydrant_that_is_not_judged_leaves_no_window(register, tmp_path):
    rows = "HYDRANT,DATE,HEIGHT\nH0,2014-06-01,29 in\nH1,2014-06-01,26 in\n"
    (tmp_path / "old.csv").write_text(rows, encoding="utf-8")
    said = {"method": "tape", "measured_to": "hose-centerline", "measured_from": "grade"}
    words = IntakeWords(constants=said)
    job.bring_in(register, tmp_path / "old.csv", "readings", words=words, now=NOW)
    assert job.check(register, **STANDARDS).drifts()["hydrant_id"].tolist() == ["H0", "H1"]
    wet = gpd.GeoDataFrame(
        {"HYD_ID": ["H0"], "BARREL": ["wet"]}, geometry=[shapely.Point(WEST, SOUTH)], crs=2249
    )
    wet.to_file(tmp_path / "wet.gpkg")
    job.bring_in(register, tmp_path / "wet.gpkg", now=NOW)
    told = job.check(register, **STANDARDS).drifts()
    assert told["hydrant_id"].tolist() == ["H1"]
    # 26 in to 16 in from 2014 to 2024, 3653 days
    assert told["rate_in_per_yr"].tolist() == pytest.approx([-10 / (3653 / 365.25)])


def many(up: float, wrong: float = 0.0) -> str:
    """Twenty-four ground shots on the plane lifted, of which the last lies wrong."""
    rows = []
    for n in range(24):
        x, y = WEST + 25 * n, SOUTH + 20 + n
        z = float(ground_ft(x, y)) + up + (wrong if n == 23 else 0.0)
        rows.append(f"9{n:02},{y},{x},{z:.3f},GND\n")
    return "".join(rows)


def test_a_terrain_that_enough_shots_contradict_is_taken_for_what_they_say(register, tmp_path):
    shoot(register, tmp_path, many(-0.5))
    told = job.bring_surface(
        register, [raster(tmp_path / "dem.tif")], "terrain", words=METRES, rmse_z_ft=0.03, now=NOW
    )
    assert "terrain-worse-than-stated" in set(told.findings["code"])
    slope = 0.02 * 0.3048 / US_FT
    assert told.rows["elev_sd_ft"].iloc[0] == pytest.approx(math.hypot(0.5, slope * 3), abs=1e-3)


def test_a_terrain_in_another_unit_than_is_said_is_refused_by_the_shots(register, tmp_path):
    shoot(register, tmp_path, many(0.0))
    feet = SurfaceWords(unit=LengthUnit.FT, vertical_datum="NAVD88")
    with pytest.raises(SourceError, match="is not that of the ground shots"):
        job.bring_surface(
            register, [raster(tmp_path / "dem.tif")], "terrain", words=feet, rmse_z_ft=0.3, now=NOW
        )


def test_a_wrong_shot_does_not_tell_how_good_a_terrain_is(register, tmp_path):
    shoot(register, tmp_path, many(0.0, wrong=-95.0))
    told = job.bring_surface(
        register, [raster(tmp_path / "dem.tif")], "terrain", words=METRES, rmse_z_ft=0.3, now=NOW
    )
    assert told.accuracy.points == 23
    assert told.accuracy.rmse_z_ft < 0.01
    blunder = told.findings.query("code == 'terrain-shot-blunder'")
    assert blunder["key"].tolist() == ["923"]
    assert blunder["message"].tolist() == ["the terrain lies +95.0 ft over it"]


def test_the_terrain_of_a_day_to_come_is_none(register, tmp_path):
    with pytest.raises(WordsError, match="not known yet"):
        job.bring_surface(
            register, [raster(tmp_path / "dem.tif")], "terrain", words=METRES, rmse_z_ft=0.3,
            on=dt.date(2027, 1, 1), now=NOW,
        )  # fmt: skip


def test_what_was_shot_after_works_tells_their_change_better_than_they_do(register, tmp_path):
    works(register, tmp_path, "2025-05-01")  # 2 in, as planned
    shoot(register, tmp_path, around(0), "2023-06-01")
    shoot(register, tmp_path, around(0, up=0.5), "2026-06-01")
    table = check(register)
    assert table.loc["H0", "outlet_height_in"] == pytest.approx(13.0, abs=0.02)
    assert table.loc["H1", "outlet_height_in"] == 14.0


def test_over_ground_that_changed_at_once_there_is_no_drift(register, tmp_path):
    rows = "HYDRANT,DATE,HEIGHT\nH0,2014-06-01,29 in\nH1,2014-06-01,26 in\n"
    (tmp_path / "old.csv").write_text(rows, encoding="utf-8")
    said = {"method": "tape", "measured_to": "hose-centerline", "measured_from": "grade"}
    words = IntakeWords(constants=said)
    job.bring_in(register, tmp_path / "old.csv", "readings", words=words, now=NOW)
    shoot(register, tmp_path, around(0), "2023-06-01")
    shoot(register, tmp_path, around(0, up=0.5), "2026-06-01")
    assert job.check(register, **STANDARDS).drifts()["hydrant_id"].tolist() == ["H1"]


def test_one_point_under_two_numbers_is_one_shot(register, tmp_path):
    twice = around(4) + around(4).replace("\n4", "\n7").replace("40,", "70,", 1)
    shoot(register, tmp_path, twice + outlet(4, 1.75))
    assert check(register).loc["H4", "height_basis"] == "shot outlet over plane of 3 shots"


def test_shots_in_another_unit_than_their_places_are_told(register, tmp_path):
    words = IntakeWords(
        order="PNEZD", crs="EPSG:2249", units={"elev_ft": LengthUnit.M},
        constants={"vertical_datum": "NAVD88"},
    )  # fmt: skip
    (tmp_path / "s.txt").write_text(around(4), encoding="utf-8")
    intake, _ = job.bring_in(register, tmp_path / "s.txt", "shots", words=words, now=NOW)
    told = intake.findings.query("code == 'elev-unit-differs'")["message"].iloc[0]
    assert told.startswith("elevations are in m, and NAD83 / Massachusetts Mainland (ftUS)")


def test_shots_of_a_day_to_come_are_held(register, tmp_path):
    (tmp_path / "shots.txt").write_text(around(4), encoding="utf-8")
    words = IntakeWords(
        order="PNEZD", crs="EPSG:2249", units={"elev_ft": LengthUnit.FT},
        constants={"vertical_datum": "NAVD88", "shot_date": "2027-01-01"},
    )  # fmt: skip
    intake, added = job.bring_in(register, tmp_path / "shots.txt", "shots", words=words, now=NOW)
    assert (intake.count.held, added.rows) == (3, 0)


def test_an_outlet_that_the_crew_calls_otherwise_is_told(register, tmp_path):
    rows = f"49,{SOUTH},{WEST + 400},109.75,FH H4 PUMPER OUTLET\n"
    (tmp_path / "shots.txt").write_text(rows, encoding="utf-8")
    words = IntakeWords(
        order="PNEZD", crs="EPSG:2249", units={"elev_ft": LengthUnit.FT},
        constants={"vertical_datum": "NAVD88", "measured_to": "hose-centerline"},
    )  # fmt: skip
    intake, _ = job.bring_in(register, tmp_path / "shots.txt", "shots", words=words, now=NOW)
    told = intake.findings.query("code == 'outlet-words-differ'")
    assert told["message"].tolist() == ["taken as hose-centerline"]
