"""The web map as a file: what stands in it, and what must never stand in it."""

from __future__ import annotations

import json
import re
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import folium.plugins
import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from hydrantgis.deliver.looks import LOOKS, counts, missing_in_words, share_in_words
from hydrantgis.deliver.mapfacts import facts_of
from hydrantgis.deliver.packing import size_of
from hydrantgis.deliver.webmap import Background, MapWords, Tiles, save_map, web_map
from hydrantgis.ground.errors import CRSError, WordsError
from hydrantgis.ground.results import CHECKED, VERDICTS
from hydrantgis.ground.tables import AREAS

from . import unpack

WORDS = MapWords(
    title="Tesselbrook",
    rule="Outlet center 18 to 36 in above final grade",
    citation="House rule 7",
    data_date="2026-08-18",
    cautions=("Have buried utilities located.",),
)
HOSTILE = (
    '<img src=x onerror="document.documentElement.dataset.owned=1">',
    "`${document.documentElement.dataset.owned=1}`",
    "</script><script>document.documentElement.dataset.owned=1</script>",
    "<!--<script>",
    'O\'Brien said "18 in"',
    r"C:\data\20190221",
    "\u05e9\u05dc\u05d5\u05dd \u202e abc",
    "line\u2028break\u2029end",
    "{{ 7 * 7 }}{% raw %}",
)


def hydrants(verdicts, xy, crs=4326, **columns):
    frame = pd.DataFrame({"hydrant_id": [f"H{i}" for i in range(len(verdicts))]})
    frame["verdict"] = pd.Series(verdicts, dtype="object").to_numpy()
    geometry = [None if p is None else shapely.Point(p) for p in xy]
    return gpd.GeoDataFrame(frame.assign(**columns), geometry=geometry, crs=crs)


def page_of(figure_map, folder: Path) -> str:
    save_map(figure_map, folder / "map.html")
    return (folder / "map.html").read_text(encoding="utf-8")


def block(page: str, name: str):
    found = re.findall(
        rf'<script type="application/json" id="{name}">(.*?)</script>', page, flags=re.DOTALL
    )
    assert len(found) == 1
    return json.loads(found[0])


class Links(HTMLParser):
    """Every address that a tag of the page would fetch or lead to."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.scripts = 0
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.scripts += tag == "script"
        asking = ("src", "href", "srcset", "action", "data")
        self.found += [value or "" for name, value in attrs if name in asking]


def test_the_page_asks_for_nothing(tmp_path):
    page = page_of(web_map(hydrants(["low"], [(-122.3, 47.6)]), words=WORDS), tmp_path)
    assert Links(page).found == []
    assert not re.search(r"""(src|href)\s*=\s*["']?(https?:)?//""", page)
    assert not re.search(r"url\(\s*['\"]?(?!data:|#default#VML)", page)
    assert "@import" not in page
    assert "sourceMappingURL" not in page
    assert "default-src 'none'" in page
    # The policy binds only what comes after it.
    assert page.index("Content-Security-Policy") < page.index("<script")
    assert "L.map(" in page
    assert "Leaflet 1.9.3" in page


def test_a_notebook_shows_the_same_offline_page():
    shown = web_map(hydrants(["low"], [(-122.3, 47.6)]), words=WORDS)._repr_html_()
    inner = unescape(re.search(r'<iframe srcdoc="(.*?)" style=', shown, flags=re.DOTALL)[1])
    assert Links(inner).found == []
    assert "default-src 'none'" in inner
    assert block(inner, "hydrant-sheet")["themes"][0]["looks"][1]["count"] == 1


def test_a_layer_that_needs_the_network_is_refused_and_the_old_file_stays(tmp_path):
    figure_map = web_map(hydrants(["low"], [(-122.3, 47.6)]), words=WORDS)
    folium.plugins.MarkerCluster().add_to(figure_map)
    (tmp_path / "map.html").write_text("older", encoding="utf-8")
    with pytest.raises(WordsError, match="network"):
        save_map(figure_map, tmp_path / "map.html")
    assert [f.name for f in tmp_path.iterdir()] == ["map.html"]
    assert (tmp_path / "map.html").read_text(encoding="utf-8") == "older"


