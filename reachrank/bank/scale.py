"""How far along the channel a bank is averaged."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]

MOST_SCALE_CELLS = 12.0
"""On a real river of 20 to 40 cells tops then lie 0.21 m off the ground under them on average, 0.31
without a limit; wide corridors of known height agree, and with 8 cells noise takes over there."""


def averaging_scale_m(width_m: Float, cell_m: float) -> Float:
    """Return the width that averages along the channel go by, shape (n,).

    Noise asks for an average over so many cells, not over so many widths: in a wide river more
    would take away the bank's own ups and downs.

    Examples
    --------
    >>> averaging_scale_m(np.array([5.0, 40.0]), 1.0)
    array([ 5., 12.])
    """
    return np.minimum(width_m, MOST_SCALE_CELLS * cell_m)
