"""Put buildings at known distances from the true tops of banks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely import affinity
from shapely.geometry import LineString, Polygon, box

from reachrank.errors import UsageError
from reachrank.synthetic.truth import CorridorTruth

NEAR_ENOUGH_M = 1e-4


def building_beside(
    truth: CorridorTruth,
    at_m: float,
    side: str,
    distance_m: float,
    *,
    size_m: tuple[float, float] = (10.0, 8.0),
    tops: Sequence[LineString] = (),
    along_m: float = 0.0,
) -> Polygon:
    """Return a rectangle whose least distance to all bank tops is as asked.

    Parameters
    ----------
    truth
        The channel it stands at.
    at_m, side
        Distance downstream, and the bank it stands behind.
    distance_m
        Wanted distance from the top of the nearest bank.
    size_m
        Length along and depth away from the channel.
    tops
        Further bank tops to mind, for instance those of other streams.
    along_m
        Shift of the building along the channel's direction.

    Raises
    ------
    UsageError
        Where no such place is found: inside a bend, moving away from one bank comes nearer to
        another.
    """
    at = int(np.argmin(np.abs(truth.s_m - at_m)))
    sign = 1.0 if side == "left" else -1.0
    heading = float(truth.heading_rad[at])
    lines = [truth.left.top_line, truth.right.top_line, *tops]
    length, depth = size_m
    shape = box(along_m - length / 2.0, min(sign, 0.0) * depth, along_m + length / 2.0,
                max(sign, 0.0) * depth)  # fmt: skip
    shape = affinity.rotate(shape, heading, origin=(0.0, 0.0), use_radians=True)
    out = float(truth.bank(side).top_offset_m[at]) + distance_m
    for _ in range(80):
        placed = affinity.translate(
            shape,
            float(truth.x_m[at]) - sign * out * np.sin(heading),
            float(truth.y_m[at]) + sign * out * np.cos(heading),
        )
        short = distance_m - min(float(line.distance(placed)) for line in lines)
        if abs(short) < NEAR_ENOUGH_M:
            return placed
        out += short
    raise UsageError(
        f"A building cannot stand {distance_m} m from the {side} bank at {at_m} m.",
        hint="Place it on the outside of a bend or nearer to the bank.",
    )
