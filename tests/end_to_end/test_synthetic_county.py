"""The files of the invented county agree with each other and with their truth."""

import csv
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyflwdir
import pytest
import rasterio
from scipy.ndimage import map_coordinates

from reachrank.errors import OutputError
from reachrank.settings.load import load_settings
from reachrank.synthetic.county import write_county

SAMPLE = Path(__file__).resolve().parents[2] / "sample_data"
MAIN = "Brindlewater Creek"


def _layer(file: str, layer: str | None = None) -> gpd.GeoDataFrame:
    return gpd.read_file(SAMPLE / f"{file}.gpkg", layer=layer or file)


@pytest.fixture(scope="module")
def dem() -> tuple[np.ndarray, rasterio.Affine]:
    tiles, corner = [], None
    for row in ("north", "south"):
        tiles.append([])
        for column in ("west", "east"):
            with rasterio.open(SAMPLE / f"dem/dem_{row}_{column}.tif") as dataset:
                tiles[-1].append(dataset.read(1))
                corner = corner or dataset.transform
    values = np.block(tiles)
    return np.where(values == -9999.0, np.nan, values), corner


@pytest.fixture(scope="module")
def stations() -> gpd.GeoDataFrame:
    return _layer("truth", "stations")


def _at(dem: tuple[np.ndarray, rasterio.Affine], x: np.ndarray, y: np.ndarray) -> np.ndarray:
    values, transform = dem
    rows = (transform.f - np.asarray(y)) / -transform.e - 0.5
    columns = (np.asarray(x) - transform.c) / transform.a - 0.5
    return map_coordinates(values, [rows, columns], order=1, cval=np.nan)


def test_elevation_band_states_its_unit_and_all_layers_share_one_metric_crs() -> None:
    with rasterio.open(next((SAMPLE / "dem").glob("*.tif"))) as dataset:
        assert dataset.units == ("metre",)
        assert dataset.crs.linear_units == "metre"
        crs = dataset.crs
    for file in SAMPLE.glob("*.gpkg"):
        for layer in gpd.list_layers(file)["name"]:
            assert gpd.read_file(file, layer=layer).crs == crs


def test_the_whole_is_small_enough_to_ship() -> None:
    files = [path for path in SAMPLE.rglob("*") if path.is_file()]
    assert sum(path.stat().st_size for path in files) < 8e6


def test_elevation_model_shows_the_true_water_and_the_true_ground_behind_the_tops(
    dem: tuple[np.ndarray, rasterio.Affine], stations: gpd.GeoDataFrame
) -> None:
    seen = stations[stations["valid"] & (stations["toe_width_m"] > 3.0)]
    water = _at(dem, seen["x_m"], seen["y_m"]) - seen["water_m"]
    assert np.isfinite(water).all()
    # Noise of 5.5 to 9.5 cm; the median of some hundred values is good to a centimetre.
    assert np.median(water) == pytest.approx(0.0, abs=0.02)
    assert np.percentile(np.abs(water), 90) < 0.2
    for side in ("left", "right"):
        ok = stations[stations[f"{side}_valid"]]
        out = 1.0 + 1.0 / ok[f"{side}_top_offset_m"]  # a metre behind the top
        x = ok["x_m"] + (ok[f"{side}_top_x_m"] - ok["x_m"]) * out
        y = ok["y_m"] + (ok[f"{side}_top_y_m"] - ok["y_m"]) * out
        rise = _at(dem, x, y) - ok[f"{side}_top_elevation_m"]
        assert np.median(np.abs(rise)) < 0.12


def test_left_bank_lies_left_of_the_way_the_water_falls(stations: gpd.GeoDataFrame) -> None:
    for _, stream in stations.groupby("stream_name"):
        assert (np.diff(stream["water_m"]) <= 0).all()
        assert (np.diff(stream["station_m"]) < 0).all()
        dx, dy = np.gradient(stream["x_m"]), np.gradient(stream["y_m"])
        aside_x, aside_y = (
            stream["left_top_x_m"] - stream["x_m"],
            stream["left_top_y_m"] - stream["y_m"],
        )
        assert (dx * aside_y - dy * aside_x > 0).all()


def test_outside_banks_of_bends_are_the_steeper_ones(stations: gpd.GeoDataFrame) -> None:
    free = stations[~(stations["left_is_failing"] | stations["right_is_failing"])]
    sharp = free[np.abs(free["curvature_per_m"]) > 0.03]
    right_is_outside = sharp["curvature_per_m"] > 0
    steeper_right = sharp["right_angle_deg"] > sharp["left_angle_deg"]
    assert (right_is_outside == steeper_right).all()


def test_tributaries_meet_the_water_of_the_stream_they_flow_into(
    stations: gpd.GeoDataFrame,
) -> None:
    ends = stations.groupby("stream_name").tail(1).set_index("stream_name")
    for name, into in {
        "Kettlemoss Run": MAIN, "Pennythorn Branch": MAIN, "Ashbarrow Run": MAIN,
        "Goosequill Hollow": "Ashbarrow Run",
    }.items():  # fmt: skip
        other = stations[stations["stream_name"] == into]
        away = np.hypot(other["x_m"] - ends["x_m"][name], other["y_m"] - ends["y_m"][name])
        assert away.min() < 5.0  # stations are 5 m apart
        level = other["water_m"].loc[away.idxmin()]
        # The last station lies up to 5 m above the mouth, on a fall of at most 1.6 %.
        assert ends["water_m"][name] == pytest.approx(level, abs=0.15)


