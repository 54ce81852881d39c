"""
The order of stops beside published shortest tours.

TSPLIB 95 (Reinelt, G., TSPLIB - A traveling salesman problem library, ORSA J. Comput. 3 (1991)
376): instances burma14, eil51 and berlin52 with their optima 3323, 426 and 7542; coordinates and
optima from memory, typed in. EUC_2D distances are rounded to whole numbers, GEO ones are on a
sphere of radius 6378.388 with pi = 3.141592, cut to whole numbers, as TSPLIB defines them.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from hydrantgis.season.calendar import CrewDays, Work, place_jobs

BURMA14 = """16.47 96.10 16.47 94.44 20.09 92.54 22.39 93.37 25.23 97.24 22.00 96.05 20.47 97.02
17.20 96.29 16.30 97.38 14.05 98.12 16.53 97.38 21.52 95.59 19.41 97.13 20.09 94.55"""
EIL51 = """37 52 49 49 52 64 20 26 40 30 21 47 17 63 31 62 52 33 51 21 42 41 31 32 5 25 12 42 36 16
52 41 27 23 17 33 13 13 57 58 62 42 42 57 16 57 8 52 7 38 27 68 30 48 43 67 58 48 58 27 37 69 38 46
46 10 61 33 62 63 63 69 32 22 45 35 59 15 5 6 10 17 21 10 5 64 30 15 39 10 32 39 25 32 25 55 48 28
56 37 30 40"""
BERLIN52 = """565 575 25 185 345 750 945 685 845 655 880 660 25 230 525 1000 580 1175 650 1130
1605 620 1220 580 1465 200 1530 5 845 680 725 370 145 665 415 635 510 875 560 365 300 465 520 585
480 415 835 625 975 580 1215 245 1320 315 1250 400 660 180 410 250 420 555 575 665 1150 1160 700 580
685 595 685 610 770 610 795 645 720 635 760 650 475 960 95 260 875 920 700 500 555 815 830 485
1170 65 830 610 605 625 595 360 1340 725 1740 245"""


def points(text):
    return np.array(text.split(), dtype=np.float64).reshape(-1, 2)


def plane(at):
    return np.floor(np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) + 0.5)


def sphere(at):
    degrees = np.trunc(at)
    radians = 3.141592 * (degrees + 5.0 * (at - degrees) / 3.0) / 180.0
    lat, lon = radians.T
    q1 = np.cos(lon[:, None] - lon[None])
    q2 = np.cos(lat[:, None] - lat[None])
    q3 = np.cos(lat[:, None] + lat[None])
    arc = np.arccos(np.clip(0.5 * ((1.0 + q1) * q2 - (1.0 - q1) * q3), -1, 1))
    ways = np.trunc(6378.388 * arc + 1.0)
    np.fill_diagonal(ways, 0.0)
    return ways


@pytest.mark.parametrize(
    ("ways", "optimum", "most"),
    [
        (sphere(points(BURMA14)), 3323, 1.0),
        (plane(points(EIL51)), 426, 1.01),
        (plane(points(BERLIN52)), 7542, 1.0),
    ],
    ids=["burma14", "eil51", "berlin52"],
)
def test_a_tour_is_as_short_as_the_published_one(ways, optimum, most):
    # the first town is the depot, which the planner has last
    n = len(ways) - 1
    ways = np.roll(ways, (-1, -1), axis=(0, 1))
    scale = 1e-3  # hours; the search is tuned for ways of minutes
    work = Work(
        hours=np.full(n, 0.001), area=np.zeros(n, dtype=np.intp), priority=np.ones(n),
        must=np.zeros(n, dtype=bool), allowed=np.ones((n, 1), dtype=bool),
        neighbours=np.zeros((0, 2), dtype=np.intp), travel=ways * scale,
    )  # fmt: skip
    (stops,) = place_jobs(work, CrewDays(hours=np.array([1e4]), day=np.array([0]))).stops
    length = sum(ways[a, b] for a, b in itertools.pairwise((n, *stops, n)))
    assert sorted(stops) == list(range(n))
    assert optimum <= length <= most * optimum
