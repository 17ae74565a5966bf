"""Time of `reachrank rank` beside its floor and beside the plain notebook way.

    python benchmarks/speed.py [--blocks 1,4,16] [--jobs 2] [--runs 3] [--folder FOLDER]

makes counties of about 250, 1,000 and 4,000 km of streams (about 5 GB under FOLDER, made once, in
about a minute), ranks each with default settings, and prints three tables:

* the counties: the whole process from its start to the finished GeoPackage; the floor, which is
  the time to read and decode once every DEM block within the corridor, with as many threads; the
  notebook way, timed on a slice of the largest streams, told per kilometre, on nearest cells and
  bilinear (as the ranking samples);
* where the time goes, by progress message: from a message to the next one;
* start-up: a stream of 2 km with compiled kernels at hand, and the first run that compiles them.

All files are read once and all kernels compiled before anything but the start-up is timed. Run it
on a machine that does nothing else; it says so where that is not the case.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sqlite3
import statistics
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import rasterio
from county.files import CountyFiles, county
from county.process import Took, run
from rasterio.merge import merge

from reachrank.channel.stage import corridor_half_width_m
from reachrank.settings import Settings

HERE = Path(__file__).parent
SHORT_KM = 2.0
GOAL_FLOORS, GOAL_MORE_S = 5.0, 3.0
GOAL_KM_PER_S = 50.0
GOAL_NOTEBOOKS = 30.0
GOAL_MB = 1500.0
BUSY = 0.7
COLUMNS = (
    ("km", 6), ("sections", 10), ("Mcells", 8), ("files GB", 10), ("floor s", 9), ("rank s", 9),
    ("user s", 8), ("sys s", 7), ("(rank-3)/floor", 16), ("km/s", 7), ("x nearest", 11),
    ("x bilinear", 12), ("peak MB", 9), ("own MB", 8),
)  # fmt: skip
"""Titles and widths. Mcells are the DEM cells of the blocks within the corridor; own is memory
without pages of mapped files."""


def rank_command(files: CountyFiles, out: Path, options: argparse.Namespace) -> list[str]:
    area = ["--area-attribute", "area_km2"] if options.area == "attribute" else []
    return [
        sys.executable, "-m", "reachrank", "rank", str(files.streams), str(files.dem),
        "--structures", str(files.buildings), "--roads", str(files.roads), *area,
        "--jobs", str(options.jobs), "--out", str(out), "--overwrite", "--progress", "jsonl",
    ]  # fmt: skip


def median_run(runs: list[Took]) -> Took:
    return sorted(runs, key=lambda took: took.wall_s)[len(runs) // 2]


def program(name: str, *arguments: object) -> dict[str, float]:
    """Run one of the small programs beside and return what it printed."""
    took = run(
        [sys.executable, "-m", f"county.{name}", *map(str, arguments)],
        {"PYTHONPATH": str(HERE)},
    )
    return dict(json.loads(took.output))


def warm(files: CountyFiles) -> float:
    """Read all files of a county once; return their size in GB."""
    size = 0
    for path in sorted(files.folder.rglob("*")):
        if path.is_file():
            with path.open("rb") as file:
                while part := file.read(1 << 24):
                    size += len(part)
    return size / 1e9


def count_sections(out: Path) -> int:
    with sqlite3.connect(out) as db:
        return int(db.execute("SELECT count(*) FROM sections").fetchone()[0])


def short_county(unit: CountyFiles, folder: Path) -> CountyFiles:
    """Return about 2 km of one stream with the tiles under it."""
    files = CountyFiles(folder / "short")
    files.dem.mkdir(parents=True, exist_ok=True)
    table = gpd.read_file(unit.streams, engine="pyogrio")
    longest = table.loc[[(table.length - SHORT_KM * 1000.0).abs().idxmin()]]
    longest.to_file(files.streams, driver="GPKG", engine="pyogrio")
    west, south, east, north = longest.total_bounds
    for path in unit.dem.glob("*.tif"):
        with rasterio.open(path) as tile:
            b = tile.bounds
        near = b.left < east + 200 and b.right > west - 200
        if near and b.bottom < north + 200 and b.top > south - 200:
            (files.dem / path.name).unlink(missing_ok=True)
            os.link(path, files.dem / path.name)
    for path in (unit.buildings, unit.roads):
        gpd.read_file(path, bbox=(west - 500, south - 500, east + 500, north + 500)).to_file(
            files.folder / path.name, driver="GPKG", engine="pyogrio"
        )
    return files


def merged(unit: CountyFiles, folder: Path) -> Path:
    """Return one block's DEM as one raster, as a notebook would want it; making it is not timed."""
    path = folder / "merged.tif"
    if not path.exists() or path.stat().st_mtime < unit.streams.stat().st_mtime:
        merge(
            sorted(unit.dem.glob("*.tif")), dst_path=path,
            dst_kwds={"compress": "deflate", "predictor": 3, "tiled": True, "blockxsize": 256,
                      "blockysize": 256},
        )  # fmt: skip
    return path


