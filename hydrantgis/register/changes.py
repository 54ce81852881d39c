"""
What a newer vintage of a hydrant layer tells otherwise than the register stands.

A hydrant is known again by its id. Nothing here touches a file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.ground.plane import SAME_PLACE_FT, on_plane_ft, plane_ft, xy
from hydrantgis.ground.tables import CHANGES, HYDRANT_FACT_NAMES
from hydrantgis.ground.text import fill, numbers

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOVED_FT = 1.0
"""A hydrant that moved less is not told as moved; its place is taken all the same. [ft]"""
NOISE_FT = 0.01
"""A point that differs by less is where it was: coordinates are computed no better. [ft]"""
FAR_FT = 100.0
"""No survey corrects the place of a hydrant by more: common practice, no source. [ft]"""


def moved_ft(told: gpd.GeoDataFrame, state: gpd.GeoDataFrame) -> pd.Series:
    """
    How far each hydrant lies from where it stood; missing where either place is not known. [ft]

    Parameters
    ----------
    told
        Rows of the `hydrants` table, in the CRS of the register.
    state
        The `hydrants` table as it stands.

    Returns
    -------
    distances
        Index of `told`.

    Examples
    --------
    >>> import shapely
    >>> def one(x): return gpd.GeoDataFrame(
    ...     {"hydrant_id": ["H1"]}, geometry=[shapely.Point(x, 2950000)], crs=2249)
    >>> moved_ft(one(760010), one(760000)).round(3).tolist()
    [10.0]
    """
    stood = pd.DataFrame(xy(state.geometry), index=state["hydrant_id"])
    before = stood.reindex(told["hydrant_id"]).to_numpy()
    after = xy(told.geometry)
    crs = told.crs
    if crs is None or not len(told):
        return pd.Series(np.nan, index=told.index)
    to_plane = plane_ft(np.vstack((after, before)), crs)
    here = np.column_stack(to_plane.transform(after[:, 0], after[:, 1]))
    there = np.column_stack(to_plane.transform(before[:, 0], before[:, 1]))
    apart = np.hypot(*(here - there).T)
    return pd.Series(np.where(np.isfinite(apart), apart, np.nan), index=told.index)


def without_noise(told: gpd.GeoDataFrame, state: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The rows with the place that stands where theirs differs by less than `NOISE_FT`."""
    same = (moved_ft(told, state) <= NOISE_FT).to_numpy()
    if not same.any():
        return told
    stood = gpd.GeoSeries(state.geometry.to_numpy(), index=state["hydrant_id"])
    points = np.asarray(told.geometry.array, dtype=object).copy()
    points[same] = np.asarray(stood.reindex(told["hydrant_id"][same]), dtype=object)
    return told.set_geometry(gpd.GeoSeries(points, index=told.index, crs=told.crs))


