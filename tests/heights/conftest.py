"""Small hydrant and reading tables."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from hydrantgis.ground.tables import HYDRANTS, READINGS


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
