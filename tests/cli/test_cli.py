"""The command line: words, streams, exit codes, and that nothing is written on a dry run."""

from __future__ import annotations

import ast
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import geopandas as gpd
import pytest

from hydrantgis import __version__
from hydrantgis.cli import app

ROOT = Path(__file__).parent.parent.parent
DATA = ROOT / "data_demo"
COMMANDS = (
    ["demo"], ["inspect"], ["import"], ["survey"], ["check"], ["plan"], ["map"],
    ["rules", "list"], ["rules", "show"], ["rules", "validate"], ["rules", "keep"],
    ["kits", "list"], ["kits", "show"], ["kits", "template"], ["kits", "validate"],
    ["kits", "keep"], ["scenario"], ["report"],
)  # fmt: skip


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    try:
        app.main([str(word) for word in words])
        code = 0
    except SystemExit as end:
        code = int(end.code or 0)
    said = capsys.readouterr()
    return code, said.out, said.err


@pytest.fixture
def register(capsys, tmp_path) -> Path:
    path = tmp_path / "register.gpkg"
    district = DATA / "district.gpkg"
    assert run(capsys, "import", district, "--layer", "hydrants", "--register", path)[0] == 0
    assert run(capsys, "survey", DATA / "readings_2026.csv", "--register", path)[0] == 0
    return path


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_every_command_has_help_with_an_example(capsys, command) -> None:
    code, out, _ = run(capsys, *command, "--help")
    assert code == 0
    assert "Example:" in out
    assert f"hydrantgis {' '.join(command)}" in out


def test_help_and_version_answer_at_once_and_load_no_heavy_library() -> None:
    script = (
        "import sys, time; t = time.perf_counter(); from hydrantgis.cli.app import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print(sorted(set(sys.modules) & {'pandas', 'geopandas', 'folium', 'pyogrio', 'scipy'}))"
    )
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, env=env, check=True
    )
    assert ast.literal_eval(done.stdout.splitlines()[-1]) == []


def test_version(capsys) -> None:
    assert run(capsys, "--version")[1].strip() == __version__


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (["nonsense"], 2, "No such command"),
        (["inspect"], 2, "Missing argument"),
        (["inspect", "nowhere.gpkg"], 4, "no such file"),
        (["inspect", "https://example.org/x.geojson"], 2, "remote"),
        (["check", "--register", "none.gpkg", "--rule", "nfpa24-2019"], 4, "no register"),
        (["import", "x.gpkg", "--as", "trees"], 2, "`trees` is not read here"),
        (["import", "x.gpkg", "--field", "hydrant_id"], 2, "is no pair"),
        (["import", "x.gpkg", "--unit", "bury_ft=cubit"], 1, "no unit of length"),
        (["rules", "show", "no-such-rule"], 2, "nfpa24-2019"),
        (["kits", "validate", "nowhere.toml"], 4, "no such file"),
    ],
)
def test_what_goes_wrong_is_told_in_words_with_its_exit_code(
    capsys, tmp_path, monkeypatch, words, code, told
) -> None:
    monkeypatch.chdir(tmp_path)
    got, out, err = run(capsys, *words)
    assert (got, told in err) == (code, True), err
    assert out == ""
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


def test_debug_shows_where_a_failure_arose(capsys) -> None:
    assert "Traceback" in run(capsys, "--debug", "inspect", "nowhere.gpkg")[2]


def test_a_fault_in_the_program_is_told_without_a_traceback(capsys, monkeypatch) -> None:
    from hydrantgis.intake import look

    monkeypatch.setattr(look, "look", lambda *_, **__: 1 / 0)
    code, _, err = run(capsys, "inspect", "x.gpkg")
    assert code == 1
    assert "a fault in the program: ZeroDivisionError" in err
    assert "Traceback" not in err


def test_check_needs_a_rule_and_says_so(capsys, register) -> None:
    code, out, err = run(capsys, "check", "--register", register, "--kits", "generic")
    assert (code, out) == (2, "")
    assert "no height rule is named" in err