def start_up(files: CountyFiles, folder: Path, options: argparse.Namespace) -> None:
    with tempfile.TemporaryDirectory(dir=folder) as cache:
        command = rank_command(files, folder / "short.gpkg", options)
        first = run(command, {"NUMBA_CACHE_DIR": cache})
        again = median_run([run(command, {"NUMBA_CACHE_DIR": cache}) for _ in range(5)])
    bare = median_run([run([sys.executable, "-m", "reachrank", "--version"]) for _ in range(5)])
    km = gpd.read_file(files.streams).length.sum() / 1000.0
    print(f"\nStart-up, {km:.1f} km of stream: {again.wall_s:.2f} s with compiled kernels at hand, "
          f"{first.wall_s:.2f} s the first time (compiling: {first.wall_s - again.wall_s:.1f} s); "
          f"`reachrank --version`: {bare.wall_s:.2f} s.")  # fmt: skip
    stages = ", ".join(f"{name} {s:.2f}" for name, s in again.stages.items() if s >= 0.05)
    print(f"By stage: {stages} s.")


def print_stages(by_size: dict[str, Took]) -> None:
    names = list(dict.fromkeys(name for took in by_size.values() for name in took.stages))
    print("\nWhere the time goes, seconds by progress message")
    print(f"{'':28}" + "".join(f"{size:>12}" for size in by_size))
    for name in names:
        row = "".join(f"{took.stages.get(name, 0.0):12.2f}" for took in by_size.values())
        print(f"{name:28.28}{row}")


def print_row(values: Sequence[str]) -> None:
    cells = zip(values, COLUMNS, strict=True)
    print("".join(f"{value:>{width}}" for value, (_, width) in cells), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--blocks", default="1,4,16", help="square numbers; a block has 250 km")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--runs", type=int, default=3, help="runs of one block; larger: one run")
    parser.add_argument("--notebook-km", type=float, default=5.0)
    parser.add_argument("--area", choices=["attribute", "routing"], default="attribute",
                        help="drainage area from the stream layer, or by flow routing")  # fmt: skip
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "county_speed")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    half_width_m = corridor_half_width_m(Settings())

    busy = os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0
    print(
        f"{os.cpu_count()} cores ({platform.processor() or platform.machine()}), "
        f"{options.jobs} threads, Python {platform.python_version()}; corridor "
        f"{half_width_m:g} m to each side of the drawn lines; area by {options.area}"
    )
    if busy > BUSY:
        print(f"The machine is busy with other work (load {busy:.1f}): times are too long.")
    unit = county(options.folder, 1)
    slice_km = options.notebook_km
    book = program("notebook", merged(unit, options.folder), unit.streams, slice_km)
    nearest, bilinear = (book[f"{how}_s"] / book["km"] for how in ("nearest", "bilinear"))
    print(
        f"Notebook way, {book['km']:.1f} km, {book['sections']:.0f} sections: nearest cells "
        f"{nearest:.3f} s/km, bilinear {bilinear:.3f} s/km\n"
    )
    print("".join(f"{title:>{width}}" for title, width in COLUMNS))
    short = short_county(unit, options.folder)
    run(rank_command(short, options.folder / "short.gpkg", options))  # compiles what is not yet
    by_size = {}
    for blocks in map(int, options.blocks.split(",")):
        files = county(options.folder, blocks)
        size_gb = warm(files)
        out = options.folder / f"ranked_{blocks:02d}.gpkg"
        command = rank_command(files, out, options)
        floors, ranks = [], []
        for _ in range(options.runs if blocks == 1 else 1):
            # turn about, so that a slow moment of the machine hits both
            floors.append(program("floor", files.dem, files.streams, half_width_m, options.jobs))
            ranks.append(run(command))
        floor_s = statistics.median(floor["seconds"] for floor in floors)
        took = median_run(ranks)
        km = gpd.read_file(files.streams, engine="pyogrio").length.sum() / 1000.0
        values = (
            f"{km:.0f}", f"{count_sections(out)}", f"{floors[0]['cells'] / 1e6:.0f}",
            f"{size_gb:.2f}", f"{floor_s:.2f}", f"{took.wall_s:.2f}", f"{took.user_s:.1f}",
            f"{took.system_s:.1f}", f"{(took.wall_s - GOAL_MORE_S) / floor_s:.2f}",
            f"{km / took.wall_s:.1f}", f"{nearest * km / took.wall_s:.1f}",
            f"{bilinear * km / took.wall_s:.1f}", f"{took.peak_mb:.0f}", f"{took.peak_own_mb:.0f}",
        )  # fmt: skip
        print_row(values)
        by_size[f"{km:.0f} km"] = took
        out.unlink()
    goals = (f"<={GOAL_FLOORS:g}", f">={GOAL_KM_PER_S:g}", f">={GOAL_NOTEBOOKS:g}",
             f">={GOAL_NOTEBOOKS:g}", f"<={GOAL_MB:.0f}")  # fmt: skip
    print_row(("goal", *[""] * 7, *goals, ""))
    print_stages(by_size)
    start_up(short, options.folder, options)


if __name__ == "__main__":
    main()
