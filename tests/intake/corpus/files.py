"""Files: broken off, in disguise, or made to do harm."""

from __future__ import annotations

import os
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from hydrantgis.ground.errors import SourceError, UnreadableError, WordsError

from .case import Case, Make, refused
from .makers import FT, attributes, book, cut, frame, layer, packed, raw, spot, text, then, zipped

MANY = {"HYD_NO": [str(n) for n in range(1, 401)]}
GDB = {"driver": "OpenFileGDB"}
HYDRANTS = {"HYD_NO": ["0012", "13"]}
BOTH = {"rows": (2, 0, 0), "values": {"hydrant_id": ["0012", "13"]}, "points": [spot(0), spot(1)]}
FEET = {"crs": FT}
KML = (
    '<?xml version="1.0"?>{0}<kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>d</name>'
    "<Folder><name>h</name><Placemark><name>{1}</name><Point><coordinates>-71.1,42.37</coordinates>"
    "</Point></Placemark></Folder></Document></kml>"
)
GML = (
    '<?xml version="1.0"?>{0}<ogr:FeatureCollection xmlns:ogr="http://ogr.maptools.org/" '
    'xmlns:gml="http://www.opengis.net/gml"><gml:featureMember><ogr:h fid="h.0">'
    "<ogr:geometryProperty>"
    '<gml:Point srsName="EPSG:2249"><gml:coordinates>760000,2950000</gml:coordinates></gml:Point>'
    "</ogr:geometryProperty><ogr:HYD_NO>{1}</ogr:HYD_NO></ogr:h></gml:featureMember>"
    "</ogr:FeatureCollection>"
)
LAUGHS = (
    '<!DOCTYPE lol [<!ENTITY a "lol"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">'
    '<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>'
)
OUTSIDE = '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>'


def second_layer(name: str, **columns: list[object]) -> Callable[[Path], None]:
    return lambda path: frame(**columns).to_file(path, layer=name)


def shape_parts(folder_in_zip: str = "") -> dict[str, bytes]:
    """A shapefile's parts, as small as they come: no record."""
    header = (
        b"\x00\x00\x27\x0a" + bytes(20) + (50).to_bytes(4, "big") + (1000).to_bytes(4, "little")
    )
    header += (1).to_bytes(4, "little") + bytes(64)
    return {
        f"{folder_in_zip}h.shp": header,
        f"{folder_in_zip}h.shx": header,
        f"{folder_in_zip}h.dbf": b"",
    }


def emptied(path: Path) -> None:
    with closing(sqlite3.connect(path)) as base, base:
        base.execute("DELETE FROM h")


def sparse(name: str, head: bytes = b"") -> Make:
    """A file that says it has two gigabytes and fills none of them."""

    def make(folder: Path) -> Path:
        path = folder / name
        path.write_bytes(head)
        os.truncate(path, 2_000_000_000)
        return path

    return make


def lone(ending: str) -> Make:
    return then(layer("h.shp", **HYDRANTS), lambda path: path.with_suffix(ending).unlink())


def folder(name: str) -> Make:
    def make(base: Path) -> Path:
        (base / name).mkdir()
        return base / name

    return make


def then_called(make_first: Make, name: str) -> Make:
    def make(base: Path) -> Path:
        return Path(make_first(base)).rename(base / name)

    return make


def called(name: str) -> Make:
    return then_called(layer(**HYDRANTS), name)


def with_strangers(path: Path) -> None:
    """What one system packs beside every member."""
    with zipfile.ZipFile(path, "a") as archive:
        for ending in ("shp", "dbf", "shx", "prj", "cpg"):
            archive.writestr(f"__MACOSX/export/._h.{ending}", b"\x00\x05\x16\x07" + bytes(60))