def test_a_map_takes_no_other_files_place(tmp_path):
    figure_map = web_map(hydrants(["low"], [(-122.3, 47.6)]), words=WORDS)
    other = tmp_path / "register.gpkg"
    other.write_bytes(b"SQLite format 3\x00")
    with pytest.raises(WordsError, match="no web page"):
        save_map(figure_map, other)
    assert other.read_bytes() == b"SQLite format 3\x00"
    save_map(figure_map, tmp_path / "new" / "map.html")
    assert (tmp_path / "new" / "map.html").exists()


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    figure_map = web_map(hydrants(["low"], [(-122.3, 47.6)]), words=WORDS)
    older = "<!DOCTYPE html>older"
    (tmp_path / "map.html").write_text(older, encoding="utf-8")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(OSError, match="No space"):
        save_map(figure_map, tmp_path / "map.html")
    assert [f.name for f in tmp_path.iterdir()] == ["map.html"]
    assert (tmp_path / "map.html").read_text(encoding="utf-8") == older


def test_same_input_same_bytes_and_data_that_looks_like_a_random_name_stays(tmp_path):
    ids = ["0123456789abcdef0123456789abcdef"]
    pages = []
    for name in ("one", "two"):
        folder = tmp_path / name
        folder.mkdir()
        checked = hydrants(["low"], [(-122.3, 47.6)]).assign(hydrant_id=ids)
        pages.append(page_of(web_map(checked, words=WORDS), folder))
    assert pages[0] == pages[1]
    assert unpack.column(block(pages[0], "hydrant-facts")["columns"]["hydrant_id"]) == ids


@pytest.mark.parametrize("crs", [4326, 3736, 32610, 3857])
def test_places_agree_with_the_projection_library(tmp_path, crs):
    lonlat = gpd.GeoSeries(gpd.points_from_xy([-122.3, -122.21], [47.6, 47.66]), crs=4326)
    there = lonlat.to_crs(crs)
    checked = hydrants(["low", "inside"], list(zip(there.x, there.y, strict=True)), crs=crs)
    sheet = block(page_of(web_map(checked, words=WORDS), tmp_path), "hydrant-sheet")
    mercator = lonlat.to_crs(3857)
    half = np.pi * 6378137.0
    steps = sheet["world"] / (2 * half)
    x, y = np.array(unpack.whole(sheet["x"])), np.array(unpack.whole(sheet["y"]))
    # One step is 3.7 cm; rounding and the way there and back stay within one.
    np.testing.assert_allclose(x, (mercator.x + half) * steps, atol=1)
    np.testing.assert_allclose(y, (half - mercator.y) * steps, atol=1)
    assert unpack.whole(sheet["themes"][0]["codes"]) == [1, 0]


def test_hydrants_without_location_are_counted_and_not_drawn(tmp_path):
    checked = hydrants(
        ["inside", "inside", "low", None, "high"],
        [(-122.3, 47.6), None, None, None, (-122.2, 89.9)],
    )
    checked.loc[1, "geometry"] = shapely.Point()
    sheet = block(page_of(web_map(checked, words=WORDS), tmp_path), "hydrant-sheet")
    assert [k["count"] for k in sheet["themes"][0]["looks"]] == [2, 1, 1, 0, 0, 1]
    assert sheet["count"] == 1
    assert [len(unpack.whole(sheet[axis])) for axis in "xy"] == [1, 1]
    assert sheet["missing"] == 4
    assert sheet["words"]["missing"] == (
        "4 counted here have no location and are not drawn: 1 inside, 1 low, 1 high, 1 not judged"
    )


def test_every_verdict_has_its_own_mark_and_serious_ones_lie_on_top(tmp_path):
    page = page_of(web_map(hydrants(["low"], [(0, 0)]), words=WORDS), tmp_path)
    theme = block(page, "hydrant-sheet")["themes"][0]
    assert [k["value"] for k in theme["looks"]] == [*VERDICTS, ""]
    assert len({json.dumps(k["points"]) for k in theme["looks"]}) == 6
    assert len({k["fill"] for k in theme["looks"]}) == 6
    assert sorted(theme["order"]) == list(range(6))
    drawn = [theme["looks"][k]["value"] for k in theme["order"]]
    assert set(drawn[-2:]) == {"low", "high"}


