"""What must not matter to reading: order of rows, direction of the CRS, feet or metres, format."""

import io
import os
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from affine import Affine
from geopandas.testing import assert_geodataframe_equal
from read_files import (
    CELL,
    FEET,
    METRIC,
    NORTH,
    SURVEY_FOOT,
    WEST,
    a_line,
    cells,
    read,
    write_layer,
    write_raster,
)
from shapely.geometry import LineString, MultiLineString, Point, Polygon, box

from reachrank.read.areas import class_of_layer
from reachrank.read.check import report
from reachrank.read.fingerprint import fingerprint
from reachrank.settings.load import load_settings


def some_lines():
    rng = np.random.default_rng(7)
    lines = [a_line()]
    for _ in range(12):
        start = np.array([WEST, NORTH]) + rng.uniform((50, -550), (750, -50))
        lines.append(LineString(start + np.cumsum(rng.normal(0, 20, (6, 2)), axis=0)))
    lines.append(lines[3].reverse())  # a double
    lines.append(
        MultiLineString([lines[5].coords[:3], [(WEST - 50, NORTH - 90), (WEST + 50, NORTH - 90)]])
    )
    return lines


def houses():
    rng = np.random.default_rng(8)
    corners = np.array([WEST, NORTH]) + rng.uniform((50, -550), (750, -50), (40, 2))
    return [box(x, y, x + 12, y + 9) for x, y in corners]


@pytest.fixture(scope="module")
def dem(tmp_path_factory):
    return write_raster(tmp_path_factory.mktemp("dem") / "dem.tif", cells())


def test_order_of_rows_does_not_matter(tmp_path, dem):
    lines, names = some_lines(), [f"Run {i}" for i in range(15)]
    order = np.random.default_rng(3).permutation(len(lines))
    made = []
    for k, rows in enumerate((np.arange(len(lines)), order)):
        path = write_layer(
            tmp_path / f"{k}.gpkg", [lines[i] for i in rows], layer="creeks",
            name=[names[i] for i in rows], da=[1.0 + i for i in rows],
        )  # fmt: skip
        built = houses() if k == 0 else houses()[::-1]
        beside = write_layer(tmp_path / f"house{k}.gpkg", built, layer="houses")
        settings = load_settings(None, {"inputs.area_attribute": "DA"})
        made.append(read(path, dem, structures=(beside,), settings=settings))
    (a, ctx_a), (b, ctx_b) = made
    assert_geodataframe_equal(
        a["streams"].drop(columns="source_id"), b["streams"].drop(columns="source_id")
    )
    assert a["structures"].geometry.equals(b["structures"].geometry)
    told = [[(r["severity"], r["code"]) for r in ctx.findings.rows] for ctx in (ctx_a, ctx_b)]
    assert told[0] == told[1]
    assert ("left_out", "double") in told[0]
    assert ("warning", "partly_off_dem") in told[0]


def test_feet_and_metres_give_the_same_lines(tmp_path, dem):
    """The layer in survey feet, in metres and in degrees; the DEM in metres."""
    table = gpd.GeoDataFrame(geometry=[a_line()], crs=METRIC)
    for crs in (METRIC, FEET, "EPSG:4269"):
        path = write_layer(tmp_path / f"{crs[5:]}.gpkg", table.to_crs(crs).geometry, crs=crs)
        tables, ctx = read(path, dem)
        xy = shapely.get_coordinates(tables["streams"].geometry)
        assert ctx.crs.to_epsg() == 26973
        # the register's false origin of the zone in feet is rounded to 0.001 ft
        assert np.abs(xy - shapely.get_coordinates(a_line())).max() < 1e-3


def test_a_dem_in_feet_scales_its_own_lines_exactly(tmp_path):
    turned = Affine.scale(1 / SURVEY_FOOT) @ Affine(CELL, 0.0, WEST, 0.0, -CELL, NORTH)
    dem = write_raster(
        tmp_path / "ft.tif", cells(), crs=FEET, transform=turned, unit="US survey foot"
    )
    in_feet = shapely.transform(a_line(), lambda xy: xy / SURVEY_FOOT)
    path = write_layer(tmp_path / "ft.gpkg", [in_feet], crs=FEET)
    tables, ctx = read(path, dem)
    xy = shapely.get_coordinates(tables["streams"].geometry)
    assert np.abs(xy - shapely.get_coordinates(a_line())).max() < 1e-8
    assert tables["streams"].length.sum() == pytest.approx(a_line().length, rel=1e-12)
    assert ctx.output_crs.to_epsg() == 2965
    assert tables["streams"].crs == ctx.crs


