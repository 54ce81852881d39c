"""The web map in a browser that has no network."""

from __future__ import annotations

import re
import shutil
import subprocess
from html.parser import HTMLParser
from typing import TYPE_CHECKING
from urllib.parse import quote

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from hydrantgis.deliver.looks import LOOKS
from hydrantgis.deliver.webmap import MapWords, save_map, web_map
from hydrantgis.ground.results import CHECKED

if TYPE_CHECKING:
    from pathlib import Path

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="needs the browser `chromium`"),
]
OWN = "document.documentElement.dataset.owned=1"
WORDS = MapWords(title="Tesselbrook", rule="18 to 36 in", citation="House rule", data_date="2026")
HOSTILE = (
    f'<img src=x onerror="{OWN}">',
    f"`${{{OWN}}}`",
    f"</script><script>{OWN}</script>",
    'O\'Brien said "18 in"',
    r"C:\data\20190221",
    "\u05e9\u05dc\u05d5\u05dd \u202e abc",
    "50 % & more #3/4?",
)
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "wbr"}


class Screen(HTMLParser):
    """The elements of a page: tag, attributes, and the text within each."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None], list[str]]] = []
        self._open: list[int] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs), []))
        if tag not in VOID:
            self._open.append(len(self.elements) - 1)

    def handle_endtag(self, tag):
        while self._open:
            if self.elements[self._open.pop()][0] == tag:
                return

    def handle_data(self, data):
        for place in self._open:
            self.elements[place][2].append(data)

    @property
    def page(self) -> dict[str, str | None]:
        return next(attrs for tag, attrs, _ in self.elements if tag == "html")

    def texts(self, tag: str, name: str = "") -> list[str]:
        return [
            "".join(text)
            for t, attrs, text in self.elements
            if t == tag and (not name or name in (attrs.get("class") or "").split())
        ]


def opened(
    path: Path,
    folder: Path,
    hash_part: str = "",
    size: str = "1400,900",
    requests: tuple[str, ...] = (),
) -> Screen:
    """Open a file in the browser and return what the page then holds; it may ask for `requests`."""
    log = folder / "net.json"
    for _ in range(3):  # a browser that gets no time ends before the page has drawn
        done = subprocess.run(
            [
                str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic",
                "--no-first-run", "--disable-background-networking", "--disable-component-update",
                "--disable-sync", "--hide-scrollbars", "--host-resolver-rules=MAP * ~NOTFOUND",
                f"--user-data-dir={folder / 'profile'}", f"--log-net-log={log}",
                f"--window-size={size}", "--virtual-time-budget=8000", "--dump-dom",
                f"file://{path}{hash_part}",
            ],
            capture_output=True, check=True, timeout=120,
        )  # fmt: skip
        if b"data-drawn=" in done.stdout:
            break
    # What the browser asks for on its own account has no page as its initiator.
    asked = re.findall(
        r'"initiator":"(?!not an origin)[^"]*"[^\n]*?"url":"((?:https?|wss?)://[^"]+)"',
        log.read_text(encoding="utf-8", errors="replace"),
    )
    assert set(asked) == set(requests)
    return Screen(done.stdout.decode("utf-8"))


def district(n: int, ids=None, **columns) -> gpd.GeoDataFrame:
    """Return hydrants in State Plane feet, one verdict after another."""
    rng = np.random.default_rng(7)
    verdicts = np.array(["inside", "low", "high", "unresolved", "unmeasured", None], dtype=object)
    frame = pd.DataFrame(
        {
            "hydrant_id": ids if ids is not None else [f"TB-{i}" for i in range(n)],
            "verdict": np.resize(verdicts, n),
            "area_id": "A1",
            "outlet_height_in": 15.0,
            "height_sd_in": 0.25,
            "window_lo_in": 18.0,
            "window_hi_in": 36.0,
            "bury_ft": 3.5,
            "bury_after_ft": 4.5,
        }
    )
    points = shapely.points(rng.uniform(1_300_000, 1_309_000, n), rng.uniform(250_000, 256_000, n))
    return gpd.GeoDataFrame(frame.assign(**columns), geometry=points, crs=3736)


def areas(title: str) -> gpd.GeoDataFrame:
    outline = shapely.box(1_299_900, 249_900, 1_309_100, 256_100)
    return gpd.GeoDataFrame(
        {"area_id": ["A1"], "area_title": [title]}, geometry=[outline], crs=3736
    )


def test_a_request_would_be_seen(tmp_path):
    link = "https://cdn.invalid/leaflet.js"
    (tmp_path / "page.html").write_text(f'<script src="{link}"></script>', encoding="utf-8")
    opened(tmp_path / "page.html", tmp_path, requests=(link,))


@pytest.mark.parametrize("size", ["1400,900", "390,844"])
def test_every_hydrant_is_drawn_and_counted(tmp_path, size):
    save_map(web_map(district(120), words=WORDS, areas=areas("Mill")), tmp_path / "map.html")
    screen = opened(tmp_path / "map.html", tmp_path, size=size)
    assert screen.page["data-drawn"] == "120"
    assert screen.texts("span", "count")[:6] == ["20"] * 6
    assert screen.texts("p", "share") == ["20 of 80 measured are inside, 25 %"]
    assert "Mill" in screen.texts("div", "area-name")
    boxes = [a for t, a, _ in screen.elements if t == "input" and a.get("type") == "checkbox"]
    assert len(boxes) == 7
    assert any("ft" in text for text in screen.texts("div", "leaflet-control-scale-line"))


def test_the_address_opens_a_hydrant_with_its_facts(tmp_path):
    facts = pd.DataFrame({"address": ["9 Alder Ct"]}, index=["TB-1"])
    figure_map = web_map(district(12), words=WORDS, areas=areas("Mill"), facts=facts)
    save_map(figure_map, tmp_path / "map.html")
    screen = opened(tmp_path / "map.html", tmp_path, "#hydrant=TB-1")
    assert screen.texts("header", "fact-head") == ["TB-1Low"]
    (table,) = screen.texts("table", "facts")
    for text in ("9 Alder Ct", "Mill (A1)", "15 \u00b1 0.5 in (k = 2)", "18 to 36 in"):
        assert text in table
    assert "3.5 \u2192 4.5 ft" in table


def test_an_address_that_names_no_hydrant_opens_nothing(tmp_path):
    save_map(web_map(district(12), words=WORDS), tmp_path / "map.html")
    screen = opened(tmp_path / "map.html", tmp_path, "#hydrant=none")
    assert screen.page["data-drawn"] == "12"
    assert screen.texts("table", "facts") == []


def test_a_click_opens_and_a_switch_hides(tmp_path):
    checked = district(1, verdict="low")
    save_map(web_map(checked, words=WORDS), tmp_path / "map.html")
    # One hydrant stands in the middle of the map: a hand there finds it, as long as it is shown.
    hand = """<script>(async () => {
      const page = document.documentElement.dataset;
      const wait = (ms) => new Promise((done) => setTimeout(done, ms));
      while (!page.drawn) await wait(20);
      const canvas = document.querySelector('.leaflet-overlay-pane canvas');
      const box = document.querySelector('.folium-map').getBoundingClientRect();
      const x = box.left + box.width / 2, y = box.top + box.height / 2;
      const color = () => {
        const at = canvas.getBoundingClientRect(), ratio = canvas.width / at.width;
        const pen = canvas.getContext('2d');
        return [...pen.getImageData((x - at.left) * ratio, (y - at.top) * ratio, 1, 1).data].join();
      };
      const click = () => canvas.dispatchEvent(
        new MouseEvent('click', {clientX: x, clientY: y, bubbles: true, view: window}));
      const low = document.querySelectorAll('.switch input')[1];
      page.shown = color();
      low.click(); await wait(500);
      page.hidden = color();
      click(); await wait(500);
      page.popups = document.querySelectorAll('.fact-head').length;
      low.click(); await wait(500);
      page.again = color();
      click(); await wait(400);
      page.address = location.hash;
    })();</script>"""
    page = (tmp_path / "map.html").read_text(encoding="utf-8")
    # A browser without a screen paints few frames of its own accord.
    frames = "<script>window.requestAnimationFrame = (draw) => setTimeout(draw, 16);</script>"
    page = page.replace("<head>", f"<head>{frames}", 1)
    (tmp_path / "hand.html").write_text(page + hand, encoding="utf-8")
    screen = opened(tmp_path / "hand.html", tmp_path)
    (low,) = [k.fill for k in LOOKS if k.verdict == "low"]
    color = ",".join(str(int(low[i : i + 2], 16)) for i in (1, 3, 5)) + ",255"
    assert screen.page["data-shown"] == color
    assert screen.page["data-hidden"] == "0,0,0,0"
    assert screen.page["data-popups"] == "0"
    assert screen.page["data-again"] == color
    assert screen.page["data-address"] == "#hydrant=TB-0"
    assert screen.texts("header", "fact-head") == ["TB-0Low"]


@pytest.mark.parametrize("text", HOSTILE)
def test_text_from_data_is_shown_as_typed_and_never_runs(tmp_path, text):
    columns = [c for c in CHECKED.names if CHECKED[c].kind == "text" and c != "verdict"]
    checked = district(1, **dict.fromkeys(columns, text), geometry=None)
    checked = checked.set_geometry(gpd.points_from_xy([1_304_000], [253_000], crs=3736))
    facts = pd.DataFrame({"address": [text], f"{text} field": [text]}, index=[text])
    words = MapWords(title=text, rule=text, citation=text, data_date=text, cautions=(text,))
    named = areas(text).assign(area_id=text)
    save_map(web_map(checked, words=words, areas=named, facts=facts), tmp_path / "map.html")
    screen = opened(tmp_path / "map.html", tmp_path, f"#hydrant={quote(text, safe='')}")
    assert "data-owned" not in screen.page
    assert screen.page["data-drawn"] == "1"
    assert [a for t, a, _ in screen.elements if t == "img"] == []
    assert screen.texts("h2") == [text]
    assert screen.texts("h1") == [text]
    # Address, area, basis, flange verdict, remedy, reason, kit, and the field of the user.
    assert screen.texts("td").count(text) >= 6
    assert f"{text} field" in screen.texts("th")
    assert text in screen.texts("div", "area-name")
    assert screen.texts("dd") == [text] * 3
    assert screen.texts("li") == [text]


@pytest.mark.parametrize("with_areas", [True, False])
def test_no_hydrants_at_all(tmp_path, with_areas):
    figure_map = web_map(
        CHECKED.empty(crs=3736), words=WORDS, areas=areas("Mill") if with_areas else None
    )
    save_map(figure_map, tmp_path / "map.html")
    screen = opened(tmp_path / "map.html", tmp_path)
    assert screen.page["data-drawn"] == "0"
    assert screen.texts("p", "share") == ["No hydrants"]
    assert ("Mill" in screen.texts("div", "area-name")) is with_areas


def test_a_notebook_frame_draws_too(tmp_path):
    shown = web_map(district(60), words=WORDS)._repr_html_()
    # The frame tells its parent, which is all that can be seen of it from outside.
    listener = (
        "<script>setInterval(() => { const d = frames[0].document.documentElement.dataset.drawn;"
        "if (d) document.documentElement.dataset.frame = d; }, 50)</script>"
    )
    (tmp_path / "book.html").write_text(f"<!DOCTYPE html>{shown}{listener}", encoding="utf-8")
    screen = opened(tmp_path / "book.html", tmp_path, size="1000,800")
    assert screen.page["data-frame"] == "60"


def test_a_hundred_thousand_are_drawn(tmp_path):
    save_map(web_map(district(100_000), words=WORDS), tmp_path / "map.html")
    screen = opened(tmp_path / "map.html", tmp_path, "#hydrant=TB-99999")
    assert screen.page["data-drawn"] == "100000"
    assert screen.texts("h2") == ["TB-99999"]
