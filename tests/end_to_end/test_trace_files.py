"""Tracing from files: units, coordinate systems, coarsening, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

from reachrank.errors import InputError, UsageError
from reachrank.trace import trace


def write_valley(path, crs, cell, corner=(500_000, 4_000_000), size=100):
    """Write a floor in the middle column that falls south; coordinates in the unit of the CRS."""
    row, column = np.mgrid[0:size, 0 : size + 1]
    z = 0.2 * (size - row) + 2.0 * np.abs(column - size // 2) + 100.0
    with rasterio.open(
        path, "w", driver="GTiff", width=size + 1, height=size, count=1, dtype="float32",
        crs=crs, transform=Affine(cell, 0, corner[0], 0, -cell, corner[1]), nodata=-9999,
    ) as raster:  # fmt: skip
        raster.write(z.astype("float32"), 1)
    return str(path)


def test_a_metric_dem(tmp_path):
    path = write_valley(tmp_path / "dem.tif", "EPSG:26917", 10.0)
    lines = trace([path], 0.5)
    assert lines.crs.to_epsg() == 26917
    assert lines["drainage_area_km2"].item() == pytest.approx(1.01)
    assert lines.attrs == {"cell_m": 10.0, "coarsened": False}


def test_a_dem_in_feet_gives_square_kilometres_and_lines_in_feet(tmp_path):
    # EPSG:2278 is in U.S. survey feet, 1200/3937 m
    path = write_valley(tmp_path / "dem.tif", "EPSG:2278", 30.0, (2_000_000, 13_800_000))
    lines = trace([path], 0.4, dem_units="ft")
    cell_km = 30.0 * 1200 / 3937 / 1000
    assert lines["drainage_area_km2"].item() == pytest.approx(100 * 101 * cell_km**2, rel=1e-6)
    x = shapely.get_coordinates(lines.geometry.iloc[0])[:, 0]
    np.testing.assert_allclose(x, 2_000_000 + 50.5 * 30.0, atol=0.01)


def test_a_larger_dem_is_coarsened_and_says_so(tmp_path):
    path = write_valley(tmp_path / "dem.tif", "EPSG:26917", 5.0, size=200)
    said = []
    lines = trace([path], 0.5, most_cells=11_000, progress=lambda _, text: said.append(text))
    assert lines.attrs == {"cell_m": 10.0, "coarsened": True}
    assert any("averaged to 10 m" in text for text in said)
    # 200 x 201 cells of 5 m; the last column of coarse cells is half empty
    assert lines["drainage_area_km2"].item() == pytest.approx(200 * 201 * 25e-6, rel=0.01)


def test_what_cannot_be_is_refused(tmp_path):
    path = write_valley(tmp_path / "dem.tif", "EPSG:26917", 10.0)
    with pytest.raises(UsageError):
        trace([path], 0.0)
    with pytest.raises(InputError, match="drain together"):
        trace([path], 50.0)
    with pytest.raises(InputError):
        trace([str(tmp_path / "none.tif")], 1.0)
