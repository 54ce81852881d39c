"""Ids and places, beside brute force over every pair of rows and beside geodesics on the globe."""

from __future__ import annotations

import itertools
import re

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.plane import SAME_PLACE_FT
from hydrantgis.ground.tables import HYDRANTS, SHOTS, VALVES
from hydrantgis.intake.ids import (
    PLACEHOLDERS,
    alike_ids,
    note_other_ids,
    placeholder_ids,
    sort_out_ids,
)
from hydrantgis.intake.ledger import Ledger

FT = 0.3048
GEOD = pyproj.Geod(ellps="GRS80")
PLACES = {4326: (-71.1, 42.37), 2249: (-71.1, 42.37), 26986: (-71.1, 42.37), 3857: (-71.1, 42.37),
          3736: (-105.5, 43.0), 32617: (-81.0, 60.5), 4269: (-149.9, 61.2)}  # fmt: skip
"""A CRS, and a place where it is used."""


def settle(ids, points, *, crs=4326, table=HYDRANTS, notes=None, said=(), reach=None):
    """Outcome and code of each row, by its number from 1."""
    rows = pd.DataFrame({table.key: pd.Series(ids, dtype="str"), "note": notes or [""] * len(ids)})
    rows.index = pd.RangeIndex(1, len(ids) + 1)
    frame = pd.DataFrame(table.conform(rows))
    shapes = gpd.GeoSeries([p and shapely.Point(p) for p in points], index=rows.index, crs=crs)
    ledger = Ledger(table, frame.index)
    sort_out_ids(frame, shapes, ledger, placeholders=said, same_place_ft=reach)
    return ledger


@st.composite
def clusters(draw):
    """A CRS and hydrants there: some in one place, some near, some far; metres east and north."""
    crs = draw(st.sampled_from(sorted(PLACES)))
    spots = draw(st.lists(st.tuples(*[st.integers(-300, 300)] * 2), min_size=1, max_size=6))
    steps = st.integers(-8, 8).map(lambda n: n * 0.23)
    near = draw(st.lists(st.tuples(st.sampled_from(spots), steps, steps), min_size=1, max_size=14))
    return crs, [(e + de, n + dn) for (e, n), de, dn in near]


def on_the_globe(crs: int, offsets) -> tuple[np.ndarray, list]:
    """Longitude and latitude of places so far from the middle, and their coordinates."""
    lon0, lat0 = PLACES[crs]
    east, north = np.array(offsets, dtype=float).T
    away, turn = np.hypot(east, north), np.degrees(np.arctan2(east, north))
    n = len(offsets)
    lon, lat, _ = GEOD.fwd(np.full(n, lon0), np.full(n, lat0), turn, away)
    ways = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    return np.column_stack([lon, lat]), list(zip(*ways.transform(lon, lat), strict=True))


@given(clusters(), st.sampled_from([1.0, SAME_PLACE_FT, 6.0]))
def test_hydrants_in_one_place_are_those_of_brute_force(told, reach) -> None:
    crs, offsets = told
    globe, points = on_the_globe(crs, offsets)
    pairs = list(itertools.combinations(range(len(points)), 2))
    apart = {}
    for i, j in pairs:
        apart[i, j] = GEOD.inv(*globe[i], *globe[j])[2] / FT
    if any(abs(d - reach) < 2e-3 * reach for d in apart.values()):
        return  # too near to the limit to be told by another ellipsoid's metres
    near = {k for (i, j), d in apart.items() if d <= reach for k in (i, j)}
    ledger = settle([f"H-{i}" for i in range(len(points))], points, crs=crs, reach=reach)
    held = {row - 1 for row in ledger.index[ledger.outcome == "held"]}
    assert held == near
    assert set(ledger.code.dropna()) <= {"ids-in-one-place"}
    told_of = ledger.notes[-2]["message"] if near else pd.Series(dtype="str")
    for row, message in zip(sorted(near), told_of, strict=True):
        other, away = re.fullmatch(r"`H-(\d+)` stands ([\d.]+) ft away", message).groups()
        pair = min(row, int(other)), max(row, int(other))
        assert apart[pair] == pytest.approx(float(away), abs=0.02)


