"""
The calendar as tables: every stop with its times, every crew day with its sums.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from hydrantgis.ground.seasons import CALENDAR, CREW_DAYS
from hydrantgis.season.candidates import FT_A_MILE
from hydrantgis.season.crewdays import clock, iso_week

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hydrantgis.season.calendar import Tours
    from hydrantgis.standards.season import SeasonWords


def calendar_tables(
    jobs: gpd.GeoDataFrame,
    days: pd.DataFrame,
    tours: Tours,
    words: SeasonWords,
    *,
    way_ft: NDArray[np.float64],
    by_streets: NDArray[np.bool_],
) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """
    The `calendar` and `crew_days` tables.

    Parameters
    ----------
    jobs
        With `job_hours` and `kit_from`, in the order in which the tours count them.
    days
        From `hydrantgis.season.crewdays.crew_days`.
    tours
        The plan.
    words
        Speed, hours and when the day starts.
    way_ft, by_streets
        Ways from place to place, the depot last, and whether they follow streets; shape
        (n + 1, n + 1). [ft]
    """
    n = len(jobs)
    if not any(tours.stops):
        return gpd.GeoDataFrame(CALENDAR.empty(jobs.crs)), CREW_DAYS.empty()
    sizes = np.array([len(stops) for stops in tours.stops], dtype=np.intp)
    order = np.array([job for stops in tours.stops for job in stops], dtype=np.intp)
    route = np.repeat(np.arange(len(sizes)), sizes)
    first, last = _ends(route)
    before = np.where(first, n, np.roll(order, 1))
    per_ft = 1.0 / FT_A_MILE / words.speed_mph
    drive_ft = way_ft[before, order]
    drive = drive_ft * per_ft
    mobilised = np.where(tours.mobilises[order], words.area_hours, 0.0)
    told = jobs.iloc[order].reset_index(drop=True)
    work = told["job_hours"].to_numpy(dtype=np.float64)
    elapsed = pd.Series(drive + mobilised + work).groupby(route).cumsum().to_numpy()
    starts = words.day_starts.hour + words.day_starts.minute / 60.0
    of_day = days.iloc[route].reset_index(drop=True)
    calendar = told.assign(
        work_date=of_day["work_date"], crew_id=of_day["crew_id"],
        week=iso_week(of_day["work_date"]),
        stop=pd.Series(route).groupby(route).cumcount().to_numpy() + 1,
        out_from=clock(elapsed - work, starts), back_by=clock(elapsed, starts),
        drive_ft=drive_ft, drive_hours=drive, mobilisation_hours=mobilised,
        way_by=np.where(by_streets[before, order], "streets", "line"),
    )  # fmt: skip
    home_ft = np.where(last, way_ft[order, n], 0.0)
    sums = pd.DataFrame(
        {
            "route": route, "jobs": 1, "work_hours": work, "mobilisation_hours": mobilised,
            "drive_ft": drive_ft + home_ft, "drive_hours": (drive_ft + home_ft) * per_ft,
        }
    )  # fmt: skip
    by_route = sums.groupby("route").sum()
    areas = (
        told["area_id"].fillna("(no area)").groupby(route)
        .agg(lambda names: ", ".join(sorted(set(names))))
    )  # fmt: skip
    out = days.iloc[by_route.index].reset_index(drop=True)
    by_route = by_route.reset_index(drop=True)
    used = by_route[["work_hours", "mobilisation_hours", "drive_hours"]].sum(axis=1).to_numpy()
    crew_days = by_route.assign(
        work_date=out["work_date"], crew_id=out["crew_id"], week=iso_week(out["work_date"]),
        areas=areas.to_numpy(dtype=object), hours_there=out["hours"], back_at=clock(used, starts),
    )  # fmt: skip
    placed = gpd.GeoDataFrame(calendar, geometry=told.geometry)
    return gpd.GeoDataFrame(CALENDAR.conform(placed)), CREW_DAYS.conform(crew_days)


def _ends(route: NDArray[np.intp]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which stops are the first and the last of their tour."""
    border = route[1:] != route[:-1]
    return np.append(True, border), np.append(border, True)
