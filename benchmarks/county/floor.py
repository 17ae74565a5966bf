"""The floor: read and decode once each DEM block that the corridor touches, and nothing else.

Run as a program it prints JSON: ``seconds`` of the reading alone (no imports, no search for the
blocks), ``blocks``, ``cells``.
"""

from __future__ import annotations

import json
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from rasterio.windows import Window, bounds


def touched(dem: Path, streams: Path, half_width_m: float) -> list[tuple[Path, list[Window]]]:
    """Return each tile with those of its blocks that come within a distance of the lines."""
    table = gpd.read_file(streams, engine="pyogrio")
    lines = shapely.segmentize(table.geometry.to_numpy(), 200.0)
    ends = shapely.get_coordinates(lines, return_index=True)
    same = ends[1][1:] == ends[1][:-1]
    pieces = shapely.linestrings(np.stack([ends[0][:-1][same], ends[0][1:][same]], axis=1))
    tree = shapely.STRtree(pieces)
    found = []
    for path in sorted(dem.glob("*.tif")):
        with rasterio.open(path) as tile:
            windows = [window for _, window in tile.block_windows(1)]
            boxes = shapely.box(*np.array([bounds(w, tile.transform) for w in windows]).T)
        near = np.unique(tree.query(boxes, predicate="dwithin", distance=half_width_m)[0])
        if near.size:
            found.append((path, [windows[k] for k in near]))
    return found


def read_once(tiles: list[tuple[Path, list[Window]]], threads: int) -> tuple[int, float]:
    """Read every window once; return the cells read and a sum, so that nothing is left undone."""

    def work(task: tuple[Path, list[Window]]) -> tuple[int, float]:
        path, windows = task
        cells, total = 0, 0.0
        with rasterio.open(path) as tile:
            for window in windows:
                block = tile.read(1, window=window)
                cells += block.size
                total += float(block[0, 0])
        return cells, total

    with ThreadPoolExecutor(threads) as pool:
        done = list(pool.map(work, tiles))
    return sum(cells for cells, _ in done), sum(total for _, total in done)


def main() -> None:
    """Arguments: folder of the DEM, streams, half width in metres, threads."""
    dem, streams, half_width_m, threads = sys.argv[1:]
    tiles = touched(Path(dem), Path(streams), float(half_width_m))
    with rasterio.Env(GDAL_CACHEMAX=64):
        start = time.perf_counter()
        cells, _ = read_once(tiles, int(threads))
        seconds = time.perf_counter() - start
    blocks = sum(len(windows) for _, windows in tiles)
    print(json.dumps({"seconds": seconds, "blocks": blocks, "cells": cells, "tiles": len(tiles)}))


if __name__ == "__main__":
    main()