CASES = [
    # broken off
    *(
        refused(
            f"a {name} that breaks off is refused", then(layer(f"h.{ending}", **MANY), cut(share)),
            UnreadableError, r"damaged|breaks off|to its end",
        )
        for name, ending, share in (
            ("GeoPackage", "gpkg", 0.6), ("GeoJSON", "geojson", 0.7), ("FlatGeobuf", "fgb", 0.7),
            ("shapefile", "shp", 0.7),
        )
    ),
    *(
        refused(
            f"a shapefile whose {part} breaks off is refused",
            then(layer("h.shp", **MANY), cut(0.7, f".{part}")), UnreadableError,
            r"damaged|breaks off|to its end",
        )
        for part in ("dbf", "shx")
    ),
    refused(
        "a zip that breaks off is refused", then(packed(layer("h.shp", **MANY)), cut(0.7)),
        UnreadableError, r"zip file is damaged",
    ),
    refused(
        "a KML that breaks off is refused", text(KML.format("", "12")[:-30], "h.kml"),
        UnreadableError,
        r"damaged|to its end",
    ),
    refused(
        "a GML that breaks off is refused", text(GML.format("", "12")[:-30], "h.gml"),
        UnreadableError,
        r"damaged|breaks off|to its end",
    ),
    # in disguise
    refused("a file that is not there is told", lambda f: f / "no.gpkg", UnreadableError,
    r"no such file"),
    refused(
        "a folder is told, with what is read", folder("layers"), UnreadableError,
        r"a folder.*GeoPackage, Shapefile",
    ),
    refused(
        "a folder that is only called a geodatabase is told", folder("h.gdb"), UnreadableError,
        r"damaged",
    ),
    refused(
        "random bytes are told, with what is read",
        raw(bytes((n * 7919 + 13) % 251 for n in range(5000)), "h.geojson"), UnreadableError,
        r"no format that is read.*GeoPackage, Shapefile",
    ),
    refused(
        "text called a GeoPackage is told", text("HYD_NO,X,Y\n1,2,3\n", "h.gpkg"), UnreadableError,
        r"no format that is read.*GeoPackage, Shapefile",
    ),
    refused(
        "a database called a table is told", raw(b"SQLite format 3\x00" + bytes(999), "h.csv"),
        UnreadableError, r"no text.*GeoPackage, Shapefile",
    ),
    refused(
        "random bytes called a table are told",
        raw(bytes((n * 7919 + 13) % 251 for n in range(5000)), "h.csv"), UnreadableError,
        r"no text",
    ),
    *(
        refused(
            f"a shapefile without its {ending[1:]} is told with the part that is missing",
            lone(ending),
            UnreadableError, rf"no h\{ending} beside it.*zip with all its parts",
        )
        for ending in (".shx", ".dbf")
    ),
    Case(
        promise="a file whose name is full of marks is read",
        make=layer("hyd's #1 %20 & é?.gpkg", **HYDRANTS), **BOTH,
    ),
    *(
        refused(
            f"a file whose name holds `{mark}` is refused, for a reader would open another",
            called(f"a{mark}b.gpkg"), UnreadableError, rf"`{mark}`.*another name",
        )
        for mark in "!;"
    ),
    Case(
        promise="a workbook may hold any name", said=FEET, rows=(1, 0, 0),
        make=then_called(book({"h": [["HYD_NO", "X", "Y"], ["1", 760000, 2950000]]}), "a!b;c.dat"),
    ),
    Case(
        promise="a layer without a row brings none",
        make=then(layer(options={"SPATIAL_INDEX": "NO"}, **HYDRANTS), emptied), rows=(0, 0, 0),
    ),
    refused(
        "a GeoJSON without a feature is told",
        text('{"type":"FeatureCollection","features":[]}', "h.geojson"),
        SourceError, r"no field.*--field",
    ),
    refused(
        "JSON that is no GeoJSON is told", text('{"hydrants": [1, 2]}', "h.json"), UnreadableError,
        r"no format that is read.*GeoPackage, Shapefile",
    ),
    refused(
        "JSON without an end of brackets is told",
        text('{"type":"FeatureCollection","features":' + "[" * 100_000, "h.json"),
        UnreadableError, r"damaged",
    ),
    Case(
        promise="a file geodatabase is read", make=layer("h.gdb", options=GDB, **HYDRANTS), **BOTH,
    ),
    # zips
    Case(
        promise="a zipped file geodatabase is read",
        make=packed(layer("h.gdb", options=GDB, **HYDRANTS)),
        **BOTH,
    ),
    Case(
        promise="a file geodatabase in a folder of a zip is read",
        make=packed(layer("h.gdb", options=GDB, **HYDRANTS), "export 2026/"), **BOTH,
    ),
    Case(promise="a zipped shapefile is read", make=packed(layer("h.shp", **HYDRANTS)), **BOTH),
    Case(
        promise="a shapefile in a folder of a zip is read",
        make=packed(layer("h.shp", **HYDRANTS), "export 2026/"), **BOTH,
    ),
    Case(
        promise="what a system packs beside the members of a zip is no layer",
        make=then(
            packed(layer("h.shp", NOTES=["Süd", "Süd"], **HYDRANTS, options={"encoding": "cp1252"}),
            "export/"),
            with_strangers,
        ),
        **{**BOTH, "values": {"hydrant_id": ["0012", "13"], "note": ["Süd"] * 2}},
    ),
    refused(
        "a zip of layers in several folders is asked to be unpacked",
        zipped({**shape_parts("a/"), **shape_parts("b/")}), UnreadableError,
        r"several folders.*a, b.*unpack",
    ),
    refused(
        "a zipped shapefile whose shapes break off is refused",
        packed(then(layer("h.shp", **MANY), cut(0.7))), UnreadableError,
        r"breaks off.*ask for the file",
    ),
    refused(
        "a zipped shapefile without its table is told with the part that is missing",
        packed(then(layer("h.shp", **MANY), lambda p: p.with_suffix(".dbf").unlink())),
        UnreadableError,
        r"incomplete.*h\.dbf.*all its parts",
    ),
    *(
        refused(
            f"a zip that would unpack {where} is refused", zipped({**shape_parts(), name: b"x"}),
            UnreadableError, r"outside itself",
        )
        for where, name in (
            ("above itself", "../../x.shp"), ("to the root", "/etc/x.shp"),
            ("above itself with backslashes", "..\\..\\x.shp"), ("to a drive", "C:\\x\\x.shp"),
        )
    ),
    refused(
        "a zip that would swell a thousand times is refused",
        zipped({**shape_parts(), "h.dbf": bytes(150_000_000)}), UnreadableError,
        r"150,000,\d+ bytes out of",
    ),
    refused(
        "a zip with a virtual layer is refused",
        zipped({**shape_parts(), "h.vrt": b"<OGRVRTDataSource/>"}), UnreadableError,
        r"a zip of.*\.vrt",
    ),
    refused(
        "a zip of other things is told, with what is read", zipped({"readme.txt": b"x"}),
        UnreadableError,
        r"a zip of \.txt.*GeoPackage, Shapefile",
    ),
    refused("an empty zip is told", zipped({}), UnreadableError, r"a zip of nothing"),
    # XML that swells or reaches out
    *(
        refused(
            f"{name} with {what} is refused", text(form.format(head, "&a;"), f"h.{name.lower()}"),
            UnreadableError, r"document type or entities.*GeoPackage",
        )
        for name, form in (("KML", KML), ("GML", GML))
        for what, head in (("entities that swell", LAUGHS), ("an entity from outside", OUTSIDE))
    ),
    refused(
        "KML with entities is refused in any encoding",
        text(KML.format(LAUGHS, "&a;").replace("?>", ' encoding="UTF-16"?>', 1), "h.kml", "utf-16"),
        UnreadableError, r"document type or entities|no format",
    ),
    Case(
        promise="a KML is read in the degrees that it is always in",
        make=text(KML.format("", "0012"), "h.kml"), said={"fields": {"hydrant_id": "Name"}},
        rows=(1, 0, 0), values={"hydrant_id": ["0012"]}, points=[(-71.1, 42.37)],
        crs=("EPSG:4326", "source"),
    ),
    Case(
        promise="a GML is read in the CRS that it names",
        make=text(GML.format("", "0012"), "h.gml"), rows=(1, 0, 0), values={"hydrant_id": ["0012"]},
        points=[spot(0)], crs=(FT, "source"),
    ),
    # layers
    Case(
        promise="the name of a layer may hold quotes and semicolons",
        make=layer(options={"layer": "hyd\"r'ants; DROP TABLE x;--"}, **HYDRANTS), **BOTH,
    ),
    refused(
        "a source of several layers is asked which",
        then(layer(**HYDRANTS), second_layer("old", HYD_NO=["1"])), SourceError,
        r"2 layers.*h \(Point, 2\); old \(Point, 1\).*--layer NAME",
    ),
    refused(
        "a layer that is not there is told with those that are", layer(**HYDRANTS), SourceError,
        r"no layer `x`.*h \(Point, 2\).*--layer NAME", said={"layer": "x"},
    ),
    refused(
        "two shapefiles in a zip are two layers",
        packed(then(layer("h.shp", **HYDRANTS),
        lambda p: frame(**HYDRANTS).to_file(p.with_name("i.shp")))),
        SourceError, r"2 layers.*h \(Point, 2\); i \(Point, 2\)",
    ),
    refused(
        "a layer without geometry and coordinates is no hydrants", attributes(**HYDRANTS),
        SourceError,
        r"has no shapes.*fields HYD_NO.*--place",
    ),
    Case(
        promise="a layer without geometry is placed by its coordinates",
        make=attributes(**HYDRANTS, X=[760000.0, 760100.0], Y=[2950000.0] * 2), said=FEET, **BOTH,
    ),
    # another program has it open
    # elsewhere
    *(
        refused(
            f"{address} is refused", lambda _, address=address: address, WordsError,
            r"remote and virtual sources are refused.*--allow-remote.*save the source",
        )
        for address in (
            "http://example.org/h.geojson", "/vsicurl/http://example.org/h.geojson",
            "/vsizip//vsicurl/http://example.org/h.zip", "/vsis3/bucket/h.gpkg",
            "ftp://example.org/h.csv",
            "s3://bucket/h.gpkg", "file:///h.gpkg", "/vsimem/h.gpkg", "\\\\vsicurl/x://y",
        )
    ),
    # large
    refused("two empty gigabytes called a CSV are refused", sparse("h.csv"), UnreadableError,
    r"no text"),
    refused(
        "a CSV that ends in two empty gigabytes is refused",
        sparse("h.csv", b"HYD_NO,X,Y\n1,760000,2950000\n"), UnreadableError, r"no text", said=FEET,
    ),
    refused(
        "a GeoJSON that ends in two empty gigabytes is refused",
        sparse("h.geojson", b'{"type":"FeatureCollection","features":['), UnreadableError,
        r"damaged|to its end",
    ),
    refused(
        "two empty gigabytes called a GeoJSON are refused", sparse("h.geojson"), UnreadableError,
        r"no format that is read",
    ),
]  # fmt: skip
