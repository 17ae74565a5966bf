"""The invented county in sample_data: what is known to fail beside a house comes out first."""

from __future__ import annotations

import functools
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest

from reachrank import pipeline
from reachrank.context import Inputs
from reachrank.pipeline import batches_of_streams
from reachrank.settings.load import load_settings

COUNTY = Path(__file__).resolve().parents[2] / "sample_data"
BESIDE_M = 15.0
"""The failing banks of the county have houses, sheds or a barn within this distance, or nothing."""

CUT_DOWN_M = 200.0


@pytest.fixture(scope="module")
def banks(demo):
    return gpd.read_file(demo[0], layer="banks")


@pytest.fixture(scope="module")
def known_to_fail():
    """Lengths that the county's truth calls failing and that have a building beside them."""
    failing = gpd.read_file(COUNTY / "truth.gpkg", layer="failing")
    buildings = gpd.read_file(COUNTY / "truth.gpkg", layer="buildings")
    beside = failing[failing.distance(buildings.union_all()) < BESIDE_M]
    assert len(beside) >= 3
    return list(beside.itertuples())


def at(banks, known):
    """Return the banks that lie along a known length, on its side."""
    along = banks.intersection(known.geometry.buffer(5)).length > 10
    return banks[(banks["bank"] == known.bank) & along]


def test_banks_known_to_fail_beside_a_building_are_among_the_first(banks, known_to_fail):
    for known in known_to_fail:
        # the first quarter is what a reader of the map sees darkest
        assert at(banks, known)["rank"].min() <= len(banks) / 4, known.stream_name
    # and the very first place is one of them
    assert any(at(banks, known)["rank"].min() == 1 for known in known_to_fail)


def test_the_bank_across_from_a_failing_one_is_less_of_a_hazard(banks, known_to_fail):
    """Fails if left and right were swapped anywhere between the DEM and the file."""
    for known in known_to_fail:
        if known.station_to_m - known.station_from_m > CUT_DOWN_M:
            continue  # the straight stretch that is cut down between two failing banks
        first = at(banks, known).sort_values("rank").iloc[0]
        across = banks[(banks["reach_id"] == first["reach_id"]) & (banks["bank"] != first["bank"])]
        assert first["hazard_score"] > across["hazard_score"].iloc[0], known.stream_name


def test_the_demo_says_what_to_open(demo):
    ranked, said = demo
    assert "metres" in said.splitlines()[0]
    assert f"Open {ranked}" in said
    assert "The first 5 of" in said
    assert "811" in said


def test_every_input_of_the_county_is_used(demo):
    ranked, _ = demo
    info = gpd.read_file(ranked, layer="run_info").set_index("key")["value"]
    assert {"input.streams", "input.dem", "input.roads", "input.cover", "input.soils"} <= set(
        info.index
    )
    exposures = gpd.read_file(ranked, layer="exposures")
    assert "road" in set(exposures["structure_class"])


def test_the_size_of_a_batch_changes_nothing(monkeypatch):
    """Memory is bounded by dealing streams out in batches; the result must not show it."""
    settings = load_settings(COUNTY / "settings.toml")
    inputs = Inputs(streams=str(COUNTY / "streams.gpkg"), dem=(str(COUNTY / "dem"),))
    tables, ctx = pipeline.open_inputs(inputs, settings)
    made = []
    with ctx.dem:
        tables = pipeline.run_stage("network", tables, ctx)
        assert tables["edges"]["stream_id"].nunique() > 3
        for batch_km in (0.001, 1000.0):
            monkeypatch.setattr(
                pipeline,
                "batches_of_streams",
                functools.partial(batches_of_streams, batch_km=batch_km),
            )
            now = tables
            for names in pipeline.BATCHED:
                now = pipeline.run_by_stream(names, now, ctx)
            made.append(now)
    for layer in ("channel_points", "bends", "sections", "profiles"):
        pd.testing.assert_frame_equal(made[0][layer], made[1][layer], check_exact=True)
