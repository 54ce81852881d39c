"""Sources, written in a few lines."""

from __future__ import annotations

import csv
import io
import json
import warnings
import zipfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import openpyxl
import pyogrio
import shapely

if TYPE_CHECKING:
    from .case import Make

FT = "EPSG:2249"
"""NAD83 / Massachusetts Mainland (ftUS), in which the points of these sources lie."""
EAST, NORTH = 760_000.0, 2_950_000.0
APART = 100.0
TAPE = {"method": "tape", "measured_to": "pumper-centerline", "measured_from": "grade"}
"""What readings have to say of themselves, said for all."""


def spot(place: int) -> tuple[float, float]:
    """Where the row of that number stands unless a case says otherwise, 0 the first. [ftUS]"""
    return EAST + APART * place, NORTH


def raw(content: bytes, name: str) -> Make:
    """A file of these bytes."""

    def make(folder: Path) -> Path:
        path = folder / name
        path.write_bytes(content)
        return path

    return make


def text(content: str, name: str = "h.csv", encoding: str = "utf-8") -> Make:
    """A file of this text."""
    return raw(content.encode(encoding), name)


def table(columns: Mapping[str, Sequence[object]], name: str = "h.csv", **told: Any) -> Make:
    """A CSV of these columns, quoted where it must be."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n", **told)
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    return text(stream.getvalue(), name)


def located(count: int) -> dict[str, list[object]]:
    """Ids `1` to n, a hundred feet apart."""
    spots = [spot(place) for place in range(count)]
    return {
        "HYD_NO": [str(place + 1) for place in range(count)],
        "X": [x for x, _ in spots],
        "Y": [y for _, y in spots],
    }


def hydrants(name: str = "h.csv", **columns: Sequence[object]) -> Make:
    """A CSV of hydrants a hundred feet apart, with these columns."""
    count = len(next(iter(columns.values())))
    return table({**located(count), **columns}, name)


def frame(
    geometry: Sequence[object] | None = None, crs: object = FT, **columns: Sequence[object]
) -> gpd.GeoDataFrame:
    """Hydrants as a GeoDataFrame."""
    count = len(next(iter(columns.values())))
    shapes = [shapely.Point(spot(n)) for n in range(count)] if geometry is None else geometry
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs)


def layer(
    name: str = "h.gpkg",
    geometry: Sequence[object] | None = None,
    crs: object = FT,
    options: Mapping[str, Any] | None = None,
    **columns: Sequence[object],
) -> Make:
    """A vector file of hydrants a hundred feet apart."""

    def make(folder: Path) -> Path:
        path = folder / name
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # names cut to ten letters, no CRS: what is meant here
            frame(geometry, crs, **columns).to_file(path, **(options or {}))
        return path

    return make


def attributes(name: str = "h.gpkg", **columns: Sequence[object]) -> Make:
    """A layer that has no geometry."""

    def make(folder: Path) -> Path:
        pyogrio.write_dataframe(gpd.GeoDataFrame(columns).drop(columns=[]), folder / name)
        return folder / name

    return make


def features(*properties: Mapping[str, Any], shapes: Sequence[object] = (), **more: Any) -> Make:
    """A GeoJSON file; shapes are GeoJSON geometries, none where there is none."""
    told = [
        {"type": "Feature", "properties": dict(told), "geometry": shape}
        for told, shape in zip(properties, shapes or [None] * len(properties), strict=True)
    ]
    return text(json.dumps({"type": "FeatureCollection", **more, "features": told}), "h.geojson")


def book(
    sheets: Mapping[str, Sequence[Sequence[object]]], change: Callable[[Any], None] | None = None
) -> Make:
    """A workbook of these rows, changed before it is saved."""

    def make(folder: Path) -> Path:
        made = openpyxl.Workbook()
        made.remove(made.worksheets[0])
        for title, rows in sheets.items():
            sheet = made.create_sheet(title)
            for row in rows:
                sheet.append(list(row))
        if change is not None:
            change(made)
        path = folder / "h.xlsx"
        made.save(path)
        return path

    return make


def zipped(members: Mapping[str, bytes], name: str = "h.zip") -> Make:
    """A zip of these members."""

    def make(folder: Path) -> Path:
        with zipfile.ZipFile(folder / name, "w", zipfile.ZIP_DEFLATED) as archive:
            for member, content in members.items():
                info = zipfile.ZipInfo("x")
                info.filename = member  # as it stands, also where it climbs out of the zip
                archive.writestr(info, content, zipfile.ZIP_DEFLATED)
        return folder / name

    return make


def packed(make_first: Make, inside: str = "") -> Make:
    """All that a maker writes, in one zip, in a folder of it where one is named."""

    def make(folder: Path) -> Path:
        aside = folder / "parts"
        aside.mkdir()
        make_first(aside)
        with zipfile.ZipFile(folder / "h.zip", "w") as archive:
            for part in sorted(p for p in aside.rglob("*") if p.is_file()):
                archive.write(part, inside + part.relative_to(aside).as_posix())
        return folder / "h.zip"

    return make


def then(make_first: Make, change: Callable[[Path], object]) -> Make:
    """What a maker writes, changed."""

    def make(folder: Path) -> Path:
        path = Path(make_first(folder))
        change(path)
        return path

    return make


def cut(share: float, ending: str | None = None) -> Callable[[Path], None]:
    """Break a file off after that share of its bytes."""

    def change(path: Path) -> None:
        whole = path if ending is None else path.with_suffix(ending)
        content = whole.read_bytes()
        whole.write_bytes(content[: int(len(content) * share)])

    return change


def readings(**columns: Sequence[object]) -> Make:
    """Readings of hydrants `1` to n, without the words that say how they were taken."""
    count = len(next(iter(columns.values())))
    return table({"HYDRANT": [str(n + 1) for n in range(count)], **columns}, "r.csv")


def heights(*cells: str, name: str = "HEIGHT") -> Make:
    """Readings of these heights."""
    return readings(**{name: list(cells)})
