"""
What a change of grade does: verdict and remedy as they are and as they will be, side by side.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np

from hydrantgis.ground.results import KIT_REMEDIES, SCENARIO

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from hydrantgis.heights.changes import Change


def effects(now: pd.Series, then: pd.Series) -> NDArray[np.object_]:
    """
    What becomes of the verdict, one of `EFFECTS`, shape (n,).

    Parameters
    ----------
    now, then
        Verdicts, same index; missing where none is given.

    Examples
    --------
    >>> import pandas as pd
    >>> now, then = pd.Series(["inside", "low", "high"]), pd.Series(["low", "low", "inside"])
    >>> effects(now, then).tolist()
    ['leaves', 'stays out', 'enters']
    """
    inside, inside_then = now == "inside", then == "inside"
    out, out_then = now.isin(["low", "high"]), then.isin(["low", "high"])
    return np.select(
        [inside & out_then, out & inside_then, out & out_then, inside & inside_then],
        ["leaves", "enters", "stays out", "stays inside"],
        "not told",
    ).astype(object)


def compare(now: gpd.GeoDataFrame, then: pd.DataFrame, change: Change) -> gpd.GeoDataFrame:
    """
    The `scenario` table.

    Parameters
    ----------
    now, then
        The `checked` table under the grade that is and the grade to come, same index.
    change
        Of the grade at each hydrant.

    Returns
    -------
    scenario
        Same index. A job becomes wrong where a kit is planned and another remedy, or another kit,
        serves then; where the height then is not known nothing is said against it.
    """
    planned = now["remedy"].isin(KIT_REMEDIES)
    other = now["remedy"] != then["remedy"]
    other |= now["kit_id"].fillna("") != then["kit_id"].fillna("")
    other &= then["verdict"].isin(["inside", "low", "high"])
    return gpd.GeoDataFrame(
        SCENARIO.conform(
            gpd.GeoDataFrame(
                {
                    "hydrant_id": now["hydrant_id"],
                    "area_id": now["area_id"],
                    "grade_change_in": change.change_in,
                    "grade_change_sd_in": change.sd_in,
                    "effect": effects(now["verdict"], then["verdict"]),
                    "job_wrong": planned & other,
                    "outlet_height_in": now["outlet_height_in"],
                    "outlet_height_then_in": then["outlet_height_in"],
                    "height_sd_then_in": then["height_sd_in"],
                    "verdict": now["verdict"],
                    "verdict_then": then["verdict"],
                    "marginal_then": then["marginal"],
                    "p_inside_then": then["p_inside"],
                    "remedy": now["remedy"],
                    "remedy_then": then["remedy"],
                    "remedy_then_reason": then["remedy_reason"],
                    "kit_id": now["kit_id"],
                    "kit_then_id": then["kit_id"],
                    "kit_length_then_in": then["kit_length_in"],
                },
                geometry=now.geometry,
            )
        )
    )
