"""The web map as people use it: seen, filtered, searched, copied, saved, measured, printed."""

from __future__ import annotations

import csv
import io
import json
import shutil
import subprocess
from pathlib import Path

import folium
import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from hydrantgis.deliver.webmap import Background, MapWords, Tiles, web_map
from hydrantgis.ground.results import CHECKED

from .conftest import DESK, PHONE, hydrant_words
from .district import CRS, HOSTILE, WORDS, areas, district, streets


def counts(page) -> list[str]:
    return page.locator("#legend .switch .count").all_inner_texts()


def tally(page) -> str:
    return page.locator("#legend .shown output").inner_text()


# ---- what stands there ------------------------------------------------


def test_a_request_would_be_seen(browser, tmp_path):
    from .conftest import Screens

    (tmp_path / "page.html").write_text('<img src="https://cdn.invalid/x.png">', encoding="utf-8")
    screens = Screens(browser, tmp_path)
    screens.page(tmp_path / "page.html")
    assert screens.elsewhere == ["https://cdn.invalid/x.png"]


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_every_hydrant_is_drawn_and_counted(screens, size):
    page = screens.map(web_map(district(120), words=WORDS, areas=areas("Mill")), size=size)
    assert page.locator("html").get_attribute("data-drawn") == "120"
    assert page.locator("#legend .count").all_text_contents() == ["20"] * 6
    assert page.locator(".share").text_content() == "20 of 80 measured are inside, 25 %"
    assert page.locator(".area-name").all_text_contents() == ["Mill"]
    assert "ft" in page.locator(".leaflet-control-scale-line").text_content()


def test_what_is_painted_has_the_color_of_its_class(screens):
    page = screens.map(web_map(district(1, verdict="low"), words=WORDS))
    middle = page.evaluate(
        """() => {
          const box = document.querySelector('.folium-map').getBoundingClientRect();
          const [x, y] = [box.left + box.width / 2, box.top + box.height / 2];
          const tile = [...document.querySelectorAll('.leaflet-hydrants-pane canvas')].find((c) => {
            const at = c.getBoundingClientRect();
            return at.left <= x && x < at.right && at.top <= y && y < at.bottom; });
          const at = tile.getBoundingClientRect();
          const pen = tile.getContext('2d');
          const data = pen.getImageData(x - at.left, y - at.top, 1, 1).data;
          return '#' + [...data].slice(0, 3).map((v) => v.toString(16).padStart(2, '0')).join('');
        }"""
    )
    themes = json.loads(page.locator("#hydrant-sheet").text_content())["themes"]
    (low,) = [look for look in themes[0]["looks"] if look["value"] == "low"]
    assert middle == low["fill"]


@pytest.mark.parametrize("with_areas", [True, False])
def test_no_hydrants_at_all(screens, with_areas):
    figure_map = web_map(
        CHECKED.empty(crs=CRS), words=WORDS, areas=areas("Mill") if with_areas else None
    )
    page = screens.map(figure_map)
    assert page.locator("html").get_attribute("data-drawn") == "0"
    assert page.locator(".share").text_content() == "No hydrants"
    assert page.locator(".area-name").all_text_contents() == ["Mill"] * with_areas


def test_none_with_a_location_is_told(screens):
    checked = district(3)
    checked["geometry"] = None
    page = screens.map(web_map(checked, words=WORDS))
    assert "No hydrant has a location." in page.locator("#no-location").text_content()


def test_the_address_opens_a_hydrant_with_its_facts(screens):
    facts = pd.DataFrame({"address": ["9 Alder Ct"]}, index=["TB-1"])
    checked = district(12, outlet_height_in=15.0)
    figure_map = web_map(checked, words=WORDS, areas=areas("Mill", "Brook"), facts=facts)
    page = screens.map(figure_map, hydrant_words("TB-1"))
    head = page.locator(".fact-head")
    assert head.locator("h2").text_content() == "TB-1"
    table = page.locator("table.facts").inner_text()
    for text in ("9 Alder Ct", "Brook (A2)", "15 \u00b1 0.5 in (k = 2)", "18 to 36 in"):
        assert text in table
    assert "3.5 \u2192 4.5 ft" in table


def test_the_button_that_closes_is_not_covered(screens):
    page = screens.map(web_map(district(12), words=WORDS), hydrant_words("TB-1"))
    page.click(".leaflet-popup-close-button", timeout=3000)
    page.wait_for_selector(".fact-head", state="detached")