def test_import_prints_the_balance_and_json_holds_it(capsys, tmp_path) -> None:
    district, path = DATA / "district.gpkg", tmp_path / "r.gpkg"
    words = ("import", district, "--layer", "hydrants", "--register", path)
    code, out, _ = run(capsys, *words, "--dry-run", "--json")
    told = json.loads(out)
    assert code == 0
    assert told["schema"] == 1
    assert told["rows"] == {"in": 392, "accepted": 392, "held": 0, "rejected": 0}
    assert told["dry_run"] is True
    assert not path.exists()
    _, out, err = run(capsys, *words)
    assert "392 rows in = 392 accepted + 0 held + 0 rejected" in out
    assert "reading 392 rows" in err
    assert run(capsys, *words, "--quiet")[2] == ""


def test_check_writes_the_layer_in_other_formats_too(capsys, register, tmp_path) -> None:
    words = ("check", "--register", register, "--rule", DATA / "rule.toml", "--kits",
             DATA / "kits.toml", "--quiet")  # fmt: skip
    code, out, _ = run(
        capsys, *words, "--out", tmp_path / "c", "--also", "geojson", "--also", "shapefile"
    )
    assert code == 0
    assert len(json.loads((tmp_path / "c" / "checked.geojson").read_text())["features"]) == 392
    assert "checked_shapefile.zip" in out
    code, _, err = run(capsys, *words, "--out", tmp_path / "d", "--also", "dxf")
    assert code == 2
    assert "geoparquet, geojson, flatgeobuf, shapefile, csv" in err
    assert not (tmp_path / "d").exists()


def test_check_map_and_plan_write_what_they_say(capsys, register, tmp_path) -> None:
    standards = ("--rule", DATA / "rule.toml", "--kits", DATA / "kits.toml")
    code, out, _ = run(capsys, "check", "--register", register, *standards, "--out", tmp_path / "c")
    assert code == 0
    assert "tesselbrook-2026" in out
    assert (tmp_path / "c" / "checked.gpkg").exists()
    code, out, _ = run(
        capsys, "check", "--register", register, *standards, "--json", "--dry-run", "--out",
        tmp_path / "d",
    )  # fmt: skip
    told = json.loads(out)
    assert not (tmp_path / "d").exists()
    assert told["counts"]["hydrants"] == 392
    assert sum(entry["hydrants"] for entry in told["remedies"]) == 392
    page = tmp_path / "m.html"
    code, out, _ = run(capsys, "map", "--register", register, *standards, "--out", page)
    assert code == 0
    assert page.stat().st_size > 100_000
    code, out, _ = run(capsys, "plan", "--register", register, *standards, "--out", tmp_path / "s")
    assert code == 0
    names = {path.name for path in (tmp_path / "s").iterdir()}
    assert {
        "season.gpkg",
        "season_jobs.csv",
        "season_to_measure.csv",
        "season_kit_totals.csv",
    } <= names
    assert "To order for all jobs" in out


def test_a_register_without_a_hydrant_is_checked_mapped_and_planned(capsys, tmp_path) -> None:
    import geopandas as gpd

    gpd.read_file(DATA / "district.gpkg", layer="hydrants").head(0).to_file(tmp_path / "none.gpkg")
    register = tmp_path / "r.gpkg"
    assert "0 rows in" in run(capsys, "import", tmp_path / "none.gpkg", "--register", register)[1]
    standards = ("--register", register, "--rule", "nfpa24-2019", "--kits", "generic")
    for command, out in (("check", "c"), ("plan", "p"), ("map", "m.html")):
        code, _, err = run(capsys, command, *standards, "--out", tmp_path / out)
        assert code == 0, err
    pages = ("--pages", tmp_path / "pages")
    code, _, err = run(capsys, "map", *standards, *pages, "--out", tmp_path / "m.html")
    assert code == 0, err
    assert (tmp_path / "pages" / "areas.pdf").read_bytes().startswith(b"%PDF")


