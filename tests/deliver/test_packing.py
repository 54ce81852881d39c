"""Packed columns come back as they were."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.deliver.packing import (
    packed_column,
    packed_numbers,
    packed_sum,
    packed_text,
    packed_whole,
)

from . import unpack

WHOLE = st.lists(st.one_of(st.none(), st.integers(-(2**31), 2**31 - 3)), max_size=40)


@given(WHOLE)
def test_whole_numbers_come_back(values):
    known = np.array([v is not None for v in values], dtype=bool)
    packed = packed_whole(np.array([v or 0 for v in values], dtype=np.int64), known)
    assert unpack.whole(packed) == values


@given(st.lists(st.one_of(st.none(), st.text(max_size=30)), max_size=30))
def test_texts_come_back(texts):
    packed = packed_text(np.array([*texts, None], dtype=object)[:-1])
    if packed is None:
        assert all(text is None for text in texts)
    else:
        assert unpack.column(packed) == texts


FIGURED = st.lists(st.sampled_from(["TB-", "0", "12", "007", " St", "\x01", "\x00", "9999999999"]))


@given(st.lists(FIGURED.map("".join), min_size=1, max_size=30))
def test_texts_with_figures_come_back(texts):
    assert unpack.column(packed_text(np.array(texts, dtype=object))) == texts


@given(
    st.lists(
        st.one_of(st.just(np.nan), st.just(np.inf), st.floats(-1e6, 1e6), st.floats()), min_size=1
    )
)
def test_numbers_come_back_to_their_digits(values):
    packed = packed_numbers(np.array(values), 2)
    if packed is None:
        assert not np.isfinite(values).any()
        return
    back = unpack.column(packed)
    for value, found in zip(values, back, strict=True):
        if np.isfinite(value):
            assert float(found) == pytest.approx(value, rel=1e-11, abs=0.00501)
        else:
            assert found is None


def test_numbers_too_far_apart_travel_as_text():
    assert packed_numbers(np.array([1e300, 0.5]), 2)["kind"] == "text"
    assert packed_numbers(np.array([-1e9, 1e9]), 2)["kind"] == "text"


def test_ids_and_addresses_share_their_sentences():
    ids = np.array([f"TB-{i:05d}" for i in range(10_000)], dtype=object)
    packed = packed_text(ids)
    assert len(packed["figures"]) == 1
    # in order they take next to nothing; in any order less than a number of two bytes
    assert len(packed["figures"][0]["data"]) < 500
    mixed = packed_text(np.random.default_rng(1).permutation(ids))
    assert len(mixed["figures"][0]["data"]) < 2 * 10_000 * 4 / 3


def test_dates_and_flags_and_missing_columns():
    days = pd.Series(pd.to_datetime(["2026-08-18", None, "1969-12-31"]))
    assert unpack.column(packed_column(days)) == [20683, None, -1]
    assert unpack.column(packed_column(pd.Series([True, False]))) == ["yes", "no"]
    assert packed_column(pd.Series([None, None], dtype=object)) is None
    assert packed_column(pd.Series([np.nan])) is None


def test_a_sum_is_told_as_one_only_where_it_is_one():
    height, lift = np.array([15.01, 12.0, np.nan]), np.array([6.0, np.nan, 6.0])
    parts = {"height": height, "lift": lift}
    packed = packed_sum(np.array([21.01, np.nan, np.nan]), parts, 2)
    others = {"height": packed_numbers(height, 2), "lift": packed_numbers(lift, 2)}
    assert unpack.column(packed, others) == [21.01, None, None]
    assert packed_sum(np.array([21.02, np.nan, np.nan]), parts, 2) is None
    # known where a part is missing
    assert packed_sum(np.array([21.01, 12.0, np.nan]), parts, 2) is None
