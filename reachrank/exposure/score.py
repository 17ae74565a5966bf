"""The exposure score: classes of structures, their distances, and several structures together."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.errors import SettingsError
from reachrank.settings.exposure import ExposureSettings


def known_classes(words: Iterable[object], settings: ExposureSettings) -> list[str]:
    """Return the class that each word of a class attribute stands for.

    Case, outer blanks, and the difference between blanks, hyphens and underscores do not matter;
    a word in no table stands for itself, a missing one for ``building``.

    Examples
    --------
    >>> known_classes(["House", " power line ", "silo", None], ExposureSettings())
    ['dwelling', 'line', 'silo', 'building']
    """
    classes = []
    for word in words:
        plain = "" if word is None or word is pd.NA or word != word else str(word)  # noqa: PLR0124
        plain = "_".join(plain.strip().lower().replace("-", " ").replace("_", " ").split())
        classes.append(settings.class_synonyms.get(plain, plain) or "building")
    return classes


def structure_scores(
    classes: list[str], distance_m: NDArray[np.float64], settings: ExposureSettings
) -> NDArray[np.float64]:
    """Return what each structure adds, 0 to 1: its class weight times its distance's share.

    Parameters
    ----------
    classes, distance_m
        Class and distance from the top of the bank; shape (n,).
    settings
        Weights and breakpoints.

    Raises
    ------
    SettingsError
        Where the breakpoints are out of order, or a share rises with distance: a nearer
        structure must never count for less.

    Examples
    --------
    >>> import numpy as np
    >>> structure_scores(["dwelling", "shed"], np.array([0.0, 0.0]), ExposureSettings()).tolist()
    [1.0, 0.4]
    """
    knots = np.array(settings.distance_scores, dtype=np.float64)
    if (
        knots.shape[0] < 2
        or np.any(np.diff(knots[:, 0]) <= 0.0)
        or np.any(np.diff(knots[:, 1]) > 0)
    ):
        raise SettingsError(
            f"The distance scores {settings.distance_scores} do not fall with rising distance.",
            hint="Give at least two pairs, distances rising, shares never rising.",
            where="exposure.distance_scores",
        )
    weights = settings.class_weights
    weight = np.array([weights.get(name, settings.other_weight) for name in classes], np.float64)
    share = np.interp(distance_m, knots[:, 0], knots[:, 1])
    score: NDArray[np.float64] = np.clip(weight * share, 0.0, 1.0)
    return score


def combined_scores(pairs: pd.DataFrame, long_classes: tuple[str, ...]) -> pd.Series:
    """Return the exposure score (0 to 100) of each bank from its structures.

    Parameters
    ----------
    pairs
        One row per bank and structure that faces it: bank_id, structure_class, score (0 to 1).
    long_classes
        Classes of which only the worst piece counts.

    Returns
    -------
    Series
        Indexed by bank_id; banks without a row have none.

    Notes
    -----
    ``100 (1 - prod(1 - s))``: each further structure takes its share of what is still missing
    from 100, so more or nearer structures never lower the score and none exceeds 100. How many
    pieces a road's line is cut into is an accident of its layer: of each long class only the
    worst piece enters.

    Examples
    --------
    >>> import pandas as pd
    >>> pairs = pd.DataFrame(
    ...     {
    ...         "bank_id": ["A", "A", "A", "B"],
    ...         "structure_class": ["dwelling", "road", "road", "shed"],
    ...         "score": [0.5, 0.5, 0.2, 0.4],
    ...     }
    ... )
    >>> combined_scores(pairs, ("road",)).tolist()  # A: 1 - 0.5 * 0.5, the second piece is out
    [75.0, 40.0]
    """
    is_long = pairs["structure_class"].isin(long_classes)
    worst = pairs[is_long].groupby(["bank_id", "structure_class"], as_index=False)["score"].max()
    counted = pd.concat([pairs.loc[~is_long, ["bank_id", "score"]], worst[["bank_id", "score"]]])
    counted = counted.sort_values(["bank_id", "score"], kind="stable")
    missing = (1.0 - counted["score"]).groupby(counted["bank_id"]).prod()
    return 100.0 * (1.0 - missing)
