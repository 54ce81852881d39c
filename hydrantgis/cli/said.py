"""
What the options of `inspect`, `import` and `survey` say of a source, over what its profile says.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from hydrantgis.ground.errors import WordsError

if TYPE_CHECKING:
    from pathlib import Path

    from hydrantgis.intake.words import IntakeWords


def said_words(
    profile: Path | None,
    *,
    crs: str | None = None,
    layer: str | None = None,
    near: str | None = None,
    places: list[str] | None = None,
    swap_xy: bool = False,
    encoding: str | None = None,
    header_row: int | None = None,
    order: str | None = None,
    decimal: str | None = None,
    fields: list[str] | None = None,
    units: list[str] | None = None,
    spellings: list[str] | None = None,
    values: list[str] | None = None,
    date_order: str | None = None,
    number_rows: str | None = None,
    constants: dict[str, str | None] | None = None,
) -> tuple[IntakeWords, str | None]:
    """The words of the command line over those of the profile, and the profile's `as`."""
    from hydrantgis.ground.numerals import DECIMALS
    from hydrantgis.ground.units import unit_of
    from hydrantgis.intake.words import (
        DATE_ORDERS,
        IntakeWords,
        pairs,
        place_of,
        unit_for,
        words_from_mapping,
    )
    from hydrantgis.standards.load import read_toml

    for option, word, known in (
        ("--date-order", date_order, DATE_ORDERS),
        ("--decimal", decimal, DECIMALS),
    ):
        if word is not None and word not in known:
            raise WordsError(f"`{word}` is no {option}", accepted=" or ".join(known))
    by_column: dict[str, dict[str, str]] = {}
    for name, allowed in pairs(values or [], "--value column:WORD").items():
        column, colon, word = name.partition(":")
        if not colon:
            raise WordsError(f"`{name}` names no column", accepted="--value column:WORD=ALLOWED")
        by_column.setdefault(column, {})[word] = allowed
    said = IntakeWords(
        crs=crs,
        layer=layer,
        near=None if near is None else place_of(near),
        place=pairs(places or [], "--place"),
        swap_xy=swap_xy or None,
        encoding=encoding,
        header_row=header_row,
        order=order,
        decimal=decimal,
        fields=pairs(fields or [], "--field"),
        units={k: unit_for(k, v) for k, v in pairs(units or [], "--unit").items()},
        spellings={k.lower(): unit_of(v) for k, v in pairs(spellings or [], "--spelling").items()},
        constants={k: v for k, v in (constants or {}).items() if v is not None},
        meanings=by_column,
        date_order=date_order,
        number_rows=number_rows,
    )
    if profile is None:
        return said, None
    kept, kind = words_from_mapping(read_toml(profile), profile.name)
    return said.over(kept), kind
