"""Where hydrants stand: coordinates in every dress, and systems that are missing or wrong."""

from __future__ import annotations

import json

import shapely

from hydrantgis.ground.errors import CRSError, SourceError, UnreadableError, WordsError

from .case import Case, refused
from .makers import (
    EAST,
    FT,
    NORTH,
    features,
    hydrants,
    layer,
    spot,
    table,
    then,
)

A, B, C = spot(0), spot(1), spot(2)
LON, LAT = -71.1, 42.37
DEGREES = {"crs": "EPSG:4326"}
FEET = {"crs": FT}


def shape(*cells: str) -> dict[str, list[str]]:
    """Ids and a column of shapes."""
    return {"HYD_NO": [str(n + 1) for n in range(len(cells))], "SHAPE": list(cells)}


def geojson(x: float, y: float, *z: float) -> dict[str, object]:
    return {"type": "Point", "coordinates": [x, y, *z]}


def row_of(count: int, *more: tuple[float, float]) -> dict[str, list[object]]:
    """Degrees of `count` hydrants in a row, 270 ft apart, and of some more."""
    places = [(LON + n / 1000, LAT) for n in range(count)] + list(more)
    return {
        "HYD_NO": [str(n + 1) for n in range(len(places))],
        "LON": [x for x, _ in places],
        "LAT": [y for _, y in places],
    }


# hand work: minutes are sixtieths and seconds are 3600ths of a degree
DMS = [
    ("42°22'25.3\" N", "71°06'33\" W", 42 + 22 / 60 + 25.3 / 3600, 71 + 6 / 60 + 33 / 3600),
    ("42 22 35.3 N", "71 06 43 W", 42 + 22 / 60 + 35.3 / 3600, 71 + 6 / 60 + 43 / 3600),
    ("N42:22:45.3", "W71:06:53", 42 + 22 / 60 + 45.3 / 3600, 71 + 6 / 60 + 53 / 3600),
    ("42d22m55.3s N", "71d07m03s W", 42 + 22 / 60 + 55.3 / 3600, 71 + 7 / 60 + 3 / 3600),
    (
        "42º 23\u2019 05.3\u201d N",
        "71º 07\u2019 13\u201d W",
        42 + 23 / 60 + 5.3 / 3600,
        71 + 7 / 60 + 13 / 3600,
    ),
    ("42° 23.25' n", "71° 07.5' w", 42 + 23.25 / 60, 71 + 7.5 / 60),
    ("42.40", "-71.20", 42.40, 71.20),
]

C = (700_000.0, 100_000.0)
"""Eight miles east and nineteen north of the origin of the county's system."""
COUNTY = (
    'PROJCS["Exampleton_County_Feet",GEOGCS["GCS_North_American_1983",'
    'DATUM["D_North_American_1983",SPHEROID["GRS_1980",6378137.0,298.257222101]],'
    'PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],'
    'PROJECTION["Transverse_Mercator"],PARAMETER["False_Easting",656166.6667],'
    'PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",-71.5],'
    'PARAMETER["Scale_Factor",0.99998],PARAMETER["Latitude_Of_Origin",42.0],'
    'UNIT["Foot_US",0.3048006096012192]]'
)

