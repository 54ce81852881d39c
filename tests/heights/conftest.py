"""Small hydrant and reading tables, and how many examples a property is tried on."""

from __future__ import annotations

import os

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, settings

from hydrantgis.ground.tables import HYDRANTS, READINGS

# quick: the same examples each time, and the first that fails as it is;
# thorough (HYPOTHESIS_PROFILE=thorough): new ones each time, and the smallest that fails
settings.register_profile(
    "quick",
    max_examples=40,
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
)
settings.register_profile("thorough", max_examples=1000, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))


@pytest.fixture(scope="session")
def hydrants():
    """A hydrants table of the ids given, 500 ft apart."""

    def make(ids, **columns):
        points = gpd.points_from_xy(np.arange(len(ids)) * 500.0, np.zeros(len(ids)))
        frame = gpd.GeoDataFrame({"hydrant_id": ids, **columns}, geometry=points, crs=2249)
        return HYDRANTS.conform(frame)

    return make


@pytest.fixture(scope="session")
def readings():
    """A readings table: tape, from grade to the centerline of the hose outlet, if not said."""

    def make(hydrant_ids, **columns):
        usual = {
            "reading_id": [f"R{i}" for i in range(len(hydrant_ids))],
            "hydrant_id": hydrant_ids,
            "method": "tape",
            "measured_from": "grade",
            "measured_to": "hose-centerline",
            "reading_date": "2026-06-01",
        }
        return READINGS.conform(pd.DataFrame({**usual, **columns}))

    return make
