"""A look and a dry run write nothing: not to source, register, home or temporary folder."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import shapely

from hydrantgis.cli import app

from .corpus.files import GML, KML
from .corpus.makers import FT, attributes, book, hydrants, layer, packed, text

if TYPE_CHECKING:
    from .corpus.case import Make

IDS = {"HYD_NO": ["0012", "13"]}
DEGREES = [shapely.Point(-71.1, 42.37), shapely.Point(-71.1, 42.38)]
ROWS = [["HYD_NO", "X", "Y"], ["0012", 760000, 2950000], ["13", 760100, 2950000]]
READINGS = {"HYDRANT": ["0012", "13"], "HEIGHT_IN": [20.0, 21.0]}
LAYERS: dict[str, Make] = {
    "CSV": hydrants(NOTE=["a", "b"]),
    "XLSX": book({"h": ROWS}),
    "GeoPackage": layer(**IDS),
    "shapefile": layer("h.shp", **IDS),
    "zipped shapefile": packed(layer("h.shp", **IDS), "export/"),
    "file geodatabase": layer("h.gdb", options={"driver": "OpenFileGDB"}, **IDS),
    "GeoJSON": layer("h.geojson", geometry=DEGREES, crs="EPSG:4326", **IDS),
    "FlatGeobuf": layer("h.fgb", **IDS),
    "KML": text(KML.format("", "0012"), "h.kml"),
    "GML": text(GML.format("", "0012"), "h.gml"),
}
SURVEYS: dict[str, Make] = {
    "CSV": text("HYDRANT,HEIGHT_IN\n0012,20\n13,21\n"),
    "XLSX": book({"h": [list(READINGS), ["0012", 20], ["13", 21]]}),
    "GeoPackage": attributes(**READINGS),
    "shapefile": layer("h.shp", **READINGS),
}
TAPE = ("--method", "tape", "--measured-to", "pumper-centerline", "--measured-from", "grade")
FOLDERS = ("sources", "register", "home", "temp")


def state(base: Path) -> dict[str, tuple[str, int]]:
    """Every file and folder with its bytes and the time of its last change."""
    return {
        str(p.relative_to(base)): (
            hashlib.sha256(p.read_bytes()).hexdigest() if p.is_file() else "folder",
            p.stat().st_mtime_ns if p.is_file() else 0,
        )
        for name in FOLDERS
        for p in (base / name, *(base / name).rglob("*"))
    }


def run(*words: object) -> int:
    with pytest.raises(SystemExit) as end:
        app.main([str(word) for word in words])
    return int(end.value.code or 0)


@pytest.fixture
def base(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Folders for everything that might be written."""
    for name in FOLDERS:
        (tmp_path / name).mkdir()
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("TMPDIR", str(tmp_path / "temp"))
    monkeypatch.setattr(tempfile, "tempdir", None)
    monkeypatch.chdir(tmp_path / "register")
    yield tmp_path
    monkeypatch.setattr(tempfile, "tempdir", None)


@pytest.fixture
def register(base: Path) -> Path:
    """A register that knows the two hydrants."""
    source = LAYERS["GeoPackage"](base / "home")
    path = base / "register" / "register.gpkg"
    assert run("import", source, "--register", path) == 0
    return path


def said(name: str) -> list[str]:
    ids = ["--field", "hydrant_id=Name"] if name == "KML" else []
    return [*(["--crs", FT] if name in ("CSV", "XLSX") else []), *ids]


@pytest.mark.parametrize("name", LAYERS)
def test_a_look_and_a_dry_import_write_nothing(base: Path, name: str) -> None:
    source = LAYERS[name](base / "sources")
    there = state(base)
    assert run("inspect", source) == 0
    assert run("inspect", source, "--json") == 0
    assert run("import", source, "--dry-run", *said(name)) == 0
    assert state(base) == there


@pytest.mark.parametrize("name", SURVEYS)
def test_a_dry_survey_writes_nothing(base: Path, register: Path, name: str) -> None:
    source = SURVEYS[name](base / "sources")
    there = state(base)
    assert run("inspect", source, "--as", "readings") == 0
    assert run("survey", source, "--dry-run", "--register", register, *TAPE) == 0
    assert state(base) == there


def test_a_dry_import_over_a_register_writes_nothing(base: Path, register: Path) -> None:
    source = layer("h.shp", HYD_NO=["0012", "13", "14"])(base / "sources")
    there = state(base)
    assert run("import", source, "--dry-run", "--register", register) == 0
    assert (
        run("import", source, "--dry-run", "--register", base / "register" / "no" / "new.gpkg") == 0
    )
    assert state(base) == there


def test_a_refused_import_writes_nothing(base: Path) -> None:
    source = LAYERS["CSV"](base / "sources")
    there = state(base)
    assert run("import", source, "--dry-run") == 1
    assert run("import", source) == 1
    assert state(base) == there


def test_a_process_of_its_own_writes_nothing(base: Path) -> None:
    """What a library does when it is loaded, or as the process ends, counts too."""
    sources = [str(LAYERS[name](base / "sources")) for name in ("GeoPackage", "shapefile", "XLSX")]
    script = (
        "import sys; from hydrantgis.cli.app import main\n"
        "for source in sys.argv[1:]:\n"
        "    dry = ['import', source, '--dry-run', '--crs', 'EPSG:2249']\n"
        "    for words in (['inspect', source], dry):\n"
        "        try: main(words)\n"
        "        except SystemExit as end: assert not end.code, words\n"
    )
    root = Path(app.__file__).parent.parent.parent
    there = state(base)
    done = subprocess.run(
        [sys.executable, "-B", "-c", script, *sources],
        env={**os.environ, "PYTHONPATH": str(root)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert state(base) == there
