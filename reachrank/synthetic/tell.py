"""Write down the truth of a channel: its stations, its banks, and where they can be seen."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from reachrank.synthetic.ground import Ground
from reachrank.synthetic.stations import Stations
from reachrank.synthetic.truth import BankTruth, CorridorTruth

Array = NDArray[np.float64]


def tell(
    stations: Stations,
    ground: Ground,
    is_untouched: Callable[[Array, Array], NDArray[np.bool_]],
    to_world: Callable[[Array, Array], tuple[Array, Array]],
) -> CorridorTruth:
    """Return the truth of a channel.

    Parameters
    ----------
    stations, ground
        The channel and its surface, in their own frame.
    is_untouched
        Tells at which points nothing (crossing, pond, hole, another stream) hides the surface.
    to_world
        From the frame of ``stations`` to the world.
    """
    plan, told = stations.plan, stations.told
    middle = is_untouched(plan.x_m, plan.y_m)
    turn = np.subtract(to_world(np.ones(1), np.zeros(1)), to_world(np.zeros(1), np.zeros(1)))
    banks = {}
    for side, outside_sign, failing in (
        ("left", -1.0, stations.left_failing),
        ("right", 1.0, stations.right_failing),
    ):
        bank = stations.bank(side)
        toe = stations.offset_place(side, bank.toe_m)
        top = stations.offset_place(side, bank.top_m)
        behind = stations.offset_place(side, bank.top_m + 1.0)
        valid = middle.copy()
        for place in (toe, top, behind):
            valid &= is_untouched(*place)
        # One metre behind the top must still belong to this limb.
        valid &= ground.nearest(*behind).distance_m > bank.top_m + 0.9
        toe_x, toe_y = to_world(*toe)
        top_x, top_y = to_world(*top)
        banks[side] = BankTruth(
            bank.toe_m[told],
            bank.top_m[told],
            toe_x[told],
            toe_y[told],
            top_x[told],
            top_y[told],
            bank.height_m[told],
            (stations.water_m + bank.height_m)[told],
            bank.angle_deg[told],
            bank.chord_angle_deg[told],
            bank.rounding_m[told],
            bank.bench_m[told],
            (outside_sign * plan.curvature_per_m > 0)[told],
            failing[told],
            valid[told],
        )
    x, y = to_world(plan.x_m[told], plan.y_m[told])
    return CorridorTruth(
        plan.s_m[told],
        x,
        y,
        plan.heading_rad[told] + float(np.arctan2(turn[1, 0], turn[0, 0])),
        plan.curvature_per_m[told],
        stations.water_m[told],
        (stations.left.toe_m + stations.right.toe_m)[told],
        banks["left"],
        banks["right"],
        middle[told],
        plan.bends,
    )
