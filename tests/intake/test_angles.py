"""Degrees, minutes and seconds, beside exact fractions and beside PROJ's own reader of them."""

from __future__ import annotations

import math
from fractions import Fraction

import pandas as pd
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.intake.angles import read_angle, read_angles

HUNDREDTHS = 360_000
"""Hundredths of a second in a degree."""
LETTERS = {"y": "NS", "x": "EW"}
MARKS = (
    ("°", "'", '"'), ("° ", "' ", '" '), (" ", " ", ""), (":", ":", ""), ("º", "\u2032", "\u2033"),
    ("d", "m", "s"), ("d", "'", '"'), ("*", "'", "''"), ("°", "\u2019", "\u201d"),
    (" ° ", " ' ", ""),
    ("°", "\u2032", "\u2032\u2032"), ("d ", "m ", "s "),
)  # fmt: skip


@st.composite
def angles(draw):
    """Axis, and a whole number of hundredths of a second."""
    axis = draw(st.sampled_from("xy"))
    most = (180 if axis == "x" else 90) * HUNDREDTHS
    return axis, draw(st.integers(-most, most))


def parts(size: int) -> tuple[int, int, str]:
    degrees, rest = divmod(size, HUNDREDTHS)
    minutes, rest = divmod(rest, 6000)
    return degrees, minutes, f"{rest // 100:02d}.{rest % 100:02d}"


def spell(size: int, marks: tuple[str, str, str]) -> str:
    degrees, minutes, seconds = parts(size)
    return f"{degrees}{marks[0]}{minutes:02d}{marks[1]}{seconds}{marks[2]}"


@given(
    angles(), st.sampled_from(MARKS), st.sampled_from(["sign", "\u2212", "before", "after", "both"])
)
def test_an_angle_comes_back_from_every_spelling(told, marks, way) -> None:
    axis, size = told
    bare = spell(abs(size), marks)
    letter = LETTERS[axis][size < 0]
    cell = {
        "sign": ("-" if size < 0 else "") + bare,
        "\u2212": ("\u2212" if size < 0 else "+") + bare,
        "before": f"{letter} {bare}",
        "after": f"{bare} {letter}",
        "both": f"{letter}{bare}{letter}",
    }[way]
    value, reason = read_angle(cell, axis)
    if way == "both":
        assert reason is not None
    else:
        assert reason is None
        assert abs(Fraction(value) - Fraction(size, HUNDREDTHS)) < Fraction(1, 10**12)


@given(angles(), st.sampled_from(["°", " ", "d"]))
def test_degrees_with_broken_minutes_come_back(told, mark) -> None:
    axis, size = told
    degrees, rest = divmod(abs(size), HUNDREDTHS)
    cell = f"{degrees}{mark}{rest / 6000:.7f}'"
    value, reason = read_angle(cell + LETTERS[axis][size < 0], axis)
    if rest / 6000 >= 59.99999995:
        return
    assert reason is None
    assert value == pytest.approx(size / HUNDREDTHS, abs=1e-8)


@pytest.mark.parametrize(
    "cell",
    ["42d22'25.3\"N", "71d6'33.55\"S", "42d22'N", "42dN", "12.5N", "-42d22'25.3\"", "0d0'1\"S",
     "42d22.5'N", "89d59'59.99\"N"],
)  # fmt: skip
def test_spellings_that_proj_reads_too_are_read_alike(cell) -> None:
    crs = pyproj.CRS.from_proj4(f"+proj=tmerc +lat_0={cell} +lon_0=0 +datum=WGS84")
    told = {p.name: p.value for p in crs.coordinate_operation.params}
    value, reason = read_angle(cell, "y")
    assert reason is None
    assert value == pytest.approx(told["Latitude of natural origin"], abs=1e-11)


@pytest.mark.parametrize(
    ("cell", "axis", "degrees"),
    [
        ("33 52 10 S", "y", -(33 + Fraction(52, 60) + Fraction(10, 3600))),
        ("33 52 10 s", "y", -(33 + Fraction(52, 60) + Fraction(10, 3600))),
        ("33d52m10s", "y", 33 + Fraction(52, 60) + Fraction(10, 3600)),
        ("33d52m10sS", "y", -(33 + Fraction(52, 60) + Fraction(10, 3600))),
        ("S33d52m10s", "y", -(33 + Fraction(52, 60) + Fraction(10, 3600))),
        ("N33D52M10S", "y", 33 + Fraction(52, 60) + Fraction(10, 3600)),
        ("W71°06.55'", "x", -(71 + Fraction(655, 6000))),
        ("-0 30 00", "x", Fraction(-1, 2)),
        (" 71.5° w ", "x", Fraction(-143, 2)),
    ],
)
def test_a_letter_is_the_direction_and_an_s_after_minutes_marks_seconds(cell, axis, degrees):
    value, reason = read_angle(cell, axis)
    assert reason is None
    assert value == pytest.approx(float(degrees), abs=1e-12)


@pytest.mark.parametrize(
    ("cell", "axis", "why"),
    [
        ("71 W", "y", "other coordinate"), ("42 N", "x", "other coordinate"),
        ("42 60 00 N", "y", "60 minutes"), ("42 10 60 N", "y", "60 seconds"),
        ("N 42 10 N", "y", "two letters"), ("-42 10 N", "y", "minus and a letter"),
        ("\u221242 10 N", "y", "minus and a letter"), ("71 30 O", "x", "west in some"),
        ("42.5 30 N", "y", "broken part"), ("42 30.5 10 N", "y", "broken part"),
        ("90 00 01 N", "y", "more degrees"), ("180 00 01 W", "x", "more degrees"),
        ("33D52M10S", "y", "seconds or south"), ("33d52m10S", "y", "seconds or south"),
        # run together, they could be parted in several ways
        ("0713W", "x", "no angle"), ("422225N", "y", "no angle"), ("42 2225 N", "y", "no angle"),
        ("42 100 N", "y", "no angle"), ("1003 W", "x", "no angle"),
        ("42°25\"", "y", "no angle"), ("42 22 25'", "y", "no angle"), ("42,5 N", "y", "no angle"),
        ("forty", "y", "no angle"), ("N", "y", "no angle"), ("42 22 25 3", "y", "no angle"),
        ("1e1 N", "y", "no angle"), ("42; DROP", "y", "no angle"),
    ],
)  # fmt: skip
def test_what_is_no_angle_says_why(cell, axis, why) -> None:
    value, reason = read_angle(cell, axis)
    assert math.isnan(value)
    assert why in reason


@given(st.text(alphabet="0123456789.°'\"NSEWOsmd:+- ", max_size=14), st.sampled_from("xy"))
def test_whatever_is_read_lies_on_the_globe_and_every_other_cell_has_a_reason(cell, axis) -> None:
    value, reason = read_angle(cell, axis)
    assert math.isnan(value) == (reason is not None)
    assert reason is not None or abs(value) <= (180 if axis == "x" else 90)


def test_a_column_is_read_as_its_cells_are() -> None:
    cells = pd.Series(["42 30 N", None, "x", "42 30 N"], index=[4, 2, 9, 1], dtype="str")
    values, reasons = read_angles(cells, "y")
    assert values.fillna(-1).to_dict() == {4: 42.5, 2: -1, 9: -1, 1: 42.5}
    assert reasons.dropna().to_dict() == {9: "no angle"}
