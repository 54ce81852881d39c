"""
Streets, mains, parcels, contours: lines under the hydrants, simplified until they fit a size.

The page draws them as strokes. What was left out to fit is told, and how far a line may lie from
where it was.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hydrantgis.deliver.mercator import MOST_LATITUDE, WORLD, geographic, ground_m, steps
from hydrantgis.deliver.packing import packed_column, packed_whole, size_of
from hydrantgis.ground.errors import WordsError

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    import pandas as pd
    from numpy.typing import NDArray

    from hydrantgis.deliver.packing import Packed

_LINES, _POLYGONS = (1, 2, 5), (3, 6)
_FIRST_M, _COARSEST_M = 0.25, 32.0
_FT_IN_M = 0.3048
_GRID = 3
"""Steps of the page's grid in the distance by which lines are simplified."""
_OFF = 1 + np.sqrt(0.5) / _GRID
"""How far a line may be off, of that distance: half the diagonal of a step comes on top of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Background:
    """
    A layer under the hydrants.

    Attributes
    ----------
    title
        As the legend says it.
    frame
        Lines, or polygons of which the outlines are drawn; in any CRS.
    names
        Column with a name that can be looked for; none where it is empty.
    color, width, dash
        Of its strokes; the dash as the page takes it.
    """

    title: str
    frame: gpd.GeoDataFrame
    names: str = ""
    color: str = "#a9a79c"
    width: float = 1.1
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """
    Layers as they go into the page, and what it took.

    Attributes
    ----------
    sent
        Each layer for the page.
    told
        A sentence for each layer.
    size
        Bytes of all of them in the page.
    """

    sent: list[dict[str, Any]]
    told: tuple[str, ...]
    size: int


@dataclass(slots=True)
class _Strokes:
    """The lines of one layer, in steps; `rows` are those of its table."""

    shapes: NDArray[np.object_]
    rows: NDArray[np.int64]
    vertices: int = field(init=False)

    def __post_init__(self) -> None:
        self.vertices = int(shapely.get_num_coordinates(self.shapes).sum())


def fitted(layers: Sequence[Background], budget: int, *, beyond: bool = False) -> Fitted:
    """
    Simplify all layers alike until they fit.

    Parameters
    ----------
    layers
        In the order in which they are drawn.
    budget
        Bytes that they may take in the page together.
    beyond
        As `geographic` has it.

    Returns
    -------
    fitted
        Where even the coarsest lines do not fit, the shortest ones are left out, and counted.

    Raises
    ------
    CRSError
        A layer has no coordinate reference system.
    WordsError
        A layer has points.

    Notes
    -----
    Simplified by the method of Douglas and Peucker (1973), as GEOS has it, then put onto a grid: no
    vertex that is left out lies further from its line than the distance that is told.
    """
    strokes = [_strokes(layer, beyond=beyond) for layer in layers]
    latitude = _latitude(strokes)
    apart_m, kept = 0.0, strokes
    sent = [_sent(*pair, 1) for pair in zip(layers, kept, strict=True)]
    while (size := sum(map(size_of, sent))) > budget and apart_m < _COARSEST_M:
        apart_m = max(_FIRST_M, 2 * apart_m)
        apart = apart_m / ground_m(latitude)
        kept = [_simplified(one, apart) for one in strokes]
        sent = [_sent(*pair, max(1, int(apart / _GRID))) for pair in zip(layers, kept, strict=True)]
    if size > budget:
        sent, kept, size = _shortest_left(layers, kept, budget, apart_m / ground_m(latitude))
    told = tuple(
        _told(layer, before, after, apart_m, size_of(packed))
        for layer, before, after, packed in zip(layers, strokes, kept, sent, strict=True)
    )
    return Fitted(sent=sent, told=told, size=size)


def _strokes(layer: Background, *, beyond: bool) -> _Strokes:
    places = geographic(layer.frame, layer.title.lower(), beyond=beyond)
    shapes = np.asarray(places.to_numpy(), dtype=object)
    kinds = shapely.get_type_id(shapes)
    there = (kinds >= 0) & ~shapely.is_empty(shapes)
    if np.isin(kinds[there], (0, 4)).any():
        raise WordsError(
            f"the background `{layer.title}` has points",
            accepted="lines and polygons",
            do="name a layer of lines or outlines; valves and facilities come from the register",
        )
    rows = np.flatnonzero(there & np.isin(kinds, (*_LINES, *_POLYGONS)))
    parts, of_row = shapely.get_parts(shapely.force_2d(shapes[rows]), return_index=True)
    polygons = shapely.get_type_id(parts) == _POLYGONS[0]
    rings, of_ring = shapely.get_rings(parts[polygons], return_index=True)
    lines = np.concatenate([parts[~polygons], rings])
    of_line = np.concatenate([of_row[~polygons], of_row[polygons][of_ring]])
    coordinates, of_part = shapely.get_coordinates(lines, return_index=True)
    good = np.isfinite(coordinates).all(axis=1) & (np.abs(coordinates[:, 1]) <= MOST_LATITUDE)
    x, y = steps(coordinates[good, 0], coordinates[good, 1])
    of_part = of_part[good]
    long = np.bincount(of_part, minlength=len(lines)) > 1
    usable = long[of_part]
    made = shapely.linestrings(
        np.column_stack([x, y])[usable], indices=_renumbered(of_part[usable])
    )
    return _Strokes(np.asarray(made, dtype=object).reshape(-1), rows[of_line[long]])


def _renumbered(groups: NDArray[np.int64]) -> NDArray[np.int64]:
    """Groups in order, numbered without gaps."""
    return np.concatenate([[0], np.cumsum(np.diff(groups) > 0)]) if len(groups) else groups


def _latitude(strokes: list[_Strokes]) -> float:
    """Of the middle of all strokes. [degree]"""
    bounds = [shapely.total_bounds(one.shapes) for one in strokes if len(one.shapes)]
    if not bounds:
        return 0.0
    middle = float(np.mean([(b[1] + b[3]) / 2 for b in bounds]))
    return float(np.degrees(np.arctan(np.sinh(np.pi * (1 - 2 * middle / WORLD)))))


def _simplified(strokes: _Strokes, apart: float) -> _Strokes:
    return _Strokes(shapely.simplify(strokes.shapes, apart, preserve_topology=False), strokes.rows)


def _sent(layer: Background, strokes: _Strokes, grid: int) -> dict[str, Any]:
    """Return a layer for the page: vertices in steps of `grid`, one after another."""
    coordinates, of_stroke = shapely.get_coordinates(strokes.shapes, return_index=True)
    places = np.round(coordinates / grid).astype(np.int64)
    lengths = np.bincount(of_stroke, minlength=len(strokes.shapes))
    x, y = (packed_whole(places[:, axis]) for axis in (0, 1))
    names: Packed | None = None
    rows = strokes.rows
    if layer.names and len(rows):
        names = packed_column(layer.frame[layer.names].iloc[rows])
    return {
        "title": layer.title, "color": layer.color, "width": layer.width, "dash": layer.dash,
        "grid": grid, "x": x, "y": y, "lengths": packed_whole(lengths), "names": names,
    }  # fmt: skip


def _shortest_left(
    layers: Sequence[Background], strokes: list[_Strokes], budget: int, apart: float
) -> tuple[list[dict[str, Any]], list[_Strokes], int]:
    """Leave out the shortest strokes of all layers until the rest fits."""
    lengths = np.concatenate([shapely.length(one.shapes) for one in strokes])
    grid = max(1, int(apart / _GRID))
    share = 1.0
    while True:
        share *= 0.7
        least = float(np.quantile(lengths, 1 - share)) if share > 0.01 else np.inf
        kept = []
        for one in strokes:
            long = shapely.length(one.shapes) > least
            kept.append(_Strokes(one.shapes[long], one.rows[long]))
        sent = [_sent(*pair, grid) for pair in zip(layers, kept, strict=True)]
        size = sum(map(size_of, sent))
        if size <= budget or not np.isfinite(least):
            return sent, kept, size


def _told(layer: Background, before: _Strokes, after: _Strokes, apart_m: float, size: int) -> str:
    words = f"{layer.title}: {len(after.shapes):,} lines, {size / 1e3:,.0f} kB"
    if apart_m:
        words += (
            f"; {after.vertices:,} of {before.vertices:,} vertices, "
            f"within {_OFF * apart_m / _FT_IN_M:.2g} ft"
        )
    left = len(before.shapes) - len(after.shapes)
    if left:
        words += f"; the {left:,} shortest are left out"
    return words


def names_of(frame: pd.DataFrame, column: str) -> str:
    """The column where the frame has it with some text, else nothing."""
    return column if column in frame and frame[column].notna().any() else ""
