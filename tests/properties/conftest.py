"""The tables that are drawn, and a catalogue for them."""

from __future__ import annotations

import datetime as dt

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import strategies as st

from hydrantgis.ground.tables import HYDRANTS, MEASURED_FROM, MEASURED_TO, METHODS, READINGS
from hydrantgis.standards.kits import Family, HouseRules, Kit, KitCatalogue

IDS = ["H1", "H2", "H3", "H 4", "5", "é6"]
DAYS = [None, "2019-04-30", "2024-07-01", "2024-07-02", "2026-06-01"]


def maybe(strategy):
    return st.none() | strategy


def decimals(least, most):
    """Numbers of two decimals."""
    return st.integers(round(least * 100), round(most * 100)).map(lambda whole: whole / 100)


HYDRANT = {
    "family": maybe(st.sampled_from(["Tern", "Alder", "Yew"])),
    "barrel": st.sampled_from([None, "dry", "dry", "dry", "wet", "other"]),
    "status": st.sampled_from([None, "in_service", "out_of_service", "retired"]),
    "hose_outlet_in": maybe(st.just(2.5)),
    "pumper_outlet_in": maybe(st.sampled_from([4.5, 5.0])),
    "bury_ft": maybe(st.sampled_from([3.5, 5.0, 7.5])),
    "installed_extension_in": st.sampled_from([None, 0.0, 6.0, 12.0, 18.0]),
    "address": maybe(st.sampled_from(["1 Elm St", "2 Elm St"])),
}
READING = {
    "hydrant_id": st.sampled_from([*IDS, "not there"]),
    "reading_date": st.sampled_from(DAYS),
    "method": st.sampled_from(METHODS),
    "measured_to": st.sampled_from([None, *MEASURED_TO, *["hose-centerline"] * 6]),
    "measured_from": st.sampled_from([None, *MEASURED_FROM, *["grade"] * 3]),
    "outlet_height_in": maybe(decimals(-40, 70)),
    "outlet_elev_ft": maybe(decimals(98, 106)),
    "grade_elev_ft": maybe(decimals(99, 101)),
    "vertical_datum": st.just("NAVD88"),
    "flange_height_in": maybe(decimals(-20, 12)),
    "curb_above_grade_in": maybe(decimals(-6, 12)),
    "curb_distance_in": maybe(decimals(0, 80)),
    "height_sd_in": maybe(st.sampled_from([0.1, 0.3, 2.0])),
}


@st.composite
def _district(draw):
    facts = draw(st.lists(st.fixed_dictionaries(HYDRANT), min_size=1, max_size=len(IDS)))
    told = draw(st.lists(st.fixed_dictionaries(READING), max_size=12))
    ids = IDS[: len(facts)]
    points = gpd.points_from_xy(np.arange(len(ids)) * 500.0, np.zeros(len(ids)))
    frame = pd.DataFrame(facts, columns=list(HYDRANT)).assign(hydrant_id=ids)
    hydrants = HYDRANTS.conform(gpd.GeoDataFrame(frame, geometry=points, crs=2249))
    rows = pd.DataFrame(told, columns=list(READING))
    rows = rows.assign(reading_id=[f"R{i:02}" for i in range(len(rows))])
    return hydrants, READINGS.conform(rows)


@pytest.fixture(scope="session")
def districts():
    """Strategy: a hydrants table and a readings table about them, with gaps in everything."""
    return _district()


@pytest.fixture(scope="session")
def catalogue():
    """Two families of kits; the third family of the districts has none."""
    families = tuple(
        Family(name=name, kits=tuple(Kit(kit_id=f"{name}-{v:g}", length_in=v) for v in lengths))
        for name, lengths in (("Tern", (6.0, 12.0, 18.0, 24.0)), ("Alder", (4.0, 9.0, 16.0)))
    )
    return KitCatalogue(
        catalogue_id="c", title="c", source="invented", read_on=dt.date(2026, 1, 1),
        families=families, house=HouseRules(longest_total_in=24.0),
    )  # fmt: skip
