"""Soil that leaves a failing face in a year, what is attached to it, and what a tonne costs.

Screening figures, at the bank: what leaves the face, not what arrives anywhere, unless the user
gives a delivery ratio. The direct volume method takes the height on the face.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import cast

from reachrank.errors import InputError
from reachrank.exposure.recession import recession_rates
from reachrank.repairs.money import capital_recovery_factor
from reachrank.repairs.sediment import (
    NutrientSource,
    TextureGroup,
    attached_nutrients,
    dry_density_kg_per_m3,
    sediment_kg_per_yr,
)
from reachrank.repairs.site import Site
from reachrank.settings.exposure import ExposureSettings
from reachrank.settings.sediment import SedimentSettings

LEVELS = ("low", "mid", "high")
GROUPS: dict[str, TextureGroup] = {
    "sand": "sand",
    "loamy sand": "sand",
    "sandy loam": "sand",
    "fine sandy loam": "sand",
    "loam": "silt",
    "silt loam": "silt",
    "sandy clay loam": "silt",
    "silty clay loam": "clay",
    "clay loam": "clay",
    "sandy clay": "clay",
    "silty clay": "clay",
    "clay": "clay",
    "organic": "peat",
}
"""Which of the four groups of the nutrient factors a texture belongs to: tool default."""


def recession_category(hazard_score: float, settings: ExposureSettings) -> str | None:
    """Return the recession category that stands for a hazard score, None for an unknown one."""
    if not math.isfinite(hazard_score):
        return None
    return [name for start, name in settings.hazard_categories if hazard_score >= start][-1]


def soil_used(texture: str | None, settings: SedimentSettings) -> tuple[str, str]:
    """Return the texture whose weight is used, and how to tell where it comes from.

    Examples
    --------
    >>> soil_used("gravel", SedimentSettings())
    ('loam', 'loam, assumed: no weight is known for gravel')
    """
    if texture is None:
        name = settings.default_texture
        return name, f"{name}, assumed: no soil layer says"
    name = " ".join(texture.strip().lower().replace("_", " ").split())
    try:
        dry_density_kg_per_m3(name)
    except InputError:
        other = settings.default_texture
        return other, f"{other}, assumed: no weight is known for {texture}"
    return name, f"{name}, from the soil layer"


def soil_columns(
    site: Site, settings: SedimentSettings, exposure: ExposureSettings
) -> dict[str, float | str | None]:
    """Return the columns of soil and nutrients of one repair; NaN without a face or a hazard.

    Low is the low slope height at the category's low recession, high both high, middle the mean
    slope height at the middle recession. Tie-ins are sound bank and lose nothing.
    """
    return next(soil_rows([site], settings, exposure))


def soil_rows(
    sites: Sequence[Site], settings: SedimentSettings, exposure: ExposureSettings
) -> Iterator[dict[str, float | str | None]]:
    """Yield `soil_columns` of many repairs, in their order."""
    rates = recession_rates([site.hazard_score for site in sites], exposure).tolist()
    for site, rates_m_per_yr in zip(sites, rates, strict=True):
        yield _columns(site, rates_m_per_yr, settings, exposure)


def _columns(
    site: Site,
    rates_m_per_yr: Sequence[float],
    settings: SedimentSettings,
    exposure: ExposureSettings,
) -> dict[str, float | str | None]:
    texture, told = soil_used(site.texture, settings)
    columns: dict[str, float | str | None] = {
        "soil_texture": told,
        "recession_category": recession_category(site.hazard_score, exposure),
    }
    face = site.face
    density = dry_density_kg_per_m3(texture)
    source = cast("NutrientSource", settings.nutrients)
    ratio = settings.delivery_ratio_frac
    for i, level in enumerate(LEVELS):
        if face is None:
            mass_kg = math.nan
        else:
            slope_m = (face.low_m, 0.5 * (face.low_m + face.high_m), face.high_m)[i]
            mass_kg = sediment_kg_per_yr(site.length_m, slope_m, rates_m_per_yr[i], density)
        attached = attached_nutrients(mass_kg, source, GROUPS[texture])
        columns[f"sediment_{level}_t_yr_screening"] = mass_kg / 1000.0
        columns[f"sediment_delivered_{level}_t_yr_screening"] = (
            math.nan if ratio is None else mass_kg / 1000.0 * ratio
        )
        columns[f"nitrogen_{level}_kg_yr_screening"] = attached.nitrogen_kg
        columns[f"phosphorus_{level}_kg_yr_screening"] = attached.phosphorus_kg
    return columns


def cost_per_tonne_usd(
    cost_usd: tuple[float, float], sediment_t_yr: tuple[float, float], settings: SedimentSettings
) -> tuple[float, float]:
    """Return the yearly cost over the soil kept in a year: low over high, and high over low.

    NaN where either is unknown or no soil is kept.

    Examples
    --------
    >>> rule = SedimentSettings(interest_frac=0.0)  # 1000 over 10 years; 2 and 4 t a year
    >>> cost_per_tonne_usd((1000.0, 1000.0), (2.0, 4.0), rule)
    (25.0, 50.0)
    """
    share = capital_recovery_factor(settings.interest_frac, settings.practice_life_yr)

    def over(cost: float, tonnes: float) -> float:
        kept = tonnes * settings.efficiency_frac
        return cost * share / kept if kept > 0.0 else math.nan

    return over(cost_usd[0], sediment_t_yr[1]), over(cost_usd[1], sediment_t_yr[0])
