"""Shapes out of text: one CRS a table, and columns that are no text."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import pyproj
import pytest
import shapely

from hydrantgis.ground.errors import CRSError, SourceError
from hydrantgis.ground.units import LengthUnit
from hydrantgis.intake.crs import user_crs
from hydrantgis.intake.place import place
from hydrantgis.intake.source import opened
from hydrantgis.intake.take import take
from hydrantgis.intake.vector import open_vector
from hydrantgis.intake.words import IntakeWords

TODAY = pd.Timestamp("2026-06-01").date()


def test_shapes_of_several_systems_in_one_table_are_refused() -> None:
    cells = ["SRID=2249;POINT (760000 2950000)", "SRID=26986;POINT (236000 901000)"]
    with pytest.raises(SourceError, match="2249, 26986"):
        place(pd.DataFrame({"wkt": cells}), {}, decimal=None, where="h.csv")


def test_an_srid_that_no_system_has_is_told(tmp_path) -> None:
    path = tmp_path / "h.csv"
    path.write_text('hydrant_id,wkt\nH1,"SRID=999999;POINT (760000 2950000)"\n')
    with pytest.raises(CRSError, match="999999"):
        take(str(path), "hydrants", IntakeWords(), today=TODAY)


def test_numbers_are_no_shapes_and_do_not_stop_a_look() -> None:
    table = pd.DataFrame({"latlon": [1.5, 2.5], "name": ["a", "b"]})
    with pytest.raises(Exception, match="coordinates cannot be read"):
        place(table, {}, decimal=None, where="h.gpkg")


@pytest.mark.parametrize("code", ["EPSG:5703", "EPSG:4978"])
def test_a_height_or_a_point_in_space_is_no_place_on_the_ground(code) -> None:
    with pytest.raises(CRSError, match="does not say where"):
        user_crs(code)
    assert user_crs("EPSG:2249+5703").is_projected


def test_the_system_of_a_drawing_is_none(tmp_path) -> None:
    drawing = pyproj.CRS.from_wkt('LOCAL_CS["Nonearth",UNIT["Meter",1]]')
    path = tmp_path / "h.gpkg"
    gpd.GeoDataFrame(
        {"hydrant_id": ["H1"]}, geometry=[shapely.Point(760000, 2950000)], crs=drawing
    ).to_file(path)
    assert open_vector(path, zipped=False).layers[0].crs is None
    with opened(path) as source:
        assert source.layers[0].crs is None


def test_the_z_of_points_the_wrong_way_round_can_be_brought_in(tmp_path) -> None:
    path = tmp_path / "s.gpkg"
    gpd.GeoDataFrame(
        {"p": ["1"], "d": ["gnd"]}, geometry=[shapely.Point(2950000, 760000, 31.5)], crs=2249
    ).to_file(path)
    words = IntakeWords(
        swap_xy=True, fields={"elev_ft": "(Z)", "shot_id": "p"}, units={"elev_ft": LengthUnit.FT},
        constants={"vertical_datum": "NAVD88"},
    )  # fmt: skip
    shots = take(str(path), "shots", words, today=TODAY).accepted
    assert shots["elev_ft"].tolist() == [31.5]
    assert [shots.geometry.iloc[0].x, shots.geometry.iloc[0].y] == [760000, 2950000]


def test_the_z_of_points_of_one_part_can_be_brought_in(tmp_path) -> None:
    shapes = [shapely.MultiPoint([(760000, 2950000, 31.5)]), shapely.Point(760100, 2950000, 32.5)]
    path = tmp_path / "shots.gpkg"
    gpd.GeoDataFrame({"PT": ["1", "2"]}, geometry=shapes, crs=2249).to_file(path)
    words = IntakeWords(
        fields={"shot_id": "PT", "elev_ft": "(Z)"},
        units={"elev_ft": LengthUnit.FT},
        constants={"vertical_datum": "NAVD88", "shot_code": "ground"},
    )
    assert take(str(path), "shots", words, today=TODAY).accepted["elev_ft"].tolist() == [31.5, 32.5]
