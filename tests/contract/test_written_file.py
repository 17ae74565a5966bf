"""The written file: a sound GeoPackage 1.2 that holds what the stages made and says what it is."""

from __future__ import annotations

import importlib.util
import os
import sqlite3
import subprocess
import sys

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
from pyproj import CRS
from shapely.geometry import LineString

from reachrank.errors import BugError
from reachrank.schema import LAYERS, PUBLIC_LAYERS
from reachrank.units import to_metric
from reachrank.write import write_ranked, write_step


def rows(path, sql):
    db = sqlite3.connect(path)
    try:
        return db.execute(sql).fetchall()
    finally:
        db.close()


@pytest.mark.parametrize("units", ["metric", "us"])
def test_public_validator_finds_nothing(made_run, tmp_path, units):
    """Judge: the GeoPackage validator that the GDAL project ships."""
    if importlib.util.find_spec("osgeo_utils") is None:
        if os.environ.get("CI"):
            pytest.fail("gdal-utils is not installed: pip install --no-deps gdal-utils")
        pytest.skip("gdal-utils is not installed")
    path = write_ranked(made_run.tables, made_run.ctx, tmp_path / "a.gpkg", units=units)
    judged = subprocess.run(
        [sys.executable, "-m", "osgeo_utils.samples.validate_gpkg", str(path)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert judged.returncode == 0, judged.stdout + judged.stderr


def test_layers_in_order_and_no_inner_layer(made_run, tmp_path):
    path = write_ranked(made_run.tables, made_run.ctx, tmp_path / "a.gpkg")
    # GDAL lists layers with geometry before tables without
    assert {name for name, _ in pyogrio.list_layers(path)} == {*PUBLIC_LAYERS, "layer_styles"}
    order = rows(path, "SELECT table_name FROM gpkg_contents ORDER BY rowid")
    assert [name for (name,) in order] == [*PUBLIC_LAYERS, "layer_styles"]
    assert PUBLIC_LAYERS[0] == "reaches"
    assert rows(path, "PRAGMA user_version") == [(10200,)]


def test_nulls_are_nulls_and_types_are_types(made_run, tmp_path):
    path = write_ranked(made_run.tables, made_run.ctx, tmp_path / "a.gpkg")
    assert rows(path, "SELECT radius_m, rank, worst_bank FROM reaches")[2] == (None, None, None)
    assert rows(path, "SELECT typeof(is_angle_lower_bound) FROM banks")[:2] == [("integer",)] * 2
    declared = {r[1]: r[2] for r in rows(path, "PRAGMA table_info(banks)")}
    assert declared["is_angle_lower_bound"] == "BOOLEAN"
    assert declared["rank"] in ("INTEGER", "MEDIUMINT")
    assert declared["bank_height_m"] == "REAL"


def test_every_column_is_described_with_its_unit(made_run, tmp_path):
    path = write_ranked(made_run.tables, made_run.ctx, tmp_path / "a.gpkg")
    told = {
        (layer, column): (title, text)
        for layer, column, title, text in rows(
            path, "SELECT table_name, column_name, title, description FROM gpkg_data_columns"
        )
    }
    assert set(told) == {(n, c.name) for n in PUBLIC_LAYERS for c in LAYERS[n]}
    title, text = told["banks", "bank_angle_deg"]
    assert title == "Bank angle (degrees)"
    assert "Unit: degrees." in text


def test_us_file_has_us_names_and_reads_back_as_metric(made_run, tmp_path):
    metric = write_ranked(made_run.tables, made_run.ctx, tmp_path / "m.gpkg")
    us = write_ranked(made_run.tables, made_run.ctx, tmp_path / "us.gpkg", units="us")
    for layer in PUBLIC_LAYERS:
        a = pyogrio.read_dataframe(metric, layer=layer)
        raw = pyogrio.read_dataframe(us, layer=layer)
        assert not [c for c in raw.columns if c.endswith(("_m", "_km2", "_m2", "_m3"))]
        b = to_metric(raw, LAYERS[layer].names)
        assert list(a.columns) == list(b.columns)
        for column in a.select_dtypes("number"):
            # one multiplication and one division: two roundings of 2^-53 each way
            np.testing.assert_allclose(a[column], b[column], rtol=1e-15)
    # NBS 1959: the foot is 0.3048 m; so 100 m of stream are 328.08 ft
    feet = pyogrio.read_dataframe(us, layer="reaches")["length_ft"][0]
    assert feet * 0.3048 == pytest.approx(made_run.tables["reaches"]["length_m"][0], rel=1e-12)
    assert "4.9 ft high" in pyogrio.read_dataframe(us, layer="findings")["text"][0]


def test_output_crs_is_the_one_asked_for(made_run, tmp_path):
    made_run.ctx.output_crs = CRS.from_epsg(4269)
    path = write_ranked(made_run.tables, made_run.ctx, tmp_path / "a.gpkg")
    read = gpd.read_file(path, layer="reaches")
    assert read.crs == CRS.from_epsg(4269)
    # easting 500,000 m is the central meridian of UTM zone 15: 93 degrees west
    assert read.geometry[0].coords[0][0] == pytest.approx(-93.0, abs=1e-5)


def test_step_file_keeps_every_bit(made_run, tmp_path):
    path = write_step(made_run.tables, made_run.ctx, tmp_path / "a.gpkg", stage="repairs")
    for name, table in made_run.tables.items():
        read = pyogrio.read_dataframe(path, layer=name)
        assert len(read) == len(table)
        for column in LAYERS[name]:
            if column.kind == "float":
                np.testing.assert_array_equal(
                    read[column.name].to_numpy("float64"), table[column.name].to_numpy("float64")
                )
        if LAYERS[name].geometry == "LineString":
            assert (read.geometry.to_wkb() == table.geometry.to_wkb()).all()


def test_step_file_has_only_the_columns_so_far(made_run, tmp_path):
    tables = {
        "edges": made_run.tables["edges"],
        "sections": made_run.tables["sections"].drop(columns="reach_id"),
    }
    path = write_step(tables, made_run.ctx, tmp_path / "a.gpkg", stage="sections")
    assert "reach_id" not in pyogrio.read_info(path, layer="sections")["fields"]
    assert {n for n, _ in pyogrio.list_layers(path)} == {
        "edges",
        "sections",
        "findings",
        "run_info",
    }


def test_layers_without_rows_keep_their_columns(made_run, tmp_path):
    tables = {name: table.iloc[:0] for name, table in made_run.tables.items()}
    path = write_ranked(tables, made_run.ctx, tmp_path / "a.gpkg")
    info = pyogrio.read_info(path, layer="repairs")
    assert info["features"] == 0
    assert info["geometry_type"] == "LineString"
    assert list(info["fields"]) == list(LAYERS["repairs"].names)


def test_profiles_of_the_worst_banks_only(made_run, tmp_path):
    made_run.tables["banks"]["rank"] = [2, 1, 3]
    kept = write_ranked(made_run.tables, made_run.ctx, tmp_path / "a.gpkg", profiles=1)
    assert rows(kept, "SELECT section_id FROM profiles") == [("section_id 1",)]
    none = write_ranked(made_run.tables, made_run.ctx, tmp_path / "b.gpkg", profiles="none")
    assert rows(none, "SELECT count(*) FROM profiles") == [(0,)]
    whole = write_ranked(made_run.tables, made_run.ctx, tmp_path / "c.gpkg", profiles="all")
    assert rows(whole, "SELECT count(*) FROM profiles") == [(3,)]


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda t: t["banks"].assign(shade=1.0), "unknown column shade"),
        (lambda t: t["banks"].assign(bank_id=None), "3 nulls in bank_id"),
        (lambda t: t["banks"].assign(bank_angle_deg=91.0), "bank_angle_deg is 91, its limit is 90"),
        (lambda t: t["banks"].assign(length_m=-1.0), "length_m is -1, its limit is 0"),
        (lambda t: t["banks"].assign(length_m=np.inf), "length_m is not finite"),
        (lambda t: t["banks"].assign(bank=1), "column bank is not str"),
        (lambda t: t["banks"].assign(rank=1.5), "column rank is not int"),
        (lambda t: t["banks"].drop(columns="length_m"), "column length_m is missing"),
        (lambda t: t["banks"].drop(columns="geometry"), "no geometry column"),
        (lambda t: t["banks"].set_geometry(t["banks"].centroid), "geometry of type Point"),
    ],
)
def test_a_broken_layer_is_our_bug_and_writes_nothing(made_run, tmp_path, spoil, says):
    made_run.tables["banks"] = spoil(made_run.tables)
    with pytest.raises(BugError, match=says) as caught:
        write_ranked(made_run.tables, made_run.ctx, tmp_path / "a.gpkg")
    assert caught.value.exit_code == 70
    assert list(tmp_path.iterdir()) == []


def test_writing_leaves_the_tables_alone(made_run, tmp_path):
    before = {name: table.copy() for name, table in made_run.tables.items()}
    write_ranked(made_run.tables, made_run.ctx, tmp_path / "a.gpkg", units="us")
    for name, table in before.items():
        assert table.equals(made_run.tables[name])


def test_lines_of_the_written_file_keep_their_direction(made_run, tmp_path):
    """Drawn downstream means first vertex upstream; writing must not turn a line."""
    path = write_ranked(made_run.tables, made_run.ctx, tmp_path / "a.gpkg")
    line = gpd.read_file(path, layer="banks").geometry[0]
    assert line.equals_exact(LineString([(500_000 + 1 / 3, 4_600_000), (500_100, 4_600_010)]), 1e-9)
