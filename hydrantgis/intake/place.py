"""
Shapes out of the columns of a table: X and Y, degrees with minutes and seconds, WKT, GeoJSON text.

Which columns these are is told by the user, or by their names and what stands in them. A table
says no CRS but in EWKT; it has to be said.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hydrantgis.ground.errors import SourceError, UnreadableError, WordsError, some
from hydrantgis.ground.numerals import read_numbers
from hydrantgis.ground.text import as_text
from hydrantgis.intake.angles import read_angles
from hydrantgis.intake.cells import said_nothing
from hydrantgis.intake.match import plain, unit_in_name

if TYPE_CHECKING:
    from collections.abc import Mapping

POINT_NAMES = (
    ("x", "y"), ("lon", "lat"), ("long", "lat"), ("lng", "lat"), ("longitude", "latitude"),
    ("easting", "northing"), ("eastings", "northings"), ("east", "north"), ("e", "n"),
    ("point_x", "point_y"), ("coord_x", "coord_y"), ("x_coord", "y_coord"), ("xcoord", "ycoord"),
    ("x_coordinate", "y_coordinate"), ("x_co", "y_co"), ("pos_x", "pos_y"), ("gps_x", "gps_y"),
    ("gps_lon", "gps_lat"), ("gps_long", "gps_lat"), ("gps_longitude", "gps_latitude"),
    ("lon_dd", "lat_dd"), ("long_dd", "lat_dd"), ("longitude_dd", "latitude_dd"),
    ("x_long", "y_lat"), ("x_lon", "y_lat"), ("longitud", "latitud"),
    ("coordenada_x", "coordenada_y"), ("este", "norte"), ("rechtswert", "hochwert"),
    ("laengengrad", "breitengrad"),
)  # fmt: skip
"""Names of X and of the Y that belongs to it, the likeliest first."""
PLACE_WORDS = ("x", "y", "shape", "latlon", "lonlat")
"""What a user can name: X and Y, a field of WKT or GeoJSON, or one of two coordinates."""
_LATLON_NAMES = (
    "latlon", "lat_lon", "latlong", "lat_long", "latlng", "lat_lng", "latitude_longitude",
)  # fmt: skip
_LONLAT_NAMES = ("lonlat", "lon_lat", "longlat", "lnglat", "longitude_latitude")
_SAMPLE = 200
_MOSTLY = 0.5
_NUMBER = r"[+-]?\d+(?:\.\d+)?"
_TWO_ANGLES = (
    r"(?i)^\(?\s*(?:([^,;]+?)\s*[,;]\s*([^,;]+?)|(.+?[NSEWO])\s*(\d.*[NSEWO])"
    r"|([NSEWO].+?)\s*([NSEWO].+?))\s*\)?$"
)
_DECIMAL_COMMA = r"\s*[+-]?\d+,\d+\s*"
"""One number in many languages, so that it cannot prove two."""


@dataclass(frozen=True, slots=True)
class Placed:
    """
    Shapes that a table tells.

    Attributes
    ----------
    shapes
        Index of the table; missing where a row tells none.
    fields
        The fields that they were read from.
    form
        How they were written, for people.
    srid
        What EWKT says, None elsewhere.
    unread
        Why a filled cell could not be read; missing elsewhere.
    """

    shapes: gpd.GeoSeries
    fields: tuple[str, ...]
    form: str
    srid: int | None = None
    unread: pd.Series = field(default_factory=lambda: pd.Series(dtype="str"))


def point_fields(names: list[str]) -> tuple[str | None, str | None]:
    """
    The fields that hold X and Y, by their usual names, None where there are none.

    Examples
    --------
    >>> point_fields(["Y", "X", "Street"])
    ('X', 'Y')
    """
    known = {unit_in_name(name)[0]: name for name in reversed(names)}
    known |= {plain(name): name for name in reversed(names)}
    for x, y in POINT_NAMES:
        if x in known and y in known:
            return known[x], known[y]
    x_field = next((known[x] for x, _ in POINT_NAMES if x in known), None)
    y_field = next((known[y] for _, y in POINT_NAMES if y in known), None)
    return (x_field, y_field) if x_field and y_field else (None, None)


def place(
    frame: pd.DataFrame, said: Mapping[str, str], *, decimal: str | None, where: str
) -> Placed | None:
    """
    The shapes of a table, None where no column tells any.

    Parameters
    ----------
    frame
        Cells as text.
    said
        `PLACE_WORDS` and fields.
    decimal
        The decimal mark of numbers, None where the column shall prove it.
    where
        The source, for messages.

    Raises
    ------
    WordsError, SourceError
        The user names half a place, or a field that is not there.
    UnreadableError
        More than half of the filled cells cannot be read.
    CRSError
        The shapes name several systems.

    Examples
    --------
    >>> table = pd.DataFrame({"shape": ["POINT (1 2)", None]}, dtype="str")
    >>> place(table, {}, decimal=None, where="h.csv").shapes.to_wkt().tolist()
    ['POINT (1 2)', nan]
    """
    _need_whole(said, list(frame.columns), where)
    if "shape" in said:
        placed = _from_shapes(frame, said["shape"], where)
    elif "latlon" in said or "lonlat" in said:
        way = "latlon" if "latlon" in said else "lonlat"
        placed = _from_pairs(frame, said[way], lat_first=way == "latlon")
    elif "x" in said:
        placed = _from_xy(frame, said["x"], said["y"], decimal)
    else:
        found = _find(frame, decimal, where)
        if found is None:
            return None
        placed = found
    _need_most(frame, placed, where)
    return placed


def _need_whole(said: Mapping[str, str], names: list[str], where: str) -> None:
    unknown = sorted(set(said) - set(PLACE_WORDS))
    if unknown or (("x" in said) != ("y" in said)):
        raise WordsError(
            f"`{unknown[0]}` is no part of a place" if unknown else "x and y go together",
            accepted="x and y, shape, latlon, or lonlat",
            do="say --place x=FIELD --place y=FIELD, or --place shape=FIELD",
        )
    for name in said.values():
        if name not in names:
            raise SourceError(f"there is no field `{name}`", where=where, accepted=some(names, 40))


def _find(frame: pd.DataFrame, decimal: str | None, where: str) -> Placed | None:
    """The first of shape text, X and Y, and pairs whose order its name tells."""
    for name in frame.columns:
        if _looks_like_shape(frame[name]):
            return _from_shapes(frame, name, where)
    x, y = point_fields(list(frame.columns))
    if x is not None and y is not None:
        return _from_xy(frame, x, y, decimal)
    for names, lat_first in ((_LATLON_NAMES, True), (_LONLAT_NAMES, False)):
        for name in frame.columns:
            if plain(name) in names:
                return _from_pairs(frame, name, lat_first=lat_first)
    return None


def pair_fields(frame: pd.DataFrame) -> list[str]:
    """
    Fields that hold two numbers whose order nothing tells; a help for asking.

    Examples
    --------
    >>> pair_fields(pd.DataFrame({"where": ["(42.4, -71.1)", "42.5, -71.2"]}, dtype="str"))
    ['where']
    """
    return [
        name
        for name in frame.columns
        if frame[name].dtype == "str"
        and len(sample := frame[name].dropna().head(_SAMPLE))
        and sample.str.fullmatch(rf"\s*\(?\s*{_NUMBER}\s*[,; ]\s*{_NUMBER}\s*\)?\s*").all()
        and read_numbers(sample)[1].notna().any()  # not thousands with commas
    ]


def _looks_like_shape(series: pd.Series) -> bool:
    if series.dtype != "str":
        return False
    sample = series.dropna().head(_SAMPLE)
    if not len(sample):
        return False
    wkt = r"\s*(?:SRID=\d+;)?\s*(?:MULTI)?(?:POINT|LINESTRING|POLYGON)\b.*"
    json = r"\s*\{.*\"(?:coordinates|geometry)\"\s*:.*\}\s*"
    wkb = r"0[01][0-9A-Fa-f]{40,}"
    return bool(sample.str.fullmatch(f"(?is:{wkt}|{json}|{wkb})").mean() > _MOSTLY)


def _from_shapes(frame: pd.DataFrame, name: str, where: str) -> Placed:
    text = as_text(frame[name])
    text = text.mask(said_nothing(text))
    srids = text.str.extract(r"^SRID=(\d+);", expand=False)
    bare = text.str.replace(r"^SRID=\d+;\s*", "", regex=True)
    shapes = np.full(len(frame), None, dtype=object)
    forms: dict[str, tuple[pd.Series, Any]] = {
        "WKT": (bare.str.match(r"[A-Za-z]", na=False), shapely.from_wkt),
        "GeoJSON text": (bare.str.startswith("{", na=False), shapely.from_geojson),
        "WKB": (bare.str.fullmatch(r"[0-9A-Fa-f]+", na=False), shapely.from_wkb),
    }
    used = []
    for form, (rows, read) in forms.items():
        mask = rows.to_numpy(dtype=bool)
        if mask.any():
            shapes[mask] = read(bare[mask].to_numpy(dtype=object), on_invalid="ignore")
            used.append(form)
    numbers = srids.dropna().unique().tolist()
    held = {int(s) for s in shapely.get_srid(shapes[~shapely.is_missing(shapes)]) if s}
    both = sorted({int(n) for n in numbers if int(n)} | held)
    if len(both) > 1:
        raise SourceError(
            "the rows of one table are in several coordinate reference systems", where=where,
            found=f"SRID {some(both)} in `{name}`", do="make a table of each",
        )  # fmt: skip
    series = gpd.GeoSeries(shapes, index=frame.index)
    bad = text.notna() & shapely.is_missing(shapes)
    unread = _why(frame.index, bad, "no shape that is read here")
    named = srids.notna() & (srids != "0") | (shapely.get_srid(shapes) > 0)
    if both and not (named | bad | text.isna()).all():
        nameless = text.notna() & ~bad & ~named
        shapes[nameless.to_numpy()] = None
        series = gpd.GeoSeries(shapes, index=frame.index)
        unread = unread.mask(nameless, "names no SRID, as other rows do")
    return Placed(series, (name,), " and ".join(used), both[0] if both else None, unread)


def _from_xy(frame: pd.DataFrame, x: str, y: str, decimal: str | None) -> Placed:
    xs, why_x, form_x = _coordinates(frame[x], "x", decimal)
    ys, why_y, form_y = _coordinates(frame[y], "y", decimal)
    points = _points(xs, ys)
    form = "degrees, minutes and seconds" if "angles" in (form_x, form_y) else "X and Y"
    return Placed(points, (x, y), form, unread=why_x.where(why_x.notna(), why_y))


def _coordinates(
    series: pd.Series, axis: str, decimal: str | None
) -> tuple[pd.Series, pd.Series, str]:
    """Numbers where most cells are numbers, else angles."""
    if pd.api.types.is_numeric_dtype(series.dtype):
        return series.astype("float64"), _why(series.index, None, ""), "numbers"
    text = as_text(series)
    text = text.mask(said_nothing(text))
    values, reasons = read_numbers(text, decimal)
    left = reasons.notna()
    if not left.any():
        return values, reasons, "numbers"
    angles, why = read_angles(text.where(left), axis)
    if angles.notna().any() and (angles.notna().sum() >= _MOSTLY * left.sum()):
        return values.where(~left, angles), why, "angles"
    return values, reasons, "numbers"


def _points(xs: pd.Series, ys: pd.Series) -> gpd.GeoSeries:
    """Points, missing where a coordinate is."""
    points = np.asarray(gpd.points_from_xy(xs, ys), dtype=object)
    points[(xs.isna() | ys.isna()).to_numpy()] = None
    return gpd.GeoSeries(points, index=xs.index)


def _from_pairs(frame: pd.DataFrame, name: str, *, lat_first: bool) -> Placed:
    text = as_text(frame[name])
    text = text.mask(said_nothing(text))
    two = text.str.extract(rf"^\(?\s*({_NUMBER})\s*[,; ]\s*({_NUMBER})\s*\)?$")
    first, second = two[0].astype("float64"), two[1].astype("float64")
    xs, ys = (second, first) if lat_first else (first, second)
    left = text.notna() & xs.isna()
    if left.any():
        angle_x, angle_y = _two_angles(text.where(left), lat_first=lat_first)
        xs, ys = xs.where(~left, angle_x), ys.where(~left, angle_y)
    points = _points(xs, ys)
    unread = _why(frame.index, left & (xs.isna() | ys.isna()), "not two numbers or angles")
    return Placed(points, (name,), "latitude, longitude" if lat_first else "x, y", unread=unread)


def _two_angles(text: pd.Series, *, lat_first: bool) -> tuple[pd.Series, pd.Series]:
    """Longitude and latitude of cells that hold both; a letter tells which is which. [degrees]"""
    parts = text.str.extract(_TWO_ANGLES)
    first = parts[0].fillna(parts[2]).fillna(parts[4])
    second = parts[1].fillna(parts[3]).fillna(parts[5])
    starts = pd.Series(not lat_first, index=text.index)  # with the longitude
    starts |= first.str.contains("[EWO]", case=False, na=False)
    starts &= ~first.str.contains("[NS]", case=False, na=False)
    xs, _ = read_angles(first.where(starts, second), "x")
    ys, _ = read_angles(second.where(starts, first), "y")
    return xs, ys


def _why(index: pd.Index, rows: pd.Series | None, reason: str) -> pd.Series:
    reasons = pd.Series(None, index=index, dtype="str")
    return reasons if rows is None else reasons.mask(rows, reason)


def _need_most(frame: pd.DataFrame, placed: Placed, where: str) -> None:
    """Refuse a reading of the place that fails for most of the filled cells."""
    bad = placed.unread.dropna()
    told = placed.shapes.notna() | placed.unread.notna().reindex(frame.index, fill_value=False)
    filled = int(told.sum())
    if filled and len(bad) > _MOSTLY * filled:
        cells = ", ".join(f"{name} `{frame[name][bad.index[0]]}`" for name in placed.fields)
        raise UnreadableError(
            "the coordinates cannot be read", where=where,
            found=f"{cells} in row {bad.index[0]}: {bad.iloc[0]}",
            accepted="numbers such as 759710.50, degrees such as 42 22 25.3 N, WKT, GeoJSON text",
            do="say which fields with --place, or the decimal mark with --decimal",
        )  # fmt: skip
