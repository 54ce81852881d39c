"""What shapes are: of several kinds, in several parts, with heights, near each other."""

from __future__ import annotations

import shapely

from hydrantgis.ground.errors import SourceError

from .case import Case, refused
from .makers import EAST, NORTH, features, layer, spot, table
from .place import DEGREES, FEET, LAT, LON, geojson

A, B, C = spot(0), spot(1), spot(2)

CASES = [
    # shapes of other kinds
    Case(
        promise="a null and an empty geometry keep their rows without a place",
        make=layer(geometry=[shapely.Point(A), None, shapely.Point()], HYD_NO=["1", "2", "3"]),
        rows=(3, 0, 0), points=[A, None, None], codes={"no-location": 2},
    ),
    Case(
        promise="a MultiPoint of one part is a point and one of two parts is held",
        make=layer(
            geometry=[shapely.MultiPoint([A]), shapely.MultiPoint([B, C])], HYD_NO=["1", "2"]
        ),
        rows=(1, 1, 0), points=[A], codes={"many-parts": 1}, aside={2: "many-parts"},
    ),
    Case(
        promise="a Z that some points have is left out and told",
        make=features(
            {"HYD_NO": "1"}, {"HYD_NO": "2"}, {"HYD_NO": "3"},
            shapes=[geojson(LON, LAT, 12), geojson(LON, 42.38), geojson(LON, 42.39, 0)],
        ),
        rows=(3, 0, 0), points=[(LON, LAT), (LON, 42.38), (LON, 42.39)], codes={"z-left-out": 1},
    ),
    refused(
        "polygons are no hydrants",
        layer(geometry=[shapely.box(EAST, NORTH, EAST + 9, NORTH + 9)], HYD_NO=["1"]),
        SourceError, r"cannot be hydrants.*polygon.*Point.*--as",
    ),
    Case(
        promise="one polygon among points keeps its row without a place",
        make=features(
            {"HYD_NO": "1"}, {"HYD_NO": "2"},
            shapes=[
                geojson(LON, LAT),
                shapely.geometry.mapping(shapely.box(LON, LAT, LON + 0.1, LAT + 0.1)),
            ],
        ),
        rows=(2, 0, 0), points=[(LON, LAT), None], codes={"no-location": 1},
    ),
    Case(
        promise="coordinates in the attributes of features without geometry are found",
        make=features({"HYD_NO": "1", "LAT": LAT, "LON": LON},
        {"HYD_NO": "2", "LAT": 42.38, "LON": LON}),
        said=DEGREES, rows=(2, 0, 0), points=[(LON, LAT), (LON, 42.38)],
    ),
    refused(
        "features without geometry and coordinates are no hydrants",
        features({"HYD_NO": "1"}, {"HYD_NO": "2"}), SourceError, r"has no shapes.*--place",
        said=DEGREES,
    ),
    # what lies near
    Case(
        promise="hydrants that all stand at one point are all held",
        make=table({"HYD_NO": ["1", "2", "3"], "X": [EAST] * 3, "Y": [NORTH] * 3}), said=FEET,
        rows=(0, 3, 0), codes={"ids-in-one-place": 3, "zero-extent": 1},
        aside=dict.fromkeys((1, 2, 3), "ids-in-one-place"),
    ),
    Case(
        # 0.90 m are 2.95 ft and 0.95 m are 3.12 ft
        promise="nearness is measured in feet where the CRS is in metres",
        make=table(
            {
                "HYD_NO": ["1", "2", "3", "4"], "X": [236_000, 236_000.9, 236_100, 236_100.95],
                "Y": [900_000] * 4,
            }
        ),
        said={"crs": "EPSG:26986"}, rows=(2, 2, 0), values={"hydrant_id": ["3", "4"]},
        codes={"ids-in-one-place": 2}, aside=dict.fromkeys((1, 2), "ids-in-one-place"),
    ),
    Case(
        # at 42.4 degrees north a web-map metre is 0.74 m: 1.2 of them are 2.9 ft, not 3.9 ft
        promise="nearness is that on the ground where the CRS is that of web maps",
        make=table(
            {"HYD_NO": ["1", "2"], "X": [-7_914_816, -7_914_814.8], "Y": [5_216_000] * 2}
        ),
        said={"crs": "EPSG:3857"}, rows=(0, 2, 0), codes={"ids-in-one-place": 2},
        aside=dict.fromkeys((1, 2), "ids-in-one-place"),
    ),
    # other layers
    Case(
        promise="areas without an id or a shape are held and bent ones are mended",
        make=layer(
            geometry=[
                shapely.box(EAST, NORTH, EAST + 10, NORTH + 10),
                shapely.box(EAST + 10, NORTH, EAST + 20, NORTH + 10),
                shapely.Polygon([B, (B[0] + 9, B[1] + 9), (B[0] + 9, B[1]), (B[0], B[1] + 9)]),
                None, shapely.box(EAST + 50, NORTH, EAST + 60, NORTH + 10),
            ],
            AREA_ID=["N", "N", "S", "W", None],
        ),
        kind="areas", rows=(3, 2, 0), aside={4: "no-location", 5: "id-missing"},
        codes={"shape-mended": 1, "no-location": 1, "id-missing": 1, "areas-joined": 1},
        says="3 polygons became 2 areas",
    ),
    Case(
        promise="works tell by how much the grade changes and since when, each on its own",
        make=layer(
            geometry=[
                shapely.box(EAST, NORTH, EAST + 10, NORTH + 10),
                shapely.box(EAST + 5, NORTH, EAST + 20, NORTH + 10),
                shapely.box(EAST + 50, NORTH, EAST + 60, NORTH + 10),
                shapely.box(EAST + 70, NORTH, EAST + 80, NORTH + 10),
            ],
            PROJECT_NO=["P1", "P1", "P2", "P3"], FILL=["2 in", "0.5 ft", "-3 in", None],
            BUILT=["2026-05-01", None, None, None],
        ),
        kind="works", rows=(3, 1, 0), aside={4: "value-missing"},
        values={"work_id": ["P1", "P1", "P2"], "change_in": [2.0, 6.0, -3.0]},
        codes={"value-missing": 1},
    ),
    Case(
        promise="mains of one part and of several are one kind, and one without a shape stays",
        make=layer(
            geometry=[
                shapely.LineString([A, B]),
                shapely.MultiLineString([[A, B], [B, C]]), None,
            ],
            MAIN_ID=["1", "2", "3"], SIZE_IN=["8", '12"', "6 1/2"],
        ),
        kind="mains", rows=(3, 0, 0), codes={"no-location": 1},
        values={"main_id": ["1", "2", "3"], "size_in": [8.0, 12.0, 6.5]},
    ),
    Case(
        promise="centerlines are streets, and those without an id or with a shared one are held",
        make=layer(
            geometry=[
                shapely.LineString([A, B]), shapely.MultiLineString([[A, B], [B, C]]),
                shapely.LineString([B, C]), shapely.LineString([A, C]), shapely.LineString([C, A]),
            ],
            SEG_ID=["1", "2", None, "4", "4"],
            ST_NAME=["Anvil Street", "Osier Row", "Osier Row", "Fennel Lane", "Fennel Lane"],
        ),
        kind="streets", rows=(2, 3, 0), codes={"id-missing": 1, "id-in-two-places": 2},
        aside={3: "id-missing", 4: "id-in-two-places", 5: "id-in-two-places"},
        values={"street_id": ["1", "2"], "street_title": ["Anvil Street", "Osier Row"]},
    ),
    refused(
        "points are no areas", layer(AREA_ID=["1"]), SourceError,
        r"cannot be areas.*point.*MultiPolygon",
        kind="areas",
    ),
]  # fmt: skip
