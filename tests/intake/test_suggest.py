"""Which field is which column: by names that the trade has for it, and never against its cells."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.errors import SourceError
from hydrantgis.ground.tables import HYDRANTS, INTAKE_TABLES
from hydrantgis.intake.match import NAMES, SURE, plain, score
from hydrantgis.intake.suggest import GENERIC, Match, field_map, suggest

LISTS = tomllib.loads(Path(__file__).with_name("field_lists.toml").read_text(encoding="utf-8"))
IDS, DAYS = ["0012", "0013", "0107"], ["1987-05-01", "2004-11-30", "2019-07-12"]


def rows_of(told: dict) -> pd.DataFrame:
    """The cells of a field list, blank where they are blank."""
    return pd.DataFrame(
        {
            name: pd.Series([None if cell == "" else cell for cell in entry["cells"]])
            for name, entry in told["fields"].items()
        }
    )


@cache
def weighed(name: str) -> list[Match]:
    """What a field list seems to be."""
    return suggest(rows_of(LISTS[name]), INTAKE_TABLES[LISTS[name]["kind"]])


def matched(rows: dict | pd.DataFrame, kind: str = "hydrants") -> dict[str, str]:
    """Field and column of what is used unasked."""
    frame = pd.DataFrame(rows)
    told = suggest(frame, INTAKE_TABLES[kind])
    return {m.field: m.column for m in told if m.confidence >= SURE}


def test_field_lists_are_understood_as_a_person_would_and_no_field_is_taken_for_another() -> None:
    assert len(LISTS) == 41
    wrong, missed, right = [], [], 0
    for name, told in LISTS.items():
        used = {m.field: m.column for m in weighed(name) if m.confidence >= SURE}
        for field, entry in told["fields"].items():
            meant, found = entry.get("is"), used.get(field)
            right += found is not None and found == meant
            if found not in (None, meant, entry.get("likely")):
                wrong.append(f"{name}: {field} was taken for {found}")
            if meant is not None and found is None:
                missed.append(f"{name}: {field} is {meant}")
    assert wrong == []
    assert len(missed) <= right // 50, missed


def test_each_field_and_each_column_is_used_once() -> None:
    for name, told in LISTS.items():
        table, matches = INTAKE_TABLES[told["kind"]], weighed(name)
        assert len({m.field for m in matches}) == len({m.column for m in matches}) == len(matches)
        assert {m.column for m in matches} <= set(table.names)
        assert all(m.reason and 0 < m.confidence <= 1 for m in matches)
        assert matches == sorted(matches, key=lambda m: -m.confidence)


@pytest.mark.parametrize("column", sorted(NAMES))
def test_a_usual_name_is_one_however_it_is_written(column) -> None:
    for name in NAMES[column]:
        words = name.split("_")
        for spelled in (
            name, name.upper(), " ".join(words), "-".join(words).title(), "".join(words),
            words[0] + "".join(word.title() for word in words[1:]),
        ):  # fmt: skip
            # a name of ten letters with a blank at its end would be a cut one
            assert score(spelled, column)[0] >= SURE, spelled


@pytest.mark.parametrize("column", sorted(NAMES))
def test_a_long_name_is_known_again_when_a_shapefile_cuts_it(column) -> None:
    for name in (column, *NAMES[column]):
        for spelled in (name[:10], name.upper()[:10]):
            assert score(spelled, column)[0] >= SURE, spelled


def test_a_name_cut_twice_is_likely_and_never_sure() -> None:
    """Two names that are cut alike become `HYDRANT__1` and so on: which is which is not told."""
    for field, column in (("HYDRANT__1", "hydrant_id"), ("INSTALLA_1", "install_date")):
        confidence, reason = score(field, column)
        assert 0 < confidence < SURE
        assert "eight letters" in reason


def test_letters_left_of_a_cut_word_are_not_enough_for_text() -> None:
    for field in ("HYDRANT_LO", "HYDRANT_MA", "HYDRANT_OW"):
        told = suggest(pd.DataFrame({field: ["a", "b", "c"]}), HYDRANTS)
        assert all(m.confidence < SURE for m in told)
    assert matched({"STREET_ADD": ["1 Elm St", "2 Elm St"]}) == {"STREET_ADD": "address"}


FITTING = {
    "hydrant_id": IDS, "barrel": ["dry", "wet", "dry"], "status": ["active", "retired", "active"],
    "bury_ft": ["4 ft", "5 ft", "4.5 ft"], "installed_extension_in": ["6 in", "12 in", "6 in"],
    "pumper_outlet_in": ["4.5 in"] * 3, "hose_outlet_in": ["2.5 in"] * 3,
    "main_valve_in": ["5.25 in"] * 3, "install_date": DAYS,
    "flow_gpm": ["800 gpm", "1000 gpm", None],
}  # fmt: skip
UNFITTING = ["round", "round", "square"]


@pytest.mark.parametrize(
    ("column", "name"),
    [(c, n) for c in FITTING for n in NAMES[c] if plain(n) in GENERIC],
)
def test_a_name_that_many_things_have_needs_cells_that_fit(column, name) -> None:
    assert matched({name: FITTING[column]}) == {name: column}
    assert name not in matched({name: UNFITTING})


@pytest.mark.parametrize(
    ("rows", "kind"),
    [
        ({"HYDRANT_ST": ["12 Elm St", "3 Oak Av", "9 Mill Rd"]}, "hydrants"),
        ({"HYDRANT_TYPE": ["Alder 5", "Kestrel", "Tern"]}, "hydrants"),
        ({"BURY": ["deep", "deep", "ok"]}, "hydrants"),
        ({"GPM": ["class A", "class B", "class A"]}, "hydrants"),
        ({"IN_SERVICE": ["yes", "no", "yes"]}, "hydrants"),
        ({"VALVE_DIA": [6, 6, 8]}, "hydrants"),
        ({"REF": ["A1", "A1", "B2"]}, "hydrants"),
        ({"ID": [1, 1, 2]}, "facilities"),
        ({"AREA": [1200.5, 99.25, 310.0]}, "areas"),
        ({"HEIGHT": ["tall", "low", "low"]}, "readings"),
        ({"OBJECTID": [1, 2, 3], "GLOBALID": ["{a}", "{b}", "{c}"]}, "hydrants"),
        ({"PAINT": ["dry", "wet", "dry"], "PHASE": ["active", "removed", "active"]}, "hydrants"),
    ],
)
def test_a_wrong_mapping_is_worse_than_none(rows, kind) -> None:
    assert matched(rows, kind) == {}


def test_the_better_of_two_names_is_taken() -> None:
    rows = {"ASSETID": [1, 2, 3], "REF": [7, 8, 9], "HYDRANT_ID": IDS}
    assert matched(rows) == {"HYDRANT_ID": "hydrant_id"}
    assert matched({"MODEL": IDS, "MANUFACTURER": IDS}) == {"MANUFACTURER": "family"}


def test_what_stands_in_a_field_makes_it_likely_and_its_uniqueness_too() -> None:
    rows = pd.DataFrame(
        {"a": ["dry", "wet", "dry"], "b": ["H-1", "H-2", "H-3"], "c": [1.5, 2.5, 3]}
    )
    told = {m.column: m for m in suggest(rows, HYDRANTS)}
    assert (told["barrel"].field, told["barrel"].reason) == ("a", "its values are such words")
    assert (told["hydrant_id"].field, told["hydrant_id"].confidence < SURE) == ("b", True)


NAMED = st.sampled_from(
    [*(n for names in NAMES.values() for n in names), *(c.name for c in HYDRANTS.columns)]
) | st.text(max_size=12)
CELLS = st.lists(
    st.none() | st.sampled_from([*IDS, *DAYS, "dry", "active", "6 in", "x"]) | st.integers(-9, 9)
    | st.floats(allow_nan=False),
    min_size=3, max_size=3,
)  # fmt: skip


@given(st.dictionaries(NAMED, CELLS, max_size=6), st.sampled_from(sorted(INTAKE_TABLES)))
def test_any_fields_are_weighed_and_none_is_used_twice(rows, kind) -> None:
    frame = pd.DataFrame(rows)
    matches = suggest(frame, INTAKE_TABLES[kind])
    assert len({m.field for m in matches}) == len({m.column for m in matches}) == len(matches)
    assert {m.field for m in matches} <= set(rows)


def test_what_the_user_says_goes_first_and_takes_its_field() -> None:
    rows = pd.DataFrame({"HYD_NO": IDS, "NOTES": ["a", "b", "c"], "ST": ["x", "y", "z"], "X": IDS})

    def mapped(said, aside=()):
        return field_map(rows, HYDRANTS, said, where="h", aside=aside)

    assert mapped({}) == {"hydrant_id": "HYD_NO", "note": "NOTES"}
    assert mapped({"address": "NOTES"}) == {"hydrant_id": "HYD_NO", "address": "NOTES"}
    assert mapped({"note": "NOTES + ST"}) == {"hydrant_id": "HYD_NO", "note": "NOTES + ST"}
    assert mapped({"hydrant_id": "X"}) == {"hydrant_id": "X", "note": "NOTES"}
    assert mapped({}, aside=("NOTES",)) == {"hydrant_id": "HYD_NO"}
    with pytest.raises(SourceError, match="did you mean `NOTES`"):
        mapped({"note": "NOTE"})
    with pytest.raises(SourceError, match="no field `TS`"):
        mapped({"note": "NOTES + TS"})
    with pytest.raises(SourceError, match="`bury` is no column of hydrants"):
        mapped({"bury": "X"})
