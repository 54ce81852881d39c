"""
Flows written by hand: what was written is what is read, and the rest is refused.

NIST SP 811 (2008), appendix B.8, from memory: US gallon = 3.785 412 E-03 m3, US gallon per minute =
6.309 020 E-02 L/s, imperial gallon = 4.546 09 E-03 m3 (exact). NFPA 291 classes in both systems,
from memory: 1500 gpm = 5680 L/min, 1000 gpm = 3785 L/min, 500 gpm = 1900 L/min.
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.flows import (
    LITRES_A_MINUTE,
    US_GALLON_L,
    FlowUnit,
    flow_unit_in_name,
    parse_flow_gpm,
    parse_flows_gpm,
)

GALLON_L = Fraction("3.785411784")  # 231 x 2.54^3 / 1000, worked by hand
WRITTEN = {
    FlowUnit.GPM: (["gpm", "usgpm", "US gpm", "us gal/min", "gallons per minute", "GPM."], 1),
    FlowUnit.L_MIN: (["l/min", "L/min", "lpm", "litres per minute", "liters/min"], 1 / GALLON_L),
    FlowUnit.L_S: (["l/s", "L/s", "l/sec", "lps", "litres per second"], 60 / GALLON_L),
    FlowUnit.M3_H: (["m3/h", "m³/h", "m^3/h", "m3 / hr"], Fraction(1000, 60) / GALLON_L),
    FlowUnit.GPM_IMP: (["imp gpm", "Imp. gal/min", "igpm"], Fraction("4.54609") / GALLON_L),
}


def test_the_units_are_those_of_nist():
    assert US_GALLON_L == GALLON_L
    assert float(US_GALLON_L) == pytest.approx(3.785412, abs=5e-7)
    assert float(US_GALLON_L / 60) == pytest.approx(6.309020e-2, abs=5e-9)
    assert LITRES_A_MINUTE[FlowUnit.GPM_IMP] == Fraction("4.54609")


@pytest.mark.parametrize(("litres", "gpm", "within"), [(5680, 1500, 1), (3785, 1000, 1),
                                                       (1900, 500, 2)])  # fmt: skip
def test_the_classes_of_nfpa_291_in_both_systems(litres, gpm, within):
    assert parse_flow_gpm(f"{litres} L/min", unit=None)[0] == pytest.approx(gpm, abs=within)


@given(tenths=st.integers(0, 99_999), unit=st.sampled_from(list(FlowUnit)), data=st.data())
def test_a_number_takes_the_unit_beside_it_or_the_one_declared(tenths, unit, data):
    words, factor = WRITTEN[unit]
    word, gap = data.draw(st.sampled_from(words)), data.draw(st.sampled_from(["", " ", "  "]))
    value = float(Fraction(tenths, 10) * factor)
    text = f"{tenths // 10}.{tenths % 10}"
    assert parse_flow_gpm(f"{text}{gap}{word}", unit=None) == (value, None)
    assert parse_flow_gpm(text, unit=unit) == (value, None)
    # the unit in the cell goes before the declared one
    assert parse_flow_gpm(f"{text} {word}", unit=FlowUnit.M3_H) == (value, None)


@given(whole=st.integers(1000, 9_999_999))
def test_thousands_are_parted_where_the_unit_stands_beside_them(whole):
    assert parse_flow_gpm(f"{whole:,} gpm", unit=None) == (float(whole), None)
    for told in (f"{whole:,}", f"{whole:,} l/min"):
        flow, reason = parse_flow_gpm(told, unit=FlowUnit.GPM)
        assert math.isnan(flow)
        assert reason is not None
        assert reason.startswith("the comma may mark thousands or decimals")


@pytest.mark.parametrize(("text", "reason"), [
    ("1000", "no unit"),
    ("12,5 l/s", "not a flow"),
    ("0,500 l/s", "not a flow"),
    ("10,00 gpm", "not a flow"),
    ("1,0000 gpm", "not a flow"),
    ("-500 gpm", "not a flow, or below zero"),
    ("500-1000 gpm", "two flows, or a range, in one cell"),
    ("500 gpm - 1000 gpm", "two flows, or a range, in one cell"),
    ("500 to 1000 gpm", "two flows, or a range, in one cell"),
    ("500; 1000", "two flows, or a range, in one cell"),
    ("1000 psi", "`psi` is no known unit"),
    ("60 l/m", "`l/m` is no known unit"),
    ("1000 gpm at 20 psi", "`gpm at 20 psi` is no known unit"),
    ("AA", "not a flow"),
    ("1e3 gpm", "`e3 gpm` is no known unit"),
    ("\u0661\u0660 gpm", "not a flow"),
    ("9" * 60 + " gpm", "not a flow"),
    ("  ", "empty"),
])  # fmt: skip
def test_what_is_refused(text, reason):
    flow, told = parse_flow_gpm(text, unit=None)
    assert math.isnan(flow)
    assert told == reason


@given(st.text(max_size=50))
def test_whatever_is_written_gives_a_flow_or_a_reason(text):
    flow, reason = parse_flow_gpm(text, unit=FlowUnit.GPM)
    assert math.isnan(flow) == (reason is not None)
    assert reason is not None or (math.isfinite(flow) and flow >= 0)


@given(st.lists(st.none() | st.sampled_from(["100 gpm", "", " 6 l/s", "x", "7"]), max_size=8))
def test_a_column_is_read_as_its_cells_are(cells):
    texts = pd.Series(cells, index=range(5, 5 + len(cells)), dtype="str")
    flows, reasons = parse_flows_gpm(texts, unit=None)
    assert flows.index.equals(texts.index)
    assert reasons.index.equals(texts.index)
    for cell, flow, reason in zip(cells, flows, reasons, strict=True):
        if not (cell or "").strip():
            assert math.isnan(flow)
            assert pd.isna(reason)
        else:
            wanted, why = parse_flow_gpm(cell, unit=None)
            assert flow == wanted or (math.isnan(flow) and math.isnan(wanted))
            assert reason == why or (pd.isna(reason) and why is None)


def test_numbers_need_a_declared_unit():
    numbers = pd.Series([60.0, np.nan, -1.0, np.inf], index=[3, 4, 5, 6])
    flows, reasons = parse_flows_gpm(numbers, unit=FlowUnit.L_MIN)
    assert flows.iloc[0] == pytest.approx(float(60 / GALLON_L), rel=1e-15)
    assert flows.isna().tolist() == [False, True, True, True]
    assert reasons.notna().tolist() == [False, False, True, True]
    flows, reasons = parse_flows_gpm(numbers, unit=None)
    assert flows.isna().all()
    assert reasons.iloc[0] == "no unit"
    whole = parse_flows_gpm(pd.Series([500, None], dtype="Int64"), unit=FlowUnit.GPM)[0]
    assert whole.iloc[0] == 500


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("flow_gpm", FlowUnit.GPM),
        ("flowgpm", FlowUnit.GPM),
        ("gpm_at_20", FlowUnit.GPM),
        ("flow_impgpm", FlowUnit.GPM_IMP),
        ("flow_imp_gpm", FlowUnit.GPM_IMP),
        ("flow_l_s", FlowUnit.L_S),
        ("flow_l_min", FlowUnit.L_MIN),
        ("total_supply", None),  # `l_s` stands in it, and means nothing
        ("full_l_minimum", None),
    ],
)
def test_a_unit_in_a_name_is_a_word_of_it(name: str, unit: FlowUnit | None) -> None:
    assert flow_unit_in_name(name) is unit
