"""From sections to banks: the section at the chosen quantile decides, so the sum can be read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.columns import floats
from reachrank.hazard.breakpoints import knots_source
from reachrank.hazard.engine import Hazard
from reachrank.hazard.measure import bank_rows
from reachrank.hazard.side_frame import Bools, Floats
from reachrank.schema import FACTORS
from reachrank.sections.whole import NAMED_BY, section_names
from reachrank.settings.hazard import HazardSettings


@dataclass(frozen=True)
class Deciding:
    """For each bank: the row and side of its deciding section, -1 where none counts."""

    row: NDArray[np.int64]
    side: NDArray[np.int64]
    usable_frac: Floats
    """Share of the bank's sections that count."""
    measured_frac: Floats
    """Mean share of the weight that was measured in them."""

    @property
    def known(self) -> Bools:
        """Which banks have a deciding section."""
        return self.row >= 0

    @property
    def place(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Rows and sides of the deciding sections of the known banks."""
        return self.row[self.known], self.side[self.known]

    def take(self, values: NDArray[np.generic]) -> NDArray[np.generic]:
        """Return values of shape (sections, 2) at the deciding sections of the known banks."""
        return values[self.place]


def deciding_sections(
    sections: pd.DataFrame, banks: pd.DataFrame, hazard: Hazard, quantile: float
) -> Deciding:
    """Return each bank's deciding section.

    Of the k sections that count, sorted by score, it is number ceil(quantile * (k - 1)) from 0:
    always a section that exists, the next higher one where the quantile falls between two. Of
    equal scores the lower station comes first.
    """
    count = len(banks)
    flat_bank = bank_rows(sections, banks).astype(np.int32).ravel()  # left and right in turn
    flat_score = hazard.hazard_score.ravel()
    all_of = np.bincount(flat_bank[flat_bank >= 0], minlength=count)
    use = np.flatnonzero((flat_bank >= 0) & np.isfinite(flat_score)).astype(np.int32)
    station = floats(sections, "station_m")[use // 2]
    use = use[np.lexsort((station, flat_score[use], flat_bank[use]))]
    used_of = np.bincount(flat_bank[use], minlength=count)
    start = np.concatenate(([0], np.cumsum(used_of)[:-1])) if count else np.empty(0, np.int64)
    pick = start + np.ceil(quantile * np.maximum(used_of - 1, 0) - 1e-9).astype(np.int64)
    has = used_of > 0
    chosen_row, chosen_side = np.full(count, -1, np.int64), np.full(count, -1, np.int64)
    chosen_row[has], chosen_side[has] = np.divmod(use[pick[has]], 2)
    measured = np.bincount(
        flat_bank[use], weights=hazard.measured_frac.ravel()[use], minlength=count
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        return Deciding(chosen_row, chosen_side, used_of / all_of, measured / used_of)


def factor_rows(
    sections: pd.DataFrame,
    banks: pd.DataFrame,
    hazard: Hazard,
    deciding: Deciding,
    settings: HazardSettings,
) -> list[pd.DataFrame]:
    """Return, for each factor, one row per bank with a score: `factor_table` joins them."""
    known = deciding.known
    bank_id = banks["bank_id"].to_numpy(object)[known]
    at = deciding.place
    named_by = [name for name in NAMED_BY if name in sections]
    section_id = section_names(sections[named_by].iloc[at[0]])
    blocks = []
    for order, part in enumerate(hazard.parts):
        scores = part.score(at)
        state = np.select(
            [part.is_missing(at), part.is_lower_bound(at)], ["missing", "lower_bound"], "measured"
        )
        origin = f"breakpoints: {knots_source(part.factor, settings)}; "
        told = {  # one text for each, not one for each row
            "missing": f"{origin}no value here, scored as the run's typical one",
            "lower_bound": f"{origin}a lower bound, measured",
            "measured": f"{origin}measured",
        }
        blocks.append(
            pd.DataFrame(
                {
                    "bank_id": bank_id,
                    "factor": part.factor.name,
                    "value": part.value[at],
                    "unit": part.factor.unit,
                    "score": scores,
                    "weight": part.weight,
                    "contribution": 100.0 * part.weight * scores,
                    "source": [told[word] for word in state],
                    "state": state.astype(object),
                    "value_se": part.value_se(at),
                    "section_id": section_id,
                    "order": order,
                }
            )
        )
    return blocks


def factor_table(blocks: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Return the layer ``factors``, sorted by bank."""
    if not blocks:
        numbers = ("value", "score", "weight", "contribution", "value_se")
        return pd.DataFrame(
            {name: pd.Series(dtype=float if name in numbers else object) for name in FACTORS.names}
        )
    table = pd.concat(blocks, ignore_index=True)
    table = table.sort_values(["bank_id", "order"], kind="stable", ignore_index=True)
    return table.drop(columns="order")