def test_areas_carry_names_and_figures(tmp_path):
    areas = gpd.GeoDataFrame(
        {"area_id": ["A", "B", "C"], "area_title": ["Mill Flats", None, "Nowhere"]},
        geometry=[
            shapely.box(-122.4, 47.5, -122.2, 47.7),
            shapely.MultiPolygon(
                [
                    shapely.box(-122.2, 47.5, -122.0, 47.7).difference(
                        shapely.box(-122.15, 47.55, -122.1, 47.6)
                    ),
                    shapely.box(-121.9, 47.5, -121.8, 47.7),
                ]
            ),
            None,
        ],
        crs=4326,
    )
    checked = hydrants(
        ["low", "low", "inside", None, "high"],
        [(-122.3, 47.6), (-122.3, 47.61), (-122.1, 47.65), (-122.3, 47.6), None],
        area_id=["A", "A", "B", "A", "gone"],
    )
    lines = gpd.GeoDataFrame(
        {"main_id": ["m", "n", "o"]},
        geometry=[
            shapely.LineString([(-122.3, 47.6, 5), (-122.2, 47.6, 6), (-122.2, 47.7, 7)]),
            shapely.MultiLineString([[(-122.3, 47.6), (-122.1, 47.6)], [(0, 0), (1, 1)]]),
            None,
        ],
        crs=4326,
    )
    page = page_of(web_map(checked, words=WORDS, areas=areas, mains=lines), tmp_path)
    sheet = block(page, "hydrant-sheet")
    assert sheet["areas"]["names"] == ["Mill Flats", "B", "Nowhere"]
    assert sheet["areas"]["figures"] == [{"title": "Hydrants", "share": False, "values": [3, 1, 0]}]
    assert sorted(unpack.whole(sheet["area"])) == [1, 1, 1, 2]
    assert sheet["areas"]["outlines"]["rows"] == [0, 1, 1, 1]
    assert sheet["areas"]["outlines"]["lengths"] == [5, 5, 5, 5]
    assert sheet["areas"]["labels"][2] == [None, None]
    (mains,) = sheet["lines"]
    assert mains["title"] == "Mains"
    assert unpack.whole(mains["lengths"]) == [3, 2, 2]


def test_facts_of_the_popup(tmp_path):
    checked = hydrants(
        ["low", "unmeasured"],
        [(-122.3, 47.6), (-122.2, 47.6)],
        outlet_height_in=[15.006, np.nan],
        window_lo_in=[18.0, 18.0],
        window_hi_in=[np.inf, np.inf],
        marginal=[True, False],
        reading_date=pd.to_datetime(["2026-08-18", None]),
        p_inside=[0.00012, np.nan],
    )
    facts = pd.DataFrame(
        {
            "address": ["9 Alder Ct", "2 Quarry Rd"],
            "main_valve_in": [5.25, 4.5],
            "paint": ["red", None],
            "verdict": ["not this", "not this"],
            "blank": [None, None],
        },
        index=["H1", "H0"],
    )
    page = page_of(web_map(checked, words=WORDS, facts=facts), tmp_path)
    found = block(page, "hydrant-facts")
    columns = found["columns"]
    assert unpack.column(columns["outlet_height_in"]) == [15.01, None]
    assert columns["window_hi_in"] is None
    assert unpack.column(columns["marginal"]) == ["yes", "no"]
    assert unpack.column(columns["reading_date"]) == [20683, None]
    assert unpack.column(columns["p_inside"]) == [0.0, None]
    extra = {fact["name"]: fact for fact in found["extra"]}
    assert list(extra) == ["address", "main_valve_in", "paint"]
    assert unpack.column(extra["address"]["column"]) == ["2 Quarry Rd", "9 Alder Ct"]
    assert extra["main_valve_in"]["title"] == "Main valve"
    assert extra["main_valve_in"]["unit"] == "in"
    assert unpack.column(extra["main_valve_in"]["column"]) == [4.5, 5.25]


def test_facts_that_name_a_hydrant_twice_are_refused():
    facts = pd.DataFrame({"address": ["a", "b"]}, index=["H0", "H0"])
    with pytest.raises(WordsError, match="twice"):
        web_map(hydrants(["low"], [(0, 0)]), words=WORDS, facts=facts)


def test_no_reference_system_is_told():
    with pytest.raises(CRSError, match="hydrants"):
        web_map(hydrants(["low"], [(0, 0)], crs=None), words=WORDS)


