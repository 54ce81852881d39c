"""
The rows of a source made ready to be read: tags unpacked, codes as labels, shapes found.

What a look into a source tells and what an intake does rest on this one step, so that they agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hydrantgis.ground.errors import CRSError, SourceError
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.intake import source as sources
from hydrantgis.intake.codes import decode, domains_of
from hydrantgis.intake.place import place
from hydrantgis.intake.systems import user_crs
from hydrantgis.intake.tags import unpack

if TYPE_CHECKING:
    import pyproj

    from hydrantgis.intake.layers import Layer, Source
    from hydrantgis.intake.words import IntakeWords

PAGE_LIMITS = (1000, 2000, 5000, 10_000)
"""Services hand out so many rows at a time; an export of exactly so many may be cut off."""
NEEDED = {
    "readings": ("outlet_height_in", "outlet_elev_ft"), "shots": ("elev_ft",),
    "works": ("change_in",),
}  # fmt: skip
"""Columns without one of which a survey tells nothing."""
Z_FIELD = "(Z)"
"""The name under which the Z of points can be brought in as a field."""
_TAGGED_AS, _TAG = "emergency", "fire_hydrant"


@dataclass(frozen=True, slots=True)
class Prepared:
    """
    A layer's rows.

    Attributes
    ----------
    rows
        As the source has them, without geometry, tags unpacked; index the row's number.
    cells
        The same with labels in the place of codes, and `Z_FIELD` where points have a Z.
    shapes
        None where the source tells none; their CRS is the one that the source names, or none.
    place_fields
        Fields that the shapes were read from.
    form
        How a table tells its place, empty for a vector layer.
    notes
        Findings.
    sha256
        Of the rows, where the source has no bytes of its own.
    """

    rows: pd.DataFrame
    cells: pd.DataFrame
    shapes: gpd.GeoSeries | None
    place_fields: tuple[str, ...]
    form: str
    notes: pd.DataFrame
    sha256: str | None


def prepare(
    source: Source, layer: Layer, words: IntakeWords, *, table: str, where: str
) -> Prepared:
    """
    The rows of a layer, ready to be read.

    Parameters
    ----------
    source, layer
        From `hydrantgis.intake.source.opened`.
    words
        What the user says.
    table
        The canonical table, for findings.
    where
        The source, for messages.

    Raises
    ------
    HydrantGISError
        The source breaks off, or what the user says of it cannot be.
    """
    rows, sha256 = sources.read_rows(source, layer)
    notes = [_encoding_note(source, table), source.options.get("notes", no_findings())]
    shapes, named = None, layer.crs
    plain = rows
    if isinstance(rows, gpd.GeoDataFrame):
        plain = pd.DataFrame(rows.drop(columns=rows.geometry.name))
        if not len(rows) or not shapely.is_missing(rows.geometry.to_numpy()).all():
            shapes = gpd.GeoSeries(rows.geometry)
    plain, packed = unpack(plain)
    if packed:
        notes.append(
            findings(
                "tags-unpacked", table=table, keys=["(all)"], values=[", ".join(packed)],
                messages=f"tags packed in {', '.join(f'`{n}`' for n in packed)} became fields",
            )
        )  # fmt: skip
    placed = None
    if shapes is None:
        placed = place(plain, words.place, decimal=words.decimal, where=where)
    elif words.place:
        raise SourceError("the layer has shapes of its own", where=where, do="leave --place out")
    if placed is not None:
        shapes = placed.shapes
        named = _of_number(placed.srid, words, where) if placed.srid else named
        bad = placed.unread.notna()
        notes.append(
            findings(
                "place-unreadable", table=table, keys=bad.index[bad], column="geometry",
                values=plain.loc[bad, placed.fields[0]].astype("str"),
                messages=placed.unread[bad].tolist(),
            )
        )  # fmt: skip
    if shapes is not None:
        whole = shapes.to_numpy()
        turned = whole
        if words.swap_xy:
            turned = shapely.transform(shapely.force_2d(whole), lambda both: both[:, ::-1])
        shapes = gpd.GeoSeries(turned, index=plain.index, crs=named)
    cells = plain
    own = {
        name: code for name, code in domains_of(source, layer).items() if name not in words.codes
    }
    for codes, told_by in ((own, "source"), (words.codes, "profile")):
        cells, noticed = decode(cells, codes, table=table, told_by=told_by)
        notes.append(noticed)
    if shapes is not None:
        alone = shapely.get_num_geometries(whole) == 1
        points = np.where(
            alone, shapely.get_geometry(whole, 0), whole
        )  # a point of one part is one
        tall = shapely.has_z(points)  # an empty point has none
        if tall.any() and Z_FIELD not in cells:
            z = np.full(len(points), np.nan)
            z[tall] = shapely.get_z(points[tall])
            cells = cells.assign(**{Z_FIELD: z})
    return Prepared(
        plain, cells, shapes, placed.fields if placed else (), placed.form if placed else "",
        join_findings(*notes), sha256,
    )  # fmt: skip


def _of_number(srid: int, words: IntakeWords, where: str) -> pyproj.CRS | None:
    """The CRS of a shape's number; where there is none of it, none if the user says another."""
    try:
        return user_crs(f"EPSG:{srid}")
    except CRSError as error:
        if words.crs is not None:
            return None
        raise CRSError(
            f"the shapes name SRID {srid}, which is no code of the EPSG data set", where=where,
            accepted=error.accepted, do="ask whoever made the table, and pass --crs CODE",
        ) from error  # fmt: skip


def _encoding_note(source: Source, table: str) -> pd.DataFrame:
    if source.encoding in (None, "utf-8", "utf-8-sig"):
        return join_findings()
    return findings(
        "encoding-taken", table=table, keys=["(all)"], values=[source.encoding],
        messages=f"the letters were read as {source.encoding}; say --encoding if they look wrong",
    )  # fmt: skip


def not_tagged(cells: pd.DataFrame) -> pd.Series:
    """
    Rows of tagged things that are no hydrants; none where nothing is tagged as one.

    Examples
    --------
    >>> not_tagged(pd.DataFrame({"emergency": ["fire_hydrant", "defibrillator", None]})).tolist()
    [False, True, True]
    """
    tagged = pd.Series(False, index=cells.index)
    if _TAGGED_AS in cells:
        tagged = cells[_TAGGED_AS].astype("str").str.strip() == _TAG
    return ~tagged if tagged.any() else tagged
