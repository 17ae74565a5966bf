"""The stream line as a county holds it: off the channel, coarse, cut, sometimes upstream."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString

from reachrank.synthetic.fields import slow

Array = NDArray[np.float64]


def drawn_line(
    x_m: Array,
    y_m: Array,
    heading_rad: Array,
    curvature_per_m: Array,
    rng: np.random.Generator,
    *,
    greatest_m: float,
    scale_m: float,
    step_m: tuple[float, float],
    is_upstream: bool = False,
    pieces: int = 1,
) -> list[LineString]:
    """Draw a line along a channel, wrongly.

    Parameters
    ----------
    x_m, y_m, heading_rad, curvature_per_m
        The channel's middle on an even step, downstream.
    greatest_m
        Greatest sideways error. Towards the middle of a bend it stays below its radius.
    scale_m
        Distance along the channel over which the error is alike.
    step_m
        Least and greatest distance between vertices.
    is_upstream
        Draw the line upstream.
    pieces
        Number of pieces to cut it into; they meet at common vertices.
    """
    step = float(np.hypot(np.diff(x_m[:2]), np.diff(y_m[:2]))[0])
    aside = greatest_m * slow(x_m.size, step, scale_m, rng)
    room = 0.8 / np.maximum(np.abs(curvature_per_m), 1e-9)
    aside = np.where(aside * curvature_per_m > 0, np.clip(aside, -room, room), aside)
    x = x_m - aside * np.sin(heading_rad)
    y = y_m + aside * np.cos(heading_rad)
    stops = [0]
    while stops[-1] < x.size - 1:
        stops.append(stops[-1] + max(int(rng.uniform(*step_m) / step), 1))
    stops[-1] = x.size - 1
    vertices = np.column_stack([x, y])[np.unique(stops)]
    if is_upstream:
        vertices = vertices[::-1]
    count = min(max(pieces, 1), len(vertices) - 1)
    cuts = np.linspace(0, len(vertices) - 1, count + 1).astype(int)
    return [LineString(vertices[first : last + 1]) for first, last in pairwise(cuts)]
