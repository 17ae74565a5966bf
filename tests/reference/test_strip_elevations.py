"""The straightened strip against scipy's bilinear sampling, and the way down it against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import map_coordinates
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from reachrank.channel.path import cheapest_path
from reachrank.channel.strip import cut_strip
from reachrank.surface import TILE, Surface

CELL_M = 0.5
SIDE = 3 * TILE + 20


def ground() -> np.ndarray:
    rng = np.random.default_rng(5)
    z = 1500.0 + rng.normal(0.0, 2.0, (SIDE, SIDE)).astype(np.float32)
    z[90:95, 60:70] = np.nan  # a gap over a border of tiles
    return z


def surface(z: np.ndarray) -> Surface:
    """Cells of half a metre, the first one's corner at x 100, y 900, rows going south."""
    inverse = np.array([1 / CELL_M, 0.0, -100.0 / CELL_M, 0.0, -1 / CELL_M, 900.0 / CELL_M])
    return Surface.from_array(z, inverse, CELL_M)


def scipys(z: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    at = np.array([(900.0 - y) / CELL_M - 0.5, (x - 100.0) / CELL_M - 0.5])
    return map_coordinates(z.astype(np.float64), at, order=1, mode="constant", cval=np.nan)


@pytest.mark.parametrize("points", [1, 16, 37])
def test_a_strip_is_scipys_bilinear_sampling_over_all_borders_of_tiles(points):
    z = ground()
    turn = np.linspace(0.1, 5.0, points)
    xy = np.column_stack([152.0 + 30.0 * np.cos(turn), 849.0 + 30.0 * np.sin(turn)])
    normal = np.column_stack([np.cos(turn), np.sin(turn)])
    offsets = np.arange(-60.0, 60.1, 0.25)
    room_left, room_right = np.full(points, 45.0), np.linspace(5.0, 55.0, points)
    strip = cut_strip(surface(z), xy, normal, offsets, room_left, room_right)
    expected = scipys(z, xy[:, :1] + offsets * normal[:, :1], xy[:, 1:] + offsets * normal[:, 1:])
    has_room = (offsets <= room_left[:, None]) & (-offsets <= room_right[:, None])
    expected[~has_room] = np.nan
    assert np.isnan(expected[has_room]).any()
    np.testing.assert_allclose(strip, expected, rtol=0, atol=1e-9)


def test_points_are_scipys_bilinear_sampling_and_nowhere_is_no_elevation():
    z = ground()
    rng = np.random.default_rng(6)
    x, y = rng.uniform(90.0, 220.0, 3000), rng.uniform(780.0, 910.0, 3000)
    np.testing.assert_allclose(surface(z).sample(x, y), scipys(z, x, y), rtol=0, atol=1e-9)
    nowhere = [np.nan, np.inf, -1e300, 1e12]
    assert np.isnan(surface(z).sample(nowhere, [850.0] * 4)).all()
    assert np.isnan(surface(z).sample([150.0] * 4, nowhere)).all()


def test_a_point_that_is_nowhere_leaves_the_rest_of_the_strip_alone():
    z = ground()
    xy = np.array([[152.0, 849.0], [np.nan, 849.0], [1e300, 849.0], [152.0, 849.0]])
    normal = np.tile([0.6, 0.8], (4, 1))
    offsets, room = np.arange(-9.0, 10.0), np.full(4, 20.0)
    strip = cut_strip(surface(z), xy, normal, offsets, room, room)
    assert np.isnan(strip[1:3]).all()
    assert np.isfinite(strip[0]).all()
    np.testing.assert_array_equal(strip[0], strip[3])


def test_where_a_surface_begins_changes_no_last_digit():
    z = ground()
    whole = surface(z)
    cut = z[TILE:, TILE:]  # without the first row and column of tiles
    moved = whole.inverse.copy()
    moved[[2, 5]] -= TILE
    part = Surface.from_array(cut, moved, CELL_M)
    rng = np.random.default_rng(7)
    xy = np.column_stack([rng.uniform(150.0, 180.0, 50), rng.uniform(820.0, 850.0, 50)])
    angle = rng.uniform(0.0, 6.3, 50)
    normal = np.column_stack([np.cos(angle), np.sin(angle)])
    offsets, room = np.linspace(-15.0, 15.0, 61), np.full(50, 99.0)
    one, other = (cut_strip(own, xy, normal, offsets, room, room) for own in (whole, part))
    np.testing.assert_array_equal(one, other)


def cheapest_cost(cost: np.ndarray, shift_cost: float, most_shift: int) -> float:
    """Least cost of a way from the first row to the last, by scipy's Dijkstra."""
    rows, columns = cost.shape
    begin, end = rows * columns, rows * columns + 1
    edges = [(begin, j, cost[0, j]) for j in range(columns)]
    edges += [((rows - 1) * columns + j, end, 1e-300) for j in range(columns)]
    for i in range(1, rows):
        for j in range(columns):
            for k in range(max(0, j - most_shift), min(columns, j + most_shift + 1)):
                step = cost[i, k] + shift_cost * (k - j) ** 2
                edges.append(((i - 1) * columns + j, i * columns + k, step))
    a, b, weight = (np.array(part) for part in zip(*edges, strict=True))
    is_open = np.isfinite(weight)
    graph = coo_array((weight[is_open], (a[is_open], b[is_open])), shape=(end + 1, end + 1))
    return float(dijkstra(graph.tocsr(), indices=begin)[end])


@pytest.mark.parametrize("seed", range(8))
def test_the_way_down_a_strip_costs_what_scipys_shortest_way_costs(seed):
    rng = np.random.default_rng(seed)
    cost = rng.uniform(0.1, 1.0, (int(rng.integers(2, 40)), int(rng.integers(5, 25))))
    cost[rng.random(cost.shape) < 0.1] = np.inf
    path = cheapest_path(cost, 0.05, 3)
    assert np.abs(np.diff(path)).max() <= 3
    own = cost[np.arange(len(cost)), path].sum() + 0.05 * (np.diff(path) ** 2).sum()
    assert own == pytest.approx(cheapest_cost(cost, 0.05, 3), rel=1e-12)
