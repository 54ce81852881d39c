"""An invented plan of a season, for tests of what is made from one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pandas as pd

from hydrantgis.deliver.plannerbook import Plannerbook
from hydrantgis.ground.seasons import CALENDAR, CREW_DAYS, NOTICES, ORDERS, SELECTION
from hydrantgis.standards.season import Crew, Depot, SeasonWords

MOMENT = dt.datetime(2027, 1, 15, 12, 30, tzinfo=dt.UTC)


def words(**more) -> SeasonWords:
    """A season of April to October 2027 with the crews 1 and 02."""
    crews = tuple(
        Crew(crew_id=name, does=("extend", "exchange"), hours_a_day=8.0, weekdays=(0, 1, 2, 3))
        for name in ("1", "02")
    )
    told = {
        "season_id": "2027", "title": "Season 2027", "starts_on": dt.date(2027, 4, 1),
        "ends_on": dt.date(2027, 10, 15), "planned_on": dt.date(2027, 1, 15), "money": "USD",
        "source": "budget of the district", "read_on": dt.date(2027, 1, 10), "budget": 30_000.0,
        "contingency_share": 0.1, "hour_cost": 85.0, "most_crew_hours": 260.0,
        "day_starts": dt.time(7), "crews": crews, "holidays": (), "blackouts": (),
        "depot": Depot(x=0.0, y=0.0, crs="EPSG:4326"), "speed_mph": 20.0, "street_factor": 1.3,
        "stop_hours": 0.25, "hours": {}, "materials": {}, "dig_hours": 0.5,
        "dig_hours_per_ft": 1.0, "area_cost": 300.0, "area_hours": 1.5, "apart_ft": 600.0,
        "fire_days": 2, "customer_days": 2, "lead_days": 30, "spares_share": 0.05,
        "repair_kits_a_crew": 1, "consumables": (), "weights": {}, "protects_ft": 500.0,
        "protects": {}, "must": (), "never": (), "least": {}, "flange_first": False,
    }  # fmt: skip
    return SeasonWords(**{**told, **more})


def selection(
    areas: Sequence[str | None] = ("0012", "12", "*", None), jobs: int = 6, seed: int = 7
) -> pd.DataFrame:
    """Some jobs in each area, every second one in the plan."""
    chance = np.random.default_rng(seed)
    n = len(areas) * jobs
    inside = np.arange(n) % 2 == 0
    day = pd.Series(pd.Timestamp("2027-04-05") + pd.to_timedelta(np.arange(n), unit="D"))
    frame = pd.DataFrame(
        {
            "hydrant_id": [f"{k:04d}" for k in range(1, n + 1)],
            "area_id": np.repeat(np.array(areas, dtype=object), jobs), "area_title": "Mill Quarter",
            "address": [f"{k} Orchard St" for k in range(n)], "selected": inside,
            "why": np.where(inside, "chosen", "left out: budget"),
            "priority": chance.random(n) * 5, "priority_reasons": "4.5 in out, 97% sure",
            "job_cost": 200 + chance.random(n) * 400, "job_hours": 2 + chance.random(n),
            "drive_hours_about": 0.1 + chance.random(n), "remedy": "extend", "kit_id": "K-08",
            "outlet_height_in": 12.5, "outlet_height_after_in": 20.5,
            "crew_id": np.where(inside, "02", None), "work_date": day.where(inside),
            "week": np.where(inside, "2027-W14", None), "decision": None, "note": None,
        }
    )  # fmt: skip
    return SELECTION.conform(frame)


def plan(frame: pd.DataFrame | None = None, **more) -> Plannerbook:
    """A workbook of a selection; driving of its crews is 7.5 hours in all."""
    jobs = selection() if frame is None else frame
    inside = jobs[jobs["selected"].fillna(False).astype(bool)]
    days = pd.DataFrame(
        {
            "work_date": pd.to_datetime(["2027-04-05", "2027-04-06"]), "week": "2027-W14",
            "crew_id": ["1", "02"], "areas": "12", "jobs": 6, "work_hours": 6.5,
            "mobilisation_hours": 1.5, "drive_hours": [4.0, 3.5], "drive_ft": 21_120.0,
            "hours_there": 8.0, "back_at": "14:45",
        }
    )  # fmt: skip
    orders = pd.DataFrame(
        {
            "item": "kit", "kit_id": ["0808", "=K"], "kits": [5, 2], "to_order": [5, 2],
            "unit_cost": [100.0, 250.0], "cost": [500.0, 500.0],
            "order_by": pd.to_datetime(["2027-03-01", None]),
        }
    )  # fmt: skip
    told = inside.assign(
        told_to="customers", tell_by=inside["work_date"], out_on=inside["work_date"],
        out_line="out of service", back_line="back",
    )  # fmt: skip
    made = {
        "words": words(), "selection": jobs,
        "calendar": CALENDAR.conform(inside.assign(stop=1, drive_hours=0.3)),
        "crew_days": CREW_DAYS.conform(days), "orders": ORDERS.conform(orders),
        "notices": NOTICES.conform(told), "moment": MOMENT, "fingerprint": "9f2c71aa",
        "cautions": ("The maker's instructions govern.",),
    }  # fmt: skip
    return Plannerbook(**{**made, **more})
