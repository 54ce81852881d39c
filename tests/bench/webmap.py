"""
The web map of many hydrants: `python -m tests.bench.webmap [HYDRANTS ...]`.

Size of the page, time to write it, and in Chromium: time until all is drawn, frames while the map
is panned over ground that is not drawn yet, and the time of a filter. Beside it a plain folium map
of the same points, one circle each on one canvas, where there are few enough.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import folium
import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hydrantgis.deliver.webmap import MapWords, save_map, web_map

WORDS = MapWords(title="Bench", rule="18 to 36 in", citation="House rule", data_date="2026-09-12")
STREETS = ("Almond", "Knapweed", "Mallet", "Nuthatch", "Orchard", "Quarry", "Tanner", "Yoke")
KINDS = ("Road", "Court", "Close", "Rise")
APART_FT = 420.0
TODAY = pd.Timestamp("2026-09-30")
PLAIN_MOST = 10_000


def hydrants(n: int) -> tuple[gpd.GeoDataFrame, pd.DataFrame, gpd.GeoDataFrame]:
    """Hydrants along the streets of a grid, with facts of all kinds, and their areas."""
    rng = np.random.default_rng(7)
    side = int(np.ceil(np.sqrt(n)))
    column, row = np.divmod(np.arange(n), side)
    x = 1_300_000 + column * APART_FT + rng.normal(0, 25, n)
    y = 250_000 + row * APART_FT + rng.normal(0, 25, n)
    height = np.round(rng.normal(19.5, 4.5, n), 2)
    measured = rng.random(n) < 0.88
    height[~measured] = np.nan
    short = (height < 18) & measured
    kit = np.where(short, np.clip(np.ceil((21 - height) / 6) * 6, 6, 48), np.nan)
    verdict = np.select(
        [~measured, height < 18, height > 24], ["unmeasured", "low", "high"], "inside"
    )
    remedy = np.select([~measured, short, height > 24], ["measure", "extend", "lower"], "none")
    days = pd.Timestamp("2026-09-12") - pd.to_timedelta(rng.integers(0, 2500, n), unit="D")
    block = 40
    areas_wide = side // block + 1
    area = (column // block) * areas_wide + row // block
    reasons = pd.Series(remedy).map(
        {"none": "inside", "measure": "no-reading", "lower": "too-high", "extend": "kit-fits"}
    )
    after = height + kit
    heights, afters = pd.Series(height).astype(str), pd.Series(after).astype(str)
    told = reasons + ": outlet from " + heights + " to " + afters
    frame = pd.DataFrame(
        {
            "hydrant_id": [f"H-{i:07d}" for i in rng.permutation(n)],
            "area_id": [f"A{a:03d}" for a in area],
            "outlet_height_in": height,
            "height_sd_in": np.where(measured, np.where(rng.random(n) < 0.7, 0.25, 0.5), np.nan),
            "height_basis": np.where(measured, "tape", None),
            "reading_date": pd.Series(days).where(measured),
            "window_lo_in": 18.0, "window_hi_in": 24.0, "rule_id": "bench",
            "verdict": verdict, "marginal": np.abs(height - 18) < 0.5,
            "p_inside": np.where(measured, np.round(rng.beta(0.3, 0.3, n), 4), np.nan),
            "flange_height_in": np.where(measured, np.round(rng.normal(3, 2, n), 1), np.nan),
            "flange_verdict": np.where(measured, "inside", "unknown"),
            "remedy": remedy, "remedy_reason": told.where(short, reasons),
            "kit_id": pd.Series([f"K-{k:g}" for k in kit]).where(short), "kit_length_in": kit,
            "raise_in": kit, "outlet_height_after_in": after,
            "bury_ft": rng.choice([3.5, 4.0, 4.5, 5.0], n),
        }
    )  # fmt: skip
    frame["flange_height_after_in"] = frame["flange_height_in"] + kit
    frame["bury_after_ft"] = frame["bury_ft"] + kit / 12
    names = [f"{a} {b}" for a in STREETS for b in KINDS]
    addresses = [f"{100 + 8 * r} {names[c % len(names)]}" for c, r in zip(column, row, strict=True)]
    facts = pd.DataFrame(
        {
            "address": addresses,
            "family": rng.choice(["Orrin B", "Tolland", "Vane 2"], n),
            "barrel": "dry", "status": "in_service", "owner": "Bench Water District",
            "main_valve_in": rng.choice([4.5, 5.25], n),
            "install_date": TODAY - pd.to_timedelta(rng.integers(0, 18_000, n), unit="D"),
            "flow_gpm": np.where(rng.random(n) < 0.5, rng.integers(20, 240, n) * 10, np.nan),
        },
        index=frame["hydrant_id"].to_numpy(),
    )  # fmt: skip
    wide = block * APART_FT
    ids = pd.Series(area).drop_duplicates().to_numpy()
    corner_x = 1_300_000 + (ids // areas_wide) * wide - APART_FT / 2
    corner_y = 250_000 + (ids % areas_wide) * wide - APART_FT / 2
    areas = gpd.GeoDataFrame(
        {"area_id": [f"A{a:03d}" for a in ids], "area_title": [f"Area {a}" for a in ids]},
        geometry=shapely.box(corner_x, corner_y, corner_x + wide, corner_y + wide), crs=3736,
    )  # fmt: skip
    return gpd.GeoDataFrame(frame, geometry=shapely.points(x, y), crs=3736), facts, areas


def plain_map(checked: gpd.GeoDataFrame, path: Path) -> None:
    """What an analyst writes first: a circle for each row."""
    places = checked.geometry.to_crs(4326)
    colors = {"inside": "blue", "low": "red", "high": "purple", "unmeasured": "gray"}
    one = folium.Map(prefer_canvas=True, tiles=None)
    for x, y, verdict, name in zip(
        places.x, places.y, checked["verdict"], checked["hydrant_id"], strict=True
    ):
        folium.CircleMarker((y, x), radius=4, color=colors[verdict], popup=name).add_to(one)
    one.save(path)


def in_browser(path: Path) -> dict[str, Any]:
    """Times of a page: drawn [s], frames while panning [ms], a filter [ms], heap [MB]."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-quic"]
        )
        page = browser.new_page(viewport={"width": 1400, "height": 900})
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-drawn]", state="attached", timeout=120_000)
        drawn = page.evaluate("performance.getEntriesByName('drawn')[0].startTime") / 1000
        page.wait_for_timeout(1500)

        def frames(zoom: int) -> tuple[float, float, float]:
            page.mouse.move(520, 450)
            for _ in range(zoom):
                page.mouse.wheel(0, -240)
                page.wait_for_timeout(700)
            page.evaluate("""() => { window.steps = []; let last = performance.now();
                const step = (now) => { window.steps.push(now - last); last = now;
                  window.going = requestAnimationFrame(step); };
                window.going = requestAnimationFrame(step); }""")
            for _ in range(3):
                page.mouse.move(900, 450)
                page.mouse.down()
                page.mouse.move(180, 400, steps=40)
                page.mouse.up()
            steps = np.array(page.evaluate("cancelAnimationFrame(window.going), window.steps"))
            return tuple(np.percentile(steps, (50, 95, 100)).round(0).tolist())

        far = frames(0)
        filtered = page.evaluate("""() => new Promise((done) => {
            performance.clearMarks('painted');
            const from = performance.now();
            document.querySelectorAll('#legend .switch input')[0].click();
            const look = () => {
              const [mark] = performance.getEntriesByName('painted');
              if (mark) done(mark.startTime - from); else setTimeout(look, 5);
            };
            look(); })""")
        near = frames(3)
        heap = page.evaluate("performance.memory.usedJSHeapSize") / 1e6
        browser.close()
    return {"drawn": drawn, "far": far, "near": near, "filter": filtered, "heap": heap}


