"""
How the hydrants of each area stand and what they need, in figures.
"""

from __future__ import annotations

import geopandas as gpd
import pandas as pd

from hydrantgis.ground.results import (
    AREA_FIGURES,
    AREA_TOTALS,
    KIT_REMEDIES,
    OTHER_LISTS,
    VERDICTS,
)


def counted(checked: pd.DataFrame, by: pd.Series) -> pd.DataFrame:
    """
    How many hydrants of each group there are, are measured, have each verdict and need what.

    Parameters
    ----------
    checked
        The `checked` table.
    by
        The group of each; same index.

    Returns
    -------
    counts
        A row a group, in its order; hydrants in none stand last, if any.
    """
    counts = pd.DataFrame(
        {
            "hydrants": 1,
            "not_judged": checked["verdict"].isna(),
            "measured": checked["verdict"].notna() & (checked["verdict"] != "unmeasured"),
            **{verdict: checked["verdict"] == verdict for verdict in VERDICTS},
            "jobs": checked["remedy"].isin(KIT_REMEDIES),
            "kits": checked["kit_id"].notna(),
            **{f"to_{remedy}": checked["remedy"] == remedy for remedy in OTHER_LISTS},
        },
        index=checked.index,
    )
    return counts.astype("int64").groupby(by, dropna=False, sort=True).sum().reset_index()


def inside_share(counts: pd.DataFrame) -> pd.Series:
    """
    The share inside of the measured ones, missing where none is.

    Parameters
    ----------
    counts
        With `inside` and `measured`.

    Examples
    --------
    >>> inside_share(pd.DataFrame({"inside": [3, 0], "measured": [4, 0]})).tolist()
    [0.75, nan]
    """
    measured = counts["measured"].astype("float64")
    return counts["inside"].astype("float64") / measured.where(measured > 0)


def area_totals(checked: pd.DataFrame, titles: pd.Series) -> pd.DataFrame:
    """
    The `area_totals` table.

    Parameters
    ----------
    checked
        The `checked` table.
    titles
        Titles of all areas, by area.

    Returns
    -------
    totals
        One row an area, also those without a hydrant; hydrants in no area stand last, if any.
    """
    sums = counted(checked, checked["area_id"])
    # an area without a hydrant is an answer too
    empty = titles.index.difference(pd.Index(sums["area_id"].dropna()))
    more = pd.DataFrame({"area_id": empty}).reindex(columns=sums.columns)
    more[sums.columns.drop("area_id")] = 0
    frame = pd.concat([sums, more]) if len(more) else sums
    frame = frame.sort_values("area_id", kind="stable", na_position="last").reset_index(drop=True)
    return AREA_TOTALS.conform(frame.assign(area_title=frame["area_id"].map(titles)))


def area_figures(checked: pd.DataFrame, areas: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """
    The `area_figures` layer: the totals of each area on its polygon.

    Parameters
    ----------
    checked, areas
        The tables of those names.

    Returns
    -------
    figures
        In order of area; `inside_share` is that of the measured ones, missing where none is.
    """
    titles = areas.set_index("area_id")["area_title"]
    totals = area_totals(checked, titles)
    totals = totals[totals["area_id"].notna()].reset_index(drop=True)
    shapes = areas.set_index("area_id").geometry.reindex(pd.Index(totals["area_id"]))
    frame = gpd.GeoDataFrame(
        totals.assign(inside_share=inside_share(totals)),
        geometry=gpd.GeoSeries(shapes).set_axis(totals.index), crs=areas.crs,
    )  # fmt: skip
    return gpd.GeoDataFrame(AREA_FIGURES.conform(frame))
