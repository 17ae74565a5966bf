"""The directed network: its order from sources to mouths, and the main way on at each fork."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reachrank.network.graph import Ints

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Flow:
    """Edges with directions.

    Attributes
    ----------
    upper, lower
        int64, shape (edges,): the node each edge comes from and goes to.
    into, out_of
        For each node the edges that flow into it and out of it.
    nodes_down
        All nodes, each after every node upstream of it.
    """

    upper: Ints
    lower: Ints
    into: list[list[int]]
    out_of: list[list[int]]
    nodes_down: list[int]


def directed(node_count: int, upper: Ints, lower: Ints) -> Flow:
    """Arrange a network without circles from sources to mouths (Kahn 1962)."""
    into: list[list[int]] = [[] for _ in range(node_count)]
    out_of: list[list[int]] = [[] for _ in range(node_count)]
    for edge, (a, b) in enumerate(zip(upper.tolist(), lower.tolist(), strict=True)):
        out_of[a].append(edge)
        into[b].append(edge)
    waiting_for = [len(edges) for edges in into]
    nodes = [node for node in range(node_count) if waiting_for[node] == 0]
    for node in nodes:
        for edge in out_of[node]:
            below = int(lower[edge])
            waiting_for[below] -= 1
            if waiting_for[below] == 0:
                nodes.append(below)
    return Flow(upper, lower, into, out_of, nodes)


def main_way_out(
    flow: Flow, length_m: Floats, name: Sequence[str | None], attribute_area_km2: Floats
) -> Ints:
    """Choose the main edge out of each node, -1 where none leaves.

    Where a stream divides, the branch that keeps a name it comes with goes first, then the larger
    drainage area from the attribute, then the longer way to a mouth, then the edge that comes
    first by place. The other branches are diversions.
    """
    way_down = np.zeros(len(flow.into))
    main = np.full(len(flow.into), -1, np.int64)
    area = np.nan_to_num(attribute_area_km2, nan=-1.0)
    for node in reversed(flow.nodes_down):
        leaving = flow.out_of[node]
        if not leaving:
            continue
        way = {edge: length_m[edge] + way_down[flow.lower[edge]] for edge in leaving}
        way_down[node] = max(way.values())
        names = {name[edge] for edge in flow.into[node]} - {None}
        main[node] = min(leaving, key=lambda e: (name[e] not in names, -area[e], -way[e], e))
    return main


def is_diversion(flow: Flow, main_out: Ints) -> NDArray[np.bool_]:
    """Tell which edges are the lesser way out of the node they come from."""
    lesser: NDArray[np.bool_] = main_out[flow.upper] != np.arange(len(flow.upper))
    return lesser
