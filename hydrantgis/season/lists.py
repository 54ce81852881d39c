"""
The season list: which hydrants get a kit, by area, and the lists of what needs something else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.assess.verdict import chances
from hydrantgis.ground.results import (
    ALTERNATIVES,
    AREA_TOTALS,
    DRIFTS,
    ISOLATION,
    JOBS,
    KIT_REMEDIES,
    KIT_TOTALS,
    OTHER_LISTS,
    VISITS,
)
from hydrantgis.ground.seasons import ORDERS
from hydrantgis.ground.tables import FACILITIES, VALVES
from hydrantgis.season.isolation import isolation
from hydrantgis.season.orders import orders
from hydrantgis.season.priority import priority
from hydrantgis.season.totals import area_totals
from hydrantgis.season.visits import visits

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import ArrayLike, NDArray

    from hydrantgis.ground.table import Table
    from hydrantgis.standards.kits import KitCatalogue


@dataclass(frozen=True, slots=True)
class Season:
    """
    What next season needs.

    Attributes
    ----------
    jobs
        The `jobs` table: hydrants that a kit job puts right.
    others
        By remedy, the tables of `OTHER_LISTS`.
    area_totals, kit_totals, orders
        The tables of those names; a missing area stands as blank, last.
    alternatives, isolation
        What could be tried at each job, and which valve isolates it.
    findings
        What was noticed.
    visits, drifts
        The tables of those names: where to measure next, and how fast heights change.
    """

    jobs: gpd.GeoDataFrame
    others: dict[str, gpd.GeoDataFrame]
    area_totals: pd.DataFrame
    kit_totals: pd.DataFrame
    orders: pd.DataFrame
    visits: gpd.GeoDataFrame
    drifts: pd.DataFrame
    alternatives: pd.DataFrame
    isolation: pd.DataFrame
    findings: pd.DataFrame

    def layers(self) -> list[tuple[Table, pd.DataFrame]]:
        """Every table with its declaration, for a writer."""
        return [
            (JOBS, self.jobs),
            (AREA_TOTALS, self.area_totals),
            (KIT_TOTALS, self.kit_totals),
            (ORDERS, self.orders),
            (VISITS, self.visits),
            (DRIFTS, self.drifts),
            (ALTERNATIVES, self.alternatives),
            (ISOLATION, self.isolation),
            *((OTHER_LISTS[remedy], frame) for remedy, frame in self.others.items()),
        ]


def season_lists(
    checked: gpd.GeoDataFrame,
    hydrants: gpd.GeoDataFrame,
    areas: pd.DataFrame,
    *,
    today: dt.date,
    drifts: pd.DataFrame | None = None,
    facilities: gpd.GeoDataFrame | None = None,
    changed_on: NDArray[np.datetime64] | None = None,
    screening: ArrayLike = False,
    catalogue: KitCatalogue | None = None,
    tried: pd.DataFrame | None = None,
    valves: gpd.GeoDataFrame | None = None,
    streets: gpd.GeoDataFrame | None = None,
) -> Season:
    """
    Put the checked hydrants into lists by area.

    Parameters
    ----------
    checked
        The `checked` table.
    hydrants
        The `hydrants` table, for address and family.
    areas
        The `areas` table, for titles.
    today
        From which the age of readings counts.
    drifts
        The `drifts` table; none where it is None.
    facilities
        The table of that name, for priorities; without it only distances tell them.
    changed_on, screening
        As `hydrantgis.season.visits.visits`.
    catalogue
        Of the kits, for costs and stock; neither is known where it is None.
    valves
        The table of that name, for isolation; none are known where it is None.
    streets
        The table of that name, for the distance to the next hydrant; straight lines where None.
    tried
        The `alternatives` table of the jobs; none where it is None.

    Returns
    -------
    season
        Lists in order of area, then address, then hydrant. Every hydrant with a remedy other than
        `none` stands in exactly one list.
    """
    by_id = hydrants.set_index("hydrant_id")[["address", "family"]]
    facts = by_id.reindex(pd.Index(checked["hydrant_id"])).set_axis(checked.index)
    titles = areas.set_index("area_id")["area_title"] if len(areas) else pd.Series(dtype="str")
    after = chances(
        checked["outlet_height_after_in"], checked["height_sd_in"],
        lo_in=checked["window_lo_in"].fillna(-np.inf), hi_in=checked["window_hi_in"].fillna(np.inf),
    )  # fmt: skip
    kits = () if catalogue is None else catalogue.kits()
    price = {kit.kit_id: kit.unit_cost for kit in kits}
    whole = checked.assign(
        p_inside_after=after.inside,
        unit_cost=checked["kit_id"].map(price).astype("float64"),
        address=facts["address"],
        family=facts["family"],
        area_title=checked["area_id"].map(titles),
    )
    whole = whole.sort_values(
        ["area_id", "address", "hydrant_id"], kind="stable", na_position="last"
    )

    def listed(table: Table, remedies: tuple[str, ...]) -> gpd.GeoDataFrame:
        rows = whole[whole["remedy"].isin(remedies)].reset_index(drop=True)
        return gpd.GeoDataFrame(table.conform(rows))

    jobs = listed(JOBS, KIT_REMEDIES)
    if valves is None:
        valves = gpd.GeoDataFrame(VALVES.empty(hydrants.crs))
    isolated, noticed = isolation(jobs, hydrants, valves)
    others = {remedy: listed(table, (remedy,)) for remedy, table in OTHER_LISTS.items()}
    if facilities is None:
        facilities = gpd.GeoDataFrame(FACILITIES.empty(hydrants.crs))
    matters = priority(hydrants, facilities, streets).set_axis(hydrants["hydrant_id"])
    return Season(
        jobs, others, area_totals(whole, titles), _kit_totals(jobs),
        orders(pd.concat([jobs, others["replace"]]), catalogue),
        visits(
            checked, hydrants, today=today, priorities=matters.reindex(checked["hydrant_id"]),
            changed_on=changed_on, screening=screening,
        ),
        DRIFTS.empty() if drifts is None else drifts,
        ALTERNATIVES.empty() if tried is None else tried,
        isolated, noticed,
    )  # fmt: skip


def _kit_totals(jobs: pd.DataFrame) -> pd.DataFrame:
    fitted = jobs[jobs["kit_id"].notna()]
    by = ["area_id", "family", "kit_id", "kit_length_in"]
    grouped = fitted.groupby(by, dropna=False, sort=True)
    counted = grouped.agg(kits=("kit_id", "size"), unit_cost=("unit_cost", "first")).reset_index()
    counted["cost"] = counted["kits"] * counted["unit_cost"]
    order = np.lexsort(
        (
            counted["kit_length_in"],
            counted["family"].fillna("\uffff"),
            counted["area_id"].fillna("\uffff"),
        )
    )
    return KIT_TOTALS.conform(counted.iloc[order].reset_index(drop=True))
