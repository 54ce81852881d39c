"""Kits to order: counted by hand from the jobs, less the shelf."""

from __future__ import annotations

import datetime as dt

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.results import CHECKED
from hydrantgis.ground.tables import AREAS, HYDRANTS
from hydrantgis.season.lists import season_lists
from hydrantgis.standards.kits import Kit

TODAY = dt.date(2026, 11, 1)
KITS = (
    Kit(kit_id="A-6", length_in=6.0, unit_cost=400.0, on_hand=2, lead_days=21),
    Kit(kit_id="A-12", length_in=12.0, unit_cost=None, on_hand=None),
    Kit(kit_id="B-6", length_in=6.0, unit_cost=310.5, on_hand=0),
)


@given(
    fitted=st.lists(
        st.tuples(st.sampled_from(["A-6", "A-12", "B-6", None]), st.sampled_from(["N", "S", None])),
        max_size=14,
    )
)
def test_orders_are_the_kits_of_the_jobs_less_the_shelf(fitted):
    n = len(fitted)
    points = gpd.points_from_xy(760_000 + 500.0 * np.arange(n), np.full(n, 2_950_000.0))
    ids = [f"H{i}" for i in range(n)]
    kits = pd.Series([kit for kit, _ in fitted], dtype="str")
    lengths = kits.map({kit.kit_id: kit.length_in for kit in KITS}).astype("float64")
    checked = CHECKED.conform(
        gpd.GeoDataFrame(
            {
                "hydrant_id": ids, "area_id": pd.Series([area for _, area in fitted], dtype="str"),
                "verdict": "low", "remedy": np.where(kits.isna(), "review", "extend"),
                "remedy_reason": "kit-fits: x", "kit_id": kits, "kit_length_in": lengths,
                "outlet_height_in": 13.0, "height_sd_in": 0.25, "window_lo_in": 18.0,
                "window_hi_in": 24.0, "outlet_height_after_in": 13.0 + lengths,
            },
            geometry=points, crs=2249,
        )
    )  # fmt: skip
    town = HYDRANTS.conform(
        gpd.GeoDataFrame(
            {"hydrant_id": ids, "family": kits.str[0]}, geometry=points, crs=2249
        )
    )  # fmt: skip
    season = season_lists(checked, town, AREAS.empty(2249), today=TODAY, kits=KITS)
    orders = season.orders.set_index("kit_id")
    needed = {kit.kit_id: sum(k == kit.kit_id for k, _ in fitted) for kit in KITS}
    assert orders["kits"].to_dict() == {kit: many for kit, many in needed.items() if many}
    for kit in KITS:
        many = needed[kit.kit_id]
        if not many:
            continue
        row, lacks = orders.loc[kit.kit_id], max(0, many - (kit.on_hand or 0))
        assert row["to_order"] == lacks
        assert row["family"] == kit.kit_id[0]
        if kit.unit_cost is None:
            assert np.isnan(row["cost"])
        else:
            assert row["cost"] == pytest.approx(lacks * kit.unit_cost)
    assert season.kit_totals["kits"].sum() == sum(needed.values())
    priced = season.kit_totals["cost"].sum()
    assert priced == pytest.approx(needed["A-6"] * 400.0 + needed["B-6"] * 310.5)
    after = season.jobs["p_inside_after"]
    # 13 + 6 = 19 lies 4 standard uncertainties over 18 in; so does 25 over 24
    assert after.gt(0.999).tolist() == season.jobs["kit_length_in"].eq(6.0).tolist()
