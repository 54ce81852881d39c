"""Time the check at each size and print the tables."""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
import tempfile
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

from .contest import INTAKES, PARTS, Cost, compare, time_apart, time_here

if TYPE_CHECKING:
    from collections.abc import Sequence

CHECK = (
    "hydrants", "floor s / MB", "hydrantgis s / MB", "plain script s / MB", "hydrantgis : floor",
    "plain : hydrantgis",
)  # fmt: skip
INTAKE = (
    "hydrants", "read and write s / MB", "import hydrants s / MB", "import : read and write",
    "import hydrants from CSV s / MB", "import readings s / MB", "import shots s / MB",
)  # fmt: skip


def _line(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _cell(cost: Cost) -> str:
    return f"{cost.work:.2f} + {cost.start:.1f} / {cost.peak:,.0f}"


def _ratio(over: Cost, under: Cost) -> str:
    whole = (over.work + over.start) / (under.work + under.start)
    return f"{over.work / under.work:.1f} ({whole:.1f})"


def measure(n: int, folder: Path, repeats: int) -> tuple[str, str]:
    """The two lines of one size; raises where package and plain script do not agree."""

    def cost(name: str, times: int = 1) -> Cost:
        print(f"{n:,}: {name}", file=sys.stderr, flush=True)
        return time_apart(name, folder, n, times)

    cost("make")
    hydrants = cost("import hydrants", repeats)
    copied = cost("import floor", repeats)
    table = cost("import csv", repeats)
    brought = {kind: cost(f"import {kind}") for kind in INTAKES[1:]}
    check = cost("check", repeats)
    floor = cost("floor", repeats)
    plain = cost("plain", repeats)
    agreed = json.dumps(compare(folder))
    print(f"{n:,}: equal verdicts and kit lengths: {agreed}", file=sys.stderr)
    first = (_cell(floor), _cell(check), _cell(plain), _ratio(check, floor), _ratio(plain, check))
    second = (
        _cell(copied), _cell(hydrants), _ratio(hydrants, copied), _cell(table),
        _cell(brought["readings"]), _cell(brought["shots"]),
    )  # fmt: skip
    return _line((f"{n:,}", *first)), _line((f"{n:,}", *second))


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("sizes", nargs="+", type=int, help="numbers of hydrants")
    parser.add_argument("--repeats", type=int, default=3, help="the least time of so many counts")
    parser.add_argument("--folder", type=Path, help="keep all files here")
    parser.add_argument("--part", choices=PARTS, help=argparse.SUPPRESS)
    words = parser.parse_args()
    if words.part:
        print(json.dumps(time_here(words.part, words.folder, words.sizes[0])))
        return
    lines = []
    for n in words.sizes:
        with tempfile.TemporaryDirectory() as temporary:
            folder = (words.folder or Path(temporary)) / str(n)
            folder.mkdir(parents=True, exist_ok=True)
            lines.append(measure(n, folder, words.repeats))
    versions = ", ".join(f"{p} {metadata.version(p)}" for p in ("geopandas", "pyogrio", "numpy"))
    print(f"{os.cpu_count()} cores, Python {platform.python_version()}, {versions}.")
    print(f"Seconds are work + imports, the least of {words.repeats}; MB the most memory at once.")
    print("Ratios are of the work, in brackets with imports.\n")
    for head, place in ((CHECK, 0), (INTAKE, 1)):
        print(_line(head))
        print("|---" * len(head) + "|")
        print("\n".join(line[place] for line in lines), end="\n\n")


if __name__ == "__main__":
    main()
