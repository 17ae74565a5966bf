"""Places and parts along joined banks, with shapely on the one whole line as judge."""

import itertools

import numpy as np
import pytest
import shapely
from shapely.ops import linemerge, substring

from reachrank.repairs.bank_line import BankLine, cut

FAR = 4.2e6
"""As far from the origin as northings are."""


@pytest.fixture
def line():
    """Make five banks of 1 to 12 steps that meet end to end."""
    generator = np.random.default_rng(30)
    counts = np.array([3, 12, 1, 7, 5])
    steps = np.column_stack([generator.uniform(1, 6, counts.sum()), generator.normal(0, 2, 28)])
    xy = np.array([3.0e5, FAR]) + np.concatenate([[[0.0, 0.0]], np.cumsum(steps, axis=0)])
    ends = np.concatenate([[0], np.cumsum(counts)])
    banks = np.array([shapely.LineString(xy[a : b + 1]) for a, b in itertools.pairwise(ends)])
    borders = np.concatenate([[0.0], np.cumsum(shapely.length(banks))])
    return BankLine([f"R{i}" for i in range(5)], banks, borders, borders[::-1])


@pytest.fixture
def whole(line):
    merged = linemerge(list(line.lines))
    assert merged.geom_type == "LineString"
    return merged


def test_parts_are_those_of_the_whole_line(line, whole):
    generator = np.random.default_rng(31)
    low, high = np.sort(generator.uniform(0.0, line.length_m, (2, 200)), axis=0)
    low = np.concatenate([low, [0.0], line.borders_m[:-1], [line.borders_m[1]]])
    high = np.concatenate([high, [line.length_m], line.borders_m[1:], [line.borders_m[3]]])
    for part, a, b in zip(line.parts(low, high), low, high, strict=True):
        judge = substring(whole, a, b)
        assert part.length == pytest.approx(b - a, abs=1e-8)  # northings hold 1e-9 m
        assert shapely.hausdorff_distance(part, judge) < 1e-8
        assert part.coords[0] == pytest.approx(judge.coords[0], abs=1e-8)


def test_points_are_placed_where_shapely_places_them(line):
    generator = np.random.default_rng(32)
    bank = generator.integers(0, 5, 300)
    share = generator.random(300)
    on_bank = shapely.line_interpolate_point(line.lines[bank], share, normalized=True)
    points = shapely.get_coordinates(on_bank) + generator.normal(0.0, 4.0, (300, 2))
    points[:5] = [own.coords[1] for own in line.lines]  # points of the lines themselves
    bank[:5] = np.arange(5)
    judge = shapely.line_locate_point(line.lines[bank], shapely.points(points))
    found = line.locate(bank, points[:, 0], points[:, 1])
    assert found == pytest.approx(line.borders_m[bank] + judge, abs=1e-8)


def test_what_lies_on_each_bank_adds_up(line):
    low = np.array([0.0, line.borders_m[1], line.borders_m[2] - 0.25])
    high = np.array([line.length_m, line.borders_m[2], line.borders_m[2] + 0.5])
    owner, bank, start, stop = line.banks_between(low, high)
    assert bank[owner == 0].tolist() == [0, 1, 2, 3, 4]
    assert bank[owner == 1].tolist() == [1]
    assert bank[owner == 2].tolist()[0] == 1
    assert np.bincount(owner, stop - start) == pytest.approx(high - low)


def test_parts_of_several_lines_come_in_the_order_asked_for(line):
    shifted = BankLine(
        line.reach_ids,
        np.array([shapely.transform(own, lambda xy: xy + 10.0) for own in line.lines]),
        line.borders_m,
        line.stations_m,
    )
    low, high = np.array([1.0, 2.0, 3.0]), np.array([9.0, 8.0, 7.0])
    first, second, third = cut([line, shifted, line], low, high)
    assert first.equals(line.parts(low[:1], high[:1])[0])
    assert second.equals(shifted.parts(low[1:2], high[1:2])[0])
    assert third.equals(line.parts(low[2:], high[2:])[0])
