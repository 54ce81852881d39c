"""
One layer in the formats of other software: GeoParquet, GeoJSON, FlatGeobuf, Shapefile, CSV.

References
----------
.. [1] GeoParquet 1.1.0, Open Geospatial Consortium: WKB geometry, CRS as PROJJSON, covering `bbox`.
.. [2] RFC 7946, The GeoJSON Format (2016): WGS 84 (section 4), right-hand rule (3.1.6).
.. [3] ESRI Shapefile Technical Description (1998) and the dBASE table that goes with it: names of
   ten letters, text of 254 bytes, dates without a time, no difference of blank and missing text.
"""

from __future__ import annotations

import zipfile
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from hydrantgis.deliver.lists import write_csv
from hydrantgis.ground.errors import WordsError
from hydrantgis.ground.table import Kind
from hydrantgis.register.geopackage import replacing

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

    from hydrantgis.ground.table import Column, Table

FORMATS = {
    "geoparquet": ".parquet",
    "geojson": ".geojson",
    "flatgeobuf": ".fgb",
    "shapefile": "_shapefile.zip",
    "csv": ".csv",
}
"""Formats, and how the names of their files end."""
DIGITS = 9
"""Decimals of degrees in GeoJSON: a tenth of a millimetre, so that nothing moves."""
_DBF_NAME, _DBF_TEXT = 10, 254


def write_layer(
    folder: Path, table: Table, frame: gpd.GeoDataFrame, kind: str, *, moment: dt.datetime
) -> Path:
    """
    Write a layer in one format.

    Parameters
    ----------
    folder
        Where the file goes; it is called as the table.
    table, frame
        The declaration and a conformed frame.
    kind
        One of `FORMATS`.
    moment
        The time of the data, for formats that are stamped.

    Returns
    -------
    path
        The file; the same layer has the same bytes.

    Raises
    ------
    WordsError
        There is no such format, or it needs a CRS and the layer has none.
    """
    if kind not in FORMATS:
        raise WordsError(f"`{kind}` is no format", accepted=", ".join(FORMATS))
    if kind == "geojson" and frame.crs is None:
        raise WordsError(
            "GeoJSON is in WGS 84, and the layer has no CRS", where=table.name,
            do="bring hydrants in with a CRS, or take another format",
        )  # fmt: skip
    path = folder / f"{table.name}{FORMATS[kind]}"
    if kind == "csv":
        _write_csv(path, table, frame)
        return path
    with replacing(path) as fresh:
        if kind == "geoparquet":
            frame.to_parquet(
                fresh, index=False, compression="zstd", schema_version="1.1.0",
                write_covering_bbox=True,
            )  # fmt: skip
        elif kind == "geojson":
            _write_geojson(fresh, table, frame)
        elif kind == "flatgeobuf":
            placed = frame[~frame.geometry.isna()]
            _write(fresh, table, placed, "FlatGeobuf", SPATIAL_INDEX="YES")
        else:
            _write_shapefile(fresh, table, frame, moment)
    return path


def _write(path: Path, table: Table, frame: gpd.GeoDataFrame, driver: str, **options: str) -> None:
    plain = pd.DataFrame(frame[table.names])
    for column in table.columns:
        if column.kind is Kind.DATE:
            plain[column.name] = frame[column.name].dt.date
    told = gpd.GeoDataFrame(plain, geometry=frame.geometry, crs=frame.crs)
    pyogrio.write_dataframe(
        told, path, layer=table.name, driver=driver, geometry_type=table.geometry or "Unknown",
        **options,
    )  # fmt: skip


def _write_geojson(path: Path, table: Table, frame: gpd.GeoDataFrame) -> None:
    """In WGS 84, polygons by the right-hand rule [2]_, the key of the table as `id`."""
    there = frame.to_crs(4326)
    turned = gpd.GeoDataFrame(
        pd.DataFrame(frame[table.names]),
        geometry=shapely.orient_polygons(np.asarray(there.geometry.array, dtype=object)),
        crs=4326,
    )
    _write(
        path, table, turned, "GeoJSON", RFC7946="YES", COORDINATE_PRECISION=str(DIGITS),
        WRITE_NAME="NO", ID_FIELD=table.key,
    )  # fmt: skip


