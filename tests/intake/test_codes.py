"""Tables of codes that sources carry, each written with something else than what reads it."""

from __future__ import annotations

import datetime as dt
import subprocess
import zipfile
from pathlib import Path
from sqlite3 import connect
from xml.sax.saxutils import escape

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hydrantgis.intake import source as sources
from hydrantgis.intake.codes import decode, domains_in, domains_of
from hydrantgis.intake.take import take
from hydrantgis.intake.words import IntakeWords

TODAY = dt.date(2026, 11, 1)
XSI = 'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"'
SCHEMA = f'{XSI} xmlns:typens="http://www.esri.com/schemas/ArcGIS/10.8"'
PRINTED = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Cn", "Co"]),
    min_size=1,
    max_size=9,
).filter(lambda text: text.strip() and "\ufffe" not in text and "\uffff" not in text)


def domain(name: str, labels: dict[str, str], kind: str = "xs:int") -> str:
    pairs = "".join(
        f'<CodedValue xsi:type="typens:CodedValue"><Name>{escape(label)}</Name>'
        f'<Code xsi:type="{kind}">{escape(code)}</Code></CodedValue>'
        for code, label in labels.items()
    )
    return (
        f'<typens:GPCodedValueDomain2 xsi:type="typens:GPCodedValueDomain2" {SCHEMA} '
        f'xmlns:xs="http://www.w3.org/2001/XMLSchema"><DomainName>{escape(name)}</DomainName>'
        f'<CodedValues xsi:type="typens:ArrayOfCodedValue">{pairs}</CodedValues>'
        "</typens:GPCodedValueDomain2>"
    )


def layer(name: str, fields: dict[str, str | None]) -> str:
    told = "".join(
        f"<GPFieldInfoEx><Name>{escape(field)}</Name>"
        + (f"<DomainName>{escape(coded)}</DomainName>" if coded else "")
        + "</GPFieldInfoEx>"
        for field, coded in fields.items()
    )
    return (
        f"<typens:DEFeatureClassInfo {SCHEMA}><CatalogPath>\\{escape(name)}</CatalogPath>"
        f"<Name>{escape(name)}</Name><GPFieldInfoExs>{told}</GPFieldInfoExs>"
        "</typens:DEFeatureClassInfo>"
    )


def test_the_codes_of_the_layers_own_fields_are_found() -> None:
    definitions = [
        layer("Other", {"KIND": "Barrel"}),
        layer("Hydrants", {"KIND": "Barrel", "STATE": None, "MAKE": "Nowhere", "SIZE": "Range"}),
        domain("Barrel", {"1": "Dry", "2": "Wet & cold", "": "blank", "3": ""}),
        f"<GPRangeDomain2 {XSI}><DomainName>Range</DomainName></GPRangeDomain2>",
        "not XML at all",
        "<GPCodedValueDomain2><DomainName>Barrel",
    ]
    assert domains_in(definitions, "Hydrants") == {"KIND": {"1": "Dry", "2": "Wet & cold"}}
    assert domains_in(definitions, "Valves") == {}


@given(st.dictionaries(PRINTED, PRINTED, min_size=1, max_size=4), PRINTED, PRINTED)
def test_any_codes_and_names_come_through(labels, name, field) -> None:
    labels = {code: label for code, label in labels.items() if "\r" not in code + label}
    found = domains_in([domain(name, labels), layer("H", {field: name})], "H")
    assert found == {field: labels}


def test_entities_in_definitions_are_not_followed() -> None:
    bomb = '<!DOCTYPE x [<!ENTITY a "aaaa">]>' + domain("Barrel", {"1": "&a;"}).replace(
        "&amp;", "&"
    )
    assert domains_in([bomb, layer("H", {"KIND": "Barrel"})], "H") == {}


def frame(**columns: object) -> gpd.GeoDataFrame:
    n = len(next(iter(columns.values())))
    points = [shapely.Point(760_000 + 100 * i, 2_950_000) for i in range(n)]
    return gpd.GeoDataFrame(columns, geometry=points, crs=2249)


