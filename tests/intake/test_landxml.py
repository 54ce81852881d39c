"""LandXML: points and surfaces, what it says of units, and files that are damaged or hostile."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.ground.errors import UnitError, UnreadableError
from hydrantgis.ground.units import LengthUnit
from hydrantgis.heights.surface import surface_at
from hydrantgis.intake.landxml import LandXMLWords, read_points, read_surfaces

SPACES = {
    "1.0": 'xmlns="http://www.landxml.org/schema/LandXML-1.0"',
    "1.1": 'xmlns="http://www.landxml.org/schema/LandXML-1.1"',
    "1.2": 'xmlns="http://www.landxml.org/schema/LandXML-1.2"',
    "of a country": 'xmlns="http://www.inframodel.fi/inframodel"',
    "none": "",
}
FEET = '<Units><Imperial linearUnit="USSurveyFoot" elevationUnit="feet"/></Units>'
ZONE = '<CoordinateSystem name="MA83F" epsgCode="2249" verticalDatum="NAVD88"/>'
TIN = (
    '<Definition surfType="TIN"><Pnts>'
    '<P id="7">0 0 100</P><P id="a">0 10 101</P><P id="30">10 10 101</P><P id="2">10 0 100</P>'
    "</Pnts><Faces><F>7 a 30</F><F>7 30 2</F></Faces></Definition>"
)


@pytest.fixture
def landxml(tmp_path: Path):
    """A file of the elements given."""

    def make(body: str, space: str = SPACES["1.2"], head: str = "") -> Path:
        path = tmp_path / "survey.xml"
        path.write_text(f'{head}<LandXML version="1.2" {space}>{body}</LandXML>', encoding="utf-8")
        return path

    return make


def surfaces(*inner: str) -> str:
    return "<Surfaces>" + "".join(f"<Surface {part}</Surface>" for part in inner) + "</Surfaces>"


@pytest.mark.parametrize("space", SPACES.values(), ids=SPACES)
def test_points_of_every_version_are_northing_easting_elevation(landxml, space) -> None:
    path = landxml(
        FEET + ZONE
        + '<CgPoints name="survey"><CgPoint name="101" code="GND" desc="by the road" '
        'elevationStdError="0.02">2950000.25 750000.5 18.75</CgPoint>'
        '<CgPoints name="hydrants"><CgPoint oID="x1">\n 2950001\t750002 \n</CgPoint></CgPoints>'
        '<CgPoint name="103">1e3 2.5E2 -1.5</CgPoint></CgPoints>',
        space,
    )  # fmt: skip
    told = read_points(path)
    assert told.rejected.empty
    assert told.findings.empty
    points = told.points.astype(object).where(told.points.notna(), None)
    assert points.index.tolist() == [1, 2, 3]
    assert points.to_dict("records") == [
        {
            "point_id": "101", "code": "GND", "description": "by the road",
            "northing": 2950000.25, "easting": 750000.5, "elevation": 18.75,
            "elevation_sd": 0.02, "group": "survey",
        },
        {
            "point_id": "x1", "code": None, "description": None, "northing": 2950001.0,
            "easting": 750002.0, "elevation": None, "elevation_sd": None, "group": "hydrants",
        },
        {
            "point_id": "103", "code": None, "description": None, "northing": 1000.0,
            "easting": 250.0, "elevation": -1.5, "elevation_sd": None, "group": "survey",
        },
    ]  # fmt: skip
    assert told.words.crs == 2249
    assert told.words.linear_unit is LengthUnit.FT_US
    assert told.words.elevation_unit is LengthUnit.FT
    assert told.words.vertical_datum == "NAVD88"


def test_prefixed_elements_and_elements_within_a_point_are_read(landxml) -> None:
    path = landxml(
        "<x:CgPoints><x:CgPoint name='1'><x:Feature code='c'>9 9 9</x:Feature>1 2 <x:Feature/>3"
        "</x:CgPoint></x:CgPoints>",
        'xmlns:x="http://www.landxml.org/schema/LandXML-1.2"',
    )
    assert read_points(path).points[["northing", "easting", "elevation"]].values.tolist() == [
        [1, 2, 3]
    ]


def test_points_that_refer_to_others_have_their_coordinates(landxml) -> None:
    body = (
        '<CgPoint name="first" pntRef="middle"/><CgPoint name="middle" pntRef="last"></CgPoint>'
        '<CgPoint name="last">1 2 3</CgPoint><CgPoint pntRef="last"/>'
        '<CgPoint name="lost" pntRef="nobody"/><CgPoint name="self" pntRef="self"/>'
        '<CgPoint name="a" pntRef="b"/><CgPoint name="b" pntRef="a"/>'
        '<CgPoint name="twin">5 5 5</CgPoint><CgPoint name="twin">6 6 6</CgPoint>'
        '<CgPoint name="of twin" pntRef="twin"/><CgPoint name="own" pntRef="last">7 8 9</CgPoint>'
    )
    told = read_points(landxml(f"<CgPoints>{body}</CgPoints>"))
    places = told.points.set_index("point_id")[["northing", "easting", "elevation"]]
    assert places.loc[["first", "middle", "last"]].values.tolist() == [[1, 2, 3]] * 3
    assert places[places.index.isna()].values.tolist() == [[1, 2, 3]]
    assert places.loc["own"].tolist() == [7, 8, 9]
    assert len(told.points) + len(told.rejected) == 12
    assert told.rejected.set_index("point_id")["reason"].to_dict() == {
        "lost": "the point that it refers to is not there",
        "self": "the point that it refers to has no coordinates",
        "a": "the point that it refers to has no coordinates",
        "b": "the point that it refers to has no coordinates",
        "of twin": "several points have the name that it refers to",
    }


@pytest.mark.parametrize("turned", [False, True])
def test_a_chain_of_references_may_be_long(landxml, turned) -> None:
    links = [f'<CgPoint name="{n}" pntRef="{n + 1}"/>' for n in range(99)]
    links.append('<CgPoint name="99">1 2 3</CgPoint>')
    told = read_points(landxml(f"<CgPoints>{''.join(links[::-1] if turned else links)}</CgPoints>"))
    assert told.points[["northing", "easting", "elevation"]].values.tolist() == [[1, 2, 3]] * 100


def test_points_that_cannot_be_read_are_rejected_with_their_text(landxml) -> None:
    texts = ["", "1", "1 2 x", "1 x 3", "1 2 3 4", "nan 2 3", "1 inf 3", "1,2,3", "1 2 nan"]
    body = "".join(f'<CgPoint name="{n}">{text}</CgPoint>' for n, text in enumerate(texts))
    told = read_points(landxml(f'<CgPoints>{body}<CgPoint name="ok">1 2 3</CgPoint></CgPoints>'))
    assert told.points["point_id"].tolist() == ["ok"]
    assert told.points.index.tolist() == [10]
    assert told.rejected["text"].fillna("").tolist() == texts
    assert told.rejected.index.tolist() == list(range(1, 10))
    assert set(told.rejected["reason"]) == {
        "no northing and easting can be read", "the elevation cannot be read",
    }  # fmt: skip
    assert (told.findings["code"] == "line-unreadable").all()
    assert len(told.findings) == len(texts)


def test_what_the_file_does_not_say_is_missing(landxml) -> None:
    assert read_points(landxml("")).words == LandXMLWords()
    told = read_points(
        landxml(
            '<Units><Metric linearUnit="meter"/></Units>'
            '<CoordinateSystem name="site grid" epsgCode="" horizontalDatum="local"/>'
        )
    )
    assert told.words == LandXMLWords(
        linear_unit=LengthUnit.M, crs_name="site grid", horizontal_datum="local"
    )
    assert told.points.empty
    assert list(told.points.columns) == list(read_points(landxml("")).points.columns)


@pytest.mark.parametrize(
    ("word", "unit"),
    [
        ("meter", LengthUnit.M), ("millimeter", LengthUnit.MM), ("centimeter", LengthUnit.CM),
        ("kilometer", LengthUnit.KM), ("foot", LengthUnit.FT), ("feet", LengthUnit.FT),
        ("USSurveyFoot", LengthUnit.FT_US), ("inch", LengthUnit.IN),
    ],
)  # fmt: skip
def test_units_in_the_words_of_landxml(landxml, word, unit) -> None:
    body = f'<Units><Imperial linearUnit="{word}" elevationUnit="{word}"/></Units>'
    words = read_points(landxml(body)).words
    assert (words.linear_unit, words.elevation_unit) == (unit, unit)


def test_units_that_are_none_or_several_stop_the_reading(landxml) -> None:
    with pytest.raises(UnitError, match="`cubit` is no unit"):
        read_points(landxml('<Units><Imperial linearUnit="cubit"/></Units>'))
    both = '<Metric linearUnit="meter"/><Imperial linearUnit="foot"/>'
    with pytest.raises(UnitError, match="more than once"):
        read_points(landxml(f"<Units>{both}</Units>"))


@pytest.mark.parametrize(
    ("attributes", "code"),
    [
        ('epsgCode="2249"', 2249), ('epsgCode="EPSG:2249"', 2249),
        ('epsgCode="urn:ogc:def:crs:EPSG::2249"', 2249), ('epsgCode="0"', None),
        ('epsgCode="none"', None), ('epsgCode="999999"', None), ('name="2249"', None),
        ('epsgCode="5703"', None),
    ],
)  # fmt: skip
def test_the_crs_is_named_by_code_or_not_at_all(landxml, attributes, code) -> None:
    words = read_points(landxml(f"<CoordinateSystem {attributes}/>")).words
    assert (words.crs.to_epsg() if words.crs else None) == code
    assert words.crs_name


def test_a_unit_that_is_not_that_of_the_crs_is_told(landxml) -> None:
    # EPSG:2249 is in US survey feet; the other foot would move a point by some feet
    foot = '<Units><Imperial linearUnit="foot"/></Units>'
    told = read_points(landxml(foot + ZONE)).findings
    assert told["code"].tolist() == ["units-differ"]
    assert "US survey foot" in told["message"].item()
    assert read_points(landxml(FEET + ZONE)).findings.empty


def test_a_surface_is_east_north_elevation_and_triangles_by_place(landxml) -> None:
    told = read_surfaces(landxml(FEET + surfaces(f'name="design" desc="lot 1">{TIN}')))
    (tin,) = told.surfaces
    assert (tin.name, tin.description, tin.kind) == ("design", "lot 1", "TIN")
    assert tin.vertices.tolist() == [[0, 0, 100], [10, 0, 101], [10, 10, 101], [0, 10, 100]]
    assert tin.faces.tolist() == [[0, 1, 2], [0, 2, 3]]
    assert (tin.invisible, tin.left_out, len(tin.source_points)) == (0, 0, 0)
    assert told.findings.empty
    reading = surface_at([[4, 5]], tin.vertices, tin.faces)
    assert reading.elev == pytest.approx([100.4])
    assert reading.slope == pytest.approx([0.1])


def test_invisible_triangles_are_left_out_and_counted(landxml) -> None:
    body = TIN.replace("<F>7 a 30</F>", '<F i="1">7 a 30</F><F i="0" n="2 0 0">7 a 2</F>')
    (tin,) = read_surfaces(landxml(surfaces(f'name="s">{body}'))).surfaces
    assert tin.faces.tolist() == [[0, 1, 3], [0, 2, 3]]
    assert (tin.invisible, tin.left_out) == (1, 0)


@pytest.mark.parametrize("face", ["7 a 31", "7 a", "7 a 30 2", "", "7, a, 30", "0 1 2"])
def test_triangles_that_name_no_three_points_are_left_out_and_told(landxml, face) -> None:
    body = TIN.replace("<F>7 a 30</F>", f"<F>{face}</F>")
    told = read_surfaces(landxml(surfaces(f'name="s">{body}')))
    assert told.surfaces[0].faces.tolist() == [[0, 2, 3]]
    assert told.surfaces[0].left_out == 1
    assert told.findings[["code", "key", "value"]].values.tolist() == [
        ["triangles-left-out", "s", "1"]
    ]


@pytest.mark.parametrize("point", ["10 10", "10 10 x", "10 10 nan", "", "1 2 3 4"])
def test_points_of_a_surface_that_cannot_be_read_take_their_triangles_along(landxml, point) -> None:
    told = read_surfaces(landxml(surfaces(f'name="s">{TIN.replace("10 10 101", point)}')))
    (tin,) = told.surfaces
    assert tin.vertices.tolist() == [[0, 0, 100], [10, 0, 101], [0, 10, 100]]
    assert (len(tin.faces), tin.left_out) == (0, 2)
    assert told.findings["code"].tolist() == [
        "surface-point-unreadable", "triangles-left-out", "no-triangles",
    ]  # fmt: skip


def test_two_points_of_one_id_are_neither_of_them_used(landxml) -> None:
    body = TIN.replace('<P id="2">', '<P id="a">5 5 999</P><P id="2">')
    told = read_surfaces(landxml(surfaces(f'name="s">{body}')))
    (tin,) = told.surfaces
    assert tin.vertices.tolist() == [[0, 0, 100], [10, 10, 101], [0, 10, 100]]
    assert tin.faces.tolist() == [[0, 1, 2]]
    assert told.findings["code"].tolist() == ["surface-point-unreadable", "triangles-left-out"]


def test_surfaces_of_points_alone_are_listed_without_triangles(landxml) -> None:
    points = "<SourceData><DataPoints><PntList3D>1 2 3 4 5 6</PntList3D></DataPoints>"
    lines = (
        "<Breaklines><Breakline><PntList3D>\n7 8\n9</PntList3D></Breakline></Breaklines>"
        "<Boundaries><Boundary bndType='outer'><PntList2D>0 0 1 1</PntList2D></Boundary>"
        "</Boundaries></SourceData>"
    )
    no_faces = '<Definition surfType="TIN"><Pnts><P id="1">1 2 3</P></Pnts><Faces/></Definition>'
    told = read_surfaces(
        landxml(
            surfaces(
                f'name="shots">{points}{lines}', f'name="bare">{no_faces}', 'name="empty">',
                'name="odd"><SourceData><PntList3D>1 2 3 4</PntList3D></SourceData>',
                f'name="real">{TIN}',
            )
        )
    )  # fmt: skip
    assert [s.name for s in told.surfaces] == ["shots", "bare", "empty", "odd", "real"]
    assert [len(s.faces) for s in told.surfaces] == [0, 0, 0, 0, 2]
    assert [s.kind for s in told.surfaces] == [None, "TIN", None, None, "TIN"]
    assert told.surfaces[0].source_points.tolist() == [[2, 1, 3], [5, 4, 6], [8, 7, 9]]
    assert told.findings[["code", "key"]].values.tolist() == [
        ["no-triangles", "shots"], ["no-triangles", "bare"], ["no-triangles", "empty"],
        ["surface-point-unreadable", "odd"], ["no-triangles", "odd"],
    ]  # fmt: skip


@given(
    ids=st.lists(
        st.text(st.characters(codec="ascii", min_codepoint=33), min_size=1, max_size=4).filter(
            lambda text: not set(text) & set("<&\"'")
        ),
        min_size=3, max_size=12, unique=True,
    ),
    data=st.data(),
)  # fmt: skip
def test_any_ids_name_the_points_that_they_stand_beside(tmp_path_factory, ids, data) -> None:
    place = st.integers(0, len(ids) - 1)
    faces = data.draw(st.lists(st.tuples(place, place, place), min_size=1, max_size=9))
    points = "".join(f'<P id="{name}">{n} {n * 2} {n * 3}</P>' for n, name in enumerate(ids))
    named = "".join("<F>" + " ".join(ids[n] for n in face) + "</F>" for face in faces)
    path = tmp_path_factory.mktemp("tin") / "t.xml"
    path.write_text(
        "<LandXML>" + surfaces(f'name=""><Definition><Pnts>{points}</Pnts><Faces>{named}</Faces>'
        "</Definition>") + "</LandXML>"
    )  # fmt: skip
    (tin,) = read_surfaces(path).surfaces
    assert tin.faces.tolist() == [list(face) for face in faces]
    assert tin.vertices[:, 2].tolist() == [n * 3 for n in range(len(ids))]


READERS = pytest.mark.parametrize("read", [read_points, read_surfaces])


@READERS
@pytest.mark.parametrize(
    "head",
    [
        "<!DOCTYPE LandXML>",
        '<!DOCTYPE LandXML SYSTEM "http://192.0.2.1/landxml.dtd">',
        '<!DOCTYPE LandXML [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>',
        '<!DOCTYPE LandXML [<!ENTITY secret SYSTEM "file:///etc/hostname">]>',
        '<!DOCTYPE LandXML [<!ENTITY % out SYSTEM "http://192.0.2.1/x"> %out;]>',
    ],
    ids=["declaration", "outside declaration", "bomb", "outside entity", "parameter entity"],
)
def test_what_could_reach_beyond_the_file_is_refused(landxml, read, head) -> None:
    body = '<CgPoints><CgPoint name="1">1 2 3</CgPoint></CgPoints>'
    with pytest.raises(UnreadableError, match="declares a document type") as caught:
        read(landxml(body, head=head))
    assert caught.value.where == "survey.xml"
    assert caught.value.accepted
    assert caught.value.do


@READERS
def test_entities_that_nothing_declares_are_refused(landxml, read) -> None:
    with pytest.raises(UnreadableError, match="breaks off or is damaged"):
        read(landxml("<CgPoints><CgPoint>&bomb;</CgPoint></CgPoints>"))


@READERS
def test_a_file_cut_off_anywhere_is_refused(tmp_path, read) -> None:
    body = f"{FEET}{ZONE}<CgPoints><CgPoint>1 2 3</CgPoint></CgPoints>" + surfaces(f"x=''>{TIN}")
    whole = f"<LandXML>{body}</LandXML>".encode()
    path = tmp_path / "cut.xml"
    for end in range(len(whole)):
        path.write_bytes(whole[:end])
        with pytest.raises(UnreadableError, match=r"breaks off|no LandXML"):
            read(path)
    path.write_bytes(whole)
    read(path)


@READERS
def test_other_files_are_refused(tmp_path, read) -> None:
    path = tmp_path / "other.xml"
    for content in (b"<kml/>", b"<LandXMLs/>"):
        path.write_bytes(content)
        with pytest.raises(UnreadableError, match="no LandXML"):
            read(path)
    for content in (b"", b"1,2,3", b"\x00" * 40, b'<?xml version="1.0" encoding="no-such"?><a/>'):
        path.write_bytes(content)
        with pytest.raises(UnreadableError, match="breaks off or is damaged"):
            read(path)
    for missing in (tmp_path / "nowhere.xml", tmp_path):
        with pytest.raises(UnreadableError, match="cannot be opened"):
            read(missing)


@pytest.mark.parametrize("letters", ["iso-8859-1", "utf-8", "utf-16"])
def test_letters_are_read_as_the_file_says(tmp_path, letters) -> None:
    path = tmp_path / "l.xml"
    text = (
        f'<?xml version="1.0" encoding="{letters}"?><LandXML><CgPoints name="Mittausjälki">'
        '<CgPoint name="1" desc="käännös ½">1 2 3</CgPoint></CgPoints></LandXML>'
    )
    path.write_bytes(text.encode(letters))
    point = read_points(path).points.loc[1]
    assert (point["description"], point["group"]) == ("käännös ½", "Mittausjälki")


def test_letters_that_are_not_as_the_file_says_are_refused(tmp_path) -> None:
    path = tmp_path / "l.xml"
    path.write_bytes('<LandXML><CgPoints name="jälki"/></LandXML>'.encode("latin-1"))
    with pytest.raises(UnreadableError, match="breaks off or is damaged"):
        read_points(path)


def test_text_of_a_file_is_kept_as_it_is(landxml) -> None:
    path = landxml(
        '<CgPoints><CgPoint name="=cmd()" desc="&lt;script&gt;\'; DROP">1 2</CgPoint></CgPoints>'
    )
    point = read_points(path).points.loc[1]
    assert point["point_id"] == "=cmd()"
    assert point["description"] == "<script>'; DROP"


def test_groups_may_lie_deep(landxml) -> None:
    deep = 5000
    body = "<CgPoints>" * deep + '<CgPoint name="1">1 2 3</CgPoint>' + "</CgPoints>" * deep
    assert read_points(landxml(body)).points["easting"].tolist() == [2]


def test_open_points_are_those_of_a_plain_reading(open_data: Path) -> None:
    path = open_data / "landxml_finland" / "Lightning_columns.xy.xml"
    plain = re.findall(
        r'<CgPoint name="([^"]*)" code="([^"]*)"[^>]*>([^<]*)</CgPoint>',
        path.read_text(encoding="latin-1"),
    )
    assert len(plain) == 37
    told = read_points(path)
    assert told.points["point_id"].tolist() == [name for name, _, _ in plain]
    assert told.points["code"].tolist() == [code for _, code, _ in plain]
    numbers = [[float(cell) for cell in text.split()] for _, _, text in plain]
    assert told.points[["northing", "easting", "elevation"]].values.tolist() == numbers
    assert told.rejected.empty
    assert told.findings.empty
    words = told.words
    assert (words.crs.to_epsg(), words.vertical_datum) == (3875, "N2000")
    assert (words.linear_unit, words.elevation_unit) == (LengthUnit.M, LengthUnit.M)


def test_an_open_surface_is_that_of_a_plain_reading(open_data: Path) -> None:
    path = open_data / "landxml_finland" / "M3_Rockbed_survey.mm.xml"
    space = "{http://www.inframodel.fi/inframodel}"
    root = ElementTree.parse(path).getroot()  # noqa: S314  a file of our own keeping
    points = {p.get("id"): [float(c) for c in p.text.split()] for p in root.iter(space + "P")}
    faces = [f.text.split() for f in root.iter(space + "F") if f.get("i") != "1"]
    lists = [text.text.split() for text in root.iter(space + "PntList3D")]
    assert len(points) == 2037
    told = read_surfaces(path)
    (tin,) = told.surfaces
    assert tin.vertices.tolist() == [[e, n, z] for n, e, z in points.values()]
    corners = tin.vertices[tin.faces]
    assert corners.tolist() == [
        [[points[c][1], points[c][0], points[c][2]] for c in face] for face in faces
    ]
    assert len(tin.source_points) == sum(map(len, lists)) / 3
    assert told.findings.empty
    assert told.words.crs.to_epsg() == 3875
    # the middle of a triangle lies at the mean of its corners, or higher where it is covered
    middle = corners.mean(axis=1)
    reading = surface_at(middle[:, :2], tin.vertices, tin.faces)
    alone = reading.triangles == 1
    assert alone.mean() > 0.99
    assert reading.elev[alone] == pytest.approx(middle[alone, 2], abs=1e-6)
    assert np.isfinite(reading.elev).all()