def test_an_address_that_names_no_hydrant_opens_nothing(screens):
    page = screens.map(web_map(district(12), words=WORDS), hydrant_words("none"))
    assert page.locator(".fact-head").count() == 0


def test_the_block_beside_the_map_has_this_structure(screens):
    page = screens.map(web_map(district(6), words=WORDS, areas=areas("Mill")))
    expected = (Path(__file__).parent / "block.txt").read_text(encoding="utf-8")
    assert page.locator("#block").aria_snapshot() == expected.rstrip("\n")


# ---- points show, filters ------------------------------------------------


def test_points_show_what_is_chosen_with_counts_of_the_data(screens):
    checked = district(97)
    facts = pd.DataFrame(
        {"flow_gpm": np.resize([1600.0, 1000.0, 499.0, np.nan], 97)}, index=checked["hydrant_id"]
    )
    day = pd.Timestamp("2026-09-30")
    page = screens.map(web_map(checked, words=WORDS, facts=facts, today=day.date()))
    page.select_option("#show", "age")
    years = (day - checked["reading_date"]).dt.days / 365.25
    assert counts(page) == [
        str(int(((years > low) & (years <= high)).sum()))
        for low, high in ((-1, 1), (1, 2), (2, 5), (5, 10), (10, 99))
    ] + ["0"]
    page.select_option("#show", "flow")
    assert counts(page) == ["25", "24", "0", "24", "24"]
    page.select_option("#show", "remedy")
    labels = page.locator("#legend .switch .name").all_inner_texts()
    found = dict(zip([text.split("\n")[0] for text in labels], counts(page), strict=True))
    extend = checked[checked["remedy"] == "extend"]
    assert found["Extend 6 in"] == str(int((extend["kit_length_in"] == 6).sum()))
    assert found["Lower"] == str(int((checked["remedy"] == "lower").sum()))
    page.wait_for_timeout(300)
    assert "show=remedy" in page.evaluate("location.hash")


def test_filters_work_together_and_count_what_the_others_let_through(screens):
    checked = district(200)
    page = screens.map(web_map(checked, words=WORDS, areas=areas("Mill", "Brook")))
    page.locator("#legend .switch", has_text="Inside").locator("input").uncheck()
    page.click("#filter > summary")
    page.fill('#filter [aria-label="Outlet height, in, from"]', "15")
    page.fill('#filter [aria-label="Outlet height, in, to"]', "30.5")
    page.fill('#filter [aria-label="Read on, from"]', "2023-01-01")
    area = page.locator("#filter details.facet", has_text="Area")
    area.locator("summary").click()
    area.locator(".switch", has_text="Brook").locator("input").uncheck()
    page.wait_for_timeout(500)
    passes = checked["outlet_height_in"].between(15, 30.5) & (
        checked["reading_date"] >= "2023-01-01"
    )
    in_area = checked["area_id"].isna() | (checked["area_id"] == "A1")
    verdict = checked["verdict"].fillna("")
    shown = passes & in_area & (verdict != "inside")
    assert tally(page) == f"{int(shown.sum())} of 200 are shown"
    # the count of a class is of the hydrants that all other filters let through
    by_verdict = verdict[passes & in_area].value_counts()
    words = ("inside", "low", "high", "unresolved", "unmeasured", "")
    assert [text.split(" ")[0] for text in counts(page)] == [
        str(by_verdict.get(word, 0)) for word in words
    ]
    of_brook = area.locator(".switch", has_text="Brook").locator(".count").inner_text()
    expected = int((passes & (checked["area_id"] == "A2") & (verdict != "inside")).sum())
    assert of_brook.split(" ")[0] == str(expected)
    page.click("text=Clear filters")
    assert tally(page) == "All 200 are shown"
    assert page.input_value('#filter [aria-label="Outlet height, in, from"]') == ""


def test_a_click_opens_and_a_switch_hides(screens):
    page = screens.map(web_map(district(1, verdict="low"), words=WORDS))
    box = page.locator(".folium-map").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    low = page.locator("#legend .switch", has_text="Low").locator("input")
    low.uncheck()
    page.mouse.click(x, y)
    page.wait_for_timeout(400)
    assert page.locator(".fact-head").count() == 0
    low.check()
    page.mouse.click(x, y)
    page.wait_for_selector(".fact-head")
    assert page.locator(".fact-head h2").text_content() == "TB-0"
    page.wait_for_timeout(300)
    assert "hydrant=TB-0" in page.evaluate("location.hash")


