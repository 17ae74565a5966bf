"""Real elevation of 80 m cells in degrees, as matplotlib carries it: ranked, and called too coarse.

The data set is `jacksboro_fault_dem.npz` of matplotlib's sample data (a piece of a public elevation
model near Jacksboro, Tennessee).
"""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import rasterio
from affine import Affine

from reachrank.__main__ import main


def write_degrees_dem(path: Path) -> None:
    with np.load(Path(mpl.get_data_path()) / "sample_data" / "jacksboro_fault_dem.npz") as data:
        z = data["elevation"].astype(np.float32)
        west, north = float(data["xmin"]), float(data["ymax"])
        dx, dy = float(data["dx"]), float(data["dy"])
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=z.shape[0],
        width=z.shape[1],
        count=1,
        dtype="float32",
        crs="EPSG:4269",
        transform=Affine(dx, 0.0, west, 0.0, -dy, north),
    ) as dataset:
        dataset.write(z, 1)


def test_coarse_cells_in_degrees_are_ranked_and_called_too_coarse(tmp_path: Path, capsys) -> None:
    dem, streams, out = (tmp_path / name for name in ("dem.tif", "streams.gpkg", "ranked.gpkg"))
    write_degrees_dem(dem)
    # degrees say nothing of the vertical unit: it has to be declared
    assert main(["trace", str(dem), "--min-area-km2", "20", "--out", str(streams)]) == 3
    assert "--dem-units" in capsys.readouterr().err
    arguments = ["trace", str(dem), "--min-area-km2", "20", "--dem-units", "m"]
    assert main([*arguments, "--out", str(streams), "--progress", "none"]) == 0
    arguments = ["rank", str(streams), str(dem), "--dem-units", "m", "--progress", "none"]
    assert main([*arguments, "--out", str(out)]) == 0
    findings = gpd.read_file(out, layer="findings")
    assert "coarse" in set(findings["code"])
    sections = gpd.read_file(out, layer="sections")
    words = sections["flags"].str.split()
    assert sum("coarse" in own for own in words) > 0.9 * len(sections)
    assert sections.crs.is_projected
    assert sections.crs.axis_info[0].unit_name == "metre"
