"""What holds of verdicts and probabilities whatever the window and the elevations are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.assess.verdict import chances, verdicts
from hydrantgis.heights.outlet import height_over_grade_in

ORDER = {"low": 0, "inside": 1, "high": 2}

hundredths = st.integers(-6000, 12000)
elevations = st.integers(-30_000, 1_500_000).map(lambda whole: whole / 100)
uncertainties = st.floats(0.01, 20)


@st.composite
def windows(draw, *, one_sided=True):
    lo = draw(hundredths)
    hi = lo + draw(st.integers(1, 6000))
    kind = draw(st.sampled_from(["both", "lo", "hi"])) if one_sided else "both"
    return (
        -np.inf if kind == "hi" else lo / 100,
        np.inf if kind == "lo" else hi / 100,
    )


@given(window=windows(one_sided=False), grade=elevations)
def test_an_outlet_exactly_at_a_limit_is_inside(window, grade):
    lo, hi = window
    outlets = np.array([grade + lo / 12, grade + hi / 12])
    height = height_over_grade_in(outlets, np.array([grade, grade]))
    verdict, _ = verdicts(height, [0.3, 0.3], lo_in=lo, hi_in=hi)
    assert verdict.tolist() == ["inside", "inside"]


@given(window=windows(one_sided=False), grade=elevations)
def test_a_hundredth_beyond_a_limit_is_outside(window, grade):
    lo, hi = window
    outlets = np.array([grade + (lo - 0.01) / 12, grade + (hi + 0.01) / 12])
    height = height_over_grade_in(outlets, np.array([grade, grade]))
    verdict, _ = verdicts(height, [0.3, 0.3], lo_in=lo, hi_in=hi)
    assert verdict.tolist() == ["low", "high"]


@given(
    window=windows(), grade=elevations, above=st.integers(-500, 1000), lift=elevations,
    u=uncertainties,
)  # fmt: skip
def test_one_more_foot_under_both_elevations_changes_nothing(window, grade, above, lift, u):
    lo, hi = window
    outlet = grade + above / 100
    heights = height_over_grade_in(
        np.array([outlet, outlet + lift]), np.array([grade, grade + lift])
    )
    for guarded in (False, True):
        verdict, marginal = verdicts(heights, [u, u], lo_in=lo, hi_in=hi, guarded=guarded)
        p = chances(heights, [u, u], lo_in=lo, hi_in=hi)
        np.testing.assert_allclose(heights[0], heights[1], atol=1e-6)
        if not guarded:
            assert verdict[0] == verdict[1]
        for chance in p:
            assert chance[0] == pytest.approx(chance[1], abs=1e-5)
        assert marginal.shape == (2,)


@given(window=windows(), y=hundredths, shift=hundredths, u=uncertainties)
def test_raising_window_and_reading_together_changes_nothing(window, y, shift, u):
    lo, hi = window
    before, _ = verdicts([y / 100], [u], lo_in=lo, hi_in=hi)
    after, _ = verdicts([(y + shift) / 100], [u], lo_in=lo + shift / 100, hi_in=hi + shift / 100)
    # limits of two decimals again, as a rule file would hold them
    exact, _ = verdicts(
        [(y + shift) / 100], [u],
        lo_in=round(lo + shift / 100, 2), hi_in=round(hi + shift / 100, 2),
    )  # fmt: skip
    assert exact.tolist() == before.tolist()
    if abs(y / 100 - lo) > 0.005 and abs(y / 100 - hi) > 0.005:
        assert after.tolist() == before.tolist()


@given(window=windows(), ys=st.lists(hundredths, min_size=2, max_size=20), u=uncertainties)
def test_a_higher_outlet_is_never_judged_lower(window, ys, u):
    lo, hi = window
    heights = np.sort(np.array(ys)) / 100
    verdict, _ = verdicts(heights, np.full(len(heights), u), lo_in=lo, hi_in=hi)
    ranks = [ORDER[v] for v in verdict]
    assert ranks == sorted(ranks)
    guarded, _ = verdicts(heights, np.full(len(heights), u), lo_in=lo, hi_in=hi, guarded=True)
    told = [ORDER[v] for v in guarded if v != "unresolved"]
    assert told == sorted(told)
    p = chances(heights, np.full(len(heights), u), lo_in=lo, hi_in=hi)
    assert (np.diff(p.low) <= 1e-12).all()
    assert (np.diff(p.high) >= -1e-12).all()


@given(window=windows(), y=st.floats(-200, 300), u=st.floats(1e-3, 200))
def test_probabilities_sum_to_one_and_stay_between_nothing_and_one(window, y, u):
    p = chances(y, u, lo_in=window[0], hi_in=window[1])
    assert sum(float(chance) for chance in p) == pytest.approx(1.0, abs=1e-12)
    assert all(0 <= float(chance) <= 1 for chance in p)


@given(window=windows(), y=hundredths, u=uncertainties, c=st.floats(0.51, 0.999))
def test_a_guarded_verdict_has_the_chance_it_asks_for(window, y, u, c):
    lo, hi = window
    verdict, _ = verdicts([y / 100], [u], lo_in=lo, hi_in=hi, guarded=True, confidence=c)
    p = chances([y / 100], [u], lo_in=lo, hi_in=hi)
    of = {"inside": p.inside[0], "low": p.low[0], "high": p.high[0]}
    if verdict[0] == "unresolved":
        assert max(of.values()) < c
    else:
        assert of[verdict[0]] >= c