def compare(
    told: gpd.GeoDataFrame,
    state: gpd.GeoDataFrame,
    gone: pd.Index[str],
    back: pd.Index[str],
    import_id: str,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    What differs between a layer and the register.

    Parameters
    ----------
    told
        Accepted rows of the `hydrants` table, in the CRS of the register.
    state
        The `hydrants` table as it stands.
    gone
        Hydrants that the layer should have and has not.
    back
        Hydrants that were gone and are told again.
    import_id
        The intake that tells it.

    Returns
    -------
    changes
        The `changes` table: a row for each hydrant that is new, gone, moved, back again or has
        another id, and one for each column that is told otherwise.
    findings
        Moves farther than `FAR_FT`, ids that stand where another one stood, and new ids at the
        place of one that is gone.

    Notes
    -----
    A blank tells nothing: a value that stands and is blank in the layer is no change.
    """
    known = told["hydrant_id"].isin(state["hydrant_id"])
    fresh = told["hydrant_id"][~known]
    pairs = _same_place(gpd.GeoDataFrame(told[~known]), state, gone)
    new = fresh[~fresh.isin(pairs.index)]
    parts = [
        pd.DataFrame({"hydrant_id": new, "change": "new"}),
        pd.DataFrame({"hydrant_id": pairs.index, "change": "renumbered", "other_id": pairs}),
        pd.DataFrame({"hydrant_id": gone, "change": "gone"}).assign(
            other_id=lambda f: f["hydrant_id"].map(dict(zip(pairs, pairs.index, strict=True)))
        ),
        pd.DataFrame({"hydrant_id": back, "change": "reappeared"}),
        *_changed(pd.DataFrame(told[known].drop(columns="geometry")), state, back),
    ]
    apart = moved_ft(told, state)
    moved = apart > MOVED_FT
    parts.append(
        pd.DataFrame(
            {
                "hydrant_id": told["hydrant_id"][moved],
                "change": "moved",
                "column": "geometry",
                "moved_ft": apart[moved].round(2),
            }
        )
    )
    whole = pd.concat([p for p in parts if len(p)] or [parts[0]], ignore_index=True)
    handed = _handed_on(gpd.GeoDataFrame(told[apart > SAME_PLACE_FT]), state)
    far = apart > FAR_FT
    noticed = join_findings(
        findings(
            "moved-far", table="hydrants", keys=told["hydrant_id"][far], column="geometry",
            messages=fill("moved {d} ft", d=apart[far].round(1).to_numpy()),
        ),
        findings(
            "id-handed-on", table="hydrants", keys=handed.index, column="hydrant_id", values=handed,
            messages=fill("stands where `{old}` stood", old=handed.to_numpy(dtype=object)),
        ),
        findings(
            "renumbered", table="hydrants", keys=pairs.index, column="hydrant_id", values=pairs,
            messages=fill("stands where `{old}` stood", old=pairs.to_numpy(dtype=object)),
        ),
    )  # fmt: skip
    return CHANGES.conform(whole.assign(import_id=import_id)), noticed


def _changed(
    told: pd.DataFrame, state: gpd.GeoDataFrame, back: pd.Index[str]
) -> list[pd.DataFrame]:
    """A frame for each column, of the hydrants that are told another value in it."""
    now = pd.DataFrame(state.drop(columns="geometry")).set_index("hydrant_id")
    now = now.reindex(told["hydrant_id"])
    found = []
    for name in HYDRANT_FACT_NAMES:
        new, old = told[name], now[name].set_axis(told.index)
        differs = new.notna() & (old.isna() | (new != old))
        differs = differs.fillna(value=False).astype(bool)
        if name == "status":  # to be back says that already
            differs &= ~told["hydrant_id"].isin(back)
        found.append(
            pd.DataFrame(
                {
                    "hydrant_id": told["hydrant_id"][differs],
                    "change": "changed",
                    "column": name,
                    "before": _told(old[differs]),
                    "after": _told(new[differs]),
                }
            )
        )
    return found


def _told(values: pd.Series) -> pd.Series:
    """Values as text: days without a time, numbers without trailing zeros."""
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        days = pd.Series(values.dt.strftime("%Y-%m-%d"))
        return pd.Series(days.astype("str").where(values.notna()))
    if pd.api.types.is_numeric_dtype(values.dtype):
        # all digits that are kept: two that differ must not be told as one
        text = pd.Series(numbers(values.to_numpy(dtype=np.float64), 9), index=values.index)
        return pd.Series(text.astype("str").where(values.notna()))
    return values


def _handed_on(moved: gpd.GeoDataFrame, state: gpd.GeoDataFrame) -> pd.Series:
    """Known ids (index) that moved to where another one stood (value), one to one."""
    pairs = mutual_nearest(moved, state)
    ours = moved["hydrant_id"].to_numpy(dtype=object)[pairs[:, 0]]
    theirs = state["hydrant_id"].to_numpy(dtype=object)[pairs[:, 1]]
    return pd.Series(theirs, index=pd.Index(ours, dtype="str"), dtype="str")


def _same_place(fresh: gpd.GeoDataFrame, state: gpd.GeoDataFrame, gone: pd.Index[str]) -> pd.Series:
    """New ids (index) that stand where one that is gone stood (value), one to one."""
    none = pd.Series([], index=pd.Index([], dtype="str"), dtype="str")
    old = gpd.GeoDataFrame(state[state["hydrant_id"].isin(gone)])
    pairs = mutual_nearest(fresh, old)
    if not len(pairs):
        return none
    new_ids = fresh["hydrant_id"].to_numpy(dtype=object)[pairs[:, 0]]
    old_ids = old["hydrant_id"].to_numpy(dtype=object)[pairs[:, 1]]
    return pd.Series(old_ids, index=pd.Index(new_ids, dtype="str"), dtype="str")


def mutual_nearest(
    here: gpd.GeoDataFrame, there: gpd.GeoDataFrame, reach_ft: float = SAME_PLACE_FT
) -> NDArray[np.int64]:
    """
    Pairs of points of two frames within reach that have nobody else within reach.

    Parameters
    ----------
    here, there
        Points in one CRS.
    reach_ft
        How far they may lie apart. [ft]

    Returns
    -------
    pairs
        Positions in `here` and in `there`, shape (n, 2).

    Examples
    --------
    >>> import shapely
    >>> def at(*xs): return gpd.GeoDataFrame(
    ...     geometry=[shapely.Point(x, 2950000) for x in xs], crs=2249)
    >>> mutual_nearest(at(760000, 760500), at(760501, 761000)).tolist()
    [[1, 0]]
    """
    crs = here.crs
    both = [xy(here.geometry), xy(there.geometry)]
    known = [np.flatnonzero(np.isfinite(points).all(axis=1)) for points in both]
    if crs is None or not (len(known[0]) and len(known[1])):
        return np.zeros((0, 2), dtype=np.int64)
    plane = on_plane_ft(np.vstack((both[0][known[0]], both[1][known[1]])), crs)
    ours, theirs = plane[: len(known[0])], plane[len(known[0]) :]
    near = cKDTree(ours).sparse_distance_matrix(cKDTree(theirs), reach_ft, output_type="coo_matrix")
    rows, columns = near.row, near.col
    alone = (np.bincount(rows, minlength=len(ours))[rows] == 1) & (
        np.bincount(columns, minlength=len(theirs))[columns] == 1
    )
    return np.column_stack((known[0][rows[alone]], known[1][columns[alone]]))
