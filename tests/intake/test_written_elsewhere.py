"""A GeoPackage that another program has open is read as it stands, and nothing of it is touched."""

from __future__ import annotations

import datetime as dt
import hashlib
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from hydrantgis.ground.errors import LockedError
from hydrantgis.intake import still
from hydrantgis.intake.look import look
from hydrantgis.intake.take import take
from hydrantgis.intake.words import IntakeWords

from .corpus.makers import layer

TODAY = dt.date(2026, 11, 1)
EDITOR = """
import sqlite3, sys
base = sqlite3.connect(sys.argv[1], isolation_level=None)
base.execute("PRAGMA journal_mode=" + sys.argv[2])
base.execute("UPDATE h SET NOTES = 'saved' WHERE HYD_NO = '1'")
base.execute("BEGIN IMMEDIATE")
base.execute("UPDATE h SET NOTES = 'not saved' WHERE HYD_NO = '2'")
print("open", flush=True)
sys.stdin.readline()
base.execute("COMMIT")
base.close()
"""


def notes(path: Path) -> list[str]:
    intake = take(str(path), "hydrants", IntakeWords(), today=TODAY)
    return intake.accepted["note"].tolist()


def state(folder: Path) -> dict[str, tuple[str, int]]:
    return {
        p.name: (hashlib.sha256(p.read_bytes()).hexdigest(), p.stat().st_mtime_ns)
        for p in folder.iterdir()
    }


@pytest.fixture
def source(tmp_path: Path) -> Path:
    # an index of places would need functions that a plain SQLite lacks
    make = layer(HYD_NO=["1", "2"], NOTES=["a", "b"], options={"SPATIAL_INDEX": "NO"})
    return Path(make(tmp_path))


@pytest.mark.parametrize("mode", ["WAL", "DELETE"])
def test_what_is_saved_is_read_while_another_program_goes_on(source: Path, mode: str) -> None:
    before = take(str(source), "hydrants", IntakeWords(), today=TODAY).record["sha256"]
    words = [sys.executable, "-c", EDITOR, str(source), mode]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout.readline() == "open\n"
        there = state(source.parent)
        intake = take(str(source), "hydrants", IntakeWords(), today=TODAY)
        assert intake.accepted["note"].tolist() == ["saved", "b"]
        assert intake.record["sha256"] != before
        assert intake.record["source"] == "h.gpkg"
        assert state(source.parent) == there
        other.stdin.write("\n")
        other.stdin.close()
        assert other.wait(30) == 0
    assert notes(source) == ["saved", "not saved"]


def test_a_log_that_a_crash_left_behind_is_read_and_left_as_it_is(source: Path) -> None:
    words = [sys.executable, "-c", EDITOR, str(source), "WAL"]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout.readline() == "open\n"
        other.kill()
    assert source.with_name("h.gpkg-wal").stat().st_size > 0
    there = state(source.parent)
    assert notes(source) == ["saved", "b"]
    assert look(str(source))["layers"][0]["rows"] == 2
    assert state(source.parent) == there


def test_a_reader_leaves_no_log_behind(source: Path) -> None:
    words = [sys.executable, "-c", EDITOR, str(source), "WAL"]
    subprocess.run(words, input="\n", check=True, text=True, capture_output=True)
    there = state(source.parent)
    assert list(there) == ["h.gpkg"]
    assert notes(source) == ["saved", "not saved"]
    assert state(source.parent) == there


def test_a_source_that_never_stands_still_is_told(source: Path, monkeypatch) -> None:
    source.with_name("h.gpkg-wal").write_bytes(b"x")
    copy = shutil.copyfile

    def copy_and_write(here: Path, there: Path) -> None:
        copy(here, there)
        with here.open("ab") as stream:
            stream.write(b"x")

    monkeypatch.setattr(still.shutil, "copyfile", copy_and_write)
    with pytest.raises(LockedError, match=r"(?s)another program.*close it there"):
        notes(source)
