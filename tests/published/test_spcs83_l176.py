"""
State Plane Coordinates of 1983 in US survey feet.

PROJ test/cli/test_proj_nad83.yaml at revision 52da98b: check points of the 1990s, "test83", with
expected values from the federal mapping program l176. GitHub OSGeo/PROJ (seen). Tolerance 0.01.
The zone manual is NOAA Manual NOS NGS 5 (1989); its worked pages were not seen.
"""

from __future__ import annotations

import numpy as np
import pyproj
import pytest

from hydrantgis.ground.plane import measures_true, plane_ft
from hydrantgis.ground.units import LengthUnit, convert
from hydrantgis.intake.crs import candidates, hold_against_area


def degrees(whole: int, minutes: int, seconds: float) -> float:
    return whole + minutes / 60 + seconds / 3600


POINTS = [
    pytest.param(
        2231, degrees(40, 25, 33.504), degrees(108, 45, 55.378), (2091110.958, 1414758.884),
        id="Colorado North, west",
    ),
    pytest.param(
        2231, degrees(40, 12, 42.711), degrees(105, 14, 45.588), (3070938.779, 1320125.979),
        id="Colorado North, east",
    ),
    pytest.param(
        2249, degrees(41, 40, 15.808), degrees(70, 27, 0.716), (942982.782, 2706924.168),
        id="Massachusetts Mainland",
    ),
    pytest.param(
        2283, degrees(38, 55, 12.407), degrees(77, 13, 46.945), (11844323.043, 7020638.975),
        id="Virginia North",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("zone", "north", "west", "published"), POINTS)
def test_check_point(zone, north, west, published):
    to_grid = pyproj.Transformer.from_crs(4269, zone, always_xy=True)
    assert to_grid.transform(-west, north) == pytest.approx(published, abs=0.01)


@pytest.mark.parametrize(("zone", "north", "west", "published"), POINTS)
def test_the_plane_holds_the_zone_in_feet(zone, north, west, published):
    crs = pyproj.CRS(zone)
    assert measures_true(crs)
    to_grid = pyproj.Transformer.from_crs(4269, zone, always_xy=True)
    point = to_grid.transform(-west, north)
    on_plane = plane_ft(np.array([point]), crs).transform(*point)
    feet = convert(published, LengthUnit.FT_US, LengthUnit.FT)
    assert on_plane == pytest.approx(tuple(feet), abs=0.011)


@pytest.mark.parametrize(("zone", "north", "west", "published"), POINTS)
def test_distances_on_the_plane_are_those_on_the_ellipsoid(zone, north, west, published):
    """100 ft due east of the check point; a State Plane zone keeps lengths to 1 in 10,000."""
    length_m = 100 * 0.3048
    east, up, _ = pyproj.Geod(ellps="GRS80").fwd(-west, north, 90.0, length_m)
    for crs, there in ((pyproj.CRS(zone), None), (pyproj.CRS(4269), (east, up))):
        if there is None:
            there = pyproj.Transformer.from_crs(4269, zone, always_xy=True).transform(east, up)
            here = published
        else:
            here = (-west, north)
        plane = plane_ft(np.array([here, there]), crs)
        a, b = plane.transform(*here), plane.transform(*there)
        assert np.hypot(*np.subtract(b, a)) == pytest.approx(100.0, abs=0.02)


@pytest.mark.parametrize(("zone", "north", "west", "published"), POINTS)
def test_the_zone_is_found_from_the_published_numbers(zone, north, west, published):
    point = np.array([published])
    assert candidates(point, near=(-west, north))[0].code == f"EPSG:{zone}"
    assert f"EPSG:{zone}" in [c.code for c in candidates(point)]
    assert not hold_against_area(point, pyproj.CRS(zone), where="l176").any()
