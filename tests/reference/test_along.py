"""Where points lie along a line. Kind of truth: shapely, which looks at every segment."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from reachrank.along import TOGETHER, locate_along_m


@pytest.mark.parametrize("vertices", [2, 3, TOGETHER + 1, TOGETHER + 2, 5 * TOGETHER, 5003])
def test_points_lie_where_shapely_says(vertices):
    rng = np.random.default_rng(vertices)
    # a walk crosses itself again and again
    line = shapely.LineString(np.cumsum(rng.normal(size=(vertices, 2)), axis=0))
    points = shapely.points(rng.normal(scale=20.0, size=(200, 2)))
    np.testing.assert_allclose(
        locate_along_m(line, points), shapely.line_locate_point(line, points), atol=1e-6
    )


def test_the_first_of_places_as_near_counts():
    there = np.column_stack([np.arange(1000.0), np.zeros(1000)])
    line = shapely.LineString(np.concatenate([there, there[::-1]]))
    points = shapely.points([[256.0, 3.0], [700.5, 0.0]])
    np.testing.assert_allclose(locate_along_m(line, points), [256.0, 700.5])
