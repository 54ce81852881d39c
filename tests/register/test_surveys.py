"""Surveys told again: corrected, read otherwise, struck and told once more."""

from __future__ import annotations

import datetime as dt

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from hydrantgis import job
from hydrantgis.ground.errors import RegisterError
from hydrantgis.ground.tables import HISTORY, SHOTS
from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.words import IntakeWords
from hydrantgis.register.store import Register

NOW = dt.datetime(2026, 11, 1, 12, 0)
WEST, SOUTH = 760_000.0, 2_950_000.0


@pytest.fixture
def register(tmp_path):
    points = [shapely.Point(WEST + 100 * n, SOUTH) for n in range(3)]
    gpd.GeoDataFrame({"HYD_ID": ["A", "B", "C"]}, geometry=points, crs=2249).to_file(
        tmp_path / "hydrants.gpkg"
    )
    path = tmp_path / "register.gpkg"
    job.bring_in(path, tmp_path / "hydrants.gpkg", now=NOW)
    return path


def tell_readings(register, text, name="heights.csv", *, replace=False, method="tape"):
    path = register.with_name(name)
    path.write_text("HYDRANT,DATE,HEIGHT\n" + text, encoding="utf-8")
    said = {"method": method, "measured_to": "any-centerline", "measured_from": "grade"}
    words = IntakeWords(constants=said)
    return job.bring_in(register, path, "readings", words=words, replace=replace, now=NOW)[1]


def heights(register):
    told = Register(register).readings().sort_values(["hydrant_id", "outlet_height_in"])
    return list(zip(told["hydrant_id"], told["outlet_height_in"], told["method"], strict=True))


def test_a_corrected_file_of_readings_strikes_what_it_told_and_holds_no_more(register):
    tell_readings(register, "A,2026-06-01,20 in\nB,2026-06-01,30 in\n")
    tell_readings(register, "C,2026-06-01,22 in\n", name="others.csv")
    text = "A,2026-06-01,20 in\nB,2026-06-01,13 in\n"
    added = tell_readings(register, text, replace=True)
    assert (added.rows, added.struck, added.unchanged) == (1, 1, 1)
    assert heights(register) == [("A", 20.0, "tape"), ("B", 13.0, "tape"), ("C", 22.0, "tape")]
    # nothing is taken out of the history
    history = Register(register).read(HISTORY, where="event IN ('measured', 'struck')")
    assert history["event"].tolist() == ["measured"] * 4 + ["struck"]
    before = register.read_bytes()
    assert tell_readings(register, text, replace=True).known
    assert register.read_bytes() == before


def test_a_struck_reading_can_be_told_once_more(register):
    first = "A,2026-06-01,20 in\n"
    tell_readings(register, first)
    tell_readings(register, "A,2026-06-01,21 in\n", replace=True)
    tell_readings(register, first, replace=True)
    assert heights(register) == [("A", 20.0, "tape")]
    tell_readings(register, "A,2026-06-01,21 in\n", replace=True)
    assert heights(register) == [("A", 21.0, "tape")]


def test_without_replace_readings_of_one_file_name_add_up(register):
    tell_readings(register, "A,2025-06-01,20 in\n")
    added = tell_readings(register, "A,2026-06-01,19 in\n")
    assert (added.rows, added.struck) == (1, 0)
    assert len(heights(register)) == 2


def test_the_same_bytes_read_otherwise_take_the_place_of_what_they_told(register):
    text = "A,2026-06-01,20 in\nB,2026-06-01,30 in\n"
    for method in ("tape", "eye", "tape"):
        added = tell_readings(register, text, method=method)
        assert added.rows == 2
        assert heights(register) == [("A", 20.0, method), ("B", 30.0, method)]
    assert tell_readings(register, text).known


def tell_shots(register, rows, name="job.txt", *, replace=False, on=None):
    path = register.with_name(name)
    path.write_text(rows, encoding="utf-8")
    said = {"vertical_datum": "NAVD88", **({"shot_date": on} if on else {})}
    words = IntakeWords(
        order="PNEZD", crs="EPSG:2249", units={"elev_ft": LengthUnit.FT}, constants=said
    )
    return job.bring_in(register, path, "shots", words=words, replace=replace, now=NOW)[1]


def shots(register):
    told = pd.DataFrame(Register(register).read(SHOTS)).sort_values(["shot_id", "elev_ft"])
    return list(zip(told["shot_id"], told["elev_ft"], told["shot_code"], strict=True))


def ground(up=0.0, code="GND"):
    return "".join(
        f"{n},{SOUTH + n},{WEST + 5},{100 + n / 10 + up:.3f},{code}\n" for n in (1, 2, 3)
    )


@pytest.mark.parametrize("other", [ground(0.35), ground(code="TC")])
def test_points_of_one_number_place_and_day_cannot_be_told_two_ways(register, other):
    tell_shots(register, ground(), on="2026-05-01")
    before = register.read_bytes()
    with pytest.raises(RegisterError, match="--replace") as told:
        tell_shots(register, other, on="2026-05-01")
    assert "3 of 3" in str(told.value)
    assert register.read_bytes() == before
    added = tell_shots(register, other, on="2026-05-01", replace=True)
    assert (added.rows, added.struck) == (3, 3)
    assert len(shots(register)) == 3


def test_the_same_points_shot_on_another_day_are_another_survey(register):
    tell_shots(register, ground(), on="2023-05-01")
    added = tell_shots(register, ground(0.5), name="later.txt", on="2026-05-01")
    assert (added.rows, added.struck) == (3, 0)
    assert len(shots(register)) == 6


def test_a_corrected_day_takes_the_place_of_the_wrong_one(register):
    tell_shots(register, ground(), on="2026-05-01")
    added = tell_shots(register, ground(), on="2025-05-01")
    # the same bytes, read otherwise
    assert (added.rows, added.struck) == (3, 3)
    days = Register(register).read(SHOTS)["shot_date"].dt.year
    assert days.tolist() == [2025] * 3


def test_replacing_one_file_leaves_the_shots_of_others(register):
    tell_shots(register, ground(), on="2026-05-01")
    other = f"9,{SOUTH},{WEST + 7},101.000,GND\n"
    tell_shots(register, other, name="other.txt", on="2026-05-01")
    first = ground(0.2).splitlines(keepends=True)[0]
    tell_shots(register, first, on="2026-05-01", replace=True)
    assert [(number, elev) for number, elev, _ in shots(register)] == [("1", 100.3), ("9", 101.0)]


def test_shots_far_above_all_others_are_told(register):
    tell_shots(register, ground(), on="2026-05-01")
    added = tell_shots(register, ground(3000.0), name="metres.txt", on="2026-06-01")
    assert added.findings["code"].tolist() == ["elevations-apart"]
    assert "about 3,100 ft high" in added.findings["message"].iloc[0]
