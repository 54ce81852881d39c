"""One hydrant told whole, and the same hydrants under other windows, from file to screen."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from hydrantgis import job
from hydrantgis.cli import app
from hydrantgis.ground.errors import WordsError
from hydrantgis.intake.words import IntakeWords
from hydrantgis.standards.load import template_of
from hydrantgis.standards.rules import Window

NOW = dt.datetime(2026, 11, 1, 12, 0)
KITS = """
format = 1
catalogue_id = "yard"
title = "Yard"
source = "invented"
read_on = 2026-01-01
[costs]
money = "USD"
source = "invented"
read_on = 2026-01-01
[house_rules]
most_regrade_in = 3
[[family]]
name = "Orrin"
kit_prefix = "O"
lengths_in = [6, 12, 18]
[[family.length]]
length_in = 6
unit_cost = 400
on_hand = 1
[[family.length]]
length_in = 12
unit_cost = 500
"""


@pytest.fixture
def told(tmp_path: Path) -> dict[str, Path]:
    """Six hydrants and their readings, to hose and pumper; kits with two prices."""
    heights = [13.0, 16.0, 19.0, 25.0, 40.0, -20.0]
    ids = [f"H{n}" for n in range(6)]
    points = [shapely.Point(760_000 + 200 * n, 2_950_000) for n in range(6)]
    gpd.GeoDataFrame(
        {"HYD_ID": ids, "BARREL": "dry", "FAMILY": ["Orrin"] * 5 + ["Tolvey"], "BURY_FT": 4.5},
        geometry=points, crs=2249,
    ).to_file(tmp_path / "hydrants.gpkg")  # fmt: skip
    rows = [f"{i},2026-06-01,{h} in,hose-centerline" for i, h in zip(ids, heights, strict=True)]
    rows += ["H0,2026-06-01,11 in,pumper-centerline", "H0,2020-06-01,14 in,hose-centerline"]
    text = "HYDRANT,DATE,HEIGHT,MEASURED_TO\n" + "\n".join(rows) + "\n"
    (tmp_path / "readings.csv").write_text(text, encoding="utf-8")
    (tmp_path / "kits.toml").write_text(KITS, encoding="utf-8")
    register = tmp_path / "register.gpkg"
    job.bring_in(register, tmp_path / "hydrants.gpkg", now=NOW)
    words = IntakeWords(constants={"method": "tape", "measured_from": "grade"})
    job.bring_in(register, tmp_path / "readings.csv", "readings", words=words, now=NOW)
    return {"register": register, "kits": tmp_path / "kits.toml", "folder": tmp_path}


def check(told):
    return job.check(told["register"], rule="nfpa24-2019", kits=str(told["kits"]))


def run(capsys, *words):
    try:
        app.main([str(word) for word in words])
        code = 0
    except SystemExit as end:
        code = int(end.code or 0)
    return code, *capsys.readouterr()


def test_a_hydrant_is_told_with_every_reading_and_every_kit(told):
    found = job.explain(check(told), "H0")
    readings = found.readings
    assert readings["stands"].tolist() == [True, False, False]
    assert readings["height_in"].tolist()[0] == 13.0
    other = readings[readings["measured_to"] == "pumper-centerline"]
    assert other["height_in"].isna().all()
    assert other["why_not"].notna().all()
    options = found.alternatives.set_index("kit_id")
    # 13 in: 6, 12 and 18 in end at 19, 25 and 31 of 18 to 36; the middle is 27
    assert options["outlet_height_after_in"].to_dict() == {"O-6": 19.0, "O-12": 25.0, "O-18": 31.0}
    assert options["fits"].tolist() == [True, True, True]
    assert options["chosen"].to_dict() == {"O-6": False, "O-12": True, "O-18": False}
    assert options["bury_after_ft"].tolist() == [5.0, 5.5, 6.0]
    assert found.checked["kit_id"] == "O-12"
    assert found.kits_for == "kits for Orrin"
    assert any("AWWA C502" in note for note in found.notes)


def test_a_hydrant_that_stands_right_has_alternatives_and_none_chosen(told):
    found = job.explain(check(told), "H2")
    assert len(found.alternatives) == 3
    assert not found.alternatives["chosen"].any()


def test_the_chosen_alternative_is_the_remedy_of_every_hydrant(told):
    result = check(told)
    for hydrant, kit in zip(result.table["hydrant_id"], result.table["kit_id"], strict=True):
        options = job.explain(result, hydrant).alternatives
        chosen = options["kit_id"][options["chosen"]].tolist()
        assert chosen == ([] if pd.isna(kit) else [kit])


def test_a_hydrant_without_kits_is_told_why(told):
    found = job.explain(check(told), "H5")
    assert not len(found.alternatives)
    assert found.kits_for == "no kit in the catalogue fits this family"


def test_a_hydrant_that_is_not_there_is_refused_with_those_near(told):
    with pytest.raises(WordsError, match="H0"):
        job.explain(check(told), "H00")


def test_both_outlets_are_reported_and_the_one_of_the_rule_governs(told):
    path = told["folder"] / "checked.gpkg"
    check(told).write(path)
    outlets = gpd.read_file(path, layer="outlets").query("hydrant_id == 'H0'")
    assert outlets["outlet"].tolist() == ["hose", "pumper"]
    assert outlets["height_in"].tolist() == [13.0, 11.0]
    assert outlets["governs"].tolist() == [True, False]


def test_the_screen_of_one_hydrant(told, capsys):
    words = (
        "check", "--register", told["register"], "--rule", "nfpa24-2019", "--kits", told["kits"],
        "--explain", "H0", "--quiet", "--out", told["folder"] / "none",
    )  # fmt: skip
    code, out, _ = run(capsys, *words)
    assert code == 0
    line = next(line for line in out.splitlines() if "->" in line)
    assert line.split() == ["->", "O-12", "fit,", "+12", "in", "25.00", "in", "ok", "?", "100%"]
    assert "Remedy: extend O-12" in out
    assert "The maker's instructions" in out
    assert not (told["folder"] / "none").exists()
    code, out, _ = run(capsys, *words, "--json")
    assert [row["kit_id"] for row in json.loads(out)["alternatives"]] == ["O-6", "O-12", "O-18"]


def test_windows_are_counted_as_a_check_under_each_would(told):
    result = check(told)
    table = job.sweep(result, job.windows_of(["15:24", "18:"])).table
    assert table["is_now"].tolist() == [True, False, False]
    # 13, 16, 19, 25, 40 and -20 in under 18 to 36, 15 to 24, and 18 or more
    assert table[["low", "inside", "high"]].to_numpy().tolist() == [
        [3, 2, 1], [2, 2, 2], [3, 3, 0],
    ]  # fmt: skip
    assert table[["changed", "leaves", "enters"]].to_numpy().tolist() == [
        [0, 0, 0], [2, 1, 1], [1, 0, 1],
    ]  # fmt: skip
    # 13 and 16 in: twice 12 in to 25 and 28; 13 in: 6 in to 19; 13 and 16 in: 6 in to 19 and 22
    assert table["kits"].tolist() == [2, 1, 2]
    assert table["kits_cost"].tolist() == [1000.0, 400.0, 800.0]
    # 40 in has 4 in to go; 25 in has 1
    assert table["to_regrade"].tolist() == [0, 1, 0]
    assert table["to_lower"].tolist() == [1, 1, 0]


def test_kits_without_a_price_are_told(told):
    table = job.sweep(check(told), [Window(lo_in=31.0, hi_in=34.0)]).table
    # 13 in needs 18 in, 16 in needs 18, 19 in needs 12, 25 in needs 6: two have no price
    assert table["kits"].tolist()[1] == 4
    assert table["kits_unpriced"].tolist()[1] == 2
    assert table["kits_cost"].tolist()[1] == 900.0


def test_the_sweep_is_written_twice_with_the_same_bytes(told):
    result = check(told)
    files = [job.sweep(result, job.windows_of(["15-18:24"])).write(told["folder"] / n)
             for n in ("one", "two")]  # fmt: skip
    assert [path.name for path in files[0]] == ["sweep.csv", "sweep.png", "sweep.svg"]
    for one, two in zip(*files, strict=True):
        assert one.read_bytes() == two.read_bytes()
        assert one.stat().st_size > 200
    rows = pd.read_csv(files[0][0], encoding="utf-8-sig")
    assert rows["window_lo_in"].tolist() == [18, 15, 16, 17, 18]


@pytest.mark.parametrize("word", ["24", "24:15", ":", "15:24:36", "a:b", "24-30:24", "-3:24"])
def test_what_is_no_window_is_refused(word):
    with pytest.raises(WordsError, match="is no window"):
        job.windows_of([word])


def test_every_inch_between_two_ends():
    told = [(w.lo_in, w.hi_in) for w in job.windows_of(["15-17:24-25", "17:25", ":30"])]
    assert told == [(15, 24), (15, 25), (16, 24), (16, 25), (17, 24), (17, 25), (-np.inf, 30)]
    with pytest.raises(WordsError, match="too many"):
        job.windows_of(["1-9:20-40"])


def test_windows_and_works_are_not_mixed(told, capsys):
    code, _, err = run(capsys, "scenario", "--register", told["register"], "--window", "15:24",
                       "--surface", "x")  # fmt: skip
    assert code == 2
    assert "name the one or the other" in err


def test_the_template_of_a_catalogue_comes_on_request(capsys):
    code, out, _ = run(capsys, "kits", "template")
    assert code == 0
    assert out == template_of("kits")


def test_the_alternatives_of_every_job_stand_in_the_season_as_explained_alone(told):
    result = check(told)
    tried = job.plan(result).alternatives
    jobs = result.table["hydrant_id"][result.table["kit_id"].notna()].tolist()
    assert tried["hydrant_id"].drop_duplicates().tolist() == jobs
    alone = pd.concat([job.explain(result, hydrant).alternatives for hydrant in jobs])
    pd.testing.assert_frame_equal(tried, alone.reset_index(drop=True))
