"""
How much a hydrant matters: what it protects, and how far the next one is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from hydrantgis.ground.plane import plane_ft, xy
from hydrantgis.ground.text import fill
from hydrantgis.season.streets import StreetNetwork, next_usable_ft

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd
    import pyproj
    from numpy.typing import NDArray

PROTECTS_FT = 500.0
"""A hydrant protects the facilities within this distance: common practice, no source. [ft]"""
ALONE_FT = 500.0
"""Another hydrant within this, along streets, stands in for one that is out: common practice, no
source. [ft]"""
STREET_FACTOR = 1.3
"""By how much the way along streets is longer than the straight line, where no streets tell it:
common practice, no source."""
PROTECTS = 1.0
"""By how much a facility raises the priority of the hydrants beside it, which is 1 for others."""
ALONE = 1.0
"""By how much it rises where the next hydrant is twice `ALONE_FT` away or farther; in between by
its share."""
_NOT_USABLE = ("retired", "out_of_service")


def priority(
    hydrants: gpd.GeoDataFrame,
    facilities: gpd.GeoDataFrame,
    streets: gpd.GeoDataFrame | None = None,
    *,
    factor: float = STREET_FACTOR,
    within_ft: float = PROTECTS_FT,
    classes: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """
    The priority of each hydrant and its parts.

    Parameters
    ----------
    hydrants, facilities
        The tables of those names, in one CRS.
    streets
        The table of that name, in the same CRS; none are known where it is None.
    factor
        By this the straight line to the next hydrant is multiplied where streets tell no distance:
        there are none, the hydrant is more than 500 ft from any, or no other one can be reached.
    within_ft
        How near a facility is protected. [ft]
    classes
        How much a facility of a class counts, from 0 to 1, whatever the case; `*` stands for every
        other class, which counts 0 without it. All count 1 where it is None.

    Returns
    -------
    priority
        Index of `hydrants`, columns `protects` and `alone`, each from 0 to 1, `priority`, 1 and
        both of them by `PROTECTS` and `ALONE`, and `priority_reasons`, missing where nothing raises
        it. A hydrant without a place has 1. The next hydrant is the nearest usable other one along
        streets; a facility is near by the straight line.

    Examples
    --------
    >>> import geopandas as gpd, shapely
    >>> def frame(name, ids, xs, **more):
    ...     points = [shapely.Point(x, 0) for x in xs]
    ...     return gpd.GeoDataFrame({name: ids, **more}, geometry=points, crs=2249)
    >>> town = frame("hydrant_id", ["A", "B"], [0, 750], status="in_service")
    >>> school = frame("facility_id", ["1"], [100], facility_class="school")
    >>> told = priority(town, school)
    >>> told["priority"].round(2).tolist(), told["priority_reasons"].tolist()[0]
    ([2.95, 1.95], 'school within 100 ft; next hydrant about 980 ft away')
    >>> way = [shapely.LineString([(0, -20), (750, -20)])]
    >>> streets = gpd.GeoDataFrame({"street_id": ["1"]}, geometry=way, crs=2249)
    >>> priority(town, school, streets)["priority_reasons"].tolist()[1]
    'next hydrant 790 ft along streets'
    """
    n = len(hydrants)
    near_one, alone, reasons = np.zeros(n), np.zeros(n), np.full(n, "", dtype=object)
    here = xy(hydrants.geometry)
    placed = np.asarray(np.isfinite(here).all(axis=1), dtype=bool)
    if not placed.any() or hydrants.crs is None:
        return _told(hydrants, near_one, alone, reasons)
    to_plane = plane_ft(here, hydrants.crs)
    flat = np.column_stack(to_plane.transform(here[:, 0], here[:, 1]))
    there = xy(facilities.geometry)
    known = np.isfinite(there).all(axis=1)
    if known.any():
        spots = np.column_stack(to_plane.transform(there[known, 0], there[known, 1]))
        kind = facilities["facility_class"].fillna("facility").to_numpy(dtype=object)[known]
        counts = _counts(kind, classes)
        standing = np.flatnonzero(placed)
        # by what they count, the least first, so that the one that counts most stands last
        for count in np.unique(counts[counts > 0]):
            of_count = np.flatnonzero(counts == count)
            apart, which = map(np.asarray, cKDTree(spots[of_count]).query(flat[placed]))
            near = apart <= within_ft
            rows = standing[near]
            near_one[rows] = count
            reasons[rows] = fill(
                "{kind} within {ft} ft", kind=kind[of_count[which[near]]], ft=apart[near].round()
            )
    out = hydrants["status"].isin(_NOT_USABLE).to_numpy(dtype=bool)
    usable = np.flatnonzero(placed & ~out)
    next_ft = _along(flat, placed & ~out, streets, to_plane)
    by_streets = np.isfinite(next_ft)
    next_ft = np.where(by_streets, next_ft, factor * _next_ft(flat, placed, usable))
    share = np.clip((next_ft - ALONE_FT) / ALONE_FT, 0.0, 1.0)
    rows = np.flatnonzero(share > 0)
    alone[rows] = share[rows]
    joint = np.where(reasons[rows] == "", "", reasons[rows] + "; ")
    reasons[rows] = joint + np.where(
        by_streets[rows],
        fill("next hydrant {ft} ft along streets", ft=next_ft[rows].round()),
        # no surer than the factor
        fill("next hydrant about {ft} ft away", ft=next_ft[rows].round(-1)),
    )
    return _told(hydrants, near_one, alone, reasons)


def _counts(kind: NDArray[np.object_], classes: Mapping[str, float] | None) -> NDArray[np.float64]:
    """How much each facility counts, by its class."""
    if classes is None:
        return np.full(len(kind), 1.0)
    said = {name.casefold(): count for name, count in classes.items()}
    named = pd.Series(kind, dtype="str").str.casefold().map(said).fillna(said.get("*", 0.0))
    return np.asarray(named, dtype=np.float64)


def _along(
    flat: NDArray[np.float64],
    usable: NDArray[np.bool_],
    streets: gpd.GeoDataFrame | None,
    to_plane: pyproj.Transformer,
) -> NDArray[np.float64]:
    """Along streets to the nearest usable other hydrant; missing where they tell none. [ft]"""
    if streets is None or not len(streets):
        return np.full(len(flat), np.nan)
    return next_usable_ft(flat, usable, StreetNetwork.of(streets.geometry, to_plane))


def _next_ft(
    flat: NDArray[np.float64], placed: NDArray[np.bool_], usable: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Straight from each hydrant to the nearest usable other one; missing where none is. [ft]"""
    result = np.full(len(flat), np.nan)
    asking = np.flatnonzero(placed)
    if not len(usable):
        return result
    found = cKDTree(flat[usable]).query(flat[asking], k=[1, 2])
    apart, which = np.asarray(found[0]), np.asarray(found[1])
    # the nearest of all is most often the hydrant itself
    itself = usable[np.minimum(which, len(usable) - 1)] == asking[:, None]
    apart = np.where(itself | ~np.isfinite(apart), np.inf, apart).min(axis=1)
    result[asking] = np.where(np.isfinite(apart), apart, np.nan)
    return result


def _told(
    hydrants: pd.DataFrame,
    near_one: NDArray[np.float64],
    alone: NDArray[np.float64],
    reasons: NDArray[np.object_],
) -> pd.DataFrame:
    said = pd.Series(reasons, index=hydrants.index, dtype="str")
    said = said.mask(said == "")
    return pd.DataFrame(
        {
            "protects": near_one,
            "alone": alone,
            "priority": 1.0 + PROTECTS * near_one + ALONE * alone,
            "priority_reasons": said,
        },
        index=hydrants.index,
    )