def test_a_map_has_pages_for_print_where_they_are_asked_for(capsys, register, tmp_path) -> None:
    standards = ("--rule", DATA / "rule.toml", "--kits", DATA / "kits.toml")
    words = ("map", "--register", register, *standards, "--out", tmp_path / "m.html")
    code, out, _ = run(capsys, *words, "--pages", tmp_path / "dry", "--dry-run", "--json")
    assert code == 0
    assert json.loads(out)["pages"] == []
    assert not (tmp_path / "dry").exists()
    code, out, _ = run(capsys, *words, "--pages", tmp_path / "p", "--json")
    assert code == 0
    pages = [Path(name) for name in json.loads(out)["pages"]]
    assert pages[0] == tmp_path / "p" / "areas.pdf"
    assert set(pages) == set((tmp_path / "p").iterdir())


@pytest.fixture
def parcels(tmp_path) -> Path:
    """A file of two layers: outlines that say where they lie, and points."""
    path = tmp_path / "base.gpkg"
    district = DATA / "district.gpkg"
    gpd.read_file(district, layer="service_areas").to_file(path, layer="parcels")
    gpd.read_file(district, layer="hydrants").head(3).to_file(path, layer="wells")
    return path


def test_a_map_has_layers_of_ones_own_under_the_hydrants(
    capsys, register, parcels, tmp_path
) -> None:
    standards = ("--rule", DATA / "rule.toml", "--kits", DATA / "kits.toml")
    words = ("map", "--register", register, *standards, "--out", tmp_path / "m.html")
    code, out, _ = run(capsys, *words, "--background", f"{parcels}::parcels")
    assert code == 0
    assert re.search(r"parcels: 6 lines, \d+ kB", out)
    named = run(capsys, *words, "--background", f"Lots, 2026={parcels}::parcels")[1]
    assert "Lots, 2026: 6 lines" in named
    assert "opens without a network" in out
    small = ("--background", f"{parcels}::parcels", "--background-mb", "0.01")
    assert "parcels: 6 lines" in run(capsys, *words, *small)[1]
    code, _, err = run(capsys, *words, "--background", parcels)
    assert code == 1
    assert "base.gpkg::parcels" in err
    code, _, err = run(capsys, *words, "--background", f"{parcels}::nothing")
    assert "accepted: parcels, wells" in re.sub(r" +", " ", err)
    code, _, err = run(capsys, *words, "--background", f"{parcels}::wells")
    assert code == 2
    assert "has points" in err


def test_a_background_without_a_reference_system_is_asked_for(
    capsys, register, parcels, tmp_path
) -> None:
    bare = gpd.read_file(parcels, layer="parcels").set_crs(None, allow_override=True)
    with pytest.warns(UserWarning, match="crs"):
        bare.to_file(tmp_path / "bare.gpkg")
    standards = ("--rule", DATA / "rule.toml", "--kits", DATA / "kits.toml")
    words = (
        "map", "--register", register, *standards, "--out", tmp_path / "m.html", "--background",
        tmp_path / "bare.gpkg",
    )  # fmt: skip
    code, _, err = run(capsys, *words)
    assert code == 1
    assert "--crs" in err
    assert run(capsys, *words, "--crs", "EPSG:3736")[0] == 0


def test_tiles_are_for_those_who_ask_and_name_whose_they_are(capsys, register, tmp_path) -> None:
    standards = ("--rule", DATA / "rule.toml", "--kits", DATA / "kits.toml")
    words = ("map", "--register", register, *standards, "--out", tmp_path / "m.html")
    tiles = ("--tiles", "https://tiles.invalid/{z}/{x}/{y}.png")
    code, _, err = run(capsys, *words, *tiles)
    assert code == 2
    assert "attribution" in err
    assert not (tmp_path / "m.html").exists()
    code, out, _ = run(capsys, *words, *tiles, "--attribution", "Survey office")
    assert code == 0
    assert "asks https://tiles.invalid" in out
    assert run(capsys, *words, "--attribution", "Survey office")[0] == 2


def test_an_out_that_is_a_file_is_told(capsys, register, tmp_path) -> None:
    (tmp_path / "taken").write_text("x")
    code, _, err = run(
        capsys, "check", "--register", register, "--rule", "nfpa24-2019", "--kits", "generic",
        "--out", tmp_path / "taken",
    )  # fmt: skip
    assert code == 2
    assert "a file where a folder is needed" in err


