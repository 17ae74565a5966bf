"""Drawing direction, pieces, place, turn and units change no physical answer."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from affine import Affine
from corridor_runs import beside, corridor, measure, moved
from shapely.geometry import LineString
from shapely.ops import substring

from reachrank.synthetic import CORRIDORS, make_corridor, variant

NAME = "irregular_w5_plants"


def assert_same_banks(a: pd.DataFrame, b: pd.DataFrame, tolerance_m: float) -> None:
    for column in ("left_bank_height_m", "right_bank_height_m", "toe_width_m"):
        x, y = a[column].to_numpy(float), b[column].to_numpy(float)
        assert (np.isnan(x) == np.isnan(y)).mean() > 0.98
        both = np.isfinite(x) & np.isfinite(y)
        assert both.sum() > 20
        np.testing.assert_allclose(x[both], y[both], atol=tolerance_m)


def test_a_line_drawn_upstream_gives_the_same_sections() -> None:
    of = corridor(NAME)
    plain = measure(of)["sections"]
    lines = [LineString(list(line.coords)[::-1]) for line in of.lines][::-1]
    turned = measure(of, lines=lines)["sections"]
    assert list(plain["section_id"]) == list(turned["section_id"])
    assert_same_banks(plain, turned, 1e-9)
    assert (plain["bend_id"].fillna("") == turned["bend_id"].fillna("")).all()


def test_a_line_cut_in_pieces_gives_the_same_sections() -> None:
    of = corridor(NAME)
    whole = measure(of)["sections"]
    pieces = []
    for line in of.lines:
        cuts = np.linspace(0, line.length, 4)
        pieces += [substring(line, a, b) for a, b in pairwise(cuts)]
    cut = measure(of, lines=pieces[::-1])["sections"]
    assert len(whole) == len(cut)
    # a cut adds a vertex on the line, and with it a rounding error
    assert_same_banks(whole, cut, 1e-4)


@pytest.mark.parametrize("how", [
    Affine.translation(7000.0, -12000.0), Affine.rotation(90.0), Affine.rotation(180.0),
])  # fmt: skip
def test_moving_or_turning_the_whole_world_changes_nothing(how: Affine) -> None:
    of = corridor(NAME)
    plain = measure(of)
    dem, lines = moved(of, how)
    turned = measure(of, dem=dem, lines=lines)
    pairs = beside(plain["sections"], turned["sections"], how)
    assert len(pairs) > 0.95 * len(plain["sections"])
    for column in ("left_bank_height_m", "right_bank_height_m", "left_top_offset_m"):
        a, b = pairs[column], pairs[f"{column}_other"]
        both = a.notna() & b.notna()
        assert both.mean() > 0.9
        assert np.median(np.abs(a[both] - b[both])) < 0.01
    assert list(plain["bends"]["outside_bank"]) == list(turned["bends"]["outside_bank"])


def test_a_mirrored_world_swaps_left_and_right() -> None:
    of = corridor(NAME)
    plain = measure(of)
    mirror = Affine.scale(-1.0, 1.0)
    dem, lines = moved(of, mirror)
    swapped = measure(of, dem=dem, lines=lines)
    pairs = beside(plain["sections"], swapped["sections"], mirror)
    straight = np.nanmean(np.abs(pairs["left_bank_height_m"] - pairs["left_bank_height_m_other"]))
    crossed = np.nanmean(np.abs(pairs["left_bank_height_m"] - pairs["right_bank_height_m_other"]))
    assert crossed < 0.05
    assert straight > 0.2
    other = {"left": "right", "right": "left"}
    assert [other[b] for b in plain["bends"]["outside_bank"]] == list(
        swapped["bends"]["outside_bank"]
    )


@pytest.mark.parametrize("noise_m", [0.05, 0.12])
def test_the_noise_of_the_elevation_is_measured(noise_m: float) -> None:
    of = make_corridor(variant(CORRIDORS["sine_w5"], length_m=400.0, noise_m=noise_m), 4)
    table = measure(of)["sections"]
    # some hundred second differences along the banks, of noise that neighbouring cells share: over
    # corridors and seeds the ratio scatters by 0.12, so twice that
    assert table["noise_m"].median() == pytest.approx(noise_m, rel=0.25)
