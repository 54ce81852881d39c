"""What stands in cells and over them: words, codes, flows, tags, and the names of fields."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

from hydrantgis.ground.errors import CRSError, SourceError, WordsError
from hydrantgis.ground.flows import FlowUnit
from hydrantgis.ground.units import LengthUnit

from .case import Case, Make, refused
from .makers import (
    EAST,
    FT,
    NORTH,
    TAPE,
    features,
    heights,
    hydrants,
    layer,
    readings,
    spot,
    table,
    then,
)

FEET = {"crs": FT}
GALLON_L = 3.785411784
"""231 cubic inches of 25.4 mm each. [L]"""


def with_domain(path: Path) -> None:
    """A table of codes in a GeoPackage, as its schema extension has them."""
    with closing(sqlite3.connect(path)) as base, base:
        base.executescript(
            """
            CREATE TABLE gpkg_data_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL,
              name TEXT, title TEXT, description TEXT, mime_type TEXT, constraint_name TEXT);
            CREATE TABLE gpkg_data_column_constraints (constraint_name TEXT NOT NULL,
              constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN,
              max NUMERIC, max_is_inclusive BOOLEAN, description TEXT);
            INSERT INTO gpkg_data_columns VALUES ('h','BARREL',NULL,NULL,NULL,NULL,'kinds');
            INSERT INTO gpkg_data_column_constraints VALUES
              ('kinds','enum','1',NULL,NULL,NULL,NULL,'Dry Barrel'),
              ('kinds','enum','2',NULL,NULL,NULL,NULL,'Wet Barrel');
            """
        )


TAGS = [
    {"ref": "0012", "emergency": "fire_hydrant", "fire_hydrant:type": "pillar", "note": 'a "b"'},
    {"ref": "13", "emergency": "fire_hydrant"},
    {"ref": "14", "emergency": "defibrillator"},
]


def as_hstore(tags: dict[str, str]) -> str:
    def quoted(word: str) -> str:
        return '"' + word.replace("\\", "\\\\").replace('"', '\\"') + '"'

    return ", ".join(f"{quoted(key)}=>{quoted(value)}" for key, value in tags.items())


def tagged(cells: list[str]) -> Make:
    spots = [spot(n) for n in range(len(cells))]
    return table({"TAGS": cells, "X": [x for x, _ in spots], "Y": [y for _, y in spots]})


OF_TAGS = {
    "said": FEET, "rows": (2, 0, 1), "aside": {3: "not-a-hydrant"},
    "codes": {"tags-unpacked": 1, "not-a-hydrant": 1, "value-says-nothing": 1},
    "values": {"hydrant_id": ["0012", "13"], "note": ['a "b"', None]},
}  # fmt: skip

HOSTILE = [
    "=cmd|' /C calc'!A0", "<img src=x onerror=alert(1)>", "'; DROP TABLE hydrants; --",
    "{{7*7}}${x}",
    "\x1b[2J\x1b]0;x\x07", "\u202egpkg.exe", "{\"a\": 1", "\\N \\0 %s %n", "SRID=4326;POINT",
]  # fmt: skip

CASES = [
    # words and codes
    Case(
        promise="codes of a GeoPackage are read as its own labels, and one without a label is told",
        make=then(layer(HYD_NO=["1", "2", "3"], BARREL=[1, 2, 9]), with_domain), rows=(3, 0, 0),
        values={"barrel": ["dry", "wet", None]},
        codes={"codes-read": 1, "code-unknown": 1, "value-not-allowed": 1},
        says=r"no label for `9` \(1\)",
    ),
    Case(
        promise="codes that the user has a table for are read by it, not by that of the source",
        make=then(layer(HYD_NO=["1", "2", "3"], BARREL=[1, 2, 9]), with_domain), rows=(3, 0, 0),
        said={"codes": {"BARREL": {"1": "wet", "2": "dry", "9": "other"}}},
        values={"barrel": ["wet", "dry", "other"]}, codes={"codes-read": 1},
    ),
    Case(
        promise="codes are read by the table of the user",
        make=hydrants(KIND=["A", "B", "C"]),
        said={
            **FEET, "fields": {"barrel": "KIND"},
            "codes": {"KIND": {"A": "Dry Barrel", "B": "wet"}},
            "meanings": {"barrel": {"C": "other"}},
        },
        rows=(3, 0, 0), values={"barrel": ["dry", "wet", "other"]},
        codes={"codes-read": 1, "code-unknown": 1},
    ),
    refused(
        "codes of a field that is not there are refused", hydrants(KIND=["A"]), SourceError,
        r"no field `KINDS`.*HYD_NO", said={**FEET, "codes": {"KINDS": {"A": "dry"}}},
    ),
    refused(
        "a word may not stand for what its column does not allow", hydrants(BARREL=["A"]),
        WordsError,
        r"`barrel` cannot be `Wet`.*dry, wet, other.*--value",
        said={**FEET, "meanings": {"barrel": {"A": "Wet"}}},
    ),
    Case(
        promise="spellings of makers become families, and those not in the table stay and are told",
        make=hydrants(MAKE=["ALDER-5", "alder 5", "Birch", "Cedar"]),
        said={**FEET, "meanings": {"family": {"Alder 5": "alder5", "birch": "birch2"}}},
        rows=(4, 0, 0),
        values={"family": ["alder5", "alder5", "birch2", "Cedar"]}, codes={"spelling-unknown": 1},
        says="Cedar",
    ),
    Case(
        promise="a word that no column allows leaves its cell blank and its row in",
        make=hydrants(STATUS=["Active", "Abandoned", "haunted"]), said=FEET, rows=(3, 0, 0),
        values={"status": ["in_service", "retired", None]}, codes={"value-not-allowed": 1},
        says="--value status:WORD=ALLOWED",
    ),
    Case(
        promise="an unknown method holds its reading",
        make=readings(
            HEIGHT_IN=["20", "21"], METHOD=["laser", "tape"], MEASURED_TO=["pumper-centerline"] * 2,
            MEASURED_FROM=["grade"] * 2,
        ),
        kind="readings", rows=(1, 1, 0), codes={"value-not-allowed": 1},
        aside={1: "value-not-allowed"},
        values={"method": ["tape"]}, says="--value method:WORD=ALLOWED",
    ),
    Case(
        promise="a reading of a hydrant that is not known is held",
        make=heights("20 in", "21 in"), kind="readings", said={"constants": TAPE}, known=["2"],
        rows=(1, 1, 0), codes={"unknown-hydrant": 1}, aside={1: "unknown-hydrant"},
        values={"hydrant_id": ["2"]},
    ),
    refused(
        "a unit for a column of words is refused", hydrants(OWNER=["a", "b"]), SourceError,
        "`owner` has no unit.*bury_ft", said={**FEET, "units": {"owner": LengthUnit.FT}},
    ),
    refused(
        "words for a column of numbers are refused", hydrants(BURY_FT=["4", "5"]), SourceError,
        "`bury_ft` holds no words.*barrel", said={**FEET, "meanings": {"bury_ft": {"4": "dry"}}},
    ),
    Case(
        promise="a profile tells the uncertainty of a method, and a reading its own before that",
        make=readings(HEIGHT_IN=["20", "21", "22"], METHOD=["tape", "tape", "level"],
                      SD=["", "0.1 in", ""]),
        said={
            "constants": {k: v for k, v in TAPE.items() if k != "method"},
            "method_sd": {"tape": "12.7 mm"}, "fields": {"height_sd_in": "SD"},
        },
        kind="readings", rows=(3, 0, 0), values={"height_sd_in": [0.5, 0.1, None]},
    ),
    # where a reading was taken
    Case(
        promise="a reading taken elsewhere than its hydrant stands is held with the distance",
        make=table(
            {
                "HYDRANT": ["1", "2", "3"], "HEIGHT": ["20 in", "21 in", "22 in"],
                "X": [EAST + 4, EAST - 20, ""], "Y": [NORTH, NORTH + 3, ""],
            },
            "r.csv",
        ),
        kind="readings", said={"constants": TAPE, "crs": FT}, known=["1", "2", "3"],
        rows=(2, 1, 0), codes={"reading-elsewhere": 1}, aside={2: "reading-elsewhere"},
        says="taken 120 ft from where hydrant 2 stands",
    ),
    Case(
        promise="readings with coordinates of no CRS come in and say what would prove them",
        make=table(
            {"HYDRANT": ["1"], "HEIGHT": ["20 in"], "LON": [-71.2], "LAT": [42.3]}, "r.csv"
        ),
        kind="readings", said={"constants": TAPE}, known=["1"], rows=(1, 0, 0),
        codes={"reading-place-unread": 1}, says="nothing says of which CRS",
    ),
    refused(
        "readings that nearly all lie elsewhere are refused, for their CRS or ids are wrong",
        table(
            {
                "HYDRANT": list("1234"), "HEIGHT": ["20 in"] * 4, "X": [EAST + n for n in range(4)],
                "Y": [NORTH - 5000.0] * 4,
            },
            "r.csv",
        ),
        CRSError, "4 of 4 lie more than 100 ft away.*--crs", kind="readings",
        said={"constants": TAPE, "crs": FT}, known=list("1234"),
    ),
    # flows
    Case(
        promise="flows are read with their units",
        make=hydrants(FLOW=["1200 l/min", "1000 gpm", "60 m3/h", "1,500 GPM", "fast"]), said=FEET,
        rows=(5, 0, 0),
        values={"flow_gpm": [1200 / GALLON_L, 1000.0, 1000 / GALLON_L, 1500.0, None]},
        codes={"value-unreadable": 1},
    ),
    Case(
        promise="flows without a unit leave their column blank and say so",
        make=hydrants(FLOW=["1200", "1000"]), said=FEET, rows=(2, 0, 0),
        values={"flow_gpm": [None, None]}, codes={"unit-missing": 1}, says="--unit flow_gpm=UNIT",
    ),
    Case(
        promise="bare flows are read in the unit that is said",
        make=hydrants(FLOW=["1200", "600"]), said={**FEET, "units": {"flow_gpm": FlowUnit.L_MIN}},
        rows=(2, 0, 0), values={"flow_gpm": [1200 / GALLON_L, 600 / GALLON_L]},
    ),
    Case(
        promise="bare flows in a field that is called gpm are gallons",
        make=hydrants(HYDRANT_GPM=["1200", "-5"]), said=FEET, rows=(2, 0, 0),
        values={"flow_gpm": [1200.0, None]}, codes={"value-unreadable": 1},
    ),
    # names of fields
    Case(
        promise="Spanish names and words are understood",
        make=table(
            {
                "Número Hidrante": ["12", "13"], "Dirección": ["Calle Olmo 1", "Calle Olmo 3"],
                "Profundidad (m)": ["1.5", "1.2"],
                "Fecha Instalación": ["13/04/2004", "2004-05-06"],
                "Estado": ["Activo", "Fuera de servicio"], "Este": [760000, 760100],
                "Norte": [2950000] * 2,
            }
        ),
        said=FEET, rows=(2, 0, 0), points=[spot(0), spot(1)], codes={"date-order-proved": 1},
        values={
            "hydrant_id": ["12", "13"], "address": ["Calle Olmo 1", "Calle Olmo 3"],
            "bury_ft": [1.5 / 0.3048, 1.2 / 0.3048], "install_date": ["2004-04-13", "2004-05-06"],
            "status": ["in_service", "out_of_service"],
        },
    ),
    Case(
        promise="French names and words are understood",
        make=table(
            {
                "Numéro hydrant": ["12", "13"], "Adresse": ["rue des Ormes 1", "rue des Ormes 3"],
                "Date pose": ["2004-04-13", "2004-05-06"], "État": ["En service", "Hors service"],
                "Débit": ["60 m3/h", "120 m3/h"], "X": [760000, 760100], "Y": [2950000] * 2,
            }
        ),
        said=FEET, rows=(2, 0, 0),
        values={
            "hydrant_id": ["12", "13"], "address": ["rue des Ormes 1", "rue des Ormes 3"],
            "install_date": ["2004-04-13", "2004-05-06"],
            "status": ["in_service", "out_of_service"],
            "flow_gpm": [1000 / GALLON_L, 2000 / GALLON_L],
        },
    ),
    Case(
        promise="German names and words are understood",
        make=table(
            {
                "Hydrantennummer": ["12", "13"], "Straße": ["Ulmenweg 1", "Ulmenweg 3"],
                "Einbautiefe (m)": ["1,5", "1,25"], "Eigentümer": ["Stadtwerk", "Stadtwerk"],
                "Zustand": ["In Betrieb", "Außer Betrieb"], "Rechtswert": [760000, 760100],
                "Hochwert": [2950000] * 2,
            }
        ),
        said=FEET, rows=(2, 0, 0),
        values={
            "hydrant_id": ["12", "13"], "address": ["Ulmenweg 1", "Ulmenweg 3"],
            "bury_ft": [1.5 / 0.3048, 1.25 / 0.3048], "owner": ["Stadtwerk"] * 2,
            "status": ["in_service", "out_of_service"],
        },
    ),
    Case(
        promise="German degrees are found by their names",
        make=table({"Hydrant Nr": ["1"], "Längengrad": ["-71,1"], "Breitengrad": ["42,37"]}),
        said={"crs": "EPSG:4326"}, rows=(1, 0, 0), points=[(-71.1, 42.37)],
    ),
    Case(
        promise="tags packed as hstore become fields, and what is tagged otherwise is no hydrant",
        make=tagged([as_hstore(tags) for tags in TAGS]), **OF_TAGS,
    ),
    Case(
        promise="tags packed as JSON become fields, and what is tagged otherwise is no hydrant",
        make=tagged([json.dumps(tags) for tags in TAGS]), **OF_TAGS,
    ),
    Case(
        promise="names that a shapefile cut to ten letters are known again",
        make=layer(
            "h.shp", hydrant_number=["0012", "13"], installation_date=["2004-04-13", "2004-05-06"],
            bury_depth=["4 ft", "54 in"],
        ),
        rows=(2, 0, 0),
        values={
            "hydrant_id": ["0012", "13"], "install_date": ["2004-04-13", "2004-05-06"],
            "bury_ft": [4.0, 4.5],
        },
    ),
    Case(
        promise="of two names that were cut alike the second is not taken for the id",
        make=layer("h.shp", hydrant_facility_id=["0012", "13"], hydrant_facility_nm=["12", "13"]),
        rows=(2, 0, 0), values={"hydrant_id": ["0012", "13"]},
    ),
    refused(
        "a name that was cut twice is asked about, with what it may be",
        layer("h.shp", hydrant_facility_name=["red", "red"], hydrant_facility_id=["0012", "13"]),
        SourceError, r"hydrant__1.*cut.*--field hydrant_id=FIELD",
        said={"fields": {"note": "hydrant_fa"}},
    ),
    Case(
        promise="lists of a GeoJSON are kept as JSON, and its properties may have any name",
        make=features(
            {"HYD_NO": "1", "NOTES": ["a", 2], "geometry": "round", "x": {"y": {"z": 1}}},
            {"HYD_NO": "2", "NOTES": None, "geometry": None, "x": None},
            shapes=[
                {"type": "Point", "coordinates": [-71.1, 42.37]},
                {"type": "Point", "coordinates": [-71.1, 42.38]},
            ],
        ),
        said={"fields": {"owner": "geometry", "address": "y.z"}}, rows=(2, 0, 0),
        values={"note": ['["a", 2]', None], "owner": ["round", None], "address": ["1", None]},
        codes={"tags-unpacked": 1}, points=[(-71.1, 42.37), (-71.1, 42.38)],
    ),
    # letters that mean to do harm
    Case(
        promise="hostile letters stay as typed in every field of a CSV",
        make=hydrants(**dict.fromkeys(("ADDRESS", "MAKE", "OWNER", "NOTES"), HOSTILE)),
        said=FEET, rows=(len(HOSTILE), 0, 0),
        values=dict.fromkeys(("address", "family", "owner", "note"), HOSTILE),
    ),
    Case(
        promise="hostile letters stay as typed in every field of a GeoPackage",
        make=layer(HYD_NO=[str(n) for n in range(1, 10)],
        **dict.fromkeys(("ADDRESS", "MAKE", "OWNER", "NOTES"), HOSTILE)),
        rows=(len(HOSTILE), 0, 0),
        values=dict.fromkeys(("address", "family", "owner", "note"), HOSTILE),
    ),
]  # fmt: skip
