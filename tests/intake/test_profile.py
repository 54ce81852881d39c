"""Profiles to start from: valid, complete where all is sure, and deaf to what cells say."""

from __future__ import annotations

import datetime as dt
import re
import tomllib

import geopandas as gpd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from hydrantgis.ground.errors import SourceError
from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.profile import key, quoted, start_profile
from hydrantgis.intake.take import take
from hydrantgis.intake.words import IntakeWords, words_from_mapping

TODAY = dt.date(2026, 11, 1)
SUGGESTED = re.compile(r"^# (?=(?:[\w-]+|\"(?:[^\"\\]|\\.)*\") = )", re.MULTILINE)
"""A `#` before a line that could stand without it."""


def layer(**columns) -> gpd.GeoDataFrame:
    n = len(next(iter(columns.values())))
    points = [shapely.Point(760_000 + 100 * i, 2_950_000) for i in range(n)]
    return gpd.GeoDataFrame(columns, geometry=points, crs=2249)


def start(path, kind=None, **said):
    """The text, the words in it, and the kind that it names."""
    text = start_profile(str(path), words=IntakeWords(**said), kind=kind)
    return text, *words_from_mapping(tomllib.loads(text), "p.toml")


def test_where_all_is_sure_the_profile_brings_the_source_in_and_asks_nothing(tmp_path) -> None:
    path = tmp_path / "h.gpkg"
    layer(
        HYD_NO=["01", "02", "03"], BURY_FT=[4.5, 5.0, None], BARREL=["Dry", "wet", "Dry"],
        MAKE=["Alder 5", "ALDER-5", "Alder 5"], INSTALLED=["2004-05-06", None, "2004-05-07"],
        GPM=[800, 1200, 900],
    ).to_file(path, layer="Hyd 1")  # fmt: skip
    text, words, kind = start(path)
    intake = take(str(path), kind, words, today=TODAY)
    assert intake.findings["severity"].isin(["note"]).all()
    rows = intake.accepted
    assert rows["hydrant_id"].tolist() == ["01", "02", "03"]
    assert rows["bury_ft"].tolist()[:2] == [4.5, 5.0]
    assert rows["barrel"].tolist() == ["dry", "wet", "dry"]
    assert rows["family"].tolist() == ["Alder 5"] * 3
    assert rows["flow_gpm"].tolist() == [800, 1200, 900]
    assert words.layer == "Hyd 1"
    assert "?" not in text


def test_what_is_open_stands_behind_a_mark_with_what_would_settle_it(tmp_path) -> None:
    path = tmp_path / "h.csv"
    path.write_text(
        "HYD_NO,E,N,BURY,INSTALLED,BARREL,MAKE,Hydrant_Locaton,SPARE\n"
        "1,760000,2950000,4.5,03/04/2004,D,Kestrel,1 Elm St,a\n"
        "2,760100,2950000,5,05/06/2004,wet,Kestral,2 Elm St,b\n"
    )
    text, words, kind = start(path)
    assert kind == "hydrants"
    assert (words.crs, words.units, words.date_order, words.meanings) == (None, {}, None, {})
    assert words.place == {"x": "E", "y": "N"}
    assert words.fields == {"hydrant_id": "HYD_NO", "bury_ft": "BURY", "barrel": "BARREL",
                            "family": "MAKE", "install_date": "INSTALLED"}  # fmt: skip
    assert "#   EPSG:2249 NAD83 / Massachusetts Mainland (ftUS)" in text
    assert '# crs = "EPSG:"' in text
    assert '# date_order = "mdy"  # or "dmy": 2 dates may be read both ways' in text
    assert '# bury_ft = "ft"' in text
    assert '# D = "dry"  # 1 rows' in text
    assert '# Kestrel = "Kestral"' in text or '# Kestral = "Kestrel"' in text
    assert re.search(r'# address = "Hydrant_Locaton"  # \d\d%', text)
    assert '# fields that are not brought in: "SPARE"' in text
    assert "no field was found for: status" in text
    # each suggestion can be taken by taking its mark away
    taken = SUGGESTED.sub("", text).replace('"EPSG:"', '"EPSG:2249"')
    words, _ = words_from_mapping(tomllib.loads(taken), "p.toml")
    intake = take(str(path), kind, words, today=TODAY)
    assert intake.accepted["bury_ft"].tolist() == [4.5, 5.0]
    assert intake.accepted["barrel"].tolist() == ["dry", "wet"]
    assert intake.accepted["install_date"].dt.month.tolist() == [3, 5]
    assert intake.accepted["address"].tolist() == ["1 Elm St", "2 Elm St"]
    assert intake.accepted["family"].nunique() == 1


