"""
A GeoPackage that another program writes to, as a copy that stands still.

Until that program closes the file, its newest rows stand in a second one beside it (SQLite's
write-ahead log), or what it has changed can still be taken back from there (the rollback journal).
A library that opens such a pair puts it in order, which is writing; a source is never written to.
"""

from __future__ import annotations

import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from hydrantgis.ground.errors import LockedError

if TYPE_CHECKING:
    from collections.abc import Iterator

_SQLITE = b"SQLite format 3\x00"
_MODE_AT, _LOGGED = 18, 2
"""Where the header says how the file is written, and the number for a write-ahead log."""
_BESIDE = ("-wal", "-journal")
_TRIES = 3


@contextmanager
def standing_still(path: Path) -> Iterator[Path]:
    """
    The file, or a copy of it with what stands beside it, in a folder that is gone afterwards.

    Raises
    ------
    LockedError
        It changes faster than it can be copied.
    """
    if not _written_beside(path):
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="hydrantgis-") as folder:
        if not any(_copied(path, Path(folder)) for _ in range(_TRIES)):
            raise LockedError(
                "another program is writing to the source", where=path.name,
                do="wait until it has saved, or close it there",
            )  # fmt: skip
        yield Path(folder) / path.name


def _copied(path: Path, folder: Path) -> bool:
    """Copy the file and what stands beside it; false where one of them changed meanwhile."""
    parts = [path, *_written_beside(path)]
    before = _state(parts)
    for old in folder.iterdir():
        old.unlink()
    try:
        for part in parts:
            shutil.copyfile(part, folder / part.name)
    except FileNotFoundError:  # the other program has just closed it
        return False
    return _state(parts) == before


def is_logged(path: Path) -> bool:
    """Whether a SQLite file is written by a write-ahead log; a reader would then make one."""
    with path.open("rb") as stream:
        head = stream.read(_MODE_AT + 1)
    return head.startswith(_SQLITE) and head[-1] == _LOGGED


def _written_beside(path: Path) -> list[Path]:
    if not path.is_file():
        return []
    with path.open("rb") as stream:
        if stream.read(len(_SQLITE)) != _SQLITE:
            return []
    parts = [path.with_name(path.name + ending) for ending in _BESIDE]
    return [part for part in parts if part.is_file() and part.stat().st_size]


def _state(paths: list[Path]) -> list[tuple[int, int] | None]:
    """Size and time of each file; None for one that is gone."""
    told = [path.stat() if path.is_file() else None for path in paths]
    return [None if s is None else (s.st_size, s.st_mtime_ns) for s in told]
