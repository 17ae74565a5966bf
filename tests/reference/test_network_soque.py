"""A real network against what its publisher says about it, and against networkx and PROJ.

Source of the lines and of the published values: U.S. Geological Survey, National Hydrography
Dataset Plus High Resolution (NHDPlus HR), subregion 0313, the Soque River; carried by the landlab
package as landlab/data/io/shapefile/soque.
"""

from __future__ import annotations

from types import SimpleNamespace

import networkx as nx
import numpy as np
import pytest
import shapely
from affine import Affine
from network_inputs import UTM, MemoryDem, context, soque, streams_of
from pyproj import Geod, Transformer
from scipy.spatial import cKDTree

from reachrank.network import build_edges, stream_paths

CELL_M = 15.0


def ground_of(lines) -> MemoryDem:
    """Make ground that falls along every line as published and rises 5 % away from it."""
    places, heights = [], []
    for line, top_cm, bottom_cm in zip(
        lines.geometry, lines["MaxElevSmo"], lines["MinElevSmo"], strict=True
    ):
        fine = shapely.get_coordinates(shapely.segmentize(line, CELL_M / 2))
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(fine, axis=0).T))])
        places.append(fine)
        heights.append((top_cm + (bottom_cm - top_cm) * along / along[-1]) / 100.0)
    west, south, east, north = lines.total_bounds + np.array([-300, -300, 300, 300])
    x = np.arange(west + CELL_M / 2, east, CELL_M)
    y = np.arange(north - CELL_M / 2, south, -CELL_M)
    grid = np.column_stack([part.ravel() for part in np.meshgrid(x, y)])
    away, nearest = cKDTree(np.concatenate(places)).query(grid)
    height = np.concatenate(heights)[nearest] + 0.05 * away
    return MemoryDem(
        height.reshape(len(y), len(x)), Affine(CELL_M, 0, west, 0, -CELL_M, north), CELL_M
    )


@pytest.fixture(scope="module")
def built() -> SimpleNamespace:
    lines = soque().to_crs(UTM)
    is_reversed = np.random.default_rng(1).random(len(lines)) < 0.5
    drawn = [
        line.reverse() if turn else line
        for line, turn in zip(lines.geometry, is_reversed, strict=True)
    ]
    names = [name if isinstance(name, str) else None for name in lines["GNIS_Name"]]
    # half of the lines are drawn upstream, and the drawing is not to help
    ctx = context(ground_of(lines), snap_cells=0.0, drawn_odds_ratio=1.0)
    edges = build_edges(streams_of(drawn, names), ctx)
    tree = shapely.STRtree(edges.geometry.to_numpy())
    middle = lines.geometry.interpolate(0.5, normalized=True)
    edge_of_line = edges.iloc[tree.nearest(middle.to_numpy())].reset_index(drop=True)
    return SimpleNamespace(
        lines=lines, is_reversed=is_reversed, ctx=ctx, edges=edges, edge_of_line=edge_of_line
    )


def test_every_line_drawn_upstream_is_turned_and_no_other(built):
    turned = {int(r["source_id"]) for r in built.ctx.findings.rows if r["code"] == "turned"}
    assert turned == set(np.flatnonzero(built.is_reversed))


def test_stream_order_is_the_published_one(built):
    assert built.edge_of_line["stream_order"].tolist() == built.lines["StreamOrde"].tolist()


def test_stream_order_is_that_of_networkx(built):
    # an independent walk: Strahler's rule on the directed graph in topological order
    edges = built.edges
    graph = nx.MultiDiGraph()
    for row, (upper, lower) in enumerate(zip(edges["from_node"], edges["to_node"], strict=True)):
        graph.add_edge(upper, lower, key=row)
    order = {}
    for node in nx.topological_sort(graph):
        arriving = sorted((order[key] for *_, key in graph.in_edges(node, keys=True)), reverse=True)
        rises = len(arriving) > 1 and arriving[0] == arriving[1]
        for *_, key in graph.out_edges(node, keys=True):
            order[key] = arriving[0] + rises if arriving else 1
    assert edges["stream_order"].tolist() == [order[row] for row in range(len(edges))]


def test_length_of_streams_above_is_the_published_one(built):
    # ArbolateSu is the sum of LengthKM over all lines upstream, the line itself included; it holds
    # at the lower end of a line, so take lines that end where their edge ends
    edges, lines = built.edges, built.lines
    graph = nx.DiGraph(list(zip(edges["from_node"], edges["to_node"], strict=True)))
    lower_end = shapely.get_point(lines.geometry.to_numpy(), -1)
    edge_end = shapely.get_point(built.edge_of_line.geometry.to_numpy(), -1)
    is_last = np.flatnonzero(shapely.distance(lower_end, edge_end) < 1.0)
    assert len(is_last) > 200
    for row in is_last:
        own = built.edge_of_line.iloc[row]
        nodes = nx.ancestors(graph, own["from_node"]) | {own["from_node"]}
        is_above = built.edge_of_line["to_node"].isin(nodes).to_numpy()
        is_own = (built.edge_of_line["edge_id"] == own["edge_id"]).to_numpy()
        published = lines["ArbolateSu"].iloc[row]
        assert lines["LengthKM"][is_above | is_own].sum() == pytest.approx(published, abs=1e-6)


def test_nothing_is_lost_and_the_network_is_one(built):
    assert built.edges.length.sum() == pytest.approx(built.lines.length.sum(), rel=1e-9)
    assert built.edges["catchment"].unique().tolist() == [0]
    codes = {row["code"] for row in built.ctx.findings.rows}
    assert not codes & {"duplicate", "too_short", "crossing", "uphill"}


def test_the_main_stem_bears_the_rivers_name(built):
    first = stream_paths(built.edges)[0]
    assert first.stream_name == "Soquee River"
    assert first.joins_stream_id is None


def test_stations_agree_with_geodesic_length_to_the_scale_of_the_projection(built):
    # UTM is true to 0.9996 at its middle and 1.0010 at its rim: lengths are within 0.1 %
    to_degrees = Transformer.from_crs(UTM, 4269, always_xy=True)
    geod = Geod(ellps="GRS80")
    for path in stream_paths(built.edges)[:20]:
        on_ellipsoid_m = geod.line_length(*to_degrees.transform(*path.xy.T))
        assert path.length_m == pytest.approx(on_ellipsoid_m, rel=1.0e-3)
        assert path.length_m != pytest.approx(on_ellipsoid_m, rel=1e-6)  # it is a plane
        breaks = np.diff(path.edge_breaks_m)
        lengths = built.edges.set_index("edge_id").geometry[list(path.edge_ids)].length
        np.testing.assert_allclose(breaks, lengths, rtol=1e-12)
