"""
Lengths and their units: the one place where a length is converted, and the one parser of lengths.

Heights and kit lengths are kept in inches, bury and distances in international feet. A source's
unit is named by the source or by the user; a number without one is never given one here.

References
----------
.. [1] NIST SP 811 (2008), appendix B.6 and B.8: foot = 0.3048 m, inch = 25.4 mm, US survey foot =
   1200/3937 m (from memory).
.. [2] 85 FR 62698 (2020-10-05): the US survey foot is deprecated after 2022-12-31 and stays in use
   with State Plane Coordinates of 1983 and 1927.
"""

from __future__ import annotations

import re
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.errors import UnitError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike, NDArray


class LengthUnit(StrEnum):
    """A unit of length; the value is how it is written on the command line and in settings."""

    IN = "in"
    FT = "ft"
    FT_US = "ftUS"
    YD = "yd"
    MM = "mm"
    CM = "cm"
    M = "m"
    KM = "km"


METRES: dict[LengthUnit, Fraction] = {
    LengthUnit.IN: Fraction(254, 10_000),
    LengthUnit.FT: Fraction(3048, 10_000),
    LengthUnit.FT_US: Fraction(1200, 3937),
    LengthUnit.YD: Fraction(9144, 10_000),
    LengthUnit.MM: Fraction(1, 1000),
    LengthUnit.CM: Fraction(1, 100),
    LengthUnit.M: Fraction(1),
    LengthUnit.KM: Fraction(1000),
}
"""Metres in one unit, exact [1]_."""

SPELLINGS: dict[str, LengthUnit] = {
    '"': LengthUnit.IN,
    "''": LengthUnit.IN,
    "\u2033": LengthUnit.IN,
    "\u201d": LengthUnit.IN,
    "in": LengthUnit.IN,
    "ins": LengthUnit.IN,
    "inch": LengthUnit.IN,
    "inches": LengthUnit.IN,
    "'": LengthUnit.FT,
    "\u2032": LengthUnit.FT,
    "\u2019": LengthUnit.FT,
    "ft": LengthUnit.FT,
    "foot": LengthUnit.FT,
    "feet": LengthUnit.FT,
    "ftus": LengthUnit.FT_US,
    "us-ft": LengthUnit.FT_US,
    "usft": LengthUnit.FT_US,
    "yd": LengthUnit.YD,
    "yard": LengthUnit.YD,
    "yards": LengthUnit.YD,
    "mm": LengthUnit.MM,
    "cm": LengthUnit.CM,
    "m": LengthUnit.M,
    "metre": LengthUnit.M,
    "metres": LengthUnit.M,
    "meter": LengthUnit.M,
    "meters": LengthUnit.M,
    "km": LengthUnit.KM,
}
"""How units are written by hand, lower case."""


def factor(source: LengthUnit, target: LengthUnit) -> float:
    """
    How many of `target` make one `source`, from exact fractions.

    Examples
    --------
    >>> factor(LengthUnit.FT, LengthUnit.IN)
    12.0
    >>> factor(LengthUnit.FT_US, LengthUnit.FT)
    1.000002000004
    """
    return float(METRES[source] / METRES[target])


def convert(values: ArrayLike, source: LengthUnit, target: LengthUnit) -> NDArray[np.float64]:
    """
    Lengths in another unit.

    Parameters
    ----------
    values
        Lengths, any shape. [source]
    source, target
        Units.

    Returns
    -------
    lengths
        Same shape; a missing value stays missing. [target]

    Examples
    --------
    >>> convert([3.5, float("nan")], LengthUnit.FT, LengthUnit.IN)
    array([42., nan])
    """
    return np.asarray(values, dtype=np.float64) * factor(source, target)


def unit_of(text: str) -> LengthUnit:
    """
    The unit that a word stands for.

    Raises
    ------
    UnitError
        The word is no unit that is known here.

    Examples
    --------
    >>> unit_of("feet")
    <LengthUnit.FT: 'ft'>
    """
    known = SPELLINGS.get(text.strip().lower())
    if known is None:
        raise UnitError(
            f"`{text}` is no unit of length",
            accepted=", ".join(unit.value for unit in LengthUnit),
            do="name one of the accepted units",
        )
    return known


_FRACTIONS = {
    "\u00bc": "1/4", "\u00bd": "1/2", "\u00be": "3/4",
    "\u215b": "1/8", "\u215c": "3/8", "\u215d": "5/8", "\u215e": "7/8",
}  # fmt: skip
_MOST_LETTERS = 40
_NUMBER = r"(?:\d+[ -]\d+/\d+|\d+/\d+|\d+\.\d*|\.\d+|\d+)"
_PART = re.compile(rf"\s*({_NUMBER})\s*([^\d\s.,;/+-][^\d.,;/+-]*)?\.?\s*-?")


