"""The view of the map: what its address says, how it fits its window, what paper shows."""

from __future__ import annotations

import subprocess
from urllib.parse import quote

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from hydrantgis.deliver.webmap import web_map

from .conftest import PHONE, hydrant_words
from .district import CRS, WORDS, areas, district

PAINTED = """() => [...document.querySelectorAll('.leaflet-hydrants-pane canvas')]
  .reduce((sum, one) => {
  const { data } = one.getContext('2d').getImageData(0, 0, one.width, one.height);
  for (let k = 3; k < data.length; k += 4) if (data[k] > 128) sum += 1;
  return sum; }, 0)"""


def tally(page) -> str:
    return page.locator("#legend .shown output").inner_text()


def place_of(page) -> str:
    return page.evaluate("new URLSearchParams(location.hash.slice(1)).get('at')")


@pytest.mark.parametrize("apart_ft", [0.0, 5.0, 400.0])
def test_two_hydrants_can_be_seen_however_near_they_are_recorded(screens, apart_ft):
    checked = district(2, verdict="low")
    checked["geometry"] = shapely.points([1_300_000, 1_300_000 + apart_ft], 250_000)
    page = screens.map(web_map(checked, words=WORDS))
    # a mark half as wide as 5 pixels covers some 12 and more
    assert page.evaluate(PAINTED) > 50


def test_a_link_with_an_open_hydrant_keeps_scale_and_filters(screens):
    figure_map = web_map(district(60), words=WORDS)
    page = screens.map(
        figure_map, "#at=41.165,-102.81,13.5&hide-verdict=%5B%22Low%22%5D&hydrant=TB-1"
    )
    page.wait_for_selector(".fact-head")
    assert tally(page) == "50 of 60 are shown"
    page.mouse.move(500, 800)
    page.mouse.wheel(0, 100)
    page.wait_for_timeout(900)
    assert float(place_of(page).split(",")[2]) < 13.5


def test_an_address_of_nonsense_opens_the_whole_map(screens):
    figure_map = web_map(district(12), words=WORDS)
    for words in ("read=2026-13-45..", "at=,,", "at=10,1e300,5", "height=x..y", "hide-verdict=7"):
        page = screens.map(figure_map, f"#{words}")
        assert tally(page) == "All 12 are shown"
        assert page.locator("html").get_attribute("data-drawn") == "12"


def test_the_map_does_not_go_nearer_than_its_places_are_known(screens):
    page = screens.map(web_map(district(12), words=WORDS), "#at=41.165,-102.81,99")
    page.click(".leaflet-control-zoom-out")
    page.wait_for_timeout(600)
    assert float(place_of(page).split(",")[2]) == 21.5


def test_another_address_in_the_same_window_is_followed(screens):
    page = screens.map(web_map(district(12), words=WORDS), "#hydrant=TB-1")
    page.wait_for_selector(".fact-head")
    page.evaluate("location.hash = ''")
    page.wait_for_selector(".fact-head", state="detached")
    page.wait_for_timeout(300)
    assert page.evaluate("location.hash") == ""


def test_areas_of_one_name_are_told_apart_in_a_link(screens):
    figure_map = web_map(district(90), words=WORDS, areas=areas("Mill", "Mill"))
    page = screens.map(figure_map)
    page.click("#filter > summary")
    page.locator("#filter .facet", has_text="Area").locator("summary").click()
    page.locator("#filter .facet .switch", has_text="Mill").nth(1).locator("input").uncheck()
    page.wait_for_timeout(400)
    assert page.evaluate("decodeURIComponent(location.hash)") == '#hide-area=["A2"]'
    other = screens.map(figure_map, "#hide-area=" + quote('["A2"]'))
    assert tally(other) == tally(page) == "60 of 90 are shown"
    filters = other.locator("#filter .facet .switch", has_text="Mill")
    other.click("#filter > summary")
    other.locator("#filter .facet", has_text="Area").locator("summary").click()
    assert [filters.nth(k).locator("input").is_checked() for k in (0, 1)] == [True, False]


def test_what_is_filtered_by_is_told_beside_the_count(screens):
    page = screens.map(
        web_map(district(60), words=WORDS), "#hide-verdict=%5B%22Low%22%5D&height=12..22"
    )
    told = page.locator("#legend .filters").inner_text()
    assert told == "Filters: Verdict: without Low; Outlet height, in: 12 to 22"


def test_enter_is_not_lost_when_typed_at_once(screens):
    page = screens.map(web_map(district(60), words=WORDS))
    page.focus("#find")
    page.keyboard.type("TB-7")
    page.keyboard.press("Enter")
    page.wait_for_selector(".fact-head")
    page.wait_for_timeout(500)
    assert page.locator("#finder .hit").count() == 0


@pytest.mark.parametrize("size", [(900, 600), (820, 500), (700, 450), (390, 700)])
def test_an_open_hydrant_fits_a_window_that_shrinks(screens, size):
    facts = pd.DataFrame({"note": ["long " * 150] * 60}, index=district(60)["hydrant_id"])
    page = screens.map(web_map(district(60), words=WORDS, facts=facts), "#hydrant=TB-1")
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.wait_for_timeout(700)
    box = page.locator(".leaflet-popup-content-wrapper").bounding_box()
    holder = page.locator(".folium-map").bounding_box()
    assert box["x"] >= holder["x"]
    assert box["y"] >= holder["y"]
    assert box["x"] + box["width"] <= holder["x"] + holder["width"] + 1
    assert box["y"] + box["height"] <= holder["y"] + holder["height"] + 1
    copy = page.locator(".fact-foot .copy").first
    assert copy.bounding_box()["y"] + copy.bounding_box()["height"] <= box["y"] + box["height"]


