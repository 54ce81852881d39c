"""Blunders, shots in a line, too few shots, missing values, and what the uncertainty is worth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from hydrantgis.heights.grade import grade_at
from hydrantgis.heights.gradefit import OUTLIER_FLOOR_FT

CROSS = np.array([[10.0, 0], [-10, 0], [0, 10], [0, -10], [7, 7]])


def test_a_blunder_95_ft_off_is_named_and_left_out():
    z = 100 + CROSS @ [0.02, -0.01]
    wrong = z.copy()
    wrong[3] += 95
    fit = grade_at([[500, 500], [0, 0]], CROSS, wrong, np.full(5, 0.02))
    assert fit.outlier_hydrant.tolist() == [1]
    assert fit.outlier_shot.tolist() == [3]
    assert fit.shots.tolist() == [0, 4]
    assert fit.elev_ft[1] == pytest.approx(100.0, abs=1e-9)


@pytest.mark.parametrize("blunder", range(3))
def test_of_three_shots_the_blunder_is_the_one_far_from_both_others(blunder):
    z = np.array([100.0, 100.1, 100.2])
    z[blunder] -= 95
    fit = grade_at([[0, 0]], CROSS[:3], z, np.full(3, 0.02))
    assert fit.outlier_shot.tolist() == [blunder]
    assert fit.elev_ft[0] == pytest.approx(np.delete(z, blunder).mean())


def test_of_two_shots_nobody_can_say_which_is_wrong():
    fit = grade_at([[0, 0]], CROSS[:2], [100.0, 195.0], [0.02, 0.02])
    assert len(fit.outlier_shot) == 0
    assert fit.elev_ft[0] == pytest.approx(147.5)
    assert fit.sd_ft[0] >= 47.5


def test_ground_that_slopes_is_no_blunder():
    """A bank of 1 in 4: the shots differ by feet and all of them stay."""
    z = 100 + CROSS @ [0.25, 0.0]
    fit = grade_at([[0, 0]], CROSS, z, np.full(5, 0.02))
    assert len(fit.outlier_shot) == 0
    assert fit.elev_ft[0] == pytest.approx(100.0, abs=1e-9)


def test_the_one_shot_uphill_on_a_slope_is_no_blunder():
    """
    A street of 1 in 12: four shots 12 ft downhill of the barrel, one 15 ft uphill.

    All five lie on one plane, which passes through 100 ft at the barrel. Without the one uphill
    the mean of the four would stand a foot too low.
    """
    shots = np.array([[-13.5, 1.5], [-13.5, -1.5], [-10.5, 1.5], [-10.5, -1.5], [15.0, 0.0]])
    fit = grade_at([[0, 0]], shots, 100 + shots[:, 0] / 12, np.full(5, 0.02))
    assert len(fit.outlier_shot) == 0
    assert fit.elev_ft[0] == pytest.approx(100.0, abs=3 * fit.sd_ft[0])


def test_the_far_one_of_three_shots_on_a_street_is_no_blunder():
    """
    A street of 1 in 20: two shots 18 and 20 ft uphill of the barrel, one 20 ft downhill.

    The plane of the three passes through 100 ft at the barrel; the mean of the two uphill is
    almost a foot higher.
    """
    shots = np.array([[18.0, 8], [20, -7], [-20, 1]])
    fit = grade_at([[0, 0]], shots, 100 + shots[:, 0] / 20, np.full(3, 0.02))
    assert len(fit.outlier_shot) == 0
    assert fit.elev_ft[0] == pytest.approx(100.0, abs=3 * fit.sd_ft[0])


def test_a_shot_less_than_the_floor_off_stays_however_well_the_others_agree():
    z = np.full(5, 100.0)
    z[4] += OUTLIER_FLOOR_FT * 0.99
    assert len(grade_at([[0, 0]], CROSS, z, np.full(5, 0.02)).outlier_shot) == 0
    z[4] = 100 + OUTLIER_FLOOR_FT * 1.01
    assert grade_at([[0, 0]], CROSS, z, np.full(5, 0.02)).outlier_shot.tolist() == [4]


@pytest.mark.parametrize("direction", [(1, 0), (0, 1), (3, 4), (-1, 2)])
def test_shots_in_a_line_give_their_mean_and_no_plane(direction):
    along = np.array([-20.0, -10, 5, 15])[:, None] * np.array(direction) / np.hypot(*direction)
    z = np.array([99.8, 100.0, 100.1, 100.5])
    fit = grade_at([[2, 1]], along, z, np.full(4, 0.02))
    assert fit.fit[0] == "mean"
    assert np.isnan(fit.slope[0])
    assert fit.elev_ft[0] == pytest.approx(z.mean())
    assert fit.sd_ft[0] >= (z.max() - z.min()) / 2 - 1e-9


def test_shots_nearly_in_a_line_give_their_mean_too():
    """Four shots along 35 ft of curb, an inch to one side or the other: no slope across it."""
    shots = np.array([[-20.0, 0.08], [-10, -0.08], [5, -0.08], [15, 0.08]])
    z = np.array([99.8, 100.0, 100.1, 100.5])
    fit = grade_at([[0, 0]], shots, z, np.full(4, 0.02))
    assert fit.fit[0] == "mean"
    assert fit.elev_ft[0] == pytest.approx(100.1)


@pytest.mark.parametrize(
    "shots",
    [
        pytest.param([[20.0, 0], [20.8, 0.7], [20.1, 0.9]], id="a foot apart"),
        pytest.param([[17.0, -3], [23.0, -3], [20.0, 3]], id="six feet apart"),
    ],
)
def test_a_barrel_outside_the_spread_of_its_shots_gets_their_mean(shots):
    """Three shots close together, 20 ft away: their plane is not carried that far."""
    z = np.array([100.0, 100.2, 100.1])
    fit = grade_at([[0, 0]], shots, z, np.full(3, 0.02))
    assert fit.fit[0] == "mean"
    assert np.isnan(fit.slope[0])
    assert fit.elev_ft[0] == pytest.approx(100.1)


def test_no_shot_leaves_the_grade_missing():
    fit = grade_at([[0, 0], [900, 0]], [[3, 4]], [100.0], [0.02])
    assert fit.fit.tolist() == ["single", "none"]
    assert fit.shots.tolist() == [1, 0]
    assert np.isnan(fit.elev_ft[1])
    assert np.isnan(fit.sd_ft[1])
    empty = grade_at([[0, 0]], np.empty((0, 2)), [], [])
    assert empty.fit.tolist() == ["none"]
    assert np.isnan(empty.elev_ft[0])
    assert len(grade_at(np.empty((0, 2)), [[3, 4]], [100.0], [0.02]).elev_ft) == 0


def test_one_shot_stands_with_its_own_uncertainty_at_least():
    fit = grade_at([[0, 0]], [[3, 4]], [100.0], [0.07])
    assert (fit.elev_ft[0], fit.fit[0]) == (100.0, "single")
    assert fit.sd_ft[0] >= 0.07


def test_a_missing_place_or_elevation_does_not_count():
    shots = [[3, 4], [np.nan, 0], [4, -3]]
    fit = grade_at([[0, 0], [np.nan, 0]], shots, [100.0, 50.0, np.nan], [0.02, 0.02, 0.02])
    assert fit.shots.tolist() == [1, 0]
    assert fit.elev_ft[0] == 100.0
    assert fit.fit[1] == "none"


def test_order_of_shots_and_hydrants_does_not_matter():
    rng = np.random.default_rng(7)
    hydrants, shots = rng.uniform(0, 200, (12, 2)), rng.uniform(0, 200, (90, 2))
    z = 100 + shots @ [0.01, 0.01] + rng.normal(0, 0.05, 90)
    own = rng.uniform(0.01, 0.05, 90)
    fit = grade_at(hydrants, shots, z, own)
    a, b = rng.permutation(12), rng.permutation(90)
    again = grade_at(hydrants[a], shots[b], z[b], own[b])
    np.testing.assert_allclose(again.elev_ft, fit.elev_ft[a], atol=1e-9)
    np.testing.assert_allclose(again.sd_ft, fit.sd_ft[a], rtol=1e-6)
    assert again.fit.tolist() == fit.fit[a].tolist()


def surveys(n, sd, seed):
    """The same eight shots at each of n hydrants far apart, each survey with its own errors."""
    rng = np.random.default_rng(seed)
    layout = np.array(
        [[12.0, 3], [-9, 8], [4, -14], [-13, -6], [18, -9], [2, 16], [-5, -2], [9, 11]]
    )
    hydrants = np.column_stack([np.arange(n) * 1000.0, np.zeros(n)])
    shots = (hydrants[:, None, :] + layout).reshape(-1, 2)
    z = 640 + np.tile(layout @ [0.03, -0.02], n) + rng.normal(0, sd, 8 * n)
    return layout, grade_at(hydrants, shots, z, np.full(8 * n, sd))


def test_the_uncertainty_of_a_plane_is_what_repeated_surveys_show():
    """Four thousand surveys with known errors: the scatter of the grade is the stated figure."""
    sd = 0.02
    layout, fit = surveys(4000, sd, seed=11)
    assert set(fit.fit) == {"plane"}
    off = fit.elev_ft - 640
    design = np.column_stack([np.ones(8), layout])
    expected = sd * np.sqrt(np.linalg.inv(design.T @ design)[0, 0])
    # the standard deviation of 4000 values is known to about 1.1 %; four times that is allowed
    assert off.std(ddof=1) == pytest.approx(expected, rel=0.045)
    assert abs(off.mean()) < 4 * expected / np.sqrt(4000)
    assert fit.sd_ft.min() == pytest.approx(expected, rel=1e-9)
    covered = (np.abs(off) <= 1.96 * fit.sd_ft).mean()
    assert covered >= 0.95 - 4 * np.sqrt(0.95 * 0.05 / 4000)
    assert covered < 0.99


def test_ground_rougher_than_the_shots_is_told_by_the_residuals():
    """Shots good to 0.001 ft on ground rough by 0.1 ft: Student's interval covers what it says."""
    sd = 0.1
    rng = np.random.default_rng(5)
    layout, _ = surveys(1, 0.02, seed=1)
    n = 3000
    hydrants = np.column_stack([np.arange(n) * 1000.0, np.zeros(n)])
    shots = (hydrants[:, None, :] + layout).reshape(-1, 2)
    z = 640 + rng.normal(0, sd, 8 * n)
    fit = grade_at(hydrants, shots, z, np.full(8 * n, 0.001))
    half = stats.t.ppf(0.975, df=5) * fit.sd_ft
    covered = (np.abs(fit.elev_ft - 640) <= half).mean()
    assert covered == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / n))
