"""Every unusable input gives one clear `InputError` that names it, not a library's traceback."""

import os
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS
from read_files import (
    CELL,
    FEET,
    METRIC,
    NORTH,
    WEST,
    a_line,
    cells,
    read,
    write_layer,
    write_raster,
)
from shapely.geometry import LineString, Point, box

from reachrank.errors import InputError
from reachrank.read.crs import choose


@pytest.fixture
def dem(tmp_path):
    return write_raster(tmp_path / "dem.tif", cells())


@pytest.fixture
def streams(tmp_path):
    return write_layer(tmp_path / "streams.gpkg", [a_line()], name=["Elm Run"])


def refused(match, *args, **more):
    with pytest.raises(InputError, match=match) as caught:
        read(*args, **more)
    assert "Traceback" not in str(caught.value)
    assert caught.value.exit_code == 3
    return caught.value


def test_the_good_ones_are_good(streams, dem):
    tables, ctx = read(streams, dem)
    assert tables["streams"]["stream_name"].tolist() == ["Elm Run"]
    assert next(iter(ctx.facts)) == "units"
    assert "metres" in ctx.facts["units"]
    assert not ctx.findings.rows


def test_missing_files(streams, dem, tmp_path):
    error = refused("no such file", tmp_path / "none.gpkg", dem)
    assert error.where.endswith("none.gpkg")
    refused("no such file", streams, tmp_path / "none.tif")


def test_text_called_tif(streams, tmp_path):
    (tmp_path / "a.tif").write_text("this is no raster\n" * 50)
    refused("not a raster", streams, tmp_path / "a.tif")


