"""Point files: orders, marks, headers, what is refused, and that no line is lost."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.errors import SourceError, UnreadableError, WordsError
from hydrantgis.intake.points import POINT_COLUMNS, read_point_file

ROWS = [
    ("101", 2950000.125, 750000.5, 18.25, "GND"),
    ("102", 2950010.0, 750020.75, -3.5, "FH HYD-0123, NUT; see note"),
    ("HYD 7", 2950020.5, 750040.0, 0.0, None),
]


@pytest.fixture
def written(tmp_path: Path):
    """A point file of the text given."""

    def make(text: str, letters: str = "utf-8") -> Path:
        path = tmp_path / "points.txt"
        path.write_bytes(text.encode(letters))
        return path

    return make


def records(frame: pd.DataFrame) -> list[tuple]:
    return [tuple(row) for row in frame.astype(object).where(frame.notna(), None).to_numpy()]


def lines(order: str, mark: str, rows=ROWS) -> str:
    by = dict(zip("PNEZD", range(5), strict=True))
    cells = [
        ["junk" if c == "-" else "" if row[by[c]] is None else str(row[by[c]]) for c in order]
        for row in rows
    ]
    return "\n".join(mark.join(line) for line in cells) + "\n"


@pytest.mark.parametrize("mark", [",", "\t", ";", "|"])
@pytest.mark.parametrize("order", ["PNEZD", "PENZD", "NEZPD", "ENZD", "P-NE-ZD", "ZPEND"])
def test_every_order_and_mark_tells_the_same_points(written, order, mark) -> None:
    told = read_point_file(written(lines(order, mark)), order=order)
    named = [row if "P" in order else (None, *row[1:]) for row in ROWS]
    assert list(told.points.columns) == list(POINT_COLUMNS)
    assert records(told.points) == named
    assert told.points.index.tolist() == [1, 2, 3]
    assert (told.delimiter, told.order, told.header) == (mark, order, None)
    assert told.rejected.empty
    assert told.findings.empty


def test_blanks_between_cells_count_as_one_and_stay_within_descriptions(written) -> None:
    path = written("  101   10.5\t 20.25  3  FH  HYD-1 NUT \n102 11 21 4\n")
    told = read_point_file(path, order="PNEZD")
    assert records(told.points) == [
        ("101", 10.5, 20.25, 3.0, "FH  HYD-1 NUT"), ("102", 11.0, 21.0, 4.0, None),
    ]  # fmt: skip
    assert told.delimiter == " "


@pytest.mark.parametrize(
    ("order", "text", "expected"),
    [
        ("NEZ", "1,2,3\n", (None, 1, 2, 3, None)),
        ("XYZ", "1,2,3\n", (None, 2, 1, 3, None)),
        ("pxyz*", "a,1,2,3,more,and more\n", ("a", 2, 1, 3, None)),
        ("EN", "1.5 2.5\n", (None, 2.5, 1.5, None, None)),
        ("PNEZ", "a,1,2,3,\n", ("a", 1, 2, 3, None)),
        ("PNEZD", "a,1,2,,GND\n", ("a", 1, 2, None, "GND")),
        ("PNEZD", '"a","1","2","3","6"" pipe, ""old"""\n', ("a", 1, 2, 3, '6" pipe, "old"')),
        ("PNEZD", 'a,1,2,3,6" pipe\n', ("a", 1, 2, 3, '6" pipe')),
        ("PNEZD", "0012,+1,-2.,.5,1e3\n", ("0012", 1, -2, 0.5, "1e3")),
    ],
)
def test_lines_of_other_shapes(written, order, text, expected) -> None:
    told = read_point_file(written(text), order=order)
    assert records(told.points) == [expected]
    assert told.rejected.empty


@pytest.mark.parametrize(
    ("header", "order"),
    [
        ("Point,Northing,Easting,Elevation,Description", "PNEZD"),
        ("Pt#,Easting (ft),Northing (ft),Elev. [ft],Raw Description", "PENZD"),
        ("name,y,x,z,code", "PNEZD"),
        ('"PNT","N","E","Z","D"', "PNEZD"),
        ("ptnum,north_usft,east_usft,elev_usft,desc", "PNEZD"),
        ("OBJECT,N,E,Z,DESC", "-NEZD"),
        ("Point No.,E,N,H,Remarks", "PENZD"),
    ],
)
def test_a_header_names_the_columns(written, header, order) -> None:
    told = read_point_file(written(f"# job 7\n\n{header}\n7,10,20,3,GND, wet\n"))
    place = (20.0, 10.0) if "EN" in order else (10.0, 20.0)
    assert records(told.points) == [("7" if order[0] == "P" else None, *place, 3.0, "GND, wet")]
    assert told.points.index.tolist() == [4]
    assert (told.order, told.header) == (order, header)
    assert (told.lines, told.blank, told.comments) == (4, 1, 1)


