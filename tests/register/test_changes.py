"""A newer vintage of a layer: what is new, gone, moved, changed, back again; nothing is deleted."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from hydrantgis import job
from hydrantgis.ground.errors import RegisterError
from hydrantgis.intake.words import IntakeWords
from hydrantgis.register.store import Register

if TYPE_CHECKING:
    from hydrantgis.register.additions import Added

NOW = dt.datetime(2026, 11, 1, 12)
WEST, SOUTH = 760_000.0, 2_950_000.0


def layer(**hydrants: object) -> gpd.GeoDataFrame:
    """A layer of hydrants: id and how far east it stands, or (how far east, bury)."""
    told = [v if isinstance(v, tuple) else (v, 4.0) for v in hydrants.values()]
    return gpd.GeoDataFrame(
        {"HYD_ID": list(hydrants), "BURY_FT": [bury for _, bury in told]},
        geometry=[None if east is None else shapely.Point(WEST + east, SOUTH) for east, _ in told],
        crs=2249,
    )


class Town:
    """A register and the layers that are brought into it."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.register = folder, folder / "register.gpkg"
        self.number = 0

    def tell(self, frame: gpd.GeoDataFrame, **words: object) -> Added:
        self.number += 1
        source = self.folder / f"layer_{self.number}.gpkg"
        frame.to_file(source)
        said = words.pop("words", None)
        return job.bring_in(self.register, source, words=said, now=NOW, **words)[1]

    def kinds(self, added: Added) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for hydrant, kind in zip(added.changes["hydrant_id"], added.changes["change"], strict=True):
            found.setdefault(kind, []).append(hydrant)
        return {kind: sorted(ids) for kind, ids in found.items()}

    def status(self) -> dict[str, str | None]:
        state = Register(self.register).hydrants()
        return {
            h: None if pd.isna(s) else s
            for h, s in zip(state["hydrant_id"], state["status"], strict=True)
        }


@pytest.fixture
def town(tmp_path) -> Town:
    return Town(tmp_path)


def test_a_first_layer_is_no_change(town) -> None:
    added = town.tell(layer(A=0, B=100))
    assert added.vintage is None
    assert not len(added.changes)
    assert not (town.folder / "register_changes.csv").exists()


def test_each_kind_of_change_is_told_and_what_is_gone_is_retired(town) -> None:
    town.tell(layer(A=0, B=100, C=200, D=300))
    added = town.tell(layer(A=0, B=150, C=(200, 4.5), E=900))
    assert town.kinds(added) == {"moved": ["B"], "changed": ["C"], "new": ["E"], "gone": ["D"]}
    rows = added.changes.set_index("hydrant_id")
    # the CRS is in survey feet: 50 of them are 50.0001 international feet
    assert rows.loc["B", "moved_ft"] == pytest.approx(50.0001, abs=0.01)
    assert rows.loc["C", ["column", "before", "after"]].tolist() == ["bury_ft", "4", "4.5"]
    assert added.unchanged == 1
    assert (added.vintage.held, added.vintage.living) == (3, 4)
    assert added.vintage.source == "layer_1.gpkg"
    assert town.status() == {"A": None, "B": None, "C": None, "D": "retired", "E": None}


def test_the_same_layer_twice_changes_nothing(town) -> None:
    town.tell(layer(A=0, B=100))
    town.tell(layer(A=0, B=100))
    before = town.register.read_bytes()
    added = job.bring_in(town.register, town.folder / "layer_2.gpkg", now=NOW)[1]
    assert added.known
    assert town.register.read_bytes() == before


def test_there_and_back_again(town) -> None:
    one, two = layer(A=0, B=100, C=200), layer(A=0, B=100, D=300)
    town.tell(one)
    assert town.kinds(town.tell(two)) == {"gone": ["C"], "new": ["D"]}
    assert town.kinds(town.tell(one)) == {"gone": ["D"], "reappeared": ["C"]}
    assert town.status() == {"A": None, "B": None, "C": "in_service", "D": "retired"}
    assert town.kinds(town.tell(two)) == {"gone": ["C"], "reappeared": ["D"]}


