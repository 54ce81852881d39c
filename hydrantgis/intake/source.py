"""
A source as it lies on disk: what it is, which layers it has, and its rows as they stand there.

A look goes through fiona, which tells schema and CRS before a row is read; rows come in bulk
through pyogrio with Arrow. CSV is read as text throughout: an id `0012` stays `0012`.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import pyproj

from hydrantgis.ground.errors import UnreadableError, WordsError, some
from hydrantgis.intake.layers import Layer, Source

if TYPE_CHECKING:
    from collections.abc import Iterator

CSV_ENDINGS = (".csv", ".txt", ".tsv")
_SHAPE_PARTS = (".shx", ".dbf")
X_NAMES = ("x", "lon", "long", "longitude", "easting", "e", "point_x", "coord_x", "x_coord")
Y_NAMES = ("y", "lat", "latitude", "northing", "n", "point_y", "coord_y", "y_coord")


def _files_of(path: Path) -> Iterator[Path]:
    """The files that make up a source: a folder's, a shapefile's with its siblings, or itself."""
    if path.is_dir():
        yield from sorted(p for p in path.rglob("*") if p.is_file())
    elif path.suffix.lower() == ".shp":
        yield from sorted(p for p in path.parent.iterdir() if p.stem == path.stem and p.is_file())
    else:
        yield path


def sha256(path: Path) -> str:
    """SHA-256 of a source's bytes, of all its files in order of name."""
    total = hashlib.sha256()
    for file in _files_of(path):
        with file.open("rb") as stream:
            while block := stream.read(1 << 20):
                total.update(block)
    return total.hexdigest()


def _refuse(path: Path, text: str) -> None:
    """Refuse what is remote, missing or incomplete, in words."""
    if "://" in text or text.startswith("/vsi"):
        raise WordsError(
            "remote and virtual sources are refused",
            where=text,
            accepted="a file or folder on this machine",
            do="save the source as a file and name that",
        )
    if not path.exists():
        raise UnreadableError("there is no such file", where=text, do="check the path")
    if path.suffix.lower() == ".shp":
        have = {p.suffix.lower() for p in path.parent.iterdir() if p.stem == path.stem}
        missing = [part for part in _SHAPE_PARTS if part not in have]
        if missing:
            raise UnreadableError(
                "the shapefile is incomplete",
                where=text,
                found=f"no {' and no '.join(path.stem + m for m in missing)} beside it",
                do="ask for the zip with all its parts (.shp .shx .dbf .prj)",
            )
    if path.suffix.lower() == ".zip":
        try:
            with zipfile.ZipFile(path) as archive:
                names = archive.namelist()
        except zipfile.BadZipFile as error:
            raise UnreadableError(
                "the zip file is damaged", where=text, found=str(error)
            ) from error
        climbing = [n for n in names if n.startswith(("/", "\\")) or ".." in Path(n).parts]
        if climbing:
            raise UnreadableError(
                "the zip file names paths outside itself", where=text, found=some(climbing)
            )


def _refuse_unknown(path: Path) -> None:
    """
    Refuse what does not begin like a format that is read here.

    A library that tries every format it knows would also follow a virtual layer, or a service
    description, to another machine; so the first bytes are looked at before it is.
    """
    if path.is_dir():
        if path.suffix.lower() != ".gdb":
            raise _of_no_known_format(path, "a folder")
        return
    with path.open("rb") as stream:
        head = stream.read(4096)
    if head.startswith((b"SQLite format 3\x00", b"\x00\x00\x27\x0a", b"fgb\x03")):
        return
    if head.startswith(b"PK"):
        with zipfile.ZipFile(path) as archive:
            endings = {Path(name).suffix.lower() for name in archive.namelist()}
        if ".vrt" in endings or not endings & {".shp", ".gdbtable"}:
            raise _of_no_known_format(path, f"a zip of {', '.join(sorted(endings - {''}))}")
        return
    text = head.decode("utf-8-sig", errors="replace").lstrip()
    if text.startswith("{"):
        return
    root = re.search(r"<\s*(?:[\w.-]+:)?([A-Za-z][\w.-]*)", text)
    if text.startswith("<") and root and root.group(1) in ("kml", "FeatureCollection"):
        return
    raise _of_no_known_format(path, text[:40].strip() or "nothing")


