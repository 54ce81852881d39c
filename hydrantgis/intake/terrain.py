"""
Digital elevation models: one raster, or tiles of one grid, and where their cells lie.

References
----------
.. [1] Snyder, J. P., Map Projections - A Working Manual, USGS PP 1395 (1987), p. 24-25: lengths of
   a degree of latitude and of longitude on the ellipsoid (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj

from hydrantgis.ground.errors import CRSError, SourceError, UnitError, WordsError
from hydrantgis.ground.findings import findings, join_findings
from hydrantgis.ground.plane import measures_true
from hydrantgis.ground.units import METRES, LengthUnit, factor
from hydrantgis.intake.raster import RasterWords, look_at_raster
from hydrantgis.intake.systems import short

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import pandas as pd
    from numpy.typing import NDArray

    from hydrantgis.intake.raster import Raster

COARSE_FT = 10.0 / 0.3048
"""Cells larger than 10 m smooth over what stands round a hydrant: common practice, no source."""

_FT = float(METRES[LengthUnit.FT])
_ON_GRID = 0.02
"""Tiles are of one grid where their corners lie this near to corners of its cells. [cells]"""


@dataclass(frozen=True, slots=True)
class Terrain:
    """
    An elevation model of one or more rasters on one grid.

    Attributes
    ----------
    tiles
        The rasters; where they overlap the first that holds a value is taken.
    rows, columns
        Of each tile: where it begins in the grid, shape (tiles,).
    shape
        Rows and columns of the grid.
    rmse_z_ft
        Vertical accuracy as its maker states it; None where nobody does. [ft]
    """

    tiles: tuple[Raster, ...]
    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    shape: tuple[int, int]

    @property
    def crs(self) -> pyproj.CRS:
        """Horizontal CRS of all tiles."""
        return self.tiles[0].crs

    @property
    def unit(self) -> LengthUnit:
        """Unit of the elevations in the files; what is sampled is in feet."""
        return self.tiles[0].unit

    @property
    def vertical_datum(self) -> str | None:
        """Vertical datum of the elevations, None where neither file nor user names it."""
        return self.tiles[0].vertical_datum

    @property
    def name(self) -> str:
        """How messages call it."""
        more = len(self.tiles) - 1
        return self.tiles[0].path.name + (f" and {more:,} more" if more else "")

    @property
    def cell_ft(self) -> float:
        """Side of a square as large as the cell in the middle of the first tile. [ft]"""
        rows, columns = self.tiles[0].shape
        middle = [[columns / 2 + self.columns[0], rows / 2 + self.rows[0]]]
        xc, yc, xr, yr = self.step_ft(np.array(middle))
        return float(np.sqrt(np.abs(xc * yr - xr * yc)).item())

    def cells_of(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Column and row of coordinates, from the corner of the grid, shape (n, 2). [cells]"""
        cells = _cells(self.tiles[0], xy)
        cells += np.array([self.columns[0], self.rows[0]])
        return cells

    def coordinates_of(self, cells: NDArray[np.float64]) -> NDArray[np.float64]:
        """Coordinates of columns and rows, shape (n, 2). [CRS]"""
        first = self.tiles[0]
        away = cells - np.array([self.columns[0], self.rows[0]])
        return np.asarray(away @ first.steps.T + first.origin, dtype=np.float64)

    def step_ft(self, cells: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
        """
        How far east and north the next column lies, and the next row, shape (n,) each. [ft]

        Degrees, and the grid of a map that stretches, are measured on the ellipsoid [1]_.
        """
        if measures_true(self.crs):
            scale = self.crs.axis_info[0].unit_conversion_factor / _FT
            steps = self.tiles[0].steps.T.ravel() * scale
            return tuple(np.broadcast_to(step, len(cells)) for step in steps)
        ellipsoid = self.crs.ellipsoid
        if ellipsoid is None:
            raise CRSError("the CRS of the terrain rests on no ellipsoid", where=self.name)
        a, b = ellipsoid.semi_major_metre, ellipsoid.semi_minor_metre
        e2 = 1 - (b / a) ** 2
        lon, lat = _radians(self.crs, self.coordinates_of(cells))
        under = 1 - e2 * np.sin(lat) ** 2
        east = a / np.sqrt(under) * np.cos(lat) / _FT
        north = a * (1 - e2) / under**1.5 / _FT
        lengths: list[NDArray[np.float64]] = []
        for step in ((1.0, 0.0), (0.0, 1.0)):
            to_lon, to_lat = _radians(self.crs, self.coordinates_of(cells + step))
            lengths.append((np.mod(to_lon - lon + np.pi, 2 * np.pi) - np.pi) * east)
            lengths.append((to_lat - lat) * north)
        return tuple(lengths)


def open_terrain(
    paths: Sequence[Path],
    *,
    unit: LengthUnit | None = None,
    crs: str | None = None,
    vertical_datum: str | None = None,
    nodata: float | None = None,
    band: int | None = None,
) -> Terrain:
    """
    Look at an elevation model; no cell is read.

    Parameters
    ----------
    paths
        One raster, a VRT, or tiles of one grid.
    unit, crs, vertical_datum, nodata, band
        As `hydrantgis.intake.raster.RasterWords`, for all tiles.

    Raises
    ------
    UnreadableError, CRSError, UnitError
        As `hydrantgis.intake.raster.look_at_raster`; CRS, unit or datum differ among the tiles.
    SourceError
        The tiles do not lie on one grid.
    WordsError
        No path.
    """
    if not paths:
        raise WordsError("no raster is named", do="name one, or several tiles")
    words = RasterWords(unit, crs, vertical_datum, nodata, band)
    tiles = tuple(look_at_raster(path, words) for path in paths)
    _need_alike(tiles)
    corners = np.stack([_corners(tiles[0], tile) for tile in tiles])
    off = np.abs(corners - np.round(corners)).max(axis=(1, 2))
    if (off > _ON_GRID).any():
        worst = tiles[int(np.argmax(off))]
        raise SourceError(
            "the tiles do not lie on one grid",
            where=worst.path.name,
            found=f"its cells do not lie on those of {tiles[0].path.name}",
            accepted="tiles with cells of one size, side by side or one over the other",
            do="make one raster of them",
        )
    begin = np.round(corners[:, 0]).astype(np.int64)
    size = np.array([tile.shape[::-1] for tile in tiles])
    columns, rows = (begin - begin.min(axis=0)).T
    width, height = (begin + size).max(axis=0) - begin.min(axis=0)
    return Terrain(tiles, rows, columns, (int(height), int(width)))


def _corners(first: Raster, tile: Raster) -> NDArray[np.float64]:
    """Three corners of a tile, in columns and rows of the first one, shape (3, 2)."""
    rows, columns = tile.shape
    xy = np.array([[0, 0], [columns, 0], [0, rows]]) @ tile.steps.T + tile.origin
    return _cells(first, xy)


def _cells(tile: Raster, xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Column and row of coordinates in a tile, shape (n, 2). [cells]"""
    return np.asarray(np.linalg.solve(tile.steps, (xy - tile.origin).T).T, dtype=np.float64)


def _need_alike(tiles: tuple[Raster, ...]) -> None:
    """Refuse tiles of several CRS, units or vertical datums."""
    first = tiles[0]
    for tile in tiles[1:]:
        where = f"{first.path.name}, {tile.path.name}"
        if tile.crs != first.crs:
            raise CRSError(
                "the tiles are in two coordinate reference systems", where=where,
                found=f"{short(first.crs)}, {short(tile.crs)}", do="warp them to one",
            )  # fmt: skip
        heights = [(t.unit.value, t.vertical_datum or "no datum named") for t in (first, tile)]
        if heights[0] != heights[1]:
            raise UnitError(
                "the tiles tell elevations in two ways", where=where,
                found="; ".join(" ".join(told) for told in heights),
                do="bring them to one unit and one vertical datum",
            )  # fmt: skip


def _radians(
    crs: pyproj.CRS, xy: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Longitude and latitude. [rad]"""
    degrees = crs if crs.is_geographic else crs.geodetic_crs
    if degrees is None:
        raise CRSError("the CRS of the terrain has no latitude", found=crs.name)
    lon, lat = xy.T
    if not crs.is_geographic:
        lon, lat = pyproj.Transformer.from_crs(crs, degrees, always_xy=True).transform(lon, lat)
    scale = degrees.axis_info[0].unit_conversion_factor
    return lon * scale, lat * scale


def terrain_findings(terrain: Terrain, *, whole: bool = False) -> pd.DataFrame:
    """
    What was noticed of the elevation model itself.

    Parameters
    ----------
    terrain
        The elevation model.
    whole
        Whether every elevation that was read is a whole number, as `TerrainSamples` tells.

    Returns
    -------
    findings
        See `hydrantgis.ground.findings`; the key is the name of the file.
    """
    unit = terrain.unit
    coarse: list[str] = []
    if terrain.cell_ft > COARSE_FT:
        coarse.append(f"its cells are {terrain.cell_ft:.0f} ft wide")
    if whole and factor(unit, LengthUnit.FT) >= 1:
        coarse.append(f"its elevations are whole numbers of {unit}")
    told = [("terrain-too-coarse", text) for text in coarse]
    spoken = {text for tile in terrain.tiles for text in tile.overruled}
    told += [("terrain-overruled", text) for text in sorted(spoken)]
    return join_findings(
        *(
            findings(code, table="terrain", keys=[terrain.name], messages=text)
            for code, text in told
        )
    )
