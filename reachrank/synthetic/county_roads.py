"""The roads of the invented county."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from reachrank.synthetic.county_ground import Road
from reachrank.synthetic.county_streams import Stream

Array = NDArray[np.float64]

STEP_M = 1.0

_POINTS: dict[str, tuple[str, float, tuple[tuple[float, float], ...]]] = {
    "Harrow Gap Road": (
        "county road",
        3.3,
        (
            (1392, 1640), (1360, 1420), (1300, 1200), (1268, 960), (1290, 780), (1292, 650),
            (1262, 520), (1190, 380), (1150, 200), (1120, -40),
        ),
    ),
    "Lower Mill Road": (
        "township road",
        2.8,
        (
            (-40, 815), (160, 775), (330, 735), (520, 690), (690, 715), (800, 775), (850, 890),
            (960, 890), (1080, 765), (1180, 705), (1291, 700), (1420, 715), (1560, 690),
            (1700, 650), (1830, 690), (1905, 790), (2010, 830), (2120, 870), (2240, 930),
            (2440, 960),
        ),
    ),
    "Tannery Lane": (
        "private lane",
        1.8,
        ((1830, 690), (1800, 600), (1830, 530), (1940, 545), (1985, 575)),
    ),
}  # fmt: skip
ON_A_FILL = ("Harrow Gap Road", "Brindlewater Creek", 1.9)
"""The road that crosses a stream on a fill with a culvert, the stream, the height of the fill."""


def make_roads(streams: list[Stream]) -> list[Road]:
    """Return the roads, in metres from the county's south-west corner."""
    roads = []
    for name, (road_class, half_width, points) in _POINTS.items():
        x, y = _smooth(np.array(points, np.float64))
        fills: tuple[tuple[float, float, float], ...] = ()
        if name == ON_A_FILL[0]:
            stream = next(s for s in streams if s.name == ON_A_FILL[1])
            plan = stream.stations.plan
            away = np.hypot(plan.x_m[:, None] - x, plan.y_m[:, None] - y)
            k = int(away.min(axis=1).argmin())
            fills = ((float(plan.x_m[k]), float(plan.y_m[k]), ON_A_FILL[2]),)
        roads.append(Road(name, road_class, x, y, half_width, fills))
    return roads


def _smooth(points: Array) -> tuple[Array, Array]:
    """Return a smooth line through points, on an even step."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    fine = CubicSpline(along, points)(np.arange(0.0, along[-1], 0.5))
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(fine, axis=0).T))])
    even = np.arange(0.0, length[-1], STEP_M)
    return np.interp(even, length, fine[:, 0]), np.interp(even, length, fine[:, 1])
