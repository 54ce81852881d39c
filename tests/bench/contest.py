"""
The parts that are timed, each in a process of its own, and the comparison of their results.

A part is a generator that stops twice: after its imports, and after what the clock must not see.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from .district import Files

ROOT = Path(__file__).parents[2]
INTAKES = ("hydrants", "areas", "readings", "shots")
REGISTER_INPUTS = ("hydrants", "events", "shots", "areas")


class Cost(NamedTuple):
    """What a part took: imports and work [s], and the most memory at one time [MB]."""

    start: float
    work: float
    peak: float


def _make(files: Files, n: int) -> Iterator[None]:
    from .district import make

    yield
    yield
    make(files.layers.parent, n)


def bring_in(files: Files, kind: str) -> None:
    """One intake into the register, as the command line does it."""
    from hydrantgis import job
    from hydrantgis.intake.words import IntakeWords

    table = kind == "readings"
    source = files.readings if table else files.layers
    words = IntakeWords() if table else IntakeWords(layer=kind)
    job.bring_in(files.register, source, kind, words=words)


def _intake(kind: str) -> Callable[[Files, int], Iterator[None]]:
    def part(files: Files, _: int) -> Iterator[None]:
        import hydrantgis.job  # noqa: F401 - its time is that of the imports

        yield
        if kind == "hydrants":
            files.register.unlink(missing_ok=True)
        yield
        bring_in(files, kind)

    return part


def _copy(source: Path, layers: tuple[str, ...], outputs: Path, target: Path) -> Iterator[None]:
    """Read the layers of one file, then write those of another, which are in memory by then."""
    import pyogrio

    yield
    names = [str(name) for name, _ in pyogrio.list_layers(outputs)]
    ready = [(name, *pyogrio.read_arrow(outputs, layer=name)) for name in names]
    target.unlink(missing_ok=True)
    yield
    for layer in layers:
        pyogrio.read_arrow(source, layer=layer)
    for name, meta, table in ready:
        shape = meta["geometry_type"]
        column = {"geometry_name": meta["geometry_name"] or "wkb_geometry"} if shape else {}
        pyogrio.write_arrow(
            table, target, layer=name, driver="GPKG", geometry_type=shape, crs=meta["crs"],
            append=target.exists(), **column,
        )  # fmt: skip


def _intake_floor(files: Files, _: int) -> Iterator[None]:
    return _copy(files.layers, ("hydrants",), files.register, files.floor)


def _floor(files: Files, _: int) -> Iterator[None]:
    return _copy(files.register, REGISTER_INPUTS, files.checked, files.floor)


def check(files: Files) -> None:
    """The package's check, file to file."""
    from hydrantgis import job

    result = job.check(files.register, rule=str(files.rule), kits=str(files.kits))
    result.write(files.checked)


def _check(files: Files, _: int) -> Iterator[None]:
    import hydrantgis.job  # noqa: F401 - its time is that of the imports

    yield
    yield
    check(files)


def _plain(files: Files, _: int) -> Iterator[None]:
    from . import plain

    yield
    files.plain.unlink(missing_ok=True)
    yield
    plain.run(files)


def _csv(files: Files, _: int) -> Iterator[None]:
    """The same hydrants out of a table of text, into a register of their own."""
    from hydrantgis import job
    from hydrantgis.intake.words import IntakeWords

    from .district import CRS

    yield
    files.csv_register.unlink(missing_ok=True)
    yield
    job.bring_in(files.csv_register, files.csv, words=IntakeWords(crs=CRS))


PARTS: dict[str, Callable[[Files, int], Iterator[None]]] = {
    "make": _make,
    **{f"import {kind}": _intake(kind) for kind in INTAKES},
    "import csv": _csv,
    "import floor": _intake_floor,
    "floor": _floor,
    "check": _check,
    "plain": _plain,
}


def _peak_mb() -> float:
    """Most memory of this process; not `ru_maxrss`, which begins at what the parent had."""
    status = Path("/proc/self/status")
    if not status.exists():
        return float("nan")
    line = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
    return int(line.split()[1]) / 1024


def time_here(name: str, folder: Path, n: int) -> Cost:
    """Run a part in this process."""
    begun = time.perf_counter()
    from .district import Files

    part = PARTS[name](Files.of(folder), n)
    next(part)
    imported = time.perf_counter()
    next(part)
    ready = time.perf_counter()
    next(part, None)
    return Cost(imported - begun, time.perf_counter() - ready, _peak_mb())


def time_apart(name: str, folder: Path, n: int, repeats: int = 1) -> Cost:
    """Run a part in fresh processes; the least time and the most memory of all."""
    costs = []
    for _ in range(repeats):
        done = subprocess.run(
            [sys.executable, "-m", "tests.bench", "--part", name, "--folder", str(folder), str(n)],
            cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        costs.append(Cost(*json.loads(done.stdout.splitlines()[-1])))
    best = min(costs, key=lambda cost: cost.work)
    return best._replace(peak=max(cost.peak for cost in costs))


def compare(folder: Path) -> dict[str, int]:
    """
    Hold every verdict and kit length of the package against the plain script's.

    Returns
    -------
    counts
        Hydrants, of each verdict, with a kit, and areas with hydrants: there was something to
        agree on.
    """
    import numpy as np
    import pandas as pd
    import pyogrio

    from .district import Files

    files = Files.of(folder)
    ours = pyogrio.read_dataframe(files.checked, layer="checked", read_geometry=False)
    theirs = pyogrio.read_dataframe(files.plain, read_geometry=False)
    ours = ours.set_index("hydrant_id").sort_index()
    theirs = theirs.set_index("hydrant_id").sort_index()
    assert ours.index.is_unique
    assert ours.index.equals(theirs.index)
    # the plain script writes 0 for a kit that is only taken out
    kits = ours["kit_length_in"].mask(ours["remedy"] == "remove", 0.0)
    fitted = ours["remedy"].isin(["extend", "exchange", "remove"])
    pd.testing.assert_series_equal(ours["verdict"], theirs["verdict"], check_dtype=False)
    pd.testing.assert_series_equal(ours["area_id"], theirs["area_id"], check_dtype=False)
    pd.testing.assert_series_equal(kits, theirs["kit_length_in"], check_dtype=False)
    for name, other, off in (
        ("outlet_height_in", "height_in", 1e-6),
        ("p_inside", "p_inside", 1e-6),
        ("p_low", "p_low", 1e-6),
        ("p_high", "p_high", 1e-6),
    ):
        judged = ours["verdict"].notna()
        np.testing.assert_allclose(ours[name][judged], theirs[other][judged], rtol=0, atol=off)
    np.testing.assert_allclose(
        ours["outlet_height_after_in"][fitted], theirs["after_in"][fitted], rtol=0, atol=0.0051
    )
    verdicts = ours["verdict"].value_counts().to_dict()
    more = {"with a kit": int(fitted.sum()), "areas": ours["area_id"].nunique()}
    return {"hydrants": len(ours), **verdicts, **more}
