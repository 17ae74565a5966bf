"""The same streams give the same edges, however the layer was written down."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from network_inputs import context, dem_of, streams_of

from reachrank.network import build_edges, stream_paths

# steep enough that the ground, not the drawing, decides every direction
DEM = dem_of(lambda x, y: 80.0 - 0.02 * x + 0.001 * np.abs(y - 500.0), cell_m=10.0)
COLUMNS = [
    "edge_id", "stream_id", "sequence", "catchment", "from_node", "to_node", "stream_name",
    "stream_order", "drainage_area_source", "is_area_cut", "joins_stream_id",
]  # fmt: skip


def tree(seed: int) -> list[np.ndarray]:
    """Draw a random tree of winding lines that lead to (990, 500), and an island at times."""
    rng = np.random.default_rng(seed)
    places = [np.array([950.0, 500.0])]
    lines = [np.array([[950.0, 500.0], [990.0, 500.0]])]
    for _ in range(int(rng.integers(1, 9))):
        lower = places[int(rng.integers(0, len(places)))]
        upper = lower + np.array([-rng.uniform(100, 250), rng.uniform(-120, 120)])
        if not (upper[0] > 20.0 and 20.0 < upper[1] < 980.0):
            continue
        share = np.linspace(0, 1, 6)[:, None]
        line = upper + share * (lower - upper)
        line[1:-1] += rng.normal(0, 6, (4, 2))
        lines.append(line)
        places.append(upper)
    if seed % 3 == 0 and len(lines) > 1:
        lines.append(np.array([lines[1][0] - [150.0, 5.0], lines[1][0]]))
        other = lines[1].copy()
        other[1:-1] += [0.0, 40.0]
        lines.append(other)
    return lines


def build(lines, names):
    return build_edges(streams_of(lines, names), context(DEM))


def assert_same(one, other, tolerance_m):
    assert one[COLUMNS].to_dict("list") == other[COLUMNS].to_dict("list")
    # a line moved by a nanometre may cross the corner of another cell of 10 m, and the cells that
    # drain through it, a column of the slope at most, go to another edge
    few_cells_km2 = 0.0 if tolerance_m == 0 else 100 * 1e-4
    np.testing.assert_allclose(
        one["drainage_area_km2"], other["drainage_area_km2"], rtol=0, atol=few_cells_km2
    )
    for a, b in zip(one.geometry, other.geometry, strict=True):
        if tolerance_m == 0:
            assert a.wkb == b.wkb
        else:
            assert shapely.hausdorff_distance(a, b) <= tolerance_m


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
def test_row_order_and_drawing_direction_change_nothing_to_the_bit(seed, random):
    lines = tree(seed)
    names = ["Fern Creek" if row % 3 == 0 else None for row in range(len(lines))]
    order = list(range(len(lines)))
    random.shuffle(order)
    changed = [lines[row][::-1] if random.random() < 0.5 else lines[row] for row in order]
    assert_same(build(lines, names), build(changed, [names[row] for row in order]), 0.0)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
def test_cutting_lines_into_pieces_changes_nothing(seed, random):
    lines = tree(seed)
    names = ["Fern Creek" if row % 3 == 0 else None for row in range(len(lines))]
    pieces, piece_names = [], []
    for line, name in zip(lines, names, strict=True):
        shape = shapely.LineString(line)
        at = random.uniform(0.05, 0.95)  # anywhere, so pieces may be shorter than the tolerance
        middle = shape.interpolate(at, normalized=True)
        along = shape.project(middle)
        xy, steps = line, np.hypot(*np.diff(line, axis=0).T)
        before = int(np.searchsorted(np.cumsum(steps), along)) + 1
        pieces.append(np.vstack([xy[:before], [middle.x, middle.y]]))
        pieces.append(np.vstack([[middle.x, middle.y], xy[before:]]))
        piece_names += [name, name]
    # the place between two vertices is rounded to a double: a nanometre at 1 km
    assert_same(build(lines, names), build(pieces, piece_names), 1e-6)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_streams_cover_every_edge_once_from_the_mouth_up(seed):
    edges = build(tree(seed), None)
    paths = stream_paths(edges)
    assert sorted(e for p in paths for e in p.edge_ids) == sorted(edges["edge_id"])
    by_id = edges.set_index("edge_id")
    for path in paths:
        assert by_id.loc[list(path.edge_ids), "sequence"].tolist() == list(
            range(len(path.edge_ids))[::-1]
        )
        assert path.length_m == np.float64(
            np.hypot(*np.diff(path.xy, axis=0).T).sum()
        ) or np.isclose(path.length_m, shapely.LineString(path.xy).length, rtol=1e-12)
        for edge, start, stop in zip(
            path.edge_ids, path.edge_breaks_m[:-1], path.edge_breaks_m[1:], strict=True
        ):
            assert np.isclose(stop - start, by_id.geometry[edge].length)
        if path.joins_stream_id is not None:
            joined = next(p for p in paths if p.stream_id == path.joins_stream_id)
            assert path.touches[-1] in joined.touches


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_area_never_falls_downstream(seed):
    edges = build(tree(seed), None)
    for path in stream_paths(edges):
        area = edges.set_index("edge_id").loc[list(path.edge_ids), "drainage_area_km2"]
        assert (area.diff().dropna() >= 0).all()