@pytest.mark.parametrize("ending", [".gpkg", ".shp", ".geojson", ".fgb"])
def test_formats(tmp_path, dem, ending):
    table = gpd.GeoDataFrame({"GNIS_Name": ["Elm Run"]}, geometry=[a_line()], crs=METRIC)
    crs = "EPSG:4326" if ending == ".geojson" else METRIC
    path = tmp_path / f"a{ending}"
    table.to_crs(crs).to_file(path, engine="pyogrio")
    tables, _ = read(path, dem)
    assert tables["streams"]["stream_name"].tolist() == ["Elm Run"]
    assert tables["streams"].length.sum() == pytest.approx(a_line().length, rel=1e-4)


def test_heights_of_the_lines_are_told_and_dropped(tmp_path, dem):
    deep = shapely.force_3d(a_line(), 5.0)
    tables, ctx = read(write_layer(tmp_path / "a.gpkg", [deep]), dem)
    assert not tables["streams"].has_z.any()
    assert [row["code"] for row in ctx.findings.rows] == ["z_dropped"]


@pytest.mark.parametrize(
    ("unit", "value", "km2"),
    [("km2", 10.0, 10.0), ("mi2", 10.0, 25.89988), ("ha", 100.0, 1.0), ("acre", 640.0, 2.589988)],
)
def test_units_of_the_attributes(tmp_path, dem, unit, value, km2):
    """NIST Special Publication 811 (2008), appendix B.8: square mile 2.589 988 km2."""
    path = write_layer(tmp_path / "a.gpkg", [a_line()], area=[value], width=[32.8084])
    settings = load_settings(
        None,
        {"inputs": {"area_attribute": "area", "area_attribute_unit": unit,
                    "width_attribute": "width", "width_attribute_unit": "ft"}},
    )  # fmt: skip
    streams = read(path, dem, settings=settings)[0]["streams"]
    assert streams["attribute_area_km2"].tolist() == pytest.approx([km2], rel=1e-6)
    assert streams["attribute_width_m"].tolist() == pytest.approx([10.0], rel=1e-6)


def test_an_area_that_says_nothing_counts_as_missing(tmp_path, dem):
    lines = [a_line(), LineString([(WEST + 10, NORTH - 10), (WEST + 90, NORTH - 10)])]
    path = write_layer(tmp_path / "a.gpkg", lines, area=[-9999.0, 0.0])
    settings = load_settings(None, {"inputs.area_attribute": "area"})
    tables, ctx = read(path, dem, settings=settings)
    assert tables["streams"]["attribute_area_km2"].isna().all()
    assert [row["code"] for row in ctx.findings.rows] == ["attribute_not_used"] * 2


def test_structures_near_the_streams_with_their_classes(tmp_path, dem):
    streams = write_layer(tmp_path / "s.gpkg", [a_line()])
    bow_tie = Polygon(
        [
            (WEST + 300, NORTH - 100),
            (WEST + 320, NORTH - 120),
            (WEST + 320, NORTH - 100),
            (WEST + 300, NORTH - 120),
        ]
    )
    near, far = (
        box(WEST + 100, NORTH - 90, WEST + 110, NORTH - 80),
        box(WEST + 5000, NORTH, WEST + 5010, NORTH + 9),
    )
    built = write_layer(
        tmp_path / "b.gpkg", [near, far, bow_tie, None, Point(WEST + 200, NORTH - 200)],
        layer="Building_Footprints", kind=["Barn", "Barn", None, "Barn", " House "],
    )  # fmt: skip
    roads = write_layer(
        tmp_path / "r.gpkg", [LineString([(WEST, NORTH - 99), (WEST + 700, NORTH - 99)])]
    )
    settings = load_settings(
        None, {"inputs": {"structure_class_attribute": "kind", "structures_within_m": 300.0}}
    )
    tables, ctx = read(streams, dem, structures=(built,), roads=roads, settings=settings)
    got = dict(
        zip(
            tables["structures"]["structure_id"],
            tables["structures"]["structure_class"],
            strict=True,
        )
    )
    assert got == {
        "Building_Footprints:1": "barn",
        "Building_Footprints:3": "building",
        "Building_Footprints:5": "house",
        "r:1": "road",
    }
    assert tables["structures"].is_valid.all()
    told = [(row["code"], row["source_id"]) for row in ctx.findings.rows]
    assert told == [("shape_mended", "3")]  # the file does not hand out what has no place
    without, _ = read(streams, dem, structures=(built,))
    assert set(without["structures"]["structure_class"]) == {"building"}
    text = report(tables, ctx)
    assert text.startswith("Coordinates of the DEM in metres")
    assert "barn 1, building 1, house 1, road 1" in text
    assert "info: shape_mended (1)" in text