def test_what_the_user_says_stands_in_it(tmp_path) -> None:
    path = tmp_path / "h.csv"
    path.write_text("No;E;N;Depth;A;B\n1;760000;2950000;1,5;x;y\n")
    said = {
        "crs": "EPSG:2249", "decimal": ",", "units": {"bury_ft": LengthUnit.M},
        "fields": {"hydrant_id": "No", "bury_ft": "Depth", "note": "A + B"},
        "meanings": {"family": {"a": "b"}}, "same_place_ft": 0.5,
    }  # fmt: skip
    text, words, kind = start(path, "hydrants", **said)
    assert words == IntakeWords(**said, place={"x": "E", "y": "N"})
    assert "# crs" not in text
    intake = take(str(path), kind, words, today=TODAY)
    assert intake.accepted["note"].tolist() == ["x y"]
    assert intake.accepted["bury_ft"].iloc[0] == pytest.approx(1.5 / 0.3048)


def test_several_layers_and_none_named_are_listed(tmp_path) -> None:
    path = tmp_path / "h.gpkg"
    layer(HYD_NO=["1"]).to_file(path, layer="a")
    layer(HYD_NO=["1"]).to_file(path, layer="b")
    with pytest.raises(SourceError, match="several layers") as caught:
        start(path)
    assert caught.value.accepted == "a, b"
    assert start(path, layer="b")[1].layer == "b"


HOSTILE = ['"', "\\", "]", "[x]", "#", "\n", "\nformat = 9", "'''", '"""', "\t", "\x07", "\x1b[2J",
           "\x7f", "=", "a.b", "", " ", "\u2028", "\u0085", "é", "{}", "# x=1", "\ufeff",
           ]  # fmt: skip
texts = st.lists(st.sampled_from(HOSTILE) | st.characters(codec="utf-8"), max_size=4).map("".join)
PRINTED = [mark for mark in HOSTILE if mark.isprintable() or mark == "\t"]


@given(texts)
def test_any_text_is_a_toml_string_and_a_toml_key(text) -> None:
    assert tomllib.loads(f"{key(text)} = {quoted(text)}") == {text: text}


@settings(max_examples=max(8, settings().max_examples // 5))
@given(
    cells=st.lists(st.tuples(texts, texts, texts), min_size=1, max_size=12),
    names=st.lists(st.lists(st.sampled_from(PRINTED), min_size=1).map("".join), max_size=3),
)
def test_hostile_names_and_cells_say_nothing(tmp_path_factory, cells, names) -> None:
    names = {f"f{i} {name}": [str(i)] * len(cells) for i, name in enumerate(names)}
    path = tmp_path_factory.mktemp("h") / "h # ] '.gpkg"
    barrels, makes, notes = zip(*cells, strict=True)
    ids = [str(i) for i in range(len(cells))]
    layer(HYD_NO=ids, BARREL=barrels, MAKE=makes, NOTE=notes, **names).to_file(
        path, layer='h "#]', engine="pyogrio"
    )
    text, words, kind = start(path)
    top = {"format", "as", "layer", "fields", "values", "units"}
    assert set(tomllib.loads(text)) <= top
    assert (kind, words.layer) == ("hydrants", 'h "#]')
    assert set(words.meanings) <= {"family"}
    makes = {make.strip() for make in makes}
    told = words.meanings.get("family", {})
    assert {*told, *told.values()} <= makes
    # nor do they where each suggestion is taken
    taken = tomllib.loads(SUGGESTED.sub("", text))
    assert set(taken) <= top | {"crs"}
    assert set(taken.get("values", {}).get("barrel", {})) <= {cell.strip() for cell in barrels}
    assert take(str(path), kind, words, today=TODAY).count.rows == len(cells)


def test_the_name_of_a_crs_says_nothing(tmp_path) -> None:
    path = tmp_path / "h.shp"
    layer(HYD_NO=["1"]).to_file(path)
    named = path.with_suffix(".prj")
    wkt = re.sub(r'PROJCS\["[^"]*"', 'PROJCS["mine\nformat = 9', named.read_text(), count=1)
    named.write_text(wkt.replace("format = 9,", 'format = 9",', 1))
    text, words, _ = start(path)
    assert tomllib.loads(text)["format"] == 1
    assert words.crs is None
