"""Published bank ratings, for a second opinion beside our own score.

The five-part bank hazard index and the near-bank stress number of Rosgen (2001, 7th Fed.
Interagency Sedimentation Conf., vol. 2, II-9-15; 2006), tables recalled, not re-read. Inside a
class the index runs straight between the printed edges; the gaps that the print leaves between
classes are closed by a straight line from edge to edge. Our own classes do not follow from it.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reachrank.hazard.side_frame import Floats

Part = Literal["height_ratio", "root_depth_ratio", "root_density", "angle", "surface_protection"]

_EDGES: dict[Part, tuple[float, ...]] = {
    "height_ratio": (1.0, 1.1, 1.11, 1.19, 1.2, 1.5, 1.6, 2.0, 2.1, 2.8),
    "root_depth_ratio": (1.0, 0.9, 0.89, 0.5, 0.49, 0.3, 0.29, 0.15, 0.14, 0.05),
    "root_density": (100, 80, 79, 55, 54, 30, 29, 15, 14, 5),
    "angle": (0, 20, 21, 60, 61, 80, 81, 90, 91, 119),
    "surface_protection": (100, 80, 79, 55, 54, 30, 29, 15, 14, 10),
}
"""Both printed edges of each class, from the least hazard to the greatest: ratio, ratio, percent,
degrees, percent."""
_POINTS = (1.0, 1.9, 2.0, 3.9, 4.0, 5.9, 6.0, 7.9, 8.0, 9.0)
_BEYOND = 10.0

PARTS: dict[Part, str] = {
    "height_ratio": "height ratio",
    "root_depth_ratio": "root depth",
    "root_density": "root density",
    "angle": "bank angle",
    "surface_protection": "surface protection",
}
MATERIAL_POINTS: dict[str, float] = {
    "cobble": -10.0,
    "gravel": 10.0,
    "sand": 10.0,
    "silt": 0.0,
    "clay": 0.0,
}
_TOTAL_FROM = (10.0, 20.0, 30.0, 40.0, 46.0)
PUBLISHED_WORDS = ("very low", "low", "moderate", "high", "very high", "extreme")
"""Words of the published index, for its total alone."""


def points(part: Part, value: ArrayLike) -> Floats:
    """Return the published index, 1 to 10, of one part; NaN where the value is.

    Examples
    --------
    >>> float(points("height_ratio", 1.6))  # the lower edge of a class, printed as 6.0
    6.0
    """
    edges = np.asarray(_EDGES[part], np.float64)
    value = np.asarray(value, np.float64)
    sign = 1.0 if edges[0] < edges[-1] else -1.0
    inside = np.interp(sign * value, sign * edges, _POINTS)
    beyond = sign * value > sign * edges[-1]
    return np.where(np.isnan(value), np.nan, np.where(beyond, _BEYOND, inside))


def total(five: dict[Part, float], material: str = "") -> tuple[float, str]:
    """Return the total of five parts with the bank material's points, and its published word.

    Bedrock is 'very low' and boulder 'low' whatever the total. The total stays within 5 to 50; the
    gaps between printed classes (9.5 to 10 and so on) belong to the lower class.

    Raises
    ------
    KeyError
        If one of the five parts is missing: part of the index has no total.
    """
    summed = float(sum(points(part, five[part]) for part in PARTS))
    summed = min(max(summed + MATERIAL_POINTS.get(material, 0.0), 5.0), 50.0)
    forced = {"bedrock": 0, "boulder": 1}
    at = forced.get(material, int(np.searchsorted(_TOTAL_FROM, summed, "right")))
    return summed, PUBLISHED_WORDS[at]


def near_bank_stress(radius_width_ratio: ArrayLike) -> NDArray[np.float64]:
    """Return the near-bank stress number, 1 to 6, by bend radius over bankfull width; NaN for NaN.

    Every printed edge keeps its printed class; the slivers between classes (1.805, say) belong to
    the class below them in radius.

    Examples
    --------
    >>> float(near_bank_stress(1.8))  # printed: 1.50 to 1.80 is 5
    5.0
    """
    ratio = np.asarray(radius_width_ratio, np.float64)
    number = 6.0 - np.searchsorted((1.50, 1.81, 2.01, 2.21), ratio, "right")
    number = np.where(ratio > 3.0, 1.0, number)
    return np.where(np.isnan(ratio), np.nan, number)