def test_stated_distances_of_buildings_are_distances_to_the_true_tops() -> None:
    houses, tops = _layer("truth", "buildings"), _layer("truth", "bank_tops")
    measured = houses.distance(tops.union_all())
    # The tops have a vertex a metre; on a bend of 10 m radius a chord of 1 m is 1 cm off.
    assert np.allclose(measured, houses["bank_distance_m"], atol=0.02)
    assert sorted(houses["bank_distance_m"])[:3] == pytest.approx([4.0, 5.5, 6.0], abs=0.02)
    assert set(houses["building_id"]) == set(_layer("buildings")["building_id"])


def test_water_of_the_whole_watershed_runs_to_the_mouth(
    dem: tuple[np.ndarray, rasterio.Affine], stations: gpd.GeoDataFrame
) -> None:
    # pyflwdir as judge, on cells of 4 m, over the road fill as water would in the end.
    values, transform = dem
    filled = np.where(np.isnan(values), np.nanmax(values), values)
    coarse = filled.reshape(400, 4, 600, 4).mean(axis=(1, 3)).astype(np.float32)
    flow = pyflwdir.from_dem(
        coarse, transform=rasterio.Affine(4.0, 0.0, transform.c, 0.0, -4.0, transform.f)
    )
    area_km2 = flow.accuflux(np.full(coarse.shape, 16e-6))
    mouth = stations[stations["stream_name"] == MAIN].iloc[-1]
    row, column = int((transform.f - mouth["y_m"]) / 4), int((mouth["x_m"] - transform.c) / 4)
    assert area_km2[row - 3 : row + 4, column - 3 : column + 4].max() > 1.8


def test_stream_lines_are_near_the_channel_and_some_run_upstream() -> None:
    lines, channels = _layer("streams"), _layer("truth", "channels")
    assert lines["name"].isna().sum() == 1
    away = lines.hausdorff_distance(channels.union_all())  # only a bound: lines are parts
    assert away.notna().all()
    from_channel = [
        max(channels.distance(point).min() for point in gpd.points_from_xy(*line.xy))
        for line in lines.geometry
    ]
    assert 2.0 < max(from_channel) < 8.0
    turned = 0
    for line in lines.geometry:
        channel = min(channels.geometry, key=lambda c: c.distance(line.centroid))
        first, last = (channel.project(p) for p in gpd.points_from_xy(*line.xy)[[0, -1]])
        turned += first > last
    assert 1 <= turned < len(lines) / 2


def test_settings_file_of_the_county_is_understood() -> None:
    settings = load_settings(SAMPLE / "settings.toml")
    columns = set(_layer("buildings").columns)
    assert settings.inputs.structure_class_attribute in columns
    assert settings.inputs.soil_texture_attribute in _layer("soils").columns


def test_soils_and_parcels_fill_the_county_without_overlap() -> None:
    for file in ("soils", "parcels"):
        table = _layer(file)
        assert table.area.sum() == pytest.approx(2400 * 1600, rel=1e-3)
        assert table.union_all().area == pytest.approx(table.area.sum(), rel=1e-3)


def test_applications_are_messy_where_the_readme_says() -> None:
    with (SAMPLE / "applications.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 26
    assert float(rows[2]["easting"]) > float(rows[2]["northing"])  # swapped
    assert not rows[6]["easting"] + rows[6]["latitude"]
    assert "N" in rows[11]["latitude"]
    assert "," in rows[13]["easting"]
    good = rows[0]
    point = gpd.GeoSeries(
        gpd.points_from_xy([float(good["longitude"])], [float(good["latitude"])]), crs=4326
    )
    there = point.to_crs(_layer("streams").crs).iloc[0]
    assert there.x == pytest.approx(float(good["easting"]), abs=0.3)
    assert there.y == pytest.approx(float(good["northing"]), abs=0.3)


@pytest.mark.slow
def test_made_anew_it_is_the_county_in_the_sample_folder(tmp_path: Path) -> None:
    written = write_county(tmp_path)
    names = {path.relative_to(tmp_path).as_posix() for path in written}
    kept = {p.relative_to(SAMPLE).as_posix() for p in SAMPLE.rglob("*") if p.is_file()}
    assert names == kept
    for name in sorted(path.name for path in (SAMPLE / "dem").glob("*.tif")):
        with (
            rasterio.open(tmp_path / "dem" / name) as one,
            rasterio.open(SAMPLE / "dem" / name) as two,
        ):
            # Another processor may round a sum the other way: one step of 1/64 m, here and there.
            differs = np.abs(one.read(1) - two.read(1))
            assert differs.max() <= 1 / 32
            assert np.count_nonzero(differs) < 1000
    new, old = gpd.read_file(tmp_path / "streams.gpkg"), _layer("streams")
    assert new.geometry.geom_equals_exact(old.geometry, 1e-3).all()
    with pytest.raises(OutputError):
        write_county(tmp_path)