def test_layers_of_the_same_name_do_not_share_ids(tmp_path, dem):
    streams = write_layer(tmp_path / "s.gpkg", [a_line()])
    for name in ("east", "west"):
        write_layer(
            tmp_path / f"{name}.gpkg",
            [box(WEST + 100, NORTH - 90, WEST + 110, NORTH - 80)],
            layer="houses",
        )
    tables, _ = read(
        streams, dem, structures=(str(tmp_path / "east.gpkg"), str(tmp_path / "west.gpkg"))
    )
    assert sorted(tables["structures"]["structure_id"]) == ["houses:1", "west.houses:1"]


def test_pages_do_not_show(tmp_path, dem, monkeypatch):
    streams = write_layer(tmp_path / "s.gpkg", [a_line()])
    built = write_layer(tmp_path / "b.gpkg", houses(), layer="houses")
    whole, _ = read(streams, dem, structures=(built,))
    monkeypatch.setattr("reachrank.read.areas._PAGE", 7)
    paged, _ = read(streams, dem, structures=(built,))
    assert_geodataframe_equal(whole["structures"], paged["structures"])
    assert len(whole["structures"]) == 40


def test_soils_and_constraints(tmp_path, dem):
    streams = write_layer(tmp_path / "s.gpkg", [a_line()])
    ground = [
        box(WEST, NORTH - 600, WEST + 400, NORTH),
        box(WEST + 400, NORTH - 600, WEST + 800, NORTH),
    ]
    soils = write_layer(
        tmp_path / "soil.gpkg", ground, TEXCL=["silt loam", None], kffact=["0.43", "x"]
    )
    wet = write_layer(tmp_path / "wet.gpkg", ground[:1], layer="wetlands")
    tables, _ = read(streams, dem, soils=soils, constraints=wet)
    assert tables["soils"]["texture"].tolist() == ["silt loam", None]
    assert tables["soils"]["erodibility"][0] == 0.43
    assert np.isnan(tables["soils"]["erodibility"][1])
    assert tables["constraints"]["constraint_name"].tolist() == ["wetlands"]
    without, _ = read(streams, dem)
    assert set(without) == {"streams", "structures"}
    assert without["structures"].empty


def test_names_of_layers_and_classes():
    assert class_of_layer("County_Roads") == "road"
    assert class_of_layer("railroads") == "railway"
    assert class_of_layer("cell towers") == "cell_towers"


def test_fingerprint_sees_a_change_and_is_the_sha_of_the_file(tmp_path, monkeypatch):
    """FIPS 180-4 example: SHA-256 of the three letters abc."""
    path = tmp_path / "a.txt"
    path.write_bytes(b"abc")
    assert "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" in fingerprint(
        [str(path)]
    )
    monkeypatch.setattr("reachrank.read.fingerprint.WHOLE_BYTES", 10)
    path.write_bytes(b"a" * 3_000_000)
    before = fingerprint([str(path)])
    assert "pieces" in before
    path.write_bytes(b"a" * 2_999_999 + b"b")
    assert fingerprint([str(path)]) != before


def test_of_a_large_folder_no_more_is_read_than_of_one_file(tmp_path, monkeypatch):
    """Hundreds of tiles below the limit each: reading all of them would take as long as a run."""
    for k in range(40):
        (tmp_path / f"{k:02d}.tif").write_bytes(bytes([k]) * 100)
    last = tmp_path / "39.tif"
    told = last.stat()
    whole = fingerprint([str(tmp_path)])
    assert "pieces" not in whole
    assert "40 files, 4000 bytes" in whole

    monkeypatch.setattr("reachrank.read.fingerprint.WHOLE_BYTES", 1200)
    read = []

    class Counted(io.FileIO):
        def read(self, size=-1):
            part = super().read(size)
            read.append(len(part))
            return part

    def counted(path, mode):
        return Counted(path, mode)

    monkeypatch.setattr(Path, "open", counted)
    before = fingerprint([str(tmp_path)])
    assert sum(read) == 1200
    assert "pieces" in before
    os.utime(last, ns=(told.st_atime_ns, told.st_mtime_ns + 10**9))
    later = fingerprint([str(tmp_path)])
    with io.FileIO(last, "r+") as file:
        file.seek(99)
        file.write(b"x")
    os.utime(last, ns=(told.st_atime_ns, told.st_mtime_ns))
    assert len({before, later, fingerprint([str(tmp_path)])}) == 3


def test_the_same_inputs_read_twice_are_the_same(tmp_path, dem):
    path = write_layer(tmp_path / "s.gpkg", some_lines())
    (a, ctx_a), (b, ctx_b) = read(path, dem), read(path, dem)
    assert_geodataframe_equal(a["streams"], b["streams"])
    assert ctx_a.facts == ctx_b.facts
    pd.testing.assert_frame_equal(
        pd.DataFrame(ctx_a.findings.rows).drop(columns="geometry"),
        pd.DataFrame(ctx_b.findings.rows).drop(columns="geometry"),
    )
