"""What shear bare soil stands, by texture."""

from __future__ import annotations

LB_PER_FT2_PA = 47.880259
BARE_SOIL_LB_PER_FT2: dict[str, float] = {
    "sand": 0.02,
    "loamy sand": 0.02,
    "sandy loam": 0.03,
    "fine sandy loam": 0.03,
    "silt": 0.045,
    "silt loam": 0.045,
    "loam": 0.075,
    "clay": 0.26,
}
"""Low ends of the rows fine colloidal sand, sandy loam, alluvial silt, silty loam, firm loam and
stiff clay: Fischenich 2001 (ERDC TN-EMRRP-SR-29), from memory. Other textures have no row there."""


def bare_soil_limit_pa(texture: str) -> float | None:
    """Return the shear that a bare soil stands, Pa; None for a texture without a printed row.

    Examples
    --------
    >>> round(bare_soil_limit_pa("Loam"), 2)  # 0.075 lb/ft2
    3.59
    """
    limit = BARE_SOIL_LB_PER_FT2.get(" ".join(texture.lower().replace("_", " ").split()))
    return None if limit is None else limit * LB_PER_FT2_PA
