"""
What a user says about a source: on the command line, or once and for all in a profile file.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import UnitError, WordsError
from hydrantgis.ground.settings import SettingsReader
from hydrantgis.ground.tables import KINDS
from hydrantgis.ground.units import LengthUnit, unit_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

DATE_ORDERS = ("mdy", "dmy")


@dataclass(frozen=True, slots=True, kw_only=True)
class IntakeWords:
    """
    How a source is to be read, as far as the user says it.

    Attributes
    ----------
    crs, layer
        As --crs and --layer; they go before what the source says.
    fields
        Canonical column and the field it is read from.
    units
        Canonical column and the unit of bare numbers in it.
    spellings
        More ways in which a unit is written by hand.
    constants
        Canonical column and the value that holds for every row.
    meanings
        Canonical column, the source's word, and the allowed word it stands for.
    date_order
        `mdy` or `dmy`, for dates such as 03/04/2024.
    number_rows
        A prefix: rows without an id get this and their number in the source.
    """

    crs: str | None = None
    layer: str | None = None
    fields: dict[str, str] = field(default_factory=dict)
    units: dict[str, LengthUnit] = field(default_factory=dict)
    spellings: dict[str, LengthUnit] = field(default_factory=dict)
    constants: dict[str, str] = field(default_factory=dict)
    meanings: dict[str, dict[str, str]] = field(default_factory=dict)
    date_order: str | None = None
    number_rows: str | None = None

    def as_json(self) -> str:
        """What was said, as JSON with sorted keys; it goes into the record of the intake."""
        said = {key: value for key, value in asdict(self).items() if value}
        return json.dumps(said, sort_keys=True, ensure_ascii=False)

    def over(self, profile: IntakeWords) -> IntakeWords:
        """These words where they say something, else the profile's."""
        merged: dict[str, Any] = {}
        for name in ("fields", "units", "spellings", "constants", "meanings"):
            merged[name] = {**getattr(profile, name), **getattr(self, name)}
        for name in ("crs", "layer", "date_order", "number_rows"):
            merged[name] = getattr(self, name) or getattr(profile, name)
        return replace(self, **merged)


def words_from_mapping(mapping: Mapping[str, Any], name: str) -> tuple[IntakeWords, str | None]:
    """
    The words of a profile file, and what it says the source is to be read as.

    Raises
    ------
    SettingsError
        With every problem and its address.
    """
    reader = SettingsReader(mapping, name)
    reader.expect_format(1)
    kind = reader.choice("as", KINDS)
    units: dict[str, dict[str, LengthUnit]] = {"units": {}, "unit_spellings": {}}
    for key, found in units.items():
        for word, unit in reader.words(key).items():
            try:
                found[word.lower() if key == "unit_spellings" else word] = unit_of(unit)
            except UnitError as error:
                reader.problem(f"{key}.{word}", error.what)
    part = reader.part("values")
    meanings = {column: part.words(column) for column in mapping.get("values", {})}
    words = IntakeWords(
        crs=reader.text("crs"),
        layer=reader.text("layer"),
        fields=reader.words("fields"),
        units=units["units"],
        spellings=units["unit_spellings"],
        constants=reader.words("constants"),
        meanings=meanings,
        date_order=reader.choice("date_order", DATE_ORDERS),
        number_rows=reader.text("number_rows"),
    )
    reader.finish()
    return words, kind


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