def test_who_is_back_has_the_status_of_before_or_that_of_the_layer(town) -> None:
    def told(**status: str) -> gpd.GeoDataFrame:
        frame = layer(**{hydrant: 100 * n for n, hydrant in enumerate(status)})
        return frame.assign(STATUS=list(status.values()))

    town.tell(told(A="active", B="active", C="out of service"))
    town.tell(told(A="active", B="active"))
    again = told(A="active", B="active", C="active").assign(STATUS=["active", "active", None])
    town.tell(again)
    assert town.status()["C"] == "out_of_service"
    town.tell(told(A="active", B="active"))
    assert "reappeared" not in town.kinds(town.tell(told(A="active", B="active", C="retired")))
    assert town.status()["C"] == "retired"


def test_two_layers_side_by_side_do_not_retire_each_other(town) -> None:
    town.tell(layer(N1=0, N2=100, N3=200))
    south = town.tell(layer(S1=1000, S2=1100, S3=1200))
    assert town.kinds(south) == {"new": ["S1", "S2", "S3"]}
    assert south.vintage.of is None
    # a newer south lacks one of its own, and knows nothing of the north
    newer = town.tell(layer(S1=1000, S3=1200, S4=1300))
    assert town.kinds(newer) == {"new": ["S4"], "gone": ["S2"]}
    assert town.kinds(town.tell(layer(N1=0, N2=100))) == {"gone": ["N3"]}
    # and the hydrant that a newer vintage told first belongs to that layer as well
    assert town.kinds(town.tell(layer(S1=1000, S3=1200))) == {"gone": ["S4"]}


def test_a_short_list_only_adds_unless_it_is_said_to_be_whole(town) -> None:
    town.tell(layer(A=0, B=100, C=200, D=300, E=400))
    few = layer(A=0, B=(100, 5.0), F=900)
    added = town.tell(few)
    assert town.kinds(added) == {"changed": ["B"], "new": ["F"]}
    assert (added.vintage.of, added.vintage.held, added.vintage.living) == (None, 2, 5)
    whole = town.tell(few.assign(BURY_FT=6.0), replace=True)
    assert town.kinds(whole)["gone"] == ["C", "D", "E"]


def test_a_layer_that_adds_retires_nothing(town) -> None:
    town.tell(layer(A=0, B=100, C=200))
    assert town.kinds(town.tell(layer(A=0, B=100, D=300), adds=True)) == {"new": ["D"]}


def test_a_layer_that_lacks_many_is_told_as_an_error_unless_it_is_said_to_be_whole(town) -> None:
    ids = {f"H{n:02}": 100 * n for n in range(40)}
    town.tell(layer(**ids))
    few = layer(**dict(list(ids.items())[:34]))
    added = town.tell(few, dry_run=True)
    assert added.findings["code"].tolist() == ["many-gone"]
    assert added.findings["severity"].tolist() == ["error"]
    assert "6 hydrants of 40" in added.findings["message"].iloc[0]
    assert not len(town.tell(few, replace=True, dry_run=True).findings)
    assert not len(town.tell(layer(**dict(list(ids.items())[:36])), dry_run=True).findings)


def test_who_is_gone_and_then_told_as_retired_is_not_revived_by_a_blank(town) -> None:
    def told(status: str | None) -> gpd.GeoDataFrame:
        return layer(A=0, B=100, C=200).assign(STATUS=["in service", "in service", status])

    town.tell(told("in service"))
    town.tell(layer(A=0, B=100))
    assert town.status()["C"] == "retired"
    assert town.tell(told("retired")).rows == 1  # news: nobody had said so before
    town.tell(told(None))
    assert town.status()["C"] == "retired"


def test_layers_told_again_in_turn_leave_the_bytes(town) -> None:
    for frame in (layer(A=0, B=100), layer(S=900, T=950)):
        town.tell(frame)
    before = town.register.read_bytes()
    for number in (1, 2, 1):
        source = town.folder / f"layer_{number}.gpkg"
        assert job.bring_in(town.register, source, now=NOW)[1].known
    assert town.register.read_bytes() == before


def test_a_survey_told_again_with_other_words_is_noticed(town) -> None:
    town.tell(layer(A=0, B=100))
    source = town.folder / "readings.csv"
    source.write_text("HYDRANT,HEIGHT\nA,20 in\nB,21 in\n", encoding="utf-8")
    said = {"measured_to": "any-centerline", "measured_from": "grade"}
    for method, codes in (("tape", []), ("eye", ["told-before"])):
        words = IntakeWords(constants={**said, "method": method})
        added = job.bring_in(town.register, source, "readings", words=words, now=NOW)[1]
        assert added.findings["code"].tolist() == codes
        assert added.rows == 2


