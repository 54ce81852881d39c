"""
Coordinates that stand among the fields, held against the points: do both tell one place?

Two tellings of one place are the only proof from within that a layer lies where it says: a wrong
datum or foot moves points by feet, which no area of use can notice.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import pyproj
import shapely

from hydrantgis.ground.errors import some
from hydrantgis.ground.findings import findings, join_findings, no_findings
from hydrantgis.ground.plane import plane_ft, xy
from hydrantgis.ground.text import fill
from hydrantgis.ground.units import METRES, LengthUnit
from hydrantgis.intake.fits import can_be_degrees, candidates
from hydrantgis.intake.place import POINT_NAMES
from hydrantgis.intake.systems import horizontal, short, to_degrees

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

AGREE_FT = 3.0
"""Both tellings agree where half of the rows lie no farther apart than this, beside rounding."""

ROW_FT = 10.0
"""A row that lies farther from its own coordinates than this is told, beside rounding."""

_FT_PER_M = float(1 / METRES[LengthUnit.FT])
_FT_PER_DEGREE = 365_000.0
_LEAST_SHARE_READ = 0.5
_MOST_TRIED = 2000
_MOST_SYSTEMS = 8
_MOST_DECIMALS = 9
_FIRST_IDS = 5
_MUCH_NEARER = 0.5

_WORDS = tuple((x.replace("_", ""), y.replace("_", "")) for x, y in POINT_NAMES if x != "e")
"""Words for x and y, as one word of a field's name; a lone letter that is no x says too little."""


class Pair(NamedTuple):
    """Two fields that hold the coordinates of a row."""

    x: str
    y: str


@dataclass(frozen=True, slots=True)
class Fit:
    """
    How far attribute coordinates lie from the points, read in one system. [ft]

    Attributes
    ----------
    system
        Code and, where it is not plain, how it was read.
    median_ft, p95_ft, greatest_ft
        Of the distances of all rows that have both.
    rounding_ft
        How far the decimals written down may lie off.
    known_to_ft
        Accuracy that PROJ states of the datum shift; None where it states none, 0 without a shift.
    distances_ft
        One a row, not a number where a row lacks either, shape (n,).
    """

    system: str
    median_ft: float
    p95_ft: float
    greatest_ft: float
    rounding_ft: float
    known_to_ft: float | None
    distances_ft: NDArray[np.float64]

    @property
    def fits(self) -> bool:
        """Half of the rows lie as near as the decimals allow."""
        return self.median_ft <= AGREE_FT + self.rounding_ft

    @property
    def may_fit(self) -> bool:
        """Half of the rows lie as near as decimals and what is known of the datum shift allow."""
        return self.median_ft <= AGREE_FT + self.rounding_ft + (self.known_to_ft or 0.0)

    @property
    def astray(self) -> NDArray[np.bool_]:
        """Rows that lie far from their own coordinates, shape (n,)."""
        shift = 0.0 if self.fits else self.known_to_ft or 0.0
        rows: NDArray[np.bool_] = self.distances_ft > ROW_FT + self.rounding_ft + shift
        return rows


@dataclass(frozen=True, slots=True)
class Disagreement:
    """
    What came of holding attribute coordinates against points.

    Attributes
    ----------
    plain
        The attributes read as they stand: in the layer's CRS, or as degrees of WGS 84.
    best
        The reading that lies nearest.
    """

    plain: Fit
    best: Fit

    @property
    def agrees(self) -> bool:
        """Points and attributes tell one place, read as they stand."""
        return self.plain.fits


