"""
The web map: one HTML file that opens without a connection.

Hydrants travel as columns, not as one object each: places and marks in one JSON block that is read
when the page opens, facts in a second one that is read when the first hydrant is opened. Text from
data reaches the page only as JSON, and the screen only as `textContent`.
"""

from __future__ import annotations

import json
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from branca.element import Figure, MacroElement

from hydrantgis.deliver.looks import (
    BOUNDARY,
    DRAWING_ORDER,
    FAINT,
    INK,
    LOOKS,
    PAPER,
    MapWords,
    counts,
    look_codes,
    missing_in_words,
    places_of,
    share_in_words,
)
from hydrantgis.deliver.offline import Markup, OfflineMap, steady_page
from hydrantgis.ground.errors import CRSError, WordsError
from hydrantgis.ground.results import CHECKED
from hydrantgis.ground.tables import HYDRANTS
from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    from pathlib import Path

    import folium
    import geopandas as gpd
    from numpy.typing import NDArray

__all__ = ["MapWords", "save_map", "web_map"]

_WORLD = 2**30
"""Width of the web-mercator square in steps; a step is 3.7 cm at the equator."""
_MOST_LATITUDE = 85.0511

_POLYGONS, _LINES = (3, 6), (1, 5)

_DIGITS = {"p_inside": 4, "p_low": 4, "p_high": 4}
_SHOWN = (
    "hydrant_id", "area_id", "outlet_height_in", "height_sd_in", "height_basis", "reading_date",
    "window_lo_in", "window_hi_in", "marginal", "p_inside", "flange_height_in", "flange_verdict",
    "remedy", "remedy_reason", "kit_id", "kit_length_in", "raise_in", "outlet_height_after_in",
    "flange_height_after_in", "bury_ft", "bury_after_ft", "installed_extension_in",
)  # fmt: skip


def _json_block(name: str, value: object) -> str:
    """Return a script element that holds data; no character of the data can end it."""
    # Everything beyond ASCII is written as \uXXXX, U+2028 and U+2029 among it.
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return f'<script type="application/json" id="{name}">{text}</script>'


def _packed_text(values: pd.Series[Any]) -> dict[str, Any] | None:
    """Return each distinct text once, and its number for each row; None where all are missing."""
    codes, words = pd.factorize(values.astype("object"))
    if len(words) == 0:
        return None
    packed: dict[str, Any] = {"words": [str(word) for word in words]}
    if len(words) < len(values):
        packed["codes"] = codes.tolist()
    return packed


def _packed_numbers(values: pd.Series[Any], digits: int) -> dict[str, Any] | None:
    """Return rounded numbers, null where missing or endless; None where all are missing."""
    numbers = values.to_numpy(dtype=np.float64, na_value=np.nan)
    known = np.isfinite(numbers)
    if not known.any():
        return None
    rounded = (np.round(numbers, digits) + 0.0).astype(object)
    rounded[~known] = None
    return {"numbers": rounded.tolist()}


def _packed(values: pd.Series[Any], digits: int = 2) -> dict[str, Any] | None:
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        return _packed_text(values.dt.strftime("%Y-%m-%d"))
    if pd.api.types.is_bool_dtype(values.dtype):
        return _packed_text(values.map({True: "yes", False: "no"}))
    if pd.api.types.is_numeric_dtype(values.dtype):
        return _packed_numbers(values, digits)
    return _packed_text(values)


def _geographic(frame: gpd.GeoDataFrame, what: str) -> gpd.GeoSeries:
    """Return the geometry in longitude and latitude."""
    if frame.crs is None:
        raise CRSError(
            f"the {what} have no coordinate reference system",
            do="name it when the layer is imported; none is guessed",
        )
    return frame.geometry.to_crs(4326)


