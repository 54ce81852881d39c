"""Probabilities, against another implementation and against drawing lots."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from hydrantgis.assess.verdict import chances


@pytest.mark.parametrize(
    ("lo", "hi"), [(18.0, 24.0), (18.0, np.inf), (-np.inf, 36.0), (20.0, 20.01)]
)
def test_they_are_areas_under_the_normal_curve(lo, hi):
    y, u = (a.ravel() for a in np.meshgrid(np.linspace(-20, 60, 161), [0.05, 0.25, 0.34, 4, 30]))
    p = chances(y, u, lo_in=lo, hi_in=hi)
    np.testing.assert_allclose(p.low, norm.cdf(lo, y, u), atol=1e-14)
    np.testing.assert_allclose(p.high, norm.sf(hi, y, u), atol=1e-14)
    np.testing.assert_allclose(p.inside, norm.cdf(hi, y, u) - norm.cdf(lo, y, u), atol=1e-14)
    np.testing.assert_allclose(sum(p), 1.0, atol=1e-14)


@pytest.mark.parametrize(("y", "u"), [(19.0, 0.5), (17.6, 0.339411), (23.0, 3.94432), (21, 2.3)])
def test_they_are_the_share_of_true_heights(y, u):
    """Two hundred thousand true heights about the estimate; four standard errors are allowed."""
    n = 200_000
    true = np.random.default_rng(3).normal(y, u, n)
    p = chances(y, u, lo_in=18, hi_in=24)
    counted = ((true >= 18) & (true <= 24), true < 18, true > 24)
    for share, expected in zip(counted, p, strict=True):
        error = np.sqrt(max(float(expected) * (1 - float(expected)), 1 / n) / n)
        assert share.mean() == pytest.approx(float(expected), abs=4 * error)


def test_a_small_chance_keeps_its_digits():
    """Far below a window the chance to be inside is tiny, and not zero."""
    assert float(chances(8.0, 1.0, lo_in=18, hi_in=24).inside) == pytest.approx(
        norm.sf(10), rel=1e-9
    )
    assert float(chances(34.0, 1.0, lo_in=18, hi_in=24).inside) == pytest.approx(
        norm.sf(10), rel=1e-9
    )
    assert float(chances(8.0, 1.0, lo_in=18, hi_in=np.inf).inside) == pytest.approx(
        norm.sf(10), rel=1e-9
    )
    assert float(chances(34.0, 1.0, lo_in=-np.inf, hi_in=24).inside) == pytest.approx(
        norm.sf(10), rel=1e-9
    )


def test_a_missing_height_or_uncertainty_has_no_probability():
    p = chances([np.nan, 20.0], [0.25, np.nan], lo_in=18, hi_in=24)
    assert np.isnan(p).all()
