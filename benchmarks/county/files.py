"""Write counties: one block in full, larger ones as the block repeated with shifted coordinates."""

from __future__ import annotations

import json
import math
import multiprocessing
import os
import shutil
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
from affine import Affine

from county.ground import Ground, make_ground
from county.network import SIDE_M, make_channels
from county.vectors import buildings, roads, stream_lines

SEED = 11
EPSG = 26916
CORNER_M = (400_000.0, 4_700_000.0)
TILE_CELLS = 1000
BLOCK_CELLS = 256
VERSION = 1
"""Raise it when the county changes: older files are made anew then."""


@dataclass(frozen=True)
class CountyFiles:
    """Where a county lies."""

    folder: Path

    @property
    def dem(self) -> Path:
        """Folder of the tiles."""
        return self.folder / "dem"

    @property
    def streams(self) -> Path:
        """Drawn stream lines."""
        return self.folder / "streams.gpkg"

    @property
    def buildings(self) -> Path:
        """Footprints."""
        return self.folder / "buildings.gpkg"

    @property
    def roads(self) -> Path:
        """Road lines."""
        return self.folder / "roads.gpkg"


def county(folder: Path, blocks: int, processes: int = 2) -> CountyFiles:
    """Return a county of so many blocks, a square number; made if it is not there yet."""
    files = CountyFiles(folder / f"county_{blocks:02d}")
    done = files.folder / "made.json"
    if done.exists() and json.loads(done.read_text()) == {"version": VERSION}:
        return files
    shutil.rmtree(files.folder, ignore_errors=True)
    files.dem.mkdir(parents=True)
    if blocks == 1:
        _write_block(files, processes)
    else:
        _repeat(county(folder, 1, processes), files, math.isqrt(blocks), processes)
    done.write_text(json.dumps({"version": VERSION}))
    return files


def _write_block(files: CountyFiles, processes: int) -> None:
    rng = np.random.default_rng(SEED)
    channels = make_channels(rng)
    _write(stream_lines(channels, rng), files.streams)
    _write(buildings(channels, rng), files.buildings)
    _write(roads(rng), files.roads)
    make = partial(_write_tile, files.dem, make_ground(channels, rng))
    tiles = round(SIDE_M / TILE_CELLS)
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        pool.starmap(make, [(r, c) for r in range(tiles) for c in range(tiles)], chunksize=8)


def _write(table: gpd.GeoDataFrame, path: Path) -> None:
    moved = table.set_geometry(table.geometry.translate(*CORNER_M)).set_crs(EPSG)
    moved.to_file(path, driver="GPKG", engine="pyogrio")


def _write_tile(folder: Path, ground: Ground, row: int, column: int) -> None:
    west, north = column * TILE_CELLS, SIDE_M - row * TILE_CELLS
    z = ground.tile(west, north, TILE_CELLS, seed=1000 * row + column)
    with rasterio.open(
        folder / f"tile_{row:02d}_{column:02d}.tif", "w", driver="GTiff", dtype="float32",
        width=TILE_CELLS, height=TILE_CELLS, count=1, crs=f"EPSG:{EPSG}", nodata=-9999.0,
        transform=Affine(1.0, 0.0, CORNER_M[0] + west, 0.0, -1.0, CORNER_M[1] + north),
        tiled=True, blockxsize=BLOCK_CELLS, blockysize=BLOCK_CELLS, compress="deflate", predictor=3,
    ) as out:  # fmt: skip
        out.write(z, 1)
        out.units = ("metre",)


def _repeat(unit: CountyFiles, files: CountyFiles, side: int, processes: int) -> None:
    places = [(i, j) for j in range(side) for i in range(side)]
    for one, many in ((unit.streams, files.streams), (unit.buildings, files.buildings),
                      (unit.roads, files.roads)):  # fmt: skip
        table = gpd.read_file(one, engine="pyogrio")
        parts = []
        for number, (i, j) in enumerate(places):
            part = table.set_geometry(table.geometry.translate(i * SIDE_M, j * SIDE_M))
            if "name" in part:
                part["name"] = part["name"].where(
                    part["name"].isna(), f"Block {number} " + part["name"]
                )
            parts.append(part)
        pd.concat(parts, ignore_index=True).to_file(many, driver="GPKG", engine="pyogrio")
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        pool.starmap(partial(_copy_tiles, unit.dem, files.dem), places)


def _copy_tiles(source: Path, target: Path, i: int, j: int) -> None:
    for path in sorted(source.glob("*.tif")):
        copy = target / f"block_{i}_{j}_{path.name}"
        if i == j == 0:
            os.link(path, copy)
            continue
        shutil.copyfile(path, copy)
        with rasterio.open(copy, "r+") as tile:
            tile.transform = Affine.translation(i * SIDE_M, j * SIDE_M) @ tile.transform