def test_strict_ends_with_3_where_the_data_have_errors(capsys, register, tmp_path) -> None:
    words = ("check", "--register", register, "--rule", "nfpa24-2019", "--kits", "generic",
             "--out", tmp_path / "c")  # fmt: skip
    assert run(capsys, *words)[0] == 0
    assert run(capsys, *words, "--strict")[0] == 3
    assert (tmp_path / "c" / "checked.gpkg").exists()


def test_every_command_has_json_and_what_writes_has_a_dry_run(capsys) -> None:
    for command in COMMANDS:
        out = run(capsys, *command, "--help")[1]
        assert "--json" in out, command
        writes = command[0] not in ("inspect", "rules", "kits") or command[-1] == "keep"
        assert ("--dry-run" in out) == writes, command


@pytest.mark.slow
def test_dry_runs_of_demo_and_keep_write_nothing(capsys, register, tmp_path) -> None:
    before = register.read_bytes()
    for kind, word in (("rules", "nfpa24-2019"), ("kits", "generic")):
        code, out, _ = run(
            capsys, kind, "keep", word, "--register", register, "--dry-run", "--json"
        )
        assert (code, json.loads(out)["dry_run"]) == (0, True)
    assert register.read_bytes() == before
    code, out, _ = run(capsys, "demo", "--out", tmp_path / "d", "--dry-run", "--quiet")
    assert code == 0
    assert not (tmp_path / "d").exists()


def test_a_hydrant_out_of_its_window_is_no_failure(capsys, register, tmp_path) -> None:
    code, out, _ = run(
        capsys, "check", "--register", register, "--rule", DATA / "rule.toml", "--kits", "generic",
        "--json", "--out", tmp_path / "c",
    )  # fmt: skip
    assert json.loads(out)["counts"]["low"] > 0
    assert code == 0


def test_check_twice_gives_the_same_bytes(capsys, register, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(sys, "argv", ["hydrantgis", "check"])
    words = ("check", "--register", register, "--rule", "nfpa24-2019", "--kits", "generic", "--out")
    for name in ("one", "two"):
        run(capsys, *words, tmp_path / name)
        time.sleep(1.1)
    one, two = (tmp_path / name / "checked.gpkg" for name in ("one", "two"))
    assert one.read_bytes() == two.read_bytes()


def test_profile_says_what_the_options_say_and_options_go_before_it(capsys, tmp_path) -> None:
    source = tmp_path / "list.csv"
    source.write_text("NO;LAGE;X;Y;MASS\n07;Hauptstr. 1;760000;2950000;1,5\n", encoding="utf-8")
    profile = tmp_path / "profile.toml"
    profile.write_text(
        'format = 1\nas = "hydrants"\ncrs = "EPSG:2249"\n[fields]\nhydrant_id = "NO"\n'
        'address = "LAGE"\n',
        encoding="utf-8",
    )
    words = ("import", source, "--profile", profile, "--register", tmp_path / "r.gpkg", "--json")
    told = json.loads(run(capsys, *words)[1])
    assert told["intake"]["crs"] == "EPSG:2249"
    assert told["intake"]["fields"] == {"hydrant_id": "NO", "address": "LAGE"}
    again = json.loads(run(capsys, *words, "--crs", "EPSG:6492", "--dry-run")[1])
    assert again["intake"]["crs"] == "EPSG:6492"
    profile.write_text('format = 1\n[feilds]\nhydrant_id = "NO"\n', encoding="utf-8")
    code, _, err = run(capsys, *words)
    assert code == 1
    assert "$.feilds: unknown key; did you mean `fields`" in err


def test_inspect_json_has_what_others_rely_on(capsys) -> None:
    told = json.loads(run(capsys, "inspect", DATA / "district.gpkg", "--json", "--quiet")[1])
    names = {"name", "geometry_type", "rows", "crs", "crs_candidates", "fields", "findings"}
    assert all(names <= set(layer) for layer in told["layers"])
    hydrants = next(layer for layer in told["layers"] if layer["name"] == "hydrants")
    assert hydrants["crs"] == "EPSG:3736"
    assert hydrants["rows"] == 392
    fields = {field["name"]: field["column"] for field in hydrants["fields"]}
    assert fields["HYD_NO"] == "hydrant_id"


def test_inspect_writes_nothing(capsys, tmp_path) -> None:
    copy = tmp_path / "district.gpkg"
    copy.write_bytes((DATA / "district.gpkg").read_bytes())
    run(capsys, "inspect", copy)
    assert [p.name for p in tmp_path.iterdir()] == ["district.gpkg"]
    assert copy.read_bytes() == (DATA / "district.gpkg").read_bytes()


def test_control_characters_of_a_source_do_not_reach_the_terminal(capsys, tmp_path) -> None:
    source = tmp_path / "x.csv"
    source.write_text("HYD_NO,X,Y,NO\x1b[2JTE\nA\x1b[31m,1,2,\x07\n", encoding="utf-8")
    out = run(capsys, "inspect", source)[1]
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", out)


def test_errors_and_ids_of_a_source_forge_no_line(capsys, tmp_path) -> None:
    source = tmp_path / "x.csv"
    forged = "a\nerror  0  all is well\x9b31m\u202e"
    source.write_text(f'HYD_NO,X,Y\n"{forged}",1,2\n"{forged}",3,4\n', encoding="utf-8")
    out = run(
        capsys, "import", source, "--crs", "EPSG:2249", "--register", tmp_path / "r", "--strict"
    )
    assert "\nerror  0  all is well" not in out[1] + out[2]
    code, _, err = run(capsys, "inspect", "no\x1b[2J\u202ewhere.gpkg")
    assert code == 4
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202e]", out[1] + out[2] + err)


