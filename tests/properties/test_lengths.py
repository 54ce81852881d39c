"""Lengths written by hand: what was written is what is read, and the rest is refused."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.units import LengthUnit, parse_length_in

feet = st.integers(0, 60)
inches = st.integers(0, 11)
fractions = st.sampled_from([2, 4, 8, 16]).flatmap(
    lambda d: st.integers(1, d - 1).map(lambda n: (n, d))
)
FOOT_MARKS = ["'", " ft ", "ft", " feet ", "\u2019", "\u2032", " FT "]
INCH_MARKS = ['"', " in", "in", " inches", "''", "\u201d", "\u2033", " in."]
READ = None


@given(ft=feet, inch=inches, part=fractions, foot=st.sampled_from(FOOT_MARKS),
       mark=st.sampled_from(INCH_MARKS), between=st.sampled_from([" ", "-"]),
       minus=st.booleans())  # fmt: skip
def test_feet_inches_and_fractions_come_back(ft, inch, part, foot, mark, between, minus):
    n, d = part
    text = f"{'-' if minus else ''}{ft}{foot}{inch}{between}{n}/{d}{mark}"
    value = (12 * ft + inch + Fraction(n, d)) * (-1 if minus else 1)
    assert parse_length_in(text, unit=None) == (float(value), READ)


@given(ft=feet, inch=inches, mark=st.sampled_from(INCH_MARKS), dash=st.sampled_from(["", "-", " "]))
def test_feet_and_inches_come_back(ft, inch, mark, dash):
    assert parse_length_in(f"{ft}'{dash}{inch}{mark}", unit=None) == (12.0 * ft + inch, READ)


@given(whole=st.integers(0, 99), sign=st.sampled_from("¼½¾⅛⅜⅝⅞"), gap=st.sampled_from(["", " "]))
def test_printed_fractions_come_back(whole, sign, gap):
    value = dict(zip("¼½¾⅛⅜⅝⅞", [0.25, 0.5, 0.75, 0.125, 0.375, 0.625, 0.875], strict=True))
    assert parse_length_in(f'{whole}{gap}{sign}"', unit=None) == (whole + value[sign], READ)
    assert parse_length_in(f"{whole}{gap}{sign}", unit=LengthUnit.IN)[0] == whole + value[sign]


IN_INCHES = {
    LengthUnit.IN: Fraction(1),
    LengthUnit.FT: Fraction(12),
    LengthUnit.YD: Fraction(36),
    LengthUnit.MM: Fraction(10, 254),
    LengthUnit.CM: Fraction(100, 254),
    LengthUnit.M: Fraction(10_000, 254),
    LengthUnit.KM: Fraction(10_000_000, 254),
    LengthUnit.FT_US: Fraction(1200 * 10_000, 3937 * 254),
}


@given(hundredths=st.integers(0, 100_000), unit=st.sampled_from(list(LengthUnit)))
def test_a_decimal_number_takes_the_unit_beside_it_or_the_one_declared(hundredths, unit):
    text = f"{hundredths / 100:.2f}"
    value = float(Fraction(hundredths, 100) * IN_INCHES[unit])
    assert parse_length_in(text, unit=unit) == (pytest.approx(value, rel=1e-15), READ)
    assert parse_length_in(f"{text} {unit.value}", unit=None) == (
        pytest.approx(value, rel=1e-15), READ,
    )  # fmt: skip
    # the unit in the cell goes before the declared one
    assert parse_length_in(f"{text} {unit.value}", unit=LengthUnit.KM)[0] == pytest.approx(value)


def refused(text, unit=LengthUnit.IN):
    length, reason = parse_length_in(text, unit=unit)
    assert math.isnan(length), text
    assert reason
    return reason


@given(hundredths=st.integers(0, 100_000))
def test_a_bare_number_without_a_declared_unit_is_refused(hundredths):
    assert refused(f"{hundredths / 100}", unit=None) == "no unit"
    assert refused(".255", unit=None) == "no unit"


@given(ft=feet, inch=st.integers(12, 400))
def test_twelve_inches_or_more_after_feet_are_refused(ft, inch):
    assert refused(f"{ft}'-{inch}\"") == "12 in or more after feet"


@given(ft=feet, tenth=st.integers(1, 9), inch=inches)
def test_a_broken_foot_with_inches_after_it_is_refused(ft, tenth, inch):
    assert refused(f"{ft}.{tenth}'{inch}\"") == "a broken foot with inches after it"


@given(low=st.integers(1, 40), more=st.integers(1, 40), unit=st.sampled_from(["", " in", "ft"]),
       dash=st.sampled_from(["-", " - ", " to ", "/ ", ", ", "; "]))  # fmt: skip
def test_a_range_or_two_lengths_are_refused(low, more, unit, dash):
    refused(f"{low}{dash}{low + more}{unit}")
    refused(f"{low} in{dash}{low + more} in")
    refused(f"{low}-")
    refused(f"{low} in -")


@given(word=st.text("abcdefghijklmnopqrstuvwxyz", min_size=5, max_size=9), number=feet)
def test_a_word_that_is_no_unit_is_refused(word, number):
    known = {"inches", "metre", "metres", "meter", "meters", "yards"}
    if word not in known:
        assert refused(f"{number} {word}") == f"`{word}` is no known unit"
    assert refused("2.5ftt") == "`ftt` is no known unit"


@given(text=st.text("0123456789/. -'\"ftinm½⅝x,\u2212²٣", max_size=12))
def test_whatever_stands_in_a_cell_is_read_or_refused_and_never_stops_the_run(text):
    length, reason = parse_length_in(text, unit=LengthUnit.IN)
    assert math.isnan(length) == (reason is not None)
    assert not math.isinf(length)


@pytest.mark.parametrize(
    "text",
    ["1/0", "1/00", "6 1/000 in", "9" * 400, "9" * 5000, "-" * 2000, "1/" + "9" * 400],
    ids=["1/0", "1/00", "6 1/000 in", "400 digits", "5000 digits", "2000 dashes", "long fraction"],
)
def test_odd_cells_are_refused_or_read_and_never_stop_the_run(text):
    length, reason = parse_length_in(text, unit=LengthUnit.IN)
    assert math.isnan(length) == (reason is not None)
