"""
What crews are handed: which jobs get a sheet, in which order, with what to load, and who stands in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from hydrantgis.ground.plane import plane_ft, xy
from hydrantgis.ground.results import KIT_REMEDIES, OTHER_LISTS
from hydrantgis.season.isolation import directions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from hydrantgis.season.lists import Season
    from hydrantgis.standards.kits import KitCatalogue
    from hydrantgis.standards.season import SeasonWords

OUT_REMEDIES = (*KIT_REMEDIES, "replace", "lower")
"""Jobs that take the hydrant out of service."""
SHEET_REMEDIES = (*OUT_REMEDIES, "regrade", "measure")
"""Jobs that a crew can be handed; a review is the engineer's."""
_OF_CALENDAR = (
    "work_date", "crew_id", "stop", "kit_from", "out_from", "back_by", "job_hours", "drive_ft",
    "drive_hours", "mobilisation_hours",
)  # fmt: skip


def sheet_rows(
    season: Season, calendar: pd.DataFrame | None = None, also: Sequence[str] = ()
) -> gpd.GeoDataFrame:
    """
    The jobs that get a sheet, in the order in which they are handed out.

    Parameters
    ----------
    season
        The lists.
    calendar
        The `calendar` table, whose jobs come first, by day, crew and stop; all kit jobs by area
        where it is None.
    also
        Remedies of which every other job follows, by area.

    Returns
    -------
    rows
        The columns of the `jobs` table and those of the calendar; `work_date` is missing where a
        job has no day. Nothing stands twice.

    Notes
    -----
    Every job that there is can be asked for with `also=SHEET_REMEDIES`.
    """
    lists = [season.jobs, *(season.others[name] for name in OTHER_LISTS)]
    every = pd.concat([pd.DataFrame(frame) for frame in lists if len(frame)] or [season.jobs])
    every = every.reset_index(drop=True)
    if calendar is None:
        wanted = every["remedy"].isin([*KIT_REMEDIES, *also]).to_numpy(dtype=bool)
        days = pd.DataFrame({name: pd.Series(dtype="object") for name in _OF_CALENDAR})
        days = days.assign(hydrant_id=pd.Series(dtype="str"))
    else:
        days = pd.DataFrame(calendar)[["hydrant_id", *_OF_CALENDAR]]
        planned = every["hydrant_id"].isin(days["hydrant_id"])
        wanted = (planned | every["remedy"].isin([*also])).to_numpy(dtype=bool)
    rows = every[wanted].merge(days, on="hydrant_id", how="left")
    rows["work_date"] = pd.to_datetime(rows["work_date"]).astype("datetime64[ms]")
    for name in ("stop", "job_hours", "drive_ft", "drive_hours", "mobilisation_hours"):
        rows[name] = rows[name].astype("float64")
    order = ["work_date", "crew_id", "stop", "area_id"]
    rows = rows.sort_values(order, kind="stable", na_position="last").reset_index(drop=True)
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=season.jobs.crs)


def batches(rows: pd.DataFrame) -> pd.Series:
    """
    Which rows go together under one cover: a crew's day, else an area; counted from 0.

    Parameters
    ----------
    rows
        From `sheet_rows`.

    Examples
    --------
    >>> day = pd.Timestamp("2027-05-04")
    >>> frame = pd.DataFrame({"work_date": [day, day, pd.NaT, pd.NaT], "area_id": ["A1"] * 4,
    ...                       "crew_id": ["N", "S", None, None]})
    >>> batches(frame).tolist()
    [0, 1, 2, 2]
    """
    has_day = rows["work_date"].notna()
    keys = pd.DataFrame(
        {
            "day": rows["work_date"],
            "crew": rows["crew_id"].where(has_day),
            "area": rows["area_id"].where(~has_day),
        }
    )
    return keys.groupby(["day", "crew", "area"], dropna=False, sort=False).ngroup()


def loads(
    rows: pd.DataFrame,
    catalogue: KitCatalogue,
    default: KitCatalogue,
    words: SeasonWords | None = None,
) -> pd.DataFrame:
    """
    What goes on the truck, by `batch`: kits and what they hold, hydrants, what jobs use up.

    Parameters
    ----------
    rows
        From `sheet_rows`, with `batch`.
    catalogue
        What kits hold.
    default
        Tells it where the catalogue says nothing.
    words
        What jobs use up and crews carry; neither is told where it is None.

    Returns
    -------
    loads
        `batch`, `kind` (kit, hydrant, part, consumable or repair kit), `item`, `quantity`, `unit`.

    Notes
    -----
    Of a consumable a crew loads what its jobs take, rounded up.
    """
    kits = rows[rows["kit_id"].notna()]
    each = kits.groupby(["batch", "kit_length_in", "kit_id"]).size().rename("quantity")
    told = each.reset_index().rename(columns={"kit_id": "item"})
    parts = [told.assign(kind="kit", unit="")[["batch", "kind", "item", "quantity", "unit"]]]
    new = rows[(rows["remedy"] == "replace") & rows["bury_after_ft"].notna()]
    if len(new):
        bury = new["bury_after_ft"].map("{:g}".format)
        named = new["family"].fillna("family not recorded") + ", bury " + bury + " ft"
        count = new.assign(item=named).groupby(["batch", "item"]).size().rename("quantity")
        parts.append(count.reset_index().assign(kind="hydrant", unit=""))
    fitted = kits.groupby("batch").size()
    holds = [p for p in (catalogue.parts or default.parts) if p.use == "extension"]
    for part in holds:  # a handful
        parts.append(_each(fitted * part.quantity, kind="part", item=part.part, unit=part.unit))
    out = rows[rows["remedy"].isin(OUT_REMEDIES)].groupby("batch").size()
    for used in () if words is None else words.consumables:
        many = pd.Series(np.ceil(out * used.a_job - 1e-9), index=out.index)
        parts.append(_each(many, kind="consumable", item=used.item, unit=""))
    if words is not None and words.repair_kits_a_crew:
        carried = out * 0 + words.repair_kits_a_crew
        parts.append(_each(carried, kind="repair kit", item="breakaway repair kit", unit=""))
    return pd.concat(parts, ignore_index=True).sort_values("batch", kind="stable")


