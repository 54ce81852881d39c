"""Nothing falls between the lists of a season, and the totals add up."""

from __future__ import annotations

import datetime as dt

import geopandas as gpd
import pandas as pd
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from hydrantgis.assess.check import check
from hydrantgis.ground.results import KIT_REMEDIES, OTHER_LISTS, VERDICTS
from hydrantgis.ground.tables import AREAS
from hydrantgis.heights.basis import basis_heights
from hydrantgis.season.lists import season_lists
from hydrantgis.standards.load import load_rule

RULE = load_rule("bowling-green-ky-2021")
TODAY = dt.date(2026, 11, 1)
AREA_IDS = ["N", "S", "empty"]
# a whole check stands behind each example
FEWER = settings(max_examples=settings.default.max_examples // 2)


def areas_table():
    squares = [shapely.MultiPolygon([shapely.box(i, 0, i + 1, 1)]) for i in range(len(AREA_IDS))]
    return AREAS.conform(
        gpd.GeoDataFrame(
            {"area_id": AREA_IDS, "area_title": ["North", "South", "Nobody"]},
            geometry=squares,
            crs=2249,
        )
    )


def draw_season(data, districts, catalogue, *, areas):
    hydrants, readings = data.draw(districts)
    where = st.sampled_from(["N", "S", None])
    area_ids = data.draw(st.lists(where, min_size=len(hydrants), max_size=len(hydrants)))
    basis, _ = basis_heights(hydrants, readings, RULE)
    checked, _ = check(
        hydrants, basis, rule=RULE, kits=catalogue,
        area_ids=pd.Series(area_ids, index=hydrants.index, dtype="str"),
    )  # fmt: skip
    return checked, season_lists(checked, hydrants, areas, today=TODAY)


@FEWER
@given(data=st.data())
def test_every_hydrant_with_work_stands_in_exactly_one_list(districts, catalogue, data):
    checked, season = draw_season(data, districts, catalogue, areas=areas_table())
    listed = [*season.jobs["hydrant_id"]]
    for remedy, frame in season.others.items():
        listed += [*frame["hydrant_id"]]
        assert (frame["remedy"] == remedy).all()
    assert season.jobs["remedy"].isin(KIT_REMEDIES).all()
    assert sorted(listed) == sorted(checked.loc[checked["remedy"] != "none", "hydrant_id"])


@FEWER
@given(data=st.data())
def test_area_totals_add_up_to_the_hydrants(districts, catalogue, data):
    checked, season = draw_season(data, districts, catalogue, areas=areas_table())
    totals = season.area_totals
    assert totals["hydrants"].sum() == len(checked)
    assert set(AREA_IDS) <= set(totals["area_id"].dropna())
    assert not totals["area_id"].duplicated().any()
    by_verdict = totals[[*VERDICTS, "not_judged"]].sum(axis=1)
    assert by_verdict.tolist() == totals["hydrants"].tolist()
    measured = totals[["inside", "low", "high", "unresolved"]].sum(axis=1)
    assert measured.tolist() == totals["measured"].tolist()
    for row in totals.to_dict("records"):
        known = pd.notna(row["area_id"])
        here = checked[
            (checked["area_id"] == row["area_id"]) if known else checked["area_id"].isna()
        ]
        assert row["hydrants"] == len(here)
        for verdict in VERDICTS:
            assert row[verdict] == (here["verdict"] == verdict).sum()
        assert row["jobs"] == here["remedy"].isin(KIT_REMEDIES).sum()
        for remedy in OTHER_LISTS:
            assert row[f"to_{remedy}"] == (here["remedy"] == remedy).sum()


@FEWER
@given(data=st.data())
def test_kit_totals_are_the_kits_of_the_jobs(districts, catalogue, data):
    checked, season = draw_season(data, districts, catalogue, areas=areas_table())
    kits = season.kit_totals
    assert kits["kits"].sum() == checked["kit_id"].notna().sum() == season.area_totals["kits"].sum()
    assert not kits.duplicated(["area_id", "family", "kit_id"]).any()
    for row in kits.to_dict("records"):
        jobs = season.jobs[season.jobs["kit_id"] == row["kit_id"]]
        for column in ("area_id", "family"):
            same = jobs[column] == row[column] if pd.notna(row[column]) else jobs[column].isna()
            jobs = jobs[same]
        assert len(jobs) == row["kits"]
        assert (jobs["kit_length_in"] == row["kit_length_in"]).all()


@FEWER
@given(data=st.data())
def test_without_areas_the_lists_are_the_same(districts, catalogue, data):
    checked, season = draw_season(data, districts, catalogue, areas=areas_table().iloc[:0])
    listed = len(season.jobs) + sum(len(frame) for frame in season.others.values())
    assert listed == (checked["remedy"] != "none").sum()
    assert season.area_totals["hydrants"].sum() == len(checked)
