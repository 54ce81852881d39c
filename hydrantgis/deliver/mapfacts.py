"""
What the web map knows of hydrants, areas, valves and facilities beyond their places.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from hydrantgis.deliver.mercator import MOST_LATITUDE, geographic, located, neighbors_order, steps
from hydrantgis.deliver.packing import packed_column, packed_sum, packed_whole, size_of
from hydrantgis.ground.errors import WordsError
from hydrantgis.ground.results import AREA_FIGURES, CHECKED
from hydrantgis.ground.seasons import SELECTION
from hydrantgis.ground.tables import FACILITIES, HYDRANTS, VALVES

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from hydrantgis.deliver.packing import Packed

_DIGITS = {"p_inside": 3}
_SHOWN = (
    "hydrant_id", "area_id", "outlet_height_in", "reading_date", "window_lo_in", "window_hi_in",
    "remedy", "kit_id", "kit_length_in", "raise_in", "outlet_height_after_in", "height_sd_in",
    "p_inside", "marginal", "height_basis", "flange_height_in", "flange_verdict",
    "flange_height_after_in", "bury_ft", "bury_after_ft", "installed_extension_in",
    "remedy_reason",
)  # fmt: skip
"""Columns of the checked table, those that are asked for most first."""
_FIRST = 3
_SEASON = ("selected", "why", "priority", "work_date", "crew_id")
_POLYGON = 3
_FIGURES = (
    "hydrants", "measured", "inside", "low", "high", "unresolved", "unmeasured", "inside_share",
    "jobs", "to_measure", "to_replace", "to_lower", "to_regrade", "to_review",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class MapFacts:
    """
    The facts of all hydrants.

    Attributes
    ----------
    sent
        For the page: `columns` by name, and `extra` ones with their titles.
    left_out
        Titles of those that did not fit.
    """

    sent: dict[str, Any]
    left_out: tuple[str, ...]


def facts_of(
    drawn: pd.DataFrame,
    *,
    facts: pd.DataFrame | None,
    selection: pd.DataFrame | None,
    budget: int,
) -> MapFacts:
    """
    Every fact that fits.

    Parameters
    ----------
    drawn
        Rows of the checked table, as they are drawn.
    facts
        More columns, by `hydrant_id`.
    selection
        The `selection` table of a season.
    budget
        Bytes; columns are taken in their order until it is used up.

    Raises
    ------
    WordsError
        `facts` names a hydrant twice.
    """
    ids = drawn["hydrant_id"]
    columns = {name: packed_column(drawn[name], _DIGITS.get(name, 2)) for name in _SHOWN}
    _as_sums(columns, drawn)
    extra = _extra(facts, ids, HYDRANTS.names)
    address = [fact for fact in extra if fact["name"] == "address"]
    season = [] if selection is None else _season(selection, ids)
    others = [fact for fact in extra if fact["name"] != "address"]
    left_out: list[str] = []
    room = budget

    def fits(packed: object, title: str) -> bool:
        nonlocal room
        size = size_of(packed)
        if size > room:
            left_out.append(title)
            return False
        room -= size
        return True

    def take(names: tuple[str, ...]) -> None:
        for name in names:
            packed = columns[name]
            parts = () if packed is None else packed.get("of", ())
            whole = all(columns[part] is not None for part in parts)
            if not whole:  # a sum is told only where its parts are
                left_out.append(CHECKED[name].title)
            if not whole or not fits(packed, CHECKED[name].title):
                columns[name] = None

    # who it is and how high it stands come before where it stands and what the season does
    take(_SHOWN[:_FIRST])
    kept = [fact for fact in (*address, *season) if fits(fact, fact["title"])]
    take(_SHOWN[_FIRST:])
    kept += [fact for fact in others if fits(fact, fact["title"])]
    return MapFacts(sent={"columns": columns, "extra": kept}, left_out=tuple(left_out))


def _as_sums(columns: dict[str, Packed | None], drawn: pd.DataFrame) -> None:
    """Put sums in place of columns that are sums of others, which take next to nothing."""

    def numbers(name: str) -> NDArray[np.float64]:
        return drawn[name].to_numpy(dtype=np.float64, na_value=np.nan)

    for total, part in (
        ("outlet_height_after_in", "outlet_height_in"),
        ("flange_height_after_in", "flange_height_in"),
    ):
        parts = {part: numbers(part), "raise_in": numbers("raise_in")}
        columns[total] = packed_sum(numbers(total), parts, 2) or columns[total]


def _extra(
    facts: pd.DataFrame | None, ids: pd.Series[Any], first: list[str]
) -> list[dict[str, Any]]:
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
    names = [*(n for n in first if n in rows), *(n for n in rows if n not in first)]
    packed = [
        {
            "name": str(name),
            "title": known[name].title if name in known else str(name),
            "unit": known[name].unit if name in known else None,
            "column": packed_column(rows[name]),
        }
        for name in names
    ]
    return [fact for fact in packed if fact["column"] is not None]


def _season(selection: pd.DataFrame, ids: pd.Series[Any]) -> list[dict[str, Any]]:
    rows = selection.set_index(selection["hydrant_id"].astype("object"))
    rows = rows.reindex(pd.Index(ids.astype("object")))
    packed = [
        {
            "name": f"season:{name}",
            "title": SELECTION[name].title,
            "unit": None,
            "column": packed_column(rows[name]),
        }
        for name in _SEASON
    ]
    return [fact for fact in packed if fact["column"] is not None]


def area_block(
    areas: gpd.GeoDataFrame,
    table: pd.DataFrame,
    figures: pd.DataFrame | None,
    *,
    beyond: bool = False,
) -> dict[str, Any]:
    """
    Outlines, names and figures of the areas, in the order of their table.

    Parameters
    ----------
    areas
        The `areas` table.
    table
        The `checked` table.
    figures
        The `area_figures` table; none where it is None.
    beyond
        As `geographic` has it.
    """
    ids = areas["area_id"].astype("str")
    names = areas["area_title"].where(areas["area_title"].notna(), ids)
    geometry = geographic(areas, "areas", beyond=beyond)
    label_x, label_y = located(geometry.representative_point())
    labels = np.column_stack([label_x, label_y]).astype(object)
    labels[np.isnan(label_x)] = None
    shown: list[dict[str, Any]] = []
    if figures is not None:
        rows = figures.set_index(figures["area_id"].astype("object")).reindex(list(ids))
        shown = [
            {
                "title": AREA_FIGURES[name].title,
                "share": name == "inside_share",
                "values": _plain(rows[name], 3),
            }
            for name in _FIGURES
        ]
    else:
        count = table["area_id"].astype("object").value_counts()
        values = count.reindex(list(ids)).fillna(0).astype(int).tolist()
        shown = [{"title": "Hydrants", "share": False, "values": values}]
    return {
        "ids": ids.tolist(),
        "names": names.astype("str").tolist(),
        "labels": labels.tolist(),
        "figures": shown,
        "outlines": _rings(geometry),
    }


def area_codes(areas: gpd.GeoDataFrame, of_hydrants: pd.Series[Any]) -> Packed | None:
    """The place of each hydrant's area in the table of areas, from 1; 0 where it has none."""
    ids = pd.Index(areas["area_id"].astype("object")).drop_duplicates()
    places = ids.get_indexer(pd.Index(of_hydrants.astype("object")))
    return packed_whole(places.astype(np.int64) + 1)


