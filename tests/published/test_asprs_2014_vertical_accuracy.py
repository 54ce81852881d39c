"""
Vertical accuracy of a terrain model against check points.

ASPRS Positional Accuracy Standards for Digital Geospatial Data, Edition 1 (2014), Annex D, worked
example with five check points (from memory; the arithmetic reproduces each published rounding).
FGDC-STD-007.3-1998 (NSSDA): 1.9600 RMSEz at 95 % (second hand), 20 check points (from memory).
Statements that cannot belong together: metadata of a public terrain survey, GitHub PDAL/data,
autzen/2023/OLC_Willamette_Valley_Classified_LAS_Metadata.xml (seen).
"""

from __future__ import annotations

import numpy as np
import pytest

from hydrantgis.ground.units import LengthUnit, convert
from hydrantgis.heights.terrain import NSSDA_95, statements_agree, vertical_accuracy

ERRORS_M = np.array([-0.071, 0.010, 0.102, -0.100, 0.087])


def in_m(feet: float) -> float:
    return float(convert(feet, LengthUnit.FT, LengthUnit.M))


def test_annex_d():
    survey = np.full(5, 300.0)
    told = vertical_accuracy(survey + convert(ERRORS_M, LengthUnit.M, LengthUnit.FT), survey)
    assert in_m(told.mean_ft) == pytest.approx(0.006, abs=5e-4)
    assert in_m(told.sd_ft) == pytest.approx(0.091, abs=5e-4)
    assert in_m(told.rmse_z_ft) == pytest.approx(0.081, abs=5e-4)
    assert in_m(told.accuracy_95_ft) == pytest.approx(0.160, abs=5e-4)
    # to more digits, from the same arithmetic
    assert in_m(told.mean_ft) == pytest.approx(0.0056, abs=5e-5)
    assert in_m(told.sd_ft) == pytest.approx(0.0908, abs=5e-5)
    assert in_m(told.rmse_z_ft) == pytest.approx(0.08138, abs=5e-6)
    assert in_m(told.accuracy_95_ft) == pytest.approx(0.15951, abs=5e-6)


def test_five_points_are_fewer_than_the_standard_asks_for():
    assert not vertical_accuracy(ERRORS_M, np.zeros(5)).enough
    assert not vertical_accuracy(np.ones(19), np.zeros(19)).enough
    assert vertical_accuracy(np.ones(20), np.zeros(20)).enough


def test_the_10_cm_class():
    """RMSEz 10 cm is 19.6 cm at 95 %."""
    assert pytest.approx(0.196) == NSSDA_95 * 0.10
    assert statements_agree(0.10, 0.196)


def test_an_rmse_and_an_accuracy_that_are_not_of_one_survey():
    """0.046 m and 0.053 m stand side by side; 1.9600 times 0.046 is 0.0902."""
    assert pytest.approx(0.0902, abs=5e-5) == NSSDA_95 * 0.046
    assert not statements_agree(0.046, 0.053)
    assert not statements_agree(0.152, 0.174)  # the same, in feet


def test_edition_2_counts_the_survey_in():
    """ASPRS, Edition 2 (2023), from memory: RMSE = sqrt(RMSE1^2 + RMSE2^2)."""
    told = vertical_accuracy([3.0, -3.0], [0.0, 0.0], survey_rmse_z_ft=4.0)
    assert told.with_survey_rmse_z_ft == pytest.approx(5.0)