def _steps(
    lon: NDArray[np.float64], lat: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Longitude and latitude as whole steps of the web-mercator square, y down."""
    x = (lon + 180) / 360
    sine = np.sin(np.radians(lat))
    y = 0.5 - np.log((1 + sine) / (1 - sine)) / (4 * np.pi)
    return np.round(x * _WORLD), np.round(y * _WORLD)


def _located(geometry: gpd.GeoSeries) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Steps of each point; not a number where it has no place on the map."""
    lon, lat = places_of(geometry)
    good = np.abs(lat) <= _MOST_LATITUDE
    x, y = _steps(np.where(good, lon, 0.0), np.where(good, lat, 0.0))
    return np.where(good, x, np.nan), np.where(good, y, np.nan)


def _shapes(geometry: gpd.GeoSeries, kinds: tuple[int, ...]) -> dict[str, Any]:
    """Rings or lines one after another: where each starts, and which row it belongs to."""
    all_shapes = geometry.to_numpy()
    usable = np.isin(shapely.get_type_id(all_shapes), kinds) & ~shapely.is_empty(all_shapes)
    rows = np.flatnonzero(usable)
    flat = shapely.force_2d(all_shapes[usable])
    parts, part_row = shapely.get_parts(flat, return_index=True)
    if kinds == _POLYGONS:
        parts, ring_part = shapely.get_rings(parts, return_index=True)
        part_row = part_row[ring_part]
    coordinates, of_part = shapely.get_coordinates(parts, return_index=True)
    good = np.isfinite(coordinates).all(axis=1) & (np.abs(coordinates[:, 1]) <= _MOST_LATITUDE)
    x, y = _steps(coordinates[good, 0], coordinates[good, 1])
    lengths = np.bincount(of_part[good], minlength=len(parts))
    return {
        "x": x.astype(np.int64).tolist(),
        "y": y.astype(np.int64).tolist(),
        "lengths": lengths.tolist(),
        "rows": rows[part_row].tolist(),
    }


def _area_block(
    areas: gpd.GeoDataFrame, area_ids: pd.Series[Any], codes: NDArray[np.int64]
) -> dict[str, Any]:
    """Outlines, names and counts of the areas, in the order of their table."""
    ids = areas["area_id"].astype("str")
    names = areas["area_title"].where(areas["area_title"].notna(), ids)
    places = pd.Index(ids.drop_duplicates()).get_indexer(pd.Index(area_ids.astype("object")))
    table = np.zeros((len(ids), len(LOOKS)), dtype=np.int64)
    np.add.at(table, (places[places >= 0], codes[places >= 0]), 1)
    geometry = _geographic(areas, "areas")
    inner = geometry.representative_point()
    label_x, label_y = _located(inner)
    labels = np.column_stack([label_x, label_y]).astype(object)
    labels[np.isnan(label_x)] = None
    return {
        "ids": ids.tolist(),
        "names": names.astype("str").tolist(),
        "counts": table.tolist(),
        "labels": labels.tolist(),
        "outlines": _shapes(geometry, _POLYGONS),
    }


def _extra_facts(facts: pd.DataFrame | None, ids: pd.Series[Any]) -> list[dict[str, Any]]:
    """Columns that the checked table does not have, with their titles, in the order of `ids`."""
    if facts is None:
        return []
    if facts.index.has_duplicates:
        raise WordsError(
            "the facts name a hydrant twice", do="hand over one row for each hydrant_id"
        )
    plain = facts.drop(columns=[c for c in facts if c in CHECKED.names or c == "geometry"])
    rows = plain.reindex(pd.Index(ids.astype("object")))
    known = {column.name: column for column in HYDRANTS.columns}
    packed = [
        {
            "name": str(name),
            "title": known[name].title if name in known else str(name),
            "unit": known[name].unit if name in known else None,
            "column": _packed(rows[name]),
        }
        for name in rows.columns
    ]
    return [fact for fact in packed if fact["column"] is not None]


def _asset(name: str) -> str:
    return (resources.files("hydrantgis.deliver") / "assets" / name).read_text(encoding="utf-8")


class _HydrantLayers(MacroElement):
    """The layers, the legend and the popups; `blocks` are the data, by the id of their element."""

    def __init__(self, blocks: dict[str, object]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "HydrantLayers"
        self.blocks = "\n".join(_json_block(name, value) for name, value in blocks.items())

    def render(self, **kwargs: Any) -> str:  # noqa: ANN401, ARG002 - as the base class has it
        """Put style, data and script into the page; nothing stands where the layer itself is."""
        root, parent = self.get_root(), self._parent
        if not isinstance(root, Figure) or parent is None:
            raise WordsError("the hydrant layers belong on a map", do="add them to one")
        root.header.add_child(Markup(f"<style>{_asset('webmap.css')}</style>"), name="looks")
        root.html.add_child(Markup(self.blocks), name="data")
        start = f"{_asset('webmap.js')}\nhydrantMap({parent.get_name()});"
        root.script.add_child(Markup(start), name=self.get_name())
        return ""


def web_map(
    checked: gpd.GeoDataFrame,
    *,
    words: MapWords,
    areas: gpd.GeoDataFrame | None = None,
    lines: gpd.GeoDataFrame | None = None,
    facts: pd.DataFrame | None = None,
) -> folium.Map:
    """
    A map of all hydrants by verdict, with a legend that counts and switches them.

    Parameters
    ----------
    checked
        As the checked table, in any CRS. Hydrants without a location are counted, not drawn; one
        without a verdict is `not judged`.
    words
        What is written beside the map.
    areas
        Outlines, names and counts by area.
    lines
        Mains or streets, drawn faintly.
    facts
        More columns for the popups, one row for each hydrant, by `hydrant_id`.

    Returns
    -------
    figure_map
        Shows itself in a notebook; `save_map` writes it as one file.

    Raises
    ------
    CRSError
        A layer has no coordinate reference system.
    WordsError
        `facts` names a hydrant twice.
    """
    table = CHECKED.conform(checked)
    x, y = _located(_geographic(checked, "hydrants"))
    codes = look_codes(table["verdict"])
    on_map = ~np.isnan(x)
    drawn = table[on_map]
    count = counts(table["verdict"])
    placed = np.column_stack([x[on_map], y[on_map]]).astype(np.int64)
    origin = placed.min(axis=0) if len(placed) else np.zeros(2, dtype=np.int64)
    sheet = {
        "words": {
            "title": words.title,
            "rule": words.rule,
            "citation": words.citation,
            "data_date": words.data_date,
            "cautions": list(words.cautions),
            "share": share_in_words(count),
            "missing": missing_in_words(counts(table.loc[~on_map, "verdict"])),
        },
        "looks": [
            {
                "verdict": k.verdict, "label": k.label, "about": k.about, "points": k.points,
                "fill": k.fill, "edge": k.edge, "size": k.size, "count": count[k.verdict],
            }
            for k in LOOKS
        ],
        "order": DRAWING_ORDER,
        "colors": {"paper": PAPER, "ink": INK, "faint": FAINT, "boundary": BOUNDARY},
        "missing": int((~on_map).sum()),
        "world": _WORLD,
        "origin": origin.tolist(),
        "x": (placed[:, 0] - origin[0]).tolist(),
        "y": (placed[:, 1] - origin[1]).tolist(),
        "look": "".join(codes[on_map].astype("U1").tolist()),
        "areas": None if areas is None else _area_block(areas, table["area_id"], codes),
        "lines": None if lines is None else {
            "title": "Mains" if "main_id" in lines else "Streets",
            "strokes": _shapes(_geographic(lines, "lines"), _LINES),
        },
    }  # fmt: skip
    facts_block = {
        "columns": {name: _packed(drawn[name], _DIGITS.get(name, 2)) for name in _SHOWN},
        "extra": _extra_facts(facts, drawn["hydrant_id"]),
    }
    figure_map = OfflineMap(
        words.title,
        max_zoom=22,
        zoom_snap=0.25,
        zoom_delta=0.5,
        attribution_control=False,
        fade_animation=False,
    )
    figure_map.add_child(
        _HydrantLayers({"hydrant-sheet": sheet, "hydrant-facts": facts_block}), name="hydrants"
    )
    return figure_map


def save_map(figure_map: folium.Map, path: Path) -> None:
    """
    Write a map as one HTML file that needs nothing else; the same map gives the same bytes.

    Parameters
    ----------
    figure_map
        From `web_map`.
    path
        An older page there is replaced in one step, or left as it is where writing fails.

    Raises
    ------
    WordsError
        What stands there is no page.
    """
    page = steady_page(figure_map.get_root()).encode("utf-8", "replace")
    if path.is_file() and not path.read_bytes()[:200].lstrip().lower().startswith(
        b"<!doctype html"
    ):
        raise WordsError(
            "the map would take the place of a file that is no web page",
            where=str(path),
            do="name another file with --out",
        )
    with replacing(path) as fresh:
        fresh.write_bytes(page)
