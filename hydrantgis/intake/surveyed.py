"""
Surveyors' files as sources: point files without names of columns, and LandXML.

Their rows have the names that the tables of this package know; what the file says of units and
datum stands in the names and in a field, so that nothing is asked that it tells.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.ground.text import as_text
from hydrantgis.intake.landxml import read_points
from hydrantgis.intake.layers import Layer, Source
from hydrantgis.intake.points import read_point_file

if TYPE_CHECKING:
    from pathlib import Path

    import pyproj

POINTS_LAYER = "CgPoints"
"""What LandXML calls its coordinate geometry points."""


def open_point_file(path: Path, *, order: str, decimal: str | None, encoding: str | None) -> Source:
    """
    A point file whose columns the user names, such as `PNEZD`.

    Parameters
    ----------
    path
        Delimited text.
    order, decimal, encoding
        As `hydrantgis.intake.points.read_point_file`.

    Raises
    ------
    HydrantGISError
        As that one.
    """
    read = read_point_file(path, order=order, decimal=decimal or ".", encoding=encoding)
    rows = _with_rejected(read.points, read.rejected).rename_axis(None)
    rows = rows.dropna(axis="columns", how="all")
    return _source(path, "points", path.stem, rows, None, read.findings)


def open_landxml(path: Path) -> Source:
    """
    The points of a LandXML file.

    Raises
    ------
    UnreadableError
        The file breaks off, is no LandXML, or holds what could reach beyond itself.
    """
    read = read_points(path)
    words = read.words
    rows = _with_rejected(read.points, read.rejected)
    code = as_text(rows["code"]).fillna("")
    told = (code + " " + as_text(rows["description"]).fillna("")).str.strip()
    rows["description"] = told.mask(told == "")
    unit = "" if words.elevation_unit is None else f" ({words.elevation_unit})"
    rows = rows.rename(
        columns={"elevation": f"elevation{unit}", "elevation_sd": f"elevation sd{unit}"}
    )
    rows = rows.drop(columns=["code", "group"])
    if words.vertical_datum is not None:
        rows["vertical datum"] = words.vertical_datum
    return _source(path, "LandXML", POINTS_LAYER, rows, words.crs, read.findings)


def _with_rejected(points: pd.DataFrame, rejected: pd.DataFrame) -> pd.DataFrame:
    """All rows in order; one that could not be read has its text for a description."""
    more = pd.DataFrame({"description": rejected["text"]}, index=rejected.index)
    if "point_id" in rejected:
        more["point_id"] = rejected["point_id"]
    if not len(more):
        return points.copy()
    return pd.concat([points, more.reindex(columns=points.columns)]).sort_index()


def _source(
    path: Path,
    driver: str,
    name: str,
    rows: pd.DataFrame,
    crs: pyproj.CRS | None,
    noticed: pd.DataFrame,
) -> Source:
    """A source of one layer of points."""
    here = rows.reindex(columns=["easting", "northing"]).to_numpy(dtype=np.float64)
    points = np.asarray(gpd.points_from_xy(here[:, 0], here[:, 1]), dtype=object)
    points[~np.isfinite(here).all(axis=1)] = None
    frame = gpd.GeoDataFrame(
        rows.drop(columns=["easting", "northing"], errors="ignore"), geometry=points, crs=crs
    )
    kinds = {
        str(c): "number" if pd.api.types.is_numeric_dtype(rows[c].dtype) else "text"
        for c in frame.columns.drop("geometry")
    }
    west, south, east, north = frame.total_bounds
    bounds = (west, south, east, north) if np.isfinite(west) else None
    layer = Layer(name, "Point", len(frame), crs, kinds, bounds)
    return Source(
        path, path.name, str(path), driver, (layer,), {"notes": noticed}, None, {name: frame}
    )
