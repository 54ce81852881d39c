"""
Time and memory of sampling a terrain model: `python -m tests.bench.terrain [SIDE [POINTS]]`.

The model is made anew, SIDE by SIDE cells in tiles, compressed, with ground that is known
everywhere, so that what comes out is told beside what should.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyproj

from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.rasterfile import load_rasterio
from hydrantgis.intake.samples import sample
from hydrantgis.intake.terrain import open_terrain

WEST, NORTH, CRS, TILE = 200_000, 920_000, 26986, 512


def ground(column, row):
    return 50 + 20 * np.sin(column / 300) * np.cos(row / 400)


def make(path: Path, side: int) -> Path:
    """Waves, and 3 cm of noise that makes the cells as hard to pack as real ones."""
    rasterio = load_rasterio()
    rng = np.random.default_rng(1)
    to_ground = rasterio.transform.from_origin(WEST, NORTH, 1, 1)
    with rasterio.open(
        path, "w", driver="GTiff", width=side, height=side, count=1, dtype="float32", crs=CRS,
        transform=to_ground, nodata=-9999, tiled=True, blockxsize=TILE, blockysize=TILE,
        compress="deflate", predictor=3, BIGTIFF="IF_SAFER",
    ) as out:  # fmt: skip
        for top in range(0, side, TILE):
            rows = np.arange(top, min(top + TILE, side))
            z = ground(np.arange(side), rows[:, None])
            z += rng.normal(0, 0.03, z.shape)
            out.write(z.astype("float32"), 1, window=((top, top + len(rows)), (0, side)))
    return path


def main(side: int = 20_000, n: int = 1_000_000) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = make(Path(folder) / "dem.tif", side)
        cells = np.random.default_rng(3).uniform(0, side - 1, (n, 2))
        points = np.column_stack((WEST + cells[:, 0] + 0.5, NORTH - cells[:, 1] - 0.5))
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        start = time.perf_counter()
        terrain = open_terrain([path], unit=LengthUnit.M)
        got = sample(terrain, points, pyproj.CRS(CRS))
        seconds = time.perf_counter() - start
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        off = got.elev_ft * 0.3048 - ground(*cells.T)
        print(f"{n:,} points, {side:,} x {side:,} cells, {path.stat().st_size / 1e6:,.0f} MB")
        print(f"{seconds:.1f} s, peak {peak:,.0f} MB, {before:,.0f} MB of it before")
        print(f"off by {off.std() * 100:.1f} cm (standard deviation), {off.mean() * 100:.2f} mean")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
