"""Small maps of sheets: what they show lies where it is, and no text stands in their markup."""

from __future__ import annotations

import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from defusedxml import ElementTree

from hydrantgis.deliver.inert import breakable, inert
from hydrantgis.deliver.mapcanvas import Backdrop
from hydrantgis.deliver.sheetmap import place_map, route_map, valve_map

X, Y = 760_000.0, 2_950_000.0
SIZE = (160.0, 160.0)
EVIL = '</svg><script>"&<b>'


def layer(columns, shapes, crs=2249):
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=crs)


@pytest.fixture
def backdrop():
    at = [(0, 0), (300, 0), (0, -400), (5000, 0)]
    hydrants = layer(
        {"hydrant_id": ["H1", EVIL, "H3", "H4"]}, [shapely.Point(X + x, Y + y) for x, y in at]
    )
    valves = layer(
        {"valve_id": ["V1", "V2"]}, [shapely.Point(X + 20, Y), shapely.Point(X + 900, Y)]
    )
    streets = layer(
        {"street_title": [EVIL, None]},
        [shapely.LineString([(X - 2000, Y + 30), (X + 2000, Y + 30)]),
         shapely.LineString([(X + 60, Y - 2000), (X + 60, Y + 2000)])],
    )  # fmt: skip
    return Backdrop.of(hydrants, valves, streets, layer({"main_id": []}, []))


def spots(svg):
    """Where marks stand on the page, from the SVG itself."""
    return [
        tuple(map(float, pair))
        for pair in re.findall(r'translate\(([-\d.]+) ([-\d.]+)\)"><circle', svg)
    ]


def test_neighbors_stand_in_their_direction_and_at_their_distance(backdrop):
    told = place_map(backdrop, backdrop.hydrants[0], "H1", SIZE)
    reach = 1.35 * 400 / 3937 * 1200 / 0.3048  # to the second neighbor, in international feet
    scale = 80 / reach
    here, *others = spots(told["svg"])
    assert here == (80.0, 80.0)
    expected = {(80 + 300 * scale, 80.0), (80.0, 80 + 400 * scale)}
    for spot in others:
        assert min(np.hypot(spot[0] - x, spot[1] - y) for x, y in expected) < 0.2
    assert len(others) == 2, "the far one is not on the map"


def test_the_valve_to_close_is_black_and_its_way_is_drawn(backdrop):
    told = valve_map(backdrop, backdrop.hydrants[0], "H1", "V1", SIZE)
    scale = 80 / (1.5 * 20)
    match = re.search(r'translate\(([-\d.]+) ([-\d.]+)\)"><path d="M-6.5', told["svg"])
    assert float(match[1]) == pytest.approx(80 + 20 * scale, abs=0.2)
    assert float(match[2]) == pytest.approx(80.0, abs=0.1)
    assert {"V1", "H1"} <= {label["t"] for label in told["labels"]}
    without = valve_map(backdrop, backdrop.hydrants[0], "H1", None, SIZE)
    assert "M-6.5" not in without["svg"]


def test_a_street_name_keeps_off_the_main_under_its_street():
    street = layer(
        {"street_title": ["Elm"]}, [shapely.LineString([(X - 50, Y + 30), (X + 50, Y + 30)])]
    )
    bare = layer({"hydrant_id": ["H1"]}, [shapely.Point(X, Y)])
    valves = layer({"valve_id": ["V1"]}, [shapely.Point(X + 20, Y)])
    told = Backdrop.of(bare, valves, street, layer({"main_id": ["M"]}, street.geometry.tolist()))
    drawn = valve_map(told, told.hydrants[0], "H1", None, SIZE)
    (name,) = [label for label in drawn["labels"] if label["kind"] == "street"]
    main_y = 80 - 30 * 80 / 60
    assert abs(name["y"] - main_y) > 6, "half of eight points and a hair"


def test_no_text_of_a_source_stands_in_markup_and_all_of_it_is_xml(backdrop):
    for told in (
        place_map(backdrop, backdrop.hydrants[0], "H1", SIZE),
        valve_map(backdrop, backdrop.hydrants[0], EVIL, "V1", SIZE),
        route_map(backdrop, backdrop.hydrants, backdrop.hydrants[3], SIZE),
    ):
        root = ElementTree.fromstring(told["svg"])
        assert not list(root.itertext())
        assert "script" not in told["svg"]
    assert EVIL in {label["t"] for label in place_map(
        backdrop, backdrop.hydrants[0], "H1", SIZE)["labels"]}  # fmt: skip


def test_labels_stay_on_the_map_and_off_each_other(backdrop):
    told = route_map(backdrop, backdrop.hydrants, backdrop.hydrants[1], (300.0, 200.0))
    stops = [label["t"] for label in told["labels"] if label["kind"] == "stop"]
    assert stops == ["1", "2", "3", "4"]
    for label in told["labels"]:
        assert 0 <= label["x"] <= 300
        assert 0 <= label["y"] <= 200


def test_what_has_no_place_has_no_map(backdrop):
    nowhere = np.array([np.nan, np.nan])
    assert place_map(backdrop, nowhere, "H9", SIZE) is None
    assert valve_map(backdrop, nowhere, "H9", None, SIZE) is None
    assert route_map(backdrop, nowhere[None], None, SIZE) is None


def test_layers_without_a_crs_draw_nothing():
    hydrants = layer({"hydrant_id": ["H1"]}, [shapely.Point(1, 2)], crs=None)
    empty = layer({"valve_id": []}, [], crs=None)
    streets = layer({"street_title": ["Elm"]}, [shapely.LineString([(0, 0), (1, 1)])], crs=None)
    told = Backdrop.of(hydrants, empty, streets, empty)
    assert np.isnan(told.hydrants).all()
    assert place_map(told, told.hydrants[0], "H1", SIZE) is None


def test_text_is_one_line_without_controls_that_may_break_and_ends_somewhere():
    assert inert("a\u202eb\x00c\nd") == "a b c d"
    assert inert("\u05e9\u200dx") == "\u05e9\u200dx"
    assert len(inert("x" * 999, 50)) == 50
    assert max(map(len, breakable("y" * 200).split("\u200b"))) <= 16
