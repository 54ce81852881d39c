"""The floors of the house: imports only point down, and the pure rooms touch no file."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import hydrantgis

PACKAGE = Path(hydrantgis.__file__).parent

# Each room may import from itself and from the rooms named.
FLOORS: dict[str, set[str]] = {
    "__init__": set(),
    "ground": set(),
    "standards": {"ground"},
    "heights": {"ground", "standards"},
    "assess": {"ground", "standards", "heights"},
    "season": {"ground", "standards", "heights", "assess"},
    "intake": {"__init__", "ground", "standards"},
    "register": {"ground", "intake"},
    "deliver": {"__init__", "ground", "standards", "register"},
    "job": {
        "__init__", "ground", "standards", "heights", "assess", "season", "intake", "register",
        "deliver",
    },
    "demo": {"__init__", "ground", "season", "intake", "register", "deliver", "job"},
    "cli": {
        "demo", "__init__", "ground", "standards", "intake", "register", "season", "deliver", "job",
    },
}  # fmt: skip

PURE = ("ground", "heights", "assess", "season")
# What touches files, clocks, screens or networks. `standards.load` alone opens the data files.
FORBIDDEN_IN_PURE = {
    "fiona", "pyogrio", "rasterio", "folium", "branca", "sqlite3", "typer", "rich", "logging",
    "os", "io", "pathlib", "shutil", "tempfile", "time", "socket", "urllib", "subprocess",
    "matplotlib", "tomllib", "importlib", "warnings",
}  # fmt: skip
FORBIDDEN_CALLS = {"open", "print", "input", "exec", "eval"}


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py") if "data_demo" not in p.parts)


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def test_every_module_stands_in_a_known_room() -> None:
    assert {room(path) for path in modules()} == set(FLOORS)


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_only_point_down(path: Path) -> None:
    here = room(path)
    for name in imports(path):
        parts = name.split(".")
        if parts[0] != "hydrantgis":
            continue
        there = parts[1] if len(parts) > 1 and parts[1] in FLOORS else "__init__"
        if name == "hydrantgis" or there == here:
            continue
        assert there in FLOORS[here], f"{here} may not stand on {there} ({name})"


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_pure_rooms_touch_no_file_clock_or_screen(path: Path) -> None:
    if room(path) not in PURE:
        return
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert not {name.split(".")[0] for name in imports(path)} & FORBIDDEN_IN_PURE
    called = {
        n.func.id
        for n in ast.walk(tree)
        if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)
    }
    assert not called & FORBIDDEN_CALLS
    dotted = {
        n.func.attr for n in ast.walk(tree)
        if isinstance(n, ast.Call) and isinstance(n.func, ast.Attribute)
    }  # fmt: skip
    assert not dotted & {"now", "today", "utcnow", "to_file", "read_file", "to_csv", "read_csv"}


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_row_loops(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert ".iterrows(" not in text
    assert ".itertuples(" not in text
    assert "axis=1)" not in text.replace("all(axis=1)", "").replace("any(axis=1)", "") or (
        ".apply(" not in text
    )


def test_a_wrong_import_would_be_seen(tmp_path: Path) -> None:
    bad = tmp_path / "x.py"
    bad.write_text("from hydrantgis.register.store import Register\nimport sqlite3\n")
    assert "hydrantgis.register.store" in imports(bad)
    assert "register" not in FLOORS["assess"]
    assert "sqlite3" in FORBIDDEN_IN_PURE
