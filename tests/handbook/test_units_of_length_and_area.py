"""Lengths and areas of units against NIST Special Publication 811 (2008), appendix B.8."""

import pandas as pd
import pytest

from reachrank.units import (
    AREA_TO_KM2,
    LENGTH_TO_M,
    length_unit,
    length_unit_of_factor,
    to_metric,
    to_us,
    us_name,
)


def test_feet():
    """NIST SP 811 B.8: foot 3.048 E-01; foot (U.S. survey) 3.048 006 E-01."""
    assert LENGTH_TO_M["ft"] == 0.3048
    assert LENGTH_TO_M["us-ft"] == pytest.approx(0.3048006, abs=5e-8)


def test_feet_differ_by_four_feet_at_two_million():
    """Federal Register 85 FR 62698 (2020): the two feet differ by 2 parts per million."""
    apart = 2_000_000 * (LENGTH_TO_M["us-ft"] - LENGTH_TO_M["ft"])
    assert apart / LENGTH_TO_M["ft"] == pytest.approx(4.0, abs=1e-4)


def test_areas():
    """NIST SP 811 B.8: square mile (international) 2.589 988 E+06 m2, hectare 1.0 E+04 m2.

    Acre: 43,560 square feet; the table's 4.046 873 E+03 m2 is the acre of survey feet.
    """
    assert AREA_TO_KM2["mi2"] == pytest.approx(2.589988, abs=5e-7)
    assert AREA_TO_KM2["ha"] == 0.01
    survey_acre = AREA_TO_KM2["acre"] * 1e6 * (LENGTH_TO_M["us-ft"] / LENGTH_TO_M["ft"]) ** 2
    assert survey_acre == pytest.approx(4046.873, abs=5e-4)
    assert AREA_TO_KM2["mi2"] == pytest.approx(640 * AREA_TO_KM2["acre"], rel=1e-12)


@pytest.mark.parametrize(
    ("factor", "column", "name"),
    [
        (10.76391, "area_m2", "area_yd2"),  # square foot 9.290 304 E-02 m2
        (35.31467, "cut_m3", "cut_yd3"),  # cubic foot 2.831 685 E-02 m3
        (3.280840, "length_m", "length_ft"),
        (0.3048, "curvature_per_m", "curvature_per_ft"),
        (1 / 2.589988, "drainage_area_km2", "drainage_area_mi2"),
    ],
)
def test_columns_in_us_units(factor, column, name):
    """Factors from NIST SP 811 B.8; a square yard is 9 square feet, a cubic yard 27 cubic feet."""
    feet = {"_yd2": 9.0, "_yd3": 27.0}.get(name[-4:], 1.0)
    got, by = us_name(column)
    assert got == name
    assert by == pytest.approx(factor / feet, rel=1e-6)


def test_there_and_back():
    table = pd.DataFrame({"length_m": [1.5, None], "rank": [1, 2], "hazard_score": [50.0, 60.0],
                          "stream_power_w_per_m2": [3.0, 4.0]})  # fmt: skip
    there = to_us(table)
    assert list(there) == ["length_ft", "rank", "hazard_score", "stream_power_w_per_m2"]
    assert there["stream_power_w_per_m2"].tolist() == [3.0, 4.0]
    back = to_metric(there, ("length_m", "rank", "hazard_score"))
    pd.testing.assert_frame_equal(back, table)


def test_values_with_their_own_unit():
    table = pd.DataFrame({"value": [10.0, 30.0, 2.0], "unit": ["m", "degrees", "km²"]})
    there = to_us(table)
    assert there["unit"].tolist() == ["ft", "degrees", "mi²"]
    assert there["value"].tolist() == pytest.approx([32.80840, 30.0, 0.7722043], rel=1e-6)
    back = to_metric(there, ("value", "unit"))
    assert back["value"].tolist() == pytest.approx([10.0, 30.0, 2.0])
    assert back["unit"].tolist() == ["m", "degrees", "km²"]


@pytest.mark.parametrize(
    ("word", "unit"),
    [("metre", "m"), ("METERS", "m"), ("US survey foot", "us-ft"), ("ftUS", "us-ft"),
     ("us-ft", "us-ft"), ("ft", "ft"), ("foot", "ft"), ("", None), (None, None), ("fathom", None)],
)  # fmt: skip
def test_words_for_units(word, unit):
    assert length_unit(word) == unit


def test_lengths_of_units():
    assert length_unit_of_factor(1.0) == "m"
    assert length_unit_of_factor(0.3048) == "ft"
    assert length_unit_of_factor(0.304800609601219) == "us-ft"
    assert length_unit_of_factor(0.9144) is None
