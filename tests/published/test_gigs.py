"""
Feet and US survey feet of one State Plane zone.

IOGP Geospatial Integrity of Geoscience Software, test data set at revision c076a6f: library 2201
(unit 9003, US survey foot, 12/39.37 m) and series 5103 parts 2 and 3 (NAD83(HARN) / Utah North,
EPSG:2921 in feet, EPSG:3568 in US survey feet), tolerance 0.1 ft.
GitHub IOGP-GIGS/GIGSTestDataset (seen).
"""

from __future__ import annotations

import numpy as np
import pyproj
import pytest

from hydrantgis.ground.plane import plane_ft
from hydrantgis.ground.units import LengthUnit, convert, factor
from hydrantgis.intake.crs import candidates, foot_note

POINTS = [
    (49.0, -110.0, (2003937.274, 6452491.702), (2003933.266, 6452478.797)),
    (41.0, -110.0, (2054436.569, 3527302.727), (2054432.460, 3527295.672)),
    (41.0, -106.0, (3157542.857, 3571757.391), (3157536.542, 3571750.248)),
]


def test_unit_9003():
    assert factor(LengthUnit.FT_US, LengthUnit.M) == pytest.approx(0.304800609601219, abs=1e-15)
    assert factor(LengthUnit.FT_US, LengthUnit.M) == pytest.approx(12 / 39.37, abs=1e-16)


@pytest.mark.parametrize(("lat", "lon", "feet", "survey"), POINTS)
@pytest.mark.parametrize("zone", ["feet", "survey"])
def test_utah_north(zone, lat, lon, feet, survey):
    epsg, published = (2921, feet) if zone == "feet" else (3568, survey)
    to_grid = pyproj.Transformer.from_crs(4152, epsg, always_xy=True)
    assert to_grid.transform(lon, lat) == pytest.approx(published, abs=0.1)


@pytest.mark.parametrize(("lat", "lon", "feet", "survey"), POINTS)
def test_our_units_turn_one_zone_into_the_other(lat, lon, feet, survey):  # noqa: ARG001
    turned = convert(feet, LengthUnit.FT, LengthUnit.FT_US)
    assert turned.tolist() == pytest.approx(survey, abs=2e-3)


def test_both_zones_lie_on_one_plane_and_mixing_them_moves_a_point_13_5_ft():
    _, _, feet, survey = POINTS[0]
    of_feet = plane_ft(np.array([feet]), pyproj.CRS(2921)).transform(*feet)
    of_survey = plane_ft(np.array([survey]), pyproj.CRS(3568)).transform(*survey)
    assert of_survey == pytest.approx(of_feet, abs=2e-3)
    mixed = plane_ft(np.array([survey]), pyproj.CRS(2921)).transform(*survey)
    assert np.hypot(*np.subtract(mixed, of_feet)) == pytest.approx(13.513, abs=2e-3)


def test_the_systems_of_a_point_are_found_from_its_numbers():
    """The second point alone lies in Utah."""
    lat, lon, feet, survey = POINTS[1]
    for epsg, point in ((2921, feet), (3568, survey)):
        codes = [c.code for c in candidates(np.array([point]), near=(lon, lat))]
        assert f"EPSG:{epsg}" in codes


def test_the_note_on_the_other_foot_tells_these_13_5_ft():
    _, _, feet, survey = POINTS[0]
    assert "would lie 13.5 ft away" in foot_note(np.array([survey]), pyproj.CRS(3568))
    assert "would lie 13.5 ft away" in foot_note(np.array([feet]), pyproj.CRS(2921))