@pytest.mark.parametrize("with_areas", [True, False])
def test_nothing_at_all_still_makes_a_map(tmp_path, with_areas):
    areas = AREAS.empty(crs=3736) if with_areas else None
    page = page_of(web_map(CHECKED.empty(crs=3736), words=WORDS, areas=areas), tmp_path)
    sheet = block(page, "hydrant-sheet")
    assert unpack.whole(sheet["x"]) == []
    assert sheet["words"]["share"] == "No hydrants"
    assert sheet["missing"] == 0


def test_the_input_is_not_changed(tmp_path):
    checked = hydrants(["low", None], [(-122.3, 47.6), None])
    before = checked.copy(deep=True)
    page_of(web_map(checked, words=WORDS), tmp_path)
    pd.testing.assert_frame_equal(pd.DataFrame(checked), pd.DataFrame(before))


@pytest.mark.parametrize("text", HOSTILE)
def test_text_from_data_is_inert_and_arrives_as_typed(tmp_path, text):
    columns = [c for c in CHECKED.names if CHECKED[c].kind == "text" and c != "verdict"]
    plain = hydrants(["low"], [(-122.3, 47.6)])
    hostile = plain.assign(**dict.fromkeys(columns, text))
    facts = pd.DataFrame({"address": [text], text: [text]}, index=[text])
    areas = gpd.GeoDataFrame(
        {"area_id": [text], "area_title": [text]},
        geometry=[shapely.box(-122.4, 47.5, -122.2, 47.7)],
        crs=4326,
    )
    words = MapWords(title=text, rule=text, citation=text, data_date=text, cautions=(text,))
    page = page_of(web_map(hostile, words=words, areas=areas, facts=facts), tmp_path)
    calm = page_of(web_map(plain, words=WORDS), tmp_path)
    # The page is built of the same tags, whatever the data says.
    assert Links(page).scripts == Links(calm).scripts
    assert Links(page).found == []
    found = block(page, "hydrant-facts")
    assert unpack.column(found["columns"]["remedy_reason"]) == [text]
    assert unpack.column(found["extra"][0]["column"]) == [text]
    assert found["extra"][1]["name"] == text
    sheet = block(page, "hydrant-sheet")
    assert sheet["areas"]["names"] == [text]
    assert sheet["words"]["title"] == text
    for raw in re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', page):
        assert not set(raw) & set("<>&\u2028\u2029")


def test_a_verdict_that_is_none_of_the_words_counts_as_not_judged():
    assert counts(pd.Series(["low", HOSTILE[0], None], dtype="str")) == {
        "inside": 0, "low": 1, "high": 0, "unresolved": 0, "unmeasured": 0, "": 2,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("count", "sentence"),
    [
        ({}, "No hydrants"),
        ({"unmeasured": 4, "": 2}, "None is measured yet"),
        ({"inside": 3, "unmeasured": 5}, "3 of 3 measured are inside, 100 %"),
        ({"inside": 1, "low": 1}, "1 of 2 measured is inside, 50 %"),
        ({"low": 1}, "0 of 1 measured are inside, 0 %"),
        ({"inside": 1, "low": 400}, "1 of 401 measured is inside, less than 1 %"),
        ({"inside": 400, "high": 1}, "400 of 401 measured are inside, more than 99 %"),
    ],
)
def test_share_in_words(count, sentence):
    assert share_in_words(count) == sentence


def test_missing_in_words_of_one_and_of_none():
    assert missing_in_words(dict.fromkeys((k.value for k in LOOKS), 0)) == ""
    assert missing_in_words({"low": 1}) == (
        "1 counted here has no location and is not drawn: 1 low"
    )


# ---- size ------------------------------------------------


def test_a_sum_of_other_facts_takes_no_room(tmp_path):
    checked = hydrants(
        ["low", "inside"], [(-122.3, 47.6), (-122.2, 47.6)],
        outlet_height_in=[13.37, 20.0], raise_in=[6.0, np.nan],
        outlet_height_after_in=[19.37, np.nan],
    )  # fmt: skip
    columns = block(page_of(web_map(checked, words=WORDS), tmp_path), "hydrant-facts")["columns"]
    assert columns["outlet_height_after_in"]["kind"] == "sum"
    assert unpack.column(columns["outlet_height_after_in"], columns) == [19.37, None]


