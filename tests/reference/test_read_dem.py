"""The DEM near lines, judged by scipy's bilinear interpolation on the whole array."""

import os
import pickle

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS, Transformer
from read_files import (
    CELL,
    FEET,
    METRIC,
    NORTH,
    SURVEY_FOOT,
    WEST,
    a_line,
    cells,
    ground,
    points_on,
    write_raster,
)
from scipy.ndimage import map_coordinates
from shapely.geometry import LineString

from reachrank.findings import Findings
from reachrank.read.cache import NotReadError
from reachrank.read.crs import choose, degrees_box, horizontal_part
from reachrank.read.dem import Dem
from reachrank.read.rasters import describe_raster, find_rasters
from reachrank.read.vertical import elevation_unit


def open_dem(*paths, told=None, **more):
    findings = Findings()
    files = [describe_raster(p) for p in find_rasters([str(p) for p in paths])]
    crs = choose(files[0].crs, degrees_box(horizontal_part(files[0].crs), files[0].box))
    return Dem(files, crs, elevation_unit(files, crs, told, findings), findings, **more)


def scipy_sample(array, transform, xy):
    back = ~transform
    column = back.a * xy[:, 0] + back.b * xy[:, 1] + back.c - 0.5
    row = back.d * xy[:, 0] + back.e * xy[:, 1] + back.f - 0.5
    return map_coordinates(array.astype(float), [row, column], order=1, cval=np.nan)


GRID = Affine(CELL, 0.0, WEST, 0.0, -CELL, NORTH)
TILED = {"tiled": True, "blockxsize": 128, "blockysize": 128}


@pytest.mark.parametrize("layout", [{}, TILED, {"blockysize": 7}, {"blockysize": 300}])
def test_sampling_is_scipys_bilinear(tmp_path, layout):
    array = cells()
    with open_dem(write_raster(tmp_path / "a.tif", array, **layout)) as dem:
        xy = points_on(a_line())
        z = dem.surface([a_line()], 30.0).sample(xy[:, 0], xy[:, 1])
        # float32 cells are what both sample: only the order of additions differs
        assert np.allclose(z, scipy_sample(array, GRID, xy), rtol=0, atol=1e-9)
        assert np.abs(z - ground(xy[:, 0], xy[:, 1])).max() < 0.02  # and right on the map


def test_everything_within_the_half_width_is_there_and_little_else(tmp_path):
    with open_dem(write_raster(tmp_path / "a.tif", cells(1500, 1500), **TILED)) as dem:
        line = LineString([(WEST + 900, NORTH - 400), (WEST + 2600, NORTH - 2400)])
        surface = dem.surface([line], 40.0)
        rng = np.random.default_rng(1)
        xy = points_on(line, 4000) + rng.uniform(-28.0, 28.0, (4000, 2))  # corner: 39.6 m
        z = surface.sample(xy[:, 0], xy[:, 1])
        assert np.allclose(z, scipy_sample(cells(1500, 1500), GRID, xy), rtol=0, atol=1e-9)
        # a tile may reach its diagonal beyond the half width, so no farther than this
        far = 40.0 + 2 * 64 * CELL * np.sqrt(2.0)
        most = line.buffer(far).area / (64 * CELL) ** 2
        assert len(surface.tiles) < most


def test_width_for_each_line(tmp_path):
    with open_dem(write_raster(tmp_path / "a.tif", cells(1200, 1200), **TILED)) as dem:
        low = LineString([(WEST + 100, NORTH - 200), (WEST + 2000, NORTH - 200)])
        high = LineString([(WEST + 100, NORTH - 1800), (WEST + 2000, NORTH - 1800)])
        surface = dem.surface([low, high], [5.0, 400.0])
        z = surface.sample([WEST + 1000] * 2, [NORTH - 600.0, NORTH - 1450.0])
        assert np.isnan(z[0])
        assert np.isfinite(z[1])


