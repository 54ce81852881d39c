"""The demo district against its truth table, which was made without the package."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import fiona
import geopandas as gpd
import pandas as pd
import pyogrio
import pytest

from hydrantgis import demo as district
from hydrantgis import job
from hydrantgis.ground.errors import WordsError
from hydrantgis.ground.results import CHECKED

TRUTH = Path(__file__).parent.parent / "data_demo" / "truth.csv"


@pytest.fixture(scope="module")
def truth() -> pd.DataFrame:
    return pd.read_csv(TRUTH, dtype={"hydrant_id": "str"}).set_index("hydrant_id")


def test_every_hydrant_made_plain_is_found_as_it_was_made(demo, truth) -> None:
    verdict = demo[0].table.set_index("hydrant_id")["verdict"].astype("object")
    assert set(verdict.index) == set(truth.index)
    for made in ("inside", "low", "high", "unmeasured"):
        ids = truth.index[truth["made"] == made]
        assert len(ids) >= 20
        assert (verdict[ids] == made).all()
    ids = truth.index[truth["made"] == "not judged"]
    assert verdict[ids].isna().all()


def test_what_was_made_too_close_is_marginal_or_unresolved(demo, truth) -> None:
    table = demo[0].table.set_index("hydrant_id")
    close = table.loc[truth.index[truth["made"] == "too close to call"]]
    told = close["marginal"].fillna(False) | (close["verdict"] == "unresolved")
    assert len(close) >= 15
    assert told.mean() >= 0.9  # a tape may stray past its own expanded uncertainty now and then
    assert (close["verdict"] == "unresolved").any()


def test_heights_lie_within_their_stated_uncertainty(demo, truth) -> None:
    # GUM: about 95 % of true values lie within twice the standard uncertainty
    table = demo[0].table.set_index("hydrant_id")
    measured = table[table["outlet_height_in"].notna() & table["height_basis"].ne("eye")]
    error = measured["outlet_height_in"] - truth.loc[measured.index, "true_height_in"]
    inside = (error.abs() <= 2 * measured["height_sd_in"]).mean()
    assert 0.9 <= inside <= 1.0
    by_shots = measured["height_basis"].str.contains("shots")
    assert by_shots.sum() == 25
    assert (error[by_shots].abs() < 3 * measured.loc[by_shots, "height_sd_in"]).all()


def test_kit_jobs_put_the_true_hydrant_inside_both_windows(demo, truth) -> None:
    checked = demo[0]
    fitted = checked.table[checked.table["remedy"].isin(["extend", "exchange", "remove"])]
    assert len(fitted) > 60
    after = fitted["outlet_height_after_in"]
    assert after.between(18, 24).all()
    flange = fitted["flange_height_after_in"].dropna()
    assert flange.between(2, 6).all()
    true_after = truth.loc[fitted["hydrant_id"], "true_height_in"].to_numpy() + fitted["raise_in"]
    assert true_after.between(18 - 1.0, 24 + 1.0).all()  # contact readings are good to an inch


def test_every_remedy_that_is_not_none_stands_in_one_list(demo) -> None:
    checked, season = demo[0], demo[1]
    listed = [*season.jobs["hydrant_id"]]
    for frame in season.others.values():
        listed += [*frame["hydrant_id"]]
    wanted = checked.table.loc[checked.table["remedy"] != "none", "hydrant_id"]
    assert sorted(listed) == sorted(wanted)
    assert season.area_totals["hydrants"].sum() == len(checked.table)
    assert season.kit_totals["kits"].sum() == checked.table["kit_id"].notna().sum()


def test_every_row_of_every_source_is_accounted_for(demo) -> None:
    for name, intake in demo[3]:
        count = intake.count
        assert count.rows == count.accepted + count.held + count.rejected, name
        assert len(intake.exceptions) == count.held + count.rejected, name
    readings = dict(demo[3])["readings_2026.csv as readings"]
    aside = readings.exceptions.set_index("code")["outcome"].to_dict()
    assert aside == {
        "height-implausible": "rejected",
        "unknown-hydrant": "held",
        "row-repeated": "rejected",
    }


def test_streets_of_the_demo_meet_and_hydrants_stand_beside_their_own(demo) -> None:
    checked = demo[0]
    streets, hydrants = checked.streets, checked.hydrants
    lines = [line for shape in streets.geometry for line in shape.geoms]
    root: dict[tuple[float, float], tuple[float, float]] = {}

    def of(end: tuple[float, float]) -> tuple[float, float]:
        while root.setdefault(end, end) != end:
            end = root[end]
        return end

    for line in lines:
        root[of(line.coords[0])] = of(line.coords[-1])
    assert len({of(end) for end in list(root)}) == 1  # every street leads to every other
    for at, address in zip(hydrants.geometry, hydrants["address"], strict=True):
        own = streets[streets["street_title"] == address.split(" ", 1)[1]]
        assert 14.9 < own.distance(at).min() < 20.1, address


def test_the_next_hydrant_of_the_demo_is_told_along_streets(demo) -> None:
    told = demo[1].visits["priority_reasons"].dropna()
    assert told.str.contains("ft along streets").any()
    assert not told.str.contains("next hydrant about").any()


def test_the_checked_layer_opens_elsewhere_with_the_promised_columns(demo) -> None:
    path = next(p for p in demo[2] if p.name == "checked.gpkg")
    assert [name for name, _ in pyogrio.list_layers(path)] == [
        "checked",
        "exceptions",
        "remedies",
        "area_figures",
        "provenance",
        "grades",
        "layer_styles",
    ]
    frame = gpd.read_file(path, layer="checked")
    assert list(frame.columns) == [*CHECKED.names, "geometry"]
    assert frame.crs.to_epsg() == 3736
    with fiona.open(path, layer="checked") as collection:  # another GDAL than the writer's
        assert len(collection) == len(frame)
        assert list(collection.schema["properties"]) == CHECKED.names
        assert collection.schema["properties"]["marginal"] == "bool"
        assert collection.schema["properties"]["reading_date"] == "date"
    provenance = gpd.read_file(path, layer="provenance")
    told = dict(zip(provenance["item"], provenance["value"], strict=True))
    assert told["rule"].startswith("tesselbrook-2026")
    assert told["house rule: one extension per hydrant"] == "on"
    assert (provenance["item"] == "caution").any()


def test_the_demo_takes_nobodys_register_away(tmp_path) -> None:
    register = tmp_path / "register.gpkg"
    copy = tmp_path / "ours.gpkg"
    shutil.copy(district.folder() / "district.gpkg", copy)
    job.bring_in(register, copy, words=job.IntakeWords(layer="hydrants"))
    before = register.read_bytes()
    with pytest.raises(WordsError, match="not the demo's"):
        district.run(tmp_path)
    assert register.read_bytes() == before


def test_results_do_not_take_the_place_of_somebody_elses_layers(demo, tmp_path) -> None:
    path = tmp_path / "checked.gpkg"
    demo[0].write(path)
    demo[0].write(path)  # our own are replaced
    demo[0].areas.to_file(path, layer="drawn_by_hand")
    before = path.read_bytes()
    with pytest.raises(WordsError, match="drawn_by_hand"):
        demo[0].write(path)
    assert path.read_bytes() == before


@pytest.mark.slow
def test_the_demo_twice_gives_the_same_bytes(demo, tmp_path) -> None:
    again = district.run(tmp_path / "again")
    for first, second in zip(demo[2], again[2], strict=True):
        one = hashlib.sha256(first.read_bytes()).hexdigest()
        assert one == hashlib.sha256(second.read_bytes()).hexdigest(), first.name