def _number(text: str) -> Fraction:
    """Read `6`, `.5`, `2.`, `1/2`, `6 1/2` or `6-1/2` exactly."""
    whole, _, part = text.replace("-", " ").rpartition(" ")
    value = Fraction(part.strip()) if "/" in part else Fraction(part.rstrip(".") or "0")
    return value + (Fraction(whole) if whole else 0)


def parse_length_in(
    text: str, *, unit: LengthUnit | None, spellings: Mapping[str, LengthUnit] | None = None
) -> tuple[float, str | None]:
    r"""
    One length written by hand, in inches, or the reason why it cannot be read.

    Parameters
    ----------
    text
        For example `2.5ft`, `42"`, `3 ft 6 1/2 in`, `1'-6"`, `.255`.
    unit
        The unit of a bare number, as declared for the column; None where none was declared.
    spellings
        More words for units, lower case, as a profile declares them.

    Returns
    -------
    length_in
        Not a number where the text cannot be read. [in]
    reason
        None where it was read.

    Notes
    -----
    `3'-14"` (more than eleven inches after feet), `3.5'6"` (a broken foot with inches), `18-24 in`
    (a range) and `2.5ftt` (no known unit) are refused, each with its reason.

    Examples
    --------
    >>> parse_length_in("2.5ft", unit=None)
    (30.0, None)
    >>> parse_length_in("1'-6 1/2\"", unit=None)
    (18.5, None)
    >>> parse_length_in(".255", unit=None)
    (nan, 'no unit')
    >>> parse_length_in("2.5ftt", unit=LengthUnit.FT)
    (nan, '`ftt` is no known unit')
    """
    bad = float("nan")
    plain = text
    for printed, spelled in _FRACTIONS.items():
        plain = plain.replace(printed, f" {spelled}")
    plain = " ".join(plain.split())
    down = plain.startswith(("-", "\u2212"))
    plain = plain[1:].lstrip() if down else plain
    if len(plain) > _MOST_LETTERS or plain.endswith("-"):
        return bad, "not a length"
    words = SPELLINGS if spellings is None else {**SPELLINGS, **spellings}
    parts: list[tuple[Fraction, LengthUnit]] = []
    place = 0
    while place < len(plain):
        match = _PART.match(plain, place)
        if match is None:
            return bad, "not a length"
        place = match.end()
        number, word = match.group(1), (match.group(2) or "").strip().lower()
        if re.search(r"/0+$", number):
            return bad, "not a length"
        if word and word not in words:
            return bad, f"`{word}` is no known unit"
        if not word and (parts or place < len(plain)):
            return bad, "not a length"
        if not word and unit is None:
            return bad, "no unit"
        parts.append((_number(number), words[word] if word else unit or LengthUnit.IN))
    if not parts:
        return bad, "empty"
    if len(parts) > 1:
        (feet, first), (inches, second) = parts[0], parts[1]
        if len(parts) > 2 or first is not LengthUnit.FT or second is not LengthUnit.IN:
            return bad, "two lengths, or a range, in one cell"
        if inches >= 12:
            return bad, "12 in or more after feet"
        if feet.denominator != 1:
            return bad, "a broken foot with inches after it"
    length = float(sum(value * METRES[by] for value, by in parts) / METRES[LengthUnit.IN])
    return -length if down else length, None


def parse_lengths_in(
    texts: pd.Series[str],
    *,
    unit: LengthUnit | None,
    spellings: Mapping[str, LengthUnit] | None = None,
) -> tuple[pd.Series[float], pd.Series[str]]:
    """
    Lengths written by hand, in inches, with the reason beside each one that cannot be read.

    Parameters
    ----------
    texts
        Text or numbers; missing and blank cells are missing lengths, not problems.
    unit, spellings
        As `parse_length_in`.

    Returns
    -------
    lengths_in
        Same index. [in]
    reasons
        Same index; missing where the cell was read or is blank.

    Examples
    --------
    >>> lengths, reasons = parse_lengths_in(pd.Series(["2.5ft", None, "x"]), unit=None)
    >>> lengths.tolist()
    [30.0, nan, nan]
    >>> reasons.dropna().tolist()
    ['not a length']
    """
    if pd.api.types.is_numeric_dtype(texts.dtype) and unit is not None:
        values = convert(texts.to_numpy(dtype=np.float64, na_value=np.nan), unit, LengthUnit.IN)
        none = pd.Series([None] * len(texts), index=texts.index, dtype="str")
        return pd.Series(values, index=texts.index), none
    cells = texts.astype("str").str.strip()
    cells = cells.where(texts.notna() & (cells != ""))
    # A column holds few distinct spellings: each is parsed once and handed to its rows.
    read = {
        cell: parse_length_in(cell, unit=unit, spellings=spellings)
        for cell in cells.unique()
        if isinstance(cell, str)
    }
    lengths = cells.map({cell: value for cell, (value, _) in read.items()}).astype("float64")
    reasons = cells.map({cell: why for cell, (_, why) in read.items()}).astype("str")
    return lengths, reasons.where(reasons.notna() & cells.notna())
