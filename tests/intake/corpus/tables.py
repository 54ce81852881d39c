"""Tables of text and workbooks: letters, marks between cells, lines and rows that do not fit."""

from __future__ import annotations

import datetime as dt
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import openpyxl

from hydrantgis.ground.errors import SourceError, UnreadableError

from .case import Case, refused
from .makers import FT, attributes, book, cut, layer, raw, text, then, zipped

FEET = {"crs": FT}
HEAD = "HYD_NO,X,Y,NOTES\n"
ONE, TWO = "0012,760000,2950000,Elm\n", "13,760100,2950000,Oak\n"
BOTH = {"rows": (2, 0, 0), "values": {"hydrant_id": ["0012", "13"], "note": ["Elm", "Oak"]}}
ROWS = [
    ["HYD_NO", "X", "Y", "NOTES"],
    ["0012", 760000, 2950000, "Elm"],
    ["13", 760100, 2950000, "Oak"],
]
UMLAUT = "HYD_NO,X,Y,NOTES\n1,760000,2950000,Grüner Weg Š5\n"
GREEN = {"rows": (1, 0, 0), "values": {"note": ["Grüner Weg Š5"]}}


STREET = (
    '{"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": {"type": "Point", '
    '"coordinates": [-71.1, 42.37]}, "properties": {"HYD_NO": "1", "NOTES": "Grüner Weg Š5"}}]}'
)


def windows_letters(path: Path) -> None:
    with closing(sqlite3.connect(path)) as base, base:
        base.execute("UPDATE h SET NOTES = CAST(x'53fc64' AS TEXT)")


def split_by(mark: str) -> str:
    return (HEAD + ONE + TWO).replace(",", mark)


def say_utf8(path: Path) -> None:
    path.with_suffix(".cpg").write_text("UTF-8", encoding="ascii")


def uncomputed(made: openpyxl.Workbook) -> None:
    made.worksheets[0]["A3"] = "=A2+1"


def dressed(made: openpyxl.Workbook) -> None:
    """A day and a moment as cells, and columns that are only wide."""
    sheet = made.worksheets[0]
    sheet["E2"].number_format = "mm-dd-yy"
    sheet.column_dimensions["J"].width = 30
    sheet["H2"] = None
    sheet["H2"].number_format = "0.00"


