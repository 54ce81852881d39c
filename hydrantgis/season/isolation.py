"""
Which valve isolates a hydrant: its own branch valve, or, where none is known, main valves round.

The register says what is drawn; whether a valve is there, turns and holds is seen on site alone.

References
----------
.. [1] Turns of a gate valve from closed to open: three times its nominal size in inches, and two or
   three more (general article on valve operation, seen).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.plane import plane_ft, xy
from hydrantgis.ground.results import ISOLATION
from hydrantgis.ground.text import fill

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import ArrayLike, NDArray

BRANCH_FT = 50.0
"""A branch valve farther from its hydrant than this is not taken for it: common practice, no
source. [ft]"""
ROUND_FT = 1500.0
"""Main valves are looked for so far: common practice, no source. [ft]"""
MAIN_VALVES = 3
"""So many main valves are named where there is no branch valve."""
TURNS_OFF = 2.0
"""Recorded turns may be off the rule by so many: common practice, no source."""
_BRANCH = r"hydrant|branch|lateral|auxiliary"
_CONFIRM = "confirm on site that it is there, turns and holds"


def expected_turns(size_in: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Turns of a gate valve from closed to open, the least and the most that are usual [1]_.

    Parameters
    ----------
    size_in
        Nominal sizes, any shape. [in]

    Examples
    --------
    >>> [turns.tolist() for turns in expected_turns([6.0, 8.0])]
    [[20.0, 26.0], [21.0, 27.0]]
    """
    size = np.asarray(size_in, dtype=np.float64)
    return 3.0 * size + 2.0, 3.0 * size + 3.0


