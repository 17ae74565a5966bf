"""The network as a graph: nodes numbered by place, connected parts, bridges and braids."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from reachrank.network.lines import XY, Line

Ints = NDArray[np.int64]


def number_nodes(lines: Sequence[Line]) -> tuple[XY, Ints]:
    """Give numbers to the places where lines end, by x then y.

    Returns
    -------
    places
        float64, shape (nodes, 2).
    nodes_of_line
        int64, shape (lines, 2): node of the first and of the last vertex of each line.
    """
    if not lines:
        return np.empty((0, 2)), np.empty((0, 2), np.int64)
    ends = np.array([(line.xy[0], line.xy[-1]) for line in lines]).reshape(-1, 2)
    places, which = np.unique(ends, axis=0, return_inverse=True)
    return places, which.reshape(-1, 2).astype(np.int64)


def connected(node_count: int, pairs: Ints) -> Ints:
    """Return for each node the number of the connected part that it lies in."""
    graph = coo_array(
        (np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(node_count, node_count)
    )
    part: Ints = connected_components(graph, directed=False)[1].astype(np.int64)
    return part


def incident_edges(node_count: int, pairs: Ints) -> list[list[tuple[int, int]]]:
    """For each node the (edge, other node) that meet there, by edge number."""
    around: list[list[tuple[int, int]]] = [[] for _ in range(node_count)]
    for edge, (a, b) in enumerate(pairs.tolist()):
        around[a].append((edge, b))
        around[b].append((edge, a))
    return around


def bridges(node_count: int, pairs: Ints) -> NDArray[np.bool_]:
    """Tell which edges are bridges: without them their two ends would not be connected.

    Depth-first search with the lowest reachable number (Tarjan 1974), without recursion; two edges
    between the same nodes are never bridges.
    """
    around = incident_edges(node_count, pairs)
    is_bridge = np.zeros(len(pairs), bool)
    found = [-1] * node_count
    low = [0] * node_count
    clock = 0
    for root in range(node_count):
        if found[root] >= 0:
            continue
        found[root] = low[root] = clock
        clock += 1
        stack = [(root, -1, iter(around[root]))]
        while stack:
            node, entered_by, rest = stack[-1]
            for edge, other in rest:
                if edge == entered_by:
                    continue
                if found[other] < 0:
                    found[other] = low[other] = clock
                    clock += 1
                    stack.append((other, edge, iter(around[other])))
                    break
                low[node] = min(low[node], found[other])
            else:
                stack.pop()
                if stack:
                    parent = stack[-1][0]
                    low[parent] = min(low[parent], low[node])
                    is_bridge[entered_by] = low[node] > found[parent]
    return is_bridge
