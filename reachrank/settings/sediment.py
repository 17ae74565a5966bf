"""Settings of the soil that a repair keeps out of the creek, and what a tonne of it costs."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings._field import TOOL_DEFAULT, setting


@dataclass(frozen=True, kw_only=True)
class SedimentSettings:
    """Soil lost from a failing face by the direct volume method, and the cost of keeping it.

    Which recession goes with which hazard score is in the group ``exposure``.
    """

    default_texture: str = setting(
        "loam",
        "Texture where no soil layer says one; the repair's soil_texture then says that it was "
        "assumed. Weight by texture: Michigan DEQ 1999, after Steffen 1982, from memory.",
        choices=(
            "sand", "loamy sand", "sandy loam", "fine sandy loam", "loam", "sandy clay loam",
            "sandy clay", "silt loam", "silty clay loam", "silty clay", "clay loam", "clay",
            "organic",
        ),
    )  # fmt: skip
    nutrients: str = setting(
        "chesapeake_2014",
        "Nitrogen and phosphorus for each mass of soil. chesapeake_2014: 2.28 and 1.05 lb a ton, "
        "for banks that were not sampled. michigan_1999: 2 and 1 lb a ton times a factor by "
        "texture.",
        source="Chesapeake Bay Program expert panel on stream restoration 2014, after Walter et "
        "al. 2007; Michigan DEQ 1999, from memory",
        choices=("chesapeake_2014", "michigan_1999"),
    )
    efficiency_frac: float = setting(
        1.0,
        "Share of the loss that a repair stops, for the cost of a tonne; the sediment columns "
        "hold the whole loss. 1 is how the direct volume method is used; the expert panel of "
        "2014 takes 0.5 unless shown otherwise.",
        unit="0-1",
        source=f"{TOOL_DEFAULT}; 0.5: Schueler & Stack 2014, from memory",
        least=0.01,
        greatest=1.0,
    )
    delivery_ratio_frac: float | None = setting(
        None,
        "Share of the soil that reaches the water that the programme counts for. None: no "
        "delivered figures; the others are at the bank.",
        unit="0-1",
        source="none: there is no ratio that holds everywhere",
        least=0.0,
        greatest=1.0,
    )
    practice_life_yr: float = setting(
        10.0,
        "Years that a repair is kept up and counted.",
        unit="yr",
        source="ten years of upkeep as in the cost-share programme of North Carolina (ACSP)",
        least=1.0,
        greatest=100.0,
    )
    interest_frac: float = setting(
        0.04,
        "Yearly interest for spreading the cost over the practice life (capital recovery "
        "factor). 0 divides the cost by the years.",
        unit="0-1",
        source=TOOL_DEFAULT,
        least=0.0,
        greatest=0.3,
    )
