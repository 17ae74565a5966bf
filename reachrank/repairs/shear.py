"""Shear of the flow on bed and bank, with the rise in a bend.

The bend factor is low beside laboratory data: fits to four studies lie 15 to 50 % above it
(Thornton, Sin, Sclafani & Abt 2012). Say so wherever it decides anything.
"""

from __future__ import annotations

from reachrank.errors import InputError

FOOT_M = 0.3048
WATER_N_PER_M3 = 9810.0
"""Unit weight of water."""


def bed_shear_pa(depth_m: float, slope_ratio: float) -> float:
    """Return the greatest shear on the bed, ``gamma d S``, Pa (FHWA HEC-15, 3rd ed., 2005).

    Examples
    --------
    >>> round(bed_shear_pa(1.0, 0.005), 2)
    49.05
    """
    return WATER_N_PER_M3 * depth_m * slope_ratio


def bend_factor(radius_over_top_width: float) -> float:
    """Return by how much a bend raises the shear, from its radius over the water's top width.

    2.00 up to a ratio of 2, 1.05 from 10 on, ``2.38 - 0.206 r + 0.0073 r^2`` between (FHWA HEC-15,
    3rd ed., 2005, from memory).

    Examples
    --------
    >>> round(bend_factor(4.0), 4)
    1.6728
    """
    r = radius_over_top_width
    if not r > 0.0:
        raise InputError(f"A radius of {r} widths gives no bend factor.")
    if r <= 2.0:
        return 2.0
    if r >= 10.0:
        return 1.05
    return 2.38 - 0.206 * r + 0.0073 * r * r


def side_factor(bank_h_per_v: float) -> float:
    """Return the shear on a bank over that on the bed, from its slope across to one up.

    0.77 up to 1.5, ``0.066 Z + 0.67`` between, 1 from 5 on (FHWA HEC-15, 3rd ed., 2005, from
    memory).

    Examples
    --------
    >>> round(side_factor(3.0), 3)
    0.868
    """
    if bank_h_per_v <= 1.5:
        return 0.77
    if bank_h_per_v >= 5.0:
        return 1.0
    return 0.066 * bank_h_per_v + 0.67


def bend_effect_length_m(hydraulic_radius_m: float, manning_n: float) -> float:
    """Return how far below a bend its raised shear goes on: ``0.60 R^(7/6) / n``, both in feet.

    FHWA HEC-15, 3rd ed., 2005, from memory. Its metric form prints 0.74 where the exact
    conversion is 0.60 * 0.3048^(-1/6) = 0.7314; the exact one is used, so that both units agree.

    Examples
    --------
    >>> round(bend_effect_length_m(2 * 0.3048, 0.04) / 0.3048, 1)  # R = 2 ft, n = 0.04: feet
    33.7
    """
    radius_ft = hydraulic_radius_m / FOOT_M
    length_ft: float = 0.60 * radius_ft ** (7.0 / 6.0) / manning_n
    return length_ft * FOOT_M
