"""The files of a synthetic corridor, in metres and in U.S. survey feet."""

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from pyproj import Transformer

from reachrank.synthetic import CorridorSpec, House, make_corridor

SPEC = CorridorSpec(
    length_m=150.0, toe_width_m=4.0, margin_m=20.0,
    houses=(House(at_m=60.0, side="right", distance_m=7.0),),
)  # fmt: skip


def test_files_in_feet_are_the_same_place_as_files_in_metres(tmp_path: Path) -> None:
    corridor = make_corridor(SPEC, seed=2)
    corridor.write(tmp_path / "m")
    corridor.write(tmp_path / "ft", us_feet=True)
    metres, feet = (gpd.read_file(tmp_path / unit / "streams.gpkg") for unit in ("m", "ft"))
    # pyproj as judge: both files, through their own CRS, lie in the same place.
    back = feet.to_crs(metres.crs)
    assert metres.geometry.iloc[0].hausdorff_distance(back.geometry.iloc[0]) < 1e-3
    with (
        rasterio.open(tmp_path / "m/dem.tif") as one,
        rasterio.open(tmp_path / "ft/dem.tif") as two,
    ):
        assert one.units == ("metre",)
        assert two.units == ("US survey foot",)
        # 1 U.S. survey foot = 1200 / 3937 m (85 Federal Register 62698, 2020).
        np.testing.assert_allclose(two.read(1) * 1200 / 3937, one.read(1), rtol=1e-6)
        to_metres = Transformer.from_crs(two.crs, one.crs, always_xy=True)
        assert to_metres.transform(*two.xy(5, 9)) == pytest.approx(one.xy(5, 9), abs=1e-3)


def test_truth_file_holds_bends_and_stations(tmp_path: Path) -> None:
    corridor = make_corridor(SPEC, seed=2)
    corridor.write(tmp_path)
    truth = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    assert len(truth["bends"]) == len(corridor.truth.bends)
    assert truth["stations"]["station_m"][0] == pytest.approx(corridor.truth.length_m, abs=1e-3)
    houses = gpd.read_file(tmp_path / "structures.gpkg")
    assert houses["bank_distance_m"].tolist() == pytest.approx([7.0], abs=0.01)
