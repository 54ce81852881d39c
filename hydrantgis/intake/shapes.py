"""
Geometry of a source as the canonical table has it: one simple point, or one multi-part shape.

A row without a usable point stays: the hydrant exists, it only has to be located.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hydrantgis.ground.errors import SourceError
from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.intake.plausible import MARKS

if TYPE_CHECKING:
    from hydrantgis.ground.table import Table

MANY_PARTS = ("first", "centroid")
_FAMILY = {
    "Point": {shapely.GeometryType.POINT, shapely.GeometryType.MULTIPOINT},
    "MultiPolygon": {shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON},
    "MultiLineString": {shapely.GeometryType.LINESTRING, shapely.GeometryType.MULTILINESTRING},
}


def bounds_of(shapes: gpd.GeoSeries) -> tuple[float, float, float, float] | None:
    """
    Least x, least y, greatest x, greatest y; None where there is no shape. [CRS]

    Examples
    --------
    >>> bounds_of(gpd.GeoSeries([shapely.Point(1, 2)]))
    (1.0, 2.0, 1.0, 2.0)
    """
    west, south, east, north = (float(end) for end in shapes.total_bounds)
    return (west, south, east, north) if np.isfinite(west) else None


def read_shapes(
    geometry: gpd.GeoSeries, table: Table, *, where: str, many_parts: str | None = None
) -> tuple[gpd.GeoSeries, pd.Series, pd.DataFrame]:
    """
    Shapes of the declared type, in two dimensions.

    Parameters
    ----------
    geometry
        As the source has it.
    table
        Tells the type.
    where
        The source, for messages.
    many_parts
        What is taken of a point of several parts, one of `MANY_PARTS`; such a row is held where
        it is None.

    Returns
    -------
    shapes
        Same index; missing where there is none that can be used.
    held
        Same index; true where someone has to decide (a point of several parts).
    findings
        Keyed by the row's number.

    Raises
    ------
    SourceError
        The source's shapes are of another kind altogether.
    """
    shapes = np.asarray(geometry.array, dtype=object)
    usable = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    kinds = shapely.get_type_id(shapes)
    wanted = [int(kind) for kind in _FAMILY[str(table.geometry)]]
    fits = np.isin(kinds, wanted)
    if usable.any() and not fits[usable].any():
        found = shapely.GeometryType(int(kinds[usable][0])).name.lower()
        raise SourceError(
            f"the layer's shapes cannot be {table.name}",
            where=where,
            found=found,
            accepted=str(table.geometry),
            do="name another layer, or another --as",
        )
    notes: list[pd.DataFrame] = []
    usable &= fits
    flat, tall = shapes.copy(), shapely.has_z(shapes)
    flat[tall] = shapely.force_2d(shapes[tall])
    held = np.zeros(len(shapes), dtype=bool)
    if table.geometry == "Point":
        parts = np.where(usable, shapely.get_num_geometries(flat), 0)
        held = parts > 1
        if many_parts is not None and held.any():
            taken = held.copy()
            first = many_parts == "first"
            flat[taken] = (
                shapely.get_geometry(flat[taken], 0) if first else shapely.centroid(flat[taken])
            )
            held[:] = False
            notes.append(
                findings(
                    "parts-taken", table=table.name, keys=geometry.index[taken], column="geometry",
                    messages=f"the {'first part' if first else 'middle'} of several was taken",
                )
            )  # fmt: skip
        single = usable & (parts == 1) & (kinds == shapely.GeometryType.MULTIPOINT)
        flat[single] = shapely.get_geometry(flat[single], 0)
        usable &= ~held
        x, y = np.full(len(flat), np.nan), np.full(len(flat), np.nan)
        x[usable], y[usable] = shapely.get_x(flat[usable]), shapely.get_y(flat[usable])
        zero = (x == 0) & (y == 0)
        mark = (x == y) & np.isin(x, MARKS)
        usable &= np.isfinite(x) & np.isfinite(y) & ~zero & ~mark
        keys = geometry.index
        notes += [
            findings("many-parts", table=table.name, keys=keys[held], column="geometry"),
            findings("zero-location", table=table.name, keys=keys[zero], column="geometry"),
            findings(
                "sentinel-value", table=table.name, keys=keys[mark], column="geometry",
                messages="X and Y hold the same mark for `not known`; left blank",
            ),
            findings(
                "no-location", table=table.name, keys=keys[~usable & ~held & ~zero & ~mark],
                column="geometry",
            ),
        ]  # fmt: skip
    else:
        bent = usable & ~shapely.is_valid(flat)
        flat[bent] = shapely.make_valid(flat[bent], method="structure", keep_collapsed=False)
        notes.append(
            findings("shape-mended", table=table.name, keys=geometry.index[bent], column="geometry")
        )
        notes.append(
            findings(
                "no-location", table=table.name, keys=geometry.index[~usable], column="geometry"
            )
        )
        flat[usable] = _many(flat[usable], str(table.geometry))
    flat[~usable] = None
    series = gpd.GeoSeries(flat, index=geometry.index, crs=geometry.crs)
    return series, pd.Series(held, index=geometry.index), join_findings(*notes)


def _many(shapes: np.ndarray, kind: str) -> np.ndarray:
    """Single shapes as shapes of one part, so that a layer has one type."""
    make = shapely.multipolygons if kind == "MultiPolygon" else shapely.multilinestrings
    result = shapes.copy()
    alone = ~np.isin(
        shapely.get_type_id(shapes),
        [shapely.GeometryType.MULTIPOLYGON, shapely.GeometryType.MULTILINESTRING],
    )
    if alone.any():
        result[alone] = make(shapes[alone], indices=np.arange(int(alone.sum())))
    return result
