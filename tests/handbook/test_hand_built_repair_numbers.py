"""Numbers of a hand-built repair against printed tables and worked examples.

Each check names its source; "from memory" where the page was not re-read.
"""

import math

import pytest

from reachrank.errors import InputError
from reachrank.repairs.coir import coir_rolls, mat_take_off
from reachrank.repairs.fascines import fascine_rows, fascine_spacing, fascine_take_off
from reachrank.repairs.labour import person_hours
from reachrank.repairs.live_stakes import (
    density_per_m2,
    is_usual_density,
    spacing_m,
    stakes_on_face,
)
from reachrank.repairs.money import capital_recovery_factor, cost_per_kg_usd
from reachrank.repairs.sediment import (
    attached_nutrients,
    dry_density_kg_per_m3,
    sediment_kg_per_yr,
    slope_height_m,
)
from reachrank.repairs.shear import bed_shear_pa, bend_effect_length_m, bend_factor, side_factor

FOOT, YARD, POUND = 0.3048, 0.9144, 0.45359237
TON = 2000 * POUND


# ---- sediment: direct volume method ------------------------------------------------------


@pytest.mark.parametrize(
    ("length_ft", "height_ft", "rate_ft_yr", "lb_ft3", "tons"),
    [
        (300.0, 20.0, 0.4, 100.0, 120.0),  # equation and rate of the City of Ramsey, Minnesota
        (100.0, 5.0, 0.3, 90.0, 6.75),  # 500 ft2: area * rate * weight / 2000, SCS form
    ],
)
def test_direct_volume_method(length_ft, height_ft, rate_ft_yr, lb_ft3, tons):
    kg = sediment_kg_per_yr(
        length_ft * FOOT, height_ft * FOOT, rate_ft_yr * FOOT, lb_ft3 * POUND / FOOT**3
    )
    assert kg / TON == pytest.approx(tons, rel=1e-12)


def test_the_method_takes_the_height_on_the_face():
    # A 3-4-5 triangle: 3 up, 4 across, 5 on the face.
    assert slope_height_m(3.0, math.degrees(math.atan2(3.0, 4.0))) == pytest.approx(5.0)
    assert slope_height_m(3.0, 90.0) == pytest.approx(3.0)
    for angle in (0.0, -5.0, 91.0, float("nan")):
        with pytest.raises(InputError):
            slope_height_m(3.0, angle)


# Michigan DEQ 1999, after Steffen 1982 (from memory): tons a cubic foot, and kg a cubic metre.
STEFFEN = [
    ("sand", 0.055, 1762),
    ("loamy sand", 0.055, 1762),
    ("sandy loam", 0.0525, 1682),
    ("fine sandy loam", 0.05, 1602),
    ("loam", 0.045, 1442),
    ("sandy clay loam", 0.045, 1442),
    ("sandy clay", 0.045, 1442),
    ("silt loam", 0.0425, 1362),
    ("silty clay loam", 0.04, 1281),
    ("silty clay", 0.04, 1281),
    ("clay loam", 0.0375, 1201),
    ("clay", 0.035, 1121),
    ("organic", 0.011, 352),
]


@pytest.mark.parametrize(("texture", "ton_ft3", "kg_m3"), STEFFEN)
def test_dry_weights(texture, ton_ft3, kg_m3):
    density = dry_density_kg_per_m3(texture)
    assert density * FOOT**3 / TON == pytest.approx(ton_ft3)
    assert density == pytest.approx(kg_m3, abs=0.5)  # printed to whole kg
    assert dry_density_kg_per_m3(f" {texture.upper().replace(' ', '_')} ") == density


def test_an_unknown_texture_is_refused():
    with pytest.raises(InputError, match="moon dust"):
        dry_density_kg_per_m3("moon dust")


def test_nutrients_of_one_ton():
    # Chesapeake Bay Program expert panel 2014: 2.28 lb N and 1.05 lb P a ton.
    kg = attached_nutrients(TON)
    assert (kg.nitrogen_kg / POUND, kg.phosphorus_kg / POUND) == pytest.approx((2.28, 1.05))
    # Michigan DEQ 1999 (from memory): 2 and 1 lb a ton, clay 1.15, sand 0.85, peat 1.50.
    for group, factor in (("silt", 1.0), ("clay", 1.15), ("sand", 0.85), ("peat", 1.5)):
        kg = attached_nutrients(TON, "michigan_1999", group)
        assert kg.nitrogen_kg / POUND == pytest.approx(2.0 * factor)
        assert kg.phosphorus_kg / POUND == pytest.approx(1.0 * factor)


