"""Broken and awkward sources: each is read as it is meant or refused in words; no row is lost."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd
import pytest

from .corpus import files, ids, place, shapes, tables, values, words

if TYPE_CHECKING:
    from .corpus.case import Case

CASES = [
    case for family in (place, shapes, ids, values, words, tables, files) for case in family.CASES
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.promise)
def test_a_source_is_read_as_it_is_meant_or_refused_in_words(case: Case, tmp_path: Path) -> None:
    hold(case, tmp_path)


def test_every_case_promises_something_of_its_own() -> None:
    promises = [case.promise for case in CASES]
    assert len(set(promises)) == len(promises)


def hold(case: Case, folder: Path) -> None:
    """Run a case and hold what comes of it against what is promised."""
    if case.error is not None:
        with pytest.raises(case.error) as caught:
            case.run(folder)
        error = caught.value
        assert re.search(case.tells, str(error), re.DOTALL), str(error)
        assert error.do or error.accepted, f"nothing says what to do: {error}"
        return
    intake = case.run(folder)
    count = intake.count
    assert (count.accepted, count.held, count.rejected) == case.rows
    assert count.rows == sum(case.rows)
    aside = intake.exceptions.set_index("source_row")["code"]
    assert aside.index.is_unique
    if case.kind != "areas":  # of which those of one id become one
        assert len(intake.accepted) == count.accepted
        assert not set(aside.index) & set(intake.accepted.index)
    assert aside.to_dict() == dict(case.aside)
    found = intake.findings["code"]
    assert found[found != "field-unused"].value_counts().to_dict() == dict(case.codes)
    assert re.search(case.says, intake.findings["message"].str.cat(sep="\n"), re.DOTALL)
    for column, expected in case.values.items():
        assert _told(intake.accepted[column]) == [_nearly(value) for value in expected]
    if case.points is not None:
        shapes = gpd.GeoDataFrame(intake.accepted).geometry
        there = [None if p is None or p.is_empty else (p.x, p.y) for p in shapes]
        assert [p is None for p in there] == [p is None for p in case.points]
        for got, expected in zip(there, case.points, strict=True):
            assert got is None or got == pytest.approx(expected, rel=1e-10)
    if case.crs is not None:
        assert (intake.record["crs"], intake.record["crs_from"]) == case.crs


def _told(series: pd.Series) -> list[object]:
    """Values as plain objects: dates as days, missing ones as None."""
    if pd.api.types.is_datetime64_any_dtype(series.dtype):
        return [None if pd.isna(v) else f"{v:%Y-%m-%d}" for v in series]
    return [None if pd.isna(v) else v for v in series]


def _nearly(value: object) -> object:
    """A number as good as it, for lengths that were converted; anything else itself."""
    return pytest.approx(value, rel=1e-9) if isinstance(value, float) else value
