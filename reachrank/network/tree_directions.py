"""The likeliest directions of flow in a network without loops, found exactly.

Each edge has a score: the log-odds that it flows from its first node to its second. Each junction
has a cost for how many ways out it has. Since there are no loops the least total cost is found by
passing messages from the tips inwards and back out (dynamic programming, "min-sum"), in one
sweep each way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reachrank.network.graph import Ints, incident_edges

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class JunctionCosts:
    """Costs as log-odds: each way out beyond the first, no way out, and no way in."""

    fork: float
    no_way_out: float
    no_way_in: float

    def by_ways_out(self, degree: int) -> Floats:
        """Cost of a node where ``degree`` edges meet, for 0, 1 ... degree ways out."""
        cost: Floats = self.fork * np.maximum(np.arange(degree + 1) - 1.0, 0.0)
        if degree >= 2:
            cost[0] += self.no_way_out
            cost[-1] += self.no_way_in
        return cost


def direct_tree(
    node_count: int,
    pairs: Ints,
    score: Floats,
    costs: JunctionCosts,
    free: frozenset[int] = frozenset(),
) -> tuple[NDArray[np.bool_], Floats]:
    """Find the directions of least total cost in a forest.

    Parameters
    ----------
    node_count
        Number of nodes.
    pairs
        int64, shape (edges, 2): the nodes of each edge. No loops, no double edges.
    score
        float64, shape (edges,): log-odds that the edge flows from its first to its second node.
    costs
        What unlikely junctions cost.
    free
        Nodes where any ways in and out cost nothing.

    Returns
    -------
    is_along
        True where the edge flows from its first node to its second.
    margin
        By how much the total cost would rise, at the least, if that edge flowed the other way:
        the log-odds of its direction given everything else.
    """
    around = incident_edges(node_count, pairs)
    order, parent_edge = _outward_order(node_count, around)
    # side[e, s, d]: least cost of all beyond edge e on the side of pairs[e, s], the node there
    # included; d = 0 where e flows out of that node, 1 where it flows into it.
    side = np.zeros((len(pairs), 2, 2))
    edge_cost = np.column_stack([np.maximum(-score, 0.0), np.maximum(score, 0.0)])
    is_along = np.zeros(len(pairs), bool)

    def at(node: int) -> _Ways:
        edges = [edge for edge, _ in around[node]]
        here = (pairs[edges, 1] == node).astype(np.int64)  # which end of the edge this node is
        beyond = side[edges, 1 - here]
        # flowing in here is flowing out of the far node, and along the edge if this is its end
        cost_in = beyond[:, 0] + edge_cost[edges, 1 - here]
        cost_out = beyond[:, 1] + edge_cost[edges, here]
        node_cost = np.zeros(len(edges) + 1) if node in free else costs.by_ways_out(len(edges))
        return _Ways(node, edges, cost_in, cost_out, node_cost)

    for node in reversed(order):
        edge = parent_edge[node]
        if edge >= 0:
            _send(at(node), {edge}, pairs, side)
    for node in order:
        ways = at(node)
        _send(ways, set(ways.edges) - {parent_edge[node]}, pairs, side)
        _choose(ways, parent_edge[node], pairs, is_along)
    total = np.empty((len(pairs), 2))
    total[:, 0] = side[:, 0, 0] + side[:, 1, 1] + edge_cost[:, 0]
    total[:, 1] = side[:, 0, 1] + side[:, 1, 0] + edge_cost[:, 1]
    margin = np.where(is_along, total[:, 1] - total[:, 0], total[:, 0] - total[:, 1])
    return is_along, np.maximum(margin, 0.0)


@dataclass(frozen=True)
class _Ways:
    """The edges at a node.

    With the least cost of each and all beyond if it flows in, or out, and the cost of the node by
    the number of its ways out.
    """

    node: int
    edges: list[int]
    cost_in: Floats
    cost_out: Floats
    node_cost: Floats


def _outward_order(
    node_count: int, around: list[list[tuple[int, int]]]
) -> tuple[list[int], list[int]]:
    """Return the nodes from a root outwards, tree after tree, and the edge back to the root."""
    parent_edge = [-1] * node_count
    is_seen = [False] * node_count
    order: list[int] = []
    for root in range(node_count):
        if is_seen[root]:
            continue
        is_seen[root] = True
        waiting = [root]
        for node in waiting:
            for edge, other in around[node]:
                if not is_seen[other]:
                    is_seen[other] = True
                    parent_edge[other] = edge
                    waiting.append(other)
        order += waiting
    return order, parent_edge


def _send(at: _Ways, targets: set[int], pairs: Ints, side: Floats) -> None:
    """Tell the target edges the least cost on this side, for both of their directions."""
    degree = len(at.edges)
    more = at.cost_out - at.cost_in
    by_more = np.argsort(more, kind="stable")
    rank = np.empty(degree, np.int64)
    rank[by_more] = np.arange(degree)
    sums = np.concatenate([[0.0], np.cumsum(more[by_more])])
    all_in = float(at.cost_in.sum())
    ways = np.arange(degree)  # ways out among the other edges: 0 .. degree - 1
    for place, edge in enumerate(at.edges):
        if edge not in targets:
            continue
        with_next = sums[np.minimum(ways + 1, degree)] - more[place]
        without = np.where(ways > rank[place], with_next, sums[ways])
        others = all_in - at.cost_in[place] + without
        here = int(pairs[edge, 1] == at.node)
        side[edge, here, 0] = np.min(others + at.node_cost[1:])
        side[edge, here, 1] = np.min(others + at.node_cost[:-1])


def _choose(
    at: _Ways,
    parent_edge: int,
    pairs: Ints,
    is_along: NDArray[np.bool_],
) -> None:
    """Set the directions of the edges away from the root, given the one towards it."""
    node, edges, more = at.node, at.edges, at.cost_out - at.cost_in
    inner = [place for place, edge in enumerate(edges) if edge != parent_edge]
    by_more = sorted(inner, key=lambda place: (more[place], edges[place]))
    already = 0
    if parent_edge >= 0:
        already = int(is_along[parent_edge] == (pairs[parent_edge, 0] == node))
    sums = np.concatenate([[0.0], np.cumsum([more[place] for place in by_more])])
    node_cost = at.node_cost[already : already + len(inner) + 1]
    ways_out = int(np.argmin(sums + node_cost))
    for number, place in enumerate(by_more):
        flows_out = number < ways_out
        edge = edges[place]
        is_along[edge] = flows_out == (pairs[edge, 0] == node)
