"""
Columns of tables in a line each: what they hold, in which unit, between which limits.
"""

from __future__ import annotations

from hydrantgis.ground.table import Column, Kind
from hydrantgis.ground.units import LengthUnit

_IN, _FT = LengthUnit.IN, LengthUnit.FT


def text(name: str, title: str, about: str, *allowed: str, required: bool = False) -> Column:
    """A column of text, of the words allowed where there are any."""
    return Column(
        name=name, kind=Kind.TEXT, title=title, about=about, allowed=allowed, required=required
    )


def inches(
    name: str, title: str, about: str, least: float | None = None, most: float | None = None
) -> Column:
    """A column of lengths. [in]"""
    return Column(
        name=name, kind=Kind.REAL, title=title, about=about, unit=_IN, least=least, most=most
    )


def feet(
    name: str, title: str, about: str, least: float | None = None, most: float | None = None
) -> Column:
    """A column of lengths. [ft]"""
    return Column(
        name=name, kind=Kind.REAL, title=title, about=about, unit=_FT, least=least, most=most
    )


def real(name: str, title: str, about: str, least: float | None = None) -> Column:
    """A column of numbers."""
    return Column(name=name, kind=Kind.REAL, title=title, about=about, least=least)


def whole(name: str, title: str, about: str) -> Column:
    """A column of counts."""
    return Column(name=name, kind=Kind.INTEGER, title=title, about=about, least=0)


def date(name: str, title: str, about: str) -> Column:
    """A column of days."""
    return Column(name=name, kind=Kind.DATE, title=title, about=about)


def flag(name: str, title: str, about: str) -> Column:
    """A column of yes and no."""
    return Column(name=name, kind=Kind.FLAG, title=title, about=about)


def share(name: str, title: str, about: str) -> Column:
    """A column of probabilities."""
    return Column(name=name, kind=Kind.REAL, title=title, about=about, least=0, most=1)