def _of_no_known_format(path: Path, found: str) -> UnreadableError:
    return UnreadableError(
        "the file is damaged, or of no format that is read here",
        where=path.name,
        found=found,
        accepted="GeoPackage, Shapefile (also zipped), file geodatabase, GeoJSON, FlatGeobuf, "
        "KML, GML, CSV",
    )


def open_source(text: str | Path) -> Source:
    """
    Look at a source; no row is brought in.

    Parameters
    ----------
    text
        Path of a file, a zip of a shapefile, or a file geodatabase folder.

    Raises
    ------
    WordsError
        It is remote.
    UnreadableError
        It is not there, incomplete, damaged or of no known format.
    """
    path = Path(text)
    _refuse(path, str(text))
    if path.suffix.lower() in CSV_ENDINGS:
        return _open_csv(path)
    _refuse_unknown(path)
    address = f"/vsizip/{path.resolve().as_posix()}" if path.suffix.lower() == ".zip" else str(path)
    # GDAL would otherwise leave a side file next to somebody else's GML
    options = {"WRITE_GFS": "NO"} if path.suffix.lower() == ".gml" else {}
    import fiona
    import fiona.errors

    try:
        layers, driver = _look_with_fiona(address, options)
    except fiona.errors.DriverError:
        layers, driver = _look_with_pyogrio(address, path)  # KML and others fiona lacks
    if not layers:
        raise UnreadableError("the source has no layers", where=path.name)
    return Source(path, path.name, address, driver, tuple(layers), options)


def _look_with_fiona(address: str, options: dict[str, Any]) -> tuple[list[Layer], str]:
    import fiona

    layers, driver = [], ""
    for name in fiona.listlayers(address, **options):
        with fiona.open(address, layer=name, **options) as collection:
            driver = str(collection.driver)
            wkt = collection.crs_wkt
            kind = collection.schema.get("geometry")
            rows = len(collection)
            layers.append(
                Layer(
                    name=name,
                    geometry_type=None if kind in (None, "None") else str(kind),
                    rows=rows,
                    crs=pyproj.CRS.from_user_input(wkt) if wkt else None,
                    fields=dict(collection.schema["properties"]),
                    bounds=tuple(collection.bounds)
                    if rows and kind not in (None, "None")
                    else None,
                )
            )
    return layers, driver


def _look_with_pyogrio(address: str, path: Path) -> tuple[list[Layer], str]:
    import pyogrio
    import pyogrio.errors

    try:
        layers, driver = [], ""
        for layer, _ in pyogrio.list_layers(address):
            info = pyogrio.read_info(address, layer=layer, force_feature_count=True)
            driver = str(info["driver"])
            bounds = info["total_bounds"]
            layers.append(
                Layer(
                    name=str(layer),
                    geometry_type=info["geometry_type"],
                    rows=int(info["features"]),
                    crs=pyproj.CRS.from_user_input(info["crs"]) if info["crs"] else None,
                    fields=dict(zip(info["fields"], info["dtypes"], strict=True)),
                    bounds=None if bounds is None else tuple(float(b) for b in bounds),  # type: ignore[arg-type]
                )
            )
    except pyogrio.errors.DataSourceError as error:
        raise _of_no_known_format(path, str(error)) from error
    return layers, driver


def read_text_table(path: Path) -> pd.DataFrame:
    """
    A delimited text file, every cell as text, blank cells missing.

    Parameters
    ----------
    path
        Comma, semicolon, tab or vertical bar; UTF-8, else Windows-1252.

    Raises
    ------
    UnreadableError
        Lines have unlike numbers of cells, or the file is empty.
    """
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    raw = path.read_bytes()
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    first = text.lstrip().split("\n", 1)[0]
    if not first.strip():
        raise UnreadableError("the file is empty", where=path.name)
    delimiter = max(",;\t|", key=first.count)
    names = next(csv.reader(io.StringIO(text.lstrip()), delimiter=delimiter))
    plain = [name.strip() for name in names]
    if len(set(plain)) < len(plain):
        twice = sorted({name for name in plain if plain.count(name) > 1})
        raise UnreadableError(
            "two columns of the table have one name", where=path.name, found=some(twice),
            do="give each column a name of its own",
        )  # fmt: skip
    try:
        table = arrow_csv.read_csv(
            pa.BufferReader(text.encode()),
            parse_options=arrow_csv.ParseOptions(delimiter=delimiter, newlines_in_values=True),
            convert_options=arrow_csv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.string()),
                null_values=[""],
                strings_can_be_null=True,
            ),
        )
    except pa.ArrowInvalid as error:
        raise UnreadableError(
            "the lines of the file have unlike numbers of cells",
            where=path.name,
            found=str(error),
            do="mend the line, or save the sheet again as CSV",
        ) from error
    frame: pd.DataFrame = table.to_pandas()
    for name in frame.columns:
        frame[name] = frame[name].astype("str").mask(frame[name].isna())
    return frame.rename(columns=str.strip)


