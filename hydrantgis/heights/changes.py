"""
What becomes of a height when the grade changes: since it was measured, or in time to come.

Grade that rises by 2 in leaves an outlet of 20 in at 18 in, and the flange 2 in lower. A height
that was carried over such a change is a screening height: nobody has measured it.

References
----------
.. [1] JCGM 100:2008 (GUM), 5.1.2: variances of independent parts add up (from memory).
.. [2] JCGM 106:2012, 6.2: a difference is told from nothing where it exceeds its expanded
   uncertainty; 1.96 standard uncertainties cover 95 % (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.findings import findings
from hydrantgis.ground.text import datum_key, fill
from hydrantgis.heights.works import change_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    from numpy.typing import NDArray

    from hydrantgis.standards.rules import HeightRule

TOLD_APART = 1.96
"""A change of terrain smaller than this many standard uncertainties is none [2]_."""


@dataclass(frozen=True, slots=True)
class SurfaceGrade:
    """
    What a surface tells of the grade at n hydrants.

    Attributes
    ----------
    name
        Of the surface.
    on
        The day when the ground was so; NaT where that is not known. [datetime64[D]]
    elev_ft, sd_ft
        Missing where the surface does not reach; shape (n,). [ft]
    vertical_datum
        Of the elevations.
    """

    name: str
    on: np.datetime64
    elev_ft: NDArray[np.float64]
    sd_ft: NDArray[np.float64]
    vertical_datum: str


@dataclass(frozen=True, slots=True)
class Change:
    """
    By how much the grade changes at n hydrants.

    Attributes
    ----------
    change_in, sd_in
        Up; 0 where it does not change; shape (n,). [in]
    by
        What changes it, empty where nothing does; shape (n,).
    """

    change_in: NDArray[np.float64]
    sd_in: NDArray[np.float64]
    by: NDArray[np.object_]

    @classmethod
    def none(cls, n: int) -> Change:
        """No change at n hydrants."""
        return cls(np.zeros(n), np.zeros(n), np.full(n, "", dtype=object))

    def or_else(self, other: Change) -> Change:
        """The change told here, and the other where none is."""
        ours = self.by != ""
        return Change(
            np.where(ours, self.change_in, other.change_in),
            np.where(ours, self.sd_in, other.sd_in),
            np.where(ours, self.by, other.by),
        )


def terrain_change(
    terrains: Sequence[SurfaceGrade],
    since: NDArray[np.datetime64],
    *,
    changed_on: NDArray[np.datetime64] | None = None,
) -> Change:
    """
    Change of grade since each height held, by terrain models of two days.

    Parameters
    ----------
    terrains
        Of several days; one without a day tells no change.
    since
        The day of the grade that each height stands over, NaT where there is none, shape (n,).
        [datetime64[D]]
    changed_on
        The last day on which works are known to have changed the grade, NaT where none are; a
        terrain of before that does not tell what came after it; shape (n,). [datetime64[D]]

    Returns
    -------
    change
        From the last terrain on or before that day to the newest one after it, both of one vertical
        datum; nothing where it does not exceed its expanded uncertainty [2]_.

    Examples
    --------
    >>> def on(day, elev): return SurfaceGrade(
    ...     day, np.datetime64(day), np.array([elev]), np.array([0.05]), "NAVD88")
    >>> two = [on("2018-04-01", 100.0), on("2025-04-01", 100.5)]
    >>> told = terrain_change(two, np.array(["2020-06-01"], dtype="datetime64[D]"))
    >>> told.change_in.tolist(), told.by.tolist()
    ([6.0], ['terrain 2018-04-01 to 2025-04-01'])
    """
    n = len(since)
    result = Change.none(n)
    begin = np.full(n, np.datetime64("NaT", "D")) if changed_on is None else changed_on
    dated = sorted((t for t in terrains if not np.isnat(t.on)), key=lambda t: (t.on, t.name))
    for before in dated:  # a terrain or two of each day
        for after in dated:
            if before.on >= after.on or datum_key(before.vertical_datum) != datum_key(
                after.vertical_datum
            ):
                continue
            change = (after.elev_ft - before.elev_ft) * 12.0
            sd = np.hypot(before.sd_ft, after.sd_ft) * 12.0
            between = (before.on <= since) & (since < after.on)
            between &= np.isnat(begin) | (begin <= before.on) | (begin > since)
            # later pairs of an ordered list are nearer before and newer after, and replace others
            rows = between & (np.abs(change) > TOLD_APART * sd)
            plain = between & np.isfinite(change) & ~rows
            result.change_in[rows], result.sd_in[rows] = change[rows], sd[rows]
            result.by[rows] = f"terrain {before.name} to {after.name}"
            result.change_in[plain], result.sd_in[plain], result.by[plain] = 0.0, 0.0, ""
    return result


def works_change(
    hydrants: gpd.GeoSeries, works: gpd.GeoDataFrame, since: NDArray[np.datetime64]
) -> Change:
    """
    Change of grade since each height held, by works that were built after it.

    Parameters
    ----------
    hydrants
        Points, in the CRS of the works.
    works
        The `works` table; one that is not built counts nowhere.
    since
        As `terrain_change`.

    Returns
    -------
    change
        Works over each other add up.
    """
    total = Change.none(len(hydrants))
    built = works[works["built_on"].notna()]
    days = built["built_on"].to_numpy().astype("datetime64[D]")
    for day in np.unique(days):  # a handful of days
        told = planned_change(hydrants, built[days == day])
        rows = (since < day) & (told.by != "")
        total.change_in[rows] += told.change_in[rows]
        total.sd_in[rows] = np.hypot(total.sd_in[rows], told.sd_in[rows])
        joint = np.where(total.by[rows] == "", "", total.by[rows] + ", ")
        total.by[rows] = joint + told.by[rows] + f" of {day}"
    return total


def last_built(hydrants: gpd.GeoSeries, works: gpd.GeoDataFrame) -> NDArray[np.datetime64]:
    """
    The last day on which works changed the grade at each hydrant, NaT where none did, shape (n,).

    Parameters
    ----------
    hydrants
        Points, in the CRS of the works.
    works
        The `works` table.
    """
    result = np.full(len(hydrants), np.datetime64("NaT"), dtype="datetime64[D]")
    built = works[works["built_on"].notna()]
    days = built["built_on"].to_numpy().astype("datetime64[D]")
    for day in np.unique(days):  # a handful, in order
        result[planned_change(hydrants, built[days == day]).by != ""] = day
    return result


def planned_change(hydrants: gpd.GeoSeries, works: gpd.GeoDataFrame) -> Change:
    """
    Change of grade at hydrants by works, whenever they are built.

    Parameters
    ----------
    hydrants
        Points, in the CRS of the works.
    works
        The `works` table.

    Returns
    -------
    change
        Works over each other add up.
    """
    n = len(hydrants)
    if not len(works):
        return Change.none(n)
    points, shapes = hydrants.to_numpy(), works.geometry.to_numpy()
    told = change_at(points, shapes, works["change_in"])
    spread = works["change_sd_in"].fillna(0.0).to_numpy(dtype=np.float64)
    variance = change_at(points, shapes, spread**2)
    met = told.works > 0
    by = np.where(met, "works", "").astype(object)
    for work in works["work_id"].unique():  # few: planned in one year
        ours = change_at(points, shapes[(works["work_id"] == work).to_numpy()],
                         works["change_in"][works["work_id"] == work])  # fmt: skip
        # on the line of this one and inside another, whose change alone was taken
        rows = (ours.works > 0) & (~ours.at_edge | told.at_edge)
        by[rows] = by[rows] + f" {work}"
    return Change(
        np.where(met, told.change_in, 0.0), np.sqrt(np.where(met, variance.change_in, 0.0)), by
    )


def after_change(basis: pd.DataFrame, change: Change, rule: HeightRule) -> pd.DataFrame:
    """
    Heights over a grade that changed.

    Parameters
    ----------
    basis
        From `hydrantgis.heights.basis.basis_heights`.
    change
        At its hydrants, in their order.
    rule
        As there. An outlet over the hydrant's own flange stands as high over that as it did.

    Returns
    -------
    basis
        Outlet and flange lower by the change; the variances of height and change added [1]_.
    """
    if rule.datum == "flange-bottom":
        return basis.assign(flange_height_in=basis["flange_height_in"] - change.change_in)
    height = basis["outlet_height_in"] - change.change_in
    sd = np.hypot(basis["height_sd_in"].to_numpy(dtype=np.float64), change.sd_in)
    return basis.assign(
        outlet_height_in=height,
        height_sd_in=np.where(height.notna(), sd, np.nan),
        flange_height_in=basis["flange_height_in"] - change.change_in,
    )


def carried_forward(
    hydrants: pd.DataFrame, basis: pd.DataFrame, change: Change, rule: HeightRule
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Heights that were measured before the grade changed, carried over the change.

    Parameters
    ----------
    hydrants
        The `hydrants` table.
    basis
        Their heights, same index.
    change
        Since each was measured.
    rule
        As `after_change`.

    Returns
    -------
    basis
        A height that was carried is a screening height, and its basis says over what. So is one
        whose flange alone was, where the rule limits the flange.
    findings
        Which readings are older than the grade.
    """
    over_flange = rule.datum == "flange-bottom"
    told_of = basis["flange_height_in" if over_flange else "outlet_height_in"]
    rows = (change.by != "") & told_of.notna().to_numpy()
    if not rows.any():
        return basis, findings("grade-changed-since", table="readings", keys=[])
    moved = after_change(basis, change, rule)
    told = fill(
        "{basis}, {flange}less {c} in of grade since ({by})",
        flange="flange " if over_flange else "", basis=basis["height_basis"].to_numpy(),
        c=change.change_in, by=change.by,
    )  # fmt: skip
    result = basis.copy()
    for name in ("outlet_height_in", "height_sd_in", "flange_height_in"):
        result[name] = moved[name].where(rows, basis[name])
    result["height_basis"] = basis["height_basis"].where(~rows, pd.Series(told, basis.index))
    result["screening"] = basis["screening"] | (rows & (not over_flange or rule.flange.limited))
    noticed = findings(
        "grade-changed-since", table="readings", keys=hydrants["hydrant_id"][rows],
        column=str(told_of.name), values=fill("{v}", v=told_of[rows].to_numpy()),
        messages=fill("{c} in since, by {by}", c=change.change_in[rows], by=change.by[rows]),
    )  # fmt: skip
    return result, noticed
