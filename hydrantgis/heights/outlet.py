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
from hydrantgis.heights.epochs import ONE_SURVEY_DAYS
from hydrantgis.heights.gradefit import CONTACT_GRADE_SD_FT
from hydrantgis.standards.methods import (
    CONFIRM_IN,
    CONFIRMED_WITHIN_IN,
    CONTACT,
    METHODS,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from hydrantgis.heights.changes import SurfaceGrade
    from hydrantgis.heights.gradefit import GradeFit
    from hydrantgis.standards.rules import HeightRule

_OUTLET_OF = {told: told.split("-")[0] for told in MEASURED_TO}
_SD_OF = {name: method.sd_in for name, method in METHODS.items()}
_CONTACT = [name for name, method in METHODS.items() if method.weight == CONTACT]
BEFORE_ALL_DAYS = -(10**9)
_POINT_OF = {told: told.split("-")[1] for told in MEASURED_TO}


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


class _Over(NamedTuple):
    """
    Readings over the ground, a value each.

    Height and its uncertainty, what it rests on and whether that tells the ground only vaguely, the
    day of the ground, its elevation and uncertainty where they are known, and the uncertainty of
    one point of the reading by itself.
    """

    height: NDArray[np.float64]
    sd: NDArray[np.float64]
    basis: NDArray[np.object_]
    vague: NDArray[np.bool_]
    grade_on: NDArray[np.datetime64]
    ground_ft: NDArray[np.float64]
    ground_sd_ft: NDArray[np.float64]
    point_sd: NDArray[np.float64]


def _over_ground(
    readings: pd.DataFrame,
    hydrant: NDArray[np.intp],
    grades: Mapping[str, GradeFit],
    terrains: Sequence[SurfaceGrade],
    rule: HeightRule,
    *,
    own_day: bool,
) -> _Over:
    """Height over where it was measured from, with what it rests on."""
    m = len(readings)
    outlet = readings["outlet_elev_ft"].to_numpy(dtype=np.float64)
    ground = readings["grade_elev_ft"].to_numpy(dtype=np.float64, copy=True)
    method = readings["method"].to_numpy(dtype=object)
    typical = readings["method"].map(_SD_OF).astype("float64").to_numpy()
    own = readings["height_sd_in"].to_numpy(dtype=np.float64)
    # a method's figure is that of two equal points; what is said beside one elevation is its own
    pair = np.isfinite(outlet) & np.isfinite(ground)
    pair |= readings["outlet_height_in"].notna().to_numpy()
    sd = np.where(np.isnan(own), typical, own)
    point_sd = np.where(np.isnan(own) | pair, sd / math.sqrt(2), own)
    height = readings["outlet_height_in"].to_numpy(dtype=np.float64, copy=True)
    basis = np.where(pd.isna(method), "method not told", method)
    word = basis.copy()
    vague = np.zeros(m, dtype=bool)
    days = readings["reading_date"].to_numpy().astype("datetime64[D]")
    grade_on = days.copy()
    paired = np.isnan(height) & pair
    height[paired] = height_over_grade_in(outlet[paired], ground[paired])
    told = np.isnan(height) & np.isfinite(outlet)
    ground[~told & ~paired] = np.nan
    ground_sd = np.where(paired, sd / math.sqrt(2) / 12.0, np.nan)
    datum = readings["vertical_datum"].map(datum_key, na_action="ignore").to_numpy(dtype=object)

    def over(rows: NDArray[np.bool_], elev: NDArray[np.float64], of: NDArray[np.float64]) -> None:
        ground[rows], ground_sd[rows] = elev[rows], of[rows]
        height[rows] = height_over_grade_in(outlet[rows], elev[rows])
        sd[rows] = np.hypot(point_sd[rows], of[rows] * 12.0)
        told[rows] = False

    for name, grade in grades.items():  # a datum or two
        survey = grade.on_day(hydrant, days) if own_day else grade.stands[hydrant]
        elev, of = (grade.told(values, survey) for values in grade.governing(rule.ground))
        rows = told & np.isfinite(elev) & (datum == name)
        over(rows, elev, of)
        at = survey[rows]
        vague[rows] = grade.doubted()[at] | (of[rows] > CONTACT_GRADE_SD_FT)
        grade_on[rows] = np.where(np.isnat(grade.on[at]), grade_on[rows], grade.on[at])
        fit = grade.fit[at] if rule.ground == "barrel" else rule.ground
        # of the ground's own day, where that is not the day of the outlet
        apart = np.abs(grade.on[at] - days[rows]) > np.timedelta64(ONE_SURVEY_DAYS, "D")
        on = np.where(apart, " of " + grade.on[at].astype(str).astype(object), "")
        basis[rows] = fill(
            "{word} outlet over {fit} of {shots} shots{on}",
            word=word[rows], fit=fit, shots=grade.shots[at], on=on,
        )  # fmt: skip
    for terrain in terrains:  # a terrain or two
        elev, of = terrain.elev_ft[hydrant], terrain.sd_ft[hydrant]
        rows = told & np.isfinite(elev) & (datum == datum_key(terrain.vertical_datum))
        over(rows, elev, of)
        vague[rows] = True
        basis[rows] = fill("{word} outlet over terrain {t}", word=word[rows], t=terrain.name)
        if not np.isnat(terrain.on):
            grade_on[rows] = terrain.on
    return _Over(height, sd, basis, vague, grade_on, ground, ground_sd, point_sd)


class _Asked(NamedTuple):
    """Readings as the rule asks for them: height, uncertainty, flange over grade, why not."""

    height: NDArray[np.float64]
    sd: NDArray[np.float64]
    flange: NDArray[np.float64]
    why: NDArray[np.object_]


def _as_asked(
    told: _Over, readings: pd.DataFrame, size_in: NDArray[np.float64], rule: HeightRule
) -> _Asked:
    """The height as the rule asks for it, or a finding code that says why it cannot be had."""

    def column(name: str) -> NDArray[np.float64]:
        return readings[name].to_numpy(dtype=np.float64)

    outlet = readings["measured_to"].map(_OUTLET_OF).to_numpy(dtype=object)
    point = readings["measured_to"].map(_POINT_OF).to_numpy(dtype=object)
    start = readings["measured_from"].to_numpy(dtype=object)
    from_flange, from_curb = start == "flange", start == "curb"
    elev = column("outlet_elev_ft")
    flange, curb = (
        np.where(np.isnan(column(height)), (column(of) - told.ground_ft) * 12.0, column(height))
        for height, of in (
            ("flange_height_in", "flange_elev_ft"), ("curb_above_grade_in", "curb_elev_ft"),
        )
    )  # fmt: skip
    why = np.full(len(readings), None, dtype=object)

    def cannot(where: NDArray[np.bool_], code: str) -> None:
        why[where & pd.isna(why)] = code

    over, sd = told.height.copy(), told.sd.copy()
    # between two points of one reading the ground does not count, nor what is not known of it
    two_points = math.sqrt(2.0) * told.point_sd
    if rule.datum == "flange-bottom":
        direct = np.isfinite(elev) & np.isfinite(column("flange_elev_ft"))
        direct &= np.isnan(column("outlet_height_in")) | np.isnan(column("flange_height_in"))
        direct &= ~from_flange
        over[direct] = height_over_grade_in(elev, column("flange_elev_ft"))[direct]
        sd[direct] = two_points[direct]
    else:
        direct = np.zeros(len(readings), dtype=bool)
    cannot(np.isnan(over), "no-height")
    cannot((rule.outlet != "any") & (outlet != rule.outlet), "reading-other-outlet")
    cannot(~np.isin(point, ["centerline", "bottom"]), "reading-other-outlet")
    # half an outlet between its centerline and its bottom
    down, up = (point == "centerline"), (point == "bottom")
    moved = down if rule.point == "bottom" else up
    over = np.where(moved, over + (-0.5 if rule.point == "bottom" else 0.5) * size_in, over)
    cannot(moved & np.isnan(size_in), "outlet-size-unknown")

    def shift(rows: NDArray[np.bool_], by: NDArray[np.float64], code: str) -> None:
        """Measured from one point, asked for from another: what lies between was measured too."""
        over[rows] += by[rows]
        sd[rows] = np.hypot(sd[rows], math.sqrt(2.0) * told.point_sd[rows])
        cannot(rows & np.isnan(by), code)

    # first to grade, whatever it was measured from
    shift(from_curb & ~direct, curb, "curb-unknown")
    if rule.datum == "flange-bottom":
        shift(~from_flange & ~direct, -flange, "flange-height-unknown")
    else:
        shift(from_flange, flange, "flange-height-unknown")
    if rule.datum == "higher-of-curb-and-grade":
        datum = curb_datum_in(curb, column("curb_distance_in"), within_in=rule.curb_within_in or 0)
        over = over - datum
        cannot(np.isnan(datum), "curb-unknown")
        # over a curb the ground does not count either; the curb was measured by itself
        leveled = np.isfinite(elev) & np.isfinite(column("curb_elev_ft"))
        leveled &= np.isnan(column("outlet_height_in")) & np.isnan(column("curb_above_grade_in"))
        apart = np.where(leveled, two_points, np.hypot(sd, two_points))
        sd = np.where(datum > 0, np.where(from_curb, told.sd, apart), sd)
    return _Asked(np.where(pd.isna(why), over, np.nan), sd, flange, why)


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
    flange_in
        The flange over grade; missing where that is not known; shape (m,). [in]
    ground_ft, ground_sd_ft
        Elevation of the ground that it stands over and its share in the uncertainty, missing where
        it rests on none; shape (m,). [ft]
    screening
        Whether it may rank visits alone; shape (m,).
    unconfirmed
        Whether it does so since few hydrants stand so and no other reading says it; shape (m,).
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
    flange_in: NDArray[np.float64]
    ground_ft: NDArray[np.float64]
    ground_sd_ft: NDArray[np.float64]
    screening: NDArray[np.bool_]
    unconfirmed: NDArray[np.bool_]
    grade_on: NDArray[np.datetime64]
    why_not: NDArray[np.object_]

    @property
    def days(self) -> NDArray[np.int64]:
        """When each was taken, as days since 1970; far in the past where that is not known."""
        dates = self.rows["reading_date"].to_numpy().astype("datetime64[D]")
        return np.where(np.isnat(dates), BEFORE_ALL_DAYS, dates.astype(np.int64))


def _unconfirmed(
    height: NDArray[np.float64], hydrant: NDArray[np.intp], screening: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Heights that few hydrants have and that no second reading of the same hydrant confirms."""
    rare = ((height < CONFIRM_IN[0]) | (height > CONFIRM_IN[1])) & ~screening
    if not rare.any():
        return rare
    asked = np.flatnonzero(~np.isnan(height) & ~screening)
    asked = asked[np.lexsort((height[asked], hydrant[asked]))]
    # the nearest other reading stands beside it in the order of heights
    near = (np.diff(height[asked]) <= CONFIRMED_WITHIN_IN) & (np.diff(hydrant[asked]) == 0)
    confirmed = np.zeros(len(height), dtype=bool)
    confirmed[asked[1:][near]] = True
    confirmed[asked[:-1][near]] = True
    return rare & ~confirmed


def reading_heights(
    hydrants: pd.DataFrame,
    readings: pd.DataFrame,
    rule: HeightRule,
    *,
    grades: Mapping[str, GradeFit] | None = None,
    terrains: Sequence[SurfaceGrade] = (),
    own_day: bool = False,
) -> ReadingHeights:
    """
    Every reading as the rule asks for it.

    Parameters
    ----------
    hydrants, readings, rule, grades, terrains
        As `hydrantgis.heights.basis.basis_heights`.
    own_day
        An outlet's elevation stands over the ground as it was surveyed with it, or over none; else
        over the ground as it is.

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
    over = _over_ground(rows, at, fits, terrains, rule, own_day=own_day)
    height = over.height
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
    asked = _as_asked(over, rows, size, rule)
    why = asked.why
    waiting = np.isnan(asked.height) & np.isnan(height) & rows["outlet_elev_ft"].notna().to_numpy()
    there = np.zeros(len(hydrants), dtype=bool)
    for ground in (*(fit.stands >= 0 for fit in fits.values()),
                   *(np.isfinite(terrain.elev_ft) for terrain in terrains)):  # fmt: skip
        there |= ground
    why[waiting] = np.where(there[at[waiting]], "datums-differ", "no-grade")
    why[impossible] = "height-implausible"
    # a method not told orders no kit
    screen = over.vague | ~rows["method"].isin(_CONTACT).to_numpy(dtype=bool)
    alone = _unconfirmed(asked.height, at, screen)
    sd = np.where(np.isnan(asked.sd), METHODS["eye"].sd_in, asked.sd)
    return ReadingHeights(
        rows, at, asked.height, sd, over.basis, asked.flange, over.ground_ft, over.ground_sd_ft,
        screen | alone, alone, over.grade_on, why,
    )  # fmt: skip
