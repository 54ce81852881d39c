"""
What the commands say: results on standard output, talk on standard error.
"""

from __future__ import annotations

import io
import json
import sys
import unicodedata
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    import pandas as pd

DATA_ERRORS = 3
"""Exit code where `--strict` found errors in the data."""
_MOST_FINDINGS = 12


def inert(text: object) -> str:
    """
    One line of text from data: nothing in it steers a terminal, turns it round or breaks it.

    Examples
    --------
    >>> inert("a" + chr(27) + "[2J" + chr(10) + "b")
    'a [2J b'
    """
    hidden = ("Cc", "Cf", "Zl", "Zp")
    return "".join(" " if unicodedata.category(c) in hidden else c for c in str(text))


def put_error(text: str) -> None:
    """Write an error to standard error, line by line."""
    for line in text.split("\n"):
        sys.stderr.write(f"{inert(line)}\n")


def speak_utf8() -> None:
    """Let every letter through, also where the system's own encoding lacks it."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            if stream.isatty():
                stream.reconfigure(errors="replace")
            else:
                stream.reconfigure(encoding="utf-8", errors="replace")


def put(text: str = "") -> None:
    """Write a line of text to standard output."""
    sys.stdout.write(f"{inert(text)}\n")


def put_json(value: dict[str, Any]) -> None:
    """Write JSON to standard output; `schema` tells its layout."""
    text = json.dumps({"schema": 1, **value}, indent=2, ensure_ascii=False, default=str)
    sys.stdout.write(f"{text}\n")


def teller(*, quiet: bool) -> Callable[[str], None]:
    """A function that tells stages of work on standard error, or nobody."""

    def tell(text: str) -> None:
        if not quiet:
            sys.stderr.write(f"  {inert(text)} ...\n")
            sys.stderr.flush()

    return tell


def grid(rows: Iterable[Sequence[object]], *, right: Sequence[int] = (), indent: int = 2) -> None:
    """
    Write rows in columns as wide as their cells.

    Parameters
    ----------
    rows
        Cells, each row as many.
    right
        Columns that are set to the right, for numbers.
    indent
        Blanks in front.
    """
    cells = [[inert(cell) for cell in row] for row in rows]
    if not cells:
        return
    widths = [max(len(row[i]) for row in cells) for i in range(len(cells[0]))]
    for row in cells:
        parts = [
            cell.rjust(width) if i in right else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        put((" " * indent + "  ".join(parts)).rstrip())


def put_findings(frame: pd.DataFrame) -> None:
    """Write findings summed up by code and column: how many, the first ones, what to do."""
    from hydrantgis.ground.errors import some
    from hydrantgis.ground.findings import CODES

    if not len(frame):
        put("Findings: none")
        return
    put("Findings")
    rank = {"error": 0, "warning": 1, "note": 2}
    grouped = frame.assign(column=frame["column"].fillna("")).groupby(["code", "column"])
    groups = sorted(grouped, key=lambda item: (rank[item[1]["severity"].iloc[0]], *item[0]))
    rows = []
    for (code, column), group in groups[:_MOST_FINDINGS]:
        keys = group["key"].tolist()
        whole = len(keys) == 1 and str(keys[0]).startswith("(")
        cells = [f"`{value}`" for value in group["value"].dropna().unique()]
        seen = f"{some(cells, 3)} at " if cells else ""
        first = group["message"].iloc[0] if whole else seen + some(keys, 3)
        many = "" if whole else f"{len(group):,}"
        rows.append((group["severity"].iloc[0], many, code, column, first[:140]))
        # the reason of a cell says what to do better than the kind of finding can
        told = group["message"].dropna().unique()
        whole |= len(told) > 2 or CODES[str(code)].meaning in told
        do = CODES[str(code)].do if whole else "; ".join(told)[:140]
        if do != "nothing":
            rows.append(("", "", "", "", f"-> {do}"))
    grid(rows, right=(1,))
    if len(groups) > _MOST_FINDINGS:
        put(f"  and {len(groups) - _MOST_FINDINGS} more kinds; all stand in the register")


def has_errors(frame: pd.DataFrame) -> bool:
    """Whether any finding is of severity error."""
    return bool((frame["severity"] == "error").any())
