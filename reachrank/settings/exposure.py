"""Settings of the `exposure` stage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from reachrank.settings._field import TOOL_DEFAULT, setting

RECESSION_SOURCE = (
    "NRCS lateral recession categories as used in Illinois (Windhorn 2000), from memory; the open "
    "class ends at a stated cap"
)
HAZARD_LINK = "tool default, no published link between this score and a recession rate"


@dataclass(frozen=True, kw_only=True)
class ExposureSettings:
    """What would be lost near a bank, by class and distance."""

    reach_m: float = setting(
        60.0,
        "Structures farther than this from the top of every bank are not looked at.",
        unit="m",
        least=1.0,
        greatest=1000.0,
    )
    class_synonyms: Mapping[str, str] = setting(
        {
            "house": "dwelling",
            "home": "dwelling",
            "residence": "dwelling",
            "residential": "dwelling",
            "apartment": "dwelling",
            "apartments": "dwelling",
            "cabin": "dwelling",
            "school": "dwelling",
            "hospital": "dwelling",
            "barn": "shed",
            "garage": "shed",
            "outbuilding": "shed",
            "farm_auxiliary": "shed",
            "carport": "shed",
            "greenhouse": "shed",
            "yes": "building",
            "commercial": "building",
            "industrial": "building",
            "church": "building",
            "street": "road",
            "highway": "road",
            "roads": "road",
            "driveway": "track",
            "service": "track",
            "path": "track",
            "trail": "track",
            "footway": "track",
            "rail": "railway",
            "railroad": "railway",
            "power_line": "line",
            "pipeline": "line",
            "sewer": "line",
            "utility": "line",
            "septic": "well",
            "drinking_water": "well",
            "buildings": "building",
        },
        "Words of a class attribute (lower case, spaces as _) and the class they stand for.",
    )
    class_weights: Mapping[str, float] = setting(
        {
            "dwelling": 1.0,
            "building": 0.8,
            "railway": 0.8,
            "road": 0.7,
            "well": 0.7,
            "line": 0.6,
            "shed": 0.4,
            "track": 0.25,
        },
        "Score of a structure at no distance, by class, 0 to 1.",
    )
    other_weight: float = setting(
        0.5,
        "Score at no distance of a structure whose class is in no table.",
        least=0.0,
        greatest=1.0,
    )
    long_classes: tuple[str, ...] = setting(
        ("road", "track", "railway", "line"),
        "Classes of long things that layers cut up at will: of each class only the worst piece "
        "scores for a bank, and where they cross the channel they are crossings.",
    )
    distance_scores: tuple[tuple[float, float], ...] = setting(
        ((0.0, 1.0), (3.0, 1.0), (10.0, 0.7), (20.0, 0.35), (40.0, 0.1), (60.0, 0.0)),
        "Pairs of distance from the top of the bank (m) and the share of the class weight that "
        "counts there, straight between; must never rise with distance.",
    )
    count_crossings: bool = setting(
        False,
        "Whether a road counts as exposed where it crosses the channel. A bridge or culvert is "
        "not lost to a bank that moves sideways, and has an owner who inspects it; counted, every "
        "crossing would come to the top of the list.",
    )
    crossing_widths: float = setting(
        2.0,
        "With crossings left out: long things are left out within this many top widths of where "
        "one of them crosses the centreline.",
        unit="top widths",
        least=0.5,
        greatest=20.0,
    )
    crossing_least_m: float = setting(
        15.0,
        "With crossings left out: least radius of what is left out around a crossing, for the "
        "abutments and the fill of a road over a narrow stream.",
        unit="m",
        least=0.0,
        greatest=200.0,
    )
    hazard_categories: tuple[tuple[float, str], ...] = setting(
        ((0.0, "slight"), (25.0, "moderate"), (50.0, "severe"), (75.0, "very_severe")),
        "Least hazard score of each recession category, rising.",
        source=HAZARD_LINK,
    )
    recession_ft_per_yr: Mapping[str, tuple[float, float]] = setting(
        {
            "slight": (0.01, 0.05),
            "moderate": (0.06, 0.2),
            "severe": (0.3, 0.5),
            "very_severe": (0.5, 1.0),
        },
        "Low and high recession of each category, feet a year as printed; the middle is halfway. "
        "The printed table leaves very_severe open above 0.5: the 1.0 is a tool default.",
        unit="ft/yr",
        source=RECESSION_SOURCE,
    )
    years_cap_yr: float = setting(
        200.0,
        "Years are not counted beyond this: the figure then means this many or more.",
        unit="yr",
        source=TOOL_DEFAULT,
        least=10.0,
        greatest=10_000.0,
    )
