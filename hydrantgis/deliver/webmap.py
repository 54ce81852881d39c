"""
The web map: one HTML file that opens without a connection.

Hydrants travel as packed columns, not as one object each: places and classes in one JSON block
that is read when the page opens, facts in a second one that is read when the first is asked for.
Text from data reaches the page only as JSON, and the screen only as `textContent`.
"""

from __future__ import annotations

import json
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from branca.element import Figure, MacroElement

from hydrantgis.deliver.background import Background, fitted, names_of
from hydrantgis.deliver.looks import (
    BOUNDARY,
    FAINT,
    INK,
    PAPER,
    MapWords,
    counts,
    missing_in_words,
    share_in_words,
)
from hydrantgis.deliver.mapfacts import MapFacts, area_block, area_codes, facts_of, points_block
from hydrantgis.deliver.mercator import WORLD, beyond_180, geographic, located, neighbors_order
from hydrantgis.deliver.offline import Markup, OfflineMap, Tiles, steady_page
from hydrantgis.deliver.packing import packed_whole, size_of
from hydrantgis.deliver.themes import themes_of
from hydrantgis.ground.errors import WordsError
from hydrantgis.ground.results import CHECKED
from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import folium
    import geopandas as gpd
    from numpy.typing import NDArray

    from hydrantgis.deliver.themes import Theme

__all__ = ["Background", "MapWords", "Tiles", "save_map", "web_map"]

BACKGROUND_BUDGET = 1_000_000
"""Bytes that streets, mains and other backgrounds may take together."""
_LEAST_BUDGET, _BYTES_A_HYDRANT = 4_000_000, 20
_PAGE = 400_000
"""Bytes of the library, the script and the style sheet, and some to spare."""
_SCRIPTS = (
    "unpack", "tools", "tiles", "filters", "facts", "areas", "measure", "print", "panel", "view",
)  # fmt: skip


def _json_block(name: str, value: object) -> str:
    """Return a script element that holds data; no character of the data can end it."""
    # Everything beyond ASCII is written as \uXXXX, U+2028 and U+2029 among it.
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return f'<script type="application/json" id="{name}">{text}</script>'


def _asset(name: str) -> str:
    return (resources.files("hydrantgis.deliver") / "assets" / name).read_text(encoding="utf-8")


def _script() -> str:
    """Return the parts of the script as one, in a scope of their own."""
    parts = "\n".join(_asset(f"webmap/{name}.js") for name in _SCRIPTS)
    return f"const hydrantMap = (() => {{\n'use strict';\n{parts}\nreturn startMap;\n}})();"


