"""
What a user says about a source: on the command line, or once and for all in a profile file.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any

from rapidfuzz import fuzz, process

from hydrantgis.ground.errors import UnitError, WordsError
from hydrantgis.ground.flows import FlowUnit, flow_unit_of
from hydrantgis.ground.numerals import DECIMALS
from hydrantgis.ground.settings import SettingsReader
from hydrantgis.ground.tables import INTAKE_TABLES, METHODS
from hydrantgis.ground.units import LengthUnit, parse_length_in, unit_of
from hydrantgis.intake.place import PLACE_WORDS
from hydrantgis.intake.shapes import MANY_PARTS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

DATE_ORDERS = ("mdy", "dmy")
FLOW_COLUMNS = ("flow_gpm",)
JOIN = " + "
"""Between the names of fields that make one text together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IntakeWords:
    """
    How a source is to be read, as far as the user says it.

    Attributes
    ----------
    crs, layer, encoding
        They go before what the source says.
    header_row
        The row of a table that holds the names, from 1.
    order
        What the columns of a point file without names are, a letter each, such as `PNEZD`.
    decimal
        The decimal mark of numbers written as text, `.` or `,`.
    place
        Where a table has its coordinates: `x` and `y`, `shape`, `latlon` or `lonlat`, and fields.
    near
        Latitude and longitude of the town, where no register tells where the hydrants are.
    swap_xy
        The source has X and Y the wrong way round.
    fields
        Canonical column and the field it is read from; several joined by ` + `.
    units
        Canonical column and the unit of bare numbers in it.
    unit_fields
        Canonical column and the field that names the unit, row by row.
    spellings
        More ways in which a unit is written by hand.
    constants
        Canonical column and the value that holds for every row.
    codes
        A field of the source, its code, and the word that the code stands for.
    meanings
        Canonical column, the source's word, and the word it stands for.
    sentinels
        Canonical column and what the source writes in it for `not known`.
    placeholders
        What the source writes for an id that it does not have.
    method_sd
        A measuring method and the standard uncertainty of a height by it, as a length; it goes
        before that of `hydrantgis.standards.methods`.
    date_order
        `mdy` or `dmy`, for dates such as 03/04/2024.
    number_rows
        A prefix: rows without an id get this and their number in the source.
    many_parts
        `first` or `centroid`: what is taken of a point of several parts.
    same_place_ft
        Hydrants nearer to each other than this are held; 0 where none shall be. [ft]
    """

    crs: str | None = None
    layer: str | None = None
    encoding: str | None = None
    header_row: int | None = None
    order: str | None = None
    decimal: str | None = None
    place: dict[str, str] = field(default_factory=dict)
    near: tuple[float, float] | None = None
    swap_xy: bool | None = None
    fields: dict[str, str] = field(default_factory=dict)
    units: dict[str, LengthUnit | FlowUnit] = field(default_factory=dict)
    unit_fields: dict[str, str] = field(default_factory=dict)
    spellings: dict[str, LengthUnit] = field(default_factory=dict)
    constants: dict[str, str] = field(default_factory=dict)
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    meanings: dict[str, dict[str, str]] = field(default_factory=dict)
    sentinels: dict[str, tuple[str, ...]] = field(default_factory=dict)
    placeholders: tuple[str, ...] = ()
    method_sd: dict[str, str] = field(default_factory=dict)
    date_order: str | None = None
    number_rows: str | None = None
    many_parts: str | None = None
    same_place_ft: float | None = None

    def as_json(self) -> str:
        """What was said, as JSON with sorted keys; it goes into the record of the intake."""
        unsaid: tuple[object, ...] = (None, {}, ())
        said = {key: value for key, value in asdict(self).items() if value not in unsaid}
        return json.dumps(said, sort_keys=True, ensure_ascii=False)

    def over(self, profile: IntakeWords) -> IntakeWords:
        """These words where they say something, else the profile's; a place is said as a whole."""
        merged: dict[str, Any] = {}
        for name in self.__slots__:
            ours, theirs = getattr(self, name), getattr(profile, name)
            if name == "place":
                merged[name] = ours or theirs
            elif name in ("codes", "meanings"):
                tables = dict.fromkeys((*theirs, *ours))
                merged[name] = {t: {**theirs.get(t, {}), **ours.get(t, {})} for t in tables}
            elif isinstance(ours, dict):
                merged[name] = {**theirs, **ours}
            else:
                merged[name] = theirs if ours in (None, ()) else ours
        return replace(self, **merged)


