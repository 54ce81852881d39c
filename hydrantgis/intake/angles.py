"""
Degrees, minutes and seconds written by hand, as degrees.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

_DEG, _MIN = r"[°ºd*:\s]", r"['\u2032\u2019:\s]"
_SEC = r"\"|\u2033|\u201d|''|\u2032\u2032|\u2019\u2019"
_PART = r"\d{1,2}(?:\.\d+)?"
_ANGLE = re.compile(
    rf"(?P<before>[NSEWO])?\s*(?P<sign>[+\u2212-])?\s*(?P<deg>\d{{1,3}}(?:\.\d+)?)\s*"
    # parts that run together (0713) may be parted in several ways, so a mark has to part them
    rf"(?:{_DEG}\s*(?P<min>{_PART})\s*"
    # an s marks seconds only where an m marks minutes; else it is south
    rf"(?:{_MIN}\s*(?P<sec>{_PART})\s*(?:{_SEC})?|m\s*(?P<msec>{_PART})\s*(?P<mark>s|{_SEC})?"
    rf"|{_MIN}|m)?|{_DEG})?\s*(?P<after>[NSEWO])?",
    re.IGNORECASE,
)
_AXIS = {"N": "y", "S": "y", "E": "x", "W": "x"}


def read_angle(text: str, axis: str) -> tuple[float, str | None]:
    r"""
    One angle, or the reason why it is none.

    Parameters
    ----------
    text
        For example `42 22 25.3 N`, `W71°06.55'`, `-71.109`.
    axis
        `x` for longitude, `y` for latitude.

    Returns
    -------
    angle, reason
        Positive to the north and east. [degrees]

    Examples
    --------
    >>> read_angle("42°22'30\" N", "y"), read_angle("W 71 30", "x")
    ((42.375, None), (-71.5, None))
    >>> read_angle("42 75 00 N", "y")[1], read_angle("71 W", "y")[1]
    ('60 minutes or more', 'the letter says that it is the other coordinate')
    """
    bad = float("nan")
    found = _ANGLE.fullmatch(text.strip())
    if found is None:
        return bad, "no angle"
    letter = (found["before"] or found["after"] or "").upper()
    if found["before"] and found["after"]:
        return bad, "two letters for one direction"
    if found["mark"] == "S" and not letter:
        return bad, "`S` may be seconds or south; mark the seconds otherwise"
    if letter == "O":
        return bad, "`O` is west in some languages and east in others; write W or E"
    if letter and _AXIS[letter] != axis:
        return bad, "the letter says that it is the other coordinate"
    sec = found["sec"] or found["msec"]
    degrees, minutes, seconds = (float(part or 0) for part in (found["deg"], found["min"], sec))
    if (found["min"] and "." in found["deg"]) or (sec and "." in found["min"]):
        return bad, "a broken part with a smaller one after it"
    if minutes >= 60 or seconds >= 60:
        return bad, f"60 {'minutes' if minutes >= 60 else 'seconds'} or more"
    size = degrees + minutes / 60 + seconds / 3600
    minus = found["sign"] in ("-", "\u2212")
    if letter and minus:
        return bad, "a minus and a letter"
    down = minus or letter in ("S", "W")
    if size > (180 if axis == "x" else 90):
        return bad, "more degrees than there are"
    return (-size if down else size), None


def read_angles(texts: pd.Series, axis: str) -> tuple[pd.Series, pd.Series]:
    """
    Angles of a column of text, and why a cell is none.

    Returns
    -------
    angles, reasons
        Same index. [degrees]
    """
    read = {cell: read_angle(cell, axis) for cell in texts.dropna().unique()}
    angles = texts.map({cell: value for cell, (value, _) in read.items()}).astype("float64")
    reasons = texts.map({cell: why for cell, (_, why) in read.items()}).astype("str")
    return angles.astype(np.float64), reasons.where(texts.notna() & reasons.notna())
