"""Ground from a terrain model: exact on planes, beside scipy elsewhere, never made up."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
import pyproj
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.ndimage import map_coordinates

from hydrantgis.ground.errors import CRSError, SourceError, UnitError, UnreadableError, WordsError
from hydrantgis.ground.units import LengthUnit
from hydrantgis.heights.terrain import vertical_accuracy
from hydrantgis.intake import raster, rasterfile
from hydrantgis.intake import samples as sampling
from hydrantgis.intake.rasterfile import load_rasterio
from hydrantgis.intake.samples import sample, sample_findings
from hydrantgis.intake.terrain import open_terrain, terrain_findings

rasterio = load_rasterio()
from rasterio.transform import Affine  # noqa: E402

UTM = 26915  # NAD83 / UTM zone 15N, metres
MA = 2249  # NAD83 / Massachusetts Mainland, US survey feet
FT = 1 / 0.3048
FT_US = 1200 / 3937
GRID = Affine(2.0, 0, 440_000, 0, -2.0, 4_640_000)


def write(path: Path, z: np.ndarray, *, crs=UTM, transform=GRID, nodata=None, unit="m", **more):
    """A raster of one band."""
    told = {"driver": "GTiff", "dtype": z.dtype, "count": 1, "crs": crs, **more}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        with rasterio.open(
            path, "w", height=z.shape[0], width=z.shape[1], transform=transform, nodata=nodata,
            **told,
        ) as out:  # fmt: skip
            out.write(z, 1)
            if unit is not None:
                out.units = (unit,)
    return path


def centers(shape, transform=GRID):
    """Coordinates of the centers of all cells, two arrays of that shape."""
    r, c = np.indices(shape) + 0.5
    return (
        transform.a * c + transform.b * r + transform.c,
        transform.d * c + transform.e * r + transform.f,
    )


def at_cells(cells, transform=GRID):
    """Coordinates of fractional (row, column) counted from the center of the first cell."""
    r, c = np.asarray(cells, dtype=float).T + 0.5
    return np.column_stack((
        transform.a * c + transform.b * r + transform.c,
        transform.d * c + transform.e * r + transform.f,
    ))  # fmt: skip


def moved(columns, rows):
    """The grid, begun so many columns and rows farther on."""
    return Affine(2.0, 0, 440_000 + 2.0 * columns, 0, -2.0, 4_640_000 - 2.0 * rows)


def bumpy(shape, seed=1):
    return 200 + np.random.default_rng(seed).normal(0, 3, shape)


# planes


@pytest.mark.parametrize(
    "transform",
    [
        pytest.param(GRID, id="north up"),
        pytest.param(Affine(2.0, 0, 440_000, 0, 2.0, 4_640_000), id="south up"),
        pytest.param(Affine(1.6, 1.8, 440_000, 1.2, -2.4, 4_640_000), id="turned"),
        pytest.param(Affine(2.0, 0.7, 440_000, 0.1, -1.5, 4_640_000), id="sheared"),
    ],
)
def test_a_plane_is_read_exactly_whatever_the_grid(tmp_path, transform):
    x, y = centers((40, 50), transform)
    z = 100 + 0.03 * (x - 440_000) - 0.04 * (y - 4_640_000)
    terrain = open_terrain([write(tmp_path / "dem.tif", z, transform=transform)])
    cells = np.random.default_rng(2).uniform((0, 0), (39, 49), (500, 2))
    points = at_cells(cells, transform)
    got = sample(terrain, points, pyproj.CRS(UTM))
    expected = 100 + 0.03 * (points[:, 0] - 440_000) - 0.04 * (points[:, 1] - 4_640_000)
    np.testing.assert_allclose(got.elev_ft, expected * FT, atol=1e-6)
    np.testing.assert_allclose(got.slope, 0.05, atol=1e-8)
    assert set(got.why) == {"ok"}


@pytest.mark.parametrize(
    ("unit", "metres"),
    [("m", 1.0), ("ft", 0.3048), ("ftUS", FT_US), ("cm", 0.01)],
)
def test_elevations_have_a_unit_of_their_own(tmp_path, unit, metres):
    """Over a grid in US survey feet, elevations may be in any unit; a slope is a number."""
    grid = Affine(10.0, 0, 760_000, 0, -10.0, 2_950_000)
    x, _ = centers((30, 30), grid)
    rise_m = (x - 760_000) * FT_US * 0.02  # one in fifty
    path = write(tmp_path / "dem.tif", rise_m / metres, crs=MA, transform=grid, unit=None)
    terrain = open_terrain([path], unit=LengthUnit(unit))
    got = sample(terrain, np.array([[760_100.0, 2_949_900.0]]), pyproj.CRS(MA))
    assert got.elev_ft.tolist() == pytest.approx([100 * FT_US * 0.02 / 0.3048], abs=1e-9)
    assert got.slope.tolist() == pytest.approx([0.02], rel=1e-9)
    assert terrain.cell_ft == pytest.approx(10 * FT_US / 0.3048, rel=1e-12)


@pytest.mark.parametrize("crs", [4326, 4269, 3857, 4087])
@pytest.mark.parametrize("direction", ["east", "north"])
def test_slopes_are_measured_on_the_ground(tmp_path, crs, direction):
    """Degrees, and a map that stretches: the run is that of a geodesic between two places."""
    lon, lat = -93.7, 45.0
    to = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    x0, y0 = to.transform(lon, lat)
    step = 1 / 32400 if crs in (4326, 4269) else 3.0
    grid = Affine(step, 0, x0 - 10 * step, 0, -step, y0 + 10 * step)
    r, c = np.indices((20, 20)).astype(float)
    z = 300 + 0.05 * (c if direction == "east" else r)  # 5 cm a cell
    terrain = open_terrain([write(tmp_path / "dem.tif", z, crs=crs, transform=grid)])
    got = sample(terrain, np.array([[x0, y0]]), pyproj.CRS(crs))
    dx, dy = (step, 0.0) if direction == "east" else (0.0, step)
    ends = [x0 - dx / 2, x0 + dx / 2], [y0 - dy / 2, y0 + dy / 2]
    lons, lats = to.transform(*ends, direction="INVERSE")
    run = pyproj.Geod(ellps="GRS80").inv(lons[0], lats[0], lons[1], lats[1])[2]
    assert got.slope.tolist() == pytest.approx([0.05 / run], rel=1e-5)


def test_points_come_from_another_system(tmp_path):
    x, y = centers((100, 100))
    terrain = open_terrain([write(tmp_path / "dem.tif", x - 440_000 + 2 * (y - 4_640_000))])
    points = np.array([[440_050.0, 4_639_950.0], [440_101.5, 4_639_900.25]])
    to_degrees = pyproj.Transformer.from_crs(UTM, 4269, always_xy=True)
    lonlat = np.column_stack(to_degrees.transform(*points.T))
    got = sample(terrain, lonlat, pyproj.CRS(4269))
    np.testing.assert_allclose(got.elev_ft, np.array([-50.0, 101.5 - 199.5]) * FT, atol=1e-4)


# beside scipy

LAYOUTS = [
    {},
    {"tiled": True, "blockxsize": 16, "blockysize": 16},
    {"tiled": True, "blockxsize": 64, "blockysize": 32, "compress": "deflate", "predictor": 2},
    {"compress": "lzw", "blockysize": 1},
    {"tiled": True, "blockxsize": 256, "blockysize": 256, "compress": "deflate"},
]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_between_cells_it_is_what_scipy_makes_of_it(tmp_path, data):
    rows, columns = data.draw(st.integers(2, 150)), data.draw(st.integers(2, 150))
    dtype = data.draw(st.sampled_from(["int16", "uint16", "int32", "float32", "float64"]))
    layout = data.draw(st.sampled_from(LAYOUTS))
    z = bumpy((rows, columns), data.draw(st.integers(0, 99))).astype(dtype)
    if layout.get("predictor") == 2 and dtype == "float64":
        layout = {}
    terrain = open_terrain([write(tmp_path / "dem.tif", z, **layout)])
    some = st.tuples(st.floats(0, rows - 1), st.floats(0, columns - 1))
    cells = np.array(data.draw(st.lists(some, min_size=1, max_size=40)))
    workers = data.draw(st.integers(1, 3))
    got = sample(terrain, at_cells(cells), pyproj.CRS(UTM), workers=workers)
    expected = map_coordinates(z.astype(float), cells.T, order=1, mode="nearest") * FT
    assert set(got.why) == {"ok"}
    np.testing.assert_allclose(got.elev_ft, expected, atol=1e-4)
    assert np.isfinite(got.slope).all()


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_tiles_are_one_raster(tmp_path, data):
    """Cut anywhere, named in any order, each tile in blocks and with a mark of its own."""
    rows, columns = data.draw(st.integers(6, 90)), data.draw(st.integers(6, 90))
    z = bumpy((rows, columns)).astype("float32")
    holes = np.random.default_rng(data.draw(st.integers(0, 9))).random(z.shape) < 0.02
    row_cuts, column_cuts = (
        sorted({0, *data.draw(st.lists(st.integers(1, size - 1), max_size=2)), size})
        for size in (rows, columns)
    )
    paths = []
    for top, bottom in itertools.pairwise(row_cuts):
        for left, right in itertools.pairwise(column_cuts):
            mark = data.draw(st.sampled_from([-9999.0, -3.4028234663852886e38, np.nan]))
            piece = np.where(holes, np.float32(mark), z)[top:bottom, left:right]
            paths.append(write(
                tmp_path / f"{top}_{left}.tif", piece, nodata=mark,
                transform=moved(left, top),
                **data.draw(st.sampled_from(LAYOUTS[:2])),
            ))  # fmt: skip
    whole = write(tmp_path / "whole.tif", np.where(holes, np.float32(-9999), z), nodata=-9999.0)
    cells = np.random.default_rng(5).uniform(-2, (rows + 1, columns + 1), (300, 2))
    cells = np.vstack((cells, [(r - 0.5, c - 0.5) for r in row_cuts for c in column_cuts]))
    one = sample(open_terrain([whole]), at_cells(cells), pyproj.CRS(UTM))
    order = data.draw(st.permutations(paths))
    many = sample(open_terrain(order), at_cells(cells), pyproj.CRS(UTM))
    assert one.why.tolist() == many.why.tolist()
    np.testing.assert_allclose(one.elev_ft, many.elev_ft, atol=1e-6, equal_nan=True)
    np.testing.assert_allclose(one.slope, many.slope, atol=1e-8, equal_nan=True)
    ok = one.why == "ok"
    filled = map_coordinates(z.astype(float), cells[ok].T, order=1, mode="nearest")
    np.testing.assert_allclose(one.elev_ft[ok], filled * FT, atol=1e-4)


def test_a_vrt_of_tiles_is_one_raster(tmp_path):
    z = bumpy((40, 60)).astype("float32")
    write(tmp_path / "a.tif", z[:, :30])
    write(tmp_path / "b.tif", z[:, 30:], transform=moved(30, 0))
    sources = "".join(
        f'<SimpleSource><SourceFilename relativeToVRT="1">{name}</SourceFilename><SourceBand>1'
        f'</SourceBand><SrcRect xOff="0" yOff="0" xSize="30" ySize="40"/>'
        f'<DstRect xOff="{x}" yOff="0" xSize="30" ySize="40"/></SimpleSource>'
        for name, x in (("a.tif", 0), ("b.tif", 30))
    )
    (tmp_path / "all.vrt").write_text(
        '<VRTDataset rasterXSize="60" rasterYSize="40"><SRS>EPSG:26915</SRS><GeoTransform>'
        "440000, 2, 0, 4640000, 0, -2</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1">{sources}</VRTRasterBand></VRTDataset>'
    )
    cells = np.random.default_rng(5).uniform(0, (39, 59), (200, 2))
    terrain = open_terrain([tmp_path / "all.vrt"], unit=LengthUnit.M)
    got = sample(terrain, at_cells(cells), pyproj.CRS(UTM))
    expected = map_coordinates(z.astype(float), cells.T, order=1) * FT
    np.testing.assert_allclose(got.elev_ft, expected, atol=1e-4)


@pytest.mark.parametrize("cuts", [(0, 1400), (0, 700, 1400)], ids=["one raster", "four tiles"])
def test_each_block_is_read_once(tmp_path, monkeypatch, cuts):
    """To decode is what takes the time; neighbors across a border must not double it."""
    z = bumpy((1400, 1400)).astype("float32")
    corners = [(top, left) for top in cuts[:-1] for left in cuts[:-1]]
    side = cuts[1]
    paths = [
        write(
            tmp_path / f"{top}_{left}.tif", z[top : top + side, left : left + side],
            transform=moved(left, top), tiled=True, blockxsize=512, blockysize=512,
        )
        for top, left in corners
    ]  # fmt: skip
    read = []
    plain = sampling._Open.window

    def noted(self, tile, top, bottom):
        read.append((tile.path.name, *map(int, top // 512), *map(int, (bottom - 1) // 512)))
        return plain(self, tile, top, bottom)

    monkeypatch.setattr(sampling._Open, "window", noted)
    cells = np.random.default_rng(5).uniform(0, 1399, (20_000, 2))
    got = sample(open_terrain(paths), at_cells(cells), pyproj.CRS(UTM))
    assert set(got.why) == {"ok"}
    blocks = range(-(-side // 512))
    assert sorted(read) == sorted(
        (p.name, r, c, r, c) for p in paths for r in blocks for c in blocks
    )


def test_an_overlap_is_filled_from_the_other_tile(tmp_path):
    z = np.full((10, 10), 5.0)
    hollow = z.copy()
    hollow[:, 6:] = -9999
    a = write(tmp_path / "a.tif", hollow, nodata=-9999)
    b = write(tmp_path / "b.tif", z + 1, transform=moved(4, 0))
    got = sample(open_terrain([a, b]), at_cells([[5, 4.5], [5, 5.5], [5, 8.5]]), pyproj.CRS(UTM))
    np.testing.assert_allclose(got.elev_ft, np.array([5.0, 5.5, 6.0]) * FT)


def test_between_tiles_that_do_not_meet_it_is_outside(tmp_path):
    z = np.full((10, 10), 5.0)
    a = write(tmp_path / "a.tif", z)
    b = write(tmp_path / "b.tif", z, transform=moved(15, 12))
    points = at_cells([[5, 5], [5, 17], [15, 17], [9.5, 5]])
    got = sample(open_terrain([a, b]), points, pyproj.CRS(UTM))
    assert got.why.tolist() == ["ok", "outside", "ok", "outside"]


# no value


def test_outside_is_told_and_never_zero(tmp_path):
    terrain = open_terrain([write(tmp_path / "dem.tif", np.full((10, 10), 7.0))])
    cells = [[0, 0], [9, 9], [-0.01, 5], [5, 9.01], [500, 5]]
    points = np.vstack((at_cells(cells), [[np.nan, 1.0], [np.inf, 1.0]]))
    got = sample(terrain, points, pyproj.CRS(UTM))
    assert got.why.tolist() == ["ok", "ok", *["outside"] * 3, *["no-location"] * 2]
    assert np.isnan(got.elev_ft).tolist() == [False, False, *[True] * 5]
    assert np.isnan(got.slope).tolist() == [False, False, *[True] * 5]
    keys = np.array(list("abcdefg"), dtype=object)
    told = sample_findings(terrain, got, keys)
    assert told[["code", "key"]].to_numpy().tolist() == [["terrain-outside", k] for k in "cde"]
    assert told["message"].str.contains("dem.tif").all()


def test_points_that_the_projection_cannot_hold_are_outside(tmp_path):
    terrain = open_terrain([write(tmp_path / "dem.tif", np.full((10, 10), 7.0))])
    got = sample(terrain, np.array([[87.0, 0.0], [-93.0, 90.0]]), pyproj.CRS(4326))
    assert got.why.tolist() == ["outside", "outside"]


def test_no_points_and_a_single_row_of_cells(tmp_path):
    terrain = open_terrain([write(tmp_path / "dem.tif", np.full((1, 10), 7.0))])
    assert len(sample(terrain, np.empty((0, 2)), pyproj.CRS(UTM)).elev_ft) == 0
    got = sample(terrain, at_cells([[0, 5]]), pyproj.CRS(UTM))
    assert got.why.tolist() == ["outside"]


@pytest.mark.parametrize(
    ("dtype", "mark"),
    [("float32", -9999.0), ("float32", -3.4028234663852886e38), ("float64", np.nan),
     ("int16", -32768), ("uint16", 0), ("float32", 123.456)],
)  # fmt: skip
def test_a_declared_mark_is_no_elevation(tmp_path, dtype, mark):
    z = np.full((10, 10), 50, dtype=dtype)
    z[4, 4] = mark
    terrain = open_terrain([write(tmp_path / "dem.tif", z, nodata=mark)])
    cells = [[4, 4], [3.5, 3.5], [4.99, 4.99], [2.99, 2.99], [5, 5]]
    got = sample(terrain, at_cells(cells), pyproj.CRS(UTM))
    assert got.why.tolist() == ["nodata", "nodata", "nodata", "ok", "ok"]
    assert not got.undeclared.any()
    np.testing.assert_allclose(got.elev_ft[3:], 50 * FT)
    told = sample_findings(terrain, got, np.array(list("abcde"), dtype=object))
    assert told["code"].tolist() == ["terrain-nodata"] * 3


@pytest.mark.parametrize(
    ("dtype", "mark"),
    [("float32", -9999.0), ("int16", -32768), ("float32", -3.4028234663852886e38),
     ("float32", 0.0), ("float32", 1e20), ("float32", np.inf)],
)  # fmt: skip
def test_a_mark_that_nobody_declares_is_known_by_its_size(tmp_path, dtype, mark):
    z = np.full((10, 10), 50, dtype=dtype)
    z[4, 4] = mark
    path = write(tmp_path / "dem.tif", z)
    got = sample(open_terrain([path]), at_cells([[4, 4], [7, 7]]), pyproj.CRS(UTM))
    assert got.why.tolist() == ["nodata", "ok"]
    assert np.isnan(got.elev_ft[0])
    assert np.isnan(got.slope[0])
    if np.isfinite(mark):
        terrain = open_terrain([path], nodata=float(mark))
        assert got.undeclared.tolist() == [True, False]
        told = sample_findings(terrain, got, np.array(["a", "b"], dtype=object))
        assert told[["code", "key"]].to_numpy().tolist() == [["terrain-nodata-undeclared", "a"]]
        said = sample(terrain, at_cells([[4, 4], [7, 7]]), pyproj.CRS(UTM))
        assert said.why.tolist() == ["nodata", "ok"]
        assert not said.undeclared.any()


def test_zero_is_an_elevation_at_the_coast(tmp_path):
    z = bumpy((10, 10)) - 198
    z[4, 4] = 0.0
    terrain = open_terrain([write(tmp_path / "dem.tif", z)])
    got = sample(terrain, at_cells([[4, 4], [7, 7]]), pyproj.CRS(UTM))
    assert got.why.tolist() == ["ok", "ok"]


def test_a_mask_tells_which_cells_hold_a_value(tmp_path):
    path = write(tmp_path / "dem.tif", np.full((10, 10), 50.0))
    mask = np.full((10, 10), 255, dtype="uint8")
    mask[4, 4] = 0
    with rasterio.open(path, "r+") as out:
        out.write_mask(mask)
    got = sample(open_terrain([path]), at_cells([[4, 4], [7, 7]]), pyproj.CRS(UTM))
    assert got.why.tolist() == ["nodata", "ok"]


def test_numbers_in_steps_of_a_hundredth(tmp_path):
    path = write(tmp_path / "dem.tif", np.full((5, 5), 1234, dtype="int16"))
    with rasterio.open(path, "r+") as out:
        out.scales, out.offsets = (0.01,), (100.0,)
    got = sample(open_terrain([path]), at_cells([[2, 2]]), pyproj.CRS(UTM))
    assert got.elev_ft.tolist() == pytest.approx([112.34 * FT])
    assert not got.whole


# what it says of itself


def codes(terrain, **more):
    return terrain_findings(terrain, **more)["code"].tolist()


def test_unit_and_datum_come_from_a_compound_crs(tmp_path):
    path = write(tmp_path / "dem.tif", np.full((5, 5), 50.0), crs="EPSG:2249+6360", unit=None,
                 transform=Affine(3, 0, 760_000, 0, -3, 2_950_000))  # fmt: skip
    terrain = open_terrain([path])
    assert (terrain.unit, terrain.vertical_datum) == (LengthUnit.FT_US, "NAVD88")
    assert terrain.crs.to_epsg() == MA
    assert codes(terrain) == []


def test_nothing_is_guessed(tmp_path):
    z = np.full((5, 5), 50.0)
    bare = write(tmp_path / "bare.tif", z, unit=None)
    with pytest.raises(UnitError, match="does not tell the unit") as told:
        open_terrain([bare])
    assert "metre, which says nothing" in told.value.found
    assert "--unit elev_ft" in told.value.do
    with pytest.raises(UnitError) as told:
        open_terrain([write(tmp_path / "odd.tif", z, unit="fathom")])
    assert "`fathom`" in told.value.found
    nowhere = write(tmp_path / "nowhere.tif", z, crs=None)
    with pytest.raises(CRSError, match="names no coordinate") as told:
        open_terrain([nowhere])
    assert "--crs" in told.value.do
    assert open_terrain([nowhere], crs="EPSG:26915").crs.to_epsg() == UTM
    flat = write(tmp_path / "flat.tif", z, transform=Affine.identity())
    with pytest.raises(CRSError, match="where its cells lie"):
        open_terrain([flat])
    said = open_terrain([bare], unit=LengthUnit.M)
    assert said.vertical_datum is None
    assert codes(said) == []


def test_two_units_in_one_file_are_refused_until_one_is_said(tmp_path):
    path = write(tmp_path / "dem.tif", np.full((5, 5), 50.0), crs="EPSG:26915+5703", unit="foot")
    with pytest.raises(UnitError, match="in two ways"):
        open_terrain([path])
    terrain = open_terrain([path], unit=LengthUnit.FT)
    assert codes(terrain) == ["terrain-overruled"]
    assert terrain_findings(terrain)["message"].tolist() == ["ft was taken instead of m"]


def test_the_user_goes_before_the_file_and_it_is_told(tmp_path):
    path = write(tmp_path / "dem.tif", np.full((5, 5), 50.0), crs="EPSG:26915+5703", unit=None)
    terrain = open_terrain([path], crs="EPSG:26916", vertical_datum="NGVD29")
    assert terrain_findings(terrain)["message"].tolist() == [
        "EPSG:26916 was taken instead of EPSG:26915", "NGVD29 was taken instead of NAVD88",
    ]  # fmt: skip
    same = open_terrain([path], crs="EPSG:26915", vertical_datum="NAVD88")
    assert codes(same) == []


def test_coarse_terrain_is_told(tmp_path):
    wide = Affine(30, 0, 440_000, 0, -30, 4_640_000)
    z = np.full((5, 5), 50.0)
    told = terrain_findings(open_terrain([write(tmp_path / "a.tif", z, transform=wide)]))
    assert told["code"].tolist()[0] == "terrain-too-coarse"
    assert "98 ft wide" in told["message"].tolist()[0]
    fine = open_terrain([write(tmp_path / "b.tif", z)])
    got = sample(fine, at_cells([[2, 2]]), pyproj.CRS(UTM))
    assert got.whole
    assert "terrain-too-coarse" in codes(fine, whole=got.whole)
    broken = open_terrain([write(tmp_path / "c.tif", z + 0.25)])
    got = sample(broken, at_cells([[2, 2]]), pyproj.CRS(UTM))
    assert not got.whole
    assert "terrain-too-coarse" not in codes(broken, whole=got.whole)


def test_no_raster_is_no_terrain():
    with pytest.raises(WordsError, match="no raster"):
        open_terrain([])


def test_tiles_that_do_not_belong_together(tmp_path):
    z = np.full((5, 5), 50.0)
    a = write(tmp_path / "a.tif", z)
    with pytest.raises(CRSError, match="two coordinate"):
        open_terrain([a, write(tmp_path / "b.tif", z, crs=26916)])
    with pytest.raises(UnitError, match="two ways"):
        open_terrain([a, write(tmp_path / "c.tif", z, unit="ft")])
    larger = Affine(3.0, 0, 440_000, 0, -3.0, 4_640_000)
    for i, transform in enumerate((moved(1, 0.5), larger)):
        with pytest.raises(SourceError, match="one grid"):
            open_terrain([a, write(tmp_path / f"{i}.tif", z, transform=transform)])


def test_several_bands_want_a_name(tmp_path):
    path = tmp_path / "two.tif"
    with rasterio.open(path, "w", driver="GTiff", width=5, height=5, count=2, dtype="float32",
                       crs=UTM, transform=GRID) as out:  # fmt: skip
        out.write(np.stack([np.full((5, 5), 1.0), np.full((5, 5), 60.0)]).astype("float32"))
    with pytest.raises(SourceError, match="several bands"):
        open_terrain([path], unit=LengthUnit.M)
    with pytest.raises(SourceError, match="no such band"):
        open_terrain([path], unit=LengthUnit.M, band=3)
    got = sample(
        open_terrain([path], unit=LengthUnit.M, band=2), at_cells([[2, 2]]), pyproj.CRS(UTM)
    )
    assert got.elev_ft.tolist() == pytest.approx([60 * FT])


# files that are not what they should be

SERVICE = """<GDAL_WMS><Service name="TMS"><ServerUrl>http://192.0.2.1/${z}/${x}/${y}.png</ServerUrl>
</Service><DataWindow><UpperLeftX>0</UpperLeftX><UpperLeftY>9</UpperLeftY><LowerRightX>9
</LowerRightX><LowerRightY>0</LowerRightY><SizeX>9</SizeX><SizeY>9</SizeY></DataWindow>
<Projection>EPSG:26915</Projection><BandsCount>1</BandsCount></GDAL_WMS>"""


def test_files_that_are_no_raster(tmp_path):
    with pytest.raises(UnreadableError, match="no such file"):
        open_terrain([tmp_path / "none.tif"])
    (tmp_path / "text.tif").write_text("no raster")
    with pytest.raises(UnreadableError, match="no raster of a known format"):
        open_terrain([tmp_path / "text.tif"])


def test_a_raster_cut_short_is_told(tmp_path):
    z = bumpy((400, 400)).astype("float32")
    path = write(tmp_path / "dem.tif", z, tiled=True, blockxsize=128, blockysize=128)
    path.write_bytes(path.read_bytes()[:200_000])
    cells = np.random.default_rng(5).uniform(0, 399, (500, 2))
    with pytest.raises(UnreadableError):
        sample(open_terrain([path]), at_cells(cells), pyproj.CRS(UTM))


@pytest.mark.parametrize(
    "source",
    ["/vsicurl/http://192.0.2.1/dem.tif", "http://192.0.2.1/dem.tif", "missing.tif", "far.vrt",
     "service.xml", "&lt;GDAL_WMS&gt;&lt;/GDAL_WMS&gt;"],
)  # fmt: skip
def test_a_vrt_draws_on_rasters_on_this_machine_alone(tmp_path, source, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "service.xml").write_text(SERVICE)
    (tmp_path / "far.vrt").write_text(
        '<VRTDataset rasterXSize="5" rasterYSize="5"><SRS>EPSG:26915</SRS><GeoTransform>'
        "440000, 2, 0, 4640000, 0, -2</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
        f"<SourceFilename>{source}</SourceFilename><SourceBand>1</SourceBand></SimpleSource>"
        "</VRTRasterBand></VRTDataset>"
    )
    opened = []
    plain = rasterfile.open_dataset

    def noted(rasterio, path):
        opened.append(path.name)
        return plain(rasterio, path)

    for module in (raster, rasterfile):
        monkeypatch.setattr(module, "open_dataset", noted)
    with pytest.raises(UnreadableError):
        open_terrain([tmp_path / "far.vrt"], unit=LengthUnit.M)
    assert "far.vrt" not in opened


def test_a_description_of_a_map_service_is_no_raster(tmp_path):
    (tmp_path / "service.xml").write_text(SERVICE)
    with pytest.raises(UnreadableError):
        open_terrain([tmp_path / "service.xml"], unit=LengthUnit.M)


@pytest.mark.parametrize("name", ["PROJ_DATA", "PROJ_LIB"])
def test_the_proj_of_another_program_is_left_aside(tmp_path, name):
    path = write(tmp_path / "dem.tif", np.full((5, 5), 50.0))
    (tmp_path / "proj").mkdir()
    code = (
        "import os, sys\nfrom pathlib import Path\n"
        "from hydrantgis.intake.terrain import open_terrain\n"
        f"print(open_terrain([Path(sys.argv[1])]).crs.to_epsg(), os.environ[{name!r}])"
    )
    place = str(tmp_path / "proj")
    root = str(Path(sampling.__file__).parents[2])
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False,
        env={**os.environ, name: place, "PYTHONPATH": root},
    )  # fmt: skip
    assert done.stdout.split() == [str(UTM), place], done.stderr


def test_nothing_is_left_beside_the_file(tmp_path):
    path = write(tmp_path / "dem.tif", bumpy((50, 50)))
    before = path.stat().st_mtime_ns, sorted(tmp_path.iterdir())
    sample(open_terrain([path]), at_cells([[5, 5]]), pyproj.CRS(UTM))
    assert (path.stat().st_mtime_ns, sorted(tmp_path.iterdir())) == before


# open layers


def test_elevations_in_metres_over_feet_of_an_open_layer(open_data):
    """US EPA and Sandia, example data of WNTR: assets and terrain were made apart."""
    import geopandas as gpd

    folder = open_data / "wntr_ky4"
    assets = gpd.read_file(folder / "ky4_junctions.geojson")
    with pytest.raises(UnitError):
        open_terrain([folder / "ky4_elevation.tif"])
    terrain = open_terrain([folder / "ky4_elevation.tif"], unit=LengthUnit.M)
    assert terrain.cell_ft == pytest.approx(91, abs=0.1)
    assert "terrain-too-coarse" in codes(terrain)
    points = np.column_stack((assets.geometry.x, assets.geometry.y))
    got = sample(terrain, points, assets.crs)
    assert set(got.why) == {"ok"}
    said = assets["elevation"].to_numpy()
    assert (said - got.elev_ft * 0.3048).mean() == pytest.approx(0.16, abs=0.005)
    # the spread and the ends that are told of this layer are those of the nearest cells
    inner = np.floor(terrain.cells_of(points)) + 0.5
    nearest = sample(terrain, terrain.coordinates_of(inner), assets.crs)
    apart = said - nearest.elev_ft * 0.3048
    assert apart.std() == pytest.approx(1.96, abs=0.005)
    assert apart.min() == pytest.approx(-13, abs=0.5)
    assert apart.max() == pytest.approx(18, abs=0.5)
    # between cells the ground is nearer to the assets
    assert (said - got.elev_ft * 0.3048).std() < apart.std()
    told = vertical_accuracy(nearest.elev_ft, said * FT)
    assert told.points == 959
    # 1.9600 times the root of 0.16 and 1.96 squared: far wider than a window of inches
    assert told.accuracy_95_ft * 0.3048 == pytest.approx(1.96 * np.hypot(0.16, 1.96), abs=0.01)


def test_field_points_in_an_open_terrain(open_data):
    """USDA ARS, Walnut Creek watershed: every field point lies in the terrain made for them."""
    import geopandas as gpd

    folder = open_data / "iowa_dem_points"
    fields = gpd.read_file(folder / "XYdata_137Cs.shp")
    terrain = open_terrain([folder / "dem.tif"], unit=LengthUnit.M)
    points = np.column_stack((fields.geometry.x, fields.geometry.y))
    got = sample(terrain, points, fields.crs)
    assert len(points) == 128
    assert set(got.why) == {"ok"}
    metres = got.elev_ft * 0.3048
    assert (metres.min() > 312.5) & (metres.max() < 317.61)
    assert terrain.cell_ft == pytest.approx(3 / 0.3048, rel=1e-3)
    corner = sample(terrain, np.array([[443_409.0, 4_644_993.0]]), fields.crs)
    assert corner.why.tolist() == ["outside"]


def test_slopes_beside_those_of_another_program(open_data):
    """The same publisher's table of slopes at the field points, made with other software."""
    import pandas as pd

    folder = open_data / "iowa_dem_points"
    table = pd.read_csv(folder / "Topograhic_metrics_0.csv", thousands=",")
    table.columns = table.columns.str.strip()
    terrain = open_terrain([folder / "dem.tif"], unit=LengthUnit.M)
    got = sample(terrain, table[["x", "y"]].to_numpy(dtype=float), pyproj.CRS(UTM))
    assert set(got.why) == {"ok"}
    # theirs is of nine cells, ours of four
    assert np.corrcoef(got.slope, table["Slope"])[0, 1] > 0.97
    assert np.median(got.slope) == pytest.approx(table["Slope"].median(), rel=0.05)