def isolation(
    jobs: gpd.GeoDataFrame, hydrants: gpd.GeoDataFrame, valves: gpd.GeoDataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    The `isolation` table: the valve that isolates each job's hydrant, as far as it is drawn.

    Parameters
    ----------
    jobs
        Hydrants that are worked on, with `hydrant_id`.
    hydrants
        All hydrants, so that a valve of a neighbor is not taken.
    valves
        The `valves` table, in the same CRS.

    Returns
    -------
    isolation
        In the order of the jobs. A valve is a branch valve where its use says so; where no valve
        says what it is for, all are. It is taken where it is the nearest to the hydrant, within
        `BRANCH_FT`, and no other hydrant is nearer to it.
    findings
        Hydrants without a branch valve, and valves whose recorded turns are unusual.
    """
    table = pd.DataFrame({"hydrant_id": jobs["hydrant_id"].to_numpy(dtype=object)})
    table["note"] = _CONFIRM
    if not len(jobs) or jobs.crs is None:
        return ISOLATION.conform(table), no_findings()
    every = xy(hydrants.geometry)
    to_plane = plane_ft(every, jobs.crs)

    def flat(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(to_plane.transform(points[:, 0], points[:, 1]))

    here, there = flat(xy(jobs.geometry)), flat(xy(valves.geometry))
    placed = np.isfinite(there).all(axis=1)
    use = valves["valve_use"].str.lower()
    branch = use.str.contains(_BRANCH, na=False).to_numpy(dtype=bool) | bool(use.isna().all())
    valve, apart = _own(here, jobs, flat(every), hydrants, there, placed & branch)
    has = valve >= 0
    size, turns = (
        np.append(valves[name].to_numpy(dtype=np.float64, na_value=np.nan), np.nan)[valve]
        for name in ("size_in", "turns")
    )
    least, most = expected_turns(size)
    ids = np.array([*valves["valve_id"], None], dtype=object)[valve]
    east_north = np.vstack([there, [np.nan, np.nan]])[valve] - here
    table = table.assign(
        valve_id=ids, distance_ft=np.where(has, apart, np.nan),
        direction=directions(east_north), size_in=size, turns=turns, turns_least=least,
        turns_most=most, main_valves=_round(here, there, valves, placed & ~branch, ~has),
    )  # fmt: skip
    odd = has & ((turns < least - TURNS_OFF) | (turns > most + TURNS_OFF))
    return ISOLATION.conform(table), join_findings(
        findings(
            "no-branch-valve", table="hydrants",
            keys=table["hydrant_id"][~has] if len(valves) else ["(all)"],
            messages=None if len(valves) else "there are no valves in the register",
        ),
        findings(
            "turns-unusual", table="valves", keys=ids[odd], column="turns",
            values=[f"{v:g}" for v in turns[odd]],
            messages=fill(
                "{a} to {b} are usual for {s} in", a=least[odd], b=most[odd], s=size[odd]
            ),
        ),
    )  # fmt: skip


def _own(
    here: NDArray[np.float64],
    jobs: pd.DataFrame,
    every: NDArray[np.float64],
    hydrants: pd.DataFrame,
    there: NDArray[np.float64],
    usable: NDArray[np.bool_],
) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """The branch valve of each job, -1 where there is none, and how far it is. [ft]"""
    valve, apart = np.full(len(here), -1, dtype=np.intp), np.full(len(here), np.nan)
    rows, asking = np.flatnonzero(usable), np.flatnonzero(np.isfinite(here).all(axis=1))
    standing = np.flatnonzero(np.isfinite(every).all(axis=1))
    if not len(rows) or not len(asking):
        return valve, apart
    _, owner = cKDTree(every[standing]).query(there[rows])
    whose = hydrants["hydrant_id"].to_numpy(dtype=object)[standing[np.asarray(owner)]]
    near, which = map(np.asarray, cKDTree(there[rows]).query(here[asking]))
    mine = whose[which] == jobs["hydrant_id"].to_numpy(dtype=object)[asking]
    good = (near <= BRANCH_FT) & mine
    valve[asking[good]], apart[asking[good]] = rows[which[good]], near[good]
    return valve, apart


def directions(east_north: NDArray[np.float64]) -> NDArray[np.object_]:
    """
    Where something lies, as one of eight points of the compass; None where nothing does.

    Parameters
    ----------
    east_north
        How far it lies to the east and to the north, shape (n, 2). [any]

    Examples
    --------
    >>> directions(np.array([[0.0, 3.0], [-2.0, -2.0]])).tolist()
    ['N', 'SW']
    """
    names = np.array(["N", "NE", "E", "SE", "S", "SW", "W", "NW", None], dtype=object)
    bearing = np.degrees(np.arctan2(east_north[:, 0], east_north[:, 1])) % 360
    known = np.isfinite(bearing)
    place = np.where(known, np.round(np.where(known, bearing, 0.0) / 45) % 8, 8).astype(np.intp)
    return np.asarray(names[place], dtype=object)


def _round(
    here: NDArray[np.float64],
    there: NDArray[np.float64],
    valves: pd.DataFrame,
    usable: NDArray[np.bool_],
    wanted: NDArray[np.bool_],
) -> NDArray[np.object_]:
    """The nearest main valves in words, where they are wanted."""
    told = np.full(len(here), None, dtype=object)
    rows = np.flatnonzero(usable)
    asking = np.flatnonzero(wanted & np.isfinite(here).all(axis=1))
    if not len(rows) or not len(asking):
        return told
    k = np.arange(1, min(MAIN_VALVES, len(rows)) + 1)
    near, which = map(
        np.asarray,
        cKDTree(there[rows]).query(here[asking], k=k, distance_upper_bound=ROUND_FT),
    )
    some = np.isfinite(near)
    at = rows[np.minimum(which, len(rows) - 1)]
    ids = valves["valve_id"].to_numpy(dtype=object)
    for row, hydrant in enumerate(asking.tolist()):  # the few without a branch valve
        names = [f"{ids[at[row, c]]} ({near[row, c]:.0f} ft)" for c in np.flatnonzero(some[row])]
        told[hydrant] = "; ".join(names) or None
    return told
