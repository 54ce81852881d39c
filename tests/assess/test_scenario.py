"""What a change of grade does to verdicts and jobs."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.assess.scenario import compare, effects
from hydrantgis.ground.results import CHECKED, KIT_REMEDIES, REMEDIES, VERDICTS
from hydrantgis.heights.changes import Change

verdicts = st.none() | st.sampled_from(VERDICTS)
rows = st.tuples(verdicts, st.sampled_from(REMEDIES), st.none() | st.sampled_from(["K6", "K12"]))


@given(st.lists(st.tuples(verdicts, verdicts), min_size=1, max_size=12))
def test_the_effect_is_what_reading_both_verdicts_says(pairs):
    now = pd.Series([a for a, _ in pairs], dtype="str")
    then = pd.Series([b for _, b in pairs], dtype="str")
    out = ("low", "high")
    for (a, b), told in zip(pairs, effects(now, then), strict=True):
        if a == "inside" and b in out:
            assert told == "leaves"
        elif a in out and b == "inside":
            assert told == "enters"
        elif a in out and b in out:
            assert told == "stays out"
        elif a == b == "inside":
            assert told == "stays inside"
        else:
            assert told == "not told"


def checked(told):
    frame = pd.DataFrame(told, columns=["verdict", "remedy", "kit_id"])
    frame["hydrant_id"] = [f"H{n}" for n in range(len(told))]
    points = gpd.points_from_xy(np.arange(len(told)), np.zeros(len(told)))
    return CHECKED.conform(gpd.GeoDataFrame(frame, geometry=points, crs=2249))


@given(st.lists(st.tuples(rows, rows), min_size=1, max_size=8))
def test_a_job_is_wrong_where_another_serves_then_and_that_is_known(pairs):
    n = len(pairs)
    change = Change(np.full(n, 2.0), np.zeros(n), np.full(n, "works", dtype=object))
    table = compare(checked([a for a, _ in pairs]), checked([b for _, b in pairs]), change)
    for (now, then), wrong in zip(pairs, table["job_wrong"], strict=True):
        planned = now[1] in KIT_REMEDIES
        known = then[0] in ("inside", "low", "high")
        assert wrong == (planned and known and now[1:] != then[1:])
    assert table["grade_change_in"].tolist() == [2.0] * n
    assert table.crs.to_epsg() == 2249
