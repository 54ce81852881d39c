"""
Whether a reading was taken where its hydrant stands.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.errors import CRSError, some
from hydrantgis.ground.findings import findings
from hydrantgis.ground.plane import on_plane_ft, xy
from hydrantgis.ground.text import fill
from hydrantgis.intake.systems import user_crs

if TYPE_CHECKING:
    import geopandas as gpd

    from hydrantgis.intake.ledger import Ledger

ELSEWHERE_FT = 100.0
"""Farther from its hydrant a reading was taken at another one: common practice, no source. [ft]"""
_MOST_ELSEWHERE = 0.5
_FEWEST = 4
"""Of fewer readings no share tells that their coordinates are read wrongly."""


def hold_elsewhere(
    ids: pd.Series,
    shapes: gpd.GeoSeries | None,
    stands: gpd.GeoDataFrame,
    crs: str | None,
    ledger: Ledger,
    where: str,
) -> None:
    """
    Hold readings whose own coordinates lie far from the hydrant that they name.

    Parameters
    ----------
    ids
        The hydrant that each reading names.
    shapes
        Where it was taken, same index; None where the source tells no place.
    stands
        The `hydrants` table of the register.
    crs
        What the user says of the coordinates; what the source says where it is None.
    ledger
        Of the readings.
    where
        The source, for messages.

    Raises
    ------
    CRSError
        Most lie elsewhere, so that their CRS or the ids cannot be right.
    """
    if shapes is None or shapes.isna().all() or stands.crs is None:
        return
    named = shapes.crs if crs is None else user_crs(crs)
    if named is None:
        ledger.notes.append(
            findings("reading-place-unread", table=ledger.table.name, keys=["(all)"])
        )
        return
    taken = shapes.set_crs(named, allow_override=True).to_crs(stands.crs)
    hydrants = pd.DataFrame(xy(stands.geometry), index=pd.Index(stands["hydrant_id"]))
    both = np.vstack((xy(taken.representative_point()), hydrants.reindex(ids).to_numpy()))
    known = np.isfinite(both).all(axis=1).reshape(2, -1).all(axis=0)
    if not known.any():
        return
    plane = on_plane_ft(both[np.tile(known, 2)], stands.crs)
    told = int(known.sum())
    apart = np.full(len(ids), np.nan)
    apart[known] = np.hypot(*(plane[:told] - plane[told:]).T)
    far = pd.Series(apart > ELSEWHERE_FT, index=ids.index)
    if told >= _FEWEST and far.sum() > _MOST_ELSEWHERE * told:
        raise CRSError(
            "most readings were not taken where the hydrants stand that they name", where=where,
            found=f"{int(far.sum()):,} of {told:,} lie more than {ELSEWHERE_FT:g} ft away, for "
            f"example {some(ids[far].tolist(), 3)}; the middle one {np.nanmedian(apart):,.0f} ft",
            accepted=f"readings within {ELSEWHERE_FT:g} ft of their hydrants",
            do="say with --crs what the coordinates are in, or look whether the ids are those of "
            "the register",
        )  # fmt: skip
    messages = fill(
        "taken {d} ft from where hydrant {id} stands",
        d=np.round(apart[far.to_numpy()]), id=ids[far].to_numpy(),
    )  # fmt: skip
    ledger.put_aside_with(far, "held", "reading-elsewhere", messages)
