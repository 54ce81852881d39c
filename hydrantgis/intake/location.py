"""
Where the rows of a source lie: shapes in their CRS, proved against it and against known ground.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.errors import CRSError, SourceError, some
from hydrantgis.ground.findings import CODES, findings
from hydrantgis.ground.plane import xy
from hydrantgis.intake.crosscheck import crosscheck
from hydrantgis.intake.crs import (
    far_off,
    foot_note,
    hold_against_area,
    outside_service,
    resolve,
    short,
    swapped,
    unproved_note,
)
from hydrantgis.intake.place import pair_fields
from hydrantgis.intake.shapes import read_shapes

if TYPE_CHECKING:
    import geopandas as gpd
    import pyproj
    import shapely
    from numpy.typing import NDArray

    from hydrantgis.ground.table import Table
    from hydrantgis.intake.ledger import Ledger
    from hydrantgis.intake.prepare import Prepared
    from hydrantgis.intake.words import IntakeWords


def settle_shapes(
    ready: Prepared,
    table: Table,
    words: IntakeWords,
    ledger: Ledger,
    where: str,
    service: shapely.Geometry | None,
) -> tuple[gpd.GeoSeries | None, pyproj.CRS | None, str]:
    """Shapes in their CRS, proved against it, for a table that has them."""
    if table.geometry is None:
        return None, None, "none"
    if ready.shapes is None:
        pairs = pair_fields(ready.rows)
        hint = f"; {some(pairs)} holds two numbers" if pairs else ""
        raise SourceError(
            f"the source has no shapes, and {table.name} need them",
            where=where,
            found=f"fields {some(list(ready.rows.columns), 12)}{hint}",
            accepted="a vector layer, or a table with X and Y, WKT or GeoJSON text",
            do="say --place x=FIELD --place y=FIELD, --place shape=FIELD, or --place latlon=FIELD",
        )
    shapes, many, notes = read_shapes(ready.shapes, table, where=where, many_parts=words.many_parts)
    ledger.notes.append(notes)
    ledger.put_aside(many, "held", "many-parts", message=None)
    named = ready.shapes.crs
    centers = shapes if table.geometry == "Point" else shapes.representative_point()
    points = xy(centers)
    crs, crs_from = resolve(named, words.crs, points, where=where, service=service)
    shapes = shapes.set_crs(crs, allow_override=True)
    index = ready.rows.index
    try:
        outside = hold_against_area(points, crs, where=where, service=service)
    except CRSError as error:
        raise _in_letters(error, words.order) from None
    turned = swapped(points, crs, service=service)

    def told(code: str, rows: NDArray[np.bool_]) -> None:
        keys = index[rows]
        ledger.notes.append(findings(code, table=table.name, keys=keys, column="geometry"))

    ledger.put_aside(
        pd.Series(turned, index), "held", "axes-swapped", CODES["axes-swapped"].meaning
    )
    ledger.put_aside(
        pd.Series(outside, index), "held", "outside-crs-area",
        f"the point lies where {short(crs)} is not used",
    )  # fmt: skip
    known = points[np.isfinite(points).all(axis=1)]
    if len(known) > 1 and (known == known[0]).all():
        ledger.notes.append(findings("zero-extent", table=table.name, keys=["(all)"]))
    if service is not None:
        told("outside-service-area", outside_service(points, crs, service) & ~turned & ~outside)
    if table.geometry == "Point":
        told("far-location", far_off(points, crs) & ~turned & ~outside)
        others = ready.rows.drop(columns=list(ready.place_fields), errors="ignore")
        ledger.notes.append(crosscheck(others, shapes, table.name))
    ledger.foot = foot_note(points, crs)
    if (note := unproved_note(crs)) is not None:
        ledger.notes.append(
            findings("crs-unproved", table=table.name, keys=["(all)"], messages=note)
        )
    if crs_from == "user" and named is not None and named != crs:
        ledger.notes.append(
            findings(
                "crs-overruled", table=table.name, keys=["(all)"], values=[short(named)],
                messages=f"the source says {short(named)}; it was read as {short(crs)}",
            )
        )  # fmt: skip
    return shapes, crs, crs_from


def _in_letters(error: CRSError, order: str | None) -> CRSError:
    """Of a point file the letters of its order say which number is which, not a swap."""
    if order is None or error.do is None:
        return error
    other = order.upper().translate(str.maketrans("NEXY", "ENYX"))
    return CRSError(
        error.what, where=error.where, found=error.found, accepted=error.accepted,
        do=error.do.replace("--swap-xy", f"--order {other} in place of {order}"),
    )  # fmt: skip
