"""Measures of the hazard stage on shapes with a known answer."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from bank_tables import UTM
from shapely.geometry import LineString, box

from reachrank.findings import Findings
from reachrank.hazard.bend_place import bend_at
from reachrank.hazard.cover import at_least, cover_share, one_of, strips
from reachrank.hazard.flow import profile_slope
from reachrank.hazard.soil import soil_at, soil_index
from reachrank.settings import HazardSettings


def test_slope_of_a_ramp_is_the_ramp():
    station = np.arange(0.0, 500.0, 10.0)
    slope = profile_slope(station, 100 + 0.004 * station, np.full(50, 120.0), np.ones(50, bool))
    np.testing.assert_allclose(slope, 0.004, rtol=1e-9)


def test_slope_looks_through_riffles_and_leaves_out_what_is_flagged():
    station = np.arange(0.0, 1000.0, 5.0)
    bed = 200 + 0.002 * station + 0.1 * np.sin(2 * np.pi * station / 40)
    bed[100] += 5.0  # a bridge deck
    usable = np.ones(station.size, bool)
    usable[100] = False
    slope = profile_slope(station, bed, np.full(station.size, 200.0), usable)
    # A least-squares window over 5 waves of amplitude a: error of the slope is at most
    # 6 a / (pi waves L) = 6 * 0.1 / (pi * 5 * 200) = 0.0002.
    np.testing.assert_allclose(slope[20:-20], 0.002, atol=0.00025)


def test_too_little_to_fit_is_missing():
    station = np.arange(4.0)
    assert np.isnan(profile_slope(station, station, np.full(4, 10.0), np.ones(4, bool))).all()


BENDS = pd.DataFrame(
    {
        "stream_id": ["a", "a", "b"],
        "start_station_m": [100.0, 60.0, 100.0],  # the upstream end
        "end_station_m": [60.0, 20.0, 0.0],
    }
)


def test_bend_acts_downstream_of_itself():
    # Stations run upstream: the place 10 m downstream of station 70 is station 60.
    station = np.array([95.0, 89.0, 55.0, 45.0, 12.0, 5.0, 50.0])
    stream = np.array(["a"] * 6 + ["c"], object)
    lag = np.full(7, 10.0)
    assert bend_at(stream, station, lag, BENDS).tolist() == [-1, 0, 0, 1, 1, -1, -1]
    assert bend_at(stream, station, 0 * lag, BENDS).tolist() == [0, 0, 1, 1, -1, -1, -1]


def _raster(path, values, nodata=None):
    with rasterio.open(
        path, "w", driver="GTiff", height=values.shape[0], width=values.shape[1], count=1,
        dtype=values.dtype, crs="EPSG:26917", nodata=nodata,
        transform=rasterio.Affine(1.0, 0.0, 500_000.0, 0.0, -1.0, 4_000_100.0),
    ) as raster:  # fmt: skip
        raster.write(values, 1)
    return str(path)


@pytest.fixture
def banks():
    south = LineString([(500_050, 4_000_090), (500_050, 4_000_010)])
    return gpd.GeoDataFrame({"bank": ["left", "right"]}, geometry=[south, south], crs=UTM)


def test_strip_lies_on_the_land_side(banks):
    # Running south, left is east.
    left, right = strips(banks, 10.0)
    assert left.equals(box(500_050, 4_000_010, 500_060, 4_000_090))
    assert right.equals(box(500_040, 4_000_010, 500_050, 4_000_090))


def test_share_of_trees_counts_parts_of_cells(banks, tmp_path):
    height = np.zeros((100, 100), np.float32)
    height[:, 45:50] = 6.0  # x 45 to 50: half of the right strip
    path = _raster(tmp_path / "c.tif", height)
    areas = strips(banks, 10.0).translate(-2.5)  # right strip from x 37.5 to 47.5: 2.5 of 10
    np.testing.assert_allclose(cover_share(areas, path, at_least(2.0)), [0.25, 0.25], atol=1e-6)


def test_cover_classes_and_cells_without_data(banks, tmp_path):
    codes = np.full((100, 100), 41, np.uint8)
    codes[:, 55:] = 82
    codes[:50] = 0
    path = _raster(tmp_path / "c.tif", codes, nodata=0)
    share = cover_share(strips(banks, 10.0), path, one_of((41, 42)))
    np.testing.assert_allclose(share, [0.5, 1.0], atol=1e-6)


def test_cover_beside_the_raster_is_missing(banks, tmp_path):
    path = _raster(tmp_path / "c.tif", np.ones((20, 20), np.float32))
    share = cover_share(strips(banks, 10.0), path, at_least(0.5))
    assert np.isnan(share).all()


def test_soil_at_a_bank():
    soils = gpd.GeoDataFrame(
        {
            "texture": ["Clay", " SAND ", None, "mystery"],
            "erodibility": [0.5, np.nan, 0.33, np.nan],
        },
        geometry=[box(0, 0, 10, 10), box(8, 0, 20, 10), box(30, 0, 40, 10), box(50, 0, 60, 10)],
        crs=UTM,
    )
    findings = Findings()
    index = soil_index(soils, HazardSettings(), findings)
    np.testing.assert_allclose(index[:3], [0.0, 1.0, 0.5])
    assert np.isnan(index[3])
    assert "mystery" in findings.rows[0]["text"]
    found = soil_at(shapely.points([(5, 5), (9, 5), (35, 5), (55, 5), (99, 5)]), soils, index)
    np.testing.assert_allclose(found, [0.0, 1.0, 0.5, np.nan, np.nan])  # worse one of an overlap


def test_soil_index_follows_permissible_shear():
    # Fischenich 2001 (ERDC TN-EMRRP-SR-29), low ends in lb/ft2, recalled: fine sand 0.02, sandy
    # loam 0.03, silt loam 0.045, firm loam 0.075, stiff clay 0.26; on a log scale from 1 to 0.
    shear = {"sand": 0.02, "sandy loam": 0.03, "silt loam": 0.045, "loam": 0.075, "clay": 0.26}
    index = HazardSettings().soil_texture_index
    for texture, pounds in shear.items():
        expected = np.log(0.26 / pounds) / np.log(0.26 / 0.02)
        assert index[texture] == pytest.approx(expected, abs=0.01)