def test_view_and_filter_stand_in_the_address_and_open_for_a_colleague(screens):
    figure_map = web_map(district(200), words=WORDS, areas=areas("Mill", "Brook"))
    page = screens.map(figure_map)
    page.select_option("#show", "remedy")
    page.locator("#legend .switch", has_text="Lower").locator("input").uncheck()
    page.click("#filter > summary")
    page.fill('#filter [aria-label="Outlet height, in, from"]', "15")
    page.mouse.move(500, 400)
    page.mouse.wheel(0, -300)
    page.wait_for_timeout(900)
    told, address = tally(page), page.evaluate("location.hash")
    other = screens.map(figure_map, address)
    assert tally(other) == told
    assert other.input_value("#show") == "remedy"
    assert other.input_value('#filter [aria-label="Outlet height, in, from"]') == "15"
    other.wait_for_timeout(400)
    assert other.evaluate("location.hash") == address


# ---- finding ------------------------------------------------


@pytest.fixture
def addressed():
    checked = district(30)
    addresses = [f"{k} Quarry Rd" if k % 2 else f"{k} Alder Ct" for k in range(30)]
    facts = pd.DataFrame({"address": addresses}, index=checked["hydrant_id"])
    return web_map(checked, words=WORDS, facts=facts, streets=streets("Quarry Rd", "Mill Lane"))


def test_a_hydrant_is_found_by_its_id_whatever_the_case(screens, addressed):
    page = screens.map(addressed)
    page.fill("#find", "tb-7")
    page.press("#find", "Enter")
    page.wait_for_selector(".fact-head")
    assert page.locator(".fact-head h2").text_content() == "TB-7"


def test_addresses_and_streets_are_found(screens, addressed):
    page = screens.map(addressed)
    page.fill("#find", "quarry")
    page.wait_for_selector(".hits li")
    hits = page.locator("#finder .hit b").all_inner_texts()
    assert hits[0] == "Quarry Rd"
    assert len(hits) == 12
    assert set(hits[1:]) < {f"TB-{k}" for k in range(1, 30, 2)}
    assert page.locator("#finder output").inner_text() == "4 more; type on to narrow it"
    page.click("#finder .hit >> nth=0")
    page.wait_for_timeout(400)
    assert page.evaluate("location.hash").startswith("#at=")
    page.fill("#find", "nowhere")
    page.press("#find", "Enter")
    page.wait_for_timeout(400)
    assert page.locator("#finder output").inner_text() == "nowhere is not on this map"


def test_a_hydrant_that_is_asked_for_is_shown_whatever_the_filters(screens, addressed):
    page = screens.map(addressed)
    page.locator("#legend .switch", has_text="Low").locator("input").uncheck()
    page.fill("#find", "TB-1")
    page.press("#find", "Enter")
    page.wait_for_selector(".fact-head")
    assert page.locator("#legend .switch", has_text="Low").locator("input").is_checked()


# ---- taking away ------------------------------------------------


def test_id_and_coordinates_are_copied_with_one_click(screens):
    checked = district(3)
    page = screens.map(web_map(checked, words=WORDS), hydrant_words("TB-2"))
    page.click("text=Copy id")
    page.wait_for_selector("text=Copied")
    assert page.evaluate("navigator.clipboard.readText()") == "TB-2"
    page.click("text=Copy coordinates")
    page.wait_for_timeout(200)
    copied = page.evaluate("navigator.clipboard.readText()")
    place = checked.geometry.to_crs(4326).iloc[2]
    lat, lon = map(float, copied.split(", "))
    # a step of the page is 3.7 cm at most
    assert lat == pytest.approx(place.y, abs=1e-6)
    assert lon == pytest.approx(place.x, abs=1e-6)


