"""Small tables of hydrants and their heights."""

from __future__ import annotations

import dataclasses
import datetime as dt

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from hydrantgis.ground.tables import HYDRANTS
from hydrantgis.standards.kits import Family, HouseRules, Kit, KitCatalogue
from hydrantgis.standards.load import load_rule
from hydrantgis.standards.rules import Window


@pytest.fixture(scope="session")
def rule_of():
    """A rule from grade with the window and the flange window given."""

    def make(lo=18.0, hi=24.0, *, flange=(-np.inf, np.inf), target=None, **changes):
        return dataclasses.replace(
            load_rule("nfpa24-2019"),
            window=Window(lo_in=lo, hi_in=hi, target_in=target),
            flange=Window(lo_in=flange[0], hi_in=flange[1]),
            **changes,
        )

    return make


@pytest.fixture(scope="session")
def family_of():
    """A family of the lengths given."""

    def make(*lengths, name="*"):
        kits = tuple(Kit(kit_id=f"{name}{v:g}", length_in=v) for v in lengths)
        return Family(name=name, kits=kits)

    return make


@pytest.fixture(scope="session")
def catalogue_of():
    """A catalogue of the families given."""

    def make(*families, house=None):
        return KitCatalogue(
            catalogue_id="c", title="c", source="invented", read_on=dt.date(2026, 1, 1),
            families=families, house=house or HouseRules(),
        )  # fmt: skip

    return make


@pytest.fixture(scope="session")
def hydrants():
    """A hydrants table of dry barrels."""

    def make(n, **columns):
        ids = [f"H{i}" for i in range(n)]
        frame = {"hydrant_id": ids, "barrel": "dry", "installed_extension_in": 0.0, **columns}
        points = gpd.points_from_xy(np.arange(n) * 500.0, np.zeros(n))
        return HYDRANTS.conform(gpd.GeoDataFrame(frame, geometry=points, crs=2249))

    return make


@pytest.fixture(scope="session")
def heights():
    """What the heights room hands over."""

    def make(outlet, *, flange=np.nan, sd=0.25, screening=False, why_not=None):
        frame = pd.DataFrame({"outlet_height_in": np.asarray(outlet, dtype="float64")})
        return frame.assign(
            height_sd_in=np.where(frame["outlet_height_in"].isna(), np.nan, sd),
            height_basis="tape",
            reading_date=pd.Timestamp("2026-06-01"),
            screening=screening,
            flange_height_in=np.asarray(flange, dtype="float64") + np.zeros(len(frame)),
            why_not=pd.Series(why_not, index=frame.index, dtype="str"),
        )

    return make
