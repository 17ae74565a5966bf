"""Streams traced on ground whose answer is known: planes, valleys, dams, hollows."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pyflwdir
import pytest
import shapely
from affine import Affine
from pyflwdir.dem import fill_depressions
from scipy.ndimage import gaussian_filter

from reachrank.trace import trace_grid
from reachrank.trace.depressions import COLUMN_STEP, ROW_STEP, breach, close_holes
from reachrank.trace.directions import NO_DATA, flood, flow_directions, steepest
from reachrank.trace.links import accumulate, smooth_line

CELL = 10.0
NORTH = 1000.0
GRID = Affine(CELL, 0, 0, 0, -CELL, NORTH)


def middles(rows=100, columns=101):
    row, column = np.mgrid[0:rows, 0:columns]
    return CELL * (column + 0.5), NORTH - CELL * (row + 0.5)


def valley():
    """Return a floor along x = 505 that falls south by 2 %, and planes that fall to it by 20 %."""
    x, y = middles()
    return (0.02 * y + 0.2 * np.abs(x - 505.0)).astype("float32")


def cells_above(z):
    return accumulate(flow_directions(z, CELL, CELL), z, 1e9).cells_above.reshape(z.shape)


def test_on_a_plane_each_cell_drains_its_own_column():
    _, y = middles(50, 40)
    z = (0.01 * y).astype("float32")
    expected = np.repeat(np.arange(1, 51)[:, None], 40, axis=1)
    np.testing.assert_array_equal(cells_above(z), expected)


def test_a_valley_gathers_what_its_planes_shed():
    # a plane with slopes 0.2 across and 0.02 along: the steepest of eight ways is straight across
    # (0.2) against the diagonal (0.22 / sqrt 2 = 0.156), so row r of the floor gathers r + 1 rows
    above = cells_above(valley())
    np.testing.assert_array_equal(above[:, 50], 101 * np.arange(1, 101))


def test_the_valley_is_drawn_down_its_floor_with_its_area():
    # 0.5 km² is 5000 cells: 49.5 rows of 101 cells
    lines = trace_grid(valley(), GRID, None, 0.5)
    xy = shapely.get_coordinates(lines.geometry.iloc[0])
    assert len(lines) == 1
    np.testing.assert_allclose(xy[:, 0], 505.0)
    assert xy[0, 1] == pytest.approx(NORTH - 49.5 * CELL)
    assert xy[-1, 1] == pytest.approx(0.5 * CELL)
    assert lines["drainage_area_km2"].item() == pytest.approx(100 * 101 * 1e-4)
    assert lines["stream_order"].item() == 1


def test_units_of_area_follow_the_cell_when_it_is_not_square():
    oblong = Affine(20.0, 0, 0, 0, -10.0, NORTH)
    lines = trace_grid(valley(), oblong, None, 0.5)
    assert lines["drainage_area_km2"].item() == pytest.approx(100 * 101 * 20 * 10 / 1e6)


def test_a_road_fill_is_cut_where_the_channel_meets_it():
    # 4 m of fill over 3 rows, with a dip 1 m lower 30 cells beside the channel: water that only
    # spilled over would leave the channel for the dip
    z = valley()
    crest = z[60:63].min() + 4.0
    z[60:63] = np.maximum(z[60:63], crest)
    z[60:63, 20] = crest - 1.0
    lines = trace_grid(z, GRID, None, 0.5)
    assert len(lines) == 1
    assert np.abs(shapely.get_coordinates(lines.geometry.iloc[0])[:, 0] - 505.0).max() < CELL


def test_a_pond_without_data_does_not_end_the_stream():
    z = valley()
    z[55:62, 47:54] = np.nan
    lines = trace_grid(z, GRID, None, 0.3)
    longest = lines.geometry.iloc[0]
    assert lines["drainage_area_km2"].iloc[0] == pytest.approx(1.01)
    assert longest.bounds[1] == pytest.approx(0.5 * CELL)


def test_open_sides_without_data_stay_open():
    z = valley()
    z[80:] = np.nan
    closed = close_holes(z)
    assert np.isnan(closed[80:]).all()
    z[20:25, 20:25] = np.nan
    assert np.isfinite(close_holes(z)[20:25, 20:25]).all()


def test_water_leaves_where_the_ground_falls_outwards_instead_of_along_the_border():
    # a plane that falls west and a little south: every border cell in the west is a way out
    x, y = middles(60, 60)
    z = (0.05 * x + 0.01 * y).astype("float32")
    code = flow_directions(z, CELL, CELL)
    assert (code[:, 0] == 0).all()


def test_a_catchment_inside_the_grid_is_whole_and_one_that_reaches_out_is_cut():
    x, y = middles(120, 121)
    away = np.hypot(x - 605.0, y - 400.0)
    arena = 0.05 * away
    arena = np.where(away > 350.0, 35.0 - 0.05 * away, arena)  # a rim, and falling outside it
    gate = (np.abs(x - 605.0) < 5.0) & (y < 400.0)
    arena = np.where(gate, -0.002 * (400.0 - y), arena).astype("float32")
    inner = trace_grid(arena, GRID, None, 0.2)
    assert not inner["is_area_cut"].iloc[0]
    assert inner["drainage_area_km2"].iloc[0] == pytest.approx(np.pi * 0.35**2, rel=0.1)
    assert trace_grid(valley()[30:], GRID, None, 0.2)["is_area_cut"].iloc[0]


@pytest.mark.parametrize("seed", range(5))
def test_every_cell_reaches_the_border(seed):
    rng = np.random.default_rng(seed)
    z = np.round(rng.normal(0, 1, (40, 50)), seed % 3).astype("float32")  # flats too
    z[rng.random(z.shape) < 0.05] = np.nan
    z[:, :3][rng.random((40, 3)) < 0.4] = np.nan
    code = flow_directions(z, CELL, CELL)
    grid = pyflwdir.from_array(code, ftype="d8")
    assert grid.isvalid
    assert len(grid.idxs_seq) == (code != NO_DATA).sum()  # a circle would be left out
    closed = np.pad(close_holes(z), 1, constant_values=np.nan)
    for row, column in zip(*np.unravel_index(grid.idxs_pit, code.shape), strict=True):
        assert np.isnan(closed[row : row + 3, column : column + 3]).any()


@pytest.mark.parametrize("seed", range(6))
def test_a_pit_is_opened_by_the_way_of_least_cut(seed):
    # judged by networkx: Dijkstra over the same cost, cut depth and a millimetre a metre
    rng = np.random.default_rng(seed)
    z = (5.0 + rng.random((11, 11))).astype("float32")
    z[5, 5] = 1.0
    outlet = (int(rng.integers(1, 10)), int(rng.choice([1, 9])))
    z[outlet] = 0.5
    graph = nx.DiGraph()
    for (r, c), _ in np.ndenumerate(z):
        for i in range(max(r - 1, 0), min(r + 2, 11)):
            for j in range(max(c - 1, 0), min(c + 2, 11)):
                step = CELL * np.hypot(i - r, j - c)
                if step > 0:
                    graph.add_edge((r, c), (i, j), w=(max(z[i, j] - 1.0, 0.0) + 0.001) * step)
    best = nx.dijkstra_path(graph, (5, 5), outlet, weight="w")
    opened = z.copy()
    opened[0], opened[-1], opened[:, 0], opened[:, -1] = 9, 9, 9, 9  # the border is no way out
    same = opened.copy()
    breach(opened, CELL, CELL, 10_000)
    # the other pits lie at 5 and more, and are not cut any lower
    changed = {tuple(cell) for cell in np.argwhere((opened < 1.0) & (same > 1.0)).tolist()}
    assert changed == set(best[1:-1])
    falls = np.diff([opened[cell] for cell in best])
    assert (falls < 0).all()


def test_kernels_agree_with_their_python_source():
    z = valley()[::5, ::5].copy()
    z[10, 5] -= 3.0
    compiled, plain = z.copy(), z.copy()
    assert breach(compiled, CELL, CELL, 500) == breach.py_func(plain, CELL, CELL, 500)
    np.testing.assert_array_equal(compiled, plain)
    back = flood(compiled)
    np.testing.assert_array_equal(back, flood.py_func(plain))
    np.testing.assert_array_equal(
        steepest(compiled, back, CELL, CELL), steepest.py_func(plain, back, CELL, CELL)
    )


@pytest.mark.parametrize(("spread", "noise_m"), [(3, 0.0), (3, 0.5), (8, 0.02)])
def test_the_flood_comes_to_each_cell_over_the_lowest_rim(spread: int, noise_m: float) -> None:
    """Judge: the levels to which pyflwdir fills the same depressions (Wang and Liu 2006)."""
    rng = np.random.default_rng(spread)
    z = (
        gaussian_filter(rng.normal(0, 1, (80, 80)), spread) * 50
        + rng.normal(0, 1, (80, 80)) * noise_m
    )
    z = z.astype(np.float32)
    z[20:24, 30:33] = np.nan
    filled, _ = fill_depressions(np.where(np.isnan(z), np.float32(-9999), z), nodata=-9999.0)
    back = flood(z.copy())
    highest = np.full(z.shape, np.nan)
    for row, column in np.argwhere(np.isfinite(z)).tolist():
        i, j, way = row, column, [z[row, column]]
        while back[i, j] >= 0:
            i, j = i + ROW_STEP[back[i, j]], j + COLUMN_STEP[back[i, j]]
            way.append(z[i, j])
            assert len(way) < z.size
        highest[row, column] = max(way)
    known = np.isfinite(z)
    assert (filled[known] > z[known]).sum() > 200  # there are depressions to come out of
    np.testing.assert_allclose(highest[known], filled[known], atol=1e-6)


def test_on_ground_without_pits_directions_are_the_steepest_of_eight():
    # from the definition, cell by cell (O'Callaghan and Mark 1984)
    rng = np.random.default_rng(3)
    x, y = middles(30, 30)
    z = (0.1 * x + 0.07 * y + rng.normal(0, 0.05, x.shape)).astype("float32")
    code = flow_directions(z, CELL, CELL)
    ways = {1: (0, 1), 2: (1, 1), 4: (1, 0), 8: (1, -1), 16: (0, -1), 32: (-1, -1), 64: (-1, 0)}
    ways[128] = (-1, 1)
    for row in range(1, 29):
        for column in range(1, 29):
            slope = {
                key: (z[row, column] - z[row + i, column + j]) / (CELL * np.hypot(i, j))
                for key, (i, j) in ways.items()
            }
            assert code[row, column] == max(slope, key=slope.get)


@pytest.mark.parametrize("radius_cells", [10.0, 30.0])
def test_smoothing_moves_an_arc_inwards_by_the_closed_form(radius_cells):
    # a Gaussian of spread s along a circle of radius R gives radius R exp(-s²/2R²)
    spread, cell = 1.5, 2.0
    angle = np.linspace(0.0, np.pi, 400)
    radius = radius_cells * cell
    arc = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    smooth = smooth_line(arc, cell, spread)
    middle = smooth[np.argmax(smooth[:, 1])]
    expected = radius * np.exp(-((spread / radius_cells) ** 2) / 2)
    # the line is thinned to 0.05 cell afterwards
    assert np.hypot(*middle) == pytest.approx(expected, abs=0.05 * cell)
    np.testing.assert_allclose(smooth[[0, -1]], arc[[0, -1]])


def test_smoothing_takes_the_stairs_off_and_stays_within_a_cell():
    steps = np.cumsum([[0, 0], *([[1, 0], [1, 0], [1, 1]] * 30)], axis=0).astype(float)
    smooth = smooth_line(steps, 1.0, 1.5)
    straight = shapely.LineString([steps[0], steps[-1]])
    assert shapely.LineString(smooth).length < 1.01 * straight.length
    assert shapely.LineString(steps).length > 1.06 * straight.length
    assert shapely.hausdorff_distance(shapely.LineString(smooth), shapely.LineString(steps)) < 1.0


def test_the_elevation_given_is_not_changed():
    z = valley()
    before = z.copy()
    trace_grid(z, GRID, None, 0.5)
    np.testing.assert_array_equal(z, before)
