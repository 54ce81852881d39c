"""
Small maps of a job sheet: where a hydrant is, which valve isolates it, the stops of a day.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hydrantgis.deliver.mapcanvas import Canvas

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hydrantgis.deliver.mapcanvas import Backdrop

_CASED = (
    'stroke="#8a8a8a" stroke-width="6.4" stroke-linecap="round" stroke-linejoin="round"',
    'stroke="#fff" stroke-width="5" stroke-linecap="round" stroke-linejoin="round"',
)
_ASIDE_PT = 13.0
"""How far beside its street a name stands where there is no room on it. [1/72 in]"""
_CENTER = ('stroke="#8a8a8a" stroke-width="0.9" stroke-dasharray="9 2.5 2 2.5"',)
_MAIN = ('stroke="#000" stroke-width="0.8" stroke-dasharray="4 2.4"',)
_WAY = ('stroke="#000" stroke-width="1.3" stroke-dasharray="1.5 2.4" stroke-linecap="round"',)


def _name_streets(
    canvas: Canvas,
    names: NDArray[np.object_],
    cut: NDArray[np.object_],
    offs_pt: tuple[float, ...] = (0.0, _ASIDE_PT, -_ASIDE_PT),
) -> None:
    """Each name once, along the longest piece of its street, so far off it, the first best."""
    parts, of = shapely.get_parts(cut, return_index=True)
    lengths = shapely.length(parts)
    said: set[str] = set()
    for place in np.argsort(-lengths, kind="stable"):
        name = names[of[place]]
        if not name or str(name) in said or lengths[place] * canvas.scale < 40:
            continue
        for share, off in product((0.5, 0.3, 0.7, 0.15, 0.85), offs_pt):
            along = [
                shapely.line_interpolate_point(parts[place], share + step, normalized=True)
                for step in (-0.1, 0.0, 0.1)
            ]
            ends = canvas.page(shapely.get_coordinates(along))
            run = ends[2] - ends[0]
            angle = (np.degrees(np.arctan2(run[1], run[0])) + 90) % 180 - 90
            across = np.array([-run[1], run[0]]) / max(float(np.hypot(*run)), 1e-9)
            if canvas.label(str(name), ends[1] + off * across, "street", float(angle)):
                said.add(str(name))
                break


def _line(*points: NDArray[np.float64]) -> NDArray[np.object_]:
    """One line through points."""
    return np.array([shapely.LineString(np.vstack(points))], dtype=object)


def place_map(
    backdrop: Backdrop, at_ft: NDArray[np.float64], hydrant_id: str, size_pt: tuple[float, float]
) -> dict[str, Any] | None:
    """
    Where a hydrant is: streets with their names, and the hydrants round it.

    Parameters
    ----------
    backdrop
        The district.
    at_ft
        The hydrant, shape (2,). [ft]
    hydrant_id
        Its id.
    size_pt
        Width and height of the map. [1/72 in]

    Returns
    -------
    map
        `svg`, `labels`, `width` and `height`; None where the hydrant has no place. It reaches to
        the second neighbor, 250 to 900 ft.
    """
    if not np.isfinite(at_ft).all():
        return None
    apart = np.hypot(*(backdrop.hydrants - at_ft).T)
    others = np.sort(apart[np.isfinite(apart) & (backdrop.hydrant_ids != hydrant_id)])
    reach = others[min(1, len(others) - 1)] if len(others) else 0.0
    canvas = Canvas((at_ft[0], at_ft[1]), float(np.clip(1.35 * reach, 250, 900)), size_pt)
    rows, cut = backdrop.within("streets", canvas.box)
    canvas.lines(cut, *_CASED)
    canvas.scale_bar()
    canvas.symbol("job", canvas.page(at_ft[None])[0])
    near = canvas.inside(backdrop.hydrants)
    near = near[(backdrop.hydrant_ids[near] != hydrant_id)]
    spots = canvas.page(backdrop.hydrants[near])
    for spot in spots:
        canvas.symbol("hydrant", spot)
    for row, spot in zip(near, spots, strict=True):
        canvas.label(str(backdrop.hydrant_ids[row]), spot, "hydrant")
    _name_streets(canvas, backdrop.street_names[rows], cut)
    return canvas.drawn()


def valve_map(
    backdrop: Backdrop,
    at_ft: NDArray[np.float64],
    hydrant_id: str,
    valve_id: str | None,
    size_pt: tuple[float, float],
) -> dict[str, Any] | None:
    """
    The ground round a hydrant: its isolating valve, mains, centerlines.

    Parameters
    ----------
    backdrop, at_ft, hydrant_id, size_pt
        As `place_map`.
    valve_id
        The valve to close; None where none is known.

    Returns
    -------
    map
        As `place_map`; it reaches 25 ft, or as far as the valve, and 75 ft at most.
    """
    if not np.isfinite(at_ft).all():
        return None
    apart = np.hypot(*(backdrop.valves - at_ft).T)
    own = np.flatnonzero((backdrop.valve_ids == valve_id) & np.isfinite(apart))
    own = own[np.argsort(apart[own], kind="stable")][:1] if valve_id is not None else own[:0]
    reach = float(apart[own[0]]) if len(own) else 40.0
    canvas = Canvas((at_ft[0], at_ft[1]), float(np.clip(1.5 * reach, 25, 75)), size_pt)
    rows, cut = backdrop.within("streets", canvas.box)
    canvas.lines(cut, *_CENTER)
    canvas.lines(backdrop.within("mains", canvas.box)[1], *_MAIN)
    here = canvas.page(at_ft[None])[0]
    canvas.scale_bar()
    if len(own):
        canvas.lines(_line(at_ft, backdrop.valves[own[0]]), *_WAY)
    canvas.symbol("job", here)
    near = canvas.inside(backdrop.valves)
    for row in near:
        mark = "closed" if row in own else "valve"
        canvas.symbol(mark, canvas.page(backdrop.valves[row][None])[0])
    if len(own):
        spot = canvas.page(backdrop.valves[own])[0]
        canvas.label(f"{valve_id}", spot, "valve")
    canvas.label(hydrant_id, here, "job")
    for row in near:
        if row not in own:
            spot = canvas.page(backdrop.valves[row][None])[0]
            canvas.label(str(backdrop.valve_ids[row]), spot, "hydrant")
    # A main mostly lies in its street: a name on the line would hide the dashes.
    _name_streets(canvas, backdrop.street_names[rows], cut, (_ASIDE_PT, -_ASIDE_PT, 0.0))
    return canvas.drawn()


def route_map(
    backdrop: Backdrop,
    stops_ft: NDArray[np.float64],
    depot_ft: NDArray[np.float64] | None,
    size_pt: tuple[float, float],
) -> dict[str, Any] | None:
    """
    The stops of a day in their order, as numbers, or places of a list where there is no order.

    Parameters
    ----------
    backdrop, size_pt
        As `place_map`.
    stops_ft
        Shape (n, 2), in order; missing ones are left out. [ft]
    depot_ft
        Where the day begins and ends; None where there is no route.

    Returns
    -------
    map
        As `place_map`; None where no stop has a place.
    """
    known = np.flatnonzero(np.isfinite(stops_ft).all(axis=1))
    if not len(known):
        return None
    has_depot = depot_ft is not None and bool(np.isfinite(depot_ft).all())
    ends = [depot_ft] if has_depot and depot_ft is not None else []
    every = np.vstack([stops_ft[known], *ends])
    low, high = every.min(axis=0), every.max(axis=0)
    room = (high - low) / (np.asarray(size_pt) / min(size_pt))
    half = max(float(room.max()) * 0.58, 400.0)
    middle = (low + high) / 2
    canvas = Canvas((float(middle[0]), float(middle[1])), half, size_pt)
    rows, cut = backdrop.within("streets", canvas.box)
    canvas.lines(cut, 'stroke="#b0b0b0" stroke-width="1.1"')
    canvas.scale_bar()
    if has_depot:
        canvas.lines(_line(*ends, *stops_ft[known], *ends), *_WAY)
        canvas.symbol("depot", canvas.page(every[-1:])[0])
    spots = canvas.page(stops_ft[known])
    for spot in spots:
        canvas.symbol("job", spot)
    if has_depot:
        for number, spot in zip(known + 1, spots, strict=True):
            canvas.label(str(number), spot, "stop")
        canvas.label("depot", canvas.page(every[-1:])[0], "valve")
    _name_streets(canvas, backdrop.street_names[rows], cut)
    return canvas.drawn()
