"""How well a bank's median height is known."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

MEDIAN_COST = float(np.sqrt(np.pi / 2.0))
"""Standard error of a median over that of a mean, normal errors: sqrt(pi / 2) = 1.2533."""
MAD_TO_SD = 1.4826
"""Standard deviation over median absolute deviation, normal errors."""


def independent_sections(station_m: NDArray[np.float64], smoothing_m: float) -> float:
    """Return how many independent sections a set of sections is worth.

    One, plus every step to the next section as a share of the smoothing length, no step counting
    for more than one: sections at one place are worth 1, sections farther apart than the
    smoothing length are worth their number.

    Examples
    --------
    >>> import numpy as np
    >>> independent_sections(np.array([0.0, 5.0, 10.0, 30.0]), 10.0)  # steps of 1/2, 1/2, 1
    3.0
    """
    if station_m.size == 0:
        return 0.0
    if smoothing_m <= 0.0:
        return float(station_m.size)
    steps = np.diff(np.sort(station_m)) / smoothing_m
    return 1.0 + float(np.minimum(steps, 1.0).sum())


def bank_height_se(
    height_m: NDArray[np.float64],
    station_m: NDArray[np.float64],
    noise_m: NDArray[np.float64],
    smoothing_m: float,
) -> float:
    """Return the standard error of the median of bank heights, m; NaN where nothing tells.

    Parameters
    ----------
    height_m, station_m
        Heights of the sections that count, no NaN, and their stations; shape (n,).
    noise_m
        Standard deviation of the elevation noise at each, NaN where unknown; shape (n,).
    smoothing_m
        Sections nearer than this are not independent.

    Notes
    -----
    A height is the difference of two elevations, so noise alone gives it a standard deviation of
    ``sqrt(2) noise``. The sections' own spread (from the median absolute deviation) holds that
    noise and the bank's real ups and downs; with few sections it is badly known and often too
    small. So the larger of the two is taken as the deviation of one section, never their sum,
    which would count the noise twice. The error of a median of n independent values is 1.2533
    of that over ``sqrt(n)`` (the large-sample result for normal errors, from memory of Kendall &
    Stuart, The Advanced Theory of Statistics).

    Examples
    --------
    >>> import numpy as np
    >>> se = bank_height_se(np.full(4, 2.0), np.arange(4) * 50.0, np.full(4, 0.1), 10.0)
    >>> round(se, 4)  # 1.2533 * sqrt(2) * 0.1 / sqrt(4)
    0.0886
    """
    if height_m.size == 0:
        return float("nan")
    known = noise_m[np.isfinite(noise_m)]
    from_noise = float(np.sqrt(2.0) * np.median(known)) if known.size else float("nan")
    spread = MAD_TO_SD * float(np.median(np.abs(height_m - np.median(height_m))))
    from_spread = spread if height_m.size > 1 else float("nan")
    if not np.isfinite(from_noise) and not np.isfinite(from_spread):
        return float("nan")
    deviation = float(np.nanmax([from_noise, from_spread]))
    return MEDIAN_COST * deviation / float(np.sqrt(independent_sections(station_m, smoothing_m)))