def test_what_the_user_says_goes_before_the_header(written) -> None:
    path = written("P,N,E,Z,D\n7,10,20,3,GND\n")
    assert records(read_point_file(path, order="PENZD").points) == [("7", 20, 10, 3, "GND")]


def test_a_first_line_without_numbers_is_a_row_where_the_user_says_so(written) -> None:
    told = read_point_file(written("a,b,c,d,e\n7,10,20,3,GND\n"), order="PNEZD", header=False)
    assert told.header is None
    assert told.rejected["text"].to_dict() == {1: "a,b,c,d,e"}


@pytest.mark.parametrize(
    "header",
    ["A,B,C,D,F", "P,N,Z,D", "N,N,E,Z", "Point,Northing,Easting,East", "id,latitude,longitude"],
)
def test_names_that_do_not_tell_are_refused(written, header) -> None:
    with pytest.raises(SourceError, match="do not tell which column is which") as caught:
        read_point_file(written(f"{header}\n1,2,3,4,5\n"))
    assert caught.value.do


@pytest.mark.parametrize("order", ["", "PZD", "PNZD", "PNNEZ", "PNEYZ", "PNEQ", "PNEZDD", "P N E"])
def test_words_that_are_no_order_are_refused(written, order) -> None:
    with pytest.raises(WordsError, match="no order of columns"):
        read_point_file(written("1,2,3,4,5\n"), order=order)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("7,x,20,3,GND", "the northing is no number"),
        ("7,10,,3,GND", "the easting is no number"),
        ("7,10,20,x,GND", "the elevation is no number"),
        ("7,10,20", "fewer than 4 cells"),
        ("7", "fewer than 4 cells"),
        ("7,nan,20,3,GND", "the northing is no number"),
        ("7,inf,20,3,GND", "the northing is no number"),
        ("7,10,0x14,3,GND", "the easting is no number"),
        ("7,10,1e999,3,GND", "the easting is no number"),
        ('"7,1,2,3,x",10,20,3,GND', "a mark between cells stands inside quotes"),
    ],
)
def test_a_line_that_cannot_be_read_is_kept_with_its_reason(written, line, reason) -> None:
    told = read_point_file(written(f"1,2,3,4,GND\n\n{line}\n9,2,3,4,GND"), order="PNEZD")
    assert told.points["point_id"].tolist() == ["1", "9"]
    assert told.rejected.to_dict("index") == {3: {"text": line, "reason": reason}}
    assert told.findings[["code", "key", "value"]].values.tolist() == [
        ["line-unreadable", "3", line]
    ]


def test_more_cells_than_the_order_has_are_not_swallowed(written) -> None:
    told = read_point_file(written("1,2,3,4\n5,6,7,8,GND\n9,2,3,4,, \n"), order="PNEZ")
    assert told.points["point_id"].tolist() == ["1", "9"]
    assert told.rejected["reason"].to_dict() == {2: "more than 4 cells"}
    # a description amid the line cannot take the rest
    told = read_point_file(written("1,GND,2,3\n5,GND, wet,7,8\n"), order="PDNE")
    assert told.rejected.index.tolist() == [2]


def test_comments_are_counted_and_told(written) -> None:
    text = "# job\n1,2,3,4,GND\n  // x\n#5,6,7,8,GND\n"
    told = read_point_file(written(text), order="PNEZD")
    assert (told.comments, len(told.points)) == (3, 1)
    assert told.findings["code"].tolist() == ["comments-left-out"]
    assert told.findings["message"].item().startswith("3 lines")
    told = read_point_file(written(text), order="PNEZD", comments=("//",))
    assert told.comments == 1
    assert told.points["point_id"].tolist() == ["1", "#5"]
    assert told.header == "# job"


def test_decimal_commas_where_they_are_said(written) -> None:
    for mark in (";", " ", "\t"):
        path = written(f"1{mark}10,5{mark}20,25{mark}3{mark}GND\n")
        told = read_point_file(path, order="PNEZD", decimal=",")
        assert records(told.points) == [("1", 10.5, 20.25, 3.0, "GND")]
        with pytest.raises(SourceError, match="no mark between the cells"):
            read_point_file(written(f"1{mark}10,5{mark}20,25{mark}3,5{mark}GND\n"), order="PNEZD")
    # thousands are marked in no point file: this may be 18 and a quarter
    told = read_point_file(written("1;10;20;18,250\n"), order="PNEZ")
    assert told.rejected["reason"].tolist() == ["the elevation is no number"]
    with pytest.raises(WordsError, match="no decimal mark"):
        read_point_file(path, order="PNEZD", decimal="'")


def test_the_mark_is_taken_as_the_user_says(written) -> None:
    path = written("1:2:3:4:GND, old\n")
    assert records(read_point_file(path, order="PNEZD", delimiter=":").points) == [
        ("1", 2, 3, 4, "GND, old")
    ]
    tabbed = written("a b\t2\t3\t4\tGND\n")
    assert read_point_file(tabbed, order="PNEZD", delimiter="tab").points.index.tolist() == [1]
    for bad in ("", "..", ".", "x", '"'):
        with pytest.raises(WordsError, match="no mark between cells"):
            read_point_file(path, order="PNEZD", delimiter=bad)


