"""
Heights carried over a change of the grade, and heights that hold no more.

Grade that rises by 2 in leaves an outlet of 20 in at 18 in, and the flange 2 in lower. A height
that was carried, or that may be of before a change, is a screening height: nobody has measured it
as it is.

References
----------
.. [1] JCGM 100:2008 (GUM), 5.1.2: variances of independent parts add up (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.findings import findings
from hydrantgis.ground.text import fill

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hydrantgis.heights.changes import Change
    from hydrantgis.standards.rules import HeightRule


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
        Outlet and flange lower by the change, the ground higher; the variances of height and change
        added [1]_.
    """
    basis = basis.assign(
        grade_elev_ft=basis["grade_elev_ft"] + change.change_in / 12.0,
        grade_sd_ft=np.hypot(basis["grade_sd_ft"].to_numpy(np.float64), change.sd_in / 12.0),
    )
    if rule.datum == "flange-bottom":
        return basis.assign(flange_height_in=basis["flange_height_in"] - change.change_in)
    height = basis["outlet_height_in"] - change.change_in
    sd = np.hypot(basis["height_sd_in"].to_numpy(dtype=np.float64), change.sd_in)
    return basis.assign(
        outlet_height_in=height,
        height_sd_in=np.where(height.notna(), sd, np.nan),
        flange_height_in=basis["flange_height_in"] - change.change_in,
    )


def without_ground(basis: pd.DataFrame, rows: NDArray[np.bool_], rule: HeightRule) -> pd.DataFrame:
    """
    Heights as if the ground under them were known for certain.

    Parameters
    ----------
    basis
        From `hydrantgis.heights.basis.basis_heights`.
    rows
        Which heights; their ground has an elevation; shape (n,).
    rule
        Over a flange or a curb the ground counts already for nothing, or not for what it seems.

    Returns
    -------
    basis
        The variance of the ground taken out of that of the height [1]_.
    """
    if rule.datum != "grade":
        return basis
    sd = basis["height_sd_in"].to_numpy(dtype=np.float64)
    ground = basis["grade_sd_ft"].to_numpy(dtype=np.float64) * 12.0
    bare = np.sqrt(np.maximum(sd**2 - ground**2, 0.0))
    return basis.assign(height_sd_in=np.where(rows, bare, sd))


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
        "{basis}, {flange}ground {c} in since ({by})",
        flange="flange over " if over_flange else "", basis=basis["height_basis"].to_numpy(),
        c=[f"{c:+.2f}".rstrip("0").rstrip(".") for c in change.change_in], by=change.by,
    )  # fmt: skip
    result = basis.copy()
    for name in (
        "outlet_height_in", "height_sd_in", "flange_height_in", "grade_elev_ft", "grade_sd_ft",
    ):  # fmt: skip
        result[name] = moved[name].where(rows, basis[name])
    result["height_basis"] = basis["height_basis"].where(~rows, pd.Series(told, basis.index))
    result["screening"] = basis["screening"] | (rows & (not over_flange or rule.flange.limited))
    noticed = findings(
        "grade-changed-since", table="readings", keys=hydrants["hydrant_id"][rows],
        column=str(told_of.name), values=fill("{v}", v=told_of[rows].to_numpy()),
        messages=fill("{c} in since, by {by}", c=change.change_in[rows], by=change.by[rows]),
    )  # fmt: skip
    return result, noticed


def older_than_kit(
    hydrants: pd.DataFrame, basis: pd.DataFrame, fitted_on: NDArray[np.datetime64]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Heights that were measured before the hydrant got another extension.

    Parameters
    ----------
    hydrants, basis
        As `carried_forward`.
    fitted_on
        The last day on which it did, NaT where it never did; shape (n,). [datetime64[D]]

    Returns
    -------
    basis
        Such a height is a screening height, and so is one of unknown day.
    findings
        Which they are.
    """
    read_on = basis["reading_date"].to_numpy().astype("datetime64[D]")
    rows = ~np.isnat(fitted_on) & basis["outlet_height_in"].notna().to_numpy()
    rows &= np.isnat(read_on) | (read_on < fitted_on)
    return basis.assign(screening=basis["screening"] | rows), findings(
        "kit-fitted-since", table="readings", keys=hydrants["hydrant_id"][rows],
        column="reading_date", values=read_on[rows].astype(str),
        messages=fill("on {day}", day=fitted_on[rows].astype(str).astype(object)),
    )  # fmt: skip


def undated_over(
    hydrants: pd.DataFrame, basis: pd.DataFrame, change: Change, rule: HeightRule
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Heights of a day that nobody knows, where the grade has changed on one that is known.

    Parameters
    ----------
    hydrants, basis, rule
        As `carried_forward`.
    change
        At any time, at hydrants whose height has no day.

    Returns
    -------
    basis
        Such a height may be of before or after: it stays, as a screening height.
    findings
        Which they are.
    """
    rows = change.by != ""
    if rule.datum == "flange-bottom" and not rule.flange.limited:
        rows = np.zeros(len(rows), dtype=bool)
    return basis.assign(screening=basis["screening"] | rows), findings(
        "grade-changed-undated", table="readings", keys=hydrants["hydrant_id"][rows],
        column="reading_date",
        messages=fill("{c} in, by {by}", c=change.change_in[rows], by=change.by[rows]),
    )  # fmt: skip
