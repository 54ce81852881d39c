"""What users say, in profiles and on the command line."""

from __future__ import annotations

import dataclasses
import json
import tomllib

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.errors import SettingsError, WordsError
from hydrantgis.ground.flows import FlowUnit
from hydrantgis.ground.tables import HYDRANTS, INTAKE_TABLES, METHODS
from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.cells import read_column
from hydrantgis.intake.place import PLACE_WORDS
from hydrantgis.intake.profile import profile_of
from hydrantgis.intake.words import IntakeWords, pairs, unit_for, words_from_mapping

EVERYTHING = """
format = 1
as = "hydrants"
crs = "EPSG:2249"
layer = "Hyd"
encoding = "cp1252"
header_row = 3
order = "PNEZD"
decimal = ","
swap_xy = true
placeholders = ["spare", "9-9"]
date_order = "dmy"
number_rows = "H-"
near = "42.37,-71.11"
many_parts = "first"
same_place_ft = 1.5

[place]
x = "E"
y = "N"

[fields]
hydrant_id = "No"
address = ["House", "Street"]

[units]
bury_ft = "metres"
flow_gpm = "l/min"

[unit_fields]
hose_outlet_in = "UNIT"

[unit_spellings]
Fuss = "ft"

[constants]
owner = "the city"

[method_sd]
tape = "0.5 in"

[codes.KIND]
1 = "dry"

[values.barrel]
WB = "wet"

[sentinels]
bury_ft = ["-1", "N/K"]
"""
SAID = IntakeWords(
    crs="EPSG:2249", layer="Hyd", encoding="cp1252", header_row=3, order="PNEZD", decimal=",",
    swap_xy=True,
    placeholders=("spare", "9-9"), date_order="dmy", number_rows="H-", same_place_ft=1.5,
    near=(42.37, -71.11), many_parts="first",
    place={"x": "E", "y": "N"}, fields={"hydrant_id": "No", "address": "House + Street"},
    units={"bury_ft": LengthUnit.M, "flow_gpm": FlowUnit.L_MIN},
    unit_fields={"hose_outlet_in": "UNIT"}, spellings={"fuss": LengthUnit.FT},
    constants={"owner": "the city"}, codes={"KIND": {"1": "dry"}},
    meanings={"barrel": {"WB": "wet"}}, sentinels={"bury_ft": ("-1", "N/K")},
    method_sd={"tape": "0.5 in"},
)  # fmt: skip


def problems(text: str) -> list[str]:
    """What is told of a profile, a line each."""
    with pytest.raises(SettingsError) as caught:
        words_from_mapping(tomllib.loads(text), "p.toml")
    return [line.strip() for line in caught.value.found.splitlines()]


def test_every_key_of_a_profile_is_read() -> None:
    assert words_from_mapping(tomllib.loads(EVERYTHING), "p.toml") == (SAID, "hydrants")
    unsaid = (None, {}, ())
    assert not [f.name for f in dataclasses.fields(SAID) if getattr(SAID, f.name) in unsaid]


KEYS = sorted({line.split(" =")[0] for line in EVERYTHING.splitlines() if " = " in line})


