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
from hydrantgis.season.orders import from_shelf, orders
from hydrantgis.standards.kits import Family, HouseRules, Kit, KitCatalogue, Part

TODAY = dt.date(2026, 11, 1)
KITS = (
    Kit(kit_id="A-6", length_in=6.0, unit_cost=400.0, on_hand=2, lead_days=21),
    Kit(kit_id="A-12", length_in=12.0, unit_cost=None, on_hand=None),
    Kit(kit_id="B-6", length_in=6.0, unit_cost=310.5, on_hand=0),
)
CATALOGUE = KitCatalogue(
    catalogue_id="t", title="T", source="t", read_on=TODAY, house=HouseRules(), money="USD",
    families=(Family(name="A", kits=KITS[:2]), Family(name="B", kits=KITS[2:])),
    parts=(
        Part(part="stem piece", quantity=1, unit="", use="extension", source="t"),
        Part(part="break coupling", quantity=1, unit="", use="repair", source="t"),
    ),
)  # fmt: skip


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
    season = season_lists(checked, town, AREAS.empty(2249), today=TODAY, catalogue=CATALOGUE)
    table = season.orders.set_index("kit_id")
    needed = {kit.kit_id: sum(k == kit.kit_id for k, _ in fitted) for kit in KITS}
    assert table["kits"].to_dict() == {kit: many for kit, many in needed.items() if many}
    for kit in KITS:
        many = needed[kit.kit_id]
        if not many:
            continue
        row, lacks = table.loc[kit.kit_id], max(0, many - (kit.on_hand or 0))
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


def season_jobs(**columns):
    days = pd.to_datetime(["2027-05-04", "2027-05-03", "2027-05-06", "2027-05-05", "2027-05-10"])
    told = {
        "hydrant_id": list("abcde"), "family": ["A", "A", "A", "B", "B"],
        "remedy": ["extend", "extend", "extend", "extend", "replace"],
        "remedy_reason": ["x", "kit-fits-flange-unknown: y", "x", "x", "x"],
        "kit_id": ["A-6", "A-6", "A-6", "B-6", None],
        "kit_length_in": [6.0, 6.0, 6.0, 6.0, np.nan],
        "bury_after_ft": [4.5, 4.0, 4.5, 4.0, 5.5],
        "kit_from": ["order", "shelf", "shelf", "order", "order"],
        "crew_id": ["1", "1", "2", "1", "2"], "work_date": days,
    }  # fmt: skip
    return pd.DataFrame({**told, **columns})


def test_a_season_orders_by_the_first_day_that_needs_what_is_ordered(season):
    words = season(spares_share=0.34, lead_days=30, holidays=())
    told = orders(season_jobs(), CATALOGUE, words)
    assert told["item"].tolist() == ["kit", "kit", "hydrant", "repair kit", "consumable"]
    first = told.set_index("kit_id").loc["A-6"]
    # 3 needed, 2 spares (0.34 x 3 = 1.02, rounded up), 2 on the shelf; 21 days before 4 May 2027
    assert first[["kits", "spares", "on_hand", "to_order", "waiting"]].tolist() == [3, 2, 2, 3, 1]
    assert first["first_use"] == pd.Timestamp("2027-05-04")
    assert first["order_by"] == pd.Timestamp("2027-04-13")
    assert (first["cost"], first["holds"]) == (1200.0, "1 stem piece")
    second = told.set_index("kit_id").loc["B-6"]
    # the catalogue gives no lead time: that of the season, 30 days before Wednesday 5 May
    assert (second["lead_days"], second["order_by"]) == (30, pd.Timestamp("2027-04-05"))
    new = told[told["item"] == "hydrant"].iloc[0]
    assert (new["family"], new["bury_to_order_ft"], new["kits"]) == ("B", 5.5, 1)
    # 30 days before Monday 10 May is Saturday 10 April: the Friday before
    assert new["order_by"] == pd.Timestamp("2027-04-09")
    carried, gaskets = told.iloc[3], told.iloc[4]
    assert (carried["kits"], carried["holds"]) == (2, "1 break coupling")
    assert (gaskets["kits"], gaskets["cost"]) == (15, 60.0)


def test_nothing_is_ordered_for_no_jobs(season):
    assert len(orders(season_jobs().iloc[:0], CATALOGUE, season())) == 0
    assert len(orders(season_jobs().iloc[:0], None)) == 0


def test_kits_of_the_shelf_go_to_the_jobs_of_the_highest_priority():
    kits = pd.Series(["A-6", "A-6", "A-6", "B-6", None, "A-12"])
    shelf = from_shelf(kits, pd.Series([1.0, 3.0, 2.0, 9.0, 9.0, 9.0]), CATALOGUE)
    assert shelf.tolist() == [False, True, True, False, False, False]
