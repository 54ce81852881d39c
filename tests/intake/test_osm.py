"""
OpenStreetMap extracts: the hydrants with all their tags, and no damage passed over.

The files are put together here, byte by byte, after the OpenStreetMap wiki's "PBF Format" (from
memory); what was written is what has to be read.
"""

from __future__ import annotations

import struct
import tempfile
import zlib
from pathlib import Path

import pyogrio
import pyproj
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hydrantgis.ground.errors import UnreadableError, WordsError
from hydrantgis.intake.osm import HYDRANTS_LAYER, is_osm, open_osm, read_osm

HYDRANT = {"emergency": "fire_hydrant"}


def varint(number: int) -> bytes:
    number &= (1 << 64) - 1
    out = bytearray()
    while number > 127:
        out.append(number & 127 | 128)
        number >>= 7
    return bytes([*out, number])


def number(field: int, value: int) -> bytes:
    return varint(field << 3) + varint(value)


def chunk(field: int, content: bytes) -> bytes:
    return varint(field << 3 | 2) + varint(len(content)) + content


def deltas(values: list[int]) -> bytes:
    steps = [new - old for new, old in zip(values, [0, *values[:-1]], strict=True)]
    return b"".join(varint(step << 1 ^ step >> 63) for step in steps)


def block(kind: bytes, content: bytes, *, packed: bool = True) -> bytes:
    body = (
        number(2, len(content)) + chunk(3, zlib.compress(content)) if packed else chunk(1, content)
    )
    header = chunk(1, kind) + number(3, len(body))
    return struct.pack(">I", len(header)) + header + body


def primitives(nodes: list, ways: list = ()) -> bytes:
    """Nodes as (id, lon, lat, tags), ways as (id, ids of nodes, tags)."""
    words: dict[str, int] = {"": 0}

    def word(text: str) -> bytes:
        return varint(words.setdefault(text, len(words)))

    def pairs(tags: dict) -> bytes:
        return b"".join(word(k) + word(v) for k, v in tags.items())

    groups = []
    if nodes:
        dense = chunk(1, deltas([node[0] for node in nodes]))
        dense += chunk(8, deltas([round(lat * 1e7) for _, _, lat, _ in nodes]))
        dense += chunk(9, deltas([round(lon * 1e7) for _, lon, _, _ in nodes]))
        dense += chunk(10, b"".join(pairs(tags) + b"\0" for *_, tags in nodes))
        groups.append(chunk(2, dense))
    if ways:
        groups.append(b"".join(
            chunk(3, number(1, key) + chunk(2, b"".join(map(word, tags)))
                  + chunk(3, b"".join(map(word, tags.values()))) + chunk(8, deltas(refs)))
            for key, refs, tags in ways
        ))  # fmt: skip
    table = chunk(1, b"".join(chunk(1, text.encode()) for text in words))
    return table + b"".join(chunk(2, group) for group in groups)


def extract(*blocks: bytes, packed: bool = True) -> bytes:
    features = chunk(4, b"OsmSchema-V0.6") + chunk(4, b"DenseNodes")
    return b"".join([
        block(b"OSMHeader", features),
        *(block(b"OSMData", content, packed=packed) for content in blocks),
    ])  # fmt: skip


NODES = [
    (11, -71.1, 42.37, {**HYDRANT, "ref": "12", "note": 'by "the" door\\', "source": "survey"}),
    (12, -71.2, 42.38, {"highway": "stop"}),
    (13, -71.3, 42.39, {}),
    (-5, 0.0, -33.5, {**HYDRANT, "fire_hydrant:type": "pillar", "flow_rate": "1200 l/min"}),
    (15, -71.3, 42.40, {"emergency": "Fire_Hydrant"}),
    (16, -71.3, 42.40, {"emergency": "water_tank"}),
]
WAYS = [
    (101, [11, 12, 13], {"man_made": "pipeline", "ref": "M1"}),
    (102, [12, 13, 15, 12], {"building": "yes", "x": "y" * 300}),
]
DISTRICT = extract(primitives(NODES), primitives([], WAYS))