# ---- money -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    # Compound interest tables of engineering economics texts (A/P, five places; from memory).
    ("interest", "years", "factor"),
    [(0.06, 10, 0.13587), (0.08, 20, 0.10185), (0.10, 5, 0.26380)],
)
def test_capital_recovery(interest, years, factor):
    assert capital_recovery_factor(interest, years) == pytest.approx(factor, abs=5e-6)


def test_equal_payments_pay_off_the_debt():
    debt, payment = 1.0, capital_recovery_factor(0.05, 12)
    for _ in range(12):
        debt = debt * 1.05 - payment
    assert debt == pytest.approx(0.0, abs=1e-12)


def test_no_interest_is_the_limit():
    assert capital_recovery_factor(0.0, 10) == 0.1
    assert capital_recovery_factor(1e-9, 10) == pytest.approx(0.1, rel=1e-6)
    assert cost_per_kg_usd(5000.0, 100.0, 10.0) == pytest.approx(5.0)
    with pytest.raises(InputError):
        cost_per_kg_usd(5000.0, 0.0, 10.0)
    with pytest.raises(InputError):
        capital_recovery_factor(0.05, 0.0)


# ---- live stakes -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spacing_ft", "per_yd2"), [(2.0, 2.598), (2.5, 1.663), (3.0, 1.155), (1.61, 4.0), (2.28, 2.0)]
)
def test_triangular_spacing_and_density(spacing_ft, per_yd2):
    # Geometry; MDE MGWC 2.4 prints 2-3 ft and 2-4 per square yard, which do not agree at 3 ft.
    assert density_per_m2(spacing_ft * FOOT) * YARD**2 == pytest.approx(per_yd2, rel=5e-3)
    assert spacing_m(density_per_m2(spacing_ft * FOOT)) == pytest.approx(spacing_ft * FOOT)


def test_usual_density_is_two_to_four_a_square_yard():
    assert [is_usual_density(n / YARD**2) for n in (1.9, 2.0, 3.0, 4.0, 4.1)] == [
        False, True, True, True, False,
    ]  # fmt: skip
    assert not is_usual_density(density_per_m2(3.0 * FOOT))


def test_stakes_on_a_large_face_come_to_area_times_density():
    n = stakes_on_face(1000.0, 500.0, 1.0)
    assert n == pytest.approx(1000.0 * 500.0 * density_per_m2(1.0), rel=3e-3)
    # Counted by hand: rows 0.866 m apart on 2 m of face are 3, and 10 in each.
    assert stakes_on_face(10.0, 2.0, 1.0) == 30


# ---- fascines ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    # NRCS Engineering Field Handbook ch. 18, Table 18-1, October 1992 (from memory), feet.
    ("slope", "least", "greatest", "longest"),
    [
        (1.2, 3, 4, 15),
        (1.8, 4, 5, 20),
        (2.2, 5, 6, 30),
        (2.8, 6, 8, 40),
        (3.7, 8, 9, 50),
        (4.8, 9, 10, 60),
    ],
)
def test_fascine_spacing_by_slope(slope, least, greatest, longest):
    got = fascine_spacing(slope)
    assert not got.is_interpolated
    assert (got.least_m, got.greatest_m, got.longest_face_m) == pytest.approx(
        (least * FOOT, greatest * FOOT, longest * FOOT)
    )


def test_bands_missing_from_the_table_lie_between_and_say_so():
    for slope, expected in ((3.25, (7.0, 8.5, 45.0)), (4.25, (8.5, 9.5, 55.0))):
        got = fascine_spacing(slope)
        assert got.is_interpolated
        assert (got.least_m, got.greatest_m, got.longest_face_m) == pytest.approx(
            tuple(x * FOOT for x in expected)
        )
    assert fascine_spacing(1.5).greatest_m == pytest.approx(4 * FOOT)  # border: the closer rows
    for slope in (0.9, 5.1, float("nan")):
        with pytest.raises(InputError):
            fascine_spacing(slope)


