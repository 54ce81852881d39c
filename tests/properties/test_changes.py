"""Random vintages of a layer, against a comparison in plain Python."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.tables import HYDRANTS
from hydrantgis.register.changes import MOVED_FT, compare, mutual_nearest
from hydrantgis.register.vintages import LEAST_SHARE, vintage

IDS = st.sampled_from("ABCDEFGH")
PLACES = st.one_of(st.none(), st.integers(0, 40))
VALUES = st.one_of(st.none(), st.sampled_from([3.5, 4.0, 4.5]))
LAYERS = st.dictionaries(IDS, st.tuples(PLACES, VALUES, st.sampled_from(["x", "y", None])))
CRS = "EPSG:32119"  # in metres: 1 m is 3.28 ft


def frame(told: dict[str, tuple[int | None, float | None, str | None]]) -> gpd.GeoDataFrame:
    points = [
        None if p is None else shapely.Point(600_000 + p, 200_000) for p, _, _ in told.values()
    ]
    plain = pd.DataFrame(
        {
            "hydrant_id": list(told),
            "bury_ft": [b for _, b, _ in told.values()],
            "note": [n for _, _, n in told.values()],
        }
    )
    made = HYDRANTS.conform(gpd.GeoDataFrame(plain, geometry=points, crs=CRS))
    return gpd.GeoDataFrame(made, crs=CRS)


@given(LAYERS, LAYERS, st.randoms())
def test_changes_are_those_that_plain_python_finds(before, after, random) -> None:
    order = list(after)
    random.shuffle(order)
    told = {name: after[name] for name in order}
    gone = [name for name in before if name not in after]
    changes, _ = compare(frame(told), frame(before), pd.Index(gone, dtype="str"), pd.Index([]), "i")

    expected = set()
    for name, (place, bury, note) in after.items():
        if name not in before:
            continue
        stood, old_bury, old_note = before[name]
        if place is not None and stood is not None and abs(place - stood) * 3.280839895 > MOVED_FT:
            expected.add((name, "moved", "geometry"))
        if bury is not None and bury != old_bury:
            expected.add((name, "changed", "bury_ft"))
        if note is not None and note != old_note:
            expected.add((name, "changed", "note"))

    def near(a: str, b: str) -> bool:
        here, there = after[a][0], before[b][0]
        return here is not None and there is not None and abs(here - there) * 3.280839895 <= 3

    fresh = [name for name in after if name not in before]
    for name in fresh:
        olds = [old for old in gone if near(name, old)]
        sole = len(olds) == 1 and sum(near(other, olds[0]) for other in fresh) == 1
        expected.add((name, "renumbered" if sole else "new", None))
    expected |= {(name, "gone", None) for name in gone}
    found = {
        (h, c, None if pd.isna(n) else n)
        for h, c, n in zip(changes["hydrant_id"], changes["change"], changes["column"], strict=True)
    }
    assert found == expected
    assert len(changes) == len(expected)


@given(
    st.lists(st.tuples(st.integers(0, 30), st.integers(0, 3)), max_size=25),
    st.lists(st.tuples(st.integers(0, 30), st.integers(0, 3)), max_size=25),
)
def test_pairs_are_those_that_have_nobody_else_near(ours, theirs) -> None:
    def at(places: list[tuple[int, int]]) -> gpd.GeoDataFrame:
        points = [shapely.Point(600_000 + x, 200_000 + y) for x, y in places]
        return gpd.GeoDataFrame(geometry=gpd.GeoSeries(points, crs=CRS))

    def near(a: tuple[int, int], b: tuple[int, int]) -> bool:
        return np.hypot(a[0] - b[0], a[1] - b[1]) / 0.3048 <= 3.5

    expected = {
        (i, j)
        for i, a in enumerate(ours)
        for j, b in enumerate(theirs)
        if near(a, b)
        and sum(near(a, other) for other in theirs) == 1
        and sum(near(other, b) for other in ours) == 1
    }
    found = mutual_nearest(at(ours), at(theirs), 3.5)
    assert {(int(i), int(j)) for i, j in found} == expected


@given(st.sets(IDS), st.dictionaries(IDS, st.sampled_from("ab")), st.booleans(), st.booleans())
def test_a_vintage_retires_what_it_lacks_of_the_layers_that_it_follows(
    present, living, whole, adds
) -> None:
    found = vintage(
        pd.Index(sorted(present), dtype="str"),
        pd.Series(living, dtype="str"),
        whole=whole,
        adds=adds,
    )
    gone = set()
    for name in set(living.values()):
        members = {h for h, layer in living.items() if layer == name}
        follows = len(members & present) >= LEAST_SHARE * len(members) or whole
        if follows and not adds:
            gone |= members - present
    assert set(found.gone) == gone
    assert not (gone and found.of is None)