def test_no_reach_holds_none_and_the_others_are_nobodys_business() -> None:
    ids, points = ["A", "B"], [(-71.1, 42.3)] * 2
    assert settle(ids, points, reach=0).outcome.tolist() == ["accepted"] * 2
    assert settle(ids, points, table=VALVES, crs=4326).outcome.tolist() == ["accepted"] * 2
    assert settle(ids, points, table=SHOTS).outcome.tolist() == ["accepted"] * 2
    assert settle(ids, points).code.tolist() == ["ids-in-one-place"] * 2


def test_all_at_one_place_are_held_without_a_pair_each_with_each() -> None:
    n = 20_000
    ledger = settle([f"H{i:05}" for i in range(n)], [(-71.1, 42.3)] * n)
    assert (ledger.code == "ids-in-one-place").all()
    messages = ledger.notes[-2]["message"]
    assert messages.iloc[0] == "`H00001` stands 0 ft away"
    assert (messages.iloc[1:] == "`H00000` stands 0 ft away").all()


@pytest.mark.parametrize("far", [(100.0, 42.0), (109.0, -42.0), (0.0, 90.0), (42.3, -71.1)])
def test_a_point_on_the_other_side_of_the_globe_does_no_harm(far) -> None:
    points = [(-71.1, 42.3), (-71.1, 42.300001), (-71.2, 42.3), far]
    assert settle(list("ABCD"), points).outcome.tolist() == ["held", "held", "accepted", "accepted"]


def test_hydrants_without_a_point_are_in_nobodys_place() -> None:
    assert settle(["A", "B", "C"], [None, None, (-71.1, 42.3)]).outcome.eq("accepted").all()


ROWS = st.lists(
    st.tuples(
        st.sampled_from(["A", "B", "C", "D", "0007", "7", "TBD", None]),
        st.sampled_from([None, (0, 0), (0.3, 0.3), (40, 0), (0, 900)]),
        st.sampled_from(["", "x"]),
    ),
    min_size=1,
    max_size=10,
)


def by_hand(rows, apart_ft) -> list[str]:
    """What becomes of each row, by looking at every other."""
    codes = [""] * len(rows)
    seen = []
    for i, row in enumerate(rows):
        if row[0] is None:
            codes[i] = "id-missing"
        elif row[0] == "TBD":
            codes[i] = "id-placeholder"
        elif row in seen:
            codes[i] = "row-repeated"
        seen.append(row)
    left = [i for i, code in enumerate(codes) if not code]
    for i in left:
        same = [j for j in left if rows[j][0] == rows[i][0]]
        if len(same) == 1:
            continue
        known = [apart_ft(j, k) for j in same for k in same if rows[j][1] and rows[k][1]]
        codes[i] = "id-in-two-places" if known and max(known) > SAME_PLACE_FT else "id-repeated"
    left = [i for i, code in enumerate(codes) if not code and rows[i][1]]
    for i in left:
        if any(j != i and apart_ft(i, j) <= SAME_PLACE_FT for j in left):
            codes[i] = "ids-in-one-place"
    return codes


@given(ROWS, st.randoms(use_true_random=False), st.sampled_from([4326, 2249, 3857]))
def test_what_becomes_of_a_row_is_that_of_brute_force_in_any_order(rows, chance, crs) -> None:
    def outcome(told):
        places = [p or (0, 0) for _, p, _ in told]
        globe, at = on_the_globe(crs, places)
        points = [point if p else None for point, (_, p, _) in zip(at, told, strict=True)]

        def apart_ft(i, j):
            return GEOD.inv(*globe[i], *globe[j])[2] / FT

        ledger = settle(
            [i for i, _, _ in told], points, crs=crs, notes=[note for _, _, note in told]
        )
        assert ledger.code.fillna("").tolist() == by_hand(told, apart_ft)
        return sorted(zip(map(str, told), ledger.code.fillna(""), strict=True))

    turned = list(rows)
    chance.shuffle(turned)
    assert outcome(rows) == outcome(turned)


def test_one_id_in_two_places_tells_how_far_apart_they_are() -> None:
    ledger = settle(["A", "A", "B"], [(760_000, 2_950_000), (760_030, 2_950_040), (0, 1)], crs=2249)
    messages = [m for note in ledger.notes for m in note["message"]]
    assert messages.count("this id stands at places 50 ft apart") == 2
    assert ledger.code.fillna("").tolist() == ["id-in-two-places"] * 2 + [""]


