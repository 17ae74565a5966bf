"""Drainage area at the lower end of each edge, from the best source there is for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reachrank.network.flow import Flow, is_diversion
from reachrank.network.graph import Ints
from reachrank.network.lines import Line

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Area:
    """Area, where each value comes from, and which had to be mended to not fall downstream."""

    area_km2: Floats
    source: NDArray[np.object_]
    is_mended: NDArray[np.bool_]


def attribute_at_lower_end(lines: Sequence[Line], flow: Flow, attribute_km2: Floats) -> Floats:
    """Attribute area of the input lines whose lower end is that of the edge.

    An input line's attribute holds at its own lower end. Where the line was cut at junctions, its
    upper parts are left without, instead of being given the area of a place far below.

    Parameters
    ----------
    lines
        The lines of the edges, drawn downstream.
    flow
        The directed network.
    attribute_km2
        float64, shape (input rows,), NaN where there is none.

    Returns
    -------
    numpy.ndarray
        float64, shape (edges,): the largest of the input lines that end in the edge, else NaN.
    """
    place = np.empty(len(flow.into), np.int64)
    place[flow.nodes_down] = np.arange(len(flow.nodes_down))
    lowest: dict[int, tuple[int, int]] = {}
    for edge, line in enumerate(lines):
        for row in {run.row for run in line.runs}:
            here = (int(place[flow.lower[edge]]), edge)
            if row not in lowest or here > lowest[row]:
                lowest[row] = here
    area = np.full(len(lines), np.nan)
    for row, (_, edge) in lowest.items():
        area[edge] = np.fmax(area[edge], attribute_km2[row])
    return area


def choose_area(
    flow: Flow, main_out: Ints, attribute: Floats, raster: Floats, routed: Floats
) -> Area:
    """Take for each edge the attribute, else the raster, else the routed area.

    Area does not fall downstream along main ways. Values from an attribute are believed first: an
    edge above one, without one itself, is lowered to it; then every edge is raised to the largest
    just above it.
    """
    area = np.full(len(attribute), np.nan)
    source = np.full(len(attribute), "none", dtype=object)
    for values, word in ((routed, "routing"), (raster, "raster"), (attribute, "attribute")):
        has = np.isfinite(values)
        area[has] = values[has]
        source[has] = word
    before = area.copy()
    ceiling = np.full(len(flow.into), np.inf)
    for node in reversed(flow.nodes_down):
        below = int(main_out[node])
        if below < 0:
            continue
        ceiling[node] = ceiling[flow.lower[below]]
        if source[below] == "attribute":
            ceiling[node] = min(ceiling[node], area[below])
    is_free = source != "attribute"
    area[is_free] = np.fmin(area, ceiling[flow.lower])[is_free]
    area[source == "none"] = np.nan
    diverted = is_diversion(flow, main_out)
    for node in flow.nodes_down:
        known = [area[edge] for edge in flow.into[node] if np.isfinite(area[edge])]
        if not known:
            continue
        for edge in flow.out_of[node]:
            if not diverted[edge] and area[edge] < max(known):
                area[edge] = max(known)
    with np.errstate(invalid="ignore"):
        is_mended = np.abs(area - before) > 0.01 * np.fmax(before, 1e-6)
    return Area(area, source, is_mended)