@pytest.mark.parametrize("key", KEYS)
def test_a_misspelled_key_is_refused_with_its_address(key) -> None:
    """A key of one's own is a word of the source in tables of words, and never elsewhere."""
    wrong = EVERYTHING.replace(f"\n{key} =", f"\n{key}x =")
    if key in ("1", "WB", "Fuss"):
        words_from_mapping(tomllib.loads(wrong), "p.toml")
        return
    told = [line for line in problems(wrong) if f".{key}x: " in line]
    assert len(told) == EVERYTHING.count(f"\n{key} =")


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("[fields]\nbury = 'B'", "$.fields.bury: no column of hydrants; did you mean `bury_ft`?"),
        ("[place]\nz = 'Z'", "$.place.z: "), ("[place]\nx = 1", "$.place.x: 1 is no text"),
        ("[values.barel]\na = 'dry'", "$.values.barel: "),
        ("[values]\nbarrel = 1", "$.values.barrel: "),
        ("[values.barrel]\na = 1", "$.values.barrel.a: "), ("[codes]\nK = 'x'", "$.codes.K: "),
        ("[codes.K]\n1 = 1", "$.codes.K.1: "), ("[units]\nbury_ft = 'rods'", "$.units.bury_ft: "),
        ("[units]\nflow_gpm = 'ft'", "$.units.flow_gpm: "),
        ("[unit_spellings]\nFuss = 'foo'", "$.unit_spellings.Fuss: "),
        ("[unit_fields]\nbury = 'U'", "$.unit_fields.bury: "),
        ("[constants]\nstat = 'x'", "$.constants.stat: "),
        ("[sentinels]\nx = ['1']", "$.sentinels.x: "),
        ("[sentinels]\nbury_ft = '1'", "$.sentinels.bury_ft: "),
        ("[fields]\nhydrant_id = []", "$.fields.hydrant_id: "),
        ("[fields]\nhydrant_id = [1]", "$.fields.hydrant_id: "),
        ("[fields]\nhydrant_id = 7", "$.fields.hydrant_id: "),
        ("[fields]\nhydrant_id = ' '", "$.fields.hydrant_id: "),
        ("values = 5", "$.values: "), ("values = 'xy'", "$.values: "), ("codes = [1]", "$.codes: "),
        ("sentinels = 5", "$.sentinels: "), ("fields = 5", "$.fields: "),
        ("place = 5", "$.place: "),
        ("units = ['ft']", "$.units: "), ("header_row = 2.5", "$.header_row: "),
        ("header_row = 0", "$.header_row: "), ("decimal = ';'", "$.decimal: "),
        ("date_order = 'ymd'", "$.date_order: "), ("swap_xy = 'yes'", "$.swap_xy: "),
        ("same_place_ft = -1", "$.same_place_ft: "), ("same_place_ft = nan", "$.same_place_ft: "),
        ("placeholders = 'x'", "$.placeholders: "), ("crs = 2249", "$.crs: "),
        ("spellings = {}", "$.spellings: unknown key; did you mean `unit_spellings`?"),
        ("[x.y.z]\na = 1", "$.x: unknown key"),
    ],
)  # fmt: skip
def test_a_fault_is_told_with_its_address(text, address) -> None:
    told = problems(f"format = 1\nas = 'hydrants'\n{text}\n")
    assert len(told) == 1
    assert told[0].startswith(address)


def test_all_faults_are_told_at_once() -> None:
    told = problems(
        "format = 2\nas = 'trucks'\nplac = 1\nheader_row = 0\n[fields]\nbury = 'B'\n"
        "[place]\nz = 'Z'\n[units]\nbury_ft = 'rods'\n[codes]\nK = 1\n"
    )
    addresses = ("format", "as", "plac", "header_row", "fields.bury", "place.z", "units.bury_ft",
                 "codes.K")  # fmt: skip
    assert sorted(line.split(": ")[0] for line in told) == sorted(f"$.{a}" for a in addresses)


def test_a_method_has_a_length_for_its_uncertainty() -> None:
    told = problems("format = 1\n[method_sd]\ntape = '0.5'\nlaser = '1 mm'\neye = '0 in'")
    assert [line.split(":")[0] for line in told] == [
        "$.method_sd.tape", "$.method_sd.laser", "$.method_sd.eye",
    ]  # fmt: skip


def test_a_profile_needs_its_format() -> None:
    assert problems("as = 'hydrants'") == ["$.format: missing, and required"]


NAMES = st.text(min_size=1, max_size=8).filter(lambda t: t.strip() and " + " not in t)
COLUMNS = st.sampled_from(HYDRANTS.names)
LENGTHS = st.sampled_from([c.name for c in HYDRANTS.columns if c.unit])
TOLD = st.builds(
    IntakeWords,
    crs=st.none() | NAMES, layer=st.none() | NAMES, encoding=st.none() | NAMES,
    header_row=st.none() | st.integers(1, 10**9), order=st.sampled_from([None, "PNEZD"]),
    decimal=st.sampled_from([None, ".", ","]),
    place=st.dictionaries(st.sampled_from(PLACE_WORDS), NAMES),
    swap_xy=st.sampled_from([None, True]),
    fields=st.dictionaries(
        COLUMNS, NAMES | st.lists(NAMES, min_size=2, max_size=3).map(" + ".join)
    ),
    units=st.dictionaries(LENGTHS, st.sampled_from(LengthUnit))
    | st.dictionaries(st.just("flow_gpm"), st.sampled_from(FlowUnit)),
    unit_fields=st.dictionaries(COLUMNS, NAMES),
    spellings=st.dictionaries(NAMES.map(str.lower), st.sampled_from(LengthUnit)),
    constants=st.dictionaries(COLUMNS, NAMES),
    codes=st.dictionaries(NAMES, st.dictionaries(NAMES, NAMES, min_size=1), max_size=2),
    meanings=st.dictionaries(COLUMNS, st.dictionaries(NAMES, NAMES, min_size=1), max_size=2),
    sentinels=st.dictionaries(COLUMNS, st.lists(NAMES, max_size=3).map(tuple), max_size=2),
    placeholders=st.lists(NAMES, max_size=3).map(tuple),
    method_sd=st.dictionaries(
        st.sampled_from(METHODS), st.integers(1, 99).map("{} mm".format)
    ),
    date_order=st.sampled_from([None, "mdy", "dmy"]), number_rows=st.none() | NAMES,
    same_place_ft=st.none() | st.floats(0, 1e9),
)  # fmt: skip


