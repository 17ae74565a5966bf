"""Face angles and bed slopes judged by GDAL's own slope, run by the system's Python."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from corridor_runs import measure
from scipy.spatial import cKDTree

from reachrank.synthetic import CORRIDORS, make_corridor, variant
from reachrank.synthetic.corridor import write_dem

SYSTEM_PYTHON = "/usr/bin/python3"
SLOPE = """
import sys
from osgeo import gdal
gdal.UseExceptions()
gdal.DEMProcessing(sys.argv[2], sys.argv[1], "slope")
"""


@pytest.fixture(scope="module")
def gdal_slope_deg():
    """Give a function that returns GDAL's slope of a DEM file, in degrees."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("GDAL_", "PROJ_", "PYTHON"))}
    there = (
        Path(SYSTEM_PYTHON).exists()
        and subprocess.run(
            [SYSTEM_PYTHON, "-c", "from osgeo import gdal"],
            capture_output=True,
            env=kept,
            check=False,
        ).returncode
        == 0
    )
    if not there:
        text = "GDAL's Python binding is not installed: scripts/install_viewers.sh"
        if os.environ.get("CI"):
            pytest.fail(text)
        pytest.skip(text)

    def slope(dem: Path) -> np.ndarray:
        out = dem.with_name("slope.tif")
        subprocess.run(
            [SYSTEM_PYTHON, "-c", SLOPE, str(dem), str(out)],
            check=True,
            env=kept,
            capture_output=True,
        )
        with rasterio.open(out) as dataset:
            return dataset.read(1, masked=True).filled(np.nan)

    return slope


def test_face_angles_are_those_that_gdal_sees_where_the_grid_resolves_them(
    gdal_slope_deg, tmp_path
) -> None:
    # 3 m banks at 30 degrees on 0.5 m cells: the face is ten cells long, so that a cell in its
    # middle has nothing but face around it and GDAL's 3 x 3 slope is the face's own
    spec = variant(
        CORRIDORS["gentle_w15"],
        cell_m=0.5,
        noise_m=0.001,
        length_m=200.0,
        height_m=3.0,
        outside_angle_deg=30.0,
        inside_angle_deg=30.0,
        inside_height_frac=1.0,
        height_variation_frac=0.0,
    )
    corridor = make_corridor(spec, seed=1)
    write_dem(tmp_path / "dem.tif", corridor.elevation_m, corridor.transform, corridor.crs, "metre")
    slope = gdal_slope_deg(tmp_path / "dem.tif")
    found = measure(corridor)["sections"]
    good = found[(found["quality"] > 0.5) & found["left_bank_angle_deg"].notna()]
    good = good.iloc[len(good) // 5 : -len(good) // 5]
    assert len(good) > 20
    bearing = np.radians(good["bearing_deg"].to_numpy())
    for side, sign in (("left", 1.0), ("right", -1.0)):
        toe, top = (good[f"{side}_{what}_offset_m"].to_numpy() for what in ("toe", "top"))
        middle = sign * 0.5 * (toe + top)
        x = good["x_m"].to_numpy() - middle * np.cos(bearing)
        y = good["y_m"].to_numpy() + middle * np.sin(bearing)
        inverse: Affine = ~corridor.transform
        column = (inverse.a * x + inverse.b * y + inverse.c).astype(int)
        row = (inverse.d * x + inverse.e * y + inverse.f).astype(int)
        judged = slope[row, column]
        ours = good[f"{side}_bank_angle_deg"].to_numpy()
        # 3 x 3 slopes of a face that curves with the channel scatter by about a degree
        assert np.median(np.abs(ours - judged)) < 1.5
        assert np.median(ours - judged) == pytest.approx(0.0, abs=1.0)
    assert (
        cKDTree(np.column_stack([corridor.truth.x_m, corridor.truth.y_m]))
        .query(good[["x_m", "y_m"]].to_numpy())[0]
        .max()
        < 1.0
    )
