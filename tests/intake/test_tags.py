"""Packed tags: every key and value comes back, and what is no packing stays as it is."""

from __future__ import annotations

import json

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.intake import tags as module
from hydrantgis.intake.tags import unpack


def hstore(tags: dict) -> str:
    """The external representation, as PostgreSQL's documentation of hstore tells it."""

    def quoted(text: str) -> str:
        return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'

    return ", ".join(f"{quoted(k)}=>{'NULL' if v is None else quoted(v)}" for k, v in tags.items())


def unpacked(cells: list, name: str = "tags") -> pd.DataFrame:
    rows, names = unpack(pd.DataFrame({name: cells}, index=range(3, 3 + len(cells))))
    assert names == [name]
    assert rows.index.tolist() == list(range(3, 3 + len(cells)))
    return rows


def stays(*cells: object) -> None:
    frame = pd.DataFrame({"a": list(cells)})
    rows, names = unpack(frame)
    assert names == []
    pd.testing.assert_frame_equal(rows, frame)


WORDS = st.text(st.characters(codec="utf-8"), max_size=12) | st.sampled_from(
    ['"', "\\", '\\"', "=>", ",", "NULL", '","', "emergency", "fire_hydrant:type", "\n", "a\\"]
)
KEYS = WORDS.filter(lambda key: key.strip())
ROWS = st.lists(
    st.none() | st.dictionaries(KEYS, st.none() | WORDS, max_size=5), min_size=1, max_size=8
)


def expect(rows: list, read: pd.DataFrame, renamed: str) -> None:
    keys = {key for row in rows for key in row or {}}
    assert set(read.columns) == keys
    for key in keys:
        assert isinstance(read[key].dtype, pd.StringDtype)
        wanted = [(row or {}).get(key) for row in rows]
        assert [None if pd.isna(cell) else cell for cell in read[key]] == wanted, renamed


@given(ROWS.filter(any))
def test_hstore_comes_back(rows):
    expect(rows, unpacked([None if row is None else hstore(row) for row in rows]), "hstore")


@given(ROWS.filter(any), st.booleans())
def test_json_comes_back(rows, ascii_only):
    texts = [None if row is None else json.dumps(row, ensure_ascii=ascii_only) for row in rows]
    expect(rows, unpacked(texts), "json")


@given(ROWS.filter(any))
def test_objects_that_a_reader_made_come_back(rows):
    expect(rows, unpacked(rows), "dict")


def test_the_examples_of_the_documentation_of_hstore():
    """PostgreSQL documentation, F.16.1 (from memory), keys in quotes as the type writes them."""
    read = unpacked(['"foo"=>"bar", "baz"=>"whatever"', '"1-a" => "anything at all"', '"key"=>NULL',
                     '"key"=>"NULL"'])  # fmt: skip
    assert read.loc[3, ["foo", "baz"]].tolist() == ["bar", "whatever"]
    assert read.loc[4, "1-a"] == "anything at all"
    assert read["key"].isna().tolist() == [True, True, True, False]
    assert read.loc[6, "key"] == "NULL"


def test_numbers_stand_as_they_were_written_and_objects_are_parted():
    read = unpacked([
        '{"a": 12.50, "b": {"c": 1e400, "d": {}}, "e": [1.50, "x", null, {"f": 7e0}]}',
        '{"a": true, "n": 123456789012345678901234567890}',
    ])  # fmt: skip
    assert read.loc[3].dropna().to_dict() == {
        "a": "12.50", "b.c": "1e400", "b.d": "{}", "e": '[1.50, "x", null, {"f": 7e0}]',
    }  # fmt: skip
    assert read.loc[4].dropna().to_dict() == {"a": "true", "n": "123456789012345678901234567890"}


def test_a_key_gives_way_to_a_field():
    frame = pd.DataFrame(
        {"ref": ["R"], "tags": ['"ref"=>"1","tags"=>"2"'], "more": ['{"ref": 3, "tags": 4, "": 5}']}
    )
    rows, names = unpack(frame)
    assert names == ["tags", "more"]
    assert rows.iloc[0].to_dict() == {
        "ref": "R", "tags.ref": "1", "tags": "2", "more.": "5", "more.ref": "3", "more.tags": "4",
    }  # fmt: skip
    assert list(frame.columns) == ["ref", "tags", "more"]


