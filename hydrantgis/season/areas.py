"""
Which area a hydrant lies in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from hydrantgis.ground.findings import findings, join_findings, no_findings

if TYPE_CHECKING:
    import geopandas as gpd


def area_of(hydrants: gpd.GeoDataFrame, areas: gpd.GeoDataFrame) -> tuple[pd.Series, pd.DataFrame]:
    """
    The area of each hydrant.

    Parameters
    ----------
    hydrants, areas
        The tables of those names, in one CRS.

    Returns
    -------
    area_ids
        Index of `hydrants`; missing where a hydrant lies in no area or has no location.
    findings
        Hydrants in no area, and in several.

    Notes
    -----
    A hydrant on the line between two areas lies in both. Of several the first by id is taken.
    """
    result = pd.Series(None, index=hydrants.index, dtype="str")
    if not len(areas):
        return result, no_findings()
    ordered = areas.sort_values("area_id", kind="stable").reset_index(drop=True)
    tree = shapely.STRtree(np.asarray(ordered.geometry.array, dtype=object))
    points = np.asarray(hydrants.geometry.array, dtype=object)
    point, area = tree.query(points, predicate="intersects")
    order = np.lexsort((area, point))
    point, area = point[order], area[order]
    first = np.ones(len(point), dtype=bool)
    first[1:] = point[1:] != point[:-1]
    names = ordered["area_id"].to_numpy(dtype=object)
    values = result.to_numpy(dtype=object)
    values[point[first]] = names[area[first]]
    result = pd.Series(values, index=hydrants.index, dtype="str")
    located = ~shapely.is_missing(points)
    none = located & pd.isna(values)
    several = np.bincount(point, minlength=len(points)) > 1
    ids = hydrants["hydrant_id"]
    return result, join_findings(
        findings("no-area", table="hydrants", keys=ids[none], column="area_id"),
        findings(
            "areas-overlap", table="hydrants", keys=ids[several], column="area_id",
            values=values[several],
        ),
    )  # fmt: skip
