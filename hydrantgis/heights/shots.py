"""
Readings out of shots on hydrants: the outlet, the flange and the curb beside it.

A shot belongs to the hydrant that it names, else to the only one near it. What it stands on is told
by its code; an outlet's shot makes a reading of its elevation, a flange's and a curb's stand beside
it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.tables import READINGS, SHOTS_ON_HYDRANT
from hydrantgis.ground.text import datum_key, fill
from hydrantgis.heights.epochs import day_numbers
from hydrantgis.standards.methods import GRADE_SHOT_SD_FT

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

NEAR_FT = 10.0
"""
A shot that names no hydrant belongs to the one within this: common practice, no source. [ft]

Hydrants are mapped to some feet; two stand far farther apart.
"""
NAMED_FT = 100.0
"""A shot farther from the hydrant that it names is not on it: common practice, no source. [ft]"""
CURB_FT = 15.0
"""A curb farther from a hydrant than this is not the one beside it. [ft]"""


def hydrant_of_shot(
    hydrants_ft: ArrayLike, shots_ft: ArrayLike, named: ArrayLike
) -> tuple[NDArray[np.intp], NDArray[np.object_]]:
    """
    The hydrant that each shot stands on, and why there is none.

    Parameters
    ----------
    hydrants_ft
        Where the hydrants stand, shape (n, 2), on a plane. [ft]
    shots_ft
        Where the shots are, shape (m, 2), on the same plane. [ft]
    named
        Position of the hydrant that the shot names, -1 where it names none, shape (m,).

    Returns
    -------
    hydrant
        Position, -1 where there is none, shape (m,).
    why
        A finding code where there is none, else None, shape (m,).

    Examples
    --------
    >>> at, why = hydrant_of_shot([[0, 0], [8, 0]], [[0, 1], [4, 0], [60, 0]], [0, -1, -1])
    >>> at.tolist(), why.tolist()
    ([0, -1, -1], [None, 'shot-near-two', 'shot-of-no-hydrant'])
    """
    hydrants = np.asarray(hydrants_ft, dtype=np.float64).reshape(-1, 2)
    shots = np.asarray(shots_ft, dtype=np.float64).reshape(-1, 2)
    told = np.asarray(named, dtype=np.intp)
    result, why = told.copy(), np.full(len(shots), None, dtype=object)
    apart = np.full(len(shots), np.nan)
    has = told >= 0
    apart[has] = np.hypot(*(shots[has] - hydrants[told[has]]).T)
    # a hydrant without a place may have shots that name it
    far = has & (apart > NAMED_FT)
    result[far], why[far] = -1, "shot-elsewhere"
    placed = np.flatnonzero(np.isfinite(hydrants).all(axis=1))
    asking = np.flatnonzero(~has & np.isfinite(shots).all(axis=1))
    lost = ~has
    lost[asking] = False
    why[lost] = "shot-of-no-hydrant"
    if len(asking) and len(placed):
        found = cKDTree(hydrants[placed]).query(
            shots[asking], k=[1, 2], distance_upper_bound=np.nextafter(NEAR_FT, np.inf)
        )
        near, which = np.asarray(found[0]), np.asarray(found[1])
        first, second = np.isfinite(near).T
        one = first & ~second
        result[asking[one]] = placed[which[one, 0]]
        why[asking[second]] = "shot-near-two"
        why[asking[~first]] = "shot-of-no-hydrant"
    else:
        why[asking] = "shot-of-no-hydrant"
    return result, why


def readings_of_shots(
    hydrants: pd.DataFrame,
    shots: pd.DataFrame,
    hydrants_ft: NDArray[np.float64],
    shots_ft: NDArray[np.float64],
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Readings that shots on hydrants make.

    Parameters
    ----------
    hydrants
        The `hydrants` table.
    shots
        The `shots` table, of every code but `ground`.
    hydrants_ft, shots_ft
        Where they are on one plane, shapes (n, 2) and (m, 2). [ft]

    Returns
    -------
    readings
        The `readings` table: one of each shot on an outlet, with the flange of the day nearest to
        it (the mean of its shots) and the nearest curb beside it, where they are of the same datum.
    findings
        Shots on hydrants that belong to none, or to more than one.

    Notes
    -----
    Ground is told by its own shots. Without any the reading has an elevation and no height, and the
    check tells that no grade is known there.
    """
    ids = pd.Index(hydrants["hydrant_id"])
    code = shots["shot_code"].to_numpy(dtype=object)
    on = np.isin(code, SHOTS_ON_HYDRANT)
    named = ids.get_indexer(pd.Index(shots["hydrant_id"]))
    at, why = hydrant_of_shot(hydrants_ft, shots_ft[on], named[on])
    noticed = _untold(shots[on], why)
    held = shots[on].assign(
        at=at,
        datum=shots["vertical_datum"][on].map(datum_key, na_action="ignore"),
        day=day_numbers(shots["shot_date"][on].to_numpy()),
    )
    held = held[at >= 0]
    outlets = held[held["shot_code"].str.startswith("outlet")]
    if not len(outlets):
        return READINGS.conform(pd.DataFrame(index=pd.RangeIndex(0))), noticed
    where = outlets["at"].to_numpy()
    curbs = shots[code == "curb"]
    curb, curb_ft = _curbs(hydrants_ft[where], outlets["datum"], curbs, shots_ft[code == "curb"])
    sd = outlets["elev_sd_ft"].fillna(GRADE_SHOT_SD_FT)
    # surveys number their points each from 1
    on_day = " of " + outlets["shot_date"].dt.strftime("%Y-%m-%d").astype("str")
    name = "shot " + outlets["shot_id"] + on_day.fillna("")
    made = pd.DataFrame(
        {
            "reading_id": name,
            "hydrant_id": ids[where],
            "reading_date": outlets["shot_date"],
            "method": "shot",
            "measured_to": outlets["measured_to"],
            "measured_from": "grade",
            "outlet_elev_ft": outlets["elev_ft"],
            "vertical_datum": outlets["vertical_datum"],
            "flange_elev_ft": _flanges(held, outlets),
            "curb_elev_ft": curb,
            "curb_distance_in": curb_ft * 12.0,
            "height_sd_in": sd * 12.0,
        }
    )
    return READINGS.conform(made.reset_index(drop=True)), noticed


