"""Directions of flow inside braids: parts of a network where edges form loops.

Falls measured along the edges are reconciled into one elevation for each node by weighted least
squares (a levelling network), then the nodes are flooded upwards from the way out, so that water
can leave from every node and never runs in a circle.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.linalg import spsolve

from reachrank.network.graph import Ints, connected, incident_edges

Floats = NDArray[np.float64]


def level_nodes(node_count: int, pairs: Ints, fall_m: Floats, error_m: Floats) -> Floats:
    """Elevation of each node that fits the falls best, the mean of each connected part being 0.

    Parameters
    ----------
    node_count
        Number of nodes.
    pairs
        int64, shape (edges, 2).
    fall_m, error_m
        Fall from the first node to the second and its standard error, in metres, finite.
    """
    elevation = np.zeros(node_count)
    if len(pairs) == 0:
        return elevation
    part = connected(node_count, pairs)
    weight = 1.0 / error_m**2
    first, second = pairs[:, 0], pairs[:, 1]
    rows = np.concatenate([first, second, first, second])
    columns = np.concatenate([first, second, second, first])
    values = np.concatenate([weight, weight, -weight, -weight])
    right = np.zeros(node_count)
    np.add.at(right, first, weight * fall_m)
    np.add.at(right, second, -weight * fall_m)
    _, held = np.unique(part, return_index=True)  # one node of each part is held at 0
    free = np.ones(node_count, bool)
    free[held] = False
    matrix = coo_array((values, (rows, columns)), shape=(node_count, node_count)).tocsr()
    if free.any():
        inner = matrix[free][:, free].tocsc()
        elevation[free] = np.atleast_1d(spsolve(inner, right[free]))
    mean = np.bincount(part, elevation) / np.bincount(part)
    return elevation - mean[part]


def flood_directions(
    node_count: int, pairs: Ints, elevation_m: Floats, outlets: Collection[int]
) -> NDArray[np.bool_]:
    """Direct edges so that every node of a part has a way to one of its outlets, without circles.

    Nodes are reached from the outlets over the lowest way first; each edge flows from the node
    reached later to the one reached earlier. A part without a named outlet leaves at its lowest
    node.

    Returns
    -------
    is_along
        True where the edge flows from its first node to its second.
    """
    around = incident_edges(node_count, pairs)
    part = connected(node_count, pairs)
    reached = np.full(node_count, -1, np.int64)
    named = set(outlets)
    has_outlet = {int(part[node]) for node in named}
    lowest: dict[int, int] = {}
    for node in np.lexsort((np.arange(node_count), elevation_m)).tolist():
        lowest.setdefault(int(part[node]), node)
    starts = sorted(named | {node for p, node in lowest.items() if p not in has_outlet})
    waiting = [(elevation_m[node], node) for node in starts]
    is_waiting = np.zeros(node_count, bool)
    is_waiting[starts] = True
    heapq.heapify(waiting)
    clock = 0
    while waiting:
        level, node = heapq.heappop(waiting)
        reached[node] = clock
        clock += 1
        for _, other in around[node]:
            if not is_waiting[other]:
                is_waiting[other] = True
                heapq.heappush(waiting, (max(level, elevation_m[other]), other))
    return np.asarray(reached[pairs[:, 0]] > reached[pairs[:, 1]])
