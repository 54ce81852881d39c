"""
Rows without an id that stand where a hydrant of the register does: known again by their place.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd

from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.ground.tables import HYDRANTS
from hydrantgis.ground.text import fill
from hydrantgis.register.changes import mutual_nearest

if TYPE_CHECKING:
    from hydrantgis.intake.take import Intake

NAMELESS = ("id-missing", "id-placeholder")
"""Why a row was held that its place can name."""


def named_by_place(intake: Intake, state: gpd.GeoDataFrame) -> Intake:
    """
    The intake with the ids of the register for rows that have none and one place in common.

    A row is named where exactly one hydrant lies within reach of it, nobody else claims that
    hydrant by place, and its id stands nowhere else in the layer.

    Parameters
    ----------
    intake
        Of hydrants.
    state
        The `hydrants` table as it stands.

    Returns
    -------
    intake
        Rows = accepted + held + rejected still holds.
    """
    aside = intake.exceptions
    nameless = aside["code"].isin(NAMELESS) & (aside["outcome"] == "held")
    rows = gpd.GeoDataFrame(intake.held.loc[intake.held.index.isin(aside["source_row"][nameless])])
    present = {*intake.accepted["hydrant_id"], *aside["key"][~nameless].dropna()}
    free = gpd.GeoDataFrame(state[~state["hydrant_id"].isin(present)])
    if not len(rows) or not len(free) or intake.crs is None or free.crs is None:
        return intake
    # rows that have an id count too: what stands beside one of them may be that hydrant
    whole = gpd.GeoSeries(pd.concat([rows.geometry, intake.accepted.geometry]), crs=rows.crs)
    pairs = mutual_nearest(gpd.GeoDataFrame(geometry=whole.to_crs(free.crs)), free)
    pairs = pairs[pairs[:, 0] < len(rows)]
    if not len(pairs):
        return intake
    named = gpd.GeoDataFrame(rows.iloc[pairs[:, 0]].copy())
    ids = free["hydrant_id"].to_numpy(dtype=object)[pairs[:, 1]]
    named["hydrant_id"] = pd.Series(ids, index=named.index, dtype="str")
    left = aside[~aside["source_row"].isin(named.index)]
    accepted = HYDRANTS.conform(
        gpd.GeoDataFrame(pd.concat([intake.accepted, named]).sort_index(), crs=intake.crs)
    )
    many = len(named)
    count = replace(
        intake.count, accepted=intake.count.accepted + many, held=intake.count.held - many
    )
    row = intake.findings["key"].str.extract(r"row (\d+)\)?$", expand=False)
    settled = row.isin(named.index.astype("str")) & intake.findings["code"].isin(NAMELESS)
    told = findings(
        "id-by-place", table="hydrants", keys=named["hydrant_id"],
        messages=fill("row {n} has no id and stands where this one does", n=named.index.to_numpy()),
    )  # fmt: skip
    return replace(
        intake,
        accepted=accepted,
        held=intake.held.drop(index=named.index),
        exceptions=left,
        findings=join_findings(intake.findings[~settled], told),
        count=count,
        record={**intake.record, "accepted": count.accepted, "held": count.held},
    )