def _write_csv(path: Path, table: Table, frame: gpd.GeoDataFrame) -> None:
    """The list, with the place of each row behind it in the layer's own CRS."""
    from dataclasses import replace as changed

    from hydrantgis.ground import columns as c

    points = np.asarray(frame.geometry.array, dtype=object)
    at = shapely.centroid(points)
    crs = "none" if frame.crs is None else frame.crs.name
    more = (
        c.real("x", "X", f"East, {crs}."), c.real("y", "Y", f"North, {crs}."),
        c.text("crs", "CRS", "Of x and y."),
    )  # fmt: skip
    rows = pd.DataFrame(frame[table.names]).assign(
        x=shapely.get_x(at), y=shapely.get_y(at), crs=crs
    )
    write_csv(path, changed(table, columns=(*table.columns, *more), geometry=None), rows)


def crosswalk(columns: Iterable[Column]) -> dict[str, str]:
    """
    Names of ten letters for columns, each its own, by name [3]_.

    Examples
    --------
    >>> from hydrantgis.ground.results import CHECKED
    >>> told = crosswalk(CHECKED.columns)
    >>> told["outlet_height_in"], told["outlet_height_after_in"], told["remedy"]
    ('out_hei_in', 'out_hei_af', 'remedy')
    """
    told: dict[str, str] = {}
    for column in columns:
        name = column.name
        if len(name) > _DBF_NAME:
            words = name.split("_")
            name = "_".join([*(word[:3] for word in words[:-1]), words[-1][:3]])[:_DBF_NAME]
        base, number = name, 1
        while name in told.values():
            number += 1
            name = f"{base[: _DBF_NAME - len(str(number))]}{number}"
        told[column.name] = name
    return told


def _write_shapefile(
    path: Path, table: Table, frame: gpd.GeoDataFrame, moment: dt.datetime
) -> None:
    """A zip of the Shapefile's parts and of `crosswalk.csv`: what each name stands for."""
    names = crosswalk(table.columns)
    plain = pd.DataFrame(frame[table.names])
    cut: dict[str, int] = {}
    for column in table.columns:
        values = plain[column.name]
        if column.kind is Kind.DATE:
            plain[column.name] = values.dt.date
        elif column.kind is Kind.MOMENT:
            plain[column.name] = values.dt.strftime("%Y-%m-%dT%H:%M:%SZ")
        elif column.kind is Kind.FLAG:
            plain[column.name] = values.astype("Int64")
        elif column.kind is Kind.TEXT:
            short = values.map(_cut, na_action="ignore").astype("str")
            cut[column.name] = int((short != values)[values.notna()].sum())
            plain[column.name] = short
    told = gpd.GeoDataFrame(plain.rename(columns=names), geometry=frame.geometry, crs=frame.crs)
    rows = pd.DataFrame(
        {
            "field": list(names.values()), "column": list(names),
            "title": [c.heading for c in table.columns], "about": [c.about for c in table.columns],
            "texts_cut": [cut.get(name, 0) for name in names],
        }
    )  # fmt: skip
    with TemporaryDirectory() as room:
        main = Path(room) / f"{table.name}.shp"
        pyogrio.write_dataframe(
            told, main, driver="ESRI Shapefile", geometry_type=table.geometry or "Unknown",
            ENCODING="UTF-8", DBF_DATE_LAST_UPDATE=f"{moment:%Y-%m-%d}",
        )  # fmt: skip
        (Path(room) / "crosswalk.csv").write_text(
            rows.to_csv(index=False, lineterminator="\r\n"), encoding="utf-8-sig", newline=""
        )
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for part in sorted(Path(room).iterdir()):
                entry = zipfile.ZipInfo(part.name, moment.timetuple()[:6])
                entry.compress_type = zipfile.ZIP_DEFLATED
                archive.writestr(entry, part.read_bytes())


def _cut(text: str) -> str:
    """At most 254 bytes of UTF-8, no letter torn."""
    return text.encode()[:_DBF_TEXT].decode(errors="ignore")