def test_flatter_never_needs_closer_rows():
    slopes = [1.0 + 0.01 * i for i in range(401)]
    least = [fascine_spacing(slope).least_m for slope in slopes]
    assert least == sorted(least)


def test_fascine_take_off_counted_by_hand():
    assert [fascine_rows(h, 1.0) for h in (0.5, 1.0, 2.9)] == [1, 2, 3]
    got = fascine_take_off(
        10.0, 2.0, 1.0, bundle_length_m=2.5, overlap_m=0.5, bundle_diameter_m=0.2,
        tie_spacing_m=0.5, stake_spacing_m=1.0,
    )  # fmt: skip
    # 3 rows of 10 m; each row 5 bundles that gain 2 m; 6 ties each round 0.2 m; each row 10 pairs
    # of stakes and one more pair at each of the 4 overlaps.
    assert (got.rows, got.length_m, got.bundles) == (3, 30.0, 15)
    assert got.twine_m == pytest.approx(15 * 6 * math.pi * 0.2)
    assert got.dead_stakes == 3 * (10 + 4) * 2


# ---- coir --------------------------------------------------------------------------------


def test_mat_and_rolls():
    # Take-off arithmetic: (3 + 0.5 + 0.5) * 20 * (1 + 0.1 / 2) = 84 m2.
    mat = mat_take_off(
        20.0, 3.0, roll_width_m=2.0, roll_length_m=25.0, side_overlap_m=0.1,
        top_key_m=0.5, toe_key_m=0.5, stakes_per_m2=1.0,
    )  # fmt: skip
    assert mat.mat_m2 == pytest.approx(84.0)
    assert (mat.face_m2, mat.rolls, mat.stakes) == (60.0, 2, 80)
    assert [coir_rolls(n, 3.0) for n in (3.0, 3.1, 9.0)] == [1, 2, 3]


# ---- labour ------------------------------------------------------------------------------


def test_recorded_jobs():
    # Lake Tahoe 1973 (Leiser 1983, in Allen & Leech 1997): the parts of both jobs add up.
    assert sum((2, 27, 28, 9, 75, 10, 42)) == 193
    assert sum((2, 9, 34, 76, 10, 42)) == 173
    assert person_hours("fascine_m", 1140 * FOOT) == pytest.approx(193.0)
    assert person_hours("cuttings", 8000) == pytest.approx(173.0)
    assert 1.0 / person_hours("cuttings", 1.0) == pytest.approx(46.2, abs=0.05)
    assert FOOT**-1 / person_hours("fascine_m", 1.0) == pytest.approx(5.9, abs=0.05)
    # 675 posts, 5 people, two days of 8 hours: 80 hours, whatever the text's "about 17" says.
    assert person_hours("willow_posts", 675) == pytest.approx(80.0)


# ---- shear -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    # FHWA HEC-15, 3rd ed. 2005 (formula from memory), values by arithmetic.
    ("ratio", "factor"),
    [(1.0, 2.0), (2.0, 2.0), (2.5, 1.9106), (3, 1.8277), (4, 1.6728), (5, 1.5325), (6, 1.4068),
     (8, 1.1992), (10, 1.05), (40, 1.05)],
)  # fmt: skip
def test_bend_factor(ratio, factor):
    assert bend_factor(ratio) == pytest.approx(factor, abs=5e-5)


def test_shear_and_its_length_below_a_bend():
    # tau = gamma d S: 62.4 lb/ft3 * 2 ft * 0.01 = 1.248 lb/ft2; 1 lb/ft2 = 47.880 Pa.
    # 9810 N/m3 against 62.4 lb/ft3 (9802 N/m3): 0.08 %.
    assert bed_shear_pa(2 * FOOT, 0.01) == pytest.approx(1.248 * 47.880, rel=1e-3)
    assert bend_effect_length_m(2 * FOOT, 0.04) == pytest.approx(33.7 * FOOT, abs=0.05 * FOOT)
    assert [side_factor(z) for z in (1.0, 1.5, 3.0, 5.0, 6.0)] == pytest.approx(
        [0.77, 0.77, 0.868, 1.0, 1.0]
    )
    with pytest.raises(InputError):
        bend_factor(0.0)
