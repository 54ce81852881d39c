"""
An invented district of any size: hydrants, four ground shots at each, readings, areas, standards.

Hydrants stand in neighborhoods: a bent block pattern of its own pitch and turn for each, open land
between them. The four shots of a hydrant lie on a cross with the barrel in its middle, so that the
mean of their elevations is the elevation that a fitted plane has at the barrel.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

if TYPE_CHECKING:
    from pathlib import Path

Array = NDArray[np.float64]

CRS = "EPSG:2264"
"""A State Plane zone in US survey feet; the land is invented."""
MIDDLE_FT = (2_000_000.0, 500_000.0)
CELL_FT = 10_500.0
"""Side of the square that a neighborhood lies in; the largest neighborhood fills most of it."""
AREA_CELLS = 2
"""An area is a square of so many cells a side."""
SHOT_RADIUS_FT = 25.0

WINDOW_IN, FLANGE_IN = (18.0, 36.0), (1.0, 9.0)
KIT_LENGTHS_IN = {
    "Alder": (6, 12, 18, 24, 30, 36, 42, 48),
    "Birch": (4, 8, 12, 16, 20, 24, 28, 32),
    "Cedar": (3, 6, 9, 12, 18, 24, 30, 36),
}
METHOD_SD_IN = {
    "tape": 0.25,
    "level": 0.02 * 2**0.5 * 12,
    "gnss": 2.0 * 2**0.5 / 2.54,
    "eye": 3.0 / 3**0.5,
}
"""Standard uncertainty of a height by method, as the table of methods states it. [in]"""
SHOT_SD_FT = 0.02

RULE_TOML = f"""\
format = 1
rule_id = "bench"
title = "Bench rule (invented)"
outlet = "hose"
point = "centerline"
datum = "grade"
[window]
lo_in = {WINDOW_IN[0]}
hi_in = {WINDOW_IN[1]}
[flange]
lo_in = {FLANGE_IN[0]}
hi_in = {FLANGE_IN[1]}
[citation]
document = "Bench rule (invented)"
edition = "1"
clause = "1"
address = "tests/bench/district.py"
read_on = 2026-01-01
how_read = "seen"
words = 'center of a hose outlet 18 to 36 in above final grade; flange 1 to 9 in above it'
"""
KITS_TOML = """\
format = 1
catalogue_id = "bench"
title = "Bench kits (invented)"
source = "invented"
read_on = 2026-01-01
""" + "".join(
    f'[[family]]\nname = "{name}"\nkit_prefix = "{name}"\nlengths_in = {list(lengths)}\n'
    for name, lengths in KIT_LENGTHS_IN.items()
)


class Files(NamedTuple):
    """Where everything of one run lies."""

    layers: Path
    readings: Path
    rule: Path
    kits: Path
    register: Path
    checked: Path
    plain: Path
    floor: Path
    csv: Path
    csv_register: Path

    @classmethod
    def of(cls, folder: Path) -> Files:
        names = (
            "layers.gpkg", "readings.csv", "bench.toml", "kits.toml", "register.gpkg",
            "checked.gpkg", "plain.gpkg", "floor.gpkg", "hydrants.csv", "register_csv.gpkg",
        )  # fmt: skip
        return cls(*(folder / name for name in names))


def _stand(n: int, rng: np.random.Generator) -> tuple[Array, Array, int]:
    """Where n hydrants stand, and how many cells a side the district has."""
    sizes: list[int] = []
    while sum(sizes) < n:
        sizes.append(int(np.clip(rng.lognormal(4.7, 0.7), 20, 400)))
    sizes[-1] -= sum(sizes) - n
    side = int(np.ceil(np.sqrt(1.3 * len(sizes))))  # about a quarter of the cells stay open land
    cells = rng.permutation(side * side)[: len(sizes)]

    reach = np.arange(-12, 13)
    steps = np.stack(np.meshgrid(reach, reach), axis=-1).reshape(-1, 2).astype(np.float64)
    steps = steps[np.argsort(np.hypot(steps[:, 0], steps[:, 1] * 0.8), kind="stable")]
    place = np.concatenate([np.arange(size) for size in sizes])
    hood = np.repeat(np.arange(len(sizes)), sizes)
    pitch = rng.uniform(280, 440, len(sizes))[hood]
    turn = rng.uniform(0, np.pi / 2, len(sizes))[hood]
    u = steps[place, 0] * pitch + rng.uniform(-60, 60, n)
    v = steps[place, 1] * pitch * 0.8 + rng.uniform(-60, 60, n)
    start = -side * CELL_FT / 2
    x = MIDDLE_FT[0] + start + (cells[hood] % side + 0.5) * CELL_FT
    y = MIDDLE_FT[1] + start + (cells[hood] // side + 0.5) * CELL_FT
    x = x + u * np.cos(turn) - v * np.sin(turn)
    y = y + u * np.sin(turn) + v * np.cos(turn)
    return x.round(2), y.round(2), side


def _shots(x: Array, y: Array, rng: np.random.Generator) -> tuple[gpd.GeoDataFrame, Array]:
    """Four ground shots a hydrant, and the mean of their elevations. [ft]"""
    n = len(x)
    turn = rng.uniform(0, 2 * np.pi, n)
    near, far = rng.uniform(8, 14, n), rng.uniform(10, 20, n)
    a = np.column_stack([near * np.cos(turn), near * np.sin(turn)]).round(2)
    b = np.column_stack([-far * np.sin(turn), far * np.cos(turn)]).round(2)
    off = np.stack([a, -a, b, -b], axis=1)
    ground = (600 + 40 * np.sin(x / 9000) + 25 * np.cos(y / 7000)).round(2)
    slope = rng.normal(0, 0.012, (n, 2)).clip(-0.04, 0.04)
    # on the plane but for a hundredth of a foot, as it is written down in the field
    elev = (ground[:, None] + (off * slope[:, None, :]).sum(axis=2)).round(2)
    number = pd.Series(np.arange(1, 4 * n + 1))
    frame = gpd.GeoDataFrame(
        {
            "shot_id": "S-" + number.astype("str").str.zfill(8),
            "description": "GND",
            "elev_ft": elev.ravel(),
            "vertical_datum": "NAVD88",
            "shot_date": np.datetime64("2026-05-04", "ms"),
        },
        geometry=gpd.points_from_xy(
            (x[:, None] + off[:, :, 0]).ravel(), (y[:, None] + off[:, :, 1]).ravel(), crs=CRS
        ),
    )
    return frame.sample(frac=1, random_state=rng), elev.mean(axis=1)


def _hydrants(x: Array, y: Array, rng: np.random.Generator) -> gpd.GeoDataFrame:
    n = len(x)
    number = pd.Series(np.arange(1, n + 1))
    installed = np.where(rng.random(n) < 0.08, rng.choice([6.0, 12.0], n), 0.0)
    street = pd.Series(rng.integers(1, 900, n)).astype("str")
    days = rng.integers(0, 20_000, n).astype("timedelta64[D]")
    return gpd.GeoDataFrame(
        {
            "hydrant_id": "H-" + number.astype("str").str.zfill(7),
            "address": (number % 9000).astype("str") + " Row " + street,
            "family": rng.choice(list(KIT_LENGTHS_IN), n),
            "barrel": rng.choice(np.array(["dry", "wet", None], object), n, p=[0.97, 0.02, 0.01]),
            "status": np.where(rng.random(n) < 0.01, "retired", "in_service"),
            "owner": "Bench Water District",
            "hose_outlet_in": 2.5,
            "pumper_outlet_in": 4.5,
            "main_valve_in": rng.choice([4.5, 5.25], n),
            "bury_ft": rng.choice([3.5, 4.0, 4.5, 5.0], n),
            "installed_extension_in": installed,
            "install_date": (np.datetime64("1965-01-01") + days).astype("datetime64[ms]"),
        },
        geometry=gpd.points_from_xy(x, y, crs=CRS),
    )


def _readings(
    hydrants: gpd.GeoDataFrame, grade_ft: Array, rng: np.random.Generator
) -> pd.DataFrame:
    """
    What was measured: heights told directly, or outlet elevations to be set against the shots.

    One hydrant in twelve was never measured; one in ten was measured before at another height,
    some of these with a tape before somebody only looked.
    """
    n = len(hydrants)
    flange = rng.uniform(2, 6, n)
    buried = np.select(
        [(pick := rng.random(n)) < 0.7, pick < 0.95],
        [rng.normal(0, 1, n), rng.uniform(0, 24, n)],
        rng.uniform(-24, 0, n),
    )
    # nobody has to be measured twice: no outlet stands lower than 3.5 in
    buried = np.minimum(buried, flange + 11.0)
    outlet = flange + rng.choice([15.0, 16.5, 18.0, 20.0], n) - buried
    shot = rng.random(n) < 0.3
    direct = rng.choice(["tape", "level", "eye"], n, p=[0.75, 0.1, 0.15])
    seen = rng.random(n) < 0.6
    ago = rng.integers(0, 400, n).astype("timedelta64[D]")
    new = pd.DataFrame(
        {
            "hydrant_id": hydrants["hydrant_id"],
            "reading_date": np.datetime64("2026-06-01") - ago,
            "method": np.where(shot, rng.choice(["level", "gnss"], n), direct),
            "measured_to": "hose-centerline",
            "measured_from": "grade",
            "outlet_height_in": np.where(shot, np.nan, (outlet * 4).round() / 4),
            "outlet_elev_ft": np.where(shot, (grade_ft + outlet / 12).round(2), np.nan),
            "vertical_datum": np.where(shot, "NAVD88", None),
            "flange_height_in": np.where(seen, ((flange - buried) * 4).round() / 4, np.nan),
        }
    )[rng.random(n) >= 1 / 12]
    old = new[new["outlet_height_in"].notna()].sample(frac=0.14, random_state=rng)
    old = old.assign(
        reading_date=old["reading_date"] - np.timedelta64(1000, "D"),
        method=np.where(rng.random(len(old)) < 0.5, "tape", old["method"]),
        outlet_height_in=old["outlet_height_in"] + 1.5,
    )
    return pd.concat([new, old]).sample(frac=1, random_state=rng)


def make(folder: Path, n: int, seed: int = 1) -> Files:
    """
    Write the sources and standards of a district of n hydrants.

    Parameters
    ----------
    folder
        Where to; it is there.
    n, seed
        The same two give the same rows.
    """
    rng = np.random.default_rng(seed)
    files = Files.of(folder)
    x, y, side = _stand(n, rng)
    hydrants = _hydrants(x, y, rng)
    shots, grade_ft = _shots(x, y, rng)
    readings = _readings(hydrants, grade_ft, rng)
    # edges lie between the hundredths that coordinates are given to: no hydrant stands on one
    edge = AREA_CELLS * CELL_FT
    count = -(-side // AREA_CELLS)
    west = MIDDLE_FT[0] - side * CELL_FT / 2 - 0.005 + edge * np.arange(count)
    south = MIDDLE_FT[1] - side * CELL_FT / 2 - 0.005 + edge * np.arange(count)
    w, s = (values.ravel() for values in np.meshgrid(west, south))
    names = "A" + pd.Series(np.arange(1, len(w) + 1)).astype("str").str.zfill(4)
    areas = gpd.GeoDataFrame(
        {"area_id": names, "area_title": "Area " + names},
        geometry=shapely.box(w, s, w + edge, s + edge), crs=CRS,
    )  # fmt: skip
    for layer, frame in (("hydrants", hydrants), ("shots", shots), ("areas", areas)):
        frame.to_file(files.layers, layer=layer, driver="GPKG", use_arrow=True)
    readings.to_csv(files.readings, index=False)
    table = pd.DataFrame(hydrants.drop(columns="geometry"))
    table.assign(x=hydrants.geometry.x, y=hydrants.geometry.y).to_csv(files.csv, index=False)
    files.rule.write_text(RULE_TOML, encoding="utf-8")
    files.kits.write_text(KITS_TOML, encoding="utf-8")
    return files