ZONE = pyproj.CRS(2249)


@pytest.mark.parametrize("order", ["PNEZD", "PENZD"])
def test_the_order_is_never_guessed_and_what_fits_is_told(written, order) -> None:
    # coordinates of Massachusetts Mainland in feet: exchanged they lie far outside of it
    path = written(lines(order, ",", [(n, *row[1:]) for n, row in enumerate(ROWS)]))
    with pytest.raises(SourceError, match="which column is northing") as caught:
        read_point_file(path, crs=ZONE)
    assert caught.value.accepted == f"may be: {order}"
    assert "column 1: 0.000 to 2.000; column 2" in str(caught.value.found)
    with pytest.raises(SourceError, match="which column is northing") as caught:
        read_point_file(path)
    assert str(caught.value.accepted).startswith("may be: PNEZD, PENZD")
    with pytest.raises(SourceError, match="which column is northing") as caught:
        read_point_file(path, crs=pyproj.CRS(2284))
    assert "check the CRS" in str(caught.value.do)


def test_names_of_points_may_be_missing_or_words_when_the_order_is_asked_for(written) -> None:
    for order in ("NEZ", "NEZD", "PNEZ"):
        rows = [("A1", *row[1:4], "GND") for row in ROWS]
        with pytest.raises(SourceError) as caught:
            read_point_file(written(lines(order, ",", rows)), crs=ZONE)
        assert caught.value.accepted == f"may be: {order}"


@pytest.mark.parametrize(
    ("text", "found"),
    [("", "0 lines"), ("\n \n", "2 lines"), ("# a\n", "1 lines, 1 of them comments")],
)
def test_a_file_without_points_is_refused(written, text, found) -> None:
    with pytest.raises(UnreadableError, match="holds no points") as caught:
        read_point_file(written(text), order="PNEZD")
    assert str(caught.value.found).startswith(found)


def test_a_header_alone_is_a_file_of_no_points(written) -> None:
    path = written("Point,Northing,Easting\n")
    told = read_point_file(path, delimiter="comma")
    assert (len(told.points), told.order) == (0, "PNE")
    assert list(told.points.columns) == list(POINT_COLUMNS)


def test_files_that_are_no_text_are_refused(written, tmp_path) -> None:
    with pytest.raises(UnreadableError, match="no text"):
        read_point_file(written("1,2,3\x00"), order="NEZ")
    with pytest.raises(UnreadableError, match="cannot be opened"):
        read_point_file(tmp_path / "nowhere.txt", order="NEZ")
    with pytest.raises(UnreadableError, match="not written in utf-8"):
        read_point_file(written("1,2,3,é", "latin-1"), order="NEZD", encoding="utf-8")


@pytest.mark.parametrize("letters", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_letters_and_ends_of_lines_of_every_kind(written, letters) -> None:
    for end in ("\n", "\r\n", "\r"):
        path = written(end.join(["1,2,3,4,Straße", "5,6,7,8,½ wall", ""]), letters)
        told = read_point_file(path, order="PNEZD")
        assert told.points["description"].tolist() == ["Straße", "½ wall"]
        assert told.lines == 2


cells = st.text(st.characters(codec="utf-8", exclude_characters="\n\r"), max_size=6)


@given(st.lists(st.lists(cells, max_size=7), max_size=8), st.sampled_from(",\t; "))
def test_no_line_is_lost_whatever_it_holds(tmp_path_factory, rows, mark) -> None:
    text = "\n".join(["1,2,3,4,GND".replace(",", mark), *(mark.join(row) for row in rows)])
    path = tmp_path_factory.mktemp("lines") / "p.txt"
    path.write_bytes((text.replace("\x00", "") + "\n").encode())
    told = read_point_file(path, order="PNEZD", delimiter=mark, encoding="utf-8")
    assert len(told.points) + len(told.rejected) + told.blank + told.comments == 1 + len(rows)
    assert told.points["point_id"].iloc[0] == "1"
    assert np.isfinite(told.points[["northing", "easting"]].to_numpy()).all()
    assert told.rejected["reason"].notna().all()
    assert not set(told.points.index) & set(told.rejected.index)


places = st.floats(-1e7, 1e7)


@given(st.lists(st.tuples(places, places, places), min_size=1, max_size=20))
def test_numbers_come_through_as_they_were_written(tmp_path_factory, rows) -> None:
    path = tmp_path_factory.mktemp("numbers") / "p.txt"
    path.write_text("".join(f"{n!r} {e!r} {z!r}\n" for n, e, z in rows))
    told = read_point_file(path, order="NEZ").points
    got = told[["northing", "easting", "elevation"]].to_numpy()
    assert got.tolist() == [list(row) for row in rows]