def test_a_finger_gets_no_tip_beside_the_facts(screens):
    page = screens.map(web_map(district(1), words=WORDS), size=PHONE)
    page.touchscreen.tap(195, 422)
    page.wait_for_selector(".fact-head")
    page.wait_for_timeout(400)
    assert page.locator(".tip").count() == 0


def test_paper_has_the_whole_district_as_large_from_a_phone_as_from_a_desk(screens, tmp_path):
    sizes = []
    for size in (PHONE, (1400, 900)):
        page = screens.map(web_map(district(60), words=WORDS), size=size)
        page.pdf(path=tmp_path / "map.pdf", prefer_css_page_size=True, print_background=True)
        text = subprocess.run(
            ["pdftotext", "-layout", tmp_path / "map.pdf", "-"],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        assert WORDS.cautions[0] in " ".join(text.split())
        (scale,) = [
            line.strip().split("  ")[0]
            for line in text.splitlines()
            if line.strip().endswith("ft") or " ft  " in line
        ]
        sizes.append(scale)
    assert sizes[0] == sizes[1]


def test_a_name_that_had_no_room_comes_back_at_its_place(screens):
    figure_map = web_map(district(60), words=WORDS, areas=areas("Mill by the Old River"))
    page = screens.map(figure_map, "#at=41.165,-102.81,10")
    assert page.locator(".area-name").is_hidden()
    page.focus(".folium-map")
    for _ in range(8):
        if page.locator(".area-name").is_hidden():
            page.keyboard.press("+")
            page.wait_for_timeout(500)
    place = page.locator(".area-name").bounding_box()
    fresh = screens.map(figure_map, page.evaluate("location.hash"))
    assert fresh.locator(".area-name").is_visible()
    assert fresh.locator(".area-name").bounding_box() == pytest.approx(place, abs=1)


def test_the_head_of_a_hydrant_with_few_facts_stands_in_its_popup(screens):
    page = screens.map(web_map(district(60), words=WORDS), "#at=41.165,-102.81,13.5&hydrant=TB-1")
    page.wait_for_timeout(500)
    head = page.locator(".fact-head").bounding_box()
    whole = page.locator(".leaflet-popup-content-wrapper").bounding_box()
    assert head["y"] == pytest.approx(whole["y"], abs=3)


def test_a_district_on_both_sides_of_the_meridian_of_180_degrees_lies_together(screens):
    lon = [179.98, 179.99, -179.99, -179.98]
    checked = district(4).drop(columns="geometry")
    checked = gpd.GeoDataFrame(checked, geometry=gpd.points_from_xy(lon, [-16.8] * 4), crs=4326)
    halves = [shapely.box(179.9, -16.9, 180, -16.7), shapely.box(-180, -16.9, -179.9, -16.7)]
    both = gpd.GeoDataFrame(
        {"area_id": ["A1"], "area_title": ["Mill"]}, geometry=[shapely.MultiPolygon(halves)],
        crs=4326,
    )  # fmt: skip
    figure_map = web_map(checked, words=WORDS, areas=both)
    page = screens.map(figure_map, hydrant_words("TB-3"))
    assert page.locator(".fact-foot .place").inner_text() == "-16.800000, -179.980000"
    page = screens.map(figure_map)
    assert page.locator("html").get_attribute("data-drawn") == "4"
    page.click("#list > summary")
    page.wait_for_selector("#list .hit")
    with page.expect_download() as download:
        page.click("text=Save as CSV")
    rows = download.value.path().read_text(encoding="utf-8-sig").splitlines()[1:]
    assert sorted(float(row.split(",")[-2]) for row in rows) == pytest.approx(
        [-179.99, -179.98, 179.98, 179.99], abs=1e-6
    )


def test_each_of_two_hydrants_at_one_place_is_reached(screens):
    checked = district(2, outlet_height_in=15.0)
    checked = checked.set_geometry(gpd.points_from_xy([1_304_000] * 2, [253_000] * 2, crs=CRS))
    page = screens.map(web_map(checked, words=WORDS))
    box = page.locator(".folium-map").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_selector(".fact-head")
    first = page.locator(".fact-head h2").inner_text()
    assert page.locator(".several").inner_text().startswith("1 of 2") or "2 of 2" in (
        page.locator(".several").inner_text()
    )
    page.click("text=Next of them")
    page.wait_for_timeout(300)
    assert {first, page.locator(".fact-head h2").inner_text()} == {"TB-0", "TB-1"}


def test_names_of_areas_lie_where_they_cover_few_marks(screens):
    """The south of the area is full of hydrants; its name moves to the empty north."""
    rng = np.random.default_rng(5)
    checked = district(400)
    points = gpd.points_from_xy(
        rng.uniform(1_300_000, 1_309_000, 400), rng.uniform(250_000, 254_500, 400), crs=CRS
    )
    page = screens.map(web_map(checked.set_geometry(points), words=WORDS, areas=areas("Mill")))
    page.wait_for_timeout(400)
    name, frame = (page.locator(s).bounding_box() for s in (".area-name", ".folium-map"))
    assert name["y"] + name["height"] < frame["y"] + frame["height"] / 2
