"""The quick sieve for features near streams, judged by shapely's exact distance."""

import numpy as np
import pytest
import shapely

from reachrank.read.near import NearMask


@pytest.mark.parametrize("within", [5.0, 60.0, 500.0])
def test_nothing_within_is_missed_and_little_beyond_is_kept(within):
    rng = np.random.default_rng(5)
    starts = rng.uniform(0, 3000, (8, 1, 2))
    lines = shapely.linestrings(starts + np.cumsum(rng.normal(0, 60, (8, 30, 2)), axis=1))
    corner = rng.uniform(-1500, 4500, (4000, 2))
    size = rng.uniform(0.0, 40.0, (4000, 2))
    boxes = np.hstack([corner, corner + size])
    west, south, east, north = shapely.total_bounds(lines)
    mask = NearMask.of(
        lines, within, (west - within, south - within, east + within, north + within)
    )
    distance = shapely.distance(shapely.box(*boxes.T), shapely.union_all(lines))
    kept = mask.touches(boxes)
    assert kept[distance <= within].all()
    # a square is at most a quarter of the distance or the map's 4000th part, and its diagonal
    # is allowed twice: once for the square, once for the box
    assert not kept[distance > within + 4 * mask.square_m + 2 / 64 * mask.square_m].any()
    assert (distance <= within).sum() > 10


def test_what_is_not_finite_is_not_near():
    mask = NearMask.of(
        shapely.linestrings([[[0.0, 0.0], [10.0, 0.0]]]), 5.0, (-5.0, -5.0, 15.0, 5.0)
    )
    boxes = np.array([[0.0, 0.0, 1.0, 1.0], [np.nan] * 4, [-np.inf, 0.0, np.inf, 1.0]])
    assert mask.touches(boxes).tolist() == [True, False, False]