def half(content: bytes) -> bytes:
    return content[: len(content) // 2]


def swollen(content: bytes) -> bytes:
    head = b'<!DOCTYPE x [<!ENTITY a "aa"><!ENTITY b "&a;&a;">]>'
    return content.replace(b"<worksheet", head + b"<worksheet", 1)


def change(member: str, into: Callable[[bytes], bytes], path: Path) -> None:
    """A member of a workbook made another."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts[member] = into(parts[member])
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)


CASES = [
    # letters
    Case(
        promise="a mark of UTF-8 at the start is no part of the first name",
        make=raw(b"\xef\xbb\xbf" + (HEAD + ONE + TWO).encode(), "h.csv"), said=FEET, **BOTH,
    ),
    Case(
        promise="UTF-16 is read by its mark",
        make=text(UMLAUT, encoding="utf-16"), said=FEET, codes={"encoding-taken": 1}, **GREEN,
    ),
    refused(
        "UTF-16 without its mark is asked about", text(UMLAUT, encoding="utf-16-le"),
        UnreadableError, r"no text.*--encoding utf-16", said=FEET,
    ),
    Case(
        promise="UTF-16 without its mark is read where it is said",
        make=text(UMLAUT, encoding="utf-16-le"), said={**FEET, "encoding": "utf-16-le"},
        codes={"encoding-taken": 1}, **GREEN,
    ),
    Case(
        promise="Windows letters are read and told",
        make=text(UMLAUT, encoding="cp1252"), said=FEET, codes={"encoding-taken": 1}, says="cp1252",
        **GREEN,
    ),
    Case(
        promise="letters of another code page are read where it is said",
        make=text("HYD_NO,X,Y,NOTES\n1,760000,2950000,Вязовая 5\n", encoding="cp1251"),
        said={**FEET, "encoding": "cp1251"}, rows=(1, 0, 0), values={"note": ["Вязовая 5"]},
        codes={"encoding-taken": 1},
    ),
    refused(
        "an encoding that does not fit is told", text(UMLAUT, encoding="cp1252"), UnreadableError,
        r"not written in utf-8.*--encoding", said={**FEET, "encoding": "utf-8"},
    ),
    Case(
        promise="letters read twice in the wrong way are told and stay",
        make=text(UMLAUT.encode().decode("cp1252")), said=FEET, rows=(1, 0, 0),
        values={"note": ["GrÃ¼ner Weg Å\u00a05"]}, codes={"text-garbled": 1},
    ),
    Case(
        promise="a shapefile whose cpg says UTF-8 of Windows letters is read by its bytes",
        make=then(
            layer("h.shp", HYD_NO=["1"], NOTES=["Grüner Weg Š5"],
            options={"encoding": "cp1252"}),
            say_utf8,
        ),
        codes={"encoding-taken": 1}, **GREEN,
    ),
    Case(
        promise="a shapefile without a cpg is read by its bytes",
        make=then(
            layer("h.shp", HYD_NO=["1"], NOTES=["Grüner Weg Š5"], options={"encoding": "utf-8"}),
            lambda p: p.with_suffix(".cpg").unlink(),
        ),
        **GREEN,
    ),
    refused(
        "a GeoJSON in Windows letters is asked for its encoding",
        text(STREET, "h.geojson", "cp1252"),
        UnreadableError, r"not in utf-8.*NOTES.*--encoding NAME",
    ),
    Case(
        promise="a GeoJSON in Windows letters is read where the encoding is said",
        make=text(STREET, "h.geojson", "cp1252"), said={"encoding": "cp1252"},
        codes={"encoding-taken": 1}, **GREEN,
    ),
    Case(
        promise="a GeoJSON with a mark of UTF-8 at its start is read",
        make=raw(b"\xef\xbb\xbf" + STREET.encode(), "h.geojson"), **GREEN,
    ),
    refused(
        "a GeoPackage in Windows letters is asked for its encoding",
        then(attributes(HYD_NO=["1"], NOTES=["x"]), windows_letters), UnreadableError,
        r"not in utf-8.*NOTES.*--encoding NAME",
    ),
    # marks between cells
    Case(promise="semicolons part cells", make=text(split_by(";")), said=FEET, **BOTH),
    Case(promise="tabs part cells", make=text(split_by("\t"), "h.tsv"), said=FEET, **BOTH),
    Case(promise="vertical bars part cells", make=text(split_by("|"), "h.txt"), said=FEET, **BOTH),
    Case(
        promise="a quoted cell may hold commas, quotes and line breaks",
        make=text(HEAD + '1,760000,2950000,"Elm, ""rear""\nsecond line"\n' + TWO), said=FEET,
        rows=(2, 0, 0),
        values={"hydrant_id": ["1", "13"], "note": ['Elm, "rear"\nsecond line', "Oak"]},
    ),
    Case(
        promise="lines may end as they do on any machine",
        make=raw((HEAD + ONE + TWO).replace("\n", "\r\n").encode(), "h.csv"), said=FEET, **BOTH,
    ),
    Case(
        promise="lines may end in a carriage return alone",
        make=raw((HEAD + ONE + TWO).replace("\n", "\r").encode(), "h.csv"), said=FEET, **BOTH,
    ),
    Case(
        promise="a name of a field may hold a line break",
        make=text('"HYD\nNO",X,Y,NOTES\n' + ONE + TWO), said=FEET, **BOTH,
    ),
    Case(
        promise="one mark of inches in a name is a letter",
        make=text('HYD_NO,X,Y,NOTES,SIZE "\n1,760000,2950000,Elm,6\n'), said=FEET, rows=(1, 0, 0),
        values={"note": ["Elm"]},
    ),
    # lines that do not fit
    refused(
        "rows of unlike length are told by number", text(HEAD + ONE + "13,760100,2950000\n" + TWO),
        UnreadableError, r"row 2: 3 cells; 4 names.*4 cells in each.*mend the lines", said=FEET,
    ),
    refused(
        "two columns of one name are told", text("HYD_NO,X,Y,NOTES,NOTES \n1,2,3,a,b\n"),
        UnreadableError,
        r"one name.*NOTES.*name of its own", said=FEET,
    ),
    Case(
        promise="a column without a name is given one, and a blank one is left out",
        make=text("HYD_NO,X,Y,,\n0012,760000,2950000,Elm,\n13,760100,2950000,Oak,\n"),
        said={**FEET, "fields": {"note": "column 4"}}, **BOTH,
    ),
    refused(
        "a title above the names is told with the way to name the row",
        text("Hydrants of the district\n\n" + HEAD + ONE), UnreadableError,
        r"unlike numbers of cells.*--header-row", said=FEET,
    ),
    Case(
        promise="titles above the names are left out where the row is said",
        make=text("Hydrants of the district\n\n" + HEAD + ONE + TWO),
        said={**FEET, "header_row": 3},
        **BOTH,
    ),
    Case(
        promise="blank lines hold nothing, wherever they stand",
        make=text("\n\n" + HEAD + "\n" + ONE + "\n\n" + TWO + "\n\n\n"), said=FEET, **BOTH,
    ),
    Case(
        promise="rows of blank cells are held one by one",
        make=text(HEAD + ONE + ",,,\n" + TWO + ",,,\n,,,\n"), said=FEET,
        codes={"id-missing": 3, "no-location": 3}, aside=dict.fromkeys((2, 4, 5), "id-missing"),
        **{**BOTH, "rows": (2, 3, 0)},
    ),
    Case(promise="a table of names alone brings no row", make=text(HEAD), said=FEET,
    rows=(0, 0, 0)),
    refused(
        "the number of an uneven row counts from below the names, wherever these stand",
        text('Title\n\n"HYD\nNO",X,Y,NOTES\n' + ONE + "\n" + TWO + "9,9\n"), UnreadableError,
        r"row 3: 2 cells", said={**FEET, "header_row": 3},
    ),
    refused("an empty file is told", text(""), UnreadableError, r"file is empty"),
    refused("a file of blank lines is empty", text("\n \n\r\n"), UnreadableError, r"file is empty"),
    refused(
        "zero bytes in a table are told", raw((HEAD + ONE).encode() + b"\x00\x00", "h.csv"),
        UnreadableError, r"no text.*--encoding", said=FEET,
    ),
    refused(
        "a quote that is never closed is told",
        text(HEAD + ONE + '13,760100,2950000,"Oak\n' + TWO * 9), UnreadableError,
        r"quote is not closed.*line 3 on", said=FEET,
    ),
    refused(
        "a quote that only the next quote closes is told",
        text(HEAD + ONE + '13,760100,2950000,"Oak\n14,760200,2950000,"Ash"\n' + TWO),
        UnreadableError,
        r"quote is not closed.*line 3 on", said=FEET,
    ),
    refused(
        "a quote that is never closed is told where lines end in a carriage return alone",
        raw((HEAD + ONE + '13,760100,2950000,"Oak\n' + TWO).replace("\n", "\r").encode(), "h.csv"),
        UnreadableError, r"quote is not closed.*line 3 on", said=FEET,
    ),
    refused(
        "a row of more than 16 MB is told",
        text(HEAD + ONE + "13,760100,2950000," + "x" * 40_000_000), UnreadableError,
        r"row is longer than 16 MB.*mend the row", said=FEET,
    ),
    Case(
        promise="quotes inside a cell that has none round it are letters",
        make=text(HEAD + '1,760000,2950000,6" main\n2,760100,2950000,8" main\n'), said=FEET,
        rows=(2, 0, 0), values={"note": ['6" main', '8" main']},
    ),
    Case(
        promise="an outline of many thousand letters beside a cell of two lines is read",
        make=text(
            'AREA,SHAPE,TITLE\nA,"POLYGON ((760000 2950000, '
            + ", ".join(f"{761_000 + n} 2950000" for n in range(20_000))
            + ', 780000 2960000, 760000 2950000))","North\nside"\n'
        ),
        kind="areas", said=FEET, rows=(1, 0, 0), values={"area_title": ["North\nside"]},
    ),
    refused(
        "a quote that is never closed is told also where a name has it",
        text('HYD_NO,X,Y,"NOTES\n' + ONE + TWO), UnreadableError, r"quote", said=FEET,
    ),
    refused(
        "a quote that is never closed in a large table is told before the memory is full",
        text(HEAD + ONE + '13,760100,2950000,"Oak\n' + TWO * 800_000), UnreadableError,
        r"quote.*line 3 on.*mend the row", said=FEET,
    ),
    Case(
        promise="a line that tells the mark between cells is left out where the row is said",
        make=text("sep=;\n" + split_by(";")), said={**FEET, "header_row": 2}, **BOTH,
    ),
    # workbooks
    refused(
        "a workbook of two sheets is asked which", book({"North": ROWS, "South": ROWS}),
        SourceError,
        r"2 layers.*North \(table, 2\); South \(table, 2\).*--layer", said=FEET,
    ),
    Case(
        promise="the sheet that is named is read",
        make=book({"North": ROWS[:2], "South": ROWS}), said={**FEET, "layer": "South"}, **BOTH,
    ),
    Case(
        promise="numbers of a workbook keep their dot where text has a decimal comma",
        make=book(
            {
                "h": [
                    ["HYD_NO", "X", "Y", "BURY (m)", "EXTENSION (m)"],
                    [1, -71.109, 42.373, 1.125, "0,15"], [2, -71.11, 42.37, "1,5", "0,3"],
                ]
            }
        ),
        said={"crs": "EPSG:4326", "decimal": ","}, rows=(2, 0, 0),
        points=[(-71.109, 42.373), (-71.11, 42.37)],
        values={
            "hydrant_id": ["1", "2"], "bury_ft": [1.125 / 0.3048, 1.5 / 0.3048],
            "installed_extension_in": [0.15 / 0.0254, 0.3 / 0.0254],
        },
    ),
    Case(
        promise="a sheet that cannot be read leaves the others alone",
        make=book({"h": ROWS, "Sums": [["SUM", "SUM"], [1, 2]]}), said=FEET, **BOTH,
    ),
    refused(
        "a sheet that cannot be read and is named says why",
        book({"h": ROWS, "Sums": [["SUM", "SUM"], [1, 2]]}), UnreadableError,
        r"`Sums` cannot be read: two columns", said={**FEET, "layer": "Sums"},
    ),
    Case(
        promise="sheets without a cell are no layers", make=book({"North": ROWS, "Sheet2": []}),
        said=FEET, **BOTH,
    ),
    refused(
        "formulas that were never computed are told by cell", book({"h": ROWS}, uncomputed),
        UnreadableError, r"never computed.*cell A3.*save it again", said=FEET,
    ),
    Case(
        promise="days, moments, flags and numbers of a workbook are read as they are meant",
        make=book(
            {
                "h": [
                    [*ROWS[0], "INSTALL_DATE", "BURY_FT", "FLAG"],
                    [*ROWS[1], dt.datetime(2004, 4, 13), 4.5, True],
                    [*ROWS[2], dt.datetime(2004, 5, 6, 7, 8, 9), 5, False],
                ]
            },
            dressed,
        ),
        said={**FEET, "fields": {"owner": "FLAG"}}, rows=(2, 0, 0),
        values={
            "install_date": ["2004-04-13", "2004-05-06"], "bury_ft": [4.5, 5.0],
            "owner": ["true", "false"], "hydrant_id": ["0012", "13"],
        },
    ),
    Case(
        promise="blank rows and columns of a workbook hold nothing",
        make=book({"h": [ROWS[0] + [None, None], ROWS[1], [], [None] * 4, ROWS[2], [], []]}),
        said=FEET, **BOTH,
    ),
    Case(
        promise="titles above the names of a workbook are left out where the row is said",
        make=book({"h": [["Hydrants of the district"], [], *ROWS]}), said={**FEET, "header_row": 3},
        **BOTH,
    ),
    refused(
        "a title above the names of a workbook is told with the way to name the row",
        book({"h": [["Hydrants of the district"], [], *ROWS]}), SourceError, r"--header-row",
        said=FEET,
    ),
    refused(
        "two columns of one name in a workbook are told",
        book({"h": [["HYD_NO", "X", "Y", "X "], ["1", 2, 3, 4]]}), UnreadableError,
        r"one name.*sheet h.*name of its own", said=FEET,
    ),
    refused(
        "a workbook that was cut off is damaged", then(book({"h": ROWS}), cut(0.6)),
        UnreadableError,
        r"zip file is damaged",
    ),
    refused(
        "a workbook whose sheet was cut off is damaged",
        then(book({"h": ROWS}), lambda p: change("xl/worksheets/sheet1.xml", half, p)),
        UnreadableError,
        r"workbook is damaged", said=FEET,
    ),
    refused(
        "a workbook with entities that swell is refused",
        then(book({"h": ROWS}), lambda p: change("xl/worksheets/sheet1.xml", swollen, p)),
        UnreadableError, r"workbook is damaged", said=FEET,
    ),
    Case(
        promise="what a spreadsheet shows for a value it does not have is blank",
        make=book({"h": [[*ROWS[0], "BURY_FT"], [*ROWS[1][:3], "#N/A", "#REF!"]]}), said=FEET,
        rows=(1, 0, 0), values={"note": [None], "bury_ft": [None]},
    ),
    refused(
        "an empty workbook is told", book({"h": []}), UnreadableError, r"holds no table", said=FEET,
    ),
    refused(
        "a zip that only looks like a workbook is damaged", zipped({"xl/workbook.xml": b"<a/>"}),
        UnreadableError, r"workbook is damaged",
    ),
]  # fmt: skip
