"""Valleys of shapes that real streams have, cut into a DEM: where their channel and banks are."""

from __future__ import annotations

import numpy as np
import pytest

from reachrank.bank.measure import bank_rules
from reachrank.channel.find import blocked_rows, find_channel
from reachrank.sections.measure import Measured, measure_channel
from reachrank.settings import Settings
from reachrank.surface import Surface

LENGTH_M = 320.0
HALF_M = 110.0


def dem(
    knots: list[tuple[float, float]],
    cell_m: float,
    noise_m: float,
    *,
    fill: bool = False,
    hole_m: float = 0.0,
) -> Surface:
    """Return a valley of one cross-section, offsets positive to the left of a stream to the east.

    Cells hold the mean of the ground under them. ``fill`` puts a road fill across half way,
    ``hole_m`` a round hole in the data with that radius, its middle on the left bank.
    """
    rng = np.random.default_rng(5)
    parts = 8
    y = HALF_M - (np.arange(round(2 * HALF_M / cell_m) * parts) + 0.5) * cell_m / parts
    offset, height = np.array(knots).T
    column = np.interp(y, offset, height).reshape(-1, parts).mean(axis=1)
    columns = round(LENGTH_M / cell_m)
    z = np.repeat(column[:, None], columns, axis=1)
    if fill:
        x = (np.arange(columns) + 0.5) * cell_m
        z = np.maximum(z, 3.0 - np.maximum(0.0, abs(x - 160.0) - 6.0))
    z += rng.normal(0.0, noise_m, z.shape)
    if hole_m:
        x, across = np.meshgrid((np.arange(columns) + 0.5) * cell_m, y[parts // 2 :: parts])
        z[np.hypot(x - 160.0, across - 4.0) < hole_m] = np.nan
    inverse = np.array([1 / cell_m, 0.0, 0.0, 0.0, -1 / cell_m, HALF_M / cell_m])
    return Surface.from_array(z, inverse, cell_m)


def measured(surface: Surface, line_off_m: float = 0.0) -> tuple[Measured, np.ndarray]:
    """Find the channel from a drawn line beside it; return the banks and the channel's points."""
    settings = Settings()
    x = np.arange(10.0, LENGTH_M - 9.0, 10.0)
    drawn = np.column_stack([x, np.full(x.size, line_off_m)])
    rules = bank_rules(settings.sections)
    found = find_channel(drawn, surface, settings.channel, rules)
    assert found is not None
    banks = measure_channel(
        found.xy, found.width_m, found.step_m, surface, settings.channel, settings.sections
    )
    return banks, found.xy


FLOODPLAIN = [(-110.0, 2.6), (-6.0, 2.0), (-3.0, 0.0)]


@pytest.mark.parametrize(
    ("cell_m", "terrace_m", "wall_m", "within_m"),
    # a bed of one and a half cells of 4 m is not seen to its ground
    [(1.0, 6.0, 8.0, 0.3), (2.0, 8.0, 8.0, 0.3), (4.0, 12.0, 6.0, 0.7)],
)
def test_the_bank_ends_at_the_terrace_and_not_on_the_wall_behind(
    cell_m, terrace_m, wall_m, within_m
):
    top, foot = 5.0, 5.0 + terrace_m
    knots = [
        *FLOODPLAIN, (3.0, 0.0), (top, 2.0), (foot, 2.2), (foot + 5.0, 2.2 + wall_m),
        (110.0, 4.0 + wall_m),
    ]  # fmt: skip
    banks, xy = measured(dem(knots, cell_m, 0.05), line_off_m=2.0)
    inner = slice(3, -3)
    height = banks.left.height_m[inner]
    assert np.isfinite(height).mean() > 0.9
    assert np.nanmedian(height) == pytest.approx(2.0, abs=within_m)
    assert np.nanmax(height) < 3.5
    assert abs(np.median(xy[inner, 1])) < 0.75 * cell_m  # the wall does not draw the channel over


def test_a_failed_block_half_way_up_is_no_terrace():
    knots = [*FLOODPLAIN, (3.0, 0.0), (4.0, 1.2), (5.5, 1.3), (6.5, 2.5), (110.0, 3.0)]
    banks, _ = measured(dem(knots, 1.0, 0.05))
    assert np.nanmedian(banks.left.height_m) == pytest.approx(2.5, abs=0.3)


def test_a_high_bank_whose_foot_is_rounded_is_seen_whole():
    # steepest near its top and as broad as the channel: the first look ends on the face
    right = [
        (-110.0, 3.4), (-32.0, 3.3), (-28.0, 2.9), (-25.0, 2.2), (-20.0, 1.4), (-15.0, 0.85),
        (-10.0, 0.4), (-5.0, 0.1),
    ]  # fmt: skip
    banks, _ = measured(dem([*right, (0.0, 0.0), (9.0, 0.1), (30.0, 3.0), (110.0, 3.2)], 1.5, 0.03))
    assert np.nanmedian(banks.right.height_m) == pytest.approx(3.2, abs=0.4)
    assert np.isfinite(banks.right.height_m).mean() > 0.9


def test_a_line_on_the_foot_of_the_bank_is_no_crossing_and_a_road_fill_is_one():
    rows, offsets = 200, np.arange(-12.0, 12.5, 1.0)
    bed = np.where((np.arange(rows) > 80) & (np.arange(rows) < 120), 2.5, 0.0)
    strip = np.clip(abs(offsets[None, :] - bed[:, None]) - 2.0, 0.0, 2.0)
    width = np.full(rows, 4.0)
    assert not blocked_rows(strip, offsets, width, 1.0, 1.0, 0.5).any()
    strip[150:160] = np.maximum(strip[150:160], 1.5)
    blocked = blocked_rows(strip, offsets, width, 1.0, 1.0, 0.5)
    assert blocked[150:160].all()
    assert not blocked[:140].any()
    assert not blocked[170:].any()


def test_sections_on_a_road_fill_are_crossings():
    knots = [(-110.0, 2.4), (-5.0, 2.0), (-2.0, 0.0), (2.0, 0.0), (5.0, 2.0), (110.0, 2.4)]
    filled, xy = measured(dem(knots, 1.0, 0.05, fill=True))
    there = abs(xy[:, 0] - 160.0)
    assert filled.is_crossing[there < 5.0].all()
    assert not filled.is_crossing[there > 40.0].any()


@pytest.mark.parametrize("hole_m", [8.0, 12.0, 20.0])
def test_the_channel_does_not_go_around_a_hole_in_the_data(hole_m):
    knots = [(-110.0, 2.4), (-5.0, 2.0), (-2.0, 0.0), (2.0, 0.0), (5.0, 2.0), (110.0, 2.4)]
    banks, xy = measured(dem(knots, 1.0, 0.05, hole_m=hole_m), line_off_m=3.0)
    there = abs(xy[:, 0] - 160.0)
    assert abs(xy[:, 1]).max() < 1.0
    assert banks.is_gap[there < hole_m - 6.0].all()
    assert not banks.is_gap[there > hole_m + 3.0].any()