def _untold(shots: pd.DataFrame, why: NDArray[np.object_]) -> pd.DataFrame:
    found = [no_findings()]
    for code in ("shot-elsewhere", "shot-near-two", "shot-of-no-hydrant"):
        rows = shots[why == code]
        found.append(
            findings(
                code, table="shots", keys=rows["shot_id"], column="shot_code",
                values=rows["description"],
                messages=fill("{code} shot", code=rows["shot_code"].to_numpy()),
            )
        )  # fmt: skip
    return join_findings(*found)


def _flanges(held: pd.DataFrame, outlets: pd.DataFrame) -> NDArray[np.float64]:
    """The flange by each outlet, a mean of the day nearest to the outlet's. [ft]"""
    keys = ["at", "datum"]
    days = held[held["shot_code"] == "flange"].groupby([*keys, "day"])["elev_ft"].mean()
    mean = days.rename("flange_ft").reset_index().sort_values("day", kind="stable")
    asked = outlets[[*keys, "day"]].reset_index(drop=True).reset_index()
    near = pd.merge_asof(
        asked.sort_values("day", kind="stable"), mean, on="day", by=keys, direction="nearest"
    )
    return near.set_index("index")["flange_ft"].sort_index().to_numpy(dtype=np.float64)


def _curbs(
    hydrants_ft: NDArray[np.float64],
    datum: pd.Series,
    curbs: pd.DataFrame,
    curbs_ft: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Elevation of the nearest curb of the same datum, and how far it is. [ft]"""
    elev, apart = np.full(len(hydrants_ft), np.nan), np.full(len(hydrants_ft), np.nan)
    theirs = curbs["vertical_datum"].map(datum_key, na_action="ignore").to_numpy(dtype=object)
    usable = np.isfinite(curbs_ft).all(axis=1) & curbs["elev_ft"].notna().to_numpy()
    placed = np.isfinite(hydrants_ft).all(axis=1)
    ours = datum.to_numpy(dtype=object)
    for name in pd.unique(ours[~pd.isna(ours)]):  # a datum or two
        of, to = usable & (theirs == name), placed & (ours == name)
        if not of.any() or not to.any():
            continue
        found = cKDTree(curbs_ft[of]).query(
            hydrants_ft[to], distance_upper_bound=np.nextafter(CURB_FT, np.inf)
        )
        near, which = np.asarray(found[0]), np.asarray(found[1])
        some = np.isfinite(near)
        rows = np.flatnonzero(to)[some]
        elev[rows] = curbs["elev_ft"].to_numpy()[of][which[some]]
        apart[rows] = near[some]
    return elev, apart
