"""Columns of a table as plain arrays."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd


def floats(table: pd.DataFrame, name: str) -> NDArray[np.float64]:
    """Return a column as float64, NaN where missing, all NaN where the table lacks it."""
    if name not in table.columns:
        return np.full(len(table), np.nan)
    return np.asarray(table[name].to_numpy(np.float64, na_value=np.nan), np.float64)
