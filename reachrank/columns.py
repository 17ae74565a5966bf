"""Columns of a table as plain arrays."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from reachrank.errors import CHANGED, InputError

if TYPE_CHECKING:
    import pandas as pd


def repeated(text: str, count: int) -> NDArray[np.object_]:
    """Return a column of one text, the same object in every row.

    `numpy.full` would make a new one for each row, at ten times the memory.
    """
    column = np.empty(count, dtype=object)
    column.fill(text)
    return column


def floats(table: pd.DataFrame, name: str) -> NDArray[np.float64]:
    """Return a column as float64, NaN where missing, all NaN where the table lacks it."""
    if name not in table.columns:
        return np.full(len(table), np.nan)
    return np.asarray(table[name].to_numpy(np.float64, na_value=np.nan), np.float64)


def need_columns(table: pd.DataFrame, layer: str, names: Sequence[str], of: str = "") -> None:
    """Raise `InputError` where a table that was read back lacks columns that must be there.

    ``of`` says whose layer it is where there are several: ``" of the first file"``.
    """
    lacking = sorted(set(names) - set(table.columns))
    if lacking:
        raise InputError(
            f"The layer {layer}{of} has no column {', '.join(lacking)}.",
            hint=CHANGED,
        )
