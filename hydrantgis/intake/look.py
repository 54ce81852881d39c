"""
What is in a source, told before anything is brought in.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from hydrantgis.ground.errors import CRSError, UnitError
from hydrantgis.ground.findings import CODES
from hydrantgis.ground.plane import xy
from hydrantgis.ground.tables import HYDRANTS, INTAKE_TABLES, READINGS
from hydrantgis.ground.text import as_text
from hydrantgis.intake import source as sources
from hydrantgis.intake.cells import read_column
from hydrantgis.intake.crosscheck import crosscheck
from hydrantgis.intake.crs import (
    area_of_use,
    candidates,
    describe,
    foot_note,
    hold_against_area,
    short,
    swapped,
    unproved_note,
    user_crs,
)
from hydrantgis.intake.dates import read_dates
from hydrantgis.intake.ids import placeholder_ids
from hydrantgis.intake.match import SURE, made_by_program
from hydrantgis.intake.place import pair_fields
from hydrantgis.intake.prepare import NEEDED, PAGE_LIMITS, Z_FIELD, Prepared, prepare
from hydrantgis.intake.shapes import bounds_of
from hydrantgis.intake.suggest import Match, suggest
from hydrantgis.intake.whereabouts import round_a_town
from hydrantgis.intake.words import IntakeWords

if TYPE_CHECKING:
    from collections.abc import Callable

    import pyproj
    from numpy.typing import NDArray

    from hydrantgis.intake.layers import Layer, Source

    Note = Callable[..., None]

_MARKS = ("-9999", "9999", "999", "-99", "-999", "-1", "1899-12-30", "9999-12-31")
_SHARE_OF_ONE_VALUE = 0.02
_CODE_WORDS = 12


def look(
    text: str, *, words: IntakeWords | None = None, kind: str | None = None,
    allow_remote: bool = False,
) -> dict[str, Any]:  # fmt: skip
    """
    Layers, fields, CRS, and what looks wrong; nothing is written anywhere.

    Parameters
    ----------
    text
        Path or address of the source.
    words
        What the user says; one layer is looked at where they name one, else all are.
    kind
        What the source is meant to be; the likeliest of `INTAKE_TABLES` where it is None.
    allow_remote
        Whether a source on the web may be fetched.

    Returns
    -------
    report
        `source`, `driver`, `unreadable` (layer and reason), `layers[]` with `name, geometry_type,
        rows, crs, crs_told, crs_area, crs_candidates[], bounds, z, likely_kind, place, fields[],
        findings[]`; fit for JSON.

    Raises
    ------
    HydrantGISError
        The source cannot be read.
    """
    said = words or IntakeWords()
    with sources.opened(
        text,
        encoding=said.encoding,
        header_row=said.header_row or 1,
        order=said.order,
        decimal=said.decimal,
        allow_remote=allow_remote,
    ) as source:
        layers = source.layers if said.layer is None else (source.layer(said.layer),)
        return {
            "source": source.name,
            "driver": source.driver,
            "unreadable": dict(source.options.get("unreadable", {})),
            "layers": [_look_at(source, entry, said, kind) for entry in layers],
        }


def likely_kind(shapes_type: str | None, cells: pd.DataFrame) -> str:
    """
    The kind of table that most fields match; a shape that cannot be it rules a kind out.

    Examples
    --------
    >>> likely_kind("Point", pd.DataFrame({"HYD_NO": ["1", "2"], "BURY_FT": [4.0, 5.0]}))
    'hydrants'
    """
    # a library may add words for Z and M, or say that shapes are of several kinds
    shape = re.search("point|linestring|polygon", (shapes_type or "").replace(" ", "").lower())
    ranked = []
    for order, (name, table) in enumerate(INTAKE_TABLES.items()):
        wants = (table.geometry or "").lower()
        if bool(shapes_type) != bool(wants) or (shape and shape.group() not in wants):
            continue
        matches = suggest(cells, table)
        sure = {m.column: m.confidence for m in matches if m.confidence >= SURE}
        if name in NEEDED and not sure.keys() & {*NEEDED[name]}:
            continue
        key = sure.get("hydrant_id" if table is READINGS else table.key, 0)
        # a hundredth more or less is no reason; the kind that is asked for most often stands first
        ranked.append((-round(sum(sure.values()) + key, 1), order, name))
    return min(ranked, default=(0, 0, "hydrants"))[2]


def _look_at(source: Source, layer: Layer, words: IntakeWords, kind: str | None) -> dict[str, Any]:
    ready = prepare(source, layer, words, table=layer.name, where=source.name)
    found: list[dict[str, str]] = []

    def note(code: str, text: str, field: str | None = None) -> None:
        severity = CODES[code].severity.value
        found.append({"code": code, "severity": severity, "field": field or "", "message": text})

    shape = layer.geometry_type
    if ready.shapes is not None and (
        ready.form or shape in (None, "Unknown", "GeometryCollection")
    ):
        kinds = ready.shapes.geom_type.dropna()
        shape = str(kinds.iloc[0]) if len(kinds) else None
    elif ready.shapes is None and pair_fields(ready.rows):
        shape = "Point"
    kind = kind or likely_kind(shape, ready.cells)
    table = INTAKE_TABLES[kind]
    pairs = pair_fields(ready.rows) if ready.shapes is None else []
    free = ready.cells.drop(columns=[*ready.place_fields, *pairs], errors="ignore")
    matches = {m.field: m for m in suggest(free, table)}
    for code, message in zip(ready.notes["code"], ready.notes["message"], strict=True):
        if code != "place-unreadable":
            note(code, message)
    bad = int((ready.notes["code"] == "place-unreadable").sum())
    if bad:
        note("place-unreadable", f"{bad:,} rows: {ready.notes['message'].iloc[-1]}")
    fields = [
        _field(ready, str(name), layer.fields.get(str(name), "text"), matches.get(str(name)), note)
        for name in ready.rows.columns
    ]
    where = _shapes(ready, words, note)
    heights = [] if table is READINGS else _heights_in(free, matches)
    for name in heights:
        note("has-heights", "looks like measured heights; bring them in with `survey`", name)
    for name in pairs:
        note("two-coordinates", "two numbers; say --place latlon=FIELD or lonlat=FIELD", name)
    if layer.rows in PAGE_LIMITS:
        note("page-limit", f"exactly {layer.rows:,} rows: the export may have been cut off")
    if layer.rows == 0:
        note("no-rows", "the layer is empty")
    return {
        "name": layer.name,
        "geometry_type": shape,
        "rows": layer.rows,
        **where,
        "likely_kind": kind,
        "place": {"fields": list(ready.place_fields), "form": ready.form},
        "fields": fields,
        "findings": found,
    }


def _heights_in(cells: pd.DataFrame, matches: dict[str, Match]) -> list[str]:
    """Fields of another kind of layer that look like readings."""
    heights = {"outlet_height_in", "outlet_elev_ft", "flange_height_in"}
    found = [m for m in suggest(cells, READINGS) if m.column in heights]
    return [m.field for m in found if m.confidence >= SURE and m.field not in matches]


def _meaning(name: str, kind: str, series: pd.Series, match: Match | None, ready: Prepared) -> str:
    """What a field seems to be, in words."""
    if name in ready.place_fields:
        return f"place ({ready.form})"
    if match is not None and match.confidence >= SURE:
        return match.column
    if made := made_by_program(name):
        return made
    if pd.api.types.is_datetime64_any_dtype(series.dtype) or kind.lower().startswith("date"):
        return "date"
    numeric = pd.api.types.is_numeric_dtype(series.dtype)
    sample = series.dropna().iloc[:500]
    if len(sample) and (numeric or series.dtype == "str"):
        dates, _, remarks = read_dates(sample, None)
        if ("dates-as-milliseconds", "") in remarks:
            return "date, as milliseconds since 1970"
        if not numeric and dates.notna().mean() > 0.9:
            return "date"
    if match is not None:
        return f"{match.column}?"
    return "number" if numeric else "text"


def _field(
    ready: Prepared, name: str, kind: str, match: Match | None, note: Note
) -> dict[str, Any]:
    series = ready.rows[name]
    text = as_text(series).dropna()
    counts = text.value_counts()
    if match is not None and match.column.endswith("_id"):
        _id_notes(text, counts, len(series), name, match.confidence >= SURE, note)
    for mark in _MARKS:
        if counts.get(mark, 0) > max(1, _SHARE_OF_ONE_VALUE * len(text)):
            note("sentinel-value", f"`{mark}` stands in {counts[mark]:,} rows", name)
    labels = ready.cells[name]
    if match is not None:
        _value_notes(labels, name, match, note)
    return {
        "name": name,
        "type": kind,
        "filled": len(text),
        "distinct": len(counts),
        "examples": [str(value)[:40] for value in counts.index[:3]],
        "meaning": _meaning(name, kind, series, match, ready),
        "column": match.column if match else None,
        "confidence": round(match.confidence, 2) if match else 0.0,
        "reason": match.reason if match else "",
    }


def _id_notes(
    text: pd.Series, counts: pd.Series, rows: int, name: str, sure: bool, note: Note
) -> None:
    if not sure:
        return
    if len(text) < rows:
        note("id-missing", f"{rows - len(text):,} of {rows:,} rows have no id", name)
    nobody = placeholder_ids(text)
    if nobody.any():
        shown = ", ".join(f"`{value}`" for value in text[nobody].unique()[:3])
        note("id-placeholder", f"{int(nobody.sum()):,} rows have {shown} for an id", name)
    often = counts[(counts > 1) & ~counts.index.isin(text[nobody].unique())]
    if len(often):
        first = often.index[0]
        note("id-repeated", f"{len(often):,} ids stand more than once, first `{first}`", name)


def _value_notes(series: pd.Series, name: str, match: Match, note: Note) -> None:
    columns = {c.name: c for table in INTAKE_TABLES.values() for c in table.columns}
    column = columns[match.column]
    if column.kind.value == "date":
        _, reasons, remarks = read_dates(series, None)
        for code, message in remarks:
            note(code, message or "whole numbers: milliseconds since 1970", name)
        for reason, many in reasons.dropna().value_counts().head(3).items():
            note("value-unreadable", f"{many:,} cells: {reason}", name)
        return
    if column.unit is None:
        return
    try:
        read = read_column(series, column, name, IntakeWords())
    except UnitError as error:
        note("unit-missing", f"{error.found}; {error.do}", name)
        return
    for code, message in read.remarks:
        note(code, message, name)
    for reason, many in read.reasons.dropna().value_counts().items():
        note("value-unreadable", f"{many:,} cells: {reason}", name)


def _shapes(ready: Prepared, words: IntakeWords, note: Note) -> dict[str, Any]:
    """CRS, extent, Z, and what is wrong with the place."""
    told: dict[str, Any] = {
        "crs": None, "crs_told": None, "crs_area": None, "crs_candidates": [], "bounds": None,
        "z": {},
    }  # fmt: skip
    if ready.shapes is None:
        return told
    crs = ready.shapes.crs if words.crs is None else user_crs(words.crs)
    ground = round_a_town(words.near)
    whole = ready.shapes.to_numpy()
    empty = shapely.is_missing(whole) | shapely.is_empty(whole)
    if empty.any():
        note("no-location", f"{int(empty.sum()):,} rows have no shape")
    bounds = bounds_of(ready.shapes[~empty])
    if crs is not None:
        area = area_of_use(crs)
        told |= {
            "crs": short(crs),
            "crs_told": describe(crs),
            "crs_area": area.name if area else None,
        }
    told["bounds"] = bounds
    if bounds is None:
        return told
    shapes = ready.shapes[~empty]
    points = xy(shapes.representative_point())
    if bounds[0] == bounds[2] and bounds[1] == bounds[3] and len(shapes) > 1:
        note("zero-extent", "all points lie at one place")
    zero = int(((points[:, 0] == 0) & (points[:, 1] == 0)).sum())
    if zero:
        note("zero-location", f"{zero:,} points lie at exactly 0, 0")
    if crs is None:
        note("crs-missing", "no CRS; say it with --crs")
        told["crs_candidates"] = [
            f"{c}: {c.reason}"
            for c in candidates(points, near=ground, place="the place that is named")[:10]
        ]
    else:
        _hold(points, crs, ground, note)
        if foot := foot_note(points, crs):
            note("foot-told-apart", foot)
        if unproved := unproved_note(crs):
            note("crs-unproved", unproved)
        others = ready.rows.drop(columns=list(ready.place_fields), errors="ignore")
        placed = ready.shapes.set_crs(crs, allow_override=True)
        told_by = crosscheck(others, placed, HYDRANTS.name)
        for message in told_by["message"][told_by["key"] == "(all)"]:
            note("attribute-coordinates-differ", message)
    values = ready.cells[Z_FIELD].dropna().to_numpy() if Z_FIELD in ready.cells else np.zeros(0)
    if len(values):
        told["z"] = {
            "present": len(values),
            "least": float(np.min(values)),
            "greatest": float(np.max(values)),
            "exactly_zero": int((values == 0).sum()),
        }
    return told


def _hold(
    points: NDArray[np.float64], crs: pyproj.CRS, ground: shapely.Geometry | None, note: Note
) -> None:
    """Tell what an intake would refuse, and which points it would hold."""
    try:
        outside = hold_against_area(points, crs, where="", service=ground)
    except CRSError as error:
        note("outside-crs-area", f"{error.what}; {error.found}")
        return
    for code, rows in (
        ("outside-crs-area", outside),
        ("axes-swapped", swapped(points, crs, service=ground)),
    ):
        if rows.any():
            note(code, f"{int(rows.sum()):,} points: {CODES[code].meaning}")
