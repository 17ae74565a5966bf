"""Inputs that are hard by their size or form and must be answered in seconds."""

from __future__ import annotations

import time

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely
import shapely.affinity
import shapely.ops
from affine import Affine
from robust.cases import write_streams
from robust.judge import faults, run
from robust.scenario import CRS, NORTH, WEST, heights, lines, write_grid

LIMIT_S = 60.0


def findings(path):
    return set(pyogrio.read_dataframe(path, layer="findings")["code"])


def test_a_million_vertices_in_one_line(sound, tmp_path):
    table = lines().iloc[:1]
    dense = table.set_geometry(table.geometry.segmentize(table.length.iloc[0] / 1_000_000))
    assert shapely.get_num_points(dense.geometry.iloc[0]) > 1_000_000
    path = write_streams(dense, tmp_path / "dense.fgb")
    begun = time.monotonic()
    code, found = faults(
        sound.argv(tmp_path / "out.gpkg", streams=str(path)), tmp_path / "out.gpkg"
    )
    assert (code, found) == (0, [])
    assert time.monotonic() - begun < LIMIT_S


def test_a_long_line_folded_over_a_small_area(sound, tmp_path):
    """Nearly every point of it lies within reach of every other."""
    along = np.linspace(0.0, 1.0, 12_001)
    fold = np.abs((along * 300) % 2.0 - 1.0)
    xy = np.column_stack([WEST + 60 + 120 * fold, NORTH - 40 - 60 * along])
    table = lines().iloc[:1].set_geometry([shapely.LineString(xy)], crs=CRS)
    path = write_streams(table, tmp_path / "folded.fgb")
    begun = time.monotonic()
    code, found = faults(
        sound.argv(tmp_path / "out.gpkg", streams=str(path)), tmp_path / "out.gpkg"
    )
    assert (code, found) == (0, [])
    assert time.monotonic() - begun < LIMIT_S


def test_areas_that_cross_themselves_thousands_of_times_are_left_out_or_mended(sound, tmp_path):
    def chords(count):
        turn = np.arange(count)
        return shapely.Polygon(
            np.column_stack([WEST + 100 + 30 * np.cos(turn), NORTH - 75 + 30 * np.sin(turn)])
        )

    areas = gpd.GeoDataFrame(
        {"texture": ["clay", "clay"]}, geometry=[chords(300), chords(20_000)], crs=CRS
    )
    areas.to_file(tmp_path / "soils.gpkg")
    out = tmp_path / "out.gpkg"
    begun = time.monotonic()
    code, found = faults(sound.argv(out, "--soils", str(tmp_path / "soils.gpkg")), out)
    assert (code, found) == (0, [])
    assert time.monotonic() - begun < LIMIT_S
    assert {"shape_mended", "too_tangled"} <= findings(out)


def test_a_grid_in_letters_that_is_cut_short(sound, tmp_path):
    """The reader of such grids looks for the lost rows for ever: 2 to the power of their number."""
    at = sound.copy(tmp_path)
    whole = at["dem.asc"].read_bytes()
    at["dem.asc"].write_bytes(whole[: len(whole) // 3])
    code, _, err = run(at.argv(tmp_path / "out.gpkg", dem=str(at["dem.asc"])))
    assert code == 3
    assert "cut short" in err
    at["dem.asc"].write_bytes(whole.replace(b"203.1", b"2o3.1", 1))
    code, _, err = run(at.argv(tmp_path / "out.gpkg", dem=str(at["dem.asc"])))
    assert code == 3
    assert "'o'" in err


@pytest.mark.parametrize("cells", [1e5, 1e8])
def test_a_huge_and_almost_empty_grid(sound, tmp_path, cells):
    """A sparse file may claim any size; a run reads near the streams and a coarse copy alone."""
    side = int(cells**0.5)
    path = tmp_path / "sparse.tif"
    with rasterio.open(
        path, "w", driver="GTiff", height=side, width=side, count=1, dtype="float32", crs=CRS,
        transform=Affine(1.0, 0.0, WEST, 0.0, -1.0, NORTH), tiled=True, blockxsize=256,
        blockysize=256, sparse_ok=True, nodata=-9999.0,
    ) as raster:  # fmt: skip
        raster.units = ("metre",)
        raster.write(heights(), 1, window=rasterio.windows.Window(0, 0, 240, 150))
    out = tmp_path / "out.gpkg"
    begun = time.monotonic()
    code, found = faults(sound.argv(out, dem=str(path)), out)
    assert (code, found) == (0, [])
    assert time.monotonic() - begun < LIMIT_S


@pytest.mark.parametrize("shape", [(1, 1), (1, 240), (150, 1), (2, 2)])
def test_a_dem_of_hardly_any_cells(sound, tmp_path, shape):
    path = write_grid(tmp_path / "few.tif", heights()[70 : 70 + shape[0], : shape[1]],
                      transform=Affine(1.0, 0.0, WEST + 100, 0.0, -1.0, NORTH - 70))  # fmt: skip
    out = tmp_path / "out.gpkg"
    code, found = faults(sound.argv(out, dem=str(path)), out)
    assert code in (0, 3)
    assert not found


def test_lines_shorter_than_a_cell_are_told_and_the_rest_is_ranked(sound, tmp_path):
    short = [shapely.LineString([(WEST + 20, NORTH - 20), (WEST + 20 + d, NORTH - 20)])
             for d in (0.0, 0.05, 0.5)]  # fmt: skip
    table = pd.concat([lines(), gpd.GeoDataFrame({"name": ["x"] * 3}, geometry=short, crs=CRS)])
    path = write_streams(table, tmp_path / "short.gpkg")
    out = tmp_path / "out.gpkg"
    code, found = faults(sound.argv(out, streams=str(path)), out)
    assert (code, found) == (0, [])
    assert {"zero_length", "too_short"} <= findings(out)
    assert len(pyogrio.read_dataframe(out, layer="reaches")) >= 3


def test_a_stream_shorter_than_two_cells_is_left_out_and_told(sound, tmp_path):
    short = lines().iloc[:1]
    whole = short.geometry.iloc[0]
    dot = shapely.affinity.translate(shapely.ops.substring(whole, 0.0, 1.2), 60.0, 25.0)
    both = pd.concat([short, short]).set_geometry([whole, dot], crs=CRS)
    path = write_streams(both, tmp_path / "short.fgb")
    out = tmp_path / "out.gpkg"
    code, found = faults(
        sound.argv(
            out,
            "--set",
            "network.snap_least_m=0.1",
            "--set",
            "network.snap_cells=0.1",
            streams=str(path),
        ),
        out,
    )
    assert (code, found) == (0, [])
    told = pyogrio.read_dataframe(out, layer="findings")
    assert told[told["code"] == "coarse"]["severity"].tolist() == ["left_out"]