@given(TOLD)
def test_a_profile_says_again_what_was_said(words) -> None:
    text = profile_of(words, "hydrants")
    assert tomllib.loads(text.encode("utf-8").decode("utf-8"))["as"] == "hydrants"
    assert words_from_mapping(tomllib.loads(text), "p.toml") == (words, "hydrants")


def test_the_example_of_everything_comes_back_whole() -> None:
    text = profile_of(SAID, "hydrants")
    assert words_from_mapping(tomllib.loads(text), "p.toml") == (SAID, "hydrants")


@given(TOLD, TOLD)
def test_options_go_before_the_profile(ours, theirs) -> None:
    merged = ours.over(theirs)
    for part in dataclasses.fields(IntakeWords):
        mine, other, told = (getattr(words, part.name) for words in (ours, theirs, merged))
        if part.name == "place":
            assert told == (mine or other)
        elif part.name in ("codes", "meanings"):
            assert set(told) == set(mine) | set(other)
            for name, words in told.items():
                assert words == other.get(name, {}) | mine.get(name, {})
        elif isinstance(mine, dict):
            assert told == other | mine
        else:
            assert told == (other if mine in (None, ()) else mine)
    assert IntakeWords().over(theirs) == theirs
    assert ours.over(IntakeWords()) == ours


def test_a_place_that_is_said_does_not_mix_with_that_of_the_profile() -> None:
    kept = IntakeWords(place={"shape": "geom"})
    assert IntakeWords(place={"x": "E", "y": "N"}).over(kept).place == {"x": "E", "y": "N"}


def test_a_word_that_is_said_is_added_to_those_of_the_profile() -> None:
    kept = IntakeWords(meanings={"barrel": {"WB": "wet", "X": "other"}})
    said = IntakeWords(meanings={"barrel": {"X": "dry"}})
    assert said.over(kept).meanings == {"barrel": {"WB": "wet", "X": "dry"}}


@given(TOLD)
def test_the_record_holds_what_was_said_and_nothing_else(words) -> None:
    told = json.loads(words.as_json())
    said = {f.name for f in dataclasses.fields(words)
            if getattr(words, f.name) not in (None, {}, ())}  # fmt: skip
    assert set(told) == said
    assert told.get("fields", {}) == words.fields


@pytest.mark.parametrize("kind", INTAKE_TABLES)
def test_every_kind_has_a_profile(kind) -> None:
    assert words_from_mapping(tomllib.loads(profile_of(IntakeWords(), kind)), "p.toml") == (
        IntakeWords(), kind
    )  # fmt: skip


def test_pairs_of_the_command_line() -> None:
    assert pairs(["a=b", " c = d=e "], "--field") == {"a": "b", "c": "d=e"}
    for wrong in ("a", "=b", "a=", " = "):
        with pytest.raises(WordsError, match="no pair"):
            pairs([wrong], "--field")


def test_the_unit_of_a_column_of_flow_is_one_of_flow() -> None:
    assert unit_for("flow_gpm", "l/s") is FlowUnit.L_S
    assert unit_for("bury_ft", "m") is LengthUnit.M


def test_a_word_of_another_script_stands_for_itself_alone() -> None:
    said = IntakeWords(meanings={"barrel": {"\u0441\u0443\u0445\u043e\u0439": "dry"}})
    cells = pd.Series(
        [
            "\u0421\u0443\u0445\u043e\u0439",
            "\u043c\u043e\u043a\u0440\u044b\u0439",
            "\u4e7e",
            "h\u00famedo",
            "-",
        ]
    )
    read = read_column(cells, HYDRANTS["barrel"], "barrel", said)
    assert read.column.fillna("").tolist() == ["dry", "", "", "wet", ""]
    assert read.reasons.notna().tolist() == [False, True, True, False, False]