def test_what_is_in_view_is_listed_and_saved_as_csv(screens):
    checked = district(150)
    checked.loc[3, "remedy_reason"] = '=HYPERLINK("x")'
    checked.loc[4, "remedy_reason"] = 'says "no", then\nyes'
    facts = pd.DataFrame({"address": "9 Alder Ct"}, index=checked["hydrant_id"])
    page = screens.map(web_map(checked, words=WORDS, facts=facts))
    page.locator("#legend .switch", has_text="Inside").locator("input").uncheck()
    page.click("#list > summary")
    page.wait_for_selector("#list .hit")
    assert page.locator("#list output").inner_text() == "125 in view, the first 100"
    assert page.locator("#list .hit").count() == 100
    with page.expect_download() as download:
        page.click("text=Save as CSV")
    text = download.value.path().read_text(encoding="utf-8-sig")
    rows = {row["hydrant_id"]: row for row in csv.DictReader(io.StringIO(text, newline=""))}
    expected = checked[checked["verdict"] != "inside"]
    assert set(rows) == set(expected["hydrant_id"])
    assert rows["TB-3"]["remedy_reason"] == '\'=HYPERLINK("x")'
    assert rows["TB-4"]["remedy_reason"] == 'says "no", then\nyes'
    assert rows["TB-1"]["verdict"] == "low"
    assert float(rows["TB-1"]["outlet_height_in"]) == checked.loc[1, "outlet_height_in"]
    assert rows["TB-1"]["reading_date"] == "2026-08-23"
    places = checked.geometry.to_crs(4326)
    assert float(rows["TB-1"]["longitude"]) == pytest.approx(places.iloc[1].x, abs=1e-6)
    page.click("#list .hit >> nth=5")
    page.wait_for_selector(".fact-head")
    assert (
        page.evaluate("document.activeElement.textContent")
        == page.locator(".fact-head h2").inner_text()
    )


def test_a_distance_agrees_with_the_geodesic_of_the_projection_library(screens):
    page = screens.map(web_map(district(40), words=WORDS))
    page.mouse.move(500, 400)
    page.mouse.wheel(0, -120)
    page.wait_for_timeout(900)
    lat, lon, zoom = map(float, page.evaluate("location.hash").split("at=")[1].split("&")[0]
                         .replace("%2C", ",").split(","))  # fmt: skip
    box = page.locator(".folium-map").bounding_box()
    clicks = [(300, 300), (700, 250), (640, 600)]
    page.click("text=Measure a distance")
    for x, y in clicks:
        page.mouse.click(x, y)
        page.wait_for_timeout(350)
    told = page.locator(".measure output").inner_text()
    # the same places by the web-mercator formulas, written anew
    world = 256 * 2**zoom
    forward = pyproj.Transformer.from_crs(4326, 3857, always_xy=True)
    back = pyproj.Transformer.from_crs(3857, 4326, always_xy=True)
    half = np.pi * 6378137.0
    cx, cy = forward.transform(lon, lat)
    edge = 1.5
    middle = (
        box["x"] + edge + (box["width"] - 2 * edge) / 2,
        box["y"] + edge + (box["height"] - 2 * edge) / 2,
    )
    places = [
        back.transform(
            cx + (x - middle[0]) * 2 * half / world, cy - (y - middle[1]) * 2 * half / world
        )
        for x, y in clicks
    ]
    geod = pyproj.Geod(ellps="GRS80")
    metres = geod.line_length(*zip(*places, strict=True))
    feet = metres / 0.3048
    shown = float(told.split("(")[-1].split(" ft")[0].replace(",", ""))
    assert shown == pytest.approx(feet, rel=2e-3)
    page.click("text=Done")
    assert page.locator(".measure").is_hidden()


# ---- keys, phone, reading aloud ------------------------------------------------


def test_the_keyboard_reaches_map_list_and_facts(screens):
    page = screens.map(web_map(district(30), words=WORDS))
    page.locator(".folium-map").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".fact-head")
    assert page.evaluate("document.activeElement.tagName") == "H2"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('.leaflet-popup') !== null")
    page.keyboard.press("Escape")
    page.wait_for_selector(".fact-head", state="detached")
    assert page.evaluate("document.activeElement.classList.contains('folium-map')")
    page.focus("#list > summary")
    page.keyboard.press("Enter")
    page.wait_for_selector("#list .hit")
    page.locator("#list .hit").first.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".fact-head")
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.classList.contains('hit')")


def test_a_distance_is_measured_with_the_keyboard(screens):
    page = screens.map(web_map(district(30), words=WORDS))
    page.focus("text=Measure a distance")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.classList.contains('folium-map')")
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(500)
    page.keyboard.press("Enter")
    assert page.locator(".measure output").inner_text().endswith("ft")
    page.keyboard.press("Escape")
    assert page.locator(".measure").is_hidden()


