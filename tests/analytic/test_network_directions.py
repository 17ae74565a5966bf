"""Which way the water goes: by the ground, by the neighbours, by the drawing, in this order."""

from __future__ import annotations

import itertools

import networkx as nx
import numpy as np
import pytest
import shapely
from network_inputs import UTM, codes, context, dem_of, streams_of

from reachrank.network import build_edges
from reachrank.network.braids import flood_directions, level_nodes
from reachrank.network.directions import score_from_fall
from reachrank.network.fall import trend, turning_place
from reachrank.network.tree_directions import JunctionCosts, direct_tree

COSTS = JunctionCosts(fork=3.9, no_way_out=8.0, no_way_in=8.0)


def falls_east(x, y):
    return 50.0 - 0.01 * x + 0.02 * np.abs(y - 500.0)


def ends(edges, row=0):
    xy = shapely.get_coordinates(edges.geometry.iloc[row])
    return xy[0].tolist(), xy[-1].tolist()


def test_a_line_drawn_uphill_is_turned():
    ctx = context(dem_of(falls_east))
    edges = build_edges(streams_of([[(900, 500), (500, 510), (100, 500)]]), ctx)
    assert ends(edges) == ([100.0, 500.0], [900.0, 500.0])
    assert edges["is_turned"].tolist() == [True]
    assert codes(ctx).count("turned") == 1


def test_a_line_drawn_downhill_is_left():
    ctx = context(dem_of(falls_east))
    edges = build_edges(streams_of([[(100, 500), (500, 510), (900, 500)]]), ctx)
    assert edges["is_turned"].tolist() == [False]
    assert "turned" not in codes(ctx)
    assert "direction_doubtful" not in codes(ctx)


def test_without_elevation_the_drawing_stands_and_is_doubted():
    ctx = context()
    edges = build_edges(streams_of([[(900, 500), (100, 500)]]), ctx)
    assert ends(edges) == ([900.0, 500.0], [100.0, 500.0])
    assert codes(ctx).count("direction_doubtful") == 1


def test_a_road_fill_across_the_lower_end_does_not_turn_the_line():
    # 6 m of fill over the last 40 m of an 800 m line that falls 8 m: the end cells rise
    def ground(x, y):
        return falls_east(x, y) + np.where(x > 860.0, 6.0, 0.0)

    edges = build_edges(streams_of([[(100, 500), (900, 500)]]), context(dem_of(ground)))
    assert edges["is_turned"].tolist() == [False]


def test_a_line_beside_the_channel_follows_the_channel():
    # a channel 3 m deep and 8 m wide that falls; the line lies 6 m beside it on ground that rises
    def ground(x, y):
        bed = 20.0 - 0.004 * x
        return np.where(np.abs(y - 500.0) < 4.0, bed, 23.0 + 0.002 * x)

    ctx = context(dem_of(ground, cell_m=2.0))
    edges = build_edges(streams_of([[(100, 506), (900, 506)]]), ctx)
    assert edges["is_turned"].tolist() == [False]


def test_level_ground_is_decided_by_the_neighbours():
    # two arms fall to a level reach: both arms flow into it, so it must lead on, however drawn
    def ground(x, y):
        return 10.0 + 0.02 * np.maximum(400.0 - x, 0.0) + 0.0 * y

    lines = [[(100, 700), (400, 500)], [(100, 300), (400, 500)], [(900, 500), (400, 500)]]
    ctx = context(dem_of(ground))
    edges = build_edges(streams_of(lines), ctx)
    level = edges[edges["stream_order"] == 2]
    assert ends(level) == ([400.0, 500.0], [900.0, 500.0])
    assert "direction_doubtful" not in codes(ctx)


def test_two_streams_meeting_at_the_edge_of_the_data_are_parted():
    # a V of ground: both lines fall to x = 500 where their river was left out of the layer
    def ground(x, y):
        return 10.0 + 0.02 * np.abs(x - 500.0) + 0.0 * y

    ctx = context(dem_of(ground))
    edges = build_edges(
        streams_of([[(100, 500), (500, 500)], [(900, 500), (500, 500)]], ["Ash Run", "Elm Run"]),
        ctx,
    )
    assert len(edges) == 2
    assert {tuple(shapely.get_coordinates(g)[-1]) for g in edges.geometry} == {(500.0, 500.0)}
    assert not edges["is_turned"].any()
    assert codes(ctx).count("turning_ground") == 1


