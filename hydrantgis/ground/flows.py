"""
Flow rates written by hand, in US gallons per minute.

`gpm` with no other word is the US gallon's, as everywhere in this package; the imperial gallon has
to be called so. A number without a unit is never given one here.

References
----------
.. [1] NIST SP 811 (2008), appendix B.6 and B.8: the US gallon is 231 cubic inches and the inch
   25.4 mm; the imperial gallon is 4.546 09 L (from memory).
"""

from __future__ import annotations

import re
from enum import StrEnum
from fractions import Fraction

import numpy as np
import pandas as pd

from hydrantgis.ground.errors import UnitError


class FlowUnit(StrEnum):
    """A unit of flow; the value is how it is written in settings."""

    GPM = "gpm"
    L_MIN = "l/min"
    L_S = "l/s"
    M3_H = "m3/h"
    GPM_IMP = "impgpm"


US_GALLON_L = 231 * Fraction(254, 100) ** 3 / 1000
"""Litres in one US gallon, exact [1]_."""

LITRES_A_MINUTE: dict[FlowUnit, Fraction] = {
    FlowUnit.GPM: US_GALLON_L,
    FlowUnit.L_MIN: Fraction(1),
    FlowUnit.L_S: Fraction(60),
    FlowUnit.M3_H: Fraction(1000, 60),
    FlowUnit.GPM_IMP: Fraction(454_609, 100_000),
}
"""Litres a minute in one unit, exact [1]_."""

SPELLINGS: dict[str, FlowUnit] = {
    **dict.fromkeys(("gpm", "usgpm", "gal/min", "usgal/min"), FlowUnit.GPM),
    **dict.fromkeys(("gallons/min", "usgallons/min"), FlowUnit.GPM),
    **dict.fromkeys(("l/min", "lpm", "litres/min", "liters/min"), FlowUnit.L_MIN),
    **dict.fromkeys(("l/s", "l/sec", "lps", "litres/s", "liters/s"), FlowUnit.L_S),
    **dict.fromkeys(("m3/h", "m3/hr"), FlowUnit.M3_H),
    **dict.fromkeys(("impgpm", "igpm", "impgal/min", "imperialgpm"), FlowUnit.GPM_IMP),
    **dict.fromkeys(("impgallons/min", "imperialgallons/min"), FlowUnit.GPM_IMP),
}
"""How units are written by hand: lower case, no blanks or dots, `per` as `/`, `minute` as `min`."""

_GALLONS = (FlowUnit.GPM, FlowUnit.GPM_IMP)
_MOST_LETTERS = 40
_FLOW = re.compile(
    r"(?P<number>[1-9][0-9]{0,2}(?:,[0-9]{3})+(?:\.[0-9]+)?|[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
    r"\s*(?P<unit>[^\W\d_][^,;]*)?"
)
_RANGE = re.compile(r"[0-9]\s*[^0-9.,]*(?:-|\u2013|;|/\s*(?=[0-9])|\bto\b)\s*[0-9]")


def _plain(word: str) -> str:
    """The word for a unit as `SPELLINGS` has it."""
    word = word.lower().replace("\u00b3", "3").replace("m^3", "m3").replace(".", "")
    word = re.sub(r"\bper\b", "/", word)
    word = re.sub(r"\b(minute|mins)\b", "min", word)
    word = re.sub(r"\bsecond\b", "s", word)
    word = re.sub(r"\bhour\b", "h", word)
    return re.sub(r"\s+", "", word)


def flow_unit_of(text: str) -> FlowUnit:
    """
    The unit that a word stands for.

    Raises
    ------
    UnitError
        The word is no unit of flow that is known here.

    Examples
    --------
    >>> flow_unit_of("L per min")
    <FlowUnit.L_MIN: 'l/min'>
    """
    known = SPELLINGS.get(_plain(text))
    if known is None:
        raise UnitError(
            f"`{text}` is no unit of flow",
            accepted=", ".join(FlowUnit),
            do="name one of the accepted units",
        )
    return known


_NAMED = (
    (re.compile(r"imp(erial)?_?gpm|gpm_imp|(^|_)igpm"), FlowUnit.GPM_IMP),
    (re.compile(r"gpm"), FlowUnit.GPM),
    (re.compile(r"(^|_)(l_min|lpm)(_|$)"), FlowUnit.L_MIN),
    (re.compile(r"(^|_)(l_s|lps)(_|$)"), FlowUnit.L_S),
    (re.compile(r"(^|_)m3_h(r)?(_|$)"), FlowUnit.M3_H),
)


