"""
The 10 cm vertical accuracy class in inches.

ASPRS Positional Accuracy Standards for Digital Geospatial Data, Edition 1 (2014), 10 cm RMSEz
class, 0.196 m at 95 %: read in the metadata of a public terrain survey, GitHub PDAL/data,
autzen/2023/OLC_Willamette_Valley_Classified_LAS_Metadata.xml (seen). FGDC-STD-007.3-1998 (NSSDA)
for the factor 1.9600 (second hand). An inch is 25.4 mm.
"""

from __future__ import annotations

import pytest

from hydrantgis.ground.units import LengthUnit, convert, parse_length_in
from hydrantgis.standards.methods import METHODS


def test_10_cm_and_0_196_m():
    assert float(convert(10, LengthUnit.CM, LengthUnit.IN)) == pytest.approx(3.93701, abs=1e-5)
    assert float(convert(0.196, LengthUnit.M, LengthUnit.IN)) == pytest.approx(7.71654, abs=1e-5)


def test_the_same_written_by_hand():
    assert parse_length_in("10 cm", unit=None)[0] == pytest.approx(3.93701, abs=1e-5)
    assert parse_length_in("0.196 m", unit=None)[0] == pytest.approx(7.71654, abs=1e-5)


def test_a_terrain_height_carries_at_least_the_10_cm():
    assert METHODS["terrain"].sd_in >= 3.93700
    assert METHODS["terrain"].weight == "screening"
    assert METHODS["terrain"].sd_in * 1.96 == pytest.approx(7.71654, abs=1e-4)