CASES = [
    # no CRS
    refused(
        "state plane feet in a CSV without a CRS are asked for with candidates",
        hydrants(NOTE=["a", "b"]), CRSError, r"\(760,000.*EPSG:2249.*--crs",
    ),
    refused(
        "degrees in a CSV without a CRS are asked for and not taken for WGS 84",
        table(row_of(2)), CRSError, r"EPSG:4326.*EPSG:4269.*--crs",
    ),
    refused(
        "a shapefile whose prj was lost is asked for its CRS",
        then(layer("h.shp", HYD_NO=["1", "2"]), lambda p: p.with_suffix(".prj").unlink()),
        CRSError, r"names no coordinate.*EPSG:2249.*--crs",
    ),
    Case(
        promise="a shapefile whose prj was lost comes in under the CRS that is said",
        make=then(layer("h.shp", HYD_NO=["1", "2"]), lambda p: p.with_suffix(".prj").unlink()),
        said=FEET, rows=(2, 0, 0), points=[A, B], crs=(FT, "user"),
    ),
    refused(
        "a GeoPackage of undefined CRS is asked for it",
        layer(crs=None, HYD_NO=["1", "2"]), CRSError, r"names no coordinate.*EPSG:2249",
    ),
    # a wrong CRS
    refused(
        "longitude and latitude labelled as state plane are refused",
        layer(geometry=[shapely.Point(LON, LAT)], HYD_NO=["1"]),
        CRSError, r"look like degrees, and EPSG:2249 is in lengths.*--crs",
    ),
    refused(
        "feet labelled as metres are refused", hydrants(NOTE=["a", "b"]),
        CRSError, r"only 0%.*EPSG:26986.*EPSG:2249.*same zone in US survey feet",
        said={"crs": "EPSG:26986"},
    ),
    refused(
        "swapped axes are told as such",
        table({"HYD_NO": ["1"], "LON": [LAT], "LAT": [LON]}),
        CRSError, r"x and y swapped.*--swap-xy", said={"crs": "EPSG:4269"},
    ),
    Case(
        promise="swapped axes are put right where the user says so",
        make=table({"HYD_NO": ["1"], "LON": [LAT], "LAT": [LON]}),
        said={"crs": "EPSG:4269", "swap_xy": True}, rows=(1, 0, 0), points=[(LON, LAT)],
    ),
    Case(
        promise="one swapped point among many is held",
        make=table(row_of(25, (LAT, LON))), said={"crs": "EPSG:4269"}, rows=(25, 1, 0),
        codes={"axes-swapped": 1}, aside={26: "axes-swapped"},
    ),
    Case(
        promise="a latitude of 95 among many is held",
        make=table(row_of(25, (LON, 95))), said=DEGREES, rows=(25, 1, 0),
        codes={"outside-crs-area": 1}, aside={26: "outside-crs-area"},
    ),
    refused(
        "a code that no CRS has is refused", hydrants(NOTE=["a"]),
        CRSError, r"`EPSG:99999` names no coordinate.*EPSG:2249", said={"crs": "EPSG:99999"},
    ),
    refused(
        "a vertical datum is no CRS of points", hydrants(NOTE=["a"]),
        CRSError, r"EPSG:5703.*height", said={"crs": "EPSG:5703"},
    ),
    refused(
        "a CRS from the middle of the Earth is no CRS of a map", hydrants(NOTE=["a"]),
        CRSError, r"EPSG:4978", said={"crs": "EPSG:4978"},
    ),
    refused(
        "a grid of a plant that lies nowhere is refused",
        layer(crs='LOCAL_CS["Plant grid",UNIT["foot",0.3048]]', HYD_NO=["1", "2"]), CRSError,
        r"no coordinate reference system.*--crs",
    ),
    Case(
        promise="a CRS with heights, and one tied to another datum, are read like their plain one",
        make=hydrants(NOTE=["a", "b"]), said={"crs": "EPSG:2249+5703"}, rows=(2, 0, 0),
        points=[A, B],
    ),
    Case(
        promise="a county CRS in a prj without a code comes in under its name",
        make=then(
            layer("h.shp", geometry=[shapely.Point(*C)], HYD_NO=["1"]),
            lambda p: p.with_suffix(".prj").write_text(COUNTY, encoding="ascii"),
        ),
        rows=(1, 0, 0), points=[C], crs=("Exampleton_County_Feet", "source"),
        codes={"crs-unproved": 1},
    ),
    Case(
        promise="a GeoJSON that names a projected CRS is read in it",
        make=features(
            {"HYD_NO": "1"}, shapes=[geojson(*A)],
            crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::2249"}},
        ),
        rows=(1, 0, 0), points=[A], crs=(FT, "source"),
    ),
    # text that tells a shape
    Case(
        promise="WKT in a CSV is read",
        make=table(shape(f"POINT ({EAST} {NORTH})", f"point({EAST + 100} {NORTH})")),
        said=FEET, rows=(2, 0, 0), points=[A, B], crs=(FT, "user"),
    ),
    Case(
        promise="EWKT names its own CRS",
        make=table(shape("SRID=2249;POINT(760000 2950000)", "SRID=2249;POINT(760100 2950000)")),
        rows=(2, 0, 0), points=[A, B], crs=(FT, "source"),
    ),
    Case(
        promise="a shape that names no SRID beside others that do is not taken for theirs",
        make=table(shape("SRID=2249;POINT(760000 2950000)", "POINT(760100 2950000)")),
        rows=(2, 0, 0), points=[(EAST, NORTH), None], crs=("EPSG:2249", "source"),
        codes={"place-unreadable": 1, "no-location": 1}, says="names no SRID, as other rows do",
    ),
    refused(
        "EWKT of two systems in one column is refused",
        table(shape("SRID=2249;POINT(760000 2950000)", f"SRID=4326;POINT({LON} {LAT})")),
        SourceError, r"2249.*4326", said=FEET,
    ),
    refused(
        "EWKT of SRID 0 names no CRS",
        table(shape("SRID=0;POINT(760000 2950000)")), CRSError, r"EPSG:2249.*--crs",
    ),
    refused(
        "EWKT of an SRID that nobody knows is asked for",
        table(shape("SRID=990001;POINT(760000 2950000)")), CRSError, r"990001.*--crs",
    ),
    Case(
        promise="WKB in hexadecimal digits is read",
        make=table(shape(shapely.Point(A).wkb_hex, shapely.Point(B).wkb_hex.lower())),
        said=FEET, rows=(2, 0, 0), points=[A, B],
    ),
    Case(
        promise="EWKB in hexadecimal digits names its own CRS",
        make=table(
            shape(shapely.to_wkb(shapely.set_srid(shapely.Point(A), 2249), True, include_srid=True))
        ),
        rows=(1, 0, 0), points=[A], crs=(FT, "source"),
    ),
    Case(
        promise="GeoJSON text in a cell is read",
        make=table(shape(json.dumps(geojson(LON, LAT)))), said=DEGREES, rows=(1, 0, 0),
        points=[(LON, LAT)],
    ),
    Case(
        promise="a GeoJSON feature in a cell gives its place and its properties",
        make=table(
            {
                "SHAPE": [
                    json.dumps(
                        {
                            "type": "Feature", "geometry": geojson(LON, LAT),
                            "properties": {"HYD_NO": "0012"},
                        }
                    )
                ]
            }
        ),
        said={**DEGREES, "fields": {"hydrant_id": "properties.HYD_NO"}}, rows=(1, 0, 0),
        points=[(LON, LAT)], values={"hydrant_id": ["0012"]}, codes={"tags-unpacked": 1},
    ),
    Case(
        promise="one broken shape among good ones keeps its row without a place",
        make=table(shape(f"POINT ({EAST} {NORTH})", f"POINT ({EAST + 100} {NORTH})", "POINT (7")),
        said=FEET, rows=(3, 0, 0), points=[A, B, None],
        codes={"place-unreadable": 1, "no-location": 1},
    ),
    # numbers as people write them
    Case(
        promise="degrees, minutes and seconds are read in all their spellings",
        make=table(
            {
                "HYD_NO": [str(n) for n in range(1, 8)],
                "LAT": [lat for lat, *_ in DMS],
                "LON": [lon for _, lon, *_ in DMS],
            }
        ),
        said=DEGREES, rows=(7, 0, 0), points=[(-west, north) for *_, north, west in DMS],
    ),
    Case(
        promise="an angle whose letter is that of the other axis is not read",
        make=table(
            {
                "HYD_NO": ["1", "2", "3"], "LAT": ["42 22 00 N", "42 23 00 N", "71 06 00 W"],
                "LON": ["71 06 00 W", "71 07 00 W", "71 08 00 W"],
            }
        ),
        said=DEGREES, rows=(3, 0, 0),
        points=[(-71.1, 42 + 22 / 60), (-71 - 7 / 60, 42 + 23 / 60), None],
        codes={"place-unreadable": 1, "no-location": 1}, says="the other coordinate",
    ),
    Case(
        promise="latitude and longitude are told by their names",
        make=table({"HYD_NO": ["1"], "Latitude": ["42.37"], "Longitude": ["-71.1"]}), said=DEGREES,
        rows=(1, 0, 0), points=[(LON, LAT)],
    ),
    refused(
        "a field of two numbers whose order nothing tells is asked about",
        table({"HYD_NO": ["1", "2"], "location": ["(42.37, -71.10)", "(42.38, -71.10)"]}),
        SourceError, r"location holds two numbers.*--place latlon=FIELD", said=DEGREES,
    ),
    Case(
        promise="a field of two numbers is read where its name tells their order",
        make=table({"HYD_NO": ["1", "2"], "latlon": ["(42.37, -71.1)", "42.38 -71.1"]}),
        said=DEGREES, rows=(2, 0, 0), points=[(LON, LAT), (LON, 42.38)],
    ),
    Case(
        promise="a field of two numbers is read where the user tells their order",
        make=table({"HYD_NO": ["1", "2"], "location": ["(42.37, -71.1)", "(42.38, -71.1)"]}),
        said={**DEGREES, "place": {"latlon": "location"}}, rows=(2, 0, 0),
        points=[(LON, LAT), (LON, 42.38)],
    ),
    Case(
        promise="separators of thousands and trailing blanks are read",
        make=table(
            {
                "HYD_NO": ["1", "2"], "X": ["760,000.50 ", "760,100.50"],
                "Y": ["2,950,000.25  ", "2,950,000.25"],
            }
        ),
        said=FEET, rows=(2, 0, 0), points=[(760_000.5, 2_950_000.25), (760_100.5, 2_950_000.25)],
    ),
    Case(
        promise="two angles in one cell are read, and letters tell which is which",
        make=table(
            {
                "HYD_NO": ["1", "2", "3", "4"],
                "location": [
                    "42 22 30 N, 71 06 36 W", "42°22'30\" N 71°07'12\" W", "42.375, -71.13",
                    "W71°08'24\" N42°22'30\"",
                ],
            }
        ),
        said={**DEGREES, "place": {"latlon": "location"}}, rows=(4, 0, 0),
        points=[(-71.11, 42.375), (-71.12, 42.375), (-71.13, 42.375), (-71.14, 42.375)],
    ),
    Case(
        promise="blanks between thousands and a decimal comma are read",
        make=table(
            {
                "HYD_NO": ["1", "2"], "X": ["760 000,50", "760\u00a0100,50"],
                "Y": ["2 950 000,25", "2 950 000,25"],
            }
        ),
        said=FEET, rows=(2, 0, 0), points=[(760_000.5, 2_950_000.25), (760_100.5, 2_950_000.25)],
    ),
    Case(
        promise="degrees with a decimal comma are read where the digits prove it",
        make=table({"HYD_NO": ["1", "2"], "LON": ["-71,1", "-71,1012"],
        "LAT": ["42,3712", "42,38"]}),
        said=DEGREES, rows=(2, 0, 0), points=[(-71.1, 42.3712), (-71.1012, 42.38)],
    ),
    refused(
        "a comma that may part thousands or decimals is asked about",
        table({"HYD_NO": ["1"], "X": ["236,000"], "Y": ["900,000"]}),
        UnreadableError, r"236,000.*--decimal", said={"crs": "EPSG:26986"},
    ),
    refused(
        "coordinates with a unit behind them are refused as they stand",
        table({"HYD_NO": ["1"], "X": ["760000 ft"], "Y": ["2950000 ft"]}),
        UnreadableError, r"760000 ft.*accepted.*759710.50", said=FEET,
    ),
    Case(
        promise="one coordinate with a unit keeps its row without a place",
        make=table(
            {"HYD_NO": ["1", "2", "3"], "X": ["760000", "760100", "760200 ft"], "Y": [NORTH] * 3}
        ),
        said=FEET, rows=(3, 0, 0), points=[A, B, None],
        codes={"place-unreadable": 1, "no-location": 1},
    ),
    Case(
        promise="an infinite coordinate in a table is no place",
        make=table({"HYD_NO": ["1", "2", "3"], "X": ["760000", "760100", "inf"], "Y": [NORTH] * 3}),
        said=FEET, rows=(3, 0, 0), points=[A, B, None],
        codes={"place-unreadable": 1, "no-location": 1},
    ),
    Case(
        promise="a number too large for a computer is no place",
        make=table({"HYD_NO": ["1", "2", "3"], "X": ["760000", "760100", "1e999"],
        "Y": [NORTH] * 3}),
        said=FEET, rows=(3, 0, 0), points=[A, B, None], codes={"no-location": 1},
    ),
    Case(
        promise="an infinite coordinate in a layer is no place",
        make=layer(geometry=[shapely.Point(A), shapely.Point(float("inf"), NORTH)],
        HYD_NO=["1", "2"]),
        rows=(2, 0, 0), points=[A, None], codes={"no-location": 1},
    ),
    Case(
        promise="a point at exactly 0, 0 keeps its row without a place",
        make=table({"HYD_NO": ["1", "2"], "X": ["760000", "0"], "Y": ["2950000", "0.0"]}),
        said=FEET, rows=(2, 0, 0), points=[A, None], codes={"zero-location": 1},
    ),
    Case(
        promise="blank coordinates keep the row without a place",
        make=table({"HYD_NO": ["1", "2"], "X": ["760000", ""], "Y": ["2950000", ""]}),
        said=FEET, rows=(2, 0, 0), points=[A, None], codes={"no-location": 1},
    ),
    Case(
        promise="words and marks for a place that is not known keep their rows without one",
        make=table(
            {
                "HYD_NO": ["1", "2", "3", "4", "5", "6"],
                "X": ["760000", "N/A", "unknown", "TBD", "-9999", "-1"],
                "Y": ["2950000", "N/A", "", "n/a", "-9999", "-1"],
            }
        ),
        said=FEET, rows=(6, 0, 0), points=[A] + [None] * 5,
        codes={"no-location": 3, "sentinel-value": 2},
    ),
    # half a place
    refused(
        "half a place is refused", hydrants(NOTE=["a"]), WordsError, r"x and y go together",
        said={**FEET, "place": {"x": "X"}},
    ),
    refused(
        "a place in a field that is not there is told with those that are", hydrants(NOTE=["a"]),
        SourceError, r"no field `EASTING`.*HYD_NO, X, Y, NOTE",
        said={**FEET, "place": {"x": "EASTING", "y": "Y"}},
    ),
    refused(
        "a place said of a layer that has shapes is refused", layer(HYD_NO=["1"], X=[1.0], Y=[1.0]),
        SourceError, r"shapes of its own.*--place", said={"place": {"x": "X", "y": "Y"}},
    ),
]  # fmt: skip