def _three(values: tuple[float, float, float]) -> str:
    return " / ".join(f"{value:.0f}" for value in values)


def main() -> None:
    sizes = [int(word) for word in sys.argv[1:]] or [10_000, 100_000, 1_000_000]
    print(
        "| hydrants | page MB | written s | drawn s | pan, all in view ms p50 / p95 / max |"
        " pan, near | filter ms | heap MB | plain MB / s |\n|" + "---|" * 9
    )
    for n in sizes:
        checked, facts, areas = hydrants(n)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "map.html"
            started = time.perf_counter()
            drawn = web_map(
                checked,
                words=WORDS,
                areas=areas,
                facts=facts,
                today=TODAY.date(),
            )
            save_map(drawn, path)
            written = time.perf_counter() - started
            plain = ""
            if n <= PLAIN_MOST:
                started = time.perf_counter()
                plain_map(checked, Path(folder) / "plain.html")
                took = time.perf_counter() - started
                plain = f"{(Path(folder) / 'plain.html').stat().st_size / 1e6:.1f} / {took:.1f}"
            found = in_browser(path)
            print(
                f"| {n:,} | {path.stat().st_size / 1e6:.2f} | {written:.1f} "
                f"| {found['drawn']:.2f} |"
                f" {_three(found['far'])} | {_three(found['near'])} | {found['filter']:.0f} |"
                f" {found['heap']:.0f} | {plain} |",
                flush=True,
            )
            print("; ".join(drawn.told), file=sys.stderr)


if __name__ == "__main__":
    main()
