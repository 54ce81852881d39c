"""
The figures that a report tells of the hydrants as they stand: areas, families, remedies, heights.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from hydrantgis.assess.shares import count_of_chances, wilson
from hydrantgis.ground.reports import (
    AREA_SHARES,
    FAMILY_FIGURES,
    HEIGHT_BINS,
    MEASURED_VERDICTS,
    REMEDY_FIGURES,
    WORST,
)
from hydrantgis.ground.results import REMEDIES
from hydrantgis.season.totals import area_totals, counted, inside_share

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

MOST_BINS = 30
"""A picture of heights has at most about so many bars between its open ends."""
_BIN_WIDTHS_IN = (0.5, 1.0, 2.0, 3.0, 6.0, 12.0)
_ENDS = (0.02, 0.98)
"""Heights beyond these shares of all fall into the open bars at the ends."""


def with_share(counts: pd.DataFrame) -> pd.DataFrame:
    """
    Counts with the share inside of the measured ones, and Wilson's interval for it.

    Parameters
    ----------
    counts
        With `inside` and `measured`.
    """
    low, high = wilson(counts["inside"].astype("float64"), counts["measured"].astype("float64"))
    return counts.assign(inside_share=inside_share(counts), share_low=low, share_high=high)


def area_shares(checked: pd.DataFrame, titles: pd.Series, stale: NDArray[np.bool_]) -> pd.DataFrame:
    """
    The `area_shares` table.

    Parameters
    ----------
    checked
        The `checked` table.
    titles
        Titles of all areas, by area.
    stale
        Whether the reading of each hydrant is stale, shape (n,).

    Returns
    -------
    shares
        In the order of `area_totals`. An area stands below or above the whole where its interval
        leaves out the share of all; of many areas one in twenty does so by chance alone.
    """
    totals = with_share(area_totals(checked, titles))
    measured = checked["verdict"].isin(MEASURED_VERDICTS)
    whole = checked["verdict"].eq("inside").sum() / max(int(measured.sum()), 1)
    p = checked["p_inside"].where(measured)
    by_area = pd.DataFrame(
        {"stale": measured & stale, "expected_inside": p, "expected_sd": p * (1.0 - p)}
    ).groupby(checked["area_id"], dropna=False)
    sums = by_area.sum().reindex(pd.Index(totals["area_id"])).fillna(0.0).reset_index(drop=True)
    beside = np.select(
        [totals["measured"] == 0, totals["share_high"] < whole, totals["share_low"] > whole],
        ["none measured", "below the whole", "above the whole"],
        "like the whole",
    )
    return AREA_SHARES.conform(
        totals.assign(
            stale=sums["stale"].astype("int64"), expected_inside=sums["expected_inside"],
            expected_sd=np.sqrt(sums["expected_sd"]), beside=beside,
        )
    )  # fmt: skip


def family_figures(checked: pd.DataFrame, family: pd.Series) -> pd.DataFrame:
    """
    The `family_figures` table, the family with the most hydrants first.

    Parameters
    ----------
    checked
        The `checked` table.
    family
        Of each hydrant; same index.
    """
    sums = with_share(counted(checked, family.rename("family")))
    sums = sums.sort_values("hydrants", ascending=False, kind="stable").reset_index(drop=True)
    return FAMILY_FIGURES.conform(sums)


def remedy_figures(
    checked: pd.DataFrame, prices: Mapping[str, float | None], selection: pd.DataFrame | None = None
) -> pd.DataFrame:
    """
    The `remedy_figures` table, of every remedy that a hydrant has.

    Parameters
    ----------
    checked
        The `checked` table.
    prices
        Of a kit, by its id.
    selection
        The `selection` table of a season; None where none is planned.
    """
    price = checked["kit_id"].map(dict(prices)).astype("float64")
    fitted = checked["kit_id"].notna()
    each = pd.DataFrame(
        {"hydrants": 1, "kits": fitted.astype("int64"), "kits_cost": price,
         "kits_unpriced": (fitted & price.isna()).astype("int64")}
    )  # fmt: skip
    sums = each.groupby(checked["remedy"], sort=False).sum()
    sums = sums.reindex([name for name in REMEDIES if name in sums.index])
    if selection is not None:
        done = selection[selection["selected"].fillna(False).astype(bool)]
        by = done.groupby("remedy")["job_cost"].agg(["size", "sum"]).reindex(sums.index)
        sums["in_season"] = by["size"].fillna(0)
        sums["left"] = (sums["hydrants"] - sums["in_season"]).where(sums.index != "none", 0)
        sums["season_cost"] = by["sum"].fillna(0.0)
    return REMEDY_FIGURES.conform(sums.rename_axis("remedy").reset_index())


def worst(
    checked: pd.DataFrame,
    address: pd.Series,
    titles: pd.Series,
    *,
    most: int = 10,
    days: pd.Series | None = None,
) -> pd.DataFrame:
    """
    The `worst` table: hydrants that stand low or high, the farthest out first, then by id.

    Parameters
    ----------
    checked
        The `checked` table.
    address
        Of each hydrant; same index.
    titles
        Titles of areas, by area.
    most
        So many rows.
    days
        The day on which the season does it, by hydrant; None where none is planned.

    Returns
    -------
    worst
        Without those whose height is to be measured again first: a blank typed as 0, or feet taken
        for inches, would lead the list.
    """
    table = pd.DataFrame(checked.drop(columns="geometry", errors="ignore")).assign(
        address=address, area_title=checked["area_id"].map(titles),
        out_in=checked["shortfall_in"].fillna(0.0) + checked["excess_in"].fillna(0.0),
    )  # fmt: skip
    out = table[table["verdict"].isin(["low", "high"]) & (table["remedy"] != "measure")]
    out = out.sort_values(["out_in", "hydrant_id"], ascending=[False, True], kind="stable")
    first = out.head(most).reset_index(drop=True)
    first = first.assign(rank=np.arange(1, len(first) + 1))
    if days is not None and len(days):
        first = first.assign(work_date=first["hydrant_id"].map(days))
    return WORST.conform(first)


def height_bins(checked: pd.DataFrame) -> pd.DataFrame:
    """
    The `height_bins` table: bars of one width, between two open ones, with an edge at the window.

    Parameters
    ----------
    checked
        The `checked` table.

    Returns
    -------
    bins
        None where nothing is measured. A height exactly at the upper end of the window stands in
        the bar below it, since it is inside.
    """
    rows = checked[checked["verdict"].isin(MEASURED_VERDICTS) & checked["outlet_height_in"].notna()]
    if not len(rows):
        return HEIGHT_BINS.empty()
    height = rows["outlet_height_in"].to_numpy(dtype=np.float64)
    lo, hi = (rows[name].astype("float64").iloc[0] for name in ("window_lo_in", "window_hi_in"))
    anchor = next((end for end in (lo, hi) if np.isfinite(end)), 0.0)
    ends = np.quantile(height, _ENDS)
    least, most = np.fmin(ends[0], lo), np.fmax(ends[1], hi)
    width = next((w for w in _BIN_WIDTHS_IN if (most - least) / w <= MOST_BINS), _BIN_WIDTHS_IN[-1])
    first = int(np.floor((least - anchor) / width))
    last = max(int(np.ceil((most - anchor) / width)), first + 1)
    edges = anchor + width * np.arange(first, last + 1)
    place = np.digitize(height, edges)
    place -= (height == hi) & (rows["verdict"] == "inside").to_numpy() & np.isin(hi, edges)
    counts = {
        name: np.bincount(place[(rows["verdict"] == name).to_numpy()], minlength=len(edges) + 1)
        for name in MEASURED_VERDICTS
    }
    frame = pd.DataFrame(
        {"from_in": np.append(np.nan, edges), "to_in": np.append(edges, np.nan), **counts}
    )
    return HEIGHT_BINS.conform(frame)


def expected_inside(checked: pd.DataFrame) -> tuple[float, float]:
    """
    How many of the measured ones are inside by the probabilities, and its standard uncertainty.

    Parameters
    ----------
    checked
        The `checked` table.
    """
    measured = checked["verdict"].isin(MEASURED_VERDICTS)
    return count_of_chances(checked["p_inside"][measured].to_numpy(dtype=np.float64))
