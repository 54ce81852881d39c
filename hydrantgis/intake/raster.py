"""
One raster of elevations: what it says of itself, and what of it must be said by the user.

A raster tells its CRS, its cells and mostly its mark for `no value`. The unit of the elevations it
often does not tell, and the unit of its CRS says nothing of it: elevations in metres over a grid in
US survey feet are common. No unit is guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj

from hydrantgis.ground.errors import CRSError, SourceError, UnitError
from hydrantgis.ground.units import METRES, SPELLINGS, LengthUnit
from hydrantgis.intake.rasterfile import need_local_parts, open_dataset, reading
from hydrantgis.intake.systems import horizontal, short, unit_text, user_crs

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

_UNITS = {
    "us survey foot": LengthUnit.FT_US,
    "us survey feet": LengthUnit.FT_US,
    "survey foot": LengthUnit.FT_US,
    "survey feet": LengthUnit.FT_US,
    "foot us": LengthUnit.FT_US,
    "feet us": LengthUnit.FT_US,
    "us foot": LengthUnit.FT_US,
    "us feet": LengthUnit.FT_US,
    "us ft": LengthUnit.FT_US,
    "ft us": LengthUnit.FT_US,
    "international foot": LengthUnit.FT,
    "international feet": LengthUnit.FT,
}


@dataclass(frozen=True, slots=True)
class RasterWords:
    """
    What the user says of a raster; it goes before what the raster says of itself.

    Attributes
    ----------
    unit
        Unit of the elevations.
    crs
        Horizontal CRS, for example `EPSG:2249`.
    vertical_datum
        For example `NAVD88`.
    nodata
        The value that stands for `no value`. [unit of the raster]
    band
        Number of the band that holds the elevations, from 1.
    """

    unit: LengthUnit | None = None
    crs: str | None = None
    vertical_datum: str | None = None
    nodata: float | None = None
    band: int | None = None


@dataclass(frozen=True, slots=True)
class Raster:
    """
    A raster of elevations, not open.

    Attributes
    ----------
    path
        The file.
    crs
        Horizontal CRS.
    unit
        Of the elevations.
    vertical_datum
        As the raster or the user names it; None where nobody does.
    origin
        Coordinates of the corner where rows and columns begin, shape (2,).
    steps
        What a column, and a row, adds to them; a column of this matrix each, shape (2, 2).
    shape, block
        Rows and columns, of the raster and of its blocks.
    band
        The band that holds the elevations.
    nodata
        As the cells hold it, None where none is declared.
    masked
        Whether a mask tells which cells hold a value.
    scale, offset
        An elevation is the number in the cell times `scale` plus `offset`.
    overruled
        What the raster says that the user said otherwise, a sentence each.
    """

    path: Path
    crs: pyproj.CRS
    unit: LengthUnit
    vertical_datum: str | None
    origin: NDArray[np.float64]
    steps: NDArray[np.float64]
    shape: tuple[int, int]
    block: tuple[int, int]
    band: int
    nodata: float | None
    masked: bool
    scale: float
    offset: float
    overruled: tuple[str, ...]

    def elevations(self, raw: NDArray[Any]) -> NDArray[np.float64]:
        """Elevations that the numbers in cells stand for, missing where there is none. [unit]"""
        z = raw.astype(np.float64)
        missing = ~np.isfinite(z)
        if self.nodata is not None:
            missing |= z == self.nodata
        z[missing] = np.nan
        return z if (self.scale, self.offset) == (1.0, 0.0) else z * self.scale + self.offset


def look_at_raster(path: Path, words: RasterWords) -> Raster:
    """
    What a raster says of itself and the user of it; no cell is read.

    Raises
    ------
    UnreadableError
        The file is missing or damaged, or it draws on something that is no file here.
    SourceError
        It has several bands and none is named, or holds no elevations.
    CRSError
        It lies nowhere, or in no CRS that is named.
    UnitError
        The unit of the elevations is not told, or is told in two ways.
    """
    need_local_parts(path)
    with reading() as rasterio, open_dataset(rasterio, path) as dataset:
        band = _band(dataset, words, path.name)
        if dataset.transform.is_identity or dataset.transform.is_degenerate:
            raise CRSError(
                "the raster does not say where its cells lie", where=path.name,
                found="no georeference, or only control points",
                do="warp it to a grid, or put its world file beside it",
            )  # fmt: skip
        wkt = dataset.crs.to_wkt(version="WKT2_2019") if dataset.crs else None
        unit_word = (dataset.units[band - 1] or "").strip()
        dtype = np.dtype(dataset.dtypes[band - 1])
        flags = {str(flag.name) for flag in dataset.mask_flag_enums[band - 1]}
        declared = dataset.nodatavals[band - 1]
        shape, block = dataset.shape, dataset.block_shapes[band - 1]
        a, b, c, d, e, f = dataset.transform[:6]
        scale, offset = dataset.scales[band - 1], dataset.offsets[band - 1]
    named = None if wkt is None else pyproj.CRS.from_wkt(wkt)
    overruled: list[str] = []
    crs = _crs(named, words, path.name, overruled)
    unit, datum = _vertical(named, unit_word, words, crs, path.name, overruled)
    nodata = declared if words.nodata is None else words.nodata
    return Raster(
        path=path, crs=crs, unit=unit, vertical_datum=datum, origin=np.array([c, f]),
        steps=np.array([[a, b], [d, e]]), shape=shape, block=block, band=band,
        nodata=_as_stored(nodata, dtype),
        masked=bool(flags & {"per_dataset", "alpha"}), scale=scale, offset=offset,
        overruled=tuple(overruled),
    )  # fmt: skip


def _band(dataset: Any, words: RasterWords, where: str) -> int:  # noqa: ANN401
    alpha = {i for i, meaning in enumerate(dataset.colorinterp, 1) if meaning.name == "alpha"}
    bands: list[int] = [i for i in dataset.indexes if i not in alpha]
    chosen = words.band if words.band is not None else bands[0] if len(bands) == 1 else None
    if chosen is None or chosen not in bands:
        raise SourceError(
            "the raster has several bands, and none is named"
            if words.band is None
            else "the raster has no such band",
            where=where,
            found=f"{len(bands)} bands" + ("" if words.band is None else f", {words.band} asked"),
            accepted="one band that holds elevations",
            do="say which band",
        )
    kind = dataset.dtypes[chosen - 1]
    if kind.startswith("complex"):
        raise SourceError("the cells hold no elevations", where=where, found=f"{kind} numbers")
    return chosen


def _as_stored(nodata: float | None, dtype: np.dtype[Any]) -> float | None:
    """The mark for `no value` as cells of that type hold it."""
    if nodata is None or np.isnan(nodata) or not np.issubdtype(dtype, np.floating):
        return None if nodata is None or np.isnan(nodata) else float(nodata)
    with np.errstate(over="ignore"):
        return float(dtype.type(nodata))


def _crs(
    named: pyproj.CRS | None, words: RasterWords, where: str, overruled: list[str]
) -> pyproj.CRS:
    """The CRS that says where the cells lie."""
    own = None if named is None else horizontal(named).to_2d()
    said = None if words.crs is None else horizontal(user_crs(words.crs)).to_2d()
    if said is not None:
        if own is not None and own != said:
            overruled.append(f"{short(said)} was taken instead of {short(own)}")
        return said
    if own is not None and (own.is_projected or own.is_geographic):
        return own
    raise CRSError(
        "the raster names no coordinate reference system",
        where=where,
        found="no CRS" if own is None else f"{own.name} ({own.type_name})",
        accepted="a code such as EPSG:2249",
        do="ask whoever made it, and pass --crs CODE",
    )


def _vertical(
    named: pyproj.CRS | None, unit_word: str, words: RasterWords, crs: pyproj.CRS, where: str,
    overruled: list[str],
) -> tuple[LengthUnit, str | None]:  # fmt: skip
    """Unit and datum of the elevations, from the vertical CRS, the band and the user."""
    by_crs, datum = vertical_of(named, where) if named is not None else (None, None)
    by_band = band_unit(unit_word)
    told = {unit for unit in (by_crs, by_band) if unit is not None}
    if words.unit is not None:
        overruled += [f"{words.unit} was taken instead of {u}" for u in sorted(told - {words.unit})]
        unit = words.unit
    elif len(told) == 1:
        unit = told.pop()
    else:
        raise UnitError(
            "the raster tells the unit of its elevations in two ways"
            if told
            else "the raster does not tell the unit of its elevations",
            where=where,
            found=f"{by_crs} in its CRS, {by_band} in its band"
            if told
            else (f"`{unit_word}`; " if unit_word else "")
            + f"its CRS is in {unit_text(crs)}, which says nothing of the elevations",
            accepted="m, ft (international) or ftUS (US survey)",
            do="look in its metadata, and pass --unit elev_ft=UNIT",
        )
    if words.vertical_datum is not None:
        if datum is not None and datum != words.vertical_datum:
            overruled.append(f"{words.vertical_datum} was taken instead of {datum}")
        datum = words.vertical_datum
    return unit, datum


def vertical_of(crs: pyproj.CRS, where: str) -> tuple[LengthUnit | None, str | None]:
    """
    Unit and datum of the heights that a CRS names; None for what it does not.

    Examples
    --------
    >>> vertical_of(pyproj.CRS("EPSG:2249+6360"), "dem.tif")
    (<LengthUnit.FT_US: 'ftUS'>, 'NAVD88')
    >>> vertical_of(pyproj.CRS(2249), "dem.tif")
    (None, None)
    """
    if crs.is_bound and crs.source_crs is not None:
        return vertical_of(crs.source_crs, where)
    if crs.is_compound:
        vertical = crs.sub_crs_list[1]
        axis, datum = vertical.axis_info[0], re.sub(r"\s+(height|depth)\b.*", "", vertical.name)
    elif len(crs.axis_info) == 3:
        axis, datum = crs.axis_info[2], f"ellipsoid of {crs.name}"
    else:
        return None, None
    if axis.direction.lower() != "up":
        raise UnitError(
            "the raster holds depths", where=where, found=crs.name,
            accepted="elevations, counted upward", do="ask for elevations",
        )  # fmt: skip
    near = [u for u, m in METRES.items() if abs(float(m) - axis.unit_conversion_factor) < 1e-8]
    return near[0] if near else None, datum


def band_unit(word: str) -> LengthUnit | None:
    """
    The unit that a band names; None where that is no unit of length.

    Examples
    --------
    >>> band_unit("US survey foot"), band_unit("metre"), band_unit("*")
    (<LengthUnit.FT_US: 'ftUS'>, <LengthUnit.M: 'm'>, None)
    """
    plain = " ".join(re.sub(r"[_().]", " ", word.lower().replace("u.s.", "us")).split())
    return _UNITS.get(plain) or SPELLINGS.get(plain)