@pytest.mark.parametrize("layout", [{}, TILED])
@pytest.mark.parametrize("jobs", [1, 2])
def test_each_block_is_read_once(tmp_path, layout, jobs):
    path = write_raster(tmp_path / "a.tif", cells(900, 1000), **layout)
    with rasterio.open(path) as raster:
        height, width = raster.block_shapes[0]
        blocks = -(-900 // height) * -(-1000 // width)
    with open_dem(path, jobs=jobs) as dem:
        diagonal = LineString([(WEST + 20, NORTH - 20), (WEST + 1900, NORTH - 1700)])
        across = LineString([(WEST + 20, NORTH - 1700), (WEST + 1900, NORTH - 20)])
        dem.load([diagonal, across], 60.0)
        loaded = dem.blocks_read
        assert 0 < loaded <= blocks
        dem.surface([diagonal], 60.0)
        dem.surface([across], 50.0)
        assert dem.blocks_read == loaded


@pytest.mark.parametrize("layout", [{}, TILED, {"blockysize": 7}])
@pytest.mark.parametrize("jobs", [1, 2])
@pytest.mark.parametrize("most", [2000, 20_000_000])
def test_a_dem_that_water_is_routed_over_is_read_once(tmp_path, layout, jobs, most):
    """The averaged copy of the whole, and what lies near the lines, from the same blocks."""
    path = write_raster(tmp_path / "a.tif", cells(900, 1000), **layout)
    with rasterio.open(path) as raster:
        height, width = raster.block_shapes[0]
        blocks = -(-900 // height) * -(-1000 // width)
    line = LineString([(WEST + 20, NORTH - 20), (WEST + 1900, NORTH - 1700)])
    with open_dem(path) as dem:
        alone, placed = dem.coarse(most)
        near = dem.surface([line], 60.0)
    with open_dem(path, jobs=jobs) as dem:
        dem.plan([line], 60.0)
        dem.read_ahead(most)
        assert dem.blocks_read == blocks
        dem.load([line], 60.0)
        again = dem.surface([line], 60.0)
        coarse, transform = dem.coarse(most)
        assert dem.blocks_read == blocks
    assert np.array_equal(coarse, alone, equal_nan=True)
    assert transform == placed
    assert np.array_equal(again.tiles, near.tiles, equal_nan=True)


def test_overviews_are_used_and_nothing_is_kept_of_them(tmp_path):
    path = write_raster(tmp_path / "a.tif", cells(900, 1000), **TILED)
    with rasterio.open(path, "r+") as raster:
        raster.build_overviews([2, 4, 8], rasterio.enums.Resampling.average)
    with open_dem(path) as dem:
        dem.plan([a_line()], 60.0)
        dem.read_ahead(2000)
        assert dem.blocks_read == 0
        coarse, transform = dem.coarse(2000)
        factor = round(transform.a / CELL)
        assert np.allclose(
            coarse[0, 0], cells(900, 1000)[:factor, :factor].mean(), atol=0.05
        )  # averages of averages


def test_what_lies_beside_a_file_is_found(tmp_path):
    """Its mask and its overviews, though its folder is not listed for every file."""
    path = write_raster(tmp_path / "a.tif", cells(900, 1000), **TILED)
    shown = np.full((900, 1000), 255, np.uint8)
    shown[:, 500:] = 0
    with (
        rasterio.Env(GDAL_TIFF_INTERNAL_MASK=False, TIFF_USE_OVR=True),
        rasterio.open(path, "r+") as raster,
    ):
        raster.write_mask(shown)
        raster.build_overviews([2, 4], rasterio.enums.Resampling.average)
    assert {p.name for p in tmp_path.iterdir()} >= {"a.tif", "a.tif.msk", "a.tif.ovr"}
    with open_dem(path) as dem:
        coarse, _ = dem.coarse(2000)
        assert dem.blocks_read == 0  # from the overviews
        middle = coarse.shape[1] // 2
        assert np.isfinite(coarse[:, : middle - 2]).all()
        assert np.isnan(coarse[:, middle + 2 :]).all()
        z = dem.probe(np.array([WEST + 10, WEST + 1500.0]), np.array([NORTH - 10.0] * 2))
        assert np.isfinite(z).tolist() == [True, False]


def test_batches_without_loading_first_read_each_block_once_too(tmp_path):
    path = write_raster(tmp_path / "a.tif", cells(900, 1000), blockysize=4)
    with open_dem(path) as dem:
        lines = [
            LineString([(WEST + 20, NORTH - 100 * k), (WEST + 1900, NORTH - 100 * k)])
            for k in range(1, 17)
        ]
        dem.plan(lines)
        for line in lines:
            dem.surface([line], 60.0)
        assert dem.blocks_read <= 900 // 4


def test_lines_across_many_strips_read_each_strip_once(tmp_path):
    path = write_raster(tmp_path / "a.tif", cells(400, 3000), blockysize=4)
    with open_dem(path) as dem:
        lines = [
            LineString([(WEST + 900 * k, NORTH - 20), (WEST + 900 * k, NORTH - 780)])
            for k in range(1, 7)
        ]
        dem.plan(lines, 60.0)
        for line in lines:
            dem.surface([line], 60.0)
        assert dem.blocks_read == 400 // 4


def test_scratch_file_gives_the_same_and_memory_stays_under_the_limit(tmp_path):
    path = write_raster(tmp_path / "a.tif", cells(900, 1000), **TILED)
    line = LineString([(WEST + 20, NORTH - 20), (WEST + 1900, NORTH - 1700)])
    with open_dem(path) as roomy, open_dem(path, memory_limit_mb=0.5) as tight:
        a, b = roomy.surface([line], 80.0), tight.surface([line], 80.0)
        assert np.array_equal(a.tiles, b.tiles, equal_nan=True)
        assert tight._cache.store.bytes_in_memory <= 0.5e6
        assert tight._cache.store.bytes_in_file > 0
        assert roomy._cache.store.bytes_in_file == 0
        read = tight.blocks_read
        assert np.array_equal(tight.surface([line], 80.0).tiles, a.tiles, equal_nan=True)
        assert tight.blocks_read == read


def test_a_copy_has_what_was_read_and_reads_nothing(tmp_path):
    """What another process is sent: the scratch file's chunks, and no way to the DEM's files."""
    path = write_raster(tmp_path / "a.tif", cells(), **TILED)
    line = a_line()
    with open_dem(path, memory_limit_mb=0.1) as dem:
        assert os.fstat(dem.lay_down()).st_size == 0
        dem.load([line], 30.0)
        read = dem.blocks_read
        descriptor = dem.lay_down()
        copy = pickle.loads(pickle.dumps(dem))  # noqa: S301  (our own)
        copy.take_up(os.dup(descriptor))
        here, there = dem.surface([line], 30.0), copy.surface([line], 30.0)
        assert np.array_equal(here.tiles, there.tiles, equal_nan=True)
        assert np.array_equal(here.index, there.index)
        os.unlink(path)
        with pytest.raises(NotReadError):
            copy.surface([line], 2000.0)
        assert copy.blocks_read == read
        copy.forget()
        assert np.array_equal(dem.surface([line], 30.0).tiles, here.tiles, equal_nan=True)


def test_tiles_of_a_folder_are_one_raster(tmp_path):
    whole = cells()
    one = write_raster(tmp_path / "one.tif", whole)
    # cuts that fall on no block or tile edge; the last overlaps its neighbours
    for top, left, rows, columns in ((0, 0, 131, 170), (0, 170, 131, 230), (131, 0, 169, 201),
                                     (131, 190, 169, 210)):  # fmt: skip
        part = whole[top : top + rows, left : left + columns]
        write_raster(tmp_path / "tiles" / f"{top}_{left}.tif", part, top=top, left=left)
    with open_dem(one) as single, open_dem(tmp_path / "tiles") as mosaic:
        xy = points_on(a_line())
        z = [d.surface([a_line()], 30.0).sample(xy[:, 0], xy[:, 1]) for d in (single, mosaic)]
        assert np.isfinite(z[0]).all()
        assert np.array_equal(z[0], z[1])
        assert single.footprint.symmetric_difference(mosaic.footprint).area < 1e-6
        a, b = single.coarse(2000)[0], mosaic.coarse(2000)[0]
        # a coarse cell that lies in two files takes the average of one part of it
        assert np.allclose(a, b, atol=0.6)
        assert np.median(np.abs(a - b)) < 1e-4
    for path in (one, tmp_path / "tiles"):  # whichever thread is done first
        with open_dem(path) as alone, open_dem(path, jobs=3) as together:
            assert np.array_equal(alone.coarse(2000)[0], together.coarse(2000)[0], equal_nan=True)


def test_where_files_overlap_the_first_by_name_that_has_a_value_wins(tmp_path):
    low, high = np.full((100, 100), 10.0, np.float32), np.full((100, 100), 20.0, np.float32)
    low[:50] = -9999.0
    paths = [
        write_raster(tmp_path / "b.tif", high, nodata=-9999.0),
        write_raster(tmp_path / "a.tif", low, nodata=-9999.0),
    ]
    for order in (paths, paths[::-1]):
        with open_dem(*order) as dem:
            line = LineString([(WEST + 20, NORTH - 20), (WEST + 180, NORTH - 180)])
            z = dem.surface([line], 10.0).sample([WEST + 50, WEST + 150], [NORTH - 50, NORTH - 150])
            assert z.tolist() == [20.0, 10.0]


def test_virtual_mosaic_of_plain_rasters(tmp_path):
    whole = cells()
    write_raster(tmp_path / "a.tif", whole[:, :200])
    write_raster(tmp_path / "b.tif", whole[:, 200:], left=200)
    sources = "".join(
        f'<SimpleSource><SourceFilename relativeToVRT="1">{name}</SourceFilename>'
        f'<SourceBand>1</SourceBand><SrcRect xOff="0" yOff="0" xSize="200" ySize="300"/>'
        f'<DstRect xOff="{left}" yOff="0" xSize="200" ySize="300"/></SimpleSource>'
        for name, left in (("a.tif", 0), ("b.tif", 200))
    )
    (tmp_path / "all.vrt").write_text(
        f'<VRTDataset rasterXSize="400" rasterYSize="300"><SRS>{METRIC}</SRS>'
        f"<GeoTransform>{WEST}, {CELL}, 0, {NORTH}, 0, {-CELL}</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1">{sources}</VRTRasterBand></VRTDataset>'
    )
    xy = points_on(a_line())
    with open_dem(tmp_path / "all.vrt") as dem:
        z = dem.surface([a_line()], 30.0).sample(xy[:, 0], xy[:, 1])
    assert np.allclose(z, scipy_sample(whole, GRID, xy), rtol=0, atol=1e-9)


def test_feet_both_ways_are_the_metres_they_are(tmp_path):
    array = cells()
    in_feet = write_raster(
        tmp_path / "ft.tif",
        array / np.float32(SURVEY_FOOT),
        crs=FEET,
        transform=Affine.scale(1.0 / SURVEY_FOOT) @ GRID,
        unit="US survey foot",
    )
    in_metres = write_raster(tmp_path / "m.tif", array)
    xy = points_on(a_line())
    with open_dem(in_feet) as feet, open_dem(in_metres) as metres:
        z = [d.surface([a_line()], 30.0).sample(xy[:, 0], xy[:, 1]) for d in (feet, metres)]
        # float32 feet near 660 are 6e-5 apart; half of it in metres, and the division's rounding
        assert np.abs(z[0] - z[1]).max() < 4e-5
        assert feet.cell_m == pytest.approx(CELL, rel=1e-12)
        assert feet.crs.axis_info[0].unit_conversion_factor == 1.0
        # the international foot would be 0.4 mm lower at 200 m: the test sees the difference
        with open_dem(in_feet, told="ft") as other:
            low = other.surface([a_line()], 30.0).sample(xy[:, 0], xy[:, 1])
            assert (z[1] - low).min() > 3e-4


def test_whole_numbers_with_scale_and_offset(tmp_path):
    array = cells()
    whole = np.round((array - 150.0) / 0.01).astype(np.int32)
    path = write_raster(tmp_path / "a.tif", whole, nodata=-2147483648, scale=0.01, offset=150.0)
    xy = points_on(a_line())
    with open_dem(path) as dem:
        z = dem.surface([a_line()], 30.0).sample(xy[:, 0], xy[:, 1])
    assert np.abs(z - scipy_sample(array, GRID, xy)).max() <= 0.005 + 2e-5


@pytest.mark.parametrize("dtype", ["int16", "float32"])
def test_no_data_is_never_averaged(tmp_path, dtype):
    array = np.round(cells()).astype(dtype)
    array[100:110, 100:110] = -9999
    path = write_raster(tmp_path / "a.tif", array, nodata=-9999)
    with open_dem(path) as dem:
        line = LineString([(WEST + 150, NORTH - 210), (WEST + 260, NORTH - 210)])
        x = WEST + 150.25 + np.arange(220) * 0.5  # on no middle of a cell
        z = dem.surface([line], 10.0).sample(x, np.full_like(x, NORTH - 210.0))
    # hole from 200 to 220 m; the four cells around a point must all be there
    inside = (x > WEST + 199) & (x < WEST + 221)
    assert np.isnan(z[inside]).all()
    assert np.isfinite(z[~inside]).all()


@pytest.mark.parametrize("sign", [-999999.0, -3.4028234663852886e38, 1e20, -32768.0])
def test_undeclared_signs_for_no_data_are_told(tmp_path, sign):
    array = cells()
    array[120:140, 150:260] = sign
    with open_dem(write_raster(tmp_path / "a.tif", array)) as dem:
        z = dem.surface([a_line()], 60.0).tiles
        assert np.nanmin(z) > 190.0
        assert np.nanmax(z) < 210.0
        coarse, _ = dem.coarse(1000)
        assert np.nanmin(coarse) > 190.0
    assert [row["code"] for row in dem.findings.rows] == ["absurd_elevation"]  # told once


def test_rotated_grid_is_used_through_its_affine(tmp_path):
    turned = Affine.translation(WEST, NORTH) @ Affine.rotation(20.0) @ Affine.scale(CELL, -CELL)
    column, row = np.meshgrid(np.arange(400) + 0.5, np.arange(300) + 0.5)
    x, y = (
        turned.a * column + turned.b * row + turned.c,
        turned.d * column + turned.e * row + turned.f,
    )
    path = write_raster(tmp_path / "a.tif", ground(x, y).astype(np.float32), transform=turned)
    line = LineString([turned @ (60.0, 40.0), turned @ (340.0, 260.0)])
    xy = points_on(line)
    with open_dem(path) as dem:
        z = dem.surface([line], 30.0).sample(xy[:, 0], xy[:, 1])
    assert np.abs(z - ground(xy[:, 0], xy[:, 1])).max() < 0.02  # a cell's curvature, as above


def test_a_tile_off_the_grid_is_resampled_and_told(tmp_path):
    write_raster(tmp_path / "t" / "a.tif", cells()[:, :200])
    shifted = Affine.translation(200 * CELL - 0.8, 0.6) @ GRID
    column, row = np.meshgrid(np.arange(200) + 0.5, np.arange(300) + 0.5)
    x, y = shifted.a * column + shifted.c, shifted.e * row + shifted.f
    write_raster(tmp_path / "t" / "b.tif", ground(x, y).astype(np.float32), transform=shifted)
    xy = points_on(a_line())
    with open_dem(tmp_path / "t") as dem:
        z = dem.surface([a_line()], 30.0).sample(xy[:, 0], xy[:, 1])
        assert [r["code"] for r in dem.findings.rows] == ["tile_resampled"]
    assert np.nanmax(np.abs(z - ground(xy[:, 0], xy[:, 1]))) < 0.05  # interpolated twice
    assert np.isnan(z).mean() < 0.02


@pytest.mark.parametrize("parts", [1, 2])
def test_degrees_go_to_utm_in_the_right_place(tmp_path, parts):
    """Judge: pyproj for where a cell lies; the surface is smooth, so bilinear is near it."""
    step = 2e-5  # about 2.2 m
    west, north = -86.0, 40.0
    to_utm = Transformer.from_crs("EPSG:4269", "EPSG:26916", always_xy=True)
    lon = west + (np.arange(400) + 0.5) * step
    lat = north - (np.arange(300) + 0.5) * step
    x, y = to_utm.transform(*np.meshgrid(lon, lat))

    def height(x, y):
        return 200.0 + 3.0 * np.sin((x - 585000.0) / 40.0) + 2.0 * np.cos((y - 4428000.0) / 30.0)

    array = height(x, y).astype(np.float32)
    width = 400 // parts
    for k in range(parts):
        write_raster(
            tmp_path / "t" / f"{k}.tif", array[:, k * width : (k + 1) * width], crs="EPSG:4269",
            transform=Affine(step, 0.0, west + k * width * step, 0.0, -step, north),
        )  # fmt: skip
    xy = np.column_stack(
        to_utm.transform(np.linspace(-85.9993, -85.9926, 400), np.linspace(39.9995, 39.9945, 400))
    )
    with open_dem(tmp_path / "t") as dem:
        assert dem.crs == CRS.from_epsg(26916)
        z = dem.surface([LineString(xy)], 30.0).sample(xy[:, 0], xy[:, 1])
        assert dem.working.is_warped
    assert np.isfinite(z).all()
    assert np.abs(z - height(xy[:, 0], xy[:, 1])).max() < 0.02  # no seam either


def test_coarse_copy_is_the_mean_and_lies_in_place(tmp_path):
    array = cells(301, 403)
    with open_dem(write_raster(tmp_path / "a.tif", array)) as dem:
        coarse, transform = dem.coarse(2000)
        factor = round(transform.a / CELL)
        assert coarse.size <= 2000
        rows, columns = 301 // factor, 403 // factor
        whole = array[: rows * factor, : columns * factor].astype(float)
        mean = whole.reshape(rows, factor, columns, factor).mean(axis=(1, 3))
        assert np.allclose(coarse[:rows, :columns], mean, atol=1e-3)
        assert transform @ (0, 0) == (WEST, NORTH)


def test_probe_is_the_cell_under_a_point(tmp_path):
    array = cells()
    array[20, 10] = -9999.0
    with open_dem(write_raster(tmp_path / "a.tif", array, nodata=-9999.0)) as dem:
        x = WEST + CELL * np.array([10.5, 11.5, -3.0])
        y = NORTH - CELL * np.array([20.5, 20.5, 5.0])
        z = dem.probe(x, y)
    assert np.isnan(z[[0, 2]]).all()
    assert z[1] == array[20, 11]
