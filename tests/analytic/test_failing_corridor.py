"""Repairs on corridors whose failing lengths are known: where they begin and end, on which bank."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from reachrank.pipeline import STAGES, run_stage
from reachrank.settings import Settings
from reachrank.synthetic import CORRIDORS, make_corridor, variant
from reachrank.synthetic.stages import corridor_inputs

QUIET = dataclasses.replace(Settings(), priority=dataclasses.replace(Settings().priority, draws=0))
FAILING = CORRIDORS["failing_w6"]
SIDES = ("left", "right")
LEAST_OVERLAP = 0.9
"""Asked for, not found: a repair that misses a tenth of a bank would not do for a contract."""


def repaired(spec, seed):
    """Return truth per side, whether repairs cover each true station, and the repairs."""
    corridor = make_corridor(spec, seed)
    tables, ctx = corridor_inputs(corridor, QUIET)
    for stage in STAGES[1:-1]:
        tables = run_stage(stage, tables, ctx)
    repairs = tables["repairs"]
    truth = {side: corridor.truth.bank(side).is_failing for side in SIDES}
    covered = {
        side: corridor.truth.bank(side).covered(repairs.geometry[repairs["bank"] == side])
        for side in SIDES
    }
    return truth, covered, repairs


@pytest.mark.parametrize(("cell_m", "noise_m", "seed"), [(1.0, 0.10, 2), (0.5, 0.05, 3)])
def test_failing_lengths_are_found_on_the_right_bank(cell_m, noise_m, seed):
    truth, covered, _ = repaired(variant(FAILING, cell_m=cell_m, noise_m=noise_m), seed)
    t = np.concatenate([truth[side] for side in SIDES])
    c = np.concatenate([covered[side] for side in SIDES])
    assert (t & c).sum() / (t | c).sum() >= LEAST_OVERLAP
    for side, other in zip(SIDES, SIDES[::-1], strict=True):
        # Where only the other bank fails, nothing is repaired: 6 m, a channel's width, are left
        # for ends that run a section too far.
        wrong = covered[side] & truth[other] & ~truth[side]
        assert wrong.sum() * 0.25 <= 6.0


def test_plainly_sound_banks_are_left_alone():
    sound = variant(FAILING, failing=(), cell_m=1.0, noise_m=0.10)
    assert len(repaired(sound, 2)[2]) == 0