def test_letters_that_the_system_lacks_do_not_stop_a_run(tmp_path) -> None:
    source = tmp_path / "x.csv"
    source.write_text("HYD_NO,ADDRESS,X,Y\n1,\u0141\u0105ka,760000,2950000\n", encoding="utf-8")
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "cp1252"}
    for more in ([], ["--json"]):
        done = subprocess.run(
            [sys.executable, "-m", "hydrantgis.cli.app", "inspect", str(source), *more],
            capture_output=True, env=env, check=True,
        )  # fmt: skip
        assert "\u0141\u0105ka" in done.stdout.decode("utf-8")


@pytest.mark.slow
def test_demo_prints_one_screen_with_counts_remedies_and_files(capsys, tmp_path) -> None:
    code, out, _ = run(capsys, "demo", "--out", tmp_path / "d", "--quiet")
    assert code == 0
    lines = out.splitlines()
    assert len(lines) <= 55
    assert max(map(len, lines)) <= 160
    for word in ("hydrants", "measured", "inside", "low", "high", "unresolved", "extend, 6 in",
                 "register.gpkg", "checked.gpkg", "map.html"):  # fmt: skip
        assert word in out


def test_a_profile_is_started_by_inspect_and_used_by_import(capsys, tmp_path) -> None:
    source = tmp_path / "list.csv"
    rows = ["Hyd #;EAST;NORTH;MAKER;STATE"]
    rows += [f"{i:03d};{760000 + 100 * i};2950000;Alder 5;Active" for i in range(1, 9)]
    rows += ["009;761000;2950000;ALDER-5;Mothballed"]
    source.write_text("\n".join(rows), encoding="utf-8")
    profile = tmp_path / "list.toml"
    code, out, _ = run(
        capsys, "inspect", source, "--write-profile", profile, "--crs", "EPSG:2249",
        "--place", "x=EAST", "--place", "y=NORTH",
    )  # fmt: skip
    assert code == 0
    assert str(profile) in out
    told = profile.read_text(encoding="utf-8")
    assert '"ALDER-5" = "Alder 5"' not in told.split("[values.family]")[0]
    assert "[values.family]" in told
    profile.write_text(told.replace("[fields]", '[fields]\nstatus = "STATE"'), encoding="utf-8")
    words = ("import", source, "--profile", profile, "--register", tmp_path / "r.gpkg", "--json")
    done = json.loads(run(capsys, *words)[1])
    assert done["rows"] == {"in": 9, "accepted": 9, "held": 0, "rejected": 0}
    assert {f["code"] for f in done["findings"]} >= {"value-not-allowed"}
    kept = tmp_path / "kept.toml"
    words = ("import", source, "--register", tmp_path / "r2.gpkg", "--json", "--crs", "EPSG:2249")
    said = ("--place", "x=EAST", "--place", "y=NORTH", "--field", "status=STATE")
    first = json.loads(run(capsys, *words, *said, "--write-profile", kept)[1])
    assert json.loads(run(capsys, *words, "--profile", kept)[1])["already_there"]
    assert first["added"] == 9
    again = run(capsys, "inspect", source, "--write-profile", profile)
    assert again[0] == 2
    assert "there already" in again[2]


