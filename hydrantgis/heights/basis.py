"""
Which reading stands for a hydrant, and what was noticed of the others.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.ground.findings import CODES, findings, join_findings
from hydrantgis.ground.text import fill, numbers
from hydrantgis.heights.epochs import TOLD_APART
from hydrantgis.heights.outlet import BEFORE_ALL_DAYS, ReadingHeights, reading_heights

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from hydrantgis.heights.changes import SurfaceGrade
    from hydrantgis.heights.gradefit import GradeFit
    from hydrantgis.standards.rules import HeightRule

BASIS_COLUMNS = (
    "outlet_height_in", "height_sd_in", "height_basis", "reading_date", "grade_date", "screening",
    "flange_height_in", "grade_elev_ft", "grade_sd_ft", "vertical_datum", "reading_id", "why_not",
)  # fmt: skip


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
        `grade_elev_ft` is the ground that it stands over, where that is known as an elevation, and
        `grade_sd_ft` its share in the uncertainty.
    findings
        See `hydrantgis.ground.findings`.

    Notes
    -----
    Of several readings the one that answers the rule goes first, then contact before screening,
    then the newest, the least uncertain, the lowest id; so row order changes nothing.
    """
    told = reading_heights(hydrants, readings, rule, grades=grades, terrains=terrains)
    return standing(hydrants, told, rule)


def standing(
    hydrants: pd.DataFrame, told: ReadingHeights, rule: HeightRule
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    As `basis_heights`, from readings that were converted already.

    Parameters
    ----------
    hydrants
        The `hydrants` table.
    told
        Its readings, from `hydrantgis.heights.outlet.reading_heights`.
    rule
        What is asked for, for messages.
    """
    ids = pd.Index(hydrants["hydrant_id"])
    rows, at, over, days = told.rows, told.hydrant, told.height_in, told.days
    identity = rows["reading_id"].rank(method="first").to_numpy()
    order = np.lexsort((identity, told.sd_in, -days, told.screening, np.isnan(over), at))
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
            "grade_elev_ft": np.full(n, np.nan),
            "grade_sd_ft": np.full(n, np.nan),
            "vertical_datum": pd.Series(None, index=range(n), dtype="str"),
            "reading_id": pd.Series(None, index=range(n), dtype="str"),
            "why_not": pd.Series(None, index=range(n), dtype="str"),
        },
    )
    to = at[chosen]
    usable = ~np.isnan(over[chosen])
    result.loc[to, "outlet_height_in"] = over[chosen]
    result.loc[to, "height_sd_in"] = np.where(usable, told.sd_in[chosen], np.nan)
    result.loc[to, "height_basis"] = told.basis[chosen]
    result.loc[to, "reading_date"] = rows["reading_date"].to_numpy()[chosen]
    result.loc[to, "grade_date"] = told.grade_on[chosen].astype("datetime64[ms]")
    result.loc[to, "screening"] = told.screening[chosen]
    result.loc[to, "flange_height_in"] = told.flange_in[chosen]
    result.loc[to, "grade_elev_ft"] = told.ground_ft[chosen]
    result.loc[to, "grade_sd_ft"] = told.ground_sd_ft[chosen]
    result.loc[to, "reading_id"] = rows["reading_id"].to_numpy(dtype=object)[chosen]
    result.loc[to, "vertical_datum"] = rows["vertical_datum"].to_numpy(dtype=object)[chosen]
    result.loc[to, "why_not"] = told.why_not[chosen]
    result.index = hydrants.index
    return result, _notices(told, chosen, ids, rule)


def _notices(
    told: ReadingHeights,
    chosen: NDArray[np.intp],
    ids: pd.Index[str],
    rule: HeightRule,
) -> pd.DataFrame:
    """Readings that cannot answer the rule, and readings of one day that differ."""
    rows, at, over, days = told.rows, told.hydrant, told.height_in, told.days
    found: list[pd.DataFrame] = []
    other = "reading-other-outlet"
    stands = pd.Series(told.why_not[chosen])
    for code in sorted(stands.dropna().unique()):
        which = chosen[(stands == code).to_numpy()]
        found.append(
            findings(
                code,
                table="readings",
                keys=ids[at[which]],
                column="outlet_height_in",
                values=rows["measured_to"].to_numpy(dtype=object)[which],
                messages=fill(
                    "reading {reading}, measured to {to}: {why}",
                    reading=rows["reading_id"].to_numpy(dtype=object)[which],
                    to=rows["measured_to"].to_numpy(dtype=object)[which],
                    why=f"the rule asks for {rule}" if code == other else CODES[code].meaning,
                ).tolist(),
            )
        )
    # readings of the day of the one that stands, where they differ by more than the resolution
    newest = pd.Series(days[chosen], index=at[chosen])
    same = (newest.reindex(at).to_numpy() == days) & ~np.isnan(over)
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
                    "{size} readings of {day} lie between {low} and {high} in",
                    day=np.where(newest[differ.index] > BEFORE_ALL_DAYS, "one day", "no known day"),
                    size=differ["size"].to_numpy(), low=differ["min"].to_numpy(),
                    high=differ["max"].to_numpy(),
                ).tolist(),
            )
        )  # fmt: skip
    found.append(_undated(told, chosen, ids))
    alone = chosen[told.unconfirmed[chosen]]
    found.append(
        findings(
            "height-unconfirmed", table="readings", keys=ids[at[alone]], column="outlet_height_in",
            values=numbers(over[alone]),
        )
    )  # fmt: skip
    return join_findings(*found)


def _undated(told: ReadingHeights, chosen: NDArray[np.intp], ids: pd.Index[str]) -> pd.DataFrame:
    """Readings of no known day that say otherwise than the one that stands."""
    n = len(ids)
    height, sd, dated = np.full(n, np.nan), np.full(n, np.nan), np.zeros(n, dtype=bool)
    to = told.hydrant[chosen]
    height[to], sd[to] = told.height_in[chosen], told.sd_in[chosen]
    dated[to] = told.days[chosen] > BEFORE_ALL_DAYS
    at, over = told.hydrant, told.height_in
    other = (told.days <= BEFORE_ALL_DAYS) & dated[at] & ~told.screening
    other &= np.abs(over - height[at]) > TOLD_APART * np.hypot(told.sd_in, sd[at])
    return findings(
        "reading-undated-differs", table="readings", keys=ids[at[other]],
        column="outlet_height_in", values=numbers(over[other]),
        messages=fill(
            "{o} in of no known day, {h} in stand", o=over[other], h=height[at[other]]
        ).tolist(),
    )  # fmt: skip
