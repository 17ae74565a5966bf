"""Rosgen 2001 (7th Fed. Interagency Sed. Conf., II-9-15) and 2006, tables recalled."""

import numpy as np
import pytest

from reachrank.hazard.second_opinion import near_bank_stress, points, total

# Class edges as printed, each class from its lower to its upper index: very low 1.0-1.9,
# low 2.0-3.9, moderate 4.0-5.9, high 6.0-7.9, very high 8.0-9.0.
CLASSES = [(1.0, 1.9), (2.0, 3.9), (4.0, 5.9), (6.0, 7.9), (8.0, 9.0)]
EDGES = {
    "height_ratio": [(1.0, 1.1), (1.11, 1.19), (1.2, 1.5), (1.6, 2.0), (2.1, 2.8)],
    "root_depth_ratio": [(1.0, 0.9), (0.89, 0.5), (0.49, 0.3), (0.29, 0.15), (0.14, 0.05)],
    "root_density": [(100, 80), (79, 55), (54, 30), (29, 15), (14, 5)],
    "angle": [(0, 20), (21, 60), (61, 80), (81, 90), (91, 119)],
    "surface_protection": [(100, 80), (79, 55), (54, 30), (29, 15), (14, 10)],
}


@pytest.mark.parametrize("part", EDGES)
def test_index_at_both_edges_of_every_class(part):
    for (first, last), (low, high) in zip(EDGES[part], CLASSES, strict=True):
        assert float(points(part, first)) == pytest.approx(low)
        assert float(points(part, last)) == pytest.approx(high)


@pytest.mark.parametrize("part", EDGES)
def test_gaps_between_classes_are_closed_straight(part):
    for (_, a), (b, _), (_, low), (high, _) in zip(
        EDGES[part], EDGES[part][1:], CLASSES, CLASSES[1:], strict=False
    ):
        assert float(points(part, (a + b) / 2)) == pytest.approx((low + high) / 2)


@pytest.mark.parametrize("part", EDGES)
def test_beyond_the_last_edge_is_ten_and_before_the_first_one(part):
    first, last = EDGES[part][0][0], EDGES[part][-1][1]
    step = 1e-9 if last > first else -1e-9
    assert float(points(part, last + step)) == 10.0
    assert float(points(part, first - step)) == 1.0
    assert np.isnan(points(part, np.nan))


def test_worked_cobble_bank():
    # Worked bank of a published exercise (S.U.N.Y. E.S.F., fluvial geomorphology, 8.21): inputs
    # read there; points follow from the table: 6.0 + 5.9 + 2.0 + 4.0 + 4.0, cobble takes 10.
    five = {"height_ratio": 1.6, "root_depth_ratio": 0.3, "root_density": 79, "angle": 61,
            "surface_protection": 54}  # fmt: skip
    assert [round(float(points(p, v)), 6) for p, v in five.items()] == [6.0, 5.9, 2.0, 4.0, 4.0]
    assert total(five)[0] == pytest.approx(21.9)
    assert total(five, "cobble") == (pytest.approx(11.9), "low")


def test_totals_and_forced_words():
    worst = {"height_ratio": 5.0, "root_depth_ratio": 0.0, "root_density": 0, "angle": 130,
             "surface_protection": 0}  # fmt: skip
    assert total(worst) == (50.0, "extreme")
    assert total(worst, "sand")[0] == 50.0  # held within 5 to 50
    assert total(worst, "bedrock")[1] == "very low"
    assert total(worst, "boulder")[1] == "low"
    with pytest.raises(KeyError):
        total({"angle": 30.0})


@pytest.mark.parametrize(
    ("ratio", "number"),
    [
        (3.01, 1), (3.0, 2), (2.21, 2), (2.2, 3), (2.01, 3), (2.0, 4), (1.81, 4), (1.8, 5),
        (1.5, 5), (1.49, 6), (0.2, 6), (np.inf, 1),
    ],
)  # fmt: skip
def test_near_bank_stress_at_both_sides_of_every_edge(ratio, number):
    # >3.00 1, 2.21-3.00 2, 2.01-2.20 3, 1.81-2.00 4, 1.50-1.80 5, <1.50 6 (method 2).
    assert float(near_bank_stress(ratio)) == number


def test_near_bank_stress_slivers_and_missing():
    assert float(near_bank_stress(1.805)) == 5
    assert float(near_bank_stress(2.205)) == 3
    assert np.isnan(near_bank_stress(np.nan))
