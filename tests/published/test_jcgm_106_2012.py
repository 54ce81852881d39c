"""
Conformance probability and guard bands.

JCGM 106:2012, Evaluation of measurement data - The role of measurement uncertainty in conformity
assessment (also ISO/IEC Guide 98-4 and OIML G 1-106): 7.3 with Table 1 and the zener diode and
burst pressure examples, 7.4 motor oil, 8.3.3 traffic speed, 9.5.4 ball bearings.
Bureau International des Poids et Mesures, bipm.org. FROM MEMORY, but for the ball bearings, which
are second hand: a public notebook, "Risk - Ball Bearing" (0.0424, 0.00802, 1.6718), of a free
uncertainty calculator. More digits than are printed were computed from the formulas; the
printed rounding stands beside each value.
"""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad
from scipy.stats import gamma

from hydrantgis.assess.verdict import chances

INF = math.inf


@pytest.mark.parametrize(
    ("y", "u", "lo", "hi", "computed", "printed"),
    [
        pytest.param(-5.47, 0.05, -INF, -5.40, 0.91924, 0.92, id="zener diode, V"),
        pytest.param(509.7, 8.6, 490.0, INF, 0.98901, 0.99, id="burst pressure, kPa"),
        pytest.param(13.6, 1.8, 12.5, 16.3, 0.66263, 0.66, id="motor oil, mm2/s"),
    ],
)
def test_conformance_probability(y, u, lo, hi, computed, printed):
    inside = float(chances(y, u, lo_in=lo, hi_in=hi).inside)
    assert inside == pytest.approx(computed, abs=5e-5)
    assert round(inside, 2) == printed


@pytest.mark.parametrize(
    ("z", "p", "printed_z"),
    [
        (0.8416, 0.80, 0.84),
        (1.2816, 0.90, 1.28),
        (1.6449, 0.95, 1.64),
        (2.3263, 0.99, 2.33),
        (3.0902, 0.999, 3.09),
    ],
)
def test_table_1_of_clause_7_3(z, p, printed_z):
    assert float(chances(-z, 1.0, lo_in=-INF, hi_in=0.0).inside) == pytest.approx(p, abs=5e-5)
    assert float(chances(z, 1.0, lo_in=0.0, hi_in=INF).inside) == pytest.approx(p, abs=5e-5)
    assert abs(z - printed_z) <= 0.005


def test_traffic_speed_is_above_100_with_probability_0_999_from_106_588():
    """Printed: 107 km/h, a guard band of 7; the uncertainty is 2 % of what is read."""
    for speed, sure in ((106.58, False), (106.60, True), (107.0, True)):
        above = float(chances(speed, 0.02 * speed, lo_in=-INF, hi_in=100.0).high)
        assert (above >= 0.999) is sure
    at = 106.588
    above = float(chances(at, 0.02 * at, lo_in=-INF, hi_in=100.0).high)
    assert above == pytest.approx(0.999, abs=5e-5)


def test_ball_bearings_that_are_out_and_pass():
    """X from gamma(4, 1/4 um), u = 0.25 um: 4.2 % are above 2 um, 0.8 % pass at A = 2 um."""
    process = gamma(4, scale=0.25)

    def bad_that_pass(acceptance: float) -> float:
        def density(x: float) -> float:
            passing = chances(x, 0.25, lo_in=-INF, hi_in=acceptance).inside
            return float(process.pdf(x) * passing)

        return quad(density, 2.0, 8.0)[0]

    assert process.sf(2.0) == pytest.approx(0.0423801, abs=1e-4)
    assert bad_that_pass(2.0) == pytest.approx(0.0080191, abs=1e-4)
    assert bad_that_pass(1.67183) == pytest.approx(0.001, abs=1e-5)