def test_a_table_without_shapes_knows_no_places() -> None:
    frame = pd.DataFrame(
        SHOTS.conform(pd.DataFrame({"shot_id": ["1", "1"], "elev_ft": [1.0, 2.0]}))
    )
    ledger = Ledger(SHOTS, frame.index)
    sort_out_ids(frame, None, ledger)
    assert ledger.code.tolist() == ["id-repeated"] * 2


@given(st.lists(st.from_regex(r"[A-Ba-b0-2 ._#-]{1,5}", fullmatch=True), max_size=12))
def test_ids_as_good_as_each_other_are_those_of_brute_force(ids) -> None:
    def bare(text: str) -> str:
        kept = "".join(c for c in text.lower() if c.isalnum())
        return re.sub(r"(?<![0-9])0+(?=[0-9])", "", kept)

    other = alike_ids(pd.Series(ids, dtype="str"))
    for mine, told in zip(ids, other, strict=True):
        twins = {i for i in ids if i != mine and bare(i) == bare(mine) and bare(i)}
        assert (told in twins) if twins else pd.isna(told)


def test_alike_ids_are_told_and_kept() -> None:
    ledger = settle(["0012", "12", "H 7"], [(-71.1, 42.3), (-71.2, 42.3), (-71.3, 42.3)])
    assert ledger.outcome.eq("accepted").all()
    note = ledger.notes[-1]
    assert note["code"].tolist() == ["id-alike"] * 2
    assert note["message"].tolist() == ["as good as `12`", "as good as `0012`"]


@pytest.mark.parametrize("word", sorted(w for w in PLACEHOLDERS if w))
def test_words_for_no_id_are_known_however_they_are_written(word) -> None:
    spelled = [word, word.upper(), word.replace("_", "/"), f" {word.title()} ", f"<{word}>"]
    assert placeholder_ids(pd.Series(spelled, dtype="str")).all()


@pytest.mark.parametrize(
    "cell", ["0012", "12", "H-0", "A000", "10", "99", "9998", "TBD-1", "ПГ", "消火栓", "Ñ", "B"]
)
def test_ids_are_no_placeholders(cell) -> None:
    assert placeholder_ids(pd.Series([cell, None], dtype="str")).tolist() == [False, False]


def test_an_id_at_many_rows_is_nobodys() -> None:
    assert placeholder_ids(pd.Series(["7"] * 21)).all()
    assert not placeholder_ids(pd.Series(["7"] * 20)).any()
    many = pd.Series(["7"] * 40 + [str(i) for i in range(1000, 8960)])
    assert not placeholder_ids(many).any()
    assert placeholder_ids(pd.concat([many, pd.Series(["7"])])).sum() == 41


def test_more_placeholders_can_be_named() -> None:
    ledger = settle(["A", "spare"], [(-71.1, 42.3), (-71.2, 42.3)], said=("spare",))
    assert ledger.code.fillna("").tolist() == ["", "id-placeholder"]


def test_a_field_with_an_id_for_every_row_is_told_where_the_ids_put_many_aside() -> None:
    places = [(760_000 + 100 * k, 2_950_000) for k in range(6)]
    ledger = settle(["A", "A", "A", "B", "B", "C"], places, crs=2249)
    cells = pd.DataFrame(
        {"HYD_ID": list("AAABBC"), "ASSET_ID": list("uvwxyz"), "GLOBALID": list("123456"),
         "FACILITYID": list("uvwxyy"), "NOTE": list("abcdef")}
    )  # fmt: skip
    ledger.notes.clear()
    note_other_ids(cells, "HYD_ID", ledger)
    (told,) = ledger.notes
    assert told["value"].tolist() == ["ASSET_ID"]
    assert told["code"].tolist() == ["id-in-other-field"]
    assert "--field hydrant_id=ASSET_ID" in told["message"].iloc[0]
    calm = settle(["A", "B", "C", "D", "E", "F"], places, crs=2249)
    calm.notes.clear()
    note_other_ids(cells, "HYD_ID", calm)
    assert calm.notes == []
