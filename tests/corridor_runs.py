"""Corridors measured by the stages, for tests."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from affine import Affine
from shapely.geometry import LineString

from reachrank import channel, network, planform, sections
from reachrank.context import Tables
from reachrank.settings import Settings
from reachrank.synthetic import CORRIDORS, Corridor, make_corridor, variant
from reachrank.synthetic.stages import ArrayDem, corridor_inputs


@cache
def corridor(name: str, length_m: float = 300.0, cell_m: float = 1.0, seed: int = 2) -> Corridor:
    """Return a short version of a named corridor."""
    spec = variant(CORRIDORS[name], length_m=length_m, cell_m=cell_m, noise_m=0.10)
    return make_corridor(spec, seed)


def measure(
    of: Corridor,
    settings: Settings | None = None,
    *,
    dem: ArrayDem | None = None,
    lines: Sequence[LineString] | None = None,
) -> Tables:
    """Run network, channel, planform and sections."""
    tables, ctx = corridor_inputs(of, settings, dem=dem, lines=lines)
    for stage in (network, channel, planform, sections):
        tables = stage.run(tables, ctx)
    return tables


def apply(how: Affine, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return places moved by an affine map, shape (n, 2)."""
    return np.column_stack([how.a * x + how.b * y + how.c, how.d * x + how.e * y + how.f])


def moved(of: Corridor, how: Affine) -> tuple[ArrayDem, list[LineString]]:
    """Return the elevation and the lines of a corridor, moved or turned as a whole."""
    dem = ArrayDem(of.elevation_m, how @ of.transform)
    lines = []
    for line in of.lines:
        x, y = np.asarray(line.coords)[:, :2].T
        lines.append(LineString(apply(how, x, y)))
    return dem, lines
