"""An invented district for the screen, and words for its map."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hydrantgis.deliver.webmap import MapWords

WORDS = MapWords(
    title="Tesselbrook", rule="18 to 36 in", citation="House rule", data_date="2026-08-18",
    cautions=("Have buried utilities located.",),
)  # fmt: skip
OWN = "document.documentElement.dataset.owned=1"
HOSTILE = (
    f'<img src=x onerror="{OWN}">',
    f"`${{{OWN}}}`",
    f"</script><script>{OWN}</script>",
    'O\'Brien said "18 in"',
    r"C:\data\20190221",
    "\u05e9\u05dc\u05d5\u05dd \u202e abc",
    "50 % & more #3/4?",
)
CRS = 3736


def district(n: int, ids=None, **columns) -> gpd.GeoDataFrame:
    """Return hydrants in State Plane feet, one verdict after another."""
    rng = np.random.default_rng(7)
    verdicts = np.array(["inside", "low", "high", "unresolved", "unmeasured", None], dtype=object)
    frame = pd.DataFrame(
        {
            "hydrant_id": ids if ids is not None else [f"TB-{i}" for i in range(n)],
            "verdict": np.resize(verdicts, n),
            "area_id": np.resize(np.array(["A1", "A2", None], dtype=object), n),
            "outlet_height_in": np.round(rng.uniform(10, 40, n), 2),
            "height_sd_in": 0.25,
            "reading_date": pd.Timestamp("2026-09-01") - pd.to_timedelta(np.arange(n) * 9, "D"),
            "window_lo_in": 18.0,
            "window_hi_in": 36.0,
            "bury_ft": 3.5,
            "bury_after_ft": 4.5,
            "remedy": np.resize(np.array(["none", "extend", "lower", "measure"], dtype=object), n),
            "kit_length_in": np.resize([np.nan, 6.0, np.nan, np.nan, np.nan, 12.0], n),
        }
    )
    points = shapely.points(rng.uniform(1_300_000, 1_309_000, n), rng.uniform(250_000, 256_000, n))
    return gpd.GeoDataFrame(frame.assign(**columns), geometry=points, crs=CRS)


def areas(*titles: str) -> gpd.GeoDataFrame:
    """Return areas side by side, named A1, A2 and so on."""
    n = len(titles)
    edges = np.linspace(1_299_900, 1_309_100, n + 1)
    outlines = shapely.box(edges[:-1], 249_900, edges[1:], 256_100)
    return gpd.GeoDataFrame(
        {"area_id": [f"A{k + 1}" for k in range(n)], "area_title": list(titles)},
        geometry=outlines, crs=CRS,
    )  # fmt: skip


def streets(*titles: str) -> gpd.GeoDataFrame:
    lines = [
        shapely.LineString([(1_300_000, 250_000 + 900 * k), (1_309_000, 250_500 + 900 * k)])
        for k in range(len(titles))
    ]
    return gpd.GeoDataFrame(
        {"street_id": [f"S{k}" for k in range(len(titles))], "street_title": list(titles)},
        geometry=lines, crs=CRS,
    )  # fmt: skip
