"""Real layers that nobody here made; skipped where HYDRANTGIS_OPEN_DATA names no folder.

Cambridge: City of Cambridge, Massachusetts, ODC PDDL 1.0. Freeport: data provided by the Grand
Bahama Port Authority, CC BY 4.0. The counts were taken with a JSON and a CSV reader alone.
"""

from __future__ import annotations

import csv
import datetime as dt
import json
from collections import Counter
from dataclasses import replace
from math import cos, hypot, radians

import pytest

from hydrantgis import job
from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.words import IntakeWords
from hydrantgis.register.store import Register

NOW = dt.datetime(2026, 11, 1, 12)
GB_HYDRANTS = IntakeWords(
    crs="EPSG:4326", number_rows="GB-", units={"main_valve_in": LengthUnit.IN}
)
GB_READINGS = IntakeWords(
    number_rows="GB-",
    units={"outlet_height_in": LengthUnit.FT},
    constants={"method": "eye", "measured_to": "any-centerline", "measured_from": "grade"},
)


def test_cambridge_keeps_every_hydrant(open_data, tmp_path) -> None:
    source = open_data / "cambridge_ma" / "INFRA_Hydrants.geojson"
    rows = json.loads(source.read_text())["features"]
    ids = Counter(row["properties"]["HYDRANT_ID"] for row in rows)
    blank = ids.pop(None)
    repeated = sum(many for many in ids.values() if many > 1)
    register = tmp_path / "register.gpkg"
    intake, added = job.bring_in(register, source, now=NOW)
    assert (intake.count.rows, blank, repeated) == (1960, 36, 12)
    assert intake.count.held == blank + repeated
    assert intake.count.accepted == added.rows == 1960 - 36 - 12
    districts = open_data / "cambridge_ma" / "PUBLICSAFETY_FireEngineDistricts.geojson"
    job.bring_in(register, districts, "areas", now=NOW)
    result = job.check(register, rule="nfpa24-2019", kits="generic")
    counts = result.counts()
    abandoned = Counter(row["properties"]["LIFECYCLESTATUS"] for row in rows)["ABN"]
    assert counts["measured"] == 0
    assert counts["not_judged"] == abandoned == 4
    assert counts["unmeasured"] == 1912 - 4
    assert set(result.table["remedy"]) == {"measure", "none"}
    season = job.plan(result)
    assert len(season.jobs) == 0
    assert season.area_totals["hydrants"].sum() == 1912
    # points did not move
    first = rows[0]["geometry"]["coordinates"]
    point = result.hydrants.geometry.iloc[0]
    assert (point.x, point.y) == pytest.approx(tuple(first), abs=1e-12)


@pytest.mark.parametrize("ending", ["csv", "geojson", "gml", "kml"])
def test_freeport_comes_in_alike_from_every_format(open_data, tmp_path, ending) -> None:
    source = open_data / "grandbahama" / f"fire_hydrants.{ending}"
    intake, _ = job.bring_in(tmp_path / "register.gpkg", source, words=GB_HYDRANTS, now=NOW)
    assert (intake.count.rows, intake.count.accepted) == (176, 176)
    assert Counter(intake.accepted["barrel"]) == {"dry": 163, "other": 13}
    assert not list(source.parent.glob("*.gfs"))  # no side file beside somebody else's data


VINTAGES = ("_94d56bc", "_6f0a3b1", "_50d3765", "")
FT_A_DEGREE = 364_567.2  # of latitude at 42.4 N on WGS 84 (111,120 m); of longitude times 0.7400


def apart_ft(a: tuple[float, float], b: tuple[float, float]) -> float:
    east = (a[0] - b[0]) * cos(radians(42.378)) * FT_A_DEGREE * 1.0047
    return hypot(east, (a[1] - b[1]) * FT_A_DEGREE * 0.99968)


def pairs_in_place(
    ours: dict[str, tuple[float, float]], theirs: dict[str, tuple[float, float]]
) -> dict[str, str]:
    """Names of two lists within 3 ft of each other that have nobody else within 3 ft."""
    near = [(a, b) for a, p in ours.items() for b, q in theirs.items() if apart_ft(p, q) <= 3]
    left, right = Counter(a for a, _ in near), Counter(b for _, b in near)
    return {a: b for a, b in near if left[a] == right[b] == 1}


