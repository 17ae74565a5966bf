"""One regional curve: power laws of drainage area, kept in the units of their publication."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FOOT_M = 0.3048
"""International foot in metres, exact."""
SQUARE_MILE_KM2 = 1.609344**2
"""Square (international) mile in square kilometres, exact: 2.589988110336."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PowerLaw:
    """``y = a * x ** b`` for x > 0, NaN elsewhere."""

    a: float
    b: float

    def __call__(self, x: ArrayLike) -> Floats:
        """Evaluate at each x."""
        values = np.asarray(x, np.float64)
        positive = np.where(values > 0, values, np.nan)
        return np.asarray(self.a * positive**self.b, np.float64)


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Bankfull width, mean depth, area and discharge from drainage area.

    Coefficients stay in the units they were published in (``units``: ``metric`` is km², m, m²,
    m³/s; ``us`` is mi², ft, ft², ft³/s); every method takes km² and returns SI. ``fit_km2`` is
    the range of drainage area of the sites behind the fit, NaN where it is not known. Depth is
    the **mean** depth of the bankfull section.

    Limits: a curve holds for the region and the land use of its sites. Drainage area alone is a
    weak predictor across climates (Wilkerson et al. 2014, doi 10.1002/2013WR013916).

    Examples
    --------
    >>> from reachrank.curves import curve
    >>> # 10 mi2 in central New York: 13.5 * 10 ** 0.449 = 37.961 ft
    >>> round(float(curve("ny-region-5").width_m(25.89988110336)) / 0.3048, 3)
    37.961
    """

    name: str
    title: str
    units: Literal["metric", "us"]
    width: PowerLaw
    depth: PowerLaw
    area: PowerLaw | None = None
    discharge: PowerLaw | None = None
    fit_km2: tuple[float, float] = (float("nan"), float("nan"))
    citation: str
    certainty: str

    @property
    def _length_m(self) -> float:
        return FOOT_M if self.units == "us" else 1.0

    def _published_area(self, drainage_area_km2: ArrayLike) -> Floats:
        area = np.asarray(drainage_area_km2, np.float64)
        return area / SQUARE_MILE_KM2 if self.units == "us" else area

    def width_m(self, drainage_area_km2: ArrayLike) -> Floats:
        """Bankfull width in metres."""
        return self.width(self._published_area(drainage_area_km2)) * self._length_m

    def depth_m(self, drainage_area_km2: ArrayLike) -> Floats:
        """Mean bankfull depth in metres."""
        return self.depth(self._published_area(drainage_area_km2)) * self._length_m

    def area_m2(self, drainage_area_km2: ArrayLike) -> Floats | None:
        """Bankfull section area in m² from its own fit; None where there is no such fit.

        Never width times depth: that product and the fit differ by up to about 20 %.
        """
        if self.area is None:
            return None
        return self.area(self._published_area(drainage_area_km2)) * self._length_m**2

    def discharge_m3s(self, drainage_area_km2: ArrayLike) -> Floats | None:
        """Bankfull discharge in m³/s from its own fit; None where there is no such fit."""
        if self.discharge is None:
            return None
        return self.discharge(self._published_area(drainage_area_km2)) * self._length_m**3

    def is_beyond_fit(self, drainage_area_km2: ArrayLike) -> NDArray[np.bool_]:
        """Return where the drainage area lies outside of the fitted range, if that is known."""
        area = np.asarray(drainage_area_km2, np.float64)
        least, greatest = self.fit_km2
        return np.asarray((area < least) | (area > greatest), np.bool_)