def with_domains(path: Path) -> Path:
    """The schema extension's tables, as OGC 12-128 has them."""
    frame(HYD_NO=["1", "2", "3"], KIND=[1, 2, 7], BARREL=["D", "W", None]).to_file(
        path, layer='it\'s "hydrants"', engine="pyogrio"
    )
    with connect(path) as db:
        db.execute(
            "CREATE TABLE IF NOT EXISTS gpkg_data_columns (table_name TEXT NOT NULL, column_name "
            "TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT, "
            "constraint_name TEXT, PRIMARY KEY (table_name, column_name))"
        )
        db.execute(
            "CREATE TABLE IF NOT EXISTS gpkg_data_column_constraints (constraint_name TEXT NOT "
            "NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive "
            "BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT)"
        )
        table = 'it\'s "hydrants"'
        db.executemany(
            "INSERT INTO gpkg_data_columns VALUES (?, ?, NULL, NULL, NULL, NULL, ?)",
            [(table, "KIND", "kinds"), (table, "BARREL", "barrels"), ("other", "KIND", "barrels"),
             (table, "HYD_NO", "numbers")],
        )  # fmt: skip
        db.executemany(
            "INSERT INTO gpkg_data_column_constraints VALUES (?, ?, ?, ?, NULL, ?, NULL, ?)",
            [("kinds", "enum", "1", None, None, "In Service"),
             ("kinds", "enum", "2", None, None, "Retired"),
             ("barrels", "enum", "D", None, None, "Dry"),
             ("barrels", "enum", "W", None, None, "Wet"),
             ("barrels", "enum", "X", None, None, None),
             ("numbers", "range", None, 0, 10, "of hydrants")],
        )  # fmt: skip
    return path


def test_a_geopackage_tells_its_codes(tmp_path) -> None:
    path = with_domains(tmp_path / "50% #1?.gpkg")
    before = path.read_bytes()
    with sources.opened(path) as source:
        found = domains_of(source, source.layers[0])
    assert found == {
        "KIND": {"1": "In Service", "2": "Retired"},
        "BARREL": {"D": "Dry", "W": "Wet"},
    }
    said = IntakeWords(fields={"status": "KIND"})
    intake = take(str(path), "hydrants", said, today=TODAY)
    assert intake.accepted["barrel"].fillna("").tolist() == ["dry", "wet", ""]
    assert intake.accepted["status"].fillna("").tolist() == ["in_service", "retired", ""]
    unknown = intake.findings[intake.findings["code"] == "code-unknown"]
    assert unknown["message"].tolist() == ["`KIND`: no label for `7` (1)"]
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_a_damaged_table_of_codes_tells_nothing(tmp_path) -> None:
    path = with_domains(tmp_path / "h.gpkg")
    with connect(path) as db:
        db.execute("ALTER TABLE gpkg_data_columns RENAME COLUMN constraint_name TO c")
    with sources.opened(path) as source:
        assert domains_of(source, source.layers[0]) == {}


MAKE_GEODATABASE = """
import sys
try:
    from osgeo import gdal, ogr, osr
except ImportError:
    sys.exit("no GDAL here")
if int(gdal.VersionInfo()) < 3060000:
    sys.exit("no GDAL here that writes file geodatabases")
gdal.UseExceptions(); osr.UseExceptions(); ogr.UseExceptions()
ds = gdal.GetDriverByName("OpenFileGDB").Create(sys.argv[1], 0, 0, 0, gdal.GDT_Unknown)
srs = osr.SpatialReference(); srs.ImportFromEPSG(2249)
ds.AddFieldDomain(ogr.CreateCodedFieldDomain(
    "Barrel", "", ogr.OFTInteger, ogr.OFSTNone, {1: "Dry Barrel", 2: "Wet & cold"}))
ds.AddFieldDomain(ogr.CreateCodedFieldDomain(
    "State", "", ogr.OFTString, ogr.OFSTNone, {"ACT": "Active", "ABN": "Abandoned"}))
layer = ds.CreateLayer("Hydrants", srs, ogr.wkbPoint)
for name, kind, domain in (("HYD_NO", ogr.OFTString, ""), ("BARREL", ogr.OFTInteger, "Barrel"),
                           ("STATUS", ogr.OFTString, "State")):
    field = ogr.FieldDefn(name, kind); field.SetDomainName(domain); layer.CreateField(field)
for i, (no, barrel, state) in enumerate((("0007", 1, "ACT"), ("8", 2, "ABN"), ("9", None, "?"))):
    row = ogr.Feature(layer.GetLayerDefn())
    row["HYD_NO"], row["STATUS"] = no, state
    if barrel is not None:
        row["BARREL"] = barrel
    row.SetGeometry(ogr.CreateGeometryFromWkt("POINT (%d 2950000)" % (760000 + 100 * i)))
    layer.CreateFeature(row)
"""


