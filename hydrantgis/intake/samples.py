"""
The ground that an elevation model tells at points.

Between the centers of four cells the ground is bilinear. The four may stand in several blocks of
a raster, and in several tiles: all cells that are asked for are gathered by blocks, and each block
is read once.
"""

from __future__ import annotations

from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj

from hydrantgis.ground.errors import UnreadableError
from hydrantgis.ground.findings import CODES, findings, join_findings
from hydrantgis.ground.units import METRES, LengthUnit, factor
from hydrantgis.intake.rasterfile import open_dataset, reading
from hydrantgis.intake.systems import horizontal

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path
    from types import ModuleType

    import pandas as pd
    from numpy.typing import NDArray

    from hydrantgis.intake.raster import Raster
    from hydrantgis.intake.terrain import Terrain

LOWEST_M, HIGHEST_M = -500.0, 9000.0
"""No ground lies lower or higher; such a number is a mark for `no value` that nobody declared."""
ZERO_APART_M = 30.0
"""Where all other ground is higher than this, a cell of exactly 0 is such a mark too."""
WHY = ("ok", "outside", "nodata", "no-location")
"""What became of a point."""

_OK, _OUTSIDE, _NODATA, _NO_LOCATION = range(len(WHY))
_ON_EDGE = 1e-6
"""A point this little outside the outermost centers of cells is on them. [cells]"""
_READ_AT_ONCE = 4 << 20
"""As many cells of a raster kept in rows are read in one go."""
_MOST_OPEN = 32
_DOWN = np.array([0, 0, 1, 1], dtype=np.int32)
_RIGHT = np.array([0, 1, 0, 1], dtype=np.int32)


@dataclass(frozen=True, slots=True)
class TerrainSamples:
    """
    The ground at n points.

    Attributes
    ----------
    elev_ft
        Elevation, missing where `why` is not `ok`; shape (n,). [ft]
    slope
        Rise over run of the ground there, missing likewise; shape (n,).
    why
        One of `WHY`; shape (n,).
    undeclared
        Whether the point fell on a mark for `no value` that nobody declared; shape (n,).
    whole
        Whether every cell that was read holds a whole number of the raster's unit.
    """

    elev_ft: NDArray[np.float64]
    slope: NDArray[np.float64]
    why: NDArray[np.object_]
    undeclared: NDArray[np.bool_]
    whole: bool


def sample(
    terrain: Terrain, points: NDArray[np.float64], crs: pyproj.CRS, *, workers: int = 2
) -> TerrainSamples:
    """
    The ground at points, bilinear between the centers of four cells.

    Parameters
    ----------
    terrain
        The elevation model.
    points
        Shape (n, 2). [CRS]
    crs
        Their CRS.
    workers
        Threads, each of which opens the rasters for itself.

    Returns
    -------
    samples
        In the order of the points. A point has no elevation where one of the four cells holds no
        value, or where there are no four cells round it: outside, and in the outer half of the
        outermost cells.

    Raises
    ------
    UnreadableError
        A raster is damaged.
    """
    xy = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    n = len(xy)
    why = np.full(n, _NO_LOCATION, dtype=np.int8)
    known = np.flatnonzero(np.isfinite(xy).all(axis=1))
    move = pyproj.Transformer.from_crs(horizontal(crs).to_2d(), terrain.crs, always_xy=True)
    with np.errstate(invalid="ignore"):  # what lies outside the projection is infinitely far
        cells = terrain.cells_of(np.column_stack(move.transform(*xy[known].T)))
        cells -= 0.5  # a cell's value stands for its center
        last = np.array(terrain.shape[::-1], dtype=np.float64) - 1
        inside = ((cells >= -_ON_EDGE) & (cells <= last + _ON_EDGE)).all(axis=1) & (last > 0).all()
    why[known] = _OUTSIDE
    at, cells = known[inside], np.clip(cells[inside], 0.0, last)
    corner = np.minimum(np.floor(cells), last - 1).astype(np.int32)
    read = _read(terrain, corner, workers)
    z, covered = read.z, read.covered.all(axis=1)
    zero = _stray_zeros(z, terrain.unit)
    missing = np.isnan(z).any(axis=1) | zero
    why[at] = np.select([~covered, missing], [_OUTSIDE, _NODATA], _OK)
    odd = np.zeros(n, dtype=bool)
    odd[at] = covered & (read.odd.any(axis=1) | zero)
    elev, slope = np.full(n, np.nan), np.full(n, np.nan)
    z[zero] = np.nan
    elev[at], slope[at] = _bilinear_ft(terrain, cells, corner, z)
    return TerrainSamples(elev, slope, np.array(WHY, dtype=object)[why], odd, read.whole)