@pytest.fixture
def district(tmp_path) -> Path:
    path = tmp_path / "district.osm.pbf"
    path.write_bytes(DISTRICT)
    return path


def hydrants_of(path: Path) -> dict[str, tuple]:
    source = open_osm(path)
    rows = read_osm(source, source.layer(HYDRANTS_LAYER))
    tags = rows.drop(columns=["osm_id", "geometry"])
    return {
        key: (x, y, held)
        for key, x, y, held in zip(
            rows["osm_id"], rows.geometry.x.round(7), rows.geometry.y.round(7),
            [row.dropna().to_dict() for _, row in tags.T.items()], strict=True,
        )
    }  # fmt: skip


EXPECTED = {
    str(key): (x, y, tags)
    for key, x, y, tags in NODES
    if tags.get("emergency", "").lower() == "fire_hydrant"
}


def test_hydrants_come_with_all_their_tags(district):
    assert hydrants_of(district) == EXPECTED


def test_layers_are_told_with_counts_fields_and_crs(district):
    source = open_osm(district)
    assert source.driver == "OSM"
    assert [(x.name, x.geometry_type, x.rows) for x in source.layers] == [
        ("fire_hydrants", "Point", 3), ("points", "Point", 5), ("lines", "LineString", 1),
        ("multipolygons", "MultiPolygon", 1),
    ]  # fmt: skip
    assert {layer.crs for layer in source.layers} == {pyproj.CRS.from_epsg(4326)}
    first = source.layers[0]
    assert set(first.fields) == {
        "osm_id", "emergency", "ref", "note", "source", "fire_hydrant:type", "flow_rate",
    }  # fmt: skip
    assert first.bounds == pytest.approx((-71.3, -33.5, 0.0, 42.40), abs=1e-9)


def test_each_layer_is_read(district):
    source = open_osm(district)
    frames = {layer.name: read_osm(source, layer) for layer in source.layers}
    for layer in source.layers:
        assert frames[layer.name].index.tolist() == list(range(1, layer.rows + 1))
        assert "all_tags" not in frames[layer.name].columns
    assert frames["points"]["highway"].dropna().tolist() == ["stop"]
    pipe = frames["lines"].iloc[0]
    assert (pipe["man_made"], pipe["ref"]) == ("pipeline", "M1")
    assert [(round(x, 7), round(y, 7)) for x, y in pipe.geometry.coords] == [
        (lon, lat) for _, lon, lat, _ in NODES[:3]
    ]
    assert frames["multipolygons"].iloc[0][["osm_way_id", "building"]].tolist() == ["102", "yes"]


def test_rows_may_be_chosen(district):
    source = open_osm(district)
    rows = read_osm(source, source.layers[0], "osm_id = '11'")
    assert rows["ref"].tolist() == ["12"]
    with pytest.raises(WordsError, match="cannot be understood"):
        read_osm(source, source.layers[0], "1; DROP TABLE points")


def test_an_extract_without_hydrants_says_so(tmp_path):
    path = tmp_path / "none.osm.pbf"
    path.write_bytes(extract(primitives(NODES[1:3])))
    source = open_osm(path)
    assert [(x.name, x.rows) for x in source.layers] == [("fire_hydrants", 0), ("points", 1)]
    assert list(read_osm(source, source.layers[0]).columns) == ["osm_id", "geometry"]


def test_the_installation_does_not_decide_which_tags_are_seen(district, tmp_path):
    other = tmp_path / "other.ini"
    other.write_text("[points]\nosm_id=no\nattributes=highway\nignore=ref,emergency\n")
    pyogrio.set_gdal_config_options({"OSM_CONFIG_FILE": str(other)})
    try:
        assert hydrants_of(district) == EXPECTED
    finally:
        pyogrio.set_gdal_config_options({"OSM_CONFIG_FILE": None})


