"""Columns of tables that were read back. Kind of truth: closed forms."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reachrank.columns import floats, need_columns
from reachrank.errors import InputError


def test_a_column_that_is_not_there_is_all_missing():
    table = pd.DataFrame({"a": pd.array([1, None], dtype="Int64")})
    np.testing.assert_array_equal(floats(table, "a"), [1.0, np.nan])
    np.testing.assert_array_equal(floats(table, "b"), [np.nan, np.nan])


def test_columns_that_must_be_there_are_named_when_they_are_gone():
    table = pd.DataFrame({"a": [1.0]})
    need_columns(table, "factors", ["a"])
    with pytest.raises(InputError, match="layer factors of the first file has no column b, c"):
        need_columns(table, "factors", ["c", "a", "b"], " of the first file")