def test_a_remote_source_is_refused_by_name(capsys, tmp_path) -> None:
    words = ("import", "https://example.invalid/h.geojson", "--register", tmp_path / "r.gpkg")
    code, _, error = run(capsys, *words)
    assert code == 2
    assert "--allow-remote" in error


@pytest.mark.parametrize(
    ("more", "sd"),
    [((), None), (("--elev-sd", "3 cm"), 0.03 / 0.3048), (("--method", "gnss"), 0.02 / 0.3048)],
)
def test_the_day_and_the_doubt_of_shots_are_said_for_all(capsys, register, more, sd) -> None:
    path = register.with_name("job.txt")
    hydrants = gpd.read_file(register, layer="hydrants").geometry
    rows = [f"{n},{p.y + 5:.2f},{p.x:.2f},{640 + n}.25,GND" for n, p in enumerate(hydrants[:4])]
    path.write_text("\n".join(rows), encoding="utf-8")
    words = ("survey", path, "--as", "shots", "--register", register, "--order", "PNEZD", "--crs",
             "EPSG:3736", "--unit", "elev_ft=ftUS", "--vertical-datum", "NAVD88", "--on",
             "2026-05-01", "--json", *more)  # fmt: skip
    code, out, _ = run(capsys, *words)
    assert code == 0
    codes = {finding["code"] for finding in json.loads(out)["findings"]}
    assert ("elev-sd-assumed" in codes) == (sd is None)
    shots = gpd.read_file(register, layer="shots").query("elev_ft > 600")
    assert shots["shot_date"].dt.strftime("%Y-%m-%d").unique().tolist() == ["2026-05-01"]
    if sd is not None:
        assert shots["elev_sd_ft"].to_numpy() == pytest.approx(sd)


def test_a_result_is_written_over_an_older_one_and_never_over_a_register(
    capsys, register, tmp_path
) -> None:
    words = ("check", "--register", register, "--rule", DATA / "rule.toml", "--kits", "generic",
             "--quiet")  # fmt: skip
    assert run(capsys, *words, "--out", tmp_path / "out")[0] == 0
    other = gpd.GeoDataFrame({"hydrant_id": ["x"]}, geometry=gpd.points_from_xy([0], [0]), crs=3736)
    other.to_file(tmp_path / "out" / "checked.gpkg", layer="outlets")
    assert run(capsys, *words, "--out", tmp_path / "out")[0] == 0
    other.to_file(tmp_path / "out" / "checked.gpkg", layer="somebody_elses")
    code, _, err = run(capsys, *words, "--out", tmp_path / "out")
    assert code == 2
    assert "somebody_elses" in err


def test_an_allowance_for_an_area_that_is_not_there_is_told(capsys, register, tmp_path) -> None:
    text = (DATA / "kits.toml").read_text(encoding="utf-8")
    more = 'policy = "target"\n[[house_rules.allowance]]\narea = "ZZ"\ngrade_change_in = 2\n'
    path = tmp_path / "kits.toml"
    path.write_text(text.replace('policy = "target"\n', more), encoding="utf-8")
    code, out, _ = run(capsys, "check", "--register", register, "--rule", DATA / "rule.toml",
                       "--kits", path, "--dry-run", "--json", "--quiet")  # fmt: skip
    assert code == 0
    assert json.loads(out)["findings"]["allowance-area-unknown"] == 1
