"""Repairs on corridors whose failing lengths are known: where they begin and end, on which bank."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.spatial import cKDTree

from reachrank.pipeline import STAGES, run_stage
from reachrank.settings import Settings
from reachrank.synthetic import CORRIDORS, CorridorSpec, Failing, make_corridor, variant
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


def test_a_failure_shorter_than_two_widths_of_a_wide_channel_keeps_its_height():
    # 24 m of high bank in a channel of 15 m, its full height over 9 m of them; 1.8 widths are 27 m
    spec = CorridorSpec(
        kind="straight", toe_width_m=15.0, height_m=1.0, outside_angle_deg=45.0, length_m=250.0,
        cell_m=0.5, noise_m=0.05, height_variation_frac=0.0, width_variation_frac=0.0,
        failing=(Failing(side="left", from_m=113.0, to_m=137.0, height_m=2.5, angle_deg=65.0),),
    )  # fmt: skip
    corridor = make_corridor(spec, 3)
    tables, ctx = corridor_inputs(corridor, QUIET)
    for stage in STAGES[1:5]:
        tables = run_stage(stage, tables, ctx)
    sections, truth = tables["sections"], corridor.truth
    xy = sections[["x_m", "y_m"]].to_numpy()
    at = cKDTree(np.column_stack([truth.x_m, truth.y_m])).query(xy)[1]
    inside = np.abs(truth.s_m[at] - 125.0) < 4.0
    assert inside.sum() >= 2
    np.testing.assert_allclose(sections["left_bank_height_m"][inside], 2.5, atol=0.15)