def _plain(values: pd.Series[Any], digits: int) -> list[float | None]:
    numbers = values.to_numpy(dtype=np.float64, na_value=np.nan)
    return [None if np.isnan(v) else round(v, digits) for v in numbers.tolist()]


def _rings(geometry: gpd.GeoSeries) -> dict[str, Any]:
    """Rings one after another: where each starts, and which row it belongs to."""
    shapes = geometry.to_numpy()
    usable = np.isin(shapely.get_type_id(shapes), (_POLYGON, 6)) & ~shapely.is_empty(shapes)
    rows = np.flatnonzero(usable)
    parts, of_row = shapely.get_parts(shapely.force_2d(shapes[usable]), return_index=True)
    rings, of_ring = shapely.get_rings(parts, return_index=True)
    coordinates, of_part = shapely.get_coordinates(rings, return_index=True)
    good = np.isfinite(coordinates).all(axis=1) & (np.abs(coordinates[:, 1]) <= MOST_LATITUDE)
    x, y = steps(coordinates[good, 0], coordinates[good, 1])
    lengths = np.bincount(of_part[good], minlength=len(rings))
    return {
        "x": packed_whole(x.astype(np.int64)),
        "y": packed_whole(y.astype(np.int64)),
        "lengths": lengths.tolist(),
        "rows": rows[of_row[of_ring]].tolist(),
    }


def points_block(
    frame: gpd.GeoDataFrame, title: str, columns: tuple[str, ...], *, beyond: bool = False
) -> dict[str, Any]:
    """
    Valves or facilities, with what is known of each.

    Parameters
    ----------
    frame
        The `valves` or the `facilities` table; points without a place are left out.
    title
        Of the layer.
    columns
        Told at a click, the first that is known as the heading.
    beyond
        As `geographic` has it.
    """
    x, y = located(geographic(frame, title.lower(), beyond=beyond))
    there = np.flatnonzero(~np.isnan(x))
    order = there[neighbors_order(x[there].astype(np.int64), y[there].astype(np.int64))]
    known = {c.name: c for c in (*VALVES.columns, *FACILITIES.columns)}
    told = [
        {
            "title": known[name].title,
            "unit": known[name].unit,
            "column": packed_column(frame[name].iloc[order]),
        }
        for name in columns
        if name in frame
    ]
    return {
        "title": title,
        "count": len(order),
        "x": packed_whole(x[order].astype(np.int64)),
        "y": packed_whole(y[order].astype(np.int64)),
        "columns": [fact for fact in told if fact["column"] is not None],
    }
