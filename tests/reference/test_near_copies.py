"""Lines beside each other: which are copies, judged by shapely's Hausdorff distance."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from reachrank.network.lines import Line, Run, length
from reachrank.network.snapping import without_near_copies

TOLERANCE_M = 2.0


def walk(seed: int, count: int) -> np.ndarray:
    """Return a line that wanders to the east in steps of 0.5 to 20 m."""
    rng = np.random.default_rng(seed)
    turn = np.cumsum(rng.normal(0.0, 0.3, count)).clip(-1.2, 1.2)
    step = rng.uniform(0.5, 20.0, count)
    return np.cumsum(np.column_stack([step * np.cos(turn), step * np.sin(turn)]), axis=0)


def line_of(xy: np.ndarray) -> Line:
    return Line(xy, (Run(0, True, length(xy)),))


@pytest.mark.parametrize("away_m", [0.5, 1.9, 2.1, 6.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_copy_is_what_lies_within_the_hausdorff_distance(seed, away_m):
    one = walk(seed, 60)
    other = one.copy()
    other[20:30] += [0.0, away_m]  # between the same ends, and a stretch of it beside
    shapes = shapely.linestrings(one), shapely.linestrings(other)
    distance_m = shapely.hausdorff_distance(*shapes, densify=0.1)
    kept, copies = without_near_copies([line_of(one), line_of(other)], TOLERANCE_M)
    assert len(copies) == (distance_m <= TOLERANCE_M)
    assert len(kept) + len(copies) == 2


def test_long_lines_are_compared_in_their_length_and_not_its_square():
    # the square would be 10^11 distances
    one = walk(4, 100_000)
    other = one + np.array([0.0, 0.5])
    other[[0, -1]] = one[[0, -1]]
    kept, copies = without_near_copies([line_of(one), line_of(other)], TOLERANCE_M)
    assert len(kept) == len(copies) == 1
    assert kept[0].xy.shape == (100_000, 2)