def test_shapes_keep_their_place_and_crs():
    shapes = gpd.points_from_xy([1, 2], [3, 4])
    frame = gpd.GeoDataFrame({"tags": ['"a"=>"1"', None]}, geometry=shapes, crs=4326)
    rows, _ = unpack(frame)
    assert isinstance(rows, gpd.GeoDataFrame)
    assert list(rows.columns) == ["a", "geometry"]
    assert rows.crs == frame.crs
    assert rows.geometry.geom_equals(frame.geometry).all()


@pytest.mark.parametrize("cells", [
    ["plain text", "more"],
    ['"in quotes"'],
    ["a=>b"],
    ['"a"=>"b"', "and a remark"],
    ['{"a": 1}', "{broken"],
    ['{"a": 1}', '"a"=>'],
    ['"a"=>"b" "c"=>"d"'],
    ['"a"=>"1", "a"=>"2"'],
    ['{"a": 1, "a": 2}'],
    ['{"a.b": 1, "a": {"b": 2}}'],
    ['{"a": NaN}'],
    ['{"a": "\\ud800"}'],
    ['{"a":' * 200_000],
    ["{}", "{}"],
    ["[1, 2]"],
    ["12", "3"],
    [1.5, 2.5],
    [None, None],
    [["a"], ["b"]],
    [json.dumps(shapely.geometry.mapping(shapely.Point(1, 2)))],
    ['{"type": "GeometryCollection", "geometries": []}'],
])  # fmt: skip
def test_what_is_no_packing_stays(cells):
    stays(*cells)


def test_a_shape_among_the_tags_is_one_text():
    read = unpacked(['{"at": {"type": "Point", "coordinates": [1.50, 2]}, "type": ["Point"]}'])
    assert read.loc[3, "at"] == '{"type": "Point", "coordinates": [1.50, 2]}'
    assert read.loc[3, "type"] == '["Point"]'


def test_keys_beyond_the_limit_stay_packed(monkeypatch):
    monkeypatch.setattr(module, "MOST_KEYS", 2)
    rows = [{"a": "1", "b": "2", "c": "3"}, {"a": "1", "tags": None}, {"a": "1", "b": "2"}]
    read = unpacked([hstore(row) for row in rows])
    assert list(read.columns) == ["a", "b", "tags"]
    assert read["b"].dropna().index.tolist() == [3, 5]
    assert [json.loads(cell) for cell in read["tags"].dropna()] == [{"c": "3"}, {"tags": None}]
    # and a second look changes nothing that was told
    again, _ = unpack(read)
    assert set(again.columns) == {"a", "b", "c", "tags"}


@given(st.lists(st.text('{}"=>\\,:[]na1 ', max_size=20), min_size=1, max_size=4))
def test_nothing_is_lost_whatever_the_cells_hold(cells):
    """A column is unpacked as the two definitions say, or not at all."""
    frame = pd.DataFrame({"x": cells})
    rows, names = unpack(frame)
    assert len(rows) == len(frame)
    if not names:
        pd.testing.assert_frame_equal(rows, frame)
    for at, cell in enumerate(cells if names else []):
        held = rows.iloc[at].dropna().to_dict()
        if cell.strip().startswith("{"):
            assert {k.removeprefix("x.") for k in held} <= {*_keys(json.loads(cell))}
        elif cell.strip():
            assert all(k.removeprefix("x.") in cell.replace("\\", "") for k in held)


def _keys(value: dict, before: str = ""):
    for key, part in value.items():
        yield before + key
        if isinstance(part, dict):
            yield from _keys(part, f"{before}{key}.")


def test_an_index_that_repeats_is_kept():
    frame = pd.DataFrame({"t": ['"a"=>"1"', None, '"a"=>"2"']}, index=[7, 7, 8])
    rows, _ = unpack(frame)
    assert rows.index.tolist() == [7, 7, 8]
    assert np.array_equal(rows["a"].isna(), [False, True, False])