def words_from_mapping(mapping: Mapping[str, Any], name: str) -> tuple[IntakeWords, str | None]:
    """
    The words of a profile file, and what it says the source is to be read as.

    Raises
    ------
    SettingsError
        With every problem and its address.

    Examples
    --------
    >>> words_from_mapping({"format": 1, "as": "hydrants", "fields": {"bury": "DEPTH"}}, "p.toml")
    Traceback (most recent call last):
    hydrantgis.ground.errors.SettingsError: p.toml has 1 problem
      found:    $.fields.bury: no column of hydrants; did you mean `bury_ft`?
      to do:    correct the file; nothing of it was used
    """
    reader = SettingsReader(mapping, name)
    reader.expect_format(1)
    kind = reader.choice("as", tuple(INTAKE_TABLES))
    columns = _columns_of(kind)

    def known(part: str, names: Mapping[str, object]) -> None:
        for column in names:
            if column not in columns:
                near = process.extractOne(column, columns, scorer=fuzz.WRatio, score_cutoff=60)
                hint = f"did you mean `{near[0]}`?" if near else f"known are {', '.join(columns)}"
                reader.problem(f"{part}.{column}", f"no column of {kind or 'any table'}; {hint}")

    units: dict[str, LengthUnit | FlowUnit] = {}
    for column, unit in reader.words("units").items():
        try:
            units[column] = unit_for(column, unit)
        except UnitError as error:
            reader.problem(f"units.{column}", error.what)
    spellings: dict[str, LengthUnit] = {}
    for word, unit in reader.words("unit_spellings").items():
        try:
            spellings[word.lower()] = unit_of(unit)
        except UnitError as error:
            reader.problem(f"unit_spellings.{word}", error.what)
    tables = {
        key: {name: table for name in part.keys if (table := part.words(name))}
        for key, part in (("values", reader.part("values")), ("codes", reader.part("codes")))
    }
    marks = reader.part("sentinels")
    header_row = reader.number("header_row", least=1)
    if header_row is not None and not header_row.is_integer():
        reader.problem("header_row", f"{header_row:g} is no whole number")
    words = IntakeWords(
        crs=reader.text("crs"),
        layer=reader.text("layer"),
        encoding=reader.text("encoding"),
        header_row=None if header_row is None else int(header_row),
        order=reader.text("order"),
        decimal=reader.choice("decimal", DECIMALS),
        place=reader.words("place"),
        near=_near(reader, mapping),
        swap_xy=reader.flag("swap_xy", default=False) or None,
        fields=_fields(reader.part("fields"), mapping.get("fields")),
        units=units,
        unit_fields=reader.words("unit_fields"),
        spellings=spellings,
        constants=reader.words("constants"),
        codes=tables["codes"],
        meanings=tables["values"],
        sentinels={column: marks.texts(column) for column in marks.keys},
        placeholders=reader.texts("placeholders"),
        method_sd=_method_sd(reader),
        date_order=reader.choice("date_order", DATE_ORDERS),
        number_rows=reader.text("number_rows"),
        many_parts=reader.choice("many_parts", MANY_PARTS),
        same_place_ft=reader.number("same_place_ft", least=0),
    )
    for part, names in (
        ("fields", words.fields), ("units", words.units), ("unit_fields", words.unit_fields),
        ("constants", words.constants), ("values", words.meanings), ("sentinels", words.sentinels),
    ):  # fmt: skip
        known(part, names)
    for word in set(words.place) - set(PLACE_WORDS):
        reader.problem(f"place.{word}", f"known are {', '.join(PLACE_WORDS)}")
    reader.finish()
    return words, kind


def _method_sd(reader: SettingsReader) -> dict[str, str]:
    told = reader.words("method_sd")
    for method, text in told.items():
        if method not in METHODS:
            reader.problem(f"method_sd.{method}", f"known are {', '.join(METHODS)}")
        length, reason = parse_length_in(text, unit=None)
        if reason is not None or length <= 0:
            reader.problem(f"method_sd.{method}", f"`{text}` is no length; write `0.5 in`")
    return told


def _columns_of(kind: str | None) -> list[str]:
    tables = INTAKE_TABLES.values() if kind is None else (INTAKE_TABLES[kind],)
    return list(dict.fromkeys(name for table in tables for name in table.names))


def _near(reader: SettingsReader, mapping: Mapping[str, Any]) -> tuple[float, float] | None:
    told = reader.text("near") if "near" in mapping else None
    if told is None:
        return None
    try:
        return place_of(told)
    except WordsError as error:
        reader.problem("near", f"{error.what}; {error.accepted}")
        return None


def place_of(text: str) -> tuple[float, float]:
    """
    Latitude and longitude out of `LAT,LON`.

    Raises
    ------
    WordsError
        It is no place on earth.

    Examples
    --------
    >>> place_of("42.37, -71.11")
    (42.37, -71.11)
    """
    try:
        lat, lon = (float(part) for part in text.split(","))
    except ValueError:
        lat = lon = float("nan")
    if not (abs(lat) <= 90 and abs(lon) <= 180):
        raise WordsError(f"`{text}` is no place on earth", accepted="LAT,LON such as 42.37,-71.11")
    return lat, lon


def _fields(part: SettingsReader, told: Any) -> dict[str, str]:  # noqa: ANN401 - a file holds anything
    """Column and field; a list of fields makes one text together."""
    found: dict[str, str] = {}
    for column in part.keys:
        several = isinstance(told[column], list)
        name = JOIN.join(part.texts(column)) if several else part.text(column)
        if name:
            found[column] = name
        elif told[column] == []:
            part.problem(column, "names no field")
    return found


def unit_for(column: str, text: str) -> LengthUnit | FlowUnit:
    """
    The unit that a word stands for, of flow for a column of flow, else of length.

    Raises
    ------
    UnitError
        The word is no such unit.

    Examples
    --------
    >>> unit_for("bury_ft", "feet"), unit_for("flow_gpm", "l/min")
    (<LengthUnit.FT: 'ft'>, <FlowUnit.L_MIN: 'l/min'>)
    """
    return flow_unit_of(text) if column in FLOW_COLUMNS else unit_of(text)


def pairs(texts: Sequence[str], option: str) -> dict[str, str]:
    """
    `name=value` words of the command line.

    Raises
    ------
    WordsError
        One has no equals sign.

    Examples
    --------
    >>> pairs(["hydrant_id=HYD_NO"], "--field")
    {'hydrant_id': 'HYD_NO'}
    """
    result: dict[str, str] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        if not equals or not name.strip() or not value.strip():
            raise WordsError(
                f"`{text}` is no pair", accepted="name=value", do=f"write {option} name=value"
            )
        result[name.strip()] = value.strip()
    return result
