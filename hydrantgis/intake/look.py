"""
What is in a source, told before anything is brought in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hydrantgis.ground.plane import xy
from hydrantgis.ground.tables import READINGS
from hydrantgis.ground.units import parse_lengths_in
from hydrantgis.intake import source as sources
from hydrantgis.intake.crs import candidates, describe, share_inside, short
from hydrantgis.intake.match import SURE, Match, suggest, unit_in_name
from hydrantgis.intake.shapes import bounds_of
from hydrantgis.intake.take import TABLES

if TYPE_CHECKING:
    from hydrantgis.ground.table import Table
    from hydrantgis.intake.layers import Layer, Source

_PAGE_LIMITS = (1000, 2000, 5000, 10_000)
_MARKS = ("-9999", "9999", "999", "-99", "-999", "1899-12-30", "9999-12-31")
_SHARE_OF_ONE_VALUE = 0.02


def look(text: str, *, layer: str | None = None) -> dict[str, Any]:
    """
    Layers, fields, CRS, and what looks wrong; nothing is written anywhere.

    Parameters
    ----------
    text
        Path of the source.
    layer
        One layer; all of them where it is None.

    Returns
    -------
    report
        `source`, `driver`, `layers[]` with `name, geometry_type, rows, crs, crs_told,
        crs_candidates[], bounds, likely_kind, fields[], findings[]`; fit for JSON.

    Raises
    ------
    HydrantGISError
        The source cannot be read.
    """
    source = sources.open_source(text)
    layers = source.layers if layer is None else (source.layer(layer),)
    return {
        "source": source.name,
        "driver": source.driver,
        "layers": [_look_at(source, entry) for entry in layers],
    }


def _likely(layer: Layer) -> tuple[str, Table]:
    """The kind of table that most fields match; a shape that cannot be it rules a kind out."""
    shape = (layer.geometry_type or "").lower()
    ranked = []
    for place, (name, table) in enumerate(TABLES.items()):
        wants = (table.geometry or "").lower()
        if shape and wants and not any(w in wants for w in (shape.removeprefix("multi"),)):
            continue
        if not shape and wants:
            continue
        matches = suggest(layer.fields, table)
        key = any(m.column == table.key and m.confidence >= 0.9 for m in matches)
        ranked.append((-(sum(m.confidence for m in matches) + key), place, name, table))
    _, _, name, table = min(ranked, default=(0, 0, "hydrants", TABLES["hydrants"]))
    return name, table


def _heights_in(layer: Layer, matches: dict[str, Match]) -> list[str]:
    """Fields of another kind of layer that look like readings."""
    heights = {"outlet_height_in", "outlet_elev_ft", "flange_height_in"}
    found = [m for m in suggest(layer.fields, READINGS) if m.column in heights]
    return [m.field for m in found if m.confidence >= SURE and m.field not in matches]


def _look_at(source: Source, layer: Layer) -> dict[str, Any]:
    rows = sources.read_rows(source, layer)
    kind, table = _likely(layer)
    matches = {m.field: m for m in suggest(layer.fields, table)}
    heights = [] if table is READINGS else _heights_in(layer, matches)
    found: list[dict[str, str]] = []

    def note(code: str, text: str, field: str | None = None) -> None:
        found.append({"code": code, "field": field or "", "message": text})

    fields = []
    for name, kind_of_field in layer.fields.items():
        fields.append(_field(rows[name], name, kind_of_field, matches.get(name), note))
    bounds, z = _shapes(rows, layer, note)
    for name in heights:
        note("has-heights", "looks like measured heights: bring them in with `survey`", name)
    if layer.rows in _PAGE_LIMITS:
        note("page-limit", f"exactly {layer.rows:,} rows: the export may have been cut off")
    if layer.rows == 0:
        note("no-rows", "the layer is empty")
    return {
        "name": layer.name,
        "geometry_type": layer.geometry_type,
        "rows": layer.rows,
        "crs": short(layer.crs) if layer.crs else None,
        "crs_told": describe(layer.crs) if layer.crs else None,
        "crs_candidates": candidates(bounds) if layer.crs is None and bounds else [],
        "bounds": bounds,
        "z": z,
        "likely_kind": kind,
        "fields": fields,
        "findings": found,
    }


def _field(series: pd.Series, name: str, kind: str, match: Any, note: Any) -> dict[str, Any]:  # noqa: ANN401
    filled = series.dropna()
    text = filled.astype("str").str.strip()
    text = text[text != ""]
    counts = text.value_counts()
    unit = unit_in_name(name)[1]
    if match is not None and match.column.endswith("_id") and len(text) < len(series):
        note("id-missing", f"{len(series) - len(text):,} of {len(series):,} rows have no id", name)
    if match is not None and match.column.endswith("_id") and (counts > 1).any():
        often = counts[counts > 1]
        note(
            "id-repeated", f"{len(often):,} ids stand more than once, first {often.index[0]}", name
        )
    for mark in _MARKS:
        if counts.get(mark, 0) > max(1, _SHARE_OF_ONE_VALUE * len(text)):
            note("sentinel-value", f"`{mark}` stands in {counts[mark]:,} rows", name)
    if match is not None and match.column.endswith(("_in", "_ft")):
        _length_notes(series, name, unit is not None, note)
    return {
        "name": name,
        "type": kind,
        "filled": len(text),
        "distinct": len(counts),
        "examples": [str(value)[:40] for value in counts.index[:3]],
        "column": match.column if match else None,
        "confidence": round(match.confidence, 2) if match else 0.0,
        "reason": match.reason if match else "",
    }


def _length_notes(series: pd.Series, name: str, has_unit: bool, note: Any) -> None:  # noqa: ANN401
    if pd.api.types.is_numeric_dtype(series.dtype):
        if not has_unit:
            note("unit-missing", "bare numbers; say the unit with --unit", name)
        return
    _, reasons = parse_lengths_in(series, unit=None)
    told = reasons.dropna().value_counts()
    for reason, many in told.items():
        note("length-unreadable", f"{many:,} cells: {reason}", name)


def _shapes(
    rows: pd.DataFrame,
    layer: Layer,
    note: Any,  # noqa: ANN401
) -> tuple[tuple[float, float, float, float] | None, dict[str, Any]]:
    if not isinstance(rows, gpd.GeoDataFrame):
        return None, {}
    whole = np.asarray(rows.geometry.array, dtype=object)
    empty = shapely.is_missing(whole) | shapely.is_empty(whole)
    if empty.any():
        note("no-location", f"{int(empty.sum()):,} rows have no shape")
    shapes = gpd.GeoSeries(whole[~empty])
    bounds = bounds_of(shapes)
    if bounds is None:
        return None, {}
    if bounds[0] == bounds[2] and bounds[1] == bounds[3] and len(shapes) > 1:
        note("zero-extent", "all points lie at one place")
    if layer.crs is None:
        note("crs-missing", "no CRS; say it with --crs")
    else:
        points = xy(shapes.representative_point())
        share = share_inside(points, layer.crs)
        if share < 1:
            swapped = share_inside(points[:, ::-1], layer.crs)
            more = "; with X and Y swapped they would" if swapped > share else ""
            note("outside-crs-area", f"{share:.1%} of the points lie where the CRS is used{more}")
    z: dict[str, Any] = {"present": 0}
    values = shapely.get_z(whole[~empty])
    values = values[np.isfinite(values)]
    if len(values):
        z = {
            "present": len(values),
            "least": float(np.min(values)),
            "greatest": float(np.max(values)),
            "exactly_zero": int((values == 0).sum()),
        }
    return bounds, z