def coordinate_pairs(fields: pd.DataFrame | list[str]) -> list[Pair]:
    """
    Pairs of fields whose names say that they hold coordinates.

    Examples
    --------
    >>> coordinate_pairs(["HYD_NO", "POINT_X", "POINT_Y", "GPS_Lat", "GPS_Long", "XCOORD"])
    [Pair(x='POINT_X', y='POINT_Y'), Pair(x='GPS_Long', y='GPS_Lat')]
    >>> coordinate_pairs(["Easting", "Northing", "EAST_ST", "FLOW_X_HR"])
    [Pair(x='Easting', y='Northing')]
    """
    names = [str(name) for name in fields]
    by_words: dict[tuple[str, ...], str] = {}
    for name in names:
        by_words.setdefault(_words(name), name)
    partner = dict(_WORDS)
    found: dict[Pair, None] = {}
    for words, name in by_words.items():
        # one word of the name makes it an x, or all of them do: X_LONG beside Y_LAT
        others = [
            (*words[:i], y, *words[i + 1 :])
            for x, y in _WORDS
            for i, word in enumerate(words)
            if word == x
        ]
        if len(words) > 1 and all(word in partner for word in words):
            others.append(tuple(partner[word] for word in words))
        for other in others:
            if other in by_words:
                found[Pair(name, by_words[other])] = None
    return list(found)


def _words(name: str) -> tuple[str, ...]:
    """The words of a name: POINT_X, PointX and point x are alike."""
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Za-z])(?=\d)", " ", name)
    return tuple(re.findall(r"[a-z]+|\d+", apart.lower()))


def numbers_of(column: pd.Series) -> NDArray[np.float64]:
    """
    Numbers of a field, also of one that holds them as text; 0 stands for none, shape (n,).

    Examples
    --------
    >>> numbers_of(pd.Series([" 42.37 ", "0", "n/a", None]))
    array([42.37,   nan,   nan,   nan])
    """
    if not pd.api.types.is_numeric_dtype(column.dtype):
        column = column.astype("str").str.strip()
    values = np.array(pd.to_numeric(column, errors="coerce"), dtype=np.float64)
    values[~np.isfinite(values) | (values == 0)] = np.nan
    return values


