"""
Random tables written through every format, and taken in again: nothing is lost, nothing is moved.

What a format itself cannot keep stands beside it in the table of formats.
"""

from __future__ import annotations

import csv
import datetime as dt
import json
import re
import warnings
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pyogrio
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from hydrantgis.ground.flows import FlowUnit
from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.dates import DATES_FOR_NONE
from hydrantgis.intake.take import take
from hydrantgis.intake.words import IntakeWords

TODAY = dt.date(2026, 11, 1)
FIELDS = {
    "HYDRANT_NUMBER": "hydrant_id", "OWNER": "owner", "NOTES": "note", "BURY_DEPTH_FT": "bury_ft",
    "HYDRANT_GPM": "flow_gpm", "INSTALL_DATE": "install_date",
}  # fmt: skip
"""As a source calls them, two of them longer than the ten letters of a shapefile."""
Writer = Callable[[pd.DataFrame, Path], None]


@dataclass(frozen=True)
class Way:
    """
    A format, and what it does not keep.

    Attributes
    ----------
    write
        Writes a table, `x` and `y` among its columns, in the CRS `epsg`.
    epsg
        What the coordinates are in; said by the user where `said`.
    within
        How near a point comes back. [CRS]
    schema
        Whether a table without rows still names its columns.
    """

    name: str
    write: Writer
    epsg: int = 2249
    said: bool = False
    within: float = 0.0
    schema: bool = True
    units: bool = True


def shaped(rows: pd.DataFrame, epsg: int) -> gpd.GeoDataFrame:
    points = gpd.points_from_xy(rows["x"], rows["y"])
    return gpd.GeoDataFrame(rows.drop(columns=["x", "y"]), geometry=points, crs=epsg)


def vector(epsg: int, *, days: str = "datetime64[ms]", **options: Any) -> Writer:
    """Written through GDAL."""

    def write(rows: pd.DataFrame, path: Path) -> None:
        frame = shaped(rows, epsg)
        frame["INSTALL_DATE"] = frame["INSTALL_DATE"].astype(days)
        if len(frame) == 0:
            frame = frame.astype({"HYDRANT_GPM": "float64"})
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a geodatabase keeps moments, and asks for their zone
            pyogrio.write_dataframe(frame, path, geometry_type="Point", **options)

    return write


def shapefile(rows: pd.DataFrame, path: Path) -> None:
    """Names cut to ten letters, as the format does; days as text of eight digits."""
    short = {name: name[:10] for name in FIELDS}
    frame = rows.rename(columns=short)
    frame["INSTALL_DA"] = _text(frame["INSTALL_DA"])
    pyogrio.write_dataframe(
        shaped(frame, 2249), path, driver="ESRI Shapefile", encoding="UTF-8", geometry_type="Point"
    )


def zipped_shapefile(rows: pd.DataFrame, path: Path) -> None:
    shapefile(rows, path.with_suffix(".shp"))
    with zipfile.ZipFile(path, "w") as archive:
        for part in path.parent.glob(f"{path.stem}.*"):
            if part != path:
                archive.write(part, f"some folder/{part.name}")
                part.unlink()


def _text(series: pd.Series) -> pd.Series:
    """Cells as people write them, blank where there is none."""
    if pd.api.types.is_datetime64_any_dtype(series.dtype):
        return series.dt.strftime("%Y-%m-%d").astype("str").where(series.notna())
    text = series.map(lambda cell: f"{cell:.10g}" if isinstance(cell, float) else cell)
    return text.astype("str").where(series.notna())


def delimited(place: Callable[[float, float], dict[str, str]], delimiter: str = ",") -> Writer:
    """Written with the standard library; `place` makes the cells of a point."""

    def write(rows: pd.DataFrame, path: Path) -> None:
        cells = pd.DataFrame({name: _text(rows[name]) for name in FIELDS})
        places = [place(x, y) for x, y in zip(rows["x"], rows["y"], strict=True)]
        head = [*FIELDS, *place(0.0, 0.0)]
        with path.open("w", encoding="utf-8", newline="") as stream:
            out = csv.writer(stream, delimiter=delimiter)
            out.writerow(head)
            for row, spot in zip(cells.to_numpy(dtype=object), places, strict=True):
                out.writerow(["" if pd.isna(c) else c for c in row] + list(spot.values()))

    return write


