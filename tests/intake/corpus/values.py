"""What stands in cells: lengths, dates, and marks for `not known`."""

from __future__ import annotations

import pandas as pd

from hydrantgis.ground.errors import UnitError
from hydrantgis.ground.units import LengthUnit

from .case import Case, refused
from .makers import FT, TAPE, features, heights, hydrants, layer, readings

FEET = {"crs": FT}

CASES = [
    # lengths
    Case(
        promise="lengths in every spelling are read, and those that cannot be are told",
        make=hydrants(
            BURY=["2'-6\"", "30 in", "0.75 m", "3 ft 6 1/2 in", "1000 mm", "2.5ftt", ".255",
            "4½ ft"]
        ),
        said=FEET, rows=(8, 0, 0), codes={"value-unreadable": 2},
        values={
            "bury_ft": [2.5, 2.5, 0.75 / 0.3048, 3 + 6.5 / 12, 1 / 0.3048, None, None, 4.5],
        },
        says="`ftt` is no known unit.*no unit",
    ),
    Case(
        promise="a fraction of inches is exact and a bury of an inch is told and blanked",
        make=hydrants(EXTENSION=['1 1/2"', '6"'], BURY=['1 1/2"', "4 ft"]), said=FEET,
        rows=(2, 0, 0),
        values={"installed_extension_in": [1.5, 6.0], "bury_ft": [None, 4.0]},
        codes={"value-out-of-range": 1},
    ),
    Case(
        promise="a unit that people misspell is read where the user says what it means",
        make=hydrants(BURY=["2.5ftt", "4 ft"]), said={**FEET, "spellings": {"ftt": LengthUnit.FT}},
        rows=(2, 0, 0), values={"bury_ft": [2.5, 4.0]},
    ),
    Case(
        promise="bare numbers without a unit leave their column blank and say so",
        make=hydrants(BURY=["4.5", "5"]), said=FEET, rows=(2, 0, 0),
        values={"bury_ft": [None, None]}, codes={"unit-missing": 1}, says="--unit bury_ft=UNIT",
    ),
    refused(
        "heights without a unit are refused, for without them a reading tells nothing",
        heights("18", "20"), UnitError,
        r"`HEIGHT` holds numbers without a unit.*--unit outlet_height_in",
        kind="readings", said={"constants": TAPE},
    ),
    Case(
        promise="bare numbers are read in the unit that is said for the column",
        make=hydrants(BURY=["1.2", "1.5"]), said={**FEET, "units": {"bury_ft": LengthUnit.M}},
        rows=(2, 0, 0), values={"bury_ft": [1.2 / 0.3048, 1.5 / 0.3048]},
    ),
    Case(
        promise="bare numbers are read in the unit that the name of the field ends in",
        make=hydrants(**{"Bury Depth (in)": ["42", "54"]}), said=FEET, rows=(2, 0, 0),
        values={"bury_ft": [3.5, 4.5]},
    ),
    Case(
        promise="units that stand in a field of their own are taken row by row",
        make=hydrants(BURY=["4", "48", "1.2", "5", "6"], BURY_UNIT=["ft", "IN", "m", "cubit", ""]),
        said={**FEET, "unit_fields": {"bury_ft": "BURY_UNIT"}}, rows=(5, 0, 0),
        values={"bury_ft": [4.0, 4.0, 1.2 / 0.3048, None, None]}, codes={"value-unreadable": 2},
        says="`cubit` is no known unit.*names no unit",
    ),
    Case(
        promise="feet that are read as inches are doubted",
        make=heights("1.5", "1.6", "1.7", "1.8", "2.0", name="HEIGHT_IN"), kind="readings",
        said={"constants": TAPE}, rows=(5, 0, 0),
        codes={"unit-doubtful": 1, "height-suspicious": 5},
        values={"outlet_height_in": [1.5, 1.6, 1.7, 1.8, 2.0]}, says="they look like ft",
    ),
    Case(
        promise="millimetres become inches",
        make=heights("457.2", "508", "  533.4 "), kind="readings",
        said={"constants": TAPE, "units": {"outlet_height_in": LengthUnit.MM}}, rows=(3, 0, 0),
        values={"outlet_height_in": [18.0, 20.0, 21.0]},
    ),
    Case(
        promise="lengths with a decimal comma are read",
        make=hydrants(BURY=["1,25 m", "1,5 m"]), said=FEET, rows=(2, 0, 0),
        values={"bury_ft": [1.25 / 0.3048, 1.5 / 0.3048]},
    ),
    Case(
        promise="a length whose comma may be either is refused until the mark is said",
        make=hydrants(BURY=["1,250 m", "1 m"]), said=FEET, rows=(2, 0, 0),
        values={"bury_ft": [None, 1 / 0.3048]}, codes={"value-unreadable": 1},
    ),
    Case(
        promise="a dot that marks thousands in one cell marks no decimals in another",
        make=hydrants(BURY=["1.250 mm", "1.5 m", "1,5 m"]), said={**FEET, "decimal": ","},
        rows=(3, 0, 0), values={"bury_ft": [1.25 / 0.3048, None, 1.5 / 0.3048]},
        codes={"value-unreadable": 1},
    ),
    Case(
        promise="a comma in a flow of gallons marks thousands, in litres it may mark either",
        make=hydrants(FLOW=["1,250 gpm", "1,250 l/min", "900 gpm"]), said=FEET, rows=(3, 0, 0),
        values={"flow_gpm": [1250.0, None, 900.0]}, codes={"value-unreadable": 1},
        says="may mark thousands or decimals",
    ),
    # marks for `not known`
    Case(
        promise="marks for not known are blanked and told, and a 0 that cannot be is none",
        make=hydrants(BURY_FT=["-9999", "999", "0", "4.5"],
        HOSE_SIZE_IN=["2.5", "-1", "9999", "2.5"]),
        said=FEET, rows=(4, 0, 0),
        values={"bury_ft": [None, None, None, 4.5], "hose_outlet_in": [2.5, None, None, 2.5]},
        codes={"sentinel-value": 2, "value-out-of-range": 1},
    ),
    Case(
        promise="words for not known are blank, and no problem",
        make=hydrants(
            BURY_FT=["N/A", "unknown", "TBD", "4"], BARREL=["Unknown", "dry", "", "N/A"],
            INSTALL_DATE=["unknown", "", "2004-05-06", "n/a"],
        ),
        said=FEET, rows=(4, 0, 0),
        values={
            "bury_ft": [None, None, None, 4.0], "barrel": [None, "dry", None, None],
            "install_date": [None, None, "2004-05-06", None],
        },
    ),
    Case(
        promise="a mark that the user names is blanked",
        make=hydrants(BURY_FT=["8.88", "4.5"], INSTALLED=["1950-01-01", "2004-05-06"]),
        said={**FEET, "sentinels": {"bury_ft": ("8.88",), "install_date": ("1950-01-01",)}},
        rows=(2, 0, 0), values={"bury_ft": [None, 4.5], "install_date": [None, "2004-05-06"]},
        codes={"sentinel-value": 2},
    ),
    Case(
        promise="a height of 0 in a shapefile may stand for not known",
        make=layer("r.shp", HYDRANT=["1", "2"], HEIGHT_IN=[0.0, 20.0]), kind="readings",
        said={"constants": TAPE}, rows=(1, 0, 1), values={"outlet_height_in": [20.0]},
        codes={"sentinel-value": 1, "no-height": 1}, aside={1: "no-height"},
    ),
    Case(
        promise="a height of 0 in a GeoPackage is a height, and a rare one",
        make=layer("r.gpkg", HYDRANT=["1", "2"], HEIGHT_IN=[0.0, 20.0]), kind="readings",
        said={"constants": TAPE}, rows=(2, 0, 0), values={"outlet_height_in": [0.0, 20.0]},
        codes={"height-suspicious": 1},
    ),
    Case(
        promise="a height of 999 in is a mark and its reading tells nothing",
        make=heights("999", "20", "", name="HEIGHT_IN"), kind="readings", said={"constants": TAPE},
        rows=(1, 0, 2), values={"outlet_height_in": [20.0]},
        codes={"sentinel-value": 1, "no-height": 2},
        aside={1: "no-height", 3: "no-height"},
    ),
    Case(
        promise="a height that no outlet has is rejected, and one that cannot be read is held",
        make=heights("300 in", "2.5ftt", "20 in"), kind="readings", said={"constants": TAPE},
        rows=(1, 1, 1), values={"outlet_height_in": [20.0]},
        codes={"value-out-of-range": 1, "height-implausible": 1, "value-unreadable": 1},
        aside={1: "height-implausible", 2: "value-unreadable"},
    ),
    Case(
        promise="a mark that the user names is blanked in text and among words too",
        make=hydrants(OWNER=["ZZ", "Town"], BARREL=["8", "dry"]),
        said={**FEET, "sentinels": {"owner": ("ZZ",), "barrel": ("8",)}}, rows=(2, 0, 0),
        values={"owner": [None, "Town"], "barrel": [None, "dry"]}, codes={"sentinel-value": 2},
    ),
    Case(
        promise="words in other scripts are told apart",
        make=hydrants(BARREL=["湿", "乾", "地上式"]),
        said={**FEET, "meanings": {"barrel": {"湿": "wet", "乾": "dry"}}}, rows=(3, 0, 0),
        values={"barrel": ["wet", "dry", None]}, codes={"value-not-allowed": 1},
    ),
    # dates
    Case(
        promise="a day after the twelfth proves that the month stands first",
        make=hydrants(INSTALLED=["03/04/2004", "03/25/2004"]), said=FEET, rows=(2, 0, 0),
        values={"install_date": ["2004-03-04", "2004-03-25"]}, codes={"date-order-proved": 1},
    ),
    Case(
        promise="a day after the twelfth proves that the day stands first",
        make=hydrants(INSTALLED=["03.04.2004", "25.3.2004"]), said=FEET, rows=(2, 0, 0),
        values={"install_date": ["2004-04-03", "2004-03-25"]}, codes={"date-order-proved": 1},
    ),
    Case(
        promise="dates that may be read both ways stay blank until the order is said",
        make=hydrants(INSTALLED=["03/04/2004", "2004-05-06"]), said=FEET, rows=(2, 0, 0),
        values={"install_date": [None, "2004-05-06"]}, codes={"value-unreadable": 1},
        says="--date-order mdy or dmy",
    ),
    Case(
        promise="dates are read in the order that is said",
        make=hydrants(INSTALLED=["03/04/2004", "2004-05-06"]), said={**FEET, "date_order": "dmy"},
        rows=(2, 0, 0), values={"install_date": ["2004-04-03", "2004-05-06"]},
    ),
    Case(
        promise="dates that prove two orders are none until one is said",
        make=hydrants(INSTALLED=["13/04/2004", "04/13/2004", "01/02/2004"]), said=FEET,
        rows=(3, 0, 0),
        values={"install_date": [None] * 3}, codes={"value-unreadable": 3}, says="--date-order",
    ),
    Case(
        promise="of dates in two orders those of the order that is said are read",
        make=hydrants(INSTALLED=["13/04/2004", "04/13/2004", "01/02/2004"]),
        said={**FEET, "date_order": "dmy"}, rows=(3, 0, 0),
        values={"install_date": ["2004-04-13", None, "2004-02-01"]}, codes={"value-unreadable": 1},
    ),
    refused(
        "readings whose dates may be read both ways are asked about",
        readings(DATE=["03/04/2026"], HEIGHT_IN=["20"]), UnitError,
        r"both ways.*mdy or dmy.*--date-order",
        kind="readings", said={"constants": TAPE},
    ),
    Case(
        # 1081036800 s are 12512 days of 86400 s after 1970-01-01, the 4th of April 2004
        promise="milliseconds since 1970 are read from numbers, and 0 is the mark for none",
        make=layer(HYD_NO=["1", "2"], INSTALLED=[1081036800000, 1081036800000 + 86400000]),
        rows=(2, 0, 0), values={"install_date": ["2004-04-04", "2004-04-05"]},
        codes={"dates-as-milliseconds": 1},
    ),
    Case(
        promise="milliseconds since 1970 are read from text",
        make=hydrants(INSTALLED=["1081036800000", ""]), said=FEET, rows=(2, 0, 0),
        values={"install_date": ["2004-04-04", None]}, codes={"dates-as-milliseconds": 1},
    ),
    Case(
        promise="dates before there were hydrants and dates that stand for none are blanked",
        make=hydrants(INSTALLED=["0911-05-06", "1899-12-30", "9999-12-31", "1899-12-29"]),
        said=FEET,
        rows=(4, 0, 0), values={"install_date": [None, None, None, "1899-12-29"]},
        codes={"date-implausible": 1, "sentinel-value": 2},
    ),
    Case(
        promise="a date of next year is told and stays",
        make=hydrants(INSTALLED=["2031-01-01", "2004-05-06"]), said=FEET, rows=(2, 0, 0),
        values={"install_date": ["2031-01-01", "2004-05-06"]}, codes={"date-in-future": 1},
    ),
    Case(
        promise="no day is made up for two-digit years, years alone and day counts",
        make=hydrants(INSTALL_DATE=["3/25/04", "2004", "38081", "31 Apr 2004", "2004-05-06"]),
        said=FEET,
        rows=(5, 0, 0), values={"install_date": [None] * 4 + ["2004-05-06"]},
        codes={"value-unreadable": 4}, says="two digits.*year alone.*day count.*no date",
    ),
    Case(
        promise="months written out are read",
        make=hydrants(INSTALLED=["13 Apr 2004", "April 13, 2004", "13-Apr-2004", "20040413"]),
        said=FEET,
        rows=(4, 0, 0), values={"install_date": ["2004-04-13"] * 4},
    ),
    Case(
        promise="a moment belongs to the day of the place that wrote it",
        make=hydrants(
            INSTALLED=["2004-03-01T20:00:00-08:00", "2004-03-01 23:30:00Z", "3/25/2004 4:05:06 PM"]
        ),
        said=FEET, rows=(3, 0, 0),
        values={"install_date": ["2004-03-01", "2004-03-01", "2004-03-25"]},
        codes={"date-order-proved": 1},
    ),
    Case(
        promise="a moment in a GeoJSON belongs to the day of the place that wrote it",
        make=features(
            {"HYD_NO": "1", "INSTALLED": "2004-03-01T20:00:00-08:00"},
            {"HYD_NO": "2", "INSTALLED": "2004-07-01T20:00:00-07:00"},
            shapes=[
                {"type": "Point", "coordinates": [-71.1, 42.37]},
                {"type": "Point", "coordinates": [-71.1, 42.38]},
            ],
        ),
        rows=(2, 0, 0), values={"install_date": ["2004-03-01", "2004-07-01"]},
    ),
    Case(
        promise="moments of a GeoPackage become days",
        make=layer(
            HYD_NO=["1", "2"], INSTALLED=pd.to_datetime(["2004-03-01 23:59:59", None])
        ),
        rows=(2, 0, 0), values={"install_date": ["2004-03-01", None]},
    ),
    Case(
        promise="a reading of next year is held",
        make=readings(DATE=["2031-01-01", "2026-05-01"], HEIGHT_IN=["20", "21"]), kind="readings",
        said={"constants": TAPE}, rows=(1, 1, 0), codes={"date-in-future": 1},
        aside={1: "date-in-future"}, values={"outlet_height_in": [21.0]},
    ),
]  # fmt: skip
