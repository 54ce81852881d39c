"""
A LandXML file gone through once: what it says of its units, and the elements that a reader wants.

Elements are known by their local names, so that every version, and what a country makes of it,
reads alike. The file is never held as a tree. A file with a document type declaration, which
LandXML has no use for, is refused before anything in it is followed.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.sax import SAXException, SAXParseException
from xml.sax.handler import ContentHandler

from hydrantgis.ground.errors import CRSError, UnitError, UnreadableError, some
from hydrantgis.ground.findings import findings, no_findings
from hydrantgis.ground.units import METRES, LengthUnit, unit_of
from hydrantgis.intake.systems import user_crs

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from xml.sax.xmlreader import AttributesImpl

    import pandas as pd
    import pyproj

_UNITS = {
    "millimeter": LengthUnit.MM, "centimeter": LengthUnit.CM, "meter": LengthUnit.M,
    "kilometer": LengthUnit.KM, "foot": LengthUnit.FT, "feet": LengthUnit.FT,
    "ussurveyfoot": LengthUnit.FT_US, "inch": LengthUnit.IN,
}  # fmt: skip
"""Units as LandXML spells them, lower case; others are read as everywhere."""


@dataclass(frozen=True, slots=True)
class LandXMLWords:
    """
    What a file says of its coordinates; None is what it does not say, and the user has to.

    Attributes
    ----------
    crs
        By its EPSG code, else by its well-known text.
    linear_unit, elevation_unit
        Of northing and easting, and of elevations.
    vertical_datum
        As the file names it.
    crs_name
        The CRS in the words of the file, also where `crs` is None.
    horizontal_datum
        As the file names it.
    """

    crs: pyproj.CRS | None = None
    linear_unit: LengthUnit | None = None
    elevation_unit: LengthUnit | None = None
    vertical_datum: str | None = None
    crs_name: str | None = None
    horizontal_datum: str | None = None


class Handler(ContentHandler, ABC):
    """Goes along with the parser: words of the head, and what a subclass gathers."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.root: str | None = None
        self.units: list[AttributesImpl] = []
        self.system: AttributesImpl | None = None
        self._text: list[str] = []
        self._wanted = 0

    def startElement(self, name: str, attrs: AttributesImpl) -> None:  # noqa: N802
        """As the parser calls it."""
        local = name.rpartition(":")[2]
        if self.root is None:
            self.root = local
            if local != "LandXML":
                raise _NotLandXMLError(local)
        self.open.append(local)
        if local in ("Metric", "Imperial") and self.open[1:-1] == ["Units"]:
            self.units.append(attrs)
        elif local == "CoordinateSystem" and len(self.open) == 2:
            self.system = attrs
        if self.begins(local, attrs):
            self._text, self._wanted = [], len(self.open)

    def characters(self, content: str) -> None:
        """As the parser calls it, with as much text as it has."""
        if self._wanted == len(self.open):
            self._text.append(content)

    def endElement(self, name: str) -> None:  # noqa: N802
        """As the parser calls it."""
        text = None
        if self._wanted == len(self.open):
            text, self._wanted = "".join(self._text), 0
        self.open.pop()
        self.ends(name.rpartition(":")[2], text)

    @abstractmethod
    def begins(self, name: str, attrs: AttributesImpl) -> bool:
        """Whether the text of this element is wanted."""

    @abstractmethod
    def ends(self, name: str, text: str | None) -> None:
        """The element is over; its own text, where it was wanted."""


class _NotLandXMLError(Exception):
    """The first element is another one."""


