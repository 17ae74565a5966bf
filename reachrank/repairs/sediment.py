"""Soil lost from a bank in a year by the direct volume method, and what is attached to it.

All figures are at the edge of the bank: what leaves the face, not what arrives anywhere. No
delivery ratio is applied.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from reachrank.errors import InputError

POUND_KG = 0.45359237
FOOT_M = 0.3048
SHORT_TON_KG = 2000.0 * POUND_KG
"""The ton of U.S. conservation tables, 2000 lb."""

SOIL_WEIGHTS_LB_PER_FT3: dict[str, float] = {
    "sand": 110.0,
    "loamy sand": 110.0,
    "sandy loam": 105.0,
    "fine sandy loam": 100.0,
    "loam": 90.0,
    "sandy clay loam": 90.0,
    "sandy clay": 90.0,
    "silt loam": 85.0,
    "silty clay loam": 80.0,
    "silty clay": 80.0,
    "clay loam": 75.0,
    "clay": 70.0,
    "organic": 22.0,
}
"""Dry unit weight by texture: Michigan DEQ 1999, Pollutants Controlled Calculation and
Documentation for Section 319 Watersheds, after Steffen 1982; from memory."""

TextureGroup = Literal["clay", "silt", "sand", "peat"]
NutrientSource = Literal["michigan_1999", "chesapeake_2014"]
TEXTURE_FACTORS: dict[str, float] = {"clay": 1.15, "silt": 1.00, "sand": 0.85, "peat": 1.50}
"""Multipliers of the Michigan concentrations (Michigan DEQ 1999, from memory)."""
NUTRIENTS_PER_SEDIMENT: dict[str, tuple[float, float]] = {
    "michigan_1999": (0.001, 0.0005),
    "chesapeake_2014": (2.28 / 2000.0, 1.05 / 2000.0),
}
"""Nitrogen and phosphorus, mass per mass of sediment. Michigan DEQ 1999 (from memory);
Chesapeake Bay Program expert panel on stream restoration 2014, 2.28 and 1.05 lb per ton, after
Walter et al. 2007, to be used where a bank has not been sampled."""


@dataclass(frozen=True)
class Nutrients:
    """What is attached to a mass of sediment, kg."""

    nitrogen_kg: float
    phosphorus_kg: float


def slope_height_m(bank_height_m: float, bank_angle_deg: float) -> float:
    """Return the height measured on the face, ``height / sin(angle)``, of a plane bank.

    The direct volume method asks for this one; with the vertical height it comes out too low.

    Raises
    ------
    InputError
        Where the angle is not above 0 and up to 90 degrees: an overhanging face has no slope
        height that follows from its vertical one.

    Examples
    --------
    >>> round(slope_height_m(2.0, 30.0), 6)  # sin 30 = 1/2
    4.0
    """
    if not 0.0 < bank_angle_deg <= 90.0:
        raise InputError(
            f"A bank angle of {bank_angle_deg} degrees gives no slope height.",
            hint="Measure the height along the face instead.",
        )
    return bank_height_m / math.sin(math.radians(bank_angle_deg))


def dry_density_kg_per_m3(texture: str) -> float:
    """Return the dry unit weight of a soil texture.

    Examples
    --------
    >>> round(dry_density_kg_per_m3("silt loam"))  # 85 lb/ft3
    1362
    """
    name = " ".join(texture.strip().lower().replace("_", " ").split())
    if name not in SOIL_WEIGHTS_LB_PER_FT3:
        raise InputError(
            f"No dry weight is known for the texture {texture!r}.",
            hint=f"Known are: {', '.join(SOIL_WEIGHTS_LB_PER_FT3)}.",
        )
    return SOIL_WEIGHTS_LB_PER_FT3[name] * POUND_KG / FOOT_M**3


def sediment_kg_per_yr(
    length_m: float, slope_height_m: float, recession_m_per_yr: float, density_kg_per_m3: float
) -> float:
    """Return the soil that leaves a bank in a year, kg: face area times recession times density.

    Grassed and rock faces do not erode by this method: leave their length out.

    References
    ----------
    Direct volume method, USDA Soil Conservation Service / NRCS; the form with slope height as in
    the documents of the Colorado Water Conservation Board.

    Examples
    --------
    >>> kg = sediment_kg_per_yr(300 * 0.3048, 20 * 0.3048, 0.4 * 0.3048, 100 * 16.018463)
    >>> round(kg / 907.18474, 2)  # 300 ft, 20 ft, 0.4 ft/yr, 100 lb/ft3: tons a year
    120.0
    """
    return length_m * slope_height_m * recession_m_per_yr * density_kg_per_m3


def attached_nutrients(
    sediment_kg: float,
    source: NutrientSource = "chesapeake_2014",
    texture_group: TextureGroup = "silt",
) -> Nutrients:
    """Return nitrogen and phosphorus attached to sediment; sediment-attached, not delivered.

    The texture group counts only in the Michigan method.

    Examples
    --------
    >>> per_ton = attached_nutrients(907.18474)  # one ton of 2000 lb
    >>> round(per_ton.nitrogen_kg / 0.45359237, 2), round(per_ton.phosphorus_kg / 0.45359237, 2)
    (2.28, 1.05)
    """
    nitrogen, phosphorus = NUTRIENTS_PER_SEDIMENT[source]
    factor = TEXTURE_FACTORS[texture_group] if source == "michigan_1999" else 1.0
    return Nutrients(sediment_kg * nitrogen * factor, sediment_kg * phosphorus * factor)
