"""Regional curves against their publications."""

import math

import numpy as np
import pytest

from reachrank.curves import curve, curve_names
from reachrank.errors import SettingsError

MI2 = 2.589988110336  # km2 in a square mile, from 1 mile = 1609.344 m exactly
FT = 0.3048

# Arithmetic from the equations in USGS SIR 2004-5247 (Region 5), 2006-5075 (Region 7), 2007-5227
# (Region 3) and 2007-5189 (Regions 1 and 2): area in mi2; discharge in cfs, width and depth in ft.
POINTS = [
    ("ny-region-5", 1, 45.30, 13.500, 0.8010, 10.80),
    ("ny-region-5", 10, 325.16, 37.961, 1.8907, 71.85),
    ("ny-region-5", 50, 1289.49, 78.194, 3.4463, 270.19),
    ("ny-region-7", 1, 37.10, 10.800, 1.4700, 15.90),
    ("ny-region-7", 10, 215.96, 31.004, 2.3244, 72.01),
    ("ny-region-7", 50, 739.75, 64.797, 3.2019, 206.98),
    ("ny-region-3", 10, 400.17, 47.012, 2.6922, None),
    ("ny-regions-1-2", 10, 350.33, 49.481, 2.2610, None),
]


@pytest.mark.parametrize(("name", "mi2", "cfs", "width_ft", "depth_ft", "area_ft2"), POINTS)
def test_new_york_points(name, mi2, cfs, width_ft, depth_ft, area_ft2):
    used, km2 = curve(name), mi2 * MI2
    # half of the last printed digit
    assert used.width_m(km2) / FT == pytest.approx(width_ft, abs=5e-4)
    assert used.depth_m(km2) / FT == pytest.approx(depth_ft, abs=5e-5)
    assert used.discharge_m3s(km2) / FT**3 == pytest.approx(cfs, abs=5e-3)
    if area_ft2 is None:
        assert used.area_m2(km2) is None
    else:
        assert used.area_m2(km2) / FT**2 == pytest.approx(area_ft2, abs=5e-3)


@pytest.mark.parametrize("name", ["ny-region-5", "ny-region-7"])
def test_width_times_depth_is_the_area_that_was_fitted_apart(name):
    km2 = np.linspace(1, 50, 50) * MI2
    product = curve(name).width_m(km2) * curve(name).depth_m(km2)
    # Separate fits of one data set: 0.3 % (arithmetic on the published equations).
    np.testing.assert_allclose(product, curve(name).area_m2(km2), rtol=0.0033)


@pytest.mark.parametrize("name", [n for n in curve_names() if n.startswith("md-")])
def test_maryland_width_times_depth(name):
    # McCandless & Everett 2002, McCandless 2003, recalled: coefficients of W and D multiply to
    # that of A within 0.7 %.
    used = curve(name)
    assert used.width.a * used.depth.a == pytest.approx(used.area.a, rel=0.0075)
    assert used.width.b + used.depth.b == pytest.approx(used.area.b, abs=0.011)


def test_continental_divisions_hang_together():
    # Bieger et al. 2015: width times depth within about 20 % of the area fit, at 10 km2.
    divisions = ["laurentian-upland", "atlantic-plain", "appalachian-highlands",
                 "interior-plains", "interior-highlands", "pacific-mountain-system"]  # fmt: skip
    for name in divisions:
        used = curve(f"bieger-{name}")
        assert used.width_m(10.0) * used.depth_m(10.0) == pytest.approx(
            float(used.area_m2(10.0)), rel=0.2
        )


def test_printed_coefficients_of_the_united_states():
    # Bieger et al. 2015: W = 2.70 A^0.352, D = 0.30 A^0.213, A in km2; at 1 km2 the coefficient.
    used = curve("bieger-usa")
    assert float(used.width_m(1.0)) == 2.70
    assert float(used.depth_m(1.0)) == 0.30
    assert used.discharge_m3s(1.0) is None


def test_large_basin_curve_is_flagged_below_its_range():
    # Interior Highlands: fitted on 78 to 2484 km2, recalled; it gives 23 m of width at 1 km2.
    used = curve("bieger-interior-highlands")
    assert float(used.width_m(1.0)) == pytest.approx(23.23)
    assert used.is_beyond_fit([1.0, 77.9, 78.0, 2484.0, 2485.0]).tolist() == [
        True, True, False, False, True,
    ]  # fmt: skip
    assert not curve("ny-region-5").is_beyond_fit([1e-9, 1e9]).any()  # range not known


def test_no_area_has_no_size():
    widths = curve("md-piedmont").width_m([0.0, -1.0, math.nan, MI2])
    assert np.isnan(widths[:3]).all()
    assert widths[3] == pytest.approx(14.78 * FT)


def test_every_curve_says_where_it_comes_from_and_how_sure_that_is():
    for name in curve_names():
        used = curve(name)
        assert used.citation
        assert "read" in used.certainty or "recalled" in used.certainty
        assert not name.startswith("nc-piedmont-urban")


def test_unknown_name_lists_the_known_ones():
    with pytest.raises(SettingsError, match="ny-region-7"):
        curve("atlantis")
