"""
Profiles as text: what a user said of a source, and a commented start for one not yet known.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

from hydrantgis.ground.errors import SourceError
from hydrantgis.ground.table import Kind
from hydrantgis.ground.tables import INTAKE_TABLES
from hydrantgis.ground.text import as_text
from hydrantgis.intake import source as sources
from hydrantgis.intake.cells import field_of, read_column
from hydrantgis.intake.dates import read_dates
from hydrantgis.intake.families import fold
from hydrantgis.intake.ledger import id_column
from hydrantgis.intake.look import look
from hydrantgis.intake.match import SURE
from hydrantgis.intake.prepare import prepare
from hydrantgis.intake.words import JOIN, IntakeWords

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from hydrantgis.ground.table import Column

_FOLDED = 100.0
_MOST_WORDS = 60


def quoted(text: str) -> str:
    r"""
    A TOML string.

    Examples
    --------
    >>> print(quoted('2" main'))
    "2\" main"
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def key(text: str) -> str:
    """A TOML key, bare where it can be."""
    return text if re.fullmatch(r"[A-Za-z0-9_-]+", text) else quoted(text)


def _remark(text: str) -> str:
    """Text that stays behind its `#`."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, tuple):
        return "[" + ", ".join(quoted(str(entry)) for entry in value) + "]"
    return quoted(str(value))


def _told(words: IntakeWords) -> dict[str, Any]:
    """What was said, by the names that a profile has for it."""
    fields = {
        column: tuple(name.split(JOIN)) if JOIN in name else name
        for column, name in words.fields.items()
    }
    return {
        "crs": words.crs,
        "near": None if words.near is None else "{:g},{:g}".format(*words.near),
        "layer": words.layer, "encoding": words.encoding,
        "header_row": words.header_row, "order": words.order, "decimal": words.decimal,
        "swap_xy": words.swap_xy,
        "placeholders": words.placeholders or None, "date_order": words.date_order,
        "number_rows": words.number_rows, "many_parts": words.many_parts,
        "same_place_ft": words.same_place_ft,
        "place": words.place, "fields": fields,
        "units": {column: str(unit) for column, unit in words.units.items()},
        "unit_fields": words.unit_fields,
        "unit_spellings": {word: str(unit) for word, unit in words.spellings.items()},
        "constants": words.constants, "sentinels": words.sentinels, "method_sd": words.method_sd,
        **{f"values.{column}": table for column, table in words.meanings.items()},
        **{f"codes.{key(name)}": table for name, table in words.codes.items()},
    }  # fmt: skip


def profile_of(words: IntakeWords, kind: str) -> str:
    """
    What was said, as a profile that says it again.

    Examples
    --------
    >>> print(profile_of(IntakeWords(crs="EPSG:2249", fields={"hydrant_id": "No"}), "hydrants"))
    format = 1
    as = "hydrants"
    crs = "EPSG:2249"
    <BLANKLINE>
    [fields]
    hydrant_id = "No"
    <BLANKLINE>
    """
    return _assemble(kind, _told(words), {})


def _assemble(kind: str, told: Mapping[str, Any], remarks: Mapping[str, list[str]]) -> str:
    """Single words first, then tables; `remarks` are lines under a name, "" for the top."""
    lines = [*(remarks.get("", [])), "format = 1", f"as = {quoted(kind)}"]
    for name, value in told.items():
        if isinstance(value, dict):
            continue
        lines += remarks.get(name, [])
        if value is not None:
            lines.append(f"{name} = {_value(value)}")
    for name, value in told.items():
        if not isinstance(value, dict) or not (value or remarks.get(name)):
            continue
        lines += ["", f"[{name}]"]
        lines += [f"{key(word)} = {_value(entry)}" for word, entry in value.items()]
        lines += remarks.get(name, [])
    return "\n".join(lines) + "\n"


def start_profile(
    text: str, *, words: IntakeWords, kind: str | None, allow_remote: bool = False
) -> str:
    """
    A commented profile for a source: what is sure as it is, what is likely behind `#`.

    Parameters
    ----------
    text
        Path or address of the source.
    words
        What the user says already; it stands in the profile.
    kind
        What the source is; the likeliest where it is None.
    allow_remote
        Whether a source on the web may be fetched.

    Raises
    ------
    HydrantGISError
        The source cannot be read, or has several layers and none is named.
    """
    report = look(text, words=words, kind=kind, allow_remote=allow_remote)
    if len(report["layers"]) > 1:
        raise SourceError(
            "the source has several layers and none is named", where=report["source"],
            accepted=", ".join(entry["name"] for entry in report["layers"]),
            do="say --layer NAME",
        )  # fmt: skip
    entry = report["layers"][0]
    kind = kind or str(entry["likely_kind"])
    told = _told(words)
    told["layer"] = told["layer"] or (entry["name"] if report["driver"] in _LAYERED else None)
    remarks: dict[str, list[str]] = {
        "": [
            f"# How {json.dumps(report['source'])} is read: {entry['rows']:,} rows.",
            "# What stands behind # is a suggestion; take the # away where it is right.",
        ]
    }
    remarks["crs"] = _crs_remarks(entry, said=words.crs is not None)
    chosen = {**_sure(entry), **told["fields"]}
    told["fields"] = {c: chosen[c] for c in INTAKE_TABLES[kind].names if c in chosen}
    remarks["fields"] = _field_remarks(entry, chosen, kind)
    with sources.opened(
        text,
        encoding=words.encoding,
        header_row=words.header_row or 1,
        order=words.order,
        decimal=words.decimal,
        allow_remote=allow_remote,
    ) as source:
        layer = source.layer(words.layer)
        ready = prepare(source, layer, words, table=kind, where=source.name)
    told["place"] = told["place"] or _place_of(entry)
    remarks["units"] = [
        f'# {f["field_column"]} = "ft"  # {_remark(f["message"])}'
        for f in _unit_questions(entry, told["units"])
    ]
    for column in INTAKE_TABLES[kind].columns:
        name = told["fields"].get(column.name)
        if name is None:
            continue
        series = field_of(ready.cells, JOIN.join(name) if isinstance(name, tuple) else name, JOIN)
        section = f"values.{column.name}"
        stands = told.get(section, {})
        if column.allowed:
            lines = _unread_words(series, column, words)
        elif column.name == "family":
            sure, lines = _family_words(series, stands)
            stands = {**sure, **stands}
        else:
            if column.kind is Kind.DATE and words.date_order is None:
                remarks["date_order"] = remarks.get("date_order") or _order_question(series)
            continue
        told[section] = stands
        remarks[section] = lines
    return _assemble(kind, told, remarks)


_LAYERED = ("GPKG", "OpenFileGDB", "XLSX", "PostGIS", "OSM", "KML", "LIBKML", "GML")


def _crs_remarks(entry: dict[str, Any], *, said: bool) -> list[str]:
    if said:
        return []
    if entry["crs"]:
        told = _remark(entry["crs_told"])
        return [f"# crs = {quoted(entry['crs'])}  # as the source says: {told}"]
    if not entry["bounds"]:
        return []
    lines = ["# The source names no CRS. Ask whoever made it; the coordinates would fit:"]
    lines += [f"#   {told}" for told in entry["crs_candidates"]]
    return [*lines, '# crs = "EPSG:"']


def _place_of(entry: dict[str, Any]) -> dict[str, str]:
    fields, form = entry["place"]["fields"], entry["place"]["form"]
    if len(fields) == 2:
        return {"x": fields[0], "y": fields[1]}
    if not fields:
        return {}
    return {{"latitude, longitude": "latlon", "x, y": "lonlat"}.get(form, "shape"): fields[0]}


def _sure(entry: dict[str, Any]) -> dict[str, str]:
    return {
        f["column"]: f["name"] for f in entry["fields"] if f["column"] and f["confidence"] >= SURE
    }


def _field_remarks(entry: dict[str, Any], chosen: dict[str, Any], kind: str) -> list[str]:
    used = {n for name in chosen.values() for n in (name if isinstance(name, tuple) else (name,))}
    likely = [
        f"# {f['column']} = {quoted(f['name'])}  # {f['confidence']:.0%}: {f['reason']}"
        for f in entry["fields"]
        if f["column"] and f["confidence"] < SURE and f["column"] not in chosen
        and f["name"] not in used
    ]  # fmt: skip
    named = {f["column"] for f in entry["fields"] if f["column"]}
    table = INTAKE_TABLES[kind]
    made = {table.key} - {id_column(table)}  # what a reading is called follows from what it says
    open_ = [c for c in table.names if c not in chosen and c not in named and c not in made]
    used |= {*entry["place"]["fields"]}
    rest = [f["name"] for f in entry["fields"] if not f["column"] and f["name"] not in used]
    lines = likely
    if open_:
        lines.append(f"# no field was found for: {', '.join(open_)}")
    if rest:
        lines.append(f"# fields that are not brought in: {', '.join(json.dumps(n) for n in rest)}")
    return lines


def _unit_questions(entry: dict[str, Any], said: dict[str, str]) -> list[dict[str, str]]:
    columns = {f["name"]: f["column"] for f in entry["fields"] if f["column"]}
    found = {}
    for f in entry["findings"]:
        if "--unit" in f["message"] and f["field"] in columns and columns[f["field"]] not in said:
            found[columns[f["field"]]] = f["message"]
    return [{"field_column": column, "message": message} for column, message in found.items()]


def _unread_words(series: pd.Series, column: Column, words: IntakeWords) -> list[str]:
    read = read_column(series, column, column.name, words)
    unread = as_text(series)[read.reasons.notna()].value_counts().head(_MOST_WORDS)
    if not len(unread):
        return []
    lines = [f"# Words that are none of {', '.join(column.allowed)}:"]
    return lines + [
        f"# {key(str(word))} = {quoted(column.allowed[0])}  # {many:,} rows"
        for word, many in unread.items()
    ]


def _family_words(series: pd.Series, stands: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
    """Spellings that differ in case and marks alone, and those that are only like each other."""
    folds = [f for f in fold(as_text(series)) if f.spelling not in stands]
    sure = {f.spelling: f.family for f in folds if f.likeness >= _FOLDED and f.spelling != f.family}
    lines = [
        f"# {key(f.spelling)} = {quoted(f.family)}  # {f.likeness:.0f}% alike, {f.rows:,} rows"
        for f in folds
        if f.likeness < _FOLDED
    ]
    families = list(dict.fromkeys(f.family for f in folds))
    if len(families) > 1:
        listed = ", ".join(quoted(family) for family in families[:_MOST_WORDS])
        lines.append(f"# families so far: {listed}")
    return sure, lines


def _order_question(series: pd.Series) -> list[str]:
    _, reasons, _ = read_dates(series, None)
    asked = reasons.str.contains("--date-order", na=False)
    if not asked.any():
        return []
    return [f'# date_order = "mdy"  # or "dmy": {int(asked.sum()):,} dates may be read both ways']
