"""
Foot and US survey foot.

Deprecation of the United States Survey Foot, 85 FR 62698 (2020-10-05), FR Doc 2020-21902:
http://federal.elaws.us/fr/10/5/2020/2020-21902 (seen): from 2023 the foot is 0.3048 m exactly; the
survey foot, 1200/3937 m, stays with State Plane Coordinates of 1983 and 1927. The 2 ppm and the
case of 640.25 ft were computed from these two definitions.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pyproj
import pytest

from hydrantgis.ground.units import METRES, LengthUnit, convert, factor
from hydrantgis.intake.crs import foot_note


def test_both_feet_are_exact():
    assert METRES[LengthUnit.FT] == Fraction(3048, 10000)
    assert METRES[LengthUnit.FT_US] == Fraction(1200, 3937)
    assert METRES[LengthUnit.IN] * 12 == METRES[LengthUnit.FT]


def test_they_differ_by_2_parts_in_a_million():
    assert factor(LengthUnit.FT_US, LengthUnit.FT) - 1 == pytest.approx(2.000004e-6, abs=1e-15)


def test_an_elevation_of_640_25_ft():
    survey = float(convert(640.25, LengthUnit.FT, LengthUnit.FT_US))
    assert survey == pytest.approx(640.2487195, abs=1e-6)
    assert 640.25 - survey == pytest.approx(0.0012805, abs=1e-6)


def test_a_height_does_not_notice():
    """Both elevations of an outlet 18 in above grade in the wrong foot: less than 0.0001 in."""
    outlet, grade = convert([641.75, 640.25], LengthUnit.FT_US, LengthUnit.FT)
    assert abs((outlet - grade) * 12 - 18) < 1e-4


def test_a_point_of_north_carolina():
    """
    Survey feet read as feet, from the two definitions: 1200/3937 less 0.3048 m a foot.

    x = 2,000,000 is the false easting (609,601.22 m), y = 800,000 the middle of the state.
    """
    x, y = 2_000_000, 800_000
    short_by = 1 - Fraction(3048, 10000) / Fraction(1200, 3937)
    away = float(short_by) * (x**2 + y**2) ** 0.5
    assert away == pytest.approx(4.3, abs=0.05)
    told = foot_note(np.array([[x, y]], dtype=float), pyproj.CRS(2264))
    assert told == (
        "in US survey feet; read in international feet the points would lie 4.3 ft away"
    )
