"""The example in the documentation runs and keeps the contract."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from reachrank.testing import check_factor, example_frame

PAGE = Path(__file__).parents[2] / "docs" / "factor_of_your_own.md"


def test_the_documented_factor_keeps_the_contract() -> None:
    (code,) = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    names: dict[str, object] = {}
    exec(code, names)  # noqa: S102  (the project's own documentation)
    factor = names["WIDENING"]
    check_factor(factor)
    frame = example_frame()
    np.testing.assert_allclose(factor.compute(frame), frame.width_m / frame.bankfull_width_m)