def disagreement(
    xs: NDArray[np.float64], ys: NDArray[np.float64], shapes: gpd.GeoSeries, crs: pyproj.CRS
) -> Disagreement | None:
    """
    Hold attribute coordinates against points, and find the system in which they lie nearest.

    Tried are the layer's own CRS, degrees of WGS 84, NAD83 and NAD27 or the systems that the
    numbers can be in near the points, and each with x and y swapped. Distances are true.

    Parameters
    ----------
    xs, ys
        Attribute coordinates, not a number where a row has none, shape (n,).
    shapes
        Points, or shapes that stand for the point within them, shape (n,). [crs]
    crs
        Their CRS.

    Returns
    -------
    result
        None where no row has both.

    Examples
    --------
    >>> import geopandas as gpd
    >>> points = gpd.GeoSeries.from_xy([760_000.0, 761_000.0], [2_950_000.0, 2_951_000.0])
    >>> result = disagreement(np.array([760_000.0, 761_000.0]), np.array([2_950_050.0, 2_951_050]),
    ...                       points, pyproj.CRS(2249))
    >>> result.agrees, round(result.plain.median_ft, 3)
    (False, 50.0)
    """
    flat = horizontal(crs)
    points, told = _points(shapes), np.column_stack((xs, ys)).astype(np.float64)
    both = np.flatnonzero(np.isfinite(points).all(axis=1) & np.isfinite(told).all(axis=1))
    if not len(both):
        return None
    some_rows = both[:: max(1, len(both) // _MOST_TRIED)]
    tried = _readings(told[some_rows], points[some_rows], flat)
    degrees = can_be_degrees(told[some_rows])
    # as it stands: what a reader of the table would take it for
    plain = pyproj.CRS(4326) if degrees and not flat.is_geographic else flat
    first = _fit(told, points, flat, plain, both, degrees=degrees)
    if first.fits:
        return Disagreement(first, first)
    nearest = [
        (_fit(told, points, flat, other, some_rows, degrees=degrees, turned=turned), other, turned)
        for other, turned in tried
    ]
    _, other, turned = min(nearest, key=lambda entry: entry[0].median_ft)
    best = _fit(told, points, flat, other, both, degrees=degrees, turned=turned)
    return Disagreement(first, best if best.median_ft < _MUCH_NEARER * first.median_ft else first)


def _points(shapes: gpd.GeoSeries) -> NDArray[np.float64]:
    kinds = shapely.get_type_id(np.asarray(shapes.array, dtype=object))
    plain = bool(np.isin(kinds, (-1, shapely.GeometryType.POINT)).all())
    return xy(shapes if plain else shapes.representative_point())


def _readings(
    told: NDArray[np.float64], points: NDArray[np.float64], crs: pyproj.CRS
) -> list[tuple[pyproj.CRS, bool]]:
    """The systems to try, and whether with x and y swapped."""
    if can_be_degrees(told):
        systems = [pyproj.CRS(code) for code in (4326, 4269, 4267)]
        if crs.is_geographic:
            systems.insert(0, crs)
        return [(other, turned) for turned in (False, True) for other in systems]
    lon, lat = to_degrees(points, crs)
    here = (float(np.nanmedian(lon)), float(np.nanmedian(lat)))
    near = candidates(told, near=here) if np.isfinite(here).all() else []
    likely = [(pyproj.CRS(c.code), c.swapped) for c in near[:_MOST_SYSTEMS]]
    own = [] if crs.is_geographic else [(crs, False), (crs, True)]
    return [*own, *likely]


def _fit(
    told: NDArray[np.float64],
    points: NDArray[np.float64],
    crs: pyproj.CRS,
    other: pyproj.CRS,
    rows: NDArray[np.intp],
    *,
    degrees: bool,
    turned: bool = False,
) -> Fit:
    """Distances between the points and what the attributes tell, read in another system."""
    seen = told[rows, ::-1] if turned else told[rows]
    here = points[rows]
    known: float | None = 0.0
    if other != crs:
        shift = pyproj.Transformer.from_crs(other, crs, always_xy=True)
        moved = np.column_stack(shift.transform(seen[:, 0], seen[:, 1]))
        known = _known_to_ft(shift, other, crs)
    else:
        moved = seen
    plane = plane_ft(here, crs)
    a, b = (np.column_stack(plane.transform(p[:, 0], p[:, 1])) for p in (moved, here))
    away = np.hypot(*(a - b).T)
    away = np.where(np.isfinite(away), away, np.inf)
    distances = np.full(len(told), np.nan)
    distances[rows] = away
    per_unit = _FT_PER_DEGREE if degrees else other.axis_info[0].unit_conversion_factor * _FT_PER_M
    return Fit(
        system=short(other) + (", x and y swapped" if turned else ""),
        median_ft=float(np.median(away)),
        p95_ft=_at(away, 0.95),
        greatest_ft=float(away.max()),
        rounding_ft=_rounding(seen) * per_unit,
        known_to_ft=known,
        distances_ft=distances,
    )


def _at(values: NDArray[np.float64], share: float) -> float:
    """The value that a share of all does not exceed; infinite ones do not spoil it."""
    return float(np.sort(values)[max(0, int(np.ceil(share * len(values))) - 1)])


def _rounding(told: NDArray[np.float64]) -> float:
    """How far coordinates may lie off by the decimals that they were written with. [their unit]"""
    sample = told[:_MOST_TRIED].ravel()
    for decimals in range(_MOST_DECIMALS):
        step = 10.0**-decimals
        # a double holds some sixteen digits
        doubt = 1e-6 * step + 4 * np.spacing(np.abs(sample).max())
        if (np.abs(sample - np.round(sample, decimals)) <= doubt).all():
            return float(np.hypot(step, step) / 2)
    return 0.0


def _known_to_ft(shift: pyproj.Transformer, other: pyproj.CRS, crs: pyproj.CRS) -> float | None:
    """The accuracy that PROJ states of the shift it used, where the datums differ. [ft]"""
    bases = (other.geodetic_crs, crs.geodetic_crs)
    if None not in bases and bases[0].equals(bases[1], ignore_axis_order=True):  # type: ignore[union-attr]
        return 0.0
    try:
        accuracy = shift.get_last_used_operation().accuracy
    except pyproj.exceptions.ProjError:  # there is but one operation
        accuracy = shift.accuracy
    return float(accuracy) * _FT_PER_M if accuracy >= 0 else None


def crosscheck(rows: pd.DataFrame, shapes: gpd.GeoSeries, table: str) -> pd.DataFrame:
    """
    Findings about coordinates among the fields that do not agree with the points.

    Parameters
    ----------
    rows
        As the source has them, index the rows' numbers.
    shapes
        Same index, with their CRS.
    table
        The canonical table, for the findings.

    Returns
    -------
    findings
        Code `attribute-coordinates-differ`: one for a pair of fields as a whole where it does not
        agree as it stands, one a row where a row lies far from its own coordinates and most others
        do not. Nothing where all agree.

    Examples
    --------
    >>> import geopandas as gpd
    >>> rows = pd.DataFrame({"X": [760_050.0, 761_050.0], "Y": [2_950_000.0, 2_951_000.0]})
    >>> points = gpd.GeoSeries.from_xy([760_000, 761_000], [2_950_000, 2_951_000], crs=2249)
    >>> crosscheck(rows, points, "hydrants")["message"][0]
    '`X`, `Y` lie 50.0 ft from the points (median; read in EPSG:2249); no system tried fits'
    """
    if shapes.crs is None:
        return no_findings()
    found = [no_findings()]
    for pair in coordinate_pairs(rows):
        xs, ys = numbers_of(rows[pair.x]), numbers_of(rows[pair.y])
        filled = np.isfinite(xs) & np.isfinite(ys)
        if filled.mean() < _LEAST_SHARE_READ:
            continue
        result = disagreement(xs, ys, shapes, shapes.crs)
        if result is not None:
            found += _findings_of(result, pair, rows.index, table)
    return join_findings(*found)


def _findings_of(
    result: Disagreement, pair: Pair, index: pd.Index[int], table: str
) -> list[pd.DataFrame]:
    column = f"{pair.x}, {pair.y}"
    best, astray = result.best, result.best.astray
    found = []
    if not result.agrees:
        found.append(
            findings(
                "attribute-coordinates-differ", table=table, keys=["(all)"], column=column,
                messages=_told(result, pair),
            )
        )  # fmt: skip
    if best.may_fit and astray.any():
        compared = int((~np.isnan(best.distances_ft)).sum())
        first = some([f"row {key}" for key in index[astray]], _FIRST_IDS)
        found.append(
            findings(
                "attribute-coordinates-differ", table=table, keys=["(all)"], column=column,
                messages=f"{int(astray.sum()):,} of {compared:,} rows lie more than {ROW_FT:g} ft "
                f"from their `{pair.x}`, `{pair.y}` (read in {best.system}): {first}",
            )
        )  # fmt: skip
        away = np.where(np.isfinite(best.distances_ft), np.round(best.distances_ft), np.nan)[astray]
        found.append(
            findings(
                "attribute-coordinates-differ", table=table, keys=index[astray], column=column,
                messages=fill("the point lies {ft} ft from the coordinates of the row", ft=away),
            )
        )  # fmt: skip
    return found


def _told(result: Disagreement, pair: Pair) -> str:
    plain, best = result.plain, result.best
    told = (
        f"`{pair.x}`, `{pair.y}` lie {_feet(plain.median_ft)} from the points (median; read in "
        f"{plain.system})"
    )
    if not best.may_fit:
        nearest = f", nearest is {best.system}, {_feet(best.median_ft)} away"
        return f"{told}; no system tried fits" + (nearest if best is not plain else "")
    comma = "," if "swapped" in best.system else ""
    reach = (
        f"{best.system}{comma} within {_feet(best.p95_ft)} (95 %; median {_feet(best.median_ft)}, "
        f"greatest {_feet(best.greatest_ft)})"
    )
    told += f"; they fit {reach}" if best.fits else f"; they may be {reach}"
    if best.known_to_ft is None:
        return f"{told}; how well the datum shift is known is not stated, for want of a grid file"
    if best.known_to_ft:
        return f"{told}; the datum shift is known here to within {_feet(best.known_to_ft)}"
    return told


def _feet(value: float) -> str:
    if not np.isfinite(value):
        return "no distance"
    return f"{value:,.1f} ft" if value < 1000 else f"{value / 5280:,.1f} mi"