def test_no_file_is_left(district, monkeypatch):
    monkeypatch.chdir(district.parent)
    before = set(Path(tempfile.gettempdir()).glob("osm_tmp*"))
    source = open_osm(district)
    for layer in source.layers:
        read_osm(source, layer)
    assert [path.name for path in district.parent.iterdir()] == [district.name]
    assert set(Path(tempfile.gettempdir()).glob("osm_tmp*")) == before


def test_blocks_need_not_be_compressed(tmp_path):
    path = tmp_path / "raw.osm.pbf"
    path.write_bytes(extract(primitives(NODES), packed=False))
    assert hydrants_of(path) == EXPECTED


TAGS = st.dictionaries(
    st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1, max_size=9)
    .filter(str.strip)
    .filter(lambda key: key not in {"emergency", "osm_id", "geometry", "all_tags"}),
    st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1, max_size=9),
    max_size=4,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(TAGS, min_size=1, max_size=5))
def test_tags_come_back_whatever_they_say(tmp_path, told):
    path = tmp_path / "any.osm.pbf"
    nodes = [(n, n / 10, -n / 10, {**HYDRANT, **tags}) for n, tags in enumerate(told, start=1)]
    path.write_bytes(extract(primitives(nodes)))
    assert hydrants_of(path) == {str(key): (x, y, tags) for key, x, y, tags in nodes}


def test_an_object_that_stands_twice_is_refused(tmp_path):
    path = tmp_path / "twice.osm.pbf"
    path.write_bytes(extract(primitives([NODES[0], NODES[0]]), primitives([], WAYS)))
    with pytest.raises(UnreadableError):
        open_osm(path)


def test_the_first_bytes_tell_the_format():
    assert is_osm(DISTRICT[:4096])
    for head in (
        b"",
        b"PK\x03\x04",
        b"SQLite format 3\x00",
        b"\xff" * 4 + DISTRICT[4:99],
        b"<osm>",
    ):
        assert not is_osm(head)


@pytest.fixture(scope="module")
def torn(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("torn") / "torn.osm.pbf"


BORDERS = {0, len(extract()), len(extract(primitives(NODES))), len(DISTRICT)}


@given(st.integers(0, len(DISTRICT)).filter(lambda cut: cut not in BORDERS))
def test_a_file_that_breaks_off_is_refused(torn, cut):
    torn.write_bytes(DISTRICT[:cut])
    with pytest.raises(UnreadableError, match=r"breaks off|damaged"):
        open_osm(torn)


@given(st.integers(0, len(DISTRICT) - 1), st.integers(1, 255))
def test_a_changed_byte_is_refused_or_changes_nothing(torn, place, by):
    damaged = bytearray(DISTRICT)
    damaged[place] ^= by
    torn.write_bytes(damaged)
    try:
        told = hydrants_of(torn)
    except UnreadableError:
        return
    assert told == EXPECTED


@given(st.binary(max_size=60), st.booleans())
def test_junk_is_refused(torn, junk, behind):
    torn.write_bytes(DISTRICT + junk + b"\0" if behind else DISTRICT[:40] + junk)
    with pytest.raises(UnreadableError):
        open_osm(torn)


def test_a_way_that_cannot_be_read_is_no_end_of_the_file(torn):
    """Unpacked blocks have no check sum: the message itself is what is broken."""
    whole = extract(primitives(NODES), primitives([], WAYS), packed=False)
    place = whole.index(b"man_made") - 1  # the length of the word
    torn.write_bytes(whole[:place] + b"\xff" + whole[place + 1 :])
    with pytest.raises(UnreadableError, match="damaged"):
        open_osm(torn)


def test_a_ring_that_lost_its_nodes_is_a_row_without_a_shape(torn):
    ways = [(7, [12, 99, 12], {"building": "cut"}), WAYS[1]]
    torn.write_bytes(extract(primitives(NODES), primitives([], ways)))
    source = open_osm(torn)
    rows = read_osm(source, source.layer("multipolygons"))
    assert rows["building"].tolist() == ["cut", "yes"]
    assert rows.geometry.isna().tolist() == [True, False]
