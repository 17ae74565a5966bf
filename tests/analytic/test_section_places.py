"""Where sections go. Kind of truth: stated geometry."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from corridor_runs import corridor, measure

from reachrank.sections.place import section_points, section_spacing_m, without_crossings


@pytest.mark.parametrize(("wanted", "width", "cell", "spacing"), [
    (5.0, 12.0, 1.0, 5.0), (5.0, 3.2, 1.0, 3.0), (5.0, 1.1, 1.0, 2.0), (5.0, np.nan, 3.0, 6.0),
])  # fmt: skip
def test_spacing(wanted: float, width: float, cell: float, spacing: float) -> None:
    # the smaller of the wanted one and one toe width, never under two cells
    assert section_spacing_m(wanted, width, cell) == spacing


@pytest.mark.parametrize("count", [3, 51, 101, 1001])
def test_the_same_points_from_either_end(count: int) -> None:
    points = section_points(float(count - 1), count, 5.0)
    np.testing.assert_array_equal(points, (count - 1 - points)[::-1])
    assert len(points) == max(1, round((count - 1) / 5.0))


def test_of_two_that_cross_the_better_one_stays() -> None:
    lines = shapely.linestrings(
        [[[0, 0], [0, 10]], [[-2, 8], [2, 9]], [[5, 0], [5, 10]], [[4, 5], [9, 5]]]
    )
    keep = without_crossings(lines, np.array([0.5, 0.9, 0.7, 0.7]))
    assert keep.tolist() == [False, True, True, False]


@pytest.mark.parametrize("name", ["sine_w3_tight", "skewed_w6"])
def test_sections_of_one_stream_never_cross(name: str) -> None:
    lines = measure(corridor(name))["sections"].geometry.to_numpy()
    first, second = shapely.STRtree(lines).query(lines, predicate="crosses")
    assert (first == second).all()
    assert len(lines) > 50