def _open_csv(path: Path) -> Source:
    frame = read_text_table(path)
    x, y = point_fields(list(frame.columns))
    layer = Layer(
        name=path.stem,
        geometry_type="Point" if x and y else None,
        rows=len(frame),
        crs=None,
        fields=dict.fromkeys(frame.columns, "text"),
    )
    return Source(path, path.name, str(path), "CSV", (layer,))


def point_fields(names: list[str]) -> tuple[str | None, str | None]:
    """
    The fields that hold X and Y, by their usual names, None where there are none.

    Examples
    --------
    >>> point_fields(["Y", "X", "Street"])
    ('X', 'Y')
    """
    lower = {name.lower(): name for name in names}
    x = next((lower[name] for name in X_NAMES if name in lower), None)
    y = next((lower[name] for name in Y_NAMES if name in lower), None)
    return x, y


def read_rows(source: Source, layer: Layer) -> gpd.GeoDataFrame | pd.DataFrame:
    """
    The rows as they stand, index 1 to n (the row's number), geometry where the source has one.

    Raises
    ------
    UnreadableError
        The file breaks off or is damaged.
    """
    if source.is_csv:
        return _read_csv_rows(source)
    import pyogrio
    import pyogrio.errors

    frame: gpd.GeoDataFrame | pd.DataFrame
    options = dict(source.options)
    try:
        try:
            frame = pyogrio.read_dataframe(
                source.address, layer=layer.name, use_arrow=True, **options
            )
        except (NotImplementedError, RuntimeError, ValueError):
            # some code domains and mixed columns cannot pass through Arrow
            frame = pyogrio.read_dataframe(source.address, layer=layer.name, **options)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.FeatureError, OSError) as error:
        raise UnreadableError(
            "the source cannot be read to its end", where=source.name, found=str(error)
        ) from error
    if len(frame) != layer.rows:
        raise UnreadableError(
            "the source breaks off", where=source.name,
            found=f"{len(frame):,} rows of the {layer.rows:,} that it announces",
            do="ask for the file again",
        )  # fmt: skip
    frame.index = pd.RangeIndex(1, len(frame) + 1)
    return frame


def _read_csv_rows(source: Source) -> gpd.GeoDataFrame | pd.DataFrame:
    frame = read_text_table(source.path)
    frame.index = pd.RangeIndex(1, len(frame) + 1)
    x, y = point_fields(list(frame.columns))
    if x is None or y is None:
        return frame
    xs, ys = (pd.to_numeric(frame[name], errors="coerce").to_numpy() for name in (x, y))
    written = frame[x].notna() & frame[y].notna()
    unread = frame[written & (pd.isna(xs) | pd.isna(ys))]
    if len(unread) > len(frame) / 2:
        raise UnreadableError(
            "the coordinates cannot be read", where=source.name,
            found=f"{x} `{unread[x].iloc[0]}`, {y} `{unread[y].iloc[0]}` in row {unread.index[0]}",
            accepted="plain numbers such as 759710.50, no separators of thousands",
            do="save the table with plain numbers",
        )  # fmt: skip
    points = gpd.GeoSeries(gpd.points_from_xy(xs, ys), index=frame.index)
    unknown = pd.isna(xs) | pd.isna(ys)
    # a column of the table may be called `geometry` as well
    return gpd.GeoDataFrame(frame).set_geometry(points.mask(unknown).rename("(point)"))


def row_as_json(frame: pd.DataFrame) -> list[str]:
    """
    Rows as they stood in the source, as JSON text; meant for the few that were not accepted.

    Examples
    --------
    >>> row_as_json(pd.DataFrame({"a": ["x", None]}))
    ['{"a": "x"}', '{}']
    """
    shape = frame.geometry.name if isinstance(frame, gpd.GeoDataFrame) else None
    plain = pd.DataFrame(frame.drop(columns=[shape] if shape else []))
    return [
        json.dumps({str(k): str(v) for k, v in row.items() if not pd.isna(v)}, ensure_ascii=False)
        for row in plain.to_dict(orient="records")
    ]
