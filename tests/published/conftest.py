"""One way through the whole calculation: readings in, checked hydrants out."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from hydrantgis.assess.check import check
from hydrantgis.ground.tables import HYDRANTS, READINGS
from hydrantgis.heights.basis import basis_heights
from hydrantgis.standards.load import load_kits

COLUMNS_OF_A_READING = set(READINGS.names)


@pytest.fixture(scope="session")
def judge():
    """
    Checked hydrants with their findings, one hydrant and one reading a value.

    Columns go to the reading where it has them, else to the hydrant; one value stands for all.
    """

    def judge(rule, *, kits=None, **columns):
        n = max(np.size(values) for values in columns.values())
        ids = [f"H{i}" for i in range(n)]
        told = {k: v for k, v in columns.items() if k in COLUMNS_OF_A_READING}
        facts = {k: v for k, v in columns.items() if k not in COLUMNS_OF_A_READING}
        hydrants = HYDRANTS.conform(
            gpd.GeoDataFrame(
                {"hydrant_id": ids, "barrel": "dry", "installed_extension_in": 0.0, **facts},
                geometry=gpd.points_from_xy(np.arange(n) * 500.0, np.zeros(n)),
                crs=2249,
            )
        )
        readings = READINGS.conform(
            pd.DataFrame(
                {
                    "reading_id": ids,
                    "hydrant_id": ids,
                    "method": "tape",
                    "measured_from": "grade",
                    "reading_date": "2026-06-01",
                    **told,
                }
            )
        )
        basis, on_heights = basis_heights(hydrants, readings, rule)
        checked, on_check = check(hydrants, basis, rule=rule, kits=kits or load_kits("generic"))
        return checked, pd.concat([on_heights, on_check], ignore_index=True)

    return judge