def test_truncated_tif(streams, tmp_path):
    whole = Path(write_raster(tmp_path / "whole.tif", cells(), tiled=True)).read_bytes()
    (tmp_path / "head.tif").write_bytes(whole[:100])
    refused("cannot be read|not a raster", streams, tmp_path / "head.tif")
    (tmp_path / "half.tif").write_bytes(whole[: len(whole) // 4])

    def read_it():
        _, ctx = read(streams, tmp_path / "half.tif")
        ctx.dem.load([a_line()], 50.0)

    with pytest.raises(InputError, match=r"cannot be read|not a raster"):
        read_it()


def test_not_a_vector_file(dem, tmp_path):
    (tmp_path / "a.gpkg").write_text("nothing of the kind")
    refused("not a vector file", tmp_path / "a.gpkg", dem)


def test_no_overlap_names_both_extents(dem, tmp_path):
    far = write_layer(tmp_path / "far.gpkg", [LineString([(0, 0), (100, 100)])])
    error = refused("do not lie on the DEM", far, dem)
    assert "100000" in str(error)
    near = write_layer(
        tmp_path / "near.gpkg", [LineString([(WEST - 300, NORTH), (WEST - 200, NORTH)])]
    )
    refused("No stream line lies on the DEM", near, dem)


@pytest.mark.parametrize("shape", [box(0, 0, 10, 10), Point(0, 0)])
def test_polygons_and_points(dem, tmp_path, shape):
    path = write_layer(tmp_path / "a.gpkg", [shape])
    refused("not lines", path, dem)


def test_no_crs(dem, streams, tmp_path):
    bare = write_layer(tmp_path / "bare.shp", [a_line()], crs=None)
    refused("which coordinate reference system", bare, dem)
    refused(
        "which coordinate reference system", streams,
        write_raster(tmp_path / "bare.tif", cells(), crs=None),
    )  # fmt: skip


def test_a_coordinate_system_in_no_known_letters(dem, tmp_path):
    path = Path(write_layer(tmp_path / "lines.shp", [a_line()]))
    prj = path.with_suffix(".prj")
    prj.write_bytes(prj.read_bytes().replace(b'PROJCS["', b'PROJCS["\xe7\xe7', 1))
    refused("coordinate system cannot be read", path, dem)


def test_no_place(streams, tmp_path):
    path = write_raster(tmp_path / "a.tif", cells(), transform=Affine.identity())
    refused("where on Earth", streams, path)


def test_empty_layer(dem, tmp_path):
    path = write_layer(tmp_path / "a.gpkg", [])
    refused("empty", path, dem)


def test_feet_without_a_unit_of_elevation(tmp_path):
    foot = 1200.0 / 3937.0
    turned = Affine.scale(1 / foot) @ Affine(CELL, 0.0, WEST, 0.0, -CELL, NORTH)
    dem = write_raster(tmp_path / "ft.tif", cells(), crs=FEET, transform=turned, unit="")
    streams = write_layer(tmp_path / "s.gpkg", [a_line()])
    error = refused("does not declare the unit", streams, dem)
    assert "--dem-units" in error.hint
    _, ctx = read(streams, dem, dem_units="us-ft")
    assert "U.S. survey feet" in ctx.facts["units"]
    assert ctx.output_crs.to_epsg() == 2965
    assert ctx.crs.axis_info[0].unit_name == "metre"


def test_degrees_without_a_unit_of_elevation(tmp_path, streams):
    step = Affine(2e-5, 0.0, -86.0, 0.0, -2e-5, 40.0)
    dem = write_raster(tmp_path / "deg.tif", cells(), crs="EPSG:4269", transform=step, unit="")
    line = write_layer(tmp_path / "s.gpkg", [LineString([(-85.999, 39.999), (-85.995, 39.996)])],
                       crs="EPSG:4269")  # fmt: skip
    refused("does not declare the unit", line, dem)


def test_metres_assumed_and_users_word_are_told(tmp_path, streams):
    bare = write_raster(tmp_path / "bare.tif", cells(), unit="")
    _, ctx = read(streams, bare)
    assert [row["code"] for row in ctx.findings.rows] == ["vertical_unit_assumed"]
    declared = write_raster(tmp_path / "m.tif", cells(), unit="metre")
    _, ctx = read(streams, declared, dem_units="ft")
    assert [row["code"] for row in ctx.findings.rows] == ["vertical_unit_overruled"]
    assert ctx.dem.z_to_m == 0.3048


def test_no_elevation_along_the_streams(streams, tmp_path):
    array = np.full((300, 400), -9999.0, np.float32)
    array[:5, -5:] = 200.0
    refused("no elevation along", streams, write_raster(tmp_path / "a.tif", array, nodata=-9999.0))


@pytest.mark.parametrize(
    "address",
    ["https://example.org/dem.tif", "/vsicurl/https://example.org/dem.tif", "s3://bucket/dem.tif",
     "/vsizip/a.zip/dem.tif", "WMS:https://example.org", "-", "/vsistdin/",
     "PG:dbname=county"],
)  # fmt: skip
def test_addresses_are_not_opened(streams, dem, address):
    refused("not opened|pipe|no such file", streams, address)
    refused("not opened|pipe|no such file", address, dem)


def test_archives_are_not_opened(streams, dem, tmp_path):
    (tmp_path / "a.zip").write_bytes(b"PK\x03\x04" + bytes(100))
    refused("archive", streams, tmp_path / "a.zip")
    refused("archive", tmp_path / "a.zip", dem)


@pytest.mark.skipif(sys.platform == "win32", reason="no named pipes in the file system")
def test_pipes_are_not_opened(streams, tmp_path):
    os.mkfifo(tmp_path / "dem.tif")
    refused("pipe", streams, tmp_path / "dem.tif")


def vrt(path, band, more=""):
    Path(path).write_text(
        f'<VRTDataset rasterXSize="400" rasterYSize="300"{more}><SRS>{METRIC}</SRS>'
        f"<GeoTransform>{WEST}, {CELL}, 0, {NORTH}, 0, {-CELL}</GeoTransform>{band}</VRTDataset>"
    )
    return path


def source(name, relative=1):
    return (
        '<VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
        f'<SourceFilename relativeToVRT="{relative}">{name}</SourceFilename>'
        "<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand>"
    )


@pytest.mark.parametrize("ending", [".vrt", ".tif"])
def test_code_in_a_virtual_raster(streams, dem, tmp_path, ending):
    """The content decides, not the name."""
    band = (
        '<VRTRasterBand dataType="Float32" band="1" subClass="VRTDerivedRasterBand">'
        "<PixelFunctionLanguage>Python</PixelFunctionLanguage><PixelFunctionType>f"
        "</PixelFunctionType><PixelFunctionCode>def f(*a): pass</PixelFunctionCode>"
        "</VRTRasterBand>"
    )
    refused("more than put rasters", streams, vrt(tmp_path / f"x{ending}", band))


@pytest.mark.parametrize(
    "name", ["/vsicurl/https://example.org/a.tif", "https://example.org/a.tif", "none.tif"]
)
def test_virtual_raster_that_points_elsewhere(streams, tmp_path, name):
    error = refused("points to", streams, vrt(tmp_path / "x.vrt", source(name, 0)))
    assert error.where.endswith("x.vrt")


def test_virtual_raster_within_a_virtual_raster(streams, dem, tmp_path):
    vrt(tmp_path / "inner.vrt", source("/vsicurl/https://example.org/a.tif", 0))
    refused("points to", streams, vrt(tmp_path / "outer.vrt", source("inner.vrt")))
    vrt(tmp_path / "self.vrt", source("self.vrt"))
    refused("names itself", streams, tmp_path / "self.vrt")


def test_services_and_entities(streams, tmp_path):
    (tmp_path / "wms.xml").write_text("<GDAL_WMS><Service name='WMS'/></GDAL_WMS>")
    refused("service", streams, tmp_path / "wms.xml")
    (tmp_path / "e.vrt").write_text('<!DOCTYPE x [<!ENTITY a "b">]><VRTDataset/>')
    refused("entities", streams, tmp_path / "e.vrt")


def test_database_view_that_reaches_elsewhere(streams, dem):
    with closing(sqlite3.connect(streams)) as db:
        db.execute("CREATE VIEW sly AS SELECT load_extension('x') AS a")
        db.commit()
    refused("reaches outside", streams, dem)


def test_tiles_that_differ(streams, tmp_path):
    whole = cells()
    first = write_raster(tmp_path / "a.tif", whole[:, :200])
    other_crs = write_raster(tmp_path / "b.tif", whole[:, 200:], left=200, crs="EPSG:26916")
    refused("different coordinate reference systems", streams, first, other_crs)
    coarse = write_raster(
        tmp_path / "c.tif", whole[::2, 200::2].copy(),
        transform=Affine(2 * CELL, 0.0, WEST + 400.0, 0.0, -2 * CELL, NORTH),
    )  # fmt: skip
    refused("differ in cell size", streams, first, coarse)
    feet = write_raster(tmp_path / "d.tif", whole[:, 200:], left=200, unit="ft")
    refused("differ in the unit", streams, first, feet)
    turned = write_raster(
        tmp_path / "e.tif", whole[:, 200:],
        transform=Affine(CELL, 0.0, WEST + 400.0, 0.0, -CELL, NORTH) @ Affine.rotation(10),
    )  # fmt: skip
    refused("differ in rotation", streams, first, turned)


def test_long_cells(streams, tmp_path):
    path = write_raster(
        tmp_path / "a.tif", cells(), transform=Affine(CELL, 0.0, WEST, 0.0, -3.2, NORTH)
    )
    refused("too far from square", streams, path)


def test_folder_without_rasters(streams, tmp_path):
    (tmp_path / "empty").mkdir()
    refused("no rasters", streams, tmp_path / "empty")


def test_layers_of_a_file(dem, tmp_path):
    path = write_layer(tmp_path / "a.gpkg", [a_line()], layer="creeks")
    write_layer(tmp_path / "a.gpkg", [Point(1, 1)], layer="wells")
    error = refused("2 layers and none was chosen: creeks, wells", path, dem)
    assert "layername" in error.hint
    error = refused("no layer 'creek'", f"{path}|layername=creek", dem)
    assert "Did you mean 'creeks'" in error.hint
    for spec in (f"{path}|layername=creeks", f"{path}:creeks"):
        tables, _ = read(spec, dem)
        assert len(tables["streams"]) == 1


def test_column_that_is_not_there(streams, dem):
    from reachrank.settings.load import load_settings

    settings = load_settings(None, {"inputs.stream_name_attribute": "nam"})
    error = refused("no column 'nam'", streams, dem, settings=settings)
    assert "Did you mean 'name'" in error.hint


def test_soils_and_cover_that_do_not_serve(streams, dem, tmp_path):
    soils = write_layer(
        tmp_path / "soils.gpkg", [box(WEST, NORTH - 500, WEST + 500, NORTH)], mu=[1]
    )
    refused("texture or an erodibility", streams, dem, soils=soils)
    far = write_raster(tmp_path / "far.tif", cells(), left=9000)
    refused("cover raster does not lie over", streams, dem, cover=far)


@pytest.mark.parametrize(("west", "north"), [(-1e6, 40.0), (400.0, 40.0), (-90.0, 95.0)])
def test_a_place_that_is_nowhere_on_earth(west, north):
    with pytest.raises(InputError, match="nowhere on Earth"):
        choose(CRS.from_epsg(4326), (west, north - 0.01, west + 0.01, north))
