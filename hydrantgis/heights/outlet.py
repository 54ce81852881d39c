"""
Outlet height over the rule's datum, from readings of every kind, and which reading stands.

A reading tells a height directly or as a pair of elevations, of some point of some outlet, from
grade, from the curb or from the flange. The rule asks for one point of one outlet from its datum.
What can be converted is converted; what cannot is told, and the height stays missing.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from hydrantgis.ground.findings import CODES, findings, join_findings
from hydrantgis.ground.tables import MEASURED_TO, READINGS
from hydrantgis.ground.text import fill, numbers
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
_BEFORE_ALL_DAYS = -(10**9)
_POINT_OF = {told: told.split("-")[1] for told in MEASURED_TO}

CONTACT_GRADE_SD_FT = 0.1
"""A height over shots that tell the grade no better than this is a screening height. [ft]"""

BASIS_COLUMNS = (
    "outlet_height_in", "height_sd_in", "height_basis", "reading_date", "grade_date", "screening",
    "flange_height_in", "why_not",
)  # fmt: skip


def datum_key(name: str) -> str:
    """
    A vertical datum's name without blanks, marks and case.

    Examples
    --------
    >>> datum_key("NAVD 88") == datum_key("navd88")
    True
    """
    return "".join(letter for letter in name.casefold() if letter.isalnum())


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


def basis_heights(
    hydrants: pd.DataFrame,
    readings: pd.DataFrame,
    rule: HeightRule,
    *,
    grades: Mapping[str, GradeFit] | None = None,
    terrains: Sequence[SurfaceGrade] = (),
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    The height that stands for each hydrant, and what was noticed on the way.

    Parameters
    ----------
    hydrants
        The `hydrants` table; `hydrant_id` is unique.
    readings
        The `readings` table; readings of hydrants that are not there are passed over.
    rule
        What is asked for.
    grades
        Grade at the hydrants, in their order, for readings with an outlet elevation alone; by
        `datum_key` of the vertical datum, since elevations of two datums say nothing together.
    terrains
        What terrain models tell at the hydrants, for those that no shots tell; the first that
        reaches serves. A height over one is a screening height.

    Returns
    -------
    basis
        Index and order of `hydrants`, columns `BASIS_COLUMNS`. A height is missing where there is
        no reading (`why_not` missing) or none that answers the rule (`why_not` a finding code).
    findings
        See `hydrantgis.ground.findings`.

    Notes
    -----
    Of several readings the one that answers the rule goes first, then contact before screening,
    then the newest, the least uncertain, the lowest id; so row order changes nothing.
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
    dates = rows["reading_date"].to_numpy().astype("datetime64[D]")
    days = np.where(np.isnat(dates), _BEFORE_ALL_DAYS, dates.astype(np.int64))
    identity = rows["reading_id"].rank(method="first").to_numpy()
    order = np.lexsort((identity, sd, -days, screen, np.isnan(over), at))
    first = np.ones(len(order), dtype=bool)
    first[1:] = at[order][1:] != at[order][:-1]
    chosen = order[first]

    n = len(hydrants)
    result = pd.DataFrame(
        {
            "outlet_height_in": np.full(n, np.nan),
            "height_sd_in": np.full(n, np.nan),
            "height_basis": pd.Series(None, index=range(n), dtype="str"),
            "reading_date": np.full(n, np.datetime64("NaT"), dtype="datetime64[ms]"),
            "grade_date": np.full(n, np.datetime64("NaT"), dtype="datetime64[ms]"),
            "screening": np.zeros(n, dtype=bool),
            "flange_height_in": np.full(n, np.nan),
            "why_not": pd.Series(None, index=range(n), dtype="str"),
        },
    )
    to = at[chosen]
    usable = ~np.isnan(over[chosen])
    result.loc[to, "outlet_height_in"] = over[chosen]
    result.loc[to, "height_sd_in"] = np.where(usable, sd[chosen], np.nan)
    result.loc[to, "height_basis"] = basis[chosen]
    result.loc[to, "reading_date"] = rows["reading_date"].to_numpy()[chosen]
    result.loc[to, "grade_date"] = grade_on[chosen].astype("datetime64[ms]")
    result.loc[to, "screening"] = screen[chosen]
    result.loc[to, "flange_height_in"] = rows["flange_height_in"].to_numpy(dtype=np.float64)[chosen]
    result.loc[to, "why_not"] = why[chosen]
    result.index = hydrants.index
    return result, _notices(rows, at, over, why, chosen, days, ids, rule)


def _notices(
    rows: pd.DataFrame,
    at: NDArray[np.intp],
    over: NDArray[np.float64],
    why: NDArray[np.object_],
    chosen: NDArray[np.intp],
    days: NDArray[np.int64],
    ids: pd.Index[str],
    rule: HeightRule,
) -> pd.DataFrame:
    """Readings that cannot answer the rule, and readings of one day that differ."""
    found: list[pd.DataFrame] = []
    other = "reading-other-outlet"
    stands = pd.Series(why[chosen])
    for code in sorted(stands.dropna().unique()):
        told = chosen[(stands == code).to_numpy()]
        found.append(
            findings(
                code,
                table="readings",
                keys=ids[at[told]],
                column="outlet_height_in",
                values=rows["measured_to"].to_numpy(dtype=object)[told],
                messages=fill(
                    "reading {reading}, measured to {to}: {why}",
                    reading=rows["reading_id"].to_numpy(dtype=object)[told],
                    to=rows["measured_to"].to_numpy(dtype=object)[told],
                    why=f"the rule asks for {rule}" if code == other else CODES[code].meaning,
                ).tolist(),
            )
        )
    # readings of the day of the one that stands, where they differ by more than the resolution
    newest = pd.Series(days[chosen], index=at[chosen])
    same = (newest.reindex(at).to_numpy() == days) & ~np.isnan(over) & (days > _BEFORE_ALL_DAYS)
    spread = pd.Series(over[same]).groupby(at[same]).agg(["min", "max", "size"])
    differ = spread[(spread["max"] - spread["min"]) > rule.resolution_in]
    if len(differ):
        found.append(
            findings(
                "readings-same-day",
                table="readings",
                keys=ids[differ.index],
                column="outlet_height_in",
                values=numbers(differ["max"] - differ["min"]),
                messages=fill(
                    "{size} readings of one day lie between {low} and {high} in",
                    size=differ["size"].to_numpy(), low=differ["min"].to_numpy(),
                    high=differ["max"].to_numpy(),
                ).tolist(),
            )
        )  # fmt: skip
    return join_findings(*found)
