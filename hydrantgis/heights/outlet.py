"""
Outlet height over the rule's datum, from readings of every kind.

A reading tells a height directly or as a pair of elevations, of some point of some outlet, from
grade, from the curb or from the flange. The rule asks for one point of one outlet from its datum.
What can be converted is converted; what cannot is told, and the height stays missing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from hydrantgis.ground.tables import MEASURED_TO, READINGS
from hydrantgis.ground.text import datum_key, fill
from hydrantgis.standards.methods import CONTACT, METHODS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from hydrantgis.heights.changes import SurfaceGrade
    from hydrantgis.heights.grade import GradeFit
    from hydrantgis.standards.rules import HeightRule

_OUTLET_OF = {told: told.split("-")[0] for told in MEASURED_TO}
_SD_OF = {name: method.sd_in for name, method in METHODS.items()}
_CONTACT = [name for name, method in METHODS.items() if method.weight == CONTACT]
BEFORE_ALL_DAYS = -(10**9)
_POINT_OF = {told: told.split("-")[1] for told in MEASURED_TO}

CONTACT_GRADE_SD_FT = 0.1
"""A height over shots that tell the grade no better than this is a screening height. [ft]"""


def height_over_grade_in(
    outlet_elev_ft: NDArray[np.float64], grade_elev_ft: NDArray[np.float64]
) -> NDArray[np.float64]:
    """
    Height between two elevations of one datum, same shape. [in]

    Examples
    --------
    >>> height_over_grade_in(np.array([101.5]), np.array([100.0]))
    array([18.])
    """
    return (outlet_elev_ft - grade_elev_ft) * 12.0


def curb_datum_in(
    curb_above_grade_in: NDArray[np.float64],
    curb_distance_in: NDArray[np.float64],
    *,
    within_in: float,
) -> NDArray[np.float64]:
    """
    The higher of curb and grade, over grade, where the curb is near enough to count.

    Parameters
    ----------
    curb_above_grade_in, curb_distance_in
        Same shape. [in]
    within_in
        A curb exactly this far counts. [in]

    Returns
    -------
    datum
        Over grade; 0 where the curb is lower or farther; missing where it is not known. [in]

    Examples
    --------
    >>> curb_datum_in(np.array([6.0, 6.0]), np.array([30.0, 40.0]), within_in=36.0)
    array([6., 0.])
    """
    near = curb_distance_in <= within_in
    datum = np.where(near, np.maximum(curb_above_grade_in, 0.0), 0.0)
    return np.where(np.isnan(curb_distance_in), np.nan, datum)


class _Heights(NamedTuple):
    """
    Height, its uncertainty and its basis, a value a reading.

    Then whether it rests on a grade that is known only vaguely, and the day of that grade.
    """

    height: NDArray[np.float64]
    sd: NDArray[np.float64]
    basis: NDArray[np.object_]
    vague: NDArray[np.bool_]
    grade_on: NDArray[np.datetime64]


def _height_and_sd(
    readings: pd.DataFrame,
    hydrant: NDArray[np.intp],
    grades: Mapping[str, GradeFit],
    terrains: Sequence[SurfaceGrade],
    ground_of: str,
) -> _Heights:
    """Height from where it was measured, with what it rests on, a value a reading."""
    direct = readings["outlet_height_in"].to_numpy(dtype=np.float64)
    outlet = readings["outlet_elev_ft"].to_numpy(dtype=np.float64)
    ground = readings["grade_elev_ft"].to_numpy(dtype=np.float64)
    method = readings["method"].to_numpy(dtype=object)
    typical = readings["method"].map(_SD_OF).astype("float64")
    own = readings["height_sd_in"].to_numpy(dtype=np.float64)
    sd = np.where(np.isnan(own), typical.to_numpy(), own)
    word = np.where(pd.isna(method), "method not told", method)
    height, basis = direct.copy(), word.copy()
    paired = np.isnan(height) & np.isfinite(outlet) & np.isfinite(ground)
    vague = np.zeros(len(readings), dtype=bool)
    grade_on = readings["reading_date"].to_numpy().astype("datetime64[D]")
    height[paired] = height_over_grade_in(outlet[paired], ground[paired])
    datum = readings["vertical_datum"].map(datum_key, na_action="ignore").to_numpy(dtype=object)
    for name, grade in grades.items():  # a datum or two
        governs, governs_sd = grade.governing(ground_of)
        fitted, fitted_sd = governs[hydrant], governs_sd[hydrant]
        shot = np.isnan(height) & np.isfinite(outlet) & np.isfinite(fitted) & (datum == name)
        height[shot] = height_over_grade_in(outlet[shot], fitted[shot])
        # a method's figure is that of two equal parts; the ground's part is now the fit's
        part = np.where(np.isnan(own[shot]), sd[shot] / math.sqrt(2), sd[shot])
        sd[shot] = np.hypot(part, fitted_sd[shot] * 12.0)
        vague[shot] = fitted_sd[shot] > CONTACT_GRADE_SD_FT
        on = grade.on[hydrant][shot]
        grade_on[shot] = np.where(np.isnat(on), grade_on[shot], on)
        fit = grade.fit[hydrant][shot] if ground_of == "barrel" else ground_of
        basis[shot] = fill(
            "{word} outlet over {fit} of {shots} shots",
            word=word[shot], fit=fit, shots=grade.shots[hydrant][shot],
        )  # fmt: skip
    for terrain in terrains:  # a terrain or two
        under, under_sd = terrain.elev_ft[hydrant], terrain.sd_ft[hydrant]
        over = np.isnan(height) & np.isfinite(outlet) & np.isfinite(under)
        over &= datum == datum_key(terrain.vertical_datum)
        height[over] = height_over_grade_in(outlet[over], under[over])
        part = np.where(np.isnan(own[over]), sd[over] / math.sqrt(2), sd[over])
        sd[over] = np.hypot(part, under_sd[over] * 12.0)
        vague[over] = True
        basis[over] = fill("{word} outlet over terrain {t}", word=word[over], t=terrain.name)
        if not np.isnat(terrain.on):
            grade_on[over] = terrain.on
    return _Heights(height, sd, basis, vague, grade_on)


def _to_rule(
    height: NDArray[np.float64],
    readings: pd.DataFrame,
    size_in: NDArray[np.float64],
    rule: HeightRule,
) -> tuple[NDArray[np.float64], NDArray[np.object_]]:
    """The height as the rule asks for it, or why it cannot be had: a finding code a reading."""
    outlet = readings["measured_to"].map(_OUTLET_OF).to_numpy(dtype=object)
    point = readings["measured_to"].map(_POINT_OF).to_numpy(dtype=object)
    start = readings["measured_from"].to_numpy(dtype=object)
    flange = readings["flange_height_in"].to_numpy(dtype=np.float64)
    curb = readings["curb_above_grade_in"].to_numpy(dtype=np.float64)
    curb_distance = readings["curb_distance_in"].to_numpy(dtype=np.float64)

    why = np.full(len(height), None, dtype=object)

    def cannot(where: NDArray[np.bool_], code: str) -> None:
        why[where & pd.isna(why)] = code

    cannot(np.isnan(height), "no-height")
    cannot((rule.outlet != "any") & (outlet != rule.outlet), "reading-other-outlet")
    cannot(~np.isin(point, ["centerline", "bottom"]), "reading-other-outlet")
    over = height.copy()
    # half an outlet between its centerline and its bottom
    down, up = (point == "centerline"), (point == "bottom")
    moved = down if rule.point == "bottom" else up
    over = np.where(moved, over + (-0.5 if rule.point == "bottom" else 0.5) * size_in, over)
    cannot(moved & np.isnan(size_in), "outlet-size-unknown")
    # first to grade, whatever it was measured from
    from_flange, from_curb = start == "flange", start == "curb"
    if rule.datum == "flange-bottom":
        need = ~from_flange
        over = np.where(from_curb, over + curb, over)
        over = np.where(need, over - flange, over)
        cannot(from_curb & np.isnan(curb), "curb-unknown")
        cannot(need & np.isnan(flange), "flange-height-unknown")
    else:
        over = np.where(from_flange, over + flange, np.where(from_curb, over + curb, over))
        cannot(from_flange & np.isnan(flange), "flange-height-unknown")
        cannot(from_curb & np.isnan(curb), "curb-unknown")
    if rule.datum == "higher-of-curb-and-grade":
        datum = curb_datum_in(curb, curb_distance, within_in=rule.curb_within_in or 0.0)
        over = over - datum
        cannot(np.isnan(datum), "curb-unknown")
    return np.where(pd.isna(why), over, np.nan), why


@dataclass(frozen=True, slots=True)
class ReadingHeights:
    """
    Readings as the rule asks for them, m of them.

    Attributes
    ----------
    rows
        The `readings` table, of hydrants that are there.
    hydrant
        Position of the hydrant of each; shape (m,).
    height_in
        Of the rule's point over its datum; missing where it cannot be told; shape (m,). [in]
    sd_in
        Standard uncertainty; shape (m,). [in]
    basis
        What the height rests on; shape (m,).
    screening
        Whether it may rank visits alone; shape (m,).
    grade_on
        The day of the grade that it stands over; shape (m,). [datetime64[D]]
    why_not
        A finding code where the height is missing; shape (m,).
    """

    rows: pd.DataFrame
    hydrant: NDArray[np.intp]
    height_in: NDArray[np.float64]
    sd_in: NDArray[np.float64]
    basis: NDArray[np.object_]
    screening: NDArray[np.bool_]
    grade_on: NDArray[np.datetime64]
    why_not: NDArray[np.object_]

    @property
    def days(self) -> NDArray[np.int64]:
        """When each was taken, as days since 1970; far in the past where that is not known."""
        dates = self.rows["reading_date"].to_numpy().astype("datetime64[D]")
        return np.where(np.isnat(dates), BEFORE_ALL_DAYS, dates.astype(np.int64))


def reading_heights(
    hydrants: pd.DataFrame,
    readings: pd.DataFrame,
    rule: HeightRule,
    *,
    grades: Mapping[str, GradeFit] | None = None,
    terrains: Sequence[SurfaceGrade] = (),
) -> ReadingHeights:
    """
    Every reading as the rule asks for it.

    Parameters
    ----------
    hydrants, readings, rule, grades, terrains
        As `hydrantgis.heights.basis.basis_heights`.

    Returns
    -------
    heights
        In the order of the readings, those of hydrants that are not there left out.
    """
    ids = pd.Index(hydrants["hydrant_id"])
    position = ids.get_indexer(pd.Index(readings["hydrant_id"]))
    rows = readings[position >= 0]
    at = position[position >= 0]
    fits = grades or {}
    height, sd, basis, vague, grade_on = _height_and_sd(rows, at, fits, terrains, rule.ground)
    limits = READINGS["outlet_height_in"]
    impossible = (height < (limits.least or 0.0)) | (height > (limits.most or 0.0))
    height[impossible] = np.nan
    sizes = {
        "hose": hydrants["hose_outlet_in"].to_numpy(dtype=np.float64),
        "pumper": hydrants["pumper_outlet_in"].to_numpy(dtype=np.float64),
    }
    told = rows["measured_to"].map(_OUTLET_OF).to_numpy(dtype=object)
    size = np.full(len(rows), np.nan)
    for outlet, values in sizes.items():
        size = np.where(told == outlet, values[at], size)
    over, why = _to_rule(height, rows, size, rule)
    waiting = np.isnan(height) & rows["outlet_elev_ft"].notna().to_numpy()
    datum = rows["vertical_datum"].map(datum_key, na_action="ignore")
    grounds = {*fits, *(datum_key(terrain.vertical_datum) for terrain in terrains)}
    apart = (not grounds) | datum.isin(grounds).to_numpy(dtype=bool)
    why[waiting] = np.where(apart[waiting], "no-grade", "datums-differ")
    why[impossible] = "height-implausible"
    # a method not told orders no kit
    screen = vague | ~rows["method"].isin(_CONTACT).to_numpy(dtype=bool)
    sd = np.where(np.isnan(sd), METHODS["eye"].sd_in, sd)
    return ReadingHeights(rows, at, over, sd, basis, screen, grade_on, why)