def go_through(path: Path, handler: Handler) -> tuple[LandXMLWords, pd.DataFrame]:
    """
    Hand every element of a file to a handler.

    Returns
    -------
    words, findings
        What the file says of its coordinates.

    Raises
    ------
    UnreadableError
        The file breaks off, is no LandXML, or holds what could reach beyond itself.
    UnitError
        It names a unit that there is not, or several.
    """
    from defusedxml.common import DefusedXmlException
    from defusedxml.sax import parse

    try:
        # a stream, since a parser given a name would also fetch it from elsewhere
        with path.open("rb") as stream:
            parse(stream, handler, forbid_dtd=True)
    except OSError as error:
        raise UnreadableError(
            "the file cannot be opened", where=path.name, found=error.strerror
        ) from error
    except DefusedXmlException as error:
        raise UnreadableError(
            "the file declares a document type, through which others could be drawn in",
            where=path.name, found=type(error).__name__, accepted="LandXML without <!DOCTYPE",
            do="ask where it comes from; export it again",
        ) from error  # fmt: skip
    except _NotLandXMLError as error:
        raise UnreadableError(
            "the file is no LandXML", where=path.name, found=f"<{str(error)[:60]}>",
            accepted="<LandXML> as the first element",
        ) from error  # fmt: skip
    except (SAXException, LookupError, ValueError) as error:
        found = str(error)
        if isinstance(error, SAXParseException):
            found = f"line {error.getLineNumber():,}: {error.getMessage()}"
        raise UnreadableError(
            "the file breaks off or is damaged", where=path.name, found=found[:200],
            accepted="well-formed XML", do="export it again",
        ) from error  # fmt: skip
    return _words(handler, path.name)


def _words(handler: Handler, where: str) -> tuple[LandXMLWords, pd.DataFrame]:
    if len(handler.units) > 1:
        raise UnitError(
            "the file names its units more than once", where=where,
            found=some([f"linearUnit={u.get('linearUnit')}" for u in handler.units]),
            accepted="one <Metric> or <Imperial>", do="ask whoever made it",
        )  # fmt: skip
    units: Callable[[str], str | None] = handler.units[0].get if handler.units else lambda _: None
    said: Callable[[str], str | None] = handler.system.get if handler.system else lambda _: None
    crs = _crs(said("epsgCode"), said("ogcWktCode"))
    name = said("name") or said("horizontalCoordinateSystemName") or said("desc")
    words = LandXMLWords(
        crs=crs,
        linear_unit=_unit(units("linearUnit"), where),
        elevation_unit=_unit(units("elevationUnit"), where),
        vertical_datum=said("verticalDatum") or said("verticalCoordinateSystemName") or None,
        crs_name=" ".join(part for part in (name, said("epsgCode")) if part) or None,
        horizontal_datum=said("horizontalDatum") or None,
    )
    if crs is None or words.linear_unit is None or not crs.is_projected:
        return words, no_findings()
    axis = crs.axis_info[0]
    ratio = axis.unit_conversion_factor / float(METRES[words.linear_unit])
    if abs(ratio - 1) < 1e-9:
        return words, no_findings()
    return words, findings(
        "units-differ", table="source", keys=[where], column="linearUnit",
        values=[words.linear_unit.value],
        messages=f"the file says {words.linear_unit.value}, and {crs.name} is in {axis.unit_name}",
    )  # fmt: skip


def _unit(word: str | None, where: str) -> LengthUnit | None:
    if word is None or not word.strip():
        return None
    known = _UNITS.get(word.strip().lower())
    if known is not None:
        return known
    try:
        return unit_of(word)
    except UnitError as error:
        raise UnitError(
            error.what, where=where, accepted="linearUnit and elevationUnit as in LandXML",
            do="ask whoever made it",
        ) from error  # fmt: skip


def _crs(code: str | None, wkt: str | None) -> pyproj.CRS | None:
    """The CRS that is named in a way that leaves no doubt; None where there is none."""
    number = re.fullmatch(r"(?:.*\D)?([1-9]\d{3,5})\s*", code or "")
    for text in (f"EPSG:{number[1]}" if number else None, wkt):
        if text:
            try:
                return user_crs(text)
            except CRSError:
                continue
    return None