def test_three_streams_meeting_at_the_edge_of_the_data_keep_their_fall():
    ctx = context(dem_of(falls_east))
    lines = [[(100, 500), (900, 500)], [(500, 400), (900, 500)], [(500, 600), (900, 500)]]
    edges = build_edges(streams_of(lines), ctx)
    assert edges["to_node"].nunique() == 1
    assert "uphill" not in codes(ctx)


def test_a_ditch_across_a_divide_flows_both_ways():
    def ground(x, y):
        return 30.0 - 0.02 * np.abs(x - 500.0) + 0.0 * y

    line = [(x, 500) for x in range(100, 901, 10)]
    edges = build_edges(streams_of([line]), context(dem_of(ground)))
    assert len(edges) == 2
    tops = {shapely.get_coordinates(g)[0][0] for g in edges.geometry}
    assert len(tops) == 1
    # known to a station step: 800 m / 48 stations, and the vertices are 10 m apart
    assert tops.pop() == pytest.approx(500.0, abs=800 / 48 + 10)


def test_an_embankment_is_no_divide():
    def ground(x, y):
        return falls_east(x, y) + np.where(np.abs(x - 500.0) < 20.0, 5.0, 0.0)

    ctx = context(dem_of(ground))
    edges = build_edges(streams_of([[(x, 500) for x in range(100, 901, 10)]]), ctx)
    assert len(edges) == 1
    assert "turning_ground" not in codes(ctx)


def test_an_island_is_crossed_without_circles_and_keeps_its_order():
    lines = [
        [(100, 500), (300, 500)],
        [(300, 500), (400, 560), (600, 560), (700, 500)],
        [(700, 500), (600, 440), (400, 440), (300, 500)],  # drawn upstream
        [(700, 500), (900, 500)],
    ]
    ctx = context(dem_of(lambda x, y: 50.0 - 0.01 * x + 0.0 * y))
    edges = build_edges(streams_of(lines), ctx)
    graph = nx.MultiDiGraph(list(zip(edges["from_node"], edges["to_node"], strict=True)))
    assert nx.is_directed_acyclic_graph(graph)
    # Strahler order counts sources, and there is one source
    assert edges["stream_order"].tolist() == [1, 1, 1, 1]
    assert edges["stream_id"].nunique() == 2
    assert edges["is_turned"].sum() == 1


@pytest.mark.parametrize("seed", range(8))
def test_braids_of_any_kind_drain_from_every_node(seed):
    # judged by networkx: no circle, and from every node a way to a mouth
    rng = np.random.default_rng(seed)
    grid = nx.grid_2d_graph(5, 5)
    kept = [edge for edge in grid.edges if rng.random() < 0.75]
    lines = [np.array([a, b]) * 180.0 + 100.0 for a, b in kept]
    lines = [line[::-1] if rng.random() < 0.5 else line for line in lines]
    slope = rng.normal(0, 0.01, 2) * (seed % 3 > 0)  # a level plain too
    dem = dem_of(lambda x, y: 100.0 + slope[0] * x + slope[1] * y + rng.normal(0, 0.1, x.shape))
    edges = build_edges(streams_of(lines), context(dem))
    graph = nx.MultiDiGraph(list(zip(edges["from_node"], edges["to_node"], strict=True)))
    assert nx.is_directed_acyclic_graph(graph)
    inner = [n for n in graph if graph.degree(n) > 1]
    if seed % 3 > 0:  # on a slope only a node below all its neighbours is a dead end
        place = {}
        for line, upper, lower in zip(
            edges.geometry, edges["from_node"], edges["to_node"], strict=True
        ):
            xy = shapely.get_coordinates(line)
            place[upper], place[lower] = xy[0] @ slope, xy[-1] @ slope
        for node in (n for n in inner if graph.out_degree(n) == 0):
            assert all(place[node] < place[above] + 0.5 for above in graph.predecessors(node))
    assert edges.crs == UTM