def flow_unit_in_name(name: str) -> FlowUnit | None:
    """
    The unit that a field's name says, words joined by underscores; None where it says none.

    Examples
    --------
    >>> flow_unit_in_name("flow_imp_gpm"), flow_unit_in_name("total_supply")
    (<FlowUnit.GPM_IMP: 'impgpm'>, None)
    """
    return next((unit for form, unit in _NAMED if form.search(name)), None)


def parse_flow_gpm(text: str, *, unit: FlowUnit | None) -> tuple[float, str | None]:
    """
    One flow written by hand, in US gallons per minute, or the reason why it cannot be read.

    Parameters
    ----------
    text
        For example `1000 usgpm`, `1,000 gpm`, `1200 l/min`, `95 L/s`, `60 m3/h`, `800 imp gpm`.
    unit
        The unit of a bare number, as declared for the column; None where none was declared.

    Returns
    -------
    flow_gpm
        Not a number where the text cannot be read. [US gal/min]
    reason
        None where it was read.

    Notes
    -----
    A comma parts thousands where groups of three digits follow it and the cell says gallons, which
    are written with a decimal dot. Elsewhere it might as well be a decimal comma, and the cell is
    refused.

    Examples
    --------
    >>> parse_flow_gpm("1,000 gpm", unit=None)
    (1000.0, None)
    >>> round(parse_flow_gpm("95 L/s", unit=None)[0], 1)
    1505.8
    >>> parse_flow_gpm("1000", unit=None)
    (nan, 'no unit')
    >>> parse_flow_gpm("12,5 l/s", unit=None)
    (nan, 'not a flow')
    """
    bad = float("nan")
    plain = " ".join(text.split())
    if not plain:
        return bad, "empty"
    if len(plain) > _MOST_LETTERS:
        return bad, "not a flow"
    if plain.startswith(("-", "\u2212")):
        return bad, "not a flow, or below zero"
    if _RANGE.search(plain):
        return bad, "two flows, or a range, in one cell"
    match = _FLOW.fullmatch(plain)
    if match is None:
        return bad, "not a flow"
    number, word = match["number"], match["unit"]
    told = SPELLINGS.get(_plain(word)) if word else unit
    if "," in number and (word is None or told not in _GALLONS):
        return bad, "the comma may mark thousands or decimals; say --decimal . or --decimal ,"
    if told is None:
        return bad, f"`{word.strip()}` is no known unit" if word else "no unit"
    value = Fraction(number.replace(",", "").rstrip("."))
    return float(value * LITRES_A_MINUTE[told] / US_GALLON_L), None


def parse_flows_gpm(
    texts: pd.Series[str], *, unit: FlowUnit | None
) -> tuple[pd.Series[float], pd.Series[str]]:
    """
    Flows written by hand, in US gallons per minute, with the reason beside each that is not read.

    Parameters
    ----------
    texts
        Text or numbers; missing and blank cells are missing flows, not problems.
    unit
        As `parse_flow_gpm`.

    Returns
    -------
    flows_gpm
        Same index. [US gal/min]
    reasons
        Same index; missing where the cell was read or is blank.

    Examples
    --------
    >>> flows, reasons = parse_flows_gpm(pd.Series(["1000 usgpm", None, "750"]), unit=None)
    >>> flows.tolist()
    [1000.0, nan, nan]
    >>> reasons.dropna().tolist()
    ['no unit']
    """
    if pd.api.types.is_numeric_dtype(texts.dtype) and unit is not None:
        factor = float(LITRES_A_MINUTE[unit] / US_GALLON_L)
        values = pd.Series(
            texts.to_numpy(dtype=np.float64, na_value=np.nan) * factor, index=texts.index
        )
        usable = np.isfinite(values) & (values >= 0)
        none = pd.Series(None, index=texts.index, dtype="str")
        return values.where(usable), none.mask(
            values.notna() & ~usable, "not a flow, or below zero"
        )
    cells = texts.astype("str").str.strip()
    cells = cells.where(texts.notna() & (cells != ""))
    # a column holds few distinct spellings: each is parsed once and handed to its rows
    read = {
        cell: parse_flow_gpm(cell, unit=unit) for cell in cells.unique() if isinstance(cell, str)
    }
    flows = cells.map({cell: value for cell, (value, _) in read.items()}).astype("float64")
    reasons = cells.map({cell: why for cell, (_, why) in read.items()}).astype("str")
    return flows, reasons.where(reasons.notna() & cells.notna())