def workbook(rows: pd.DataFrame, path: Path) -> None:
    """Numbers as numbers, days as days, ids as text."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append([*FIELDS, "X", "Y"])
    for number, row in enumerate(rows[[*FIELDS, "x", "y"]].to_numpy(dtype=object), 2):
        for column, value in enumerate(row, 1):
            if pd.isna(value):
                continue
            told = value.to_pydatetime() if isinstance(value, pd.Timestamp) else value
            cell = sheet.cell(number, column, told)
            if isinstance(value, str):
                cell.data_type = "s"  # `=1` is text here, no formula
    book.save(path)


def _xy(x: float, y: float) -> dict[str, str]:
    return {"X": repr(x), "Y": repr(y)}


WAYS = [
    Way("h.gpkg", vector(2249)),
    Way("h.shp", shapefile, units=False),
    Way("h.zip", zipped_shapefile, units=False),
    Way("h.gdb", vector(2249, driver="OpenFileGDB"), within=1e-3),
    Way("h.geojson", vector(4326), epsg=4326, within=1e-7, schema=False),
    Way("h.fgb", vector(2249)),
    Way("h.kml", vector(4326, days="str", driver="LIBKML"), epsg=4326, within=1e-9, schema=False),
    Way("h.gml", vector(2249), within=1e-6, schema=False),
    Way("xy.csv", delimited(_xy), said=True),
    Way("xy.tsv", delimited(_xy, "\t"), said=True),
    Way("semicolon.csv", delimited(_xy, ";"), said=True),
    Way(
        "degrees.csv",
        delimited(lambda x, y: {"Latitude": repr(y), "Longitude": repr(x)}),
        epsg=4326,
        said=True,
    ),
    Way(
        "wkt.csv",
        delimited(lambda x, y: {"the_geom": f"POINT ({x!r} {y!r})"}),
        said=True,
        schema=False,
    ),
    Way(
        "ewkt.csv",
        delimited(lambda x, y: {"shape": f"SRID=2249;POINT ({x!r} {y!r})"}),
        schema=False,
    ),
    Way(
        "json.csv",
        delimited(lambda x, y: {"g": json.dumps({"type": "Point", "coordinates": [x, y]})}),
        said=True,
        schema=False,
    ),
    Way("h.xlsx", workbook, said=True, within=1e-9),  # written to fifteen digits
]
"""Every format that can be written here."""
CUT_UNITS = {"bury_ft": LengthUnit.FT, "flow_gpm": FlowUnit.GPM}
"""Names of ten letters have lost the unit at their end, so that it has to be said."""
MIDDLE = {2249: (760_000.0, 2_950_000.0, 100.0), 4326: (-71.1, 42.37, 0.001)}
"""A place, and a step to the next hydrant."""

GARBLED = "\ufffd|\u00c3[\u0080-\u00bf\u0192\u2018-\u203a]|\u00e2\u20ac"
WORDLESS = {"null", "nan", "<null>", "none", "#n/a", "#value!", "#ref!"}
texts = (
    st.text(
        st.sampled_from("aZ0 ,;'\"\\<>&|={}[]#\u00e9\u00df\u4e2d\u0416\u2028\U0001f6b0\n\t")
        | st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Cn", "Co"]),
        max_size=16,
    )
    .map(str.strip)
    .filter(lambda text: text.lower() not in WORDLESS)
    # what looks as if it was read in another encoding is told, and rightly
    .filter(
        lambda text: (
            not re.search("\ufffd|\u00c3[\u0080-\u00bf\u0192\u2018-\u203a]|\u00e2\u20ac", text)
        )
    )
)
# days that stand for none are left blank and told
days = st.dates(dt.date(1850, 1, 1), dt.date(2026, 10, 31)).filter(
    lambda day: pd.Timestamp(day) not in DATES_FOR_NONE
)
hydrants = st.fixed_dictionaries(
    {
        "mark": st.sampled_from(["", "H-", "PH", "\u00e9"]),
        "zeros": st.integers(0, 3),
        "OWNER": st.none() | texts,
        "NOTES": st.none() | texts,
        "BURY_DEPTH_FT": st.none() | st.integers(300, 1200).map(lambda n: n / 100),
        "HYDRANT_GPM": st.none() | st.integers(0, 5000),
        "INSTALL_DATE": st.none() | days,
        "off": st.tuples(*[st.floats(0, 0.5)] * 2),
    }
)


def table(told: list[dict], epsg: int) -> pd.DataFrame:
    """Rows as a source has them."""
    x0, y0, step = MIDDLE[epsg]
    rows = pd.DataFrame(told, columns=["mark", "zeros", *list(FIELDS)[1:], "off"])
    ids = [r["mark"] + "0" * r["zeros"] + str(10 + i) for i, r in enumerate(told)]
    off = np.array([r["off"] for r in told], dtype=float).reshape(-1, 2)
    made = pd.DataFrame({"HYDRANT_NUMBER": pd.Series(ids, dtype="str")})
    made[["OWNER", "NOTES"]] = (
        rows[["OWNER", "NOTES"]].astype("str").where(rows[["OWNER", "NOTES"]].notna())
    )
    made["BURY_DEPTH_FT"] = rows["BURY_DEPTH_FT"].astype("float64")
    made["HYDRANT_GPM"] = rows["HYDRANT_GPM"].astype("float64")
    made["INSTALL_DATE"] = pd.to_datetime(rows["INSTALL_DATE"]).astype("datetime64[ms]")
    made["x"] = x0 + step * (np.arange(len(rows)) + off[:, 0])
    made["y"] = y0 + step * off[:, 1]
    return made


@pytest.mark.parametrize("way", WAYS, ids=lambda way: way.name)
def test_what_was_written_comes_back(tmp_path_factory, way) -> None:
    @settings(max_examples=max(4, settings().max_examples // 8), phases=[Phase.generate])
    @given(st.lists(hydrants, min_size=0 if way.schema else 1, max_size=30))
    def comes_back(told: list[dict]) -> None:
        path = tmp_path_factory.mktemp("way") / way.name
        rows = table(told, way.epsg)
        way.write(rows, path)
        words = IntakeWords(
            crs=f"EPSG:{way.epsg}" if way.said else None, units={} if way.units else CUT_UNITS
        )
        intake = take(str(path), "hydrants", words, today=TODAY)
        _same(rows, intake, way)

    comes_back()


def _same(rows: pd.DataFrame, intake: Any, way: Way) -> None:
    assert str(intake.count) == (
        f"{len(rows)} rows in = {len(rows)} accepted + 0 held + 0 rejected"
    )
    assert intake.findings["severity"].isin(["note"]).all(), intake.findings["message"].tolist()
    found = intake.accepted.sort_values("hydrant_id").reset_index(drop=True)
    rows = rows.sort_values("HYDRANT_NUMBER").reset_index(drop=True)
    if len(rows) and way.epsg:
        assert found.crs.to_epsg() == way.epsg
    for name, column in FIELDS.items():
        if rows[name].isna().all() and rows[name].dtype != "str":
            continue  # of a field without a cell nothing tells what it is
        expected = rows[name].mask(rows[name] == "") if rows[name].dtype == "str" else rows[name]
        if found[column].dtype == "float64":
            np.testing.assert_array_equal(found[column], expected)
        else:
            pd.testing.assert_series_equal(found[column], expected, check_names=False)
    for axis in "xy":
        away = np.abs(getattr(found.geometry, axis) - rows[axis])
        assert (away <= way.within).all()