class _HydrantLayers(MacroElement):
    """The layers, the legend and the popups; `blocks` are the data, by the id of their element."""

    def __init__(self, blocks: Mapping[str, object]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "HydrantLayers"
        self.blocks = "\n".join(_json_block(name, value) for name, value in blocks.items())

    def render(self, **kwargs: Any) -> str:  # noqa: ANN401, ARG002 - as the base class has it
        """Put style, data and script into the page; nothing stands where the layer itself is."""
        root, parent = self.get_root(), self._parent
        if not isinstance(root, Figure) or parent is None:
            raise WordsError("the hydrant layers belong on a map", do="add them to one")
        root.header.add_child(Markup(f"<style>{_asset('webmap/webmap.css')}</style>"), name="looks")
        root.html.add_child(Markup(self.blocks), name="data")
        start = f"{_script()}\nhydrantMap({parent.get_name()});"
        root.script.add_child(Markup(start), name=self.get_name())
        return ""


def web_map(
    checked: gpd.GeoDataFrame,
    *,
    words: MapWords,
    areas: gpd.GeoDataFrame | None = None,
    area_figures: pd.DataFrame | None = None,
    streets: gpd.GeoDataFrame | None = None,
    mains: gpd.GeoDataFrame | None = None,
    valves: gpd.GeoDataFrame | None = None,
    facilities: gpd.GeoDataFrame | None = None,
    backgrounds: Sequence[Background] = (),
    background_budget: int = BACKGROUND_BUDGET,
    facts: pd.DataFrame | None = None,
    selection: pd.DataFrame | None = None,
    today: dt.date | None = None,
    tiles: Tiles | None = None,
) -> OfflineMap:
    """
    A map of all hydrants, with a legend that counts, filters, a search, and facts at a click.

    Parameters
    ----------
    checked
        As the checked table, in any CRS. Hydrants without a location are counted, not drawn; one
        without a verdict is `not judged`.
    words
        What is written beside the map.
    areas
        Outlines and names.
    area_figures
        The `area_figures` table; counts by verdict stand in its place where it is left out.
    streets, mains
        Lines under the hydrants; names of streets can be looked for.
    valves, facilities
        Points under the hydrants.
    backgrounds
        More lines or outlines.
    background_budget
        Bytes that all lines may take in the page; they are simplified until they fit.
    facts
        More columns for the popups, one row for each hydrant, by `hydrant_id`.
    selection
        The `selection` table of a season: what it does can then be shown, with its day and crew.
    today
        From which the age of readings is counted; it is not shown without.
    tiles
        Pictures of a map server under everything. Nothing is asked of the network without it.

    Returns
    -------
    figure_map
        A folium map: it takes layers of the user's own, shows itself in a notebook, and `save_map`
        writes it as one file. Its `told` says what the page is made of.

    Raises
    ------
    CRSError
        A layer has no coordinate reference system.
    WordsError
        `facts` names a hydrant twice, or a background has points.

    Notes
    -----
    A page takes up to 4 MB, or 20 bytes a hydrant where that is more. Facts that do not fit are
    left out, the least asked for first, and the page says which.
    """
    table = CHECKED.conform(checked)
    beyond = beyond_180(geographic(checked, "hydrants"))
    x, y = located(geographic(checked, "hydrants", beyond=beyond))
    on_map = np.flatnonzero(~np.isnan(x))
    order = on_map[neighbors_order(x[on_map].astype(np.int64), y[on_map].astype(np.int64))]
    placed = np.column_stack([x[order], y[order]]).astype(np.int64)
    drawn = table.iloc[order]
    flow = None
    if facts is not None and "flow_gpm" in facts and facts.index.is_unique:
        flow = facts["flow_gpm"].reindex(pd.Index(table["hydrant_id"].astype("object")))
    themes = themes_of(
        table, today=today, selection=selection,
        flow_gpm=None if flow is None else flow.to_numpy(dtype=np.float64, na_value=np.nan),
    )  # fmt: skip
    lines = fitted([*backgrounds, *_own_lines(mains, streets)], background_budget, beyond=beyond)
    count = counts(table["verdict"])
    sheet: dict[str, Any] = {
        "words": {
            "title": words.title,
            "rule": words.rule,
            "citation": words.citation,
            "data_date": words.data_date,
            "cautions": list(words.cautions),
            "share": share_in_words(count),
            "missing": missing_in_words(counts(table["verdict"].drop(table.index[order]))),
        },
        "colors": {"paper": PAPER, "ink": INK, "faint": FAINT, "boundary": BOUNDARY},
        "count": len(order),
        "missing": len(table) - len(order),
        "world": WORLD,
        "x": packed_whole(placed[:, 0]),
        "y": packed_whole(placed[:, 1]),
        "themes": [_sent(theme, order) for theme in themes],
        "areas": None if areas is None else area_block(areas, table, area_figures, beyond=beyond),
        "area": None if areas is None else area_codes(areas, drawn["area_id"]),
        "lines": lines.sent,
        "points": [
            points_block(frame, title, columns, beyond=beyond)
            for frame, title, columns in (
                (valves, "Valves", ("valve_id", "size_in", "valve_use", "turns", "status")),
                (facilities, "Facilities",
                 ("facility_title", "facility_id", "facility_class")),
            ) if frame is not None and len(frame)
        ],
        "tiles": None if tiles is None else {"url": tiles.url, "attribution": tiles.attribution},
    }  # fmt: skip
    budget = max(_LEAST_BUDGET, _BYTES_A_HYDRANT * len(table)) - _PAGE - size_of(sheet)
    known = facts_of(drawn, facts=facts, selection=selection, budget=budget)
    sheet["left_out"] = list(known.left_out)
    figure_map = OfflineMap(
        words.title,
        tile_source=tiles,
        zoom_snap=0.25,
        zoom_delta=0.5,
        attribution_control=False,
        fade_animation=False,
    )
    figure_map.told = _told(sheet, lines.told, known)
    blocks = {"hydrant-sheet": sheet, "hydrant-facts": known.sent}
    figure_map.add_child(_HydrantLayers(blocks), name="hydrants")
    return figure_map


def _own_lines(
    mains: gpd.GeoDataFrame | None, streets: gpd.GeoDataFrame | None
) -> list[Background]:
    """Return those of the register that there are: streets broad and pale, mains thin."""
    own = []
    if streets is not None and len(streets):
        names = names_of(streets, "street_title")
        own.append(
            Background(title="Streets", frame=streets, names=names, color="#dedbd0", width=4.0)
        )
    if mains is not None and len(mains):
        own.append(Background(title="Mains", frame=mains, color="#93a4b1", width=1.2, dash=(7, 3)))
    return own


def _sent(theme: Theme, order: NDArray[np.int64]) -> dict[str, Any]:
    total = np.bincount(theme.codes, minlength=len(theme.looks)).tolist()
    return {
        "name": theme.name,
        "title": theme.title,
        "note": theme.note,
        "order": list(theme.order),
        "codes": packed_whole(theme.codes[order]),
        "looks": [
            {
                "value": k.value, "label": k.label, "about": k.about, "points": k.points,
                "fill": k.fill, "edge": k.edge, "size": k.size, "count": count,
            }
            for k, count in zip(theme.looks, total, strict=True)
        ],
    }  # fmt: skip


def _told(sheet: dict[str, Any], lines: tuple[str, ...], known: MapFacts) -> tuple[str, ...]:
    """Return what the page is made of, a sentence each."""
    places = size_of([sheet["x"], sheet["y"], sheet["themes"]])
    told = [
        f"{sheet['count']:,} hydrants: places {places / 1e3:,.0f} kB, "
        f"facts {size_of(known.sent) / 1e3:,.0f} kB",
        *lines,
    ]
    if known.left_out:
        told.append(f"left out to keep the size: {', '.join(known.left_out)}")
    return tuple(told)


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