def _bilinear_ft(
    terrain: Terrain,
    cells: NDArray[np.float64],
    corner: NDArray[np.int32],
    z: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Elevation and slope between four cells, of elevations in the unit of the raster. [ft]"""
    right, down = (cells - corner).T
    z00, z01, z10, z11 = z.T
    upper, lower = z00 + (z01 - z00) * right, z10 + (z11 - z10) * right
    across = lower - upper
    along = (z01 - z00) + ((z11 - z10) - (z01 - z00)) * down
    # the rise to the next column and row is that of the slope over the way there on the ground
    xc, yc, xr, yr = terrain.step_ft(cells + 0.5)
    rise = np.hypot(along * yr - across * yc, across * xc - along * xr)
    to_ft = factor(terrain.unit, LengthUnit.FT)
    return (upper + across * down) * to_ft, rise / np.abs(xc * yr - xr * yc) * to_ft


def _stray_zeros(z: NDArray[np.float64], unit: LengthUnit) -> NDArray[np.bool_]:
    """Where one of the four cells is exactly 0 and all other ground is far higher, shape (n,)."""
    zero: NDArray[np.bool_] = (z == 0).any(axis=1)
    rest = z[~zero & np.isfinite(z).all(axis=1)] if zero.any() else z[:0]
    if len(rest) and np.quantile(rest, 0.01) * float(METRES[unit]) > ZERO_APART_M:
        return zero
    return np.zeros(len(z), dtype=bool)


@dataclass(slots=True)
class _Cells:
    """
    What stands in four cells a point, filled in block by block.

    Attributes
    ----------
    z
        Missing where there is none, shape (n, 4). [unit of the raster]
    covered
        Whether the cell lies in a tile, shape (n, 4).
    odd
        Whether it holds an impossible number, shape (n, 4).
    whole
        Whether there are numbers, and all are whole.
    """

    z: NDArray[np.float64]
    covered: NDArray[np.bool_]
    odd: NDArray[np.bool_]
    whole: bool


def _read(terrain: Terrain, corner: NDArray[np.int32], workers: int) -> _Cells:
    """The four cells of which the first stands in that column and row."""
    n = len(corner)
    row, column = (corner[:, 1, None] + _DOWN).ravel(), (corner[:, 0, None] + _RIGHT).ravel()
    read = (np.full(4 * n, np.nan), np.zeros(4 * n, dtype=bool), np.zeros(4 * n, dtype=bool))
    steps = _block(terrain.tiles[0])
    down = _groups(terrain.rows, terrain.shape[0], steps[0])
    across = _groups(terrain.columns, terrain.shape[1], steps[1])
    each = int(across[-1]) + 1
    # numbers of two bytes are sorted ten times as fast
    block = (down[row] * each + across[column]).astype(np.min_scalar_type(each * int(down[-1] + 1)))
    order = np.argsort(block, kind="stable")
    starts = np.flatnonzero(np.diff(block[order])) + 1
    groups = np.split(order, starts) if n else []
    share = max(1, -(-len(groups) // max(workers, 1)))
    parts = [groups[i : i + share] for i in range(0, len(groups), share)]
    work = partial(_read_groups, terrain, row, column, read)
    with ThreadPoolExecutor(max(len(parts), 1)) as pool:
        whole = list(pool.map(work, parts))
    z = read[0].reshape(n, 4)
    some = bool(np.isfinite(z).any())
    return _Cells(z, read[1].reshape(n, 4), read[2].reshape(n, 4), some and all(whole))


def _groups(begin: NDArray[np.int64], size: int, step: int) -> NDArray[np.int64]:
    """Which block each row, or column, of the grid belongs to; blocks begin where tiles do."""
    starts = np.unique(begin)
    spans = zip(starts, [*starts[1:], size], strict=True)
    edges = np.concatenate([np.arange(first, end, step) for first, end in spans])
    return np.searchsorted(edges, np.arange(size), side="right") - 1


def _block(tile: Raster) -> tuple[int, int]:
    """Rows and columns to read at once: whole blocks, not too small and not too large ones."""
    rows, columns = tile.block
    if columns >= tile.shape[1]:
        return max(rows, _READ_AT_ONCE // columns // rows * rows), columns
    return rows * max(1, 512 // rows), columns * max(1, 512 // columns)


def _read_groups(
    terrain: Terrain,
    row: NDArray[np.int32],
    column: NDArray[np.int32],
    read: tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.bool_]],
    groups: Iterable[NDArray[np.intp]],
) -> bool:
    """Fill in groups of cells, each read in one window a tile; whether all numbers are whole."""
    z, covered, odd = read
    begin = np.column_stack((terrain.rows, terrain.columns))
    end = begin + np.array([tile.shape for tile in terrain.tiles])
    to_m = float(METRES[terrain.unit])
    whole = True
    with reading() as rasterio, _Open(rasterio) as opened:
        for group in groups:
            cells = np.column_stack((row[group], column[group]))
            low, high = cells.min(axis=0), cells.max(axis=0) + 1
            for k in np.flatnonzero(((begin < high) & (end > low)).all(axis=1)):
                top, bottom = np.maximum(low, begin[k]), np.minimum(high, end[k])
                here = ((cells >= top) & (cells < bottom)).all(axis=1) & np.isnan(z[group])
                if not here.any():
                    continue
                values = opened.window(terrain.tiles[k], top - begin[k], bottom - begin[k])
                at = group[here]
                found = terrain.tiles[k].elevations(values[tuple((cells[here] - top).T)])
                strange = (found * to_m < LOWEST_M) | (found * to_m > HIGHEST_M)
                z[at] = np.where(strange, np.nan, found)
                odd[at] |= strange
                covered[at] = True
                whole = whole and bool((np.isnan(found) | (found == np.round(found))).all())
    return whole


class _Open:
    """The rasters that one thread holds open, the ones used last."""

    def __init__(self, rasterio: ModuleType) -> None:
        self.rasterio = rasterio
        self.datasets: OrderedDict[Path, Any] = OrderedDict()

    def __enter__(self) -> _Open:
        return self

    def __exit__(self, *error: object) -> None:
        for dataset in self.datasets.values():
            dataset.close()

    def window(
        self, tile: Raster, top: NDArray[np.int64], bottom: NDArray[np.int64]
    ) -> NDArray[Any]:
        """The numbers in the cells from row and column `top` to before `bottom`."""
        if tile.path not in self.datasets:
            if len(self.datasets) >= _MOST_OPEN:
                self.datasets.popitem(last=False)[1].close()
            self.datasets[tile.path] = open_dataset(self.rasterio, tile.path)
        self.datasets.move_to_end(tile.path)
        dataset = self.datasets[tile.path]
        window = ((int(top[0]), int(bottom[0])), (int(top[1]), int(bottom[1])))
        try:
            values: NDArray[Any] = dataset.read(tile.band, window=window)
            if tile.masked:
                valid = dataset.read_masks(tile.band, window=window) > 0
                values = np.where(valid, values.astype(np.float64), np.nan)
        except self.rasterio.errors.RasterioError as error:
            raise UnreadableError(
                "the raster is damaged, or a part of it is missing",
                where=tile.path.name,
                found=" ".join(str(error.__cause__ or error).split()),
                do="ask for the file again",
            ) from error
        return values


def sample_findings(
    terrain: Terrain,
    samples: TerrainSamples,
    keys: NDArray[np.object_],
    *,
    table: str = "hydrants",
) -> pd.DataFrame:
    """
    Points at which the terrain tells no ground.

    Parameters
    ----------
    terrain, samples
        The elevation model and what was read of it.
    keys
        Ids of the points, shape (n,).
    table
        The table that they stand in.
    """
    undeclared = samples.undeclared
    where = {
        "terrain-outside": samples.why == "outside",
        "terrain-nodata": (samples.why == "nodata") & ~undeclared,
        "terrain-nodata-undeclared": undeclared,
    }
    ids = np.asarray(keys, dtype=object)
    return join_findings(
        *(
            findings(
                code,
                table=table,
                keys=ids[rows],
                column="grade_elev_ft",
                messages=f"{CODES[code].meaning}: {terrain.name}",
            )
            for code, rows in where.items()
            if rows.any()
        )
    )
