"""Where lines meet, part, overlap and cross: pictures small enough to count by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from network_inputs import codes, context, streams_of

from reachrank.network import build_edges
from reachrank.network.connect import connect

TOLERANCE = 3.0  # the default of the stage where cells are 1 m


def edges_of(*lines, names=None):
    ctx = context()
    return build_edges(streams_of(lines, names), ctx), codes(ctx)


def lengths(edges):
    return sorted(round(length, 6) for length in edges.length)


def test_lines_meeting_end_to_end_become_one_edge():
    edges, found = edges_of([(0, 0), (100, 0)], [(100, 0), (250, 0)])
    assert lengths(edges) == [250.0]
    assert "snapped" not in found


def test_a_gap_within_the_tolerance_is_closed_at_its_middle():
    edges, found = edges_of([(0, 0), (100, 0)], [(102, 0), (200, 0)])
    assert lengths(edges) == [200.0]
    assert [101.0, 0.0] in shapely.get_coordinates(edges.geometry.iloc[0]).tolist()
    assert found.count("snapped") == 2


def test_a_gap_wider_than_the_tolerance_stays_open():
    edges, _ = edges_of([(0, 0), (100, 0)], [(103.1, 0), (200, 0)])
    assert len(edges) == 2
    assert edges["catchment"].nunique() == 2


def test_three_ends_make_a_junction():
    edges, _ = edges_of([(0, 100), (0, 0)], [(0, 0), (100, 0)], [(0, 0), (-100, 0)])
    assert len(edges) == 3
    assert edges["catchment"].nunique() == 1


@pytest.mark.parametrize("gap", [0.0, 1.0, 2.9])
def test_an_end_near_the_side_of_a_line_cuts_it(gap):
    edges, _ = edges_of([(0, 0), (200, 0)], [(80, 100), (80, gap)])
    assert lengths(edges) == [80.0, 100.0, 120.0]


def test_an_end_that_overshoots_leaves_no_stub():
    edges, _ = edges_of([(0, 0), (200, 0)], [(80, 100), (80, 2), (80, -1), (80, -2)])
    assert lengths(edges) == [80.0, 100.0, 120.0]


def test_an_end_beyond_the_tolerance_does_not_cut():
    edges, _ = edges_of([(0, 0), (200, 0)], [(80, 100), (80, 3.1)])
    assert len(edges) == 2


def test_a_shared_vertex_is_a_junction():
    edges, found = edges_of([(0, 0), (100, 0), (200, 0)], [(100, 100), (100, 0), (100, -50)])
    assert lengths(edges) == [50.0, 100.0, 100.0, 100.0]
    assert "crossing" not in found


def test_lines_that_cross_without_a_vertex_stay_whole_and_are_reported():
    edges, found = edges_of([(0, 0), (200, 0)], [(100, 100), (100, -50)])
    assert lengths(edges) == [150.0, 200.0]
    assert found.count("crossing") == 1


def test_a_copy_counts_once_and_is_reported():
    line = [(0, 0), (60, 30), (200, 0)]
    edges, found = edges_of(line, line[::-1])
    assert len(edges) == 1
    assert found.count("duplicate") == 1


def test_a_partial_copy_with_other_vertices_counts_once():
    edges, found = edges_of([(0, 0), (100, 0), (200, 0)], [(60, 0.2), (110, 0.1), (160, 0.2)])
    assert lengths(edges) == [pytest.approx(200.0, abs=0.1)]
    assert "duplicate" in found


def test_overlapping_ends_count_once():
    edges, _ = edges_of([(0, 0), (100, 0)], [(50, 0), (150, 0)])
    assert edges.length.sum() == pytest.approx(150.0)
    assert len(edges) == 1


def test_two_ditches_side_by_side_are_two():
    # 10 m apart, joined at both ends: an island, not a copy
    edges, _ = edges_of(
        [(0, 0), (20, 5), (180, 5), (200, 0)], [(0, 0), (20, -5), (180, -5), (200, 0)],
        [(200, 0), (300, 0)], [(-100, 0), (0, 0)],
    )  # fmt: skip
    assert len(edges) == 4


def test_a_stub_between_junctions_is_drawn_together():
    edges, found = edges_of(
        [(0, 0), (100, 0)], [(100, 0), (102, 0)], [(102, 0), (200, 0)],
        [(100, 0), (100, 90)], [(102, 0), (102, -90)],
    )  # fmt: skip
    assert len(edges) == 4
    assert found.count("too_short") == 1
    assert len({*edges["from_node"], *edges["to_node"]}) == 5


def test_a_line_shorter_than_the_tolerance_is_left_out_and_reported():
    edges, found = edges_of([(0, 0), (100, 0)], [(500, 500), (501, 500)])
    assert len(edges) == 1
    assert found.count("too_short") == 1


@pytest.mark.parametrize("gap", [0.0, 2.0])
def test_a_line_that_ends_where_it_starts_is_cut_half_way(gap):
    ring = [(0, 0), (100, 0), (100, 100), (0, 100), (0, gap)]
    edges, found = edges_of(ring)
    assert len(edges) == 2
    assert edges.length.sum() == pytest.approx(400.0, abs=gap)
    assert found.count("loop") == 1
    assert (edges["from_node"] != edges["to_node"]).all()


def test_edges_meet_exactly_at_their_nodes():
    edges, _ = edges_of([(0, 0), (200, 0)], [(80, 100), (80.3, 1.7)], [(33, -70), (33.3, -2.2)])
    places = {}
    for line, upper, lower in zip(
        edges.geometry, edges["from_node"], edges["to_node"], strict=True
    ):
        xy = shapely.get_coordinates(line)
        places.setdefault(upper, set()).add(tuple(xy[0]))
        places.setdefault(lower, set()).add(tuple(xy[-1]))
    assert all(len(found) == 1 for found in places.values())
    assert len(edges) == 5


def test_no_lines_give_no_edges():
    edges, found = edges_of()
    assert len(edges) == 0
    assert found == []


def test_the_name_is_that_of_the_greatest_length():
    edges, _ = edges_of(
        [(0, 0), (100, 0)], [(100, 0), (160, 0)], [(160, 0), (220, 0)],
        names=["Long Piece", "Alder Run", "Alder Run"],
    )  # fmt: skip
    assert edges["stream_name"].tolist() == ["Alder Run"]


def test_every_metre_of_input_is_accounted_for():
    rng = np.random.default_rng(4)
    lines = [
        np.cumsum(rng.normal(0, 20, (8, 2)), axis=0) + rng.uniform(0, 300, 2) for _ in range(30)
    ]
    whole = connect(lines, TOLERANCE)
    given = sum(float(np.hypot(*np.diff(xy, axis=0).T).sum()) for xy in lines)
    kept = sum(line.length_m for line in whole.lines)
    lost = sum(whole.copied_m.values()) + sum(whole.collapsed_m.values())
    moved = len(whole.snapped) * 2 * TOLERANCE  # an end moved takes at most so much with it
    assert kept + lost == pytest.approx(given, abs=moved + 1e-6)
