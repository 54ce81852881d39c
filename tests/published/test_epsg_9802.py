"""
Lambert conic conformal, two standard parallels, in US survey feet.

EPSG Guidance Note 7-2, method 9802, worked example: NAD27 / Texas South Central (EPSG:32040),
28 deg 30 min N 96 deg W. https://epsg.io/9802-method (seen).
"""

from __future__ import annotations

import numpy as np
import pyproj
import pytest

from hydrantgis.ground.plane import measures_true, plane_ft
from hydrantgis.ground.units import LengthUnit, convert
from hydrantgis.intake.crs import candidates

EAST_FTUS, NORTH_FTUS = 2963503.91, 254759.80


def test_texas_south_central():
    to_grid = pyproj.Transformer.from_crs(4267, 32040, always_xy=True)
    assert to_grid.transform(-96.0, 28.5) == pytest.approx((EAST_FTUS, NORTH_FTUS), abs=0.01)


def test_the_plane_takes_its_survey_feet_as_survey_feet():
    """US survey feet x 1200/3937 / 0.3048 are feet: 5.93 ft more at this easting."""
    crs = pyproj.CRS(32040)
    assert measures_true(crs)
    x, y = plane_ft(np.array([[EAST_FTUS, NORTH_FTUS]]), crs).transform(EAST_FTUS, NORTH_FTUS)
    assert x == pytest.approx(EAST_FTUS * 1200 / 3937 / 0.3048, abs=1e-6)
    assert y == pytest.approx(NORTH_FTUS * 1200 / 3937 / 0.3048, abs=1e-6)
    assert x - EAST_FTUS == pytest.approx(5.93, abs=0.01)
    assert convert(EAST_FTUS, LengthUnit.FT_US, LengthUnit.FT) == pytest.approx(x, abs=1e-6)


def test_the_zone_is_found_from_the_numbers_and_the_place():
    found = candidates(np.array([[EAST_FTUS, NORTH_FTUS]]), near=(-96.0, 28.5))
    assert found[0].code == "EPSG:32040"
    assert found[0].unit == "US survey foot"