@pytest.mark.parametrize("seed", range(40))
def test_tree_directions_are_the_best_of_all(seed):
    # every one of the 2^edges ways is tried
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 9))
    pairs = np.array([[rng.integers(0, node), node] for node in range(1, count)])
    turned = rng.random(count - 1) < 0.5
    pairs[turned] = pairs[turned][:, ::-1]
    score = rng.normal(0, 3, count - 1)
    is_along, margin = direct_tree(count, pairs, score, COSTS)

    def cost(ways):
        disagreement = np.where(ways, np.maximum(-score, 0), np.maximum(score, 0)).sum()
        upper = np.where(ways, pairs[:, 0], pairs[:, 1])
        out = np.bincount(upper, minlength=count)
        degree = np.bincount(pairs.ravel(), minlength=count)
        junctions = sum(COSTS.by_ways_out(d)[o] for d, o in zip(degree, out, strict=True))
        return disagreement + junctions

    every = [np.array(ways) for ways in itertools.product([False, True], repeat=count - 1)]
    costs = np.array([cost(ways) for ways in every])
    assert cost(is_along) == pytest.approx(costs.min())
    for edge in range(count - 1):
        other = min(c for w, c in zip(every, costs, strict=True) if w[edge] != is_along[edge])
        assert margin[edge] == pytest.approx(other - costs.min(), abs=1e-9)


def test_trend_ignores_up_to_29_percent_of_wild_values():
    # breakdown point of the Theil-Sen slope, 1 - 1/sqrt(2) = 29.3 % (Sen 1968)
    share = (np.arange(40) + 0.5) / 40
    low = 20.0 - 3.0 * share
    low[:11] += 50.0  # 27.5 %
    for kernel in (trend, trend.py_func):
        fall, _ = kernel(share, low, 0.15)
        assert fall == pytest.approx(3.0, abs=0.01)


def test_the_error_of_a_fall_is_that_of_least_squares_over_independent_stations():
    # var(slope) of least squares over n even stations is 12 s² / n for unit length
    rng = np.random.default_rng(0)
    share = (np.arange(48) + 0.5) / 48
    scatter = 0.4
    _, errors = zip(
        *(trend(share, rng.normal(0, scatter, 48), 0.01) for _ in range(300)), strict=True
    )
    expected = scatter * np.sqrt(12 / (48 / 4))  # four stations count as one
    assert np.median(errors) == pytest.approx(expected, rel=0.05)


def test_missing_ground_gives_no_fall():
    share = (np.arange(10) + 0.5) / 10
    low = np.full(10, np.nan)
    low[:4] = 1.0  # fewer than half
    assert np.isnan(trend(share, low, 0.15)[0])
    assert np.isnan(turning_place(share, low, 0.15))


def test_the_score_is_the_log_odds_of_a_normal_error_and_bounded():
    # one standard error is 84.13 % sure (normal distribution, any table)
    score = score_from_fall(np.array([1.0, -1.0, 1e6, np.nan]), np.array([1.0, 1, 1, 1]), 1e-9)
    assert score[0] == pytest.approx(np.log(0.84134 / 0.15866), abs=1e-3)
    assert score[1] == pytest.approx(-score[0])
    assert np.isfinite(score[2])
    assert score[3] == 0.0


def test_levels_of_a_loop_share_its_closing_error():
    # three falls of 1, 1 and -2.3 m around a triangle close with -0.3 m: each takes a third
    pairs = np.array([[0, 1], [1, 2], [2, 0]])
    level = level_nodes(3, pairs, np.array([1.0, 1.0, -2.3]), np.ones(3))
    assert level[0] - level[1] == pytest.approx(1.0 + 0.1)
    assert level[1] - level[2] == pytest.approx(1.0 + 0.1)
    assert level[2] - level[0] == pytest.approx(-2.3 + 0.1)


def test_flooding_leads_out_of_a_hollow_over_its_lowest_rim():
    # 0 outlet, 1 rim at 5, 2 rim at 9, 3 hollow at 1
    pairs = np.array([[0, 1], [0, 2], [1, 3], [2, 3]])
    along = flood_directions(4, pairs, np.array([0.0, 5.0, 9.0, 1.0]), [0])
    assert along.tolist() == [False, False, False, True]
