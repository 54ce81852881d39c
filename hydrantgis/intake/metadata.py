"""
How accurate a terrain is, as the metadata beside its file say it.

References
----------
.. [1] FGDC-STD-001-1998 (CSDGM), 2.4.2: vertical positional accuracy as a report (`vertaccr`), a
   value in metres (`vertaccv`) and what that value is (`vertacce`) (from memory).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from hydrantgis.ground.units import parse_length_in

if TYPE_CHECKING:
    from pathlib import Path

_PARTS = ("vertaccr", "vertaccv", "vertacce")
_SAYS_RMSE = re.compile(
    r"\bRMSE\s*\(?z?\)?\s*(?:of|is|was|=|:|<=)?\s*(\d*\.?\d+)\s*"
    r"(cm|centimet(?:er|re)s?|mm|met(?:er|re)s?|m|feet|foot|ft|inch(?:es)?|in)\b",
    re.IGNORECASE,
)
_UNITS = {"centimet": "cm", "met": "m", "f": "ft", "in": "in"}
_MOST_BYTES = 20_000_000


class StatedAccuracy(NamedTuple):
    """An RMSEz in feet, None where the words tell none, and the words themselves."""

    rmse_z_ft: float | None
    words: str


def stated_accuracy(path: Path) -> StatedAccuracy | None:
    """
    What the metadata beside a raster say of its vertical accuracy.

    Parameters
    ----------
    path
        The raster; its metadata are `NAME.tif.xml` or `NAME.xml` beside it.

    Returns
    -------
    stated
        None where there are no metadata, or they say nothing of it [1]_. An RMSEz counts where it
        is called RMSE and has its unit, or where the value in metres is called so.
    """
    from xml.etree.ElementTree import ParseError

    import defusedxml.ElementTree as Safe
    from defusedxml.common import DefusedXmlException

    for beside in (path.with_name(f"{path.name}.xml"), path.with_suffix(".xml")):
        if not beside.is_file() or beside.stat().st_size > _MOST_BYTES:
            continue
        try:
            root = Safe.parse(beside).getroot()
        except (ParseError, DefusedXmlException, OSError):
            continue  # what cannot be read says nothing
        told: dict[str, list[str]] = {part: [] for part in _PARTS}
        for element in root.iter():
            name = str(element.tag).rpartition("}")[2].lower()
            if name in told and (element.text or "").strip():
                told[name].append(" ".join(element.text.split()))
        words = "; ".join(text for part in _PARTS for text in told[part])
        if words:
            return StatedAccuracy(_rmse_ft(words, told), words[:300])
    return None


def _rmse_ft(words: str, told: dict[str, list[str]]) -> float | None:
    found = {
        parse_length_in(f"{number} {_unit(unit)}", unit=None)[0] / 12.0
        for number, unit in _SAYS_RMSE.findall(words)
    }
    value = told["vertaccv"]
    called = any(re.search(r"\bRMSE", text, re.IGNORECASE) for text in told["vertacce"])
    if not found and called and len(value) == 1:
        length, reason = parse_length_in(f"{value[0]} m", unit=None)
        return None if reason else length / 12.0
    # several figures, of open and of wooded ground for example: somebody has to choose
    return found.pop() if len(found) == 1 else None


def _unit(word: str) -> str:
    low = word.lower()
    return next((unit for begin, unit in _UNITS.items() if low.startswith(begin)), low)