def test_a_phone_has_room_for_fingers(screens, addressed):
    page = screens.map(addressed, size=PHONE)
    assert page.locator("#block").is_hidden()
    page.click(".fold")
    page.fill("#find", "alder")
    page.wait_for_selector("#finder .hit")
    page.evaluate("document.querySelectorAll('#block details').forEach((d) => { d.open = true; })")
    page.wait_for_timeout(400)
    low = page.evaluate(
        """() => [...document.querySelectorAll('#block button, #block select, .fold,'
          + ' #block summary, #block .switch, #block input:not([type=checkbox])')]
          .map((e) => [e.textContent || e.id, e.getBoundingClientRect().height])
          .filter(([, height]) => height > 0 && height < 43.5)"""
    )
    assert low == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    page.click("#finder .hit >> nth=0")
    page.wait_for_selector(".fact-head")
    page.wait_for_timeout(400)
    sheet = page.locator(".leaflet-popup").bounding_box()
    assert sheet["x"] >= 0
    assert sheet["x"] + sheet["width"] <= PHONE[0]


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_nothing_stands_in_the_way_of_those_who_hear_the_page(screens, addressed, size):
    """WCAG 2.2 at level AA, as axe-core checks it."""
    from axe_playwright_python.base import AXE_FILE_PATH

    page = screens.map(addressed, hydrant_words("TB-3"), size)
    if size == PHONE:
        page.click(".fold")
    page.evaluate("document.querySelectorAll('#block details').forEach((d) => { d.open = true; })")
    page.fill("#find", "alder")
    page.wait_for_timeout(600)
    page.add_script_tag(content=AXE_FILE_PATH.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run()")
    assert len(found["passes"]) > 20
    assert [
        (fault["id"], [node["html"][:160] for node in fault["nodes"]])
        for fault in found["violations"]
    ] == []


# ---- print ------------------------------------------------


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_it_prints_on_one_page_with_scale_north_date_and_rule(screens, addressed, size, tmp_path):
    if shutil.which("pdftotext") is None:
        pytest.skip("needs `pdftotext`")
    page = screens.map(addressed, size=size)
    page.pdf(path=tmp_path / "map.pdf", prefer_css_page_size=True)
    asked = ["pdfinfo", str(tmp_path / "map.pdf")]
    info = subprocess.run(asked, capture_output=True, check=True).stdout.decode()
    assert "Pages:           1\n" in info
    asked = ["pdftotext", "-layout", str(tmp_path / "map.pdf"), "-"]
    text = subprocess.run(asked, capture_output=True, check=True).stdout.decode()
    for word in ("Tesselbrook", "18 to 36 in", "House rule", "2026-08-18", "Low", " ft", "N"):
        assert word in text
    after = page.locator(".composed").count()
    assert after == 0


# ---- text from data ------------------------------------------------


@pytest.mark.parametrize("text", HOSTILE)
def test_text_from_data_is_shown_as_typed_and_never_runs(screens, text):
    columns = [c for c in CHECKED.names if CHECKED[c].kind == "text" and c != "verdict"]
    checked = district(1, **dict.fromkeys(columns, text))
    checked = checked.set_geometry(gpd.points_from_xy([1_304_000], [253_000], crs=CRS))
    facts = pd.DataFrame({"address": [text], f"{text} field": [text]}, index=[text])
    words = MapWords(title=text, rule=text, citation=text, data_date=text, cautions=(text,))
    named = areas(text).assign(area_id=text)
    away = gpd.points_from_xy([1_304_600], [253_000], crs=CRS)
    valves = gpd.GeoDataFrame({"valve_id": [text], "valve_use": [text]}, geometry=away)
    facilities = gpd.GeoDataFrame({"facility_title": [text]}, geometry=away)
    selection = pd.DataFrame(
        {"hydrant_id": [text], "selected": [True], "why": [text], "priority": [1.0],
         "work_date": pd.to_datetime(["2027-04-01"]), "crew_id": [text]}
    )  # fmt: skip
    figure_map = web_map(
        checked, words=words, areas=named, facts=facts, streets=streets(text), valves=valves,
        facilities=facilities, selection=selection,
        backgrounds=[Background(title=text, frame=streets("x"))],
    )  # fmt: skip
    page = screens.map(figure_map, hydrant_words(text))
    assert page.locator(".fact-head h2").text_content() == text
    assert page.locator("h1").text_content() == text
    cells = page.locator("table.facts td").all_text_contents()
    # address, area, basis, flange verdict, remedy, reason, kit, why, crew, the field of the user
    assert cells.count(text) >= 8
    assert f"{text} field" in page.locator("table.facts th").all_text_contents()
    assert text in page.locator(".area-name").all_text_contents()
    assert page.locator("dd").all_text_contents() == [text] * 3
    assert page.locator("#block li").all_text_contents() == [text]
    assert text in page.locator("fieldset.part .name").all_text_contents()
    page.fill("#find", text)
    page.wait_for_timeout(500)
    assert text in page.locator("#finder .hit b").all_text_contents()
    page.evaluate("document.querySelectorAll('#block details').forEach((d) => { d.open = true; })")
    page.wait_for_timeout(400)
    assert page.evaluate("document.documentElement.dataset.owned") is None
    assert page.locator("img").count() == 0
    page.keyboard.press("Escape")


def test_a_click_on_valves_and_facilities_tells_what_they_are(screens):
    checked = district(1).set_geometry(gpd.points_from_xy([1_300_000], [250_000], crs=CRS))
    at = gpd.points_from_xy([1_304_000], [253_000], crs=CRS)
    valves = gpd.GeoDataFrame(
        {"valve_id": [HOSTILE[0]], "size_in": [6.0], "turns": [20.0]}, geometry=at
    )
    lon, lat = valves.to_crs(4326).geometry.iloc[0].coords[0]
    page = screens.map(
        web_map(checked, words=WORDS, valves=valves, areas=areas("Mill")), f"#at={lat},{lon},17"
    )
    box = page.locator(".folium-map").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_selector(".fact-head")
    assert page.locator(".fact-head h2").text_content() == HOSTILE[0]
    assert page.locator("table.facts").inner_text().split("\n") == ["Size\t6 in", "Turns\t20"]
    assert page.evaluate("document.documentElement.dataset.owned") is None
    page.keyboard.press("Escape")
    page.mouse.click(box["x"] + 60, box["y"] + 200)
    page.wait_for_selector(".fact-head")
    assert page.locator(".fact-head h2").text_content() == "Mill"


# ---- more of one's own ------------------------------------------------


def test_a_users_own_layers_work_without_a_network(screens):
    figure_map = web_map(district(5), words=WORDS)
    where = district(5).to_crs(4326).geometry.iloc[0]
    pin = folium.Marker((where.y, where.x), popup=folium.Popup("Pump house"), tooltip="Pump")
    pin.add_to(figure_map)
    folium.GeoJson(
        gpd.GeoDataFrame(geometry=[shapely.LineString([(-122, 47), (-122.1, 47.1)])], crs=4326)
    ).add_to(figure_map)
    page = screens.map(figure_map)
    page.locator(".leaflet-marker-icon").click()
    page.wait_for_selector(".leaflet-popup-content")
    assert page.locator(".leaflet-popup-content").inner_text() == "Pump house"


def test_a_notebook_frame_draws_too(screens, tmp_path):
    shown = web_map(district(60), words=WORDS)._repr_html_()
    (tmp_path / "book.html").write_text(
        f"<!DOCTYPE html><html><head></head><body>{shown}</body></html>", encoding="utf-8"
    )
    page = screens.page(tmp_path / "book.html", size=(1000, 800))
    frame = page.frame_locator("iframe")
    frame.locator("html[data-ready][data-drawn]").wait_for(state="attached")
    assert frame.locator("html").get_attribute("data-drawn") == "60"


def test_tiles_are_asked_of_their_host_and_of_no_other(browser, tmp_path):
    from .conftest import Screens

    screens = Screens(browser, tmp_path)
    tiles = Tiles("https://tiles.invalid/{z}/{x}/{y}.png", "Survey <office>")
    page = screens.map(web_map(district(5), words=WORDS, tiles=tiles))
    page.wait_for_timeout(500)
    assert screens.elsewhere
    assert all(url.startswith("https://tiles.invalid/") for url in screens.elsewhere)
    assert page.locator(".attribution").text_content() == "Survey <office>"
    for context in screens.contexts:
        context.close()


def test_a_hundred_thousand_are_drawn_in_a_page_under_four_megabytes(screens, tmp_path):
    checked = district(100_000)
    facts = pd.DataFrame(
        {"address": [f"{k % 900} Alder Ct" for k in range(100_000)]}, index=checked["hydrant_id"]
    )
    page = screens.map(web_map(checked, words=WORDS, facts=facts), hydrant_words("TB-99999"))
    assert page.locator(".fact-head h2").text_content() == "TB-99999"
    assert (tmp_path / "map.html").stat().st_size < 4_000_000
    page.keyboard.press("Escape")
    other = screens.page(tmp_path / "map.html")
    other.wait_for_selector("html[data-drawn]", state="attached")
    assert other.locator("html").get_attribute("data-drawn") == "100000"