def test_facts_that_do_not_fit_are_left_out_and_told(tmp_path):
    checked = hydrants(["low"] * 50, [(-122.3 + k / 1e4, 47.6) for k in range(50)])
    rng = np.random.default_rng(3)
    long = [bytes(rng.integers(97, 123, 90_000, dtype=np.uint8)).decode() for _ in range(50)]
    ids = list(checked["hydrant_id"])
    facts = pd.DataFrame({"owner": "Tesselbrook", "note": long, "paint": "red"}, index=ids)
    figure_map = web_map(checked, words=WORDS, facts=facts)
    page = page_of(figure_map, tmp_path)
    assert block(page, "hydrant-sheet")["left_out"] == ["Note"]
    names = [fact["name"] for fact in block(page, "hydrant-facts")["extra"]]
    assert names == ["owner", "paint"]
    assert figure_map.told[-1] == "left out to keep the size: Note"
    assert len(page) < 4_000_000


@pytest.mark.parametrize("budget", [0, 200, 400, 600, 900, 1500, 3000, 9000, 10**6])
def test_a_sum_is_never_told_without_its_parts(budget):
    rng = np.random.default_rng(3)
    flange = np.round(rng.normal(3, 2, 50), 2)
    drawn = CHECKED.conform(
        hydrants(
            ["low"] * 50, [(0, 0)] * 50, outlet_height_in=np.round(rng.normal(15, 3, 50), 2),
            raise_in=6.0, flange_height_in=flange, flange_height_after_in=flange + 6,
        )
    )  # fmt: skip
    found = facts_of(drawn, facts=None, selection=None, budget=budget)
    columns = found.sent["columns"]
    for packed in columns.values():
        for part in () if packed is None else packed.get("of", ()):
            assert columns[part] is not None
    sizes = sum(size_of(packed) for packed in columns.values() if packed is not None)
    assert sizes <= budget + 4 * len(columns)
    assert (columns["flange_height_after_in"] is None) == ("Flange height after" in found.left_out)


# ---- tiles, for those who ask ------------------------------------------------


def test_tiles_open_the_policy_for_their_host_alone(tmp_path):
    tiles = Tiles("https://{s}.tiles.invalid/{z}/{x}/{y}.png", "Survey <office>")
    page = page_of(web_map(hydrants(["low"], [(0, 0)]), words=WORDS, tiles=tiles), tmp_path)
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)[1]
    assert "img-src data: https://*.tiles.invalid;" in policy
    assert policy.count("https:") == 1
    assert block(page, "hydrant-sheet")["tiles"]["attribution"] == "Survey <office>"


@pytest.mark.parametrize(
    "url",
    [
        "https://tiles.invalid/map.png",
        "ftp://tiles.invalid/{z}/{x}/{y}.png",
        "https://tiles.invalid; script-src *//{z}/{x}/{y}.png",
        'https://tiles.invalid/{z}/{x}/{y}.png" onload=x',
    ],
)
def test_an_address_of_tiles_that_is_none_is_refused(url):
    with pytest.raises(WordsError, match="tiles"):
        Tiles(url, "Survey office")


def test_tiles_without_an_attribution_are_refused():
    with pytest.raises(WordsError, match="attribution"):
        Tiles("https://tiles.invalid/{z}/{x}/{y}.png", " ")


# ---- a user's own layers ------------------------------------------------


def test_a_users_own_layers_go_onto_the_map(tmp_path):
    figure_map = web_map(hydrants(["low"], [(-122.3, 47.6)]), words=WORDS)
    folium.Marker((47.6, -122.3), popup="pump", tooltip="Pump").add_to(figure_map)
    folium.GeoJson(
        {"type": "LineString", "coordinates": [[-122.31, 47.6], [-122.3, 47.61]]}
    ).add_to(figure_map)
    page = page_of(figure_map, tmp_path)
    assert Links(page).found == []
    assert "pump" in page


def test_a_background_of_points_is_refused():
    points = hydrants(["low"], [(0, 0)])
    with pytest.raises(WordsError, match="has points"):
        web_map(points, words=WORDS, backgrounds=[Background(title="Wells", frame=points)])