def test_four_vintages_of_cambridge_are_told_apart(open_data, tmp_path) -> None:
    register = tmp_path / "register.gpkg"
    stood: dict[str, tuple[float, float]] = {}
    told: dict[str, dict[str, str]] = {}
    gone: set[str] = set()
    dead: set[str] = set()  # the layer itself says abandoned
    for name in VINTAGES:
        source = open_data / "cambridge_ma" / f"INFRA_Hydrants{name}.geojson"
        rows = json.loads(source.read_text())["features"]
        ids = Counter(row["properties"].get("HYDRANT_ID") for row in rows)
        places = {
            str(n): (row["properties"].get("HYDRANT_ID"), tuple(row["geometry"]["coordinates"][:2]))
            for n, row in enumerate(rows)
        }
        once = {h: p for h, p in places.values() if h is not None and ids[h] == 1}
        nameless = {n: p for n, (h, p) in places.items() if h is None}
        free = {h: p for h, p in stood.items() if h not in ids}
        named = pairs_in_place(nameless, free)
        once |= {h: nameless[n] for n, h in named.items()}
        present = (set(ids) - {None}) | set(named.values())

        lost = {h for h in stood if h not in present and h not in gone | dead}
        fresh = {h: p for h, p in once.items() if h not in stood}
        again = pairs_in_place(fresh, {h: stood[h] for h in lost})
        moved = {h for h, p in once.items() if h in stood and apart_ft(p, stood[h]) > 1}
        expected = {
            "new": len(fresh) - len(again), "renumbered": len(again), "gone": len(lost),
            "reappeared": len(gone & set(once)), "moved": len(moved),
        }  # fmt: skip
        living = set(stood) - gone - dead
        for row in rows:
            hydrant = row["properties"].get("HYDRANT_ID")
            if hydrant in once and row["properties"].get("LIFECYCLESTATUS") in ("ACT", "ABN"):
                dead.discard(hydrant)
                dead |= {hydrant} if row["properties"]["LIFECYCLESTATUS"] == "ABN" else set()
        changed = Counter()
        for n, row in enumerate(rows):
            hydrant = row["properties"].get("HYDRANT_ID") or named.get(str(n))
            if hydrant not in once:
                continue
            for field, column in (("HYDRANT_MANF", "family"), ("HYDRANT_LOCATION", "address")):
                text = (row["properties"].get(field) or "").strip()
                known = told.setdefault(hydrant, {})
                changed[column] += bool(text) and hydrant in stood and known.get(column) != text
                known.update({column: text} if text else {})

        intake, added = job.bring_in(register, source, now=NOW)
        counts = added.changes.drop_duplicates(["change", "hydrant_id"])["change"].value_counts()
        if stood:
            assert {kind: int(counts.get(kind, 0)) for kind in expected} == expected, name
            columns = added.changes["column"].value_counts()
            assert {c: int(columns.get(c, 0)) for c in changed} == dict(changed), name
            assert (added.vintage.held, added.vintage.living) == (
                len(living & present), len(living),
            )  # fmt: skip
        assert intake.count.accepted == len(once)
        stood |= once
        gone = (gone | lost) - set(once)
    state = Register(register).hydrants()
    assert set(state["hydrant_id"]) == set(stood)
    assert set(state.loc[state["status"] == "retired", "hydrant_id"]) >= gone


def test_freeport_zip_lies_where_the_others_lie(open_data, tmp_path) -> None:
    folder = open_data / "grandbahama"
    zipped, _ = job.bring_in(
        tmp_path / "a.gpkg", folder / "Fire_Hydrants_shp.zip",
        words=IntakeWords(number_rows="GB-", units={"main_valve_in": LengthUnit.IN}), now=NOW,
    )  # fmt: skip
    plain, _ = job.bring_in(
        tmp_path / "b.gpkg", folder / "fire_hydrants.geojson", words=GB_HYDRANTS, now=NOW
    )
    assert zipped.crs.to_epsg() == 32617
    apart = zipped.accepted.geometry.to_crs(32617).distance(plain.accepted.geometry.to_crs(32617))
    assert apart.max() < 0.01  # metres


def test_freeport_heights_are_read_and_standpipes_are_not_judged(open_data, tmp_path) -> None:
    source = open_data / "grandbahama" / "fire_hydrants.csv"
    with source.open(encoding="utf-8-sig") as stream:
        rows = list(csv.DictReader(stream))
    told = [row["Height_of_"] for row in rows]
    assert len(set(told) - {""}) == 18
    register = tmp_path / "register.gpkg"
    job.bring_in(register, source, words=GB_HYDRANTS, now=NOW)
    readings, _ = job.bring_in(register, source, "readings", words=GB_READINGS, now=NOW)
    assert readings.count.rows == 176
    assert readings.count.rejected == told.count("") == 9
    assert readings.count.held == 1  # `2.5ftt`
    assert readings.exceptions.loc[readings.exceptions["outcome"] == "held", "key"].tolist() == [
        "GB-141"
    ]
    # by hand: digits are feet, whatever stands behind them
    feet = [float(t.replace("ft", "").strip()) for t in told if t and t != "2.5ftt"]
    assert sorted(readings.accepted["outlet_height_in"]) == pytest.approx(
        sorted(f * 12 for f in feet)
    )
    result = job.check(register, rule="bowling-green-ky-2021", kits="generic")
    counts = result.counts()
    assert counts["not_judged"] == sum(row["Style"] == "Standpipe" for row in rows) == 13
    assert counts["hydrants"] == 176
    # told by eye: it ranks visits, and orders no kit
    assert set(result.table["remedy"]) == {"measure", "none"}
    with_spelling = replace(GB_READINGS, spellings={"ftt": LengthUnit.FT})
    more, added = job.bring_in(register, source, "readings", words=with_spelling, now=NOW)
    assert (more.count.held, added.rows, added.unchanged) == (0, 1, 166)