def test_a_hydrant_that_is_held_is_not_gone(town) -> None:
    town.tell(layer(A=0, B=100, C=200))
    twice = pd.concat([layer(A=0, B=100, C=200), layer(C=900)])
    assert "gone" not in town.kinds(town.tell(gpd.GeoDataFrame(twice, crs=2249)))


def test_a_point_computed_anew_is_where_it_was(town) -> None:
    frame = layer(A=0, B=100, C=200)
    town.tell(frame)
    added = town.tell(frame.to_crs(4326))
    assert (added.rows, len(added.changes), added.unchanged) == (0, 0, 3)


def test_a_small_move_is_taken_and_not_told(town) -> None:
    town.tell(layer(A=0, B=100))
    added = town.tell(layer(A=0.5, B=100))
    assert (added.rows, len(added.changes)) == (1, 0)
    assert Register(town.register).hydrants().geometry.x.iloc[0] == WEST + 0.5


def test_a_far_move_and_a_new_id_in_an_old_place_are_told(town) -> None:
    town.tell(layer(A=0, B=100, C=200, D=300))
    added = town.tell(layer(A=0, B=1100, C=200, K=301))
    assert set(added.findings["code"]) == {"moved-far", "renumbered"}
    rows = added.changes.set_index(["change", "hydrant_id"])["other_id"]
    assert rows["renumbered", "K"] == "D"
    assert rows["gone", "D"] == "K"
    assert "new" not in town.kinds(added)


def test_readings_of_who_is_gone_stay(town) -> None:
    town.tell(layer(A=0, B=100, C=200))
    source = town.folder / "readings.csv"
    source.write_text(
        "HYDRANT,DATE,METHOD,MEASURED_TO,MEASURED_FROM,HEIGHT_IN\n"
        "B,2026-05-01,tape,pumper-centerline,grade,20\n",
        encoding="utf-8",
    )
    job.bring_in(town.register, source, "readings", now=NOW)
    town.tell(layer(A=0, C=200))
    assert town.status()["B"] == "retired"
    assert Register(town.register).readings()["hydrant_id"].tolist() == ["B"]


def test_a_row_without_an_id_is_known_by_its_place_and_only_where_that_is_sure(town) -> None:
    town.tell(layer(A=0, B=100, C=200, D=300))
    newer = layer(A=0, b=101, c1=199, c2=201, e=900)
    newer["HYD_ID"] = ["A", None, None, None, None]
    intake, added = None, None
    source = town.folder / "newer.gpkg"
    newer.to_file(source)
    intake, added = job.bring_in(
        town.register, source, words=IntakeWords(same_place_ft=0), now=NOW, replace=True
    )
    assert str(intake.count) == "5 rows in = 2 accepted + 3 held + 0 rejected"
    assert intake.findings.query("code == 'id-by-place'")["key"].tolist() == ["B"]
    # two rows claim the place of C; nobody that of D
    assert town.kinds(added)["gone"] == ["C", "D"]
    assert len(Register(town.register).exceptions()) == 3


def test_a_row_without_an_id_is_not_named_where_a_row_with_one_stands_too(town) -> None:
    town.tell(layer(A=0, B=100, C=200))
    newer = layer(A=0, C=200, k=101, n=99)
    newer["HYD_ID"] = ["A", "C", "K", None]
    source = town.folder / "newer.gpkg"
    newer.to_file(source)
    said = IntakeWords(same_place_ft=0)
    intake, _ = job.bring_in(town.register, source, words=said, now=NOW)
    assert str(intake.count) == "4 rows in = 3 accepted + 1 held + 0 rejected"
    assert "id-by-place" not in set(intake.findings["code"])


def test_places_that_the_register_cannot_tell_are_refused(town) -> None:
    town.tell(layer(B=0).to_crs(26919))
    # a quarter of the globe away a transverse Mercator has none
    far = gpd.GeoDataFrame({"HYD_ID": ["A"]}, geometry=[shapely.Point(21.0, 0.5)], crs=4326)
    with pytest.raises(RegisterError, match="some places cannot be told"):
        town.tell(far, beyond=True)


