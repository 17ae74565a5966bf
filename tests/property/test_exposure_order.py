"""Exposure: nearer or more never lowers it, and the order of the rows decides nothing."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point
from stream_tables import CRS, arc, context, stream

from reachrank import exposure, reaches
from reachrank.errors import SettingsError
from reachrank.exposure.score import combined_scores, known_classes, structure_scores
from reachrank.settings import ExposureSettings

CLASSES = ["dwelling", "shed", "road", "line", "well", "building", "silo", "track", "railway"]
things = st.lists(st.tuples(st.sampled_from(CLASSES), st.floats(0.0, 70.0)), min_size=1, max_size=8)


def score_of(rows):
    options = ExposureSettings()
    classes, distance = [c for c, _ in rows], np.array([d for _, d in rows])
    pairs = pd.DataFrame(
        {
            "bank_id": "A",
            "structure_class": classes,
            "score": structure_scores(classes, distance, options),
        }
    )
    return combined_scores(pairs, options.long_classes)["A"]


@given(rows=things, which=st.integers(0, 7), share=st.floats(0.0, 1.0))
@settings(max_examples=150, deadline=None)
def test_nearer_never_lowers(rows, which, share):
    which %= len(rows)
    nearer = list(rows)
    nearer[which] = (rows[which][0], rows[which][1] * share)
    assert score_of(nearer) >= score_of(rows) - 1e-9


@given(rows=things, more=things)
@settings(max_examples=150, deadline=None)
def test_more_never_lowers_and_none_exceeds_100(rows, more):
    both = score_of(rows + more)
    assert both >= max(score_of(rows), score_of(more)) - 1e-9
    assert 0.0 <= both <= 100.0


@given(distance=st.floats(0.0, 60.0), pieces=st.integers(1, 5))
def test_cutting_a_road_changes_nothing(distance, pieces):
    whole = [("road", distance)]
    assert score_of(whole + [("road", distance + 5.0)] * pieces) == score_of(whole)


def test_a_house_outweighs_a_shed_at_the_same_distance():
    assert score_of([("dwelling", 10.0)]) > score_of([("shed", 10.0)])


def test_scores_that_rise_with_distance_are_refused():
    with pytest.raises(SettingsError):
        structure_scores(
            ["shed"], np.array([1.0]), ExposureSettings(distance_scores=((0.0, 0.5), (10.0, 0.6)))
        )


def test_words_for_classes():
    assert known_classes(["Garage", "farm-auxiliary", "HOUSE ", np.nan], ExposureSettings()) == [
        "shed",
        "shed",
        "dwelling",
        "building",
    ]


def test_order_of_all_rows_decides_nothing():
    rng = np.random.default_rng(23)
    xy = rng.uniform(-120.0, 120.0, (60, 2))
    shapes = [Point(*p) for p in xy[:50]] + [
        LineString([p, p + np.array([90.0, 40.0])]) for p in xy[50:]
    ]
    things = gpd.GeoDataFrame(
        {
            "structure_id": [f"t{i:02d}" for i in range(60)],
            "structure_class": [CLASSES[i % len(CLASSES)] for i in range(50)] + ["road"] * 10,
            "source": "made",
        },
        geometry=shapes,
        crs=CRS,
    )
    tables = reaches.run(stream(arc(60.0, 200.0)), context())
    first = exposure.run({**tables, "structures": things}, context())
    shuffled = {
        "reaches": tables["reaches"].sample(frac=1.0, random_state=1),
        "banks": tables["banks"].sample(frac=1.0, random_state=2),
        "structures": things.sample(frac=1.0, random_state=3),
    }
    second = exposure.run(shuffled, context())
    for layer, key in (("banks", "bank_id"), ("reaches", "reach_id"), ("exposures", "exposure_id")):
        a = first[layer].sort_values(key).reset_index(drop=True)
        b = second[layer].sort_values(key).reset_index(drop=True)
        pd.testing.assert_frame_equal(pd.DataFrame(a), pd.DataFrame(b))
    # The rows of the exposures come in one order, whatever came in.
    assert first["exposures"]["exposure_id"].tolist() == second["exposures"]["exposure_id"].tolist()
    assert len(first["exposures"]) > 10
