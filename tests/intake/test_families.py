"""Spellings folded to families, beside a fold by plain loops. All families are invented."""

from __future__ import annotations

import json
import re

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rapidfuzz.distance import Indel

from hydrantgis.intake.families import LEAST_LIKENESS, fold

SPELLINGS = {
    "Kestrel": ["Kestrel"] * 9 + ["KESTREL", "kestrel", "Kestral", "Kestrell", "Ketsrel"],
    "Alder 5": ["Alder 5"] * 8 + ["ALDER-5", "alder 5", "Alder  5", "Aldr 5", "Alder5"],
    "Alder 6": ["Alder 6"] * 7 + ["ALDER-6", "Aldr 6", "alder_6", "Alder6"],
    "Brookline Iron": ["Brookline Iron"] * 6
    + ["BROOKLINE IRON", "Brooklin Iron", "Brookline  iron", "Brookline-Iron"],
    "Yew Works": ["Yew Works"] * 5 + ["YEW WORKS", "Yew Work", "yew works", "YewWorks", "Yew Wrks"],
    "Osprey B50": ["Osprey B50"] * 4 + ["OSPREY B50", "Osprey B-50", "Ospry B50", "osprey b 50"],
    "Osprey B62": ["Osprey B62"] * 4 + ["OSPREY B62", "Osprey B-62", "Ospry B62", "osprey b 62"],
    "Tern": ["Tern"] * 3 + ["TERN", "tern", "Tern.", "TERN "],
    "Larch & Sons": ["Larch & Sons"] * 3 + ["LARCH & SONS", "Larch&Sons", "Larch + Sons"],
    "?": ["?"],
}  # fmt: skip
"""48 spellings beside the family that a person would say."""


def test_many_spellings_fold_to_the_few_that_a_person_would_say() -> None:
    cells = [cell for cells in SPELLINGS.values() for cell in cells]
    assert len(set(cells)) == 48
    folds = fold(pd.Series(cells))
    assert {f.spelling: f.family for f in folds} == {
        cell: family for family, cells in SPELLINGS.items() for cell in cells
    }
    assert sum(f.rows for f in folds) == len(cells)


def test_the_spellings_of_an_open_layer_fold_to_fewer_and_none_is_lost(open_data) -> None:
    layer = json.loads((open_data / "cambridge_ma" / "INFRA_Hydrants.geojson").read_text())
    told = [row["properties"]["HYDRANT_MANF"] for row in layer["features"]]
    cells = pd.Series(told, dtype="str").str.strip().replace("", None)
    folds = fold(cells)
    assert {f.spelling: f.rows for f in folds} == cells.value_counts().to_dict()
    bare = {re.sub(r"[\W_]+", "", spelling.casefold()) for spelling in cells.dropna()}
    assert len({f.family for f in folds}) <= len(bare) < len(folds)


@given(st.lists(st.from_regex(r"[ab]{2,7}[ -]?[12]{0,2}", fullmatch=True), max_size=14))
def test_each_spelling_goes_to_the_likest_family_of_its_numbers(cells) -> None:
    def bare(text: str) -> str:
        return "".join(c for c in text.lower() if c.isalnum())

    def digits(text: str) -> list[str]:
        return re.findall(r"\d+", bare(text))

    folds = fold(pd.Series(cells, dtype="str"))
    assert sorted(f.spelling for f in folds) == sorted(set(cells))
    ranked = sorted(set(cells), key=lambda cell: (-cells.count(cell), cell))
    place = {cell: n for n, cell in enumerate(ranked)}
    heads = {f.family for f in folds}
    for f in folds:
        assert f.rows == cells.count(f.spelling)
        assert digits(f.family) == digits(f.spelling)
        before = [h for h in heads if place[h] < place[f.spelling]]
        likeness = {
            h: 100 * Indel.normalized_similarity(bare(h), bare(f.spelling))
            for h in before if digits(h) == digits(f.spelling)
        }  # fmt: skip
        best = max(likeness.values(), default=0)
        if f.family == f.spelling:
            assert best < LEAST_LIKENESS
        else:
            assert likeness[f.family] == pytest.approx(best) == pytest.approx(f.likeness)
            assert best >= LEAST_LIKENESS
        assert (f.likeness == 100) == (bare(f.family) == bare(f.spelling))


def test_the_order_of_rows_does_not_matter_and_blanks_are_no_family() -> None:
    cells = pd.Series([None, *[cell for cells in SPELLINGS.values() for cell in cells]])
    assert fold(cells) == fold(cells.iloc[::-1])
    assert fold(pd.Series([None, None], dtype="str")) == []