def test_a_dry_run_tells_the_changes_and_writes_nothing(town) -> None:
    town.tell(layer(A=0, B=100, D=300))
    before = {p.name: p.read_bytes() for p in town.folder.iterdir() if p.suffix != ".lock"}
    source = town.folder / "dry.gpkg"
    layer(A=0, C=200, D=300).to_file(source)
    added = job.bring_in(town.register, source, now=NOW, dry_run=True)[1]
    assert town.kinds(added) == {"new": ["C"], "gone": ["B"]}
    after = {p.name: p.read_bytes() for p in town.folder.iterdir() if p.suffix != ".lock"}
    assert {name: after[name] for name in before} == before
    assert set(after) - set(before) == {"dry.gpkg"}


def test_lists_beside_the_register_say_what_stands_and_go_when_nothing_does(town) -> None:
    bad = layer(A=0, B=100)
    bad["HYD_ID"] = ["A", None]
    town.tell(bad)
    path = town.folder / "register_exceptions.csv"
    with path.open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [(row["source_row"], row["code"]) for row in rows] == [("2", "id-missing")]
    mended = town.folder / "layer_1.gpkg"
    layer(A=0, B=100).to_file(mended)
    job.bring_in(town.register, mended, now=NOW)
    assert not path.exists()
    with (town.folder / "register_changes.csv").open(encoding="utf-8-sig") as stream:
        assert [row["change"] for row in csv.DictReader(stream)] == ["new"]


def test_ids_that_change_places_are_told(town) -> None:
    town.tell(layer(A=0, B=100, C=200))
    added = town.tell(layer(A=100, B=0, C=200))
    told = added.findings[added.findings["code"] == "id-handed-on"]
    assert sorted(zip(told["key"], told["value"], strict=True)) == [("A", "B"), ("B", "A")]


def test_a_list_that_cannot_be_written_is_told_and_the_register_stands(town, monkeypatch) -> None:
    def closed(*_: object) -> None:
        raise PermissionError("open in a spreadsheet")

    monkeypatch.setattr(job.bringing, "write_csv", closed)
    bad = layer(A=0, B=100)
    bad["HYD_ID"] = ["A", None]
    heard: list[str] = []
    town.tell(bad, tell=heard.append)
    assert any("register_exceptions.csv" in line and "spreadsheet" in line for line in heard)
    assert town.status() == {"A": None}


def test_the_newest_layer_again_can_replace_the_others(town) -> None:
    town.tell(layer(A=0, B=100, C=200))
    assert town.kinds(town.tell(layer(A=0, Z=900))) == {"new": ["Z"]}
    second = town.folder / "layer_2.gpkg"
    added = job.bring_in(town.register, second, now=NOW, replace=True)[1]
    assert not added.known
    assert town.kinds(added) == {"gone": ["B", "C"]}
    before = town.register.read_bytes()
    assert job.bring_in(town.register, second, now=NOW, replace=True)[1].known
    assert town.register.read_bytes() == before


def test_a_layer_without_hydrants_replaces_nothing(town) -> None:
    town.tell(layer(A=0, B=100))
    with pytest.raises(RegisterError, match="no hydrants"):
        town.tell(layer(A=0, B=100).iloc[:0], replace=True)
    assert town.status() == {"A": None, "B": None}


def test_changes_of_an_older_layer_do_not_stand_for_those_of_the_newest(town) -> None:
    town.tell(layer(A=0, B=100, C=200))
    town.tell(layer(A=0, B=(100, 5.0), C=200))
    path = town.folder / "register_changes.csv"
    assert path.exists()
    town.tell(layer(A=0, C=200))  # two of three: B is gone
    assert path.exists()
    town.tell(layer(A=0, C=200).assign(NOTE=None))
    assert not path.exists()


def test_digits_that_differ_are_told_as_different(town) -> None:
    town.tell(layer(A=(0, 4.501)))
    rows = town.tell(layer(A=(0, 4.502))).changes
    assert rows[["before", "after"]].to_numpy().tolist() == [["4.501", "4.502"]]


def test_rows_held_of_an_older_vintage_are_settled_by_the_newer_one(town) -> None:
    older = pd.concat([layer(A=0, B=100), layer(A=500)])  # one id at two places
    town.tell(gpd.GeoDataFrame(pd.concat([older, layer(C=200, D=300)]), crs=2249))
    assert Register(town.register).exceptions()["key"].tolist() == ["A", "A"]
    town.tell(layer(A=0, B=100, C=200, D=300))
    assert Register(town.register).exceptions()["key"].tolist() == []
