"""A season of 500 jobs on 60 crew days: no limit broken, beside a plan by hand and beside pyvrp."""

from __future__ import annotations

import pytest

from hydrantgis.season.calendar import place_jobs
from tests.bench.season import AREA_HOURS, by_hand, by_pyvrp, driving, town
from tests.season.test_calendar import faults

pytestmark = pytest.mark.slow


def test_five_hundred_jobs_find_their_days_with_less_driving_than_by_hand():
    work, days = town(500)
    tours, hand = place_jobs(work, days, area_hours=AREA_HOURS), by_hand(work, days, AREA_HOURS)
    assert faults(work, days, tours, AREA_HOURS) == []
    assert faults(work, days, hand, AREA_HOURS) == []
    assert sum(map(len, tours.stops)) == 500 >= sum(map(len, hand.stops))
    assert driving(work, tours) < 0.9 * driving(work, hand)


@pytest.mark.parametrize("seed", [1, 2])
def test_without_dates_and_neighbors_it_drives_about_as_little_as_pyvrp(seed):
    work, days = town(200, days=20, bare=True, seed=seed)
    tours = place_jobs(work, days)
    assert sum(map(len, tours.stops)) == 200
    assert driving(work, tours) <= 1.08 * by_pyvrp(work, days, 10.0)
