"""The register: one memory, whole or not at all, and state that follows from events."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from filelock import FileLock
from geopandas.testing import assert_geodataframe_equal
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis import job
from hydrantgis.ground.errors import LockedError, RegisterError, UnreadableError
from hydrantgis.ground.tables import (
    AREAS,
    EXCEPTIONS,
    FINDINGS,
    HISTORY,
    HYDRANTS,
    IMPORTS,
    SHOTS,
    STREETS,
)
from hydrantgis.intake.words import IntakeWords
from hydrantgis.register.events import imported_events, state_after
from hydrantgis.register.store import Register

NOW = dt.datetime(2026, 11, 1, 12)
LATER = dt.datetime(2026, 11, 2, 12)


def layer(path: Path, ids: list[str], burys: list[float | None], shift: float = 0) -> Path:
    points = [shapely.Point(760_000 + 100 * i + shift, 2_950_000) for i in range(len(ids))]
    frame = gpd.GeoDataFrame({"HYD_NO": ids, "BURY_FT": burys}, geometry=points, crs=2249)
    frame.to_file(path)
    return path


def readings(path: Path, rows: str) -> Path:
    path.parent.mkdir(exist_ok=True)
    head = "HYDRANT,DATE,METHOD,MEASURED_TO,MEASURED_FROM,HEIGHT_IN\n"
    path.write_text(head + rows, encoding="utf-8")
    return path


ROW_A = "A,2026-05-01,tape,pumper-centerline,grade,20\n"
ROW_B = "B,2026-05-01,tape,pumper-centerline,grade,12\n"


@pytest.fixture
def register(tmp_path: Path) -> Path:
    path = tmp_path / "register.gpkg"
    job.bring_in(path, layer(tmp_path / "h.gpkg", ["A", "B"], [4.0, 5.0]), now=NOW)
    job.bring_in(path, readings(tmp_path / "r.csv", ROW_A), "readings", now=NOW)
    return path


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_same_source_twice_adds_nothing_and_leaves_the_bytes(register, tmp_path) -> None:
    before = digest(register)
    _, hydrants = job.bring_in(register, tmp_path / "h.gpkg", now=LATER)
    _, told = job.bring_in(register, tmp_path / "r.csv", "readings", now=LATER)
    assert hydrants.known
    assert told.known
    assert digest(register) == before


def test_a_reading_known_from_another_file_is_not_added_again(register, tmp_path) -> None:
    more = readings(tmp_path / "more.csv", ROW_A + ROW_B)
    _, added = job.bring_in(register, more, "readings", now=LATER)
    assert (added.rows, added.unchanged) == (1, 1)
    assert sorted(Register(register).readings()["hydrant_id"]) == ["A", "B"]


def test_a_changed_hydrant_makes_one_event_and_history_only_grows(register, tmp_path) -> None:
    store = Register(register)
    before = store.read(HISTORY)
    changed = layer(tmp_path / "h2.gpkg", ["A", "B", "C"], [4.0, 5.5, 6.0])
    _, added = job.bring_in(register, changed, now=LATER)
    assert (added.rows, added.unchanged) == (2, 1)
    after = store.read(HISTORY)
    pd.testing.assert_frame_equal(after.iloc[: len(before)], before)
    assert store.hydrants().set_index("hydrant_id")["bury_ft"].to_dict() == {
        "A": 4.0, "B": 5.5, "C": 6.0,
    }  # fmt: skip


def test_told_and_told_back_again_stands_as_it_was_told_last(register, tmp_path) -> None:
    for place, bury in enumerate((6.0, 5.0, 6.0)):
        source = layer(tmp_path / f"t{place}.gpkg", ["B"], [bury])
        job.bring_in(register, source, now=LATER)
    state = Register(register).hydrants().set_index("hydrant_id")
    assert state.loc["B", "bury_ft"] == 6.0


def test_the_state_follows_from_the_whole_history(register, tmp_path) -> None:
    job.bring_in(register, layer(tmp_path / "h2.gpkg", ["B", "C"], [None, 6.0], 7), now=LATER)
    store = Register(register)
    whole = state_after(gpd.GeoDataFrame(HYDRANTS.empty(store.crs)), store.read(HISTORY), store.crs)
    assert_geodataframe_equal(store.hydrants(), whole)
    assert whole.set_index("hydrant_id").loc["B", "bury_ft"] == 5.0  # a blank tells nothing


facts = st.lists(
    st.tuples(
        st.sampled_from("ABC"),
        st.one_of(st.none(), st.sampled_from([3.5, 4.0, 4.5])),
        st.one_of(st.none(), st.sampled_from(["Orrin A", "Quern"])),
    ),
    min_size=1,
    max_size=12,
)


@given(facts=facts, cut=st.integers(0, 12))
def test_events_in_parts_come_to_the_same_as_in_one_go(facts, cut) -> None:
    events = HISTORY.conform(
        pd.DataFrame(facts, columns=["hydrant_id", "bury_ft", "family"]).assign(
            event="imported", import_id="i", event_id=[f"e{i}" for i in range(len(facts))],
            x=[760_000.0 + i for i in range(len(facts))], y=2_950_000.0,
        )
    )  # fmt: skip
    crs = gpd.GeoSeries([shapely.Point(0, 0)], crs=2249).crs
    empty = gpd.GeoDataFrame(HYDRANTS.empty(crs))
    once = state_after(empty, events, crs)
    part = state_after(state_after(empty, events.iloc[:cut], crs), events.iloc[cut:], crs)
    assert_geodataframe_equal(once, part)
    # a few lines of plain Python say what the last telling is
    last: dict[str, dict[str, object]] = {}
    for name, bury, family in facts:
        now = last.setdefault(name, {"bury": None, "family": None})
        now["bury"] = bury if bury is not None else now["bury"]
        now["family"] = family if family is not None else now["family"]
    for name, row in once.set_index("hydrant_id").iterrows():
        assert (None if pd.isna(row["bury_ft"]) else row["bury_ft"]) == last[name]["bury"]
        assert (None if pd.isna(row["family"]) else row["family"]) == last[name]["family"]


def test_a_hydrant_told_as_it_stands_makes_no_event(register) -> None:
    state = Register(register).hydrants()
    assert len(imported_events(state, state, "again")) == 0


def test_dry_run_writes_nothing(register, tmp_path) -> None:
    before = digest(register)
    more = readings(tmp_path / "more.csv", ROW_B)
    _, added = job.bring_in(register, more, "readings", now=LATER, dry_run=True)
    assert added.rows == 1
    assert digest(register) == before
    job.bring_in(tmp_path / "none.gpkg", tmp_path / "h.gpkg", now=NOW, dry_run=True)
    assert not (tmp_path / "none.gpkg").exists()


def test_a_register_begins_with_hydrants(tmp_path) -> None:
    source = readings(tmp_path / "r.csv", ROW_A)
    with pytest.raises(UnreadableError, match="import a hydrant layer first"):
        job.bring_in(tmp_path / "none.gpkg", source, "readings", now=NOW)
    box = gpd.GeoDataFrame({"AREA": ["A"]}, geometry=[shapely.box(0, 0, 1, 1)], crs=2249)
    box.to_file(tmp_path / "a.gpkg")
    with pytest.raises(RegisterError, match="begins with a hydrant layer"):
        job.bring_in(
            tmp_path / "none.gpkg", tmp_path / "a.gpkg", "areas",
            words=IntakeWords(crs="EPSG:4326"), now=NOW,
        )  # fmt: skip
    assert not (tmp_path / "none.gpkg").exists()


def test_another_geopackage_is_no_register_and_stays_as_it_is(tmp_path) -> None:
    source = layer(tmp_path / "h.gpkg", ["A"], [4.0])
    before = digest(source)
    with pytest.raises(RegisterError, match="no register"):
        job.bring_in(source, source, now=NOW)
    assert digest(source) == before


def test_a_register_of_a_later_format_is_refused(register) -> None:
    with closing(sqlite3.connect(register)) as base, base:
        base.execute("UPDATE settings SET value = '99' WHERE item = 'format'")
    with pytest.raises(RegisterError, match="format"):
        Register(register).hydrants()
        job.check(register, rule="nfpa24-2019", kits="generic")


def test_a_register_that_never_had_streets_opens_and_takes_them(register, tmp_path) -> None:
    with closing(sqlite3.connect(register)) as base:
        tables = base.execute("SELECT table_name FROM gpkg_contents").fetchall()
        written = base.execute("SELECT value FROM settings WHERE item = 'format'").fetchone()
    assert ("streets",) not in tables
    assert written == ("4",)  # as a register of before there were streets
    streets = Register(register).read(STREETS)
    assert (len(streets), streets.crs.to_epsg()) == (0, 2249)
    assert len(job.check(register, rule="nfpa24-2019", kits="generic").streets) == 0
    line = shapely.LineString([(759_900, 2_949_980), (760_200, 2_949_980)])
    for name, ids in (("old.gpkg", ["1", "2"]), ("old.gpkg", ["2"]), ("other.gpkg", ["9"])):
        rows = {"SEG_ID": ids, "ST_NAME": "Osier Row"}
        frame = gpd.GeoDataFrame(rows, geometry=[line] * len(ids), crs=2249)
        (tmp_path / name).unlink(missing_ok=True)
        frame.to_crs(4326).to_file(tmp_path / name)
        job.bring_in(register, tmp_path / name, "streets", now=LATER)
    streets = job.check(register, rule="nfpa24-2019", kits="generic").streets
    assert streets["street_id"].tolist() == ["2", "9"]
    assert set(streets["street_title"]) == {"Osier Row"}
    assert streets.total_bounds == pytest.approx(line.bounds, abs=0.01)
    assert set(streets.geom_type) == {"MultiLineString"}


def test_layers_in_another_crs_come_into_that_of_the_register(register, tmp_path) -> None:
    box = shapely.box(759_000, 2_949_000, 761_000, 2_951_000)
    frame = gpd.GeoDataFrame({"AREA": ["all"]}, geometry=[box], crs=2249).to_crs(4326)
    frame.to_file(tmp_path / "a.gpkg")
    job.bring_in(register, tmp_path / "a.gpkg", "areas", now=LATER)
    areas = Register(register).read(AREAS)
    assert areas.crs.to_epsg() == 2249
    assert areas.total_bounds == pytest.approx(box.bounds, abs=0.01)


def test_shots_are_not_added_twice(register, tmp_path) -> None:
    from hydrantgis.ground.units import LengthUnit

    said = IntakeWords(
        crs="EPSG:2249", units={"elev_ft": LengthUnit.FT}, constants={"vertical_datum": "NAVD88"}
    )
    one = tmp_path / "s1.csv"
    one.write_text("P,N,E,Z,D\n1,2950000,760000,101,GND\n")
    two = tmp_path / "s2.csv"
    two.write_text("P,N,E,Z,D\n1,2950000,760000,101,GND\n2,2950001,760000,101,GND\n")
    job.bring_in(register, one, "shots", words=said, now=LATER)
    _, added = job.bring_in(register, two, "shots", words=said, now=LATER)
    assert (added.rows, added.unchanged) == (1, 1)
    assert len(Register(register).read(SHOTS)) == 2


def test_a_second_writer_is_told_and_nothing_happens(register, tmp_path) -> None:
    before = digest(register)
    more = readings(tmp_path / "more.csv", ROW_B)
    with FileLock(register.with_name(f".{register.name}.lock")), pytest.raises(LockedError):
        job.bring_in(register, more, "readings", now=LATER)
    with closing(sqlite3.connect(register, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(LockedError, match="another program"):
            job.bring_in(register, more, "readings", now=LATER)
        other.execute("ROLLBACK")
    assert digest(register) == before
    assert job.bring_in(register, more, "readings", now=LATER)[1].rows == 1


def test_a_failure_while_writing_leaves_the_old_register(register, tmp_path, monkeypatch) -> None:
    from hydrantgis.register import store

    before = digest(register)

    def fail(*_: object, **__: object) -> None:
        raise OSError(28, "no space left on device")

    monkeypatch.setattr(store, "write_layers", fail)
    with pytest.raises(OSError, match="no space"):
        job.bring_in(register, readings(tmp_path / "m.csv", ROW_B), "readings", now=LATER)
    assert digest(register) == before
    assert not [
        p for p in tmp_path.iterdir() if p.name.startswith(".register.gpkg.") and p.is_dir()
    ]


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no SIGKILL")
def test_a_kill_at_any_moment_leaves_before_or_after(register, tmp_path) -> None:
    many = readings(
        tmp_path / "many.csv",
        "".join(
            f"A,2026-05-01,tape,pumper-centerline,grade,{10 + i / 1000}\n" for i in range(9000)
        ),
    )
    script = (
        "import datetime, sys; from hydrantgis import job; print('go', flush=True); "
        "job.bring_in(sys.argv[1], sys.argv[2], 'readings', now=datetime.datetime(2026, 11, 2))"
    )
    seen = set()
    for delay in (0.02, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, None):  # the last is let run to its end
        copy = tmp_path / f"copy{delay}.gpkg"
        shutil.copy(register, copy)
        run = subprocess.Popen(
            [sys.executable, "-c", script, str(copy), str(many)], stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": str(Path(job.__file__).parent.parent)},
        )  # fmt: skip
        assert run.stdout.readline() == b"go\n"
        if delay is not None:
            time.sleep(delay)
            run.send_signal(signal.SIGKILL)
        run.wait()
        run.stdout.close()
        store = Register(copy)
        seen.add((len(store.readings()), len(store.read(IMPORTS))))
    assert seen == {(1, 2), (9001, 3)}


def test_rows_put_aside_stay_until_they_are_settled(register, tmp_path) -> None:
    store, path = Register(register), tmp_path / "r2.csv"
    stranger = "C" + ROW_A[1:]
    _, added = job.bring_in(register, readings(path, stranger + ROW_B), "readings", now=LATER)
    assert (added.rows, store.exceptions()["key"].tolist()) == (1, ["C"])
    # another month's list of the same name says nothing about the row
    other = readings(tmp_path / "x" / "r2.csv", ROW_A)
    job.bring_in(register, other, "readings", now=LATER)
    assert store.exceptions()["key"].tolist() == ["C"]
    # once the hydrant is known, the same list brings the reading in
    job.bring_in(register, layer(tmp_path / "c.gpkg", ["C"], [4.0]), now=LATER)
    _, added = job.bring_in(register, path, "readings", now=LATER)
    assert (added.known, added.rows, added.unchanged) == (False, 1, 1)
    assert len(store.exceptions()) == 0
    assert len(store.read(EXCEPTIONS)) == 1  # nothing is ever taken out
    assert len(store.read(FINDINGS)) >= 1
    assert job.bring_in(register, path, "readings", now=LATER)[1].known


def test_going_back_to_an_older_file_is_news(register, tmp_path) -> None:
    def areas(name: str) -> None:
        box = shapely.box(759_000, 2_949_000, 761_000, 2_951_000)
        frame = gpd.GeoDataFrame({"AREA": [name]}, geometry=[box], crs=2249)
        (tmp_path / name).mkdir()
        frame.to_file(tmp_path / name / "areas.gpkg")
        job.bring_in(register, tmp_path / name / "areas.gpkg", "areas", now=LATER)

    store = Register(register)
    for name in ("old", "new"):
        areas(name)
    job.bring_in(register, tmp_path / "old" / "areas.gpkg", "areas", now=LATER)
    assert store.read(AREAS)["area_id"].tolist() == ["old"]
    assert job.bring_in(register, tmp_path / "old" / "areas.gpkg", "areas", now=LATER)[1].known
    changed = layer(tmp_path / "h9.gpkg", ["A", "B"], [4.0, 9.0])
    job.bring_in(register, changed, now=LATER)
    job.bring_in(register, tmp_path / "h.gpkg", now=LATER)
    assert store.hydrants().set_index("hydrant_id").loc["B", "bury_ft"] == 5.0
    history = store.read(HISTORY)
    assert history["event_id"].is_unique
    assert store.read(IMPORTS)["import_id"].is_unique


def test_a_register_open_elsewhere_with_edits_in_a_side_file_is_left_alone(
    register, tmp_path
) -> None:
    """A desktop GIS keeps its edits in a write-ahead log beside the file."""
    more = readings(tmp_path / "more.csv", ROW_B)
    script = (
        "import sqlite3, sys; c = sqlite3.connect(sys.argv[1]); "
        "c.execute('PRAGMA journal_mode=WAL'); "
        "c.execute(\"UPDATE settings SET value = 'edited' WHERE item = 'note'\"); "
        "c.execute(\"INSERT INTO settings (item, value) VALUES ('note', 'edited')\"); "
        "c.commit(); print('go', flush=True); sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", script, str(register)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert other.stdout.readline() == b"go\n"
    with pytest.raises(LockedError):
        job.bring_in(register, more, "readings", now=LATER)
    other.communicate(b"")
    assert job.bring_in(register, more, "readings", now=LATER)[1].rows == 1
    assert Register(register).settings()["note"] == "edited"  # and nothing of theirs is lost


def test_areas_of_two_sources_stand_side_by_side(register, tmp_path) -> None:
    for name, shift in (("north", 0), ("south", 5000)):
        box = shapely.box(759_000, 2_949_000 - shift, 761_000, 2_951_000 - shift)
        frame = gpd.GeoDataFrame({"AREA": [name]}, geometry=[box], crs=2249)
        frame.to_file(tmp_path / f"{name}.gpkg")
        _, added = job.bring_in(register, tmp_path / f"{name}.gpkg", "areas", now=LATER)
    assert added.others == 1
    store = Register(register)
    assert store.read(AREAS)["area_id"].tolist() == ["north", "south"]
    job.bring_in(register, tmp_path / "north.gpkg", "areas", now=LATER, replace=True)
    assert store.read(AREAS)["area_id"].tolist() == ["north"]


def test_what_somebody_saves_in_the_meantime_is_not_lost(register, tmp_path, monkeypatch) -> None:
    from hydrantgis.register import store

    write = store.write_layers

    def slow(*words: object, **options: object) -> None:
        write(*words, **options)
        with closing(sqlite3.connect(register)) as base, base:
            base.execute("INSERT INTO settings (item, value) VALUES ('note', 'meanwhile')")

    monkeypatch.setattr(store, "write_layers", slow)
    with pytest.raises(LockedError, match="changed while"):
        job.bring_in(register, readings(tmp_path / "m.csv", ROW_B), "readings", now=LATER)
    assert Register(register).settings()["note"] == "meanwhile"


def test_a_link_stays_a_link_and_rights_stay(register, tmp_path) -> None:
    real = tmp_path / "elsewhere" / "real.gpkg"
    real.parent.mkdir()
    register.rename(real)
    real.chmod(0o664)
    try:
        register.symlink_to(real)
    except OSError:
        pytest.skip("this system makes no links")
    job.bring_in(register, readings(tmp_path / "m.csv", ROW_B), "readings", now=LATER)
    assert register.is_symlink()
    assert len(Register(real).readings()) == 2
    if os.name == "posix":
        assert real.stat().st_mode & 0o777 == 0o664


def test_what_killed_runs_left_is_swept_away(register, tmp_path) -> None:
    left = tmp_path / f".{register.name}.abc123"
    left.mkdir()
    (left / register.name).write_bytes(b"half")
    job.bring_in(register, readings(tmp_path / "m.csv", ROW_B), "readings", now=LATER)
    assert not left.exists()


def test_elevations_that_make_no_height_order_nothing(register, tmp_path) -> None:
    path = tmp_path / "e.csv"
    path.write_text(
        "HYDRANT,METHOD,MEASURED_TO,DATUM,OUTLET_ELEV_FT,GRADE_ELEV_FT\n"
        "A,level,pumper-centerline,NAVD88,101.5,31\nB,level,pumper-centerline,NAVD88,-9999,100\n"
    )
    intake, _ = job.bring_in(register, path, "readings", now=LATER)
    assert set(intake.exceptions["code"]) == {"no-height"}
    assert "sentinel-value" in set(intake.findings["code"])
    result = job.check(register, rule="bowling-green-ky-2021", kits="generic")
    at = result.table.set_index("hydrant_id")
    assert at.loc["B", "verdict"] == "unmeasured"
    assert at.loc["A", "outlet_height_in"] == 20.0  # the tape's stands, the pair's is impossible


def test_shots_of_two_datums_serve_readings_of_their_own(register, tmp_path) -> None:
    from hydrantgis.ground.units import LengthUnit

    source = tmp_path / "s.csv"
    source.write_text("P,N,E,Z,D\n1,2950000,760001,100,GND\n2,2950000,760101,50,LAMP\n")
    for datum, unit in (("NGVD29", LengthUnit.M), ("NAVD 88", LengthUnit.FT)):
        said = IntakeWords(
            crs="EPSG:2249", units={"elev_ft": unit}, constants={"vertical_datum": datum}
        )
        intake, added = job.bring_in(register, source, "shots", words=said, now=LATER)
        assert added.rows == 2
        assert "shot-code-unknown" in set(intake.findings["code"])
    path = tmp_path / "g.csv"
    path.write_text(
        "HYDRANT,DATE,METHOD,MEASURED_TO,DATUM,OUTLET_ELEV_FT\n"
        "A,2026-10-01,gnss,pumper-centerline,navd88,101.75\n"
        "B,2026-10-01,gnss,pumper-centerline,IGLD85,101.75\n"
    )
    job.bring_in(register, path, "readings", now=LATER)
    result = job.check(register, rule="bowling-green-ky-2021", kits="generic")
    at = result.table.set_index("hydrant_id")
    assert at.loc["A", "outlet_height_in"] == pytest.approx(21.0)
    # near B nobody has shot any ground, in whatever datum
    assert at.loc["B", "remedy_reason"].startswith("no-grade")


def test_provenance_tells_which_kits_were_meant(register, tmp_path) -> None:
    from hydrantgis.standards.load import text_of

    text = text_of("kits", "generic")
    (tmp_path / "ours.toml").write_text(text.replace("[6, 12,", "[8, 12,"), encoding="utf-8-sig")
    told = [
        dict(zip(p["item"], p["value"], strict=True))
        for p in (
            job.check(register, rule="nfpa24-2019", kits=kits).provenance
            for kits in ("generic", str(tmp_path / "ours.toml"))
        )
    ]
    assert told[0]["kits sha256"] != told[1]["kits sha256"]
    assert told[0]["kits for all others"].startswith("EXT-6 ")
    assert told[1]["kits for all others"].startswith("EXT-8 ")


def test_columns_carry_titles_and_allowed_values(register) -> None:
    """OGC 12-128r19 (GeoPackage 1.4), F.9 schema extension, requirements 103 to 112."""
    with closing(sqlite3.connect(register)) as base:
        told = dict(
            base.execute(
                "SELECT column_name, title FROM gpkg_data_columns WHERE table_name = 'hydrants'"
            ).fetchall()
        )
        assert told["bury_ft"] == "Bury [ft]"
        allowed = base.execute(
            "SELECT value FROM gpkg_data_column_constraints "
            "WHERE constraint_name = 'hydrants_barrel' "
            "AND constraint_type = 'enum' ORDER BY value"
        ).fetchall()
        assert [row[0] for row in allowed] == ["dry", "other", "wet"]
        # every constraint that is named exists, every column that is told exists
        lost = base.execute(
            "SELECT count(*) FROM gpkg_data_columns c "
            "WHERE constraint_name IS NOT NULL AND NOT EXISTS "
            "(SELECT 1 FROM gpkg_data_column_constraints k "
            "WHERE k.constraint_name = c.constraint_name)"
        ).fetchone()[0]
        assert lost == 0
        assert base.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        declared = {
            row[0]
            for row in base.execute(
                "SELECT table_name FROM gpkg_extensions WHERE extension_name = 'gpkg_schema'"
            )
        }
        assert declared == {"gpkg_data_columns", "gpkg_data_column_constraints"}


def test_kept_rule_and_kits_stand_where_none_is_named(register) -> None:
    from hydrantgis.ground.errors import WordsError

    with pytest.raises(WordsError, match="no height rule is named"):
        job.check(register)
    job.keep_standards(register, rule="wac-246-293-650", kits="generic", now=LATER)
    assert job.check(register).rule.rule_id == "wac-246-293-650"
    assert job.check(register, rule="nfpa24-2019").rule.rule_id == "nfpa24-2019"
