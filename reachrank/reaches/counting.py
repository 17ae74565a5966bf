"""Which sections count in the figures of a bank."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

UNCOUNTED = ("crossing", "gap", "pond")
"""Flags of sections whose banks are not banks: road fills, missing ground, standing water."""


def counts(sections: pd.DataFrame, least_quality: float) -> NDArray[np.bool_]:
    """Return which sections count: none of the flags in `UNCOUNTED`, and good enough.

    Parameters
    ----------
    sections
        Columns ``flags`` (words, space between) and ``quality`` (0 to 1), n rows.
    least_quality
        Sections below this do not count.

    Returns
    -------
    ndarray of bool, shape (n,)

    Examples
    --------
    >>> import pandas as pd
    >>> flags = ["", "coarse pond", "no_top"]
    >>> sections = pd.DataFrame({"flags": flags, "quality": [0.9, 0.9, 0.1]})
    >>> counts(sections, 0.25).tolist()  # standing water, then too poor
    [True, False, False]
    """
    flagged = has_flag(sections["flags"], UNCOUNTED)
    quality = sections["quality"].to_numpy(dtype=np.float64, na_value=np.nan)
    good: NDArray[np.bool_] = ~flagged & (quality >= least_quality)
    return good


def has_flag(flags: pd.Series, words: tuple[str, ...]) -> NDArray[np.bool_]:
    """Return which rows have at least one of the words among their flags."""
    pattern = rf"(?:^|\s)(?:{'|'.join(words)})(?:\s|$)"
    code, texts = pd.factorize(flags.to_numpy(dtype=object))  # a few texts, many rows
    found = [bool(re.search(pattern, str(text))) for text in texts]
    flagged: NDArray[np.bool_] = np.array([*found, False])[code]  # no flags, -1, takes the last
    return flagged
