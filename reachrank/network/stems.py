"""Streams: from each mouth up the main stem, numbered by size and place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reachrank.network.flow import Flow, is_diversion
from reachrank.network.graph import Ints
from reachrank.network.lines import XY

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Stems:
    """For each edge the number of its stream, from 0, and its place in it, 0 at the mouth."""

    stream: Ints
    sequence: Ints


def upstream_length_m(flow: Flow, main_out: Ints, length_m: Floats) -> Floats:
    """Length of all edges at and above each edge, each counted once: a diversion starts anew."""
    diverted = is_diversion(flow, main_out)
    total = length_m.copy()
    for node in flow.nodes_down:
        above = float(np.sum(np.sort(total[flow.into[node]])))
        for edge in flow.out_of[node]:
            if not diverted[edge]:
                total[edge] += above
    return total


def main_way_in(
    flow: Flow, main_out: Ints, area_km2: Floats, above_m: Floats, name: Sequence[str | None]
) -> Ints:
    """Choose the main edge into each node, -1 at sources.

    The branch that carries the name of the main way out goes first: people know a stream by its
    name, and a map's names follow the stem they hold to be the main one. Then the larger drainage
    area, where every branch has one; then the greater length of streams above; then the edge
    that comes first by place.
    """
    main = np.full(len(flow.into), -1, np.int64)
    for node, arriving in enumerate(flow.into):
        if not arriving:
            continue
        below = name[main_out[node]] if main_out[node] >= 0 else None
        area = np.round(area_km2[arriving], 9)
        if np.isnan(area).any():
            area = np.zeros(len(arriving))
        keys = [
            (below is None or name[edge] != below, -a, -round(float(above_m[edge]), 3), edge)
            for edge, a in zip(arriving, area.tolist(), strict=True)
        ]
        main[node] = min(keys)[-1]
    return main


def trace_stems(
    flow: Flow,
    main_out: Ints,
    main_in: Ints,
    *,
    area_km2: Floats,
    above_m: Floats,
    places: XY,
) -> Stems:
    """Cut the network into streams.

    A stream goes up from a mouth, or from where it joins another, along the main way in. Streams
    are numbered by falling drainage area at the lower end, then falling length of streams above,
    then place of the lower end and of the upper.
    """
    count = len(flow.upper)
    above_edge = np.full(count, -1, np.int64)
    is_top_of_lower = np.zeros(count, bool)
    for node in range(len(flow.into)):
        arriving, leaving = int(main_in[node]), int(main_out[node])
        if arriving >= 0 and leaving >= 0:
            above_edge[leaving] = arriving
            is_top_of_lower[arriving] = True
    stems = []
    for edge in np.flatnonzero(~is_top_of_lower).tolist():
        path = [edge]
        while above_edge[path[-1]] >= 0:
            path.append(int(above_edge[path[-1]]))
        stems.append(path)

    def rank(path: list[int]) -> tuple[float, ...]:
        low = path[0]
        area = float(area_km2[low])
        return (
            -round(area, 6) if np.isfinite(area) else 1.0,
            -round(float(above_m[low]), 3),
            *places[flow.lower[low]].tolist(),
            *places[flow.upper[path[-1]]].tolist(),
            low,
        )

    stream, sequence = np.empty(count, np.int64), np.empty(count, np.int64)
    for number, path in enumerate(sorted(stems, key=rank)):
        stream[path] = number
        sequence[path] = np.arange(len(path))
    return Stems(stream, sequence)