def _each(quantity: pd.Series, **fixed: str) -> pd.DataFrame:
    """A frame with the same words in every row."""
    return quantity[quantity > 0].rename("quantity").reset_index().assign(**fixed)


def stand_ins(
    rows: gpd.GeoDataFrame, hydrants: gpd.GeoDataFrame, outside: NDArray[np.bool_]
) -> pd.DataFrame:
    """
    Who stands in for each row: another hydrant in service that is not out for a job on its day.

    Parameters
    ----------
    rows
        From `sheet_rows`.
    hydrants
        The `hydrants` table, in the same CRS.
    outside
        Which of them are known to stand outside their window. Shape (n,)

    Returns
    -------
    stand_ins
        `other_id`, `other_ft` in a straight line and `other_direction`, index of the rows: the
        nearest that is not known to be outside, else the nearest of all. `nearer_id` and so on
        tell one that is nearer and outside. Missing where there is none or the hydrant has no
        place. Of jobs that have no day none is taken.
    """
    usable, every = (
        _nearest_free(rows, hydrants, mask) for mask in (~outside, np.ones(len(hydrants), bool))
    )
    none = usable["id"].isna()
    chosen = usable.where(~none, every)
    nearer = every.where(~none & (every["id"] != usable["id"]))
    return pd.concat([chosen.add_prefix("other_"), nearer.add_prefix("nearer_")], axis=1)


def _nearest_free(
    rows: gpd.GeoDataFrame, hydrants: gpd.GeoDataFrame, usable: NDArray[np.bool_]
) -> pd.DataFrame:
    """`id`, `ft` and `direction` of the nearest of the usable ones that serve on the day."""
    n = len(rows)
    which, apart = np.full(n, -1, dtype=np.intp), np.full(n, np.nan)
    names = np.array([*hydrants["hydrant_id"], None], dtype=object)
    way = np.full((n, 2), np.nan)
    if rows.crs is not None and n:
        every, mine_at = xy(hydrants.geometry), xy(rows.geometry)
        to_plane = plane_ft(every, rows.crs)
        there = np.column_stack(to_plane.transform(every[:, 0], every[:, 1]))
        here = np.column_stack(to_plane.transform(mine_at[:, 0], mine_at[:, 1]))
        serves = ~hydrants["status"].isin(["out_of_service", "retired"]).to_numpy(dtype=bool)
        serves &= np.isfinite(there).all(axis=1) & usable
        out = rows["remedy"].isin(OUT_REMEDIES).to_numpy(dtype=bool)
        day = rows["work_date"].to_numpy(dtype="datetime64[D]")
        placed, ids = np.isfinite(here).all(axis=1), rows["hydrant_id"].to_numpy(dtype=object)
        days = np.unique(day[~np.isnat(day)])
        for mine in (*(day == one for one in days), np.isnat(day)):  # the days of a season
            free = np.flatnonzero(serves & ~np.isin(names[:-1], ids[mine & out]))
            asking = np.flatnonzero(mine & placed)
            if len(asking) and len(free):
                near, at = _nearest_other(here[asking], ids[asking], there[free], names[free])
                which[asking], apart[asking] = np.where(at < 0, -1, free[at]), near
        way = np.vstack([there, [np.nan, np.nan]])[which] - here
    return pd.DataFrame(
        {"id": names[which], "ft": apart, "direction": directions(way)}, index=rows.index
    )


def _nearest_other(
    here: NDArray[np.float64],
    own: NDArray[np.object_],
    there: NDArray[np.float64],
    names: NDArray[np.object_],
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """How far the nearest one of another name is, and which; -1 where there is none."""
    near, at = map(np.asarray, cKDTree(there).query(here, k=[1, 2]))
    some = np.isfinite(near)
    at = np.where(some, at, 0)
    near = np.where(some & (names[at] != own[:, None]), near, np.inf)
    first = near.argmin(axis=1)
    rows = np.arange(len(here))
    least = near[rows, first]
    found = np.isfinite(least)
    return np.where(found, least, np.nan), np.where(found, at[rows, first], -1)


def facts_of(rows: pd.DataFrame, hydrants: pd.DataFrame) -> pd.DataFrame:
    """Facts of the hydrants that the lists do not hold, index of the rows."""
    names = ["status", "owner", "hose_outlet_in", "pumper_outlet_in", "main_valve_in",
             "install_date", "flow_gpm", "note"]  # fmt: skip
    by_id = hydrants.set_index("hydrant_id")[names]
    return by_id.reindex(pd.Index(rows["hydrant_id"])).set_axis(rows.index)
