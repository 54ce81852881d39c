"""Ids: what keeps its zeros, what stands for none, and who stands where."""

from __future__ import annotations

import openpyxl
import pandas as pd

from .case import Case
from .makers import EAST, FT, NORTH, book, layer, spot, table, text

FEET = {"crs": FT}
LONG = "H" * 5000 + "1"


def ids(*told: str) -> dict[str, list[object]]:
    """These ids a hundred feet apart."""
    spots = [spot(place) for place in range(len(told))]
    return {"HYD_NO": list(told), "X": [x for x, _ in spots], "Y": [y for _, y in spots]}


def sheet(*told: object) -> list[list[object]]:
    return [["HYD_NO", "X", "Y"]] + [[value, *spot(n)] for n, value in enumerate(told)]


def four_digits(made: openpyxl.Workbook) -> None:
    for row in made.worksheets[0].iter_rows(min_row=2, max_col=1):
        row[0].number_format = "0000"


CASES = [
    Case(
        promise="zeros in front stay in a CSV, and their twin without them is told",
        make=table(ids("0012", "0450", "12")), said=FEET, rows=(3, 0, 0),
        values={"hydrant_id": ["0012", "0450", "12"]}, codes={"id-alike": 2},
        says="as good as `0012`",
    ),
    Case(
        promise="zeros in front stay in a text cell of a workbook",
        make=book({"h": sheet("0012", "0450")}), said=FEET, rows=(2, 0, 0),
        values={"hydrant_id": ["0012", "0450"]},
    ),
    Case(
        promise="zeros that the format of a cell shows stay",
        make=book({"h": sheet(12, 450)}, four_digits), said=FEET, rows=(2, 0, 0),
        values={"hydrant_id": ["0012", "0450"]},
    ),
    Case(
        promise="zeros in front stay in a shapefile",
        make=layer("h.shp", HYD_NO=["0012", "0450"]), rows=(2, 0, 0),
        values={"hydrant_id": ["0012", "0450"]},
    ),
    Case(
        promise="whole numbers of a GeoPackage are ids as they are written",
        make=layer(HYD_NO=[12, 450]), rows=(2, 0, 0), values={"hydrant_id": ["12", "450"]},
    ),
    Case(
        promise="an id of nines is a hydrant's where its neighbours by number are there",
        make=table(ids("9998", "9999", "10000", "99999")), said=FEET, rows=(3, 1, 0),
        values={"hydrant_id": ["9998", "9999", "10000"]}, codes={"id-placeholder": 1},
        aside={4: "id-placeholder"},
    ),
    Case(
        promise="a line of totals under the rows is no hydrant",
        make=text("HYD_NO,X,Y\n1,760000,2950000\nTOTAL,,\n"), said=FEET, rows=(1, 1, 0),
        values={"hydrant_id": ["1"]}, codes={"id-placeholder": 1, "no-location": 1},
        aside={2: "id-placeholder"},
    ),
    Case(
        promise="an id that became a broken number is as good as the whole one",
        make=table(ids("1003", "1003.0", "1003.5")), said=FEET, rows=(3, 0, 0),
        values={"hydrant_id": ["1003", "1003.0", "1003.5"]}, codes={"id-alike": 2},
        says="as good as `1003.0`",
    ),
    Case(
        promise="ids that a blank among them made real stay whole",
        make=layer(HYD_NO=[12.0, None, 7.0]), rows=(2, 1, 0), values={"hydrant_id": ["12", "7"]},
        codes={"id-missing": 1}, aside={2: "id-missing"},
    ),
    Case(
        promise="a number of seventeen digits keeps them all where another row has none",
        make=layer(HYD_NO=pd.array([90_071_992_547_409_931, None], dtype="Int64")), rows=(1, 1, 0),
        values={"hydrant_id": ["90071992547409931"]}, codes={"id-missing": 1},
        aside={2: "id-missing"},
    ),
    Case(
        promise="a blank id is held, also where it is all blanks",
        make=table(ids("1", "", "   ", "4")), said=FEET, rows=(2, 2, 0),
        values={"hydrant_id": ["1", "4"]}, codes={"id-missing": 2},
        aside={2: "id-missing", 3: "id-missing"},
    ),
    Case(
        promise="rows without an id are numbered where the user asks for it",
        make=table(ids("1", "", "3")), said={**FEET, "number_rows": "R-"}, rows=(3, 0, 0),
        values={"hydrant_id": ["1", "R-2", "3"]},
    ),
    Case(
        promise="what stands for no id is held, in every spelling",
        make=table(ids("0", "N/A", "TBD", "unknown", "-9999", "17")), said=FEET, rows=(1, 5, 0),
        values={"hydrant_id": ["17"]}, codes={"id-placeholder": 5},
        aside=dict.fromkeys(range(1, 6), "id-placeholder"),
    ),
    Case(
        promise="three thousand rows called UNKNOWN are held one by one",
        make=table(ids(*["UNKNOWN"] * 3000, "7")), said=FEET, rows=(1, 3000, 0),
        values={"hydrant_id": ["7"]}, codes={"id-placeholder": 3000},
        aside=dict.fromkeys(range(1, 3001), "id-placeholder"),
    ),
    Case(
        promise="an id at thousands of rows is nobody's, whatever it is",
        make=table(ids(*["SEE MAP 4"] * 3000, "7")), said=FEET, rows=(1, 3000, 0),
        values={"hydrant_id": ["7"]}, codes={"id-placeholder": 3000},
        aside=dict.fromkeys(range(1, 3001), "id-placeholder"),
    ),
    Case(
        promise="the utility's own word for no id is held where it is said",
        make=table(ids("ask Hal", "7")), said={**FEET, "placeholders": ("ask Hal",)},
        rows=(1, 1, 0), codes={"id-placeholder": 1}, aside={1: "id-placeholder"},
    ),
    Case(
        promise="a row that stands twice is rejected once",
        make=table({"HYD_NO": ["1", "1", "2"], "X": [EAST, EAST, EAST + 100], "Y": [NORTH] * 3}),
        said=FEET, rows=(2, 0, 1), values={"hydrant_id": ["1", "2"]}, codes={"row-repeated": 1},
        aside={2: "row-repeated"},
    ),
    Case(
        promise="one id in one place with other words is held",
        make=table(
            {
                "HYD_NO": ["1", "1", "2"], "X": [EAST, EAST, EAST + 100], "Y": [NORTH] * 3,
                "NOTES": ["green", "red", "red"],
            }
        ),
        said=FEET, rows=(1, 2, 0), values={"hydrant_id": ["2"], "note": ["red"]},
        codes={"id-repeated": 2}, aside={1: "id-repeated", 2: "id-repeated"},
    ),
    Case(
        promise="one id in two places is held, with the distance",
        make=table(
            {"HYD_NO": ["1", "1", "2"], "X": [EAST, EAST + 30, EAST + 100],
             "Y": [NORTH, NORTH + 40, NORTH]}
        ),
        said=FEET, rows=(1, 2, 0), values={"hydrant_id": ["2"]}, codes={"id-in-two-places": 2},
        aside={1: "id-in-two-places", 2: "id-in-two-places"}, says="places 50 ft apart",
    ),
    Case(
        promise="two ids at one point, or half a foot apart, are held, and at 3.5 ft are not",
        make=table(
            {
                "HYD_NO": ["1", "2", "3", "4", "5", "6"],
                "X": [EAST, EAST, EAST + 100, EAST + 100.5, EAST + 200, EAST + 203.5],
                "Y": [NORTH] * 6,
            }
        ),
        said=FEET, rows=(2, 4, 0), values={"hydrant_id": ["5", "6"]}, codes={"ids-in-one-place": 4},
        aside=dict.fromkeys(range(1, 5), "ids-in-one-place"),
        says=r"`2` stands 0 ft.*`4` stands 0\.5 ft",
    ),
    Case(
        promise="two ids half a foot apart come in where the user wants no nearness",
        make=table({"HYD_NO": ["3", "4"], "X": [EAST, EAST + 0.5], "Y": [NORTH] * 2}),
        said={**FEET, "same_place_ft": 0.0}, rows=(2, 0, 0),
    ),
    Case(
        promise="ids that differ by case and marks alone are told and come in",
        make=table(ids("H-7", "h 7", "H8")), said=FEET, rows=(3, 0, 0),
        values={"hydrant_id": ["H-7", "h 7", "H8"]}, codes={"id-alike": 2},
    ),
    Case(
        promise="ids in other scripts stay as typed",
        make=table(ids("Ñ-7", "Ω 12", "消火栓3", "Ж9", "北")), said=FEET, rows=(5, 0, 0),
        values={"hydrant_id": ["Ñ-7", "Ω 12", "消火栓3", "Ж9", "北"]},
    ),
    Case(
        promise="letters that only a machine tells apart are told",
        make=table(ids("Caf\u00e91", "Cafe\u03011", "H\uff17", "H7")), said=FEET, rows=(4, 0, 0),
        values={"hydrant_id": ["Caf\u00e91", "Cafe\u03011", "H\uff17", "H7"]},
        codes={"id-alike": 4},
    ),
    Case(
        promise="SQL and HTML in ids are letters",
        make=table(ids("1'; DROP TABLE hydrants;--", "<script>alert(2)</script>", '3" OR "1"="1')),
        said=FEET, rows=(3, 0, 0),
        values={
            "hydrant_id": [
                "1'; DROP TABLE hydrants;--", "<script>alert(2)</script>", '3" OR "1"="1',
            ]
        },
    ),
    Case(
        promise="an id of five thousand letters stays whole",
        make=table(ids(LONG, "2")), said=FEET, rows=(2, 0, 0), values={"hydrant_id": [LONG, "2"]},
    ),
]  # fmt: skip