@pytest.mark.parametrize("zipped", [False, True])
def test_a_file_geodatabase_tells_its_codes(tmp_path, zipped) -> None:
    path = tmp_path / "city.gdb"
    try:
        made = subprocess.run(
            ["/usr/bin/python3", "-I", "-c", MAKE_GEODATABASE, path],
            capture_output=True,
            text=True,
            check=False,
        )
    except FileNotFoundError:
        pytest.skip("no /usr/bin/python3")
    if made.stderr.startswith("no GDAL here"):
        pytest.skip(f"/usr/bin/python3: {made.stderr.strip()}")
    assert made.returncode == 0, made.stderr
    if zipped:
        with zipfile.ZipFile(tmp_path / "city.gdb.zip", "w") as archive:
            for part in path.iterdir():
                archive.write(part, f"city.gdb/{part.name}")
        path = tmp_path / "city.gdb.zip"
    with sources.opened(path) as source:
        found = domains_of(source, source.layer("Hydrants"))
    assert found == {
        "BARREL": {"1": "Dry Barrel", "2": "Wet & cold"},
        "STATUS": {"ACT": "Active", "ABN": "Abandoned"},
    }
    said = IntakeWords(meanings={"barrel": {"Wet & cold": "wet"}})
    intake = take(str(path), "hydrants", said, today=TODAY)
    assert intake.accepted["hydrant_id"].tolist() == ["0007", "8", "9"]
    assert intake.accepted["barrel"].fillna("").tolist() == ["dry", "wet", ""]
    assert intake.accepted["status"].fillna("").tolist() == ["in_service", "retired", ""]


def test_other_formats_tell_no_codes(tmp_path) -> None:
    path = tmp_path / "h.geojson"
    frame(KIND=[1]).to_crs(4326).to_file(path)
    with sources.opened(path) as source:
        assert domains_of(source, source.layers[0]) == {}


@given(
    st.lists(st.one_of(st.none(), st.integers(0, 5)), min_size=1, max_size=10),
    st.dictionaries(st.integers(0, 5).map(str), st.sampled_from(["Dry", "Wet", "3"]), max_size=4),
    st.sampled_from(["Int64", "float64", "object"]),
)
def test_codes_become_labels_and_none_is_lost(cells, labels, dtype) -> None:
    rows = pd.DataFrame({"KIND": pd.Series(cells, dtype=dtype), "N": range(len(cells))})
    kept = rows.copy()
    told, noticed = decode(rows, {"KIND": labels, "GONE": {"1": "x"}}, table="h", told_by="user")
    expected = [None if c is None else labels.get(str(c), str(c)) for c in cells]
    assert [None if pd.isna(c) else c for c in told["KIND"]] == expected
    assert told["N"].tolist() == rows["N"].tolist()
    pd.testing.assert_frame_equal(rows, kept)
    strange = {str(c) for c in cells if c is not None} - set(labels) - set(labels.values())
    assert noticed["code"].tolist() == ["codes-read"] + ["code-unknown"] * bool(strange)
    assert all(f"`{c}`" in noticed["message"].iloc[-1] for c in strange)
