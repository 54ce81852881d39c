"""A plane to measure on: feet that are feet, wherever the points come from."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest

from hydrantgis.ground.plane import measures_true, plane_ft

# Boston Common, as degrees; the second point lies 0.001 degrees of latitude north of it
HERE = np.array([[-71.0656, 42.3550], [-71.0656, 42.3560]])


@pytest.mark.parametrize("code", [4326, 3857, 2249, 26986, 32619])
def test_a_step_north_is_as_long_in_every_system(code: int) -> None:
    """Against the geodesic on the ellipsoid (GeographicLib through PROJ)."""
    _, _, metres = pyproj.Geod(ellps="WGS84").inv(*HERE[0], *HERE[1])
    to_crs = pyproj.Transformer.from_crs(4326, code, always_xy=True)
    points = np.column_stack(to_crs.transform(HERE[:, 0], HERE[:, 1]))
    crs = pyproj.CRS(code)
    x, y = plane_ft(points, crs).transform(points[:, 0], points[:, 1])
    feet = np.hypot(np.diff(x), np.diff(y))[0]
    # a projected system is itself measured on: its scale is within 1 in 2,000 there
    assert feet == pytest.approx(metres / 0.3048, rel=5e-4)


@pytest.mark.parametrize("code", [4326, 3857, 4087, 32662, 6933, 3395])
def test_degrees_and_stretched_systems_are_not_measured_on(code: int) -> None:
    assert not measures_true(pyproj.CRS(code))


@pytest.mark.parametrize("code", [2249, 2264, 3736, 32617, 3979, 5514, 26931])
def test_survey_systems_are_measured_on(code: int) -> None:
    assert measures_true(pyproj.CRS(code))
