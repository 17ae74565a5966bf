"""Settings of the choice between work by hand, designed work, leaving alone, and a visit."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings._field import COMMON_PRACTICE, TOOL_DEFAULT, setting

FISCHENICH = "Fischenich 2001 (ERDC TN-EMRRP-SR-29), from memory"
LB_PER_FT2_PA = 47.880259


@dataclass(frozen=True, kw_only=True)
class WorkSettings:
    """Limits of work by hand with live native material; beyond them a design comes first."""

    greatest_height_m: float = setting(
        1.8,
        "A bank higher than this (6 ft) is not for work by hand; where only the highest part of a "
        "length is, a visit decides.",
        unit="m",
        source=TOOL_DEFAULT,
        least=0.3,
        greatest=10.0,
    )
    steepest_face_h_per_v: float = setting(
        1.5,
        "Steepest face to plant, so many across to one up. A steeper face is shaped to this first "
        "where that can be done by hand.",
        unit="across to 1 up",
        source="Washington State Department of Ecology, publications 93-30 and 95-107: rows of "
        "live bundles on 1.5:1 or flatter",
        least=1.0,
        greatest=5.0,
    )
    shaping_most_m3_per_m: float = setting(
        0.5,
        "Most soil cut from the top to shape a face by hand, for each metre of bank. 0: no face "
        "is shaped.",
        unit="m³ per m",
        least=0.0,
        greatest=5.0,
    )
    shaping_steepest_deg: float = setting(
        60.0,
        "A face steeper than this is not shaped by hand whatever its height: it can fall on those "
        "who work there.",
        unit="degrees",
        least=30.0,
        greatest=90.0,
    )
    flat_face_h_per_v: float = setting(
        3.0,
        "A face flatter than this is left alone: it lies flat enough to heal.",
        unit="across to 1 up",
        source="Allen & Leech 1997 (WES TR EL-97-8): shape and build only where the slope is 3:1 "
        "or steeper",
        least=1.5,
        greatest=20.0,
    )
    rooted_cover_frac: float = setting(
        0.7,
        "A bank with at least this share of trees and shrubs behind its top, and within the two "
        "next limits, is left alone: roots and stumps hold more than anything put in their place.",
        unit="0-1",
        least=0.0,
        greatest=1.0,
    )
    rooted_height_m: float = setting(
        1.2,
        "Highest bank that roots are taken to hold; most roots lie in the upper metre or so.",
        unit="m",
        source=f"{COMMON_PRACTICE}; {TOOL_DEFAULT}",
        least=0.0,
        greatest=10.0,
    )
    rooted_hazard_score: float = setting(
        75.0,
        "From this hazard on roots are not taken to hold.",
        unit="0-100",
        least=0.0,
        greatest=100.0,
    )
    greatest_velocity_m_per_s: float = setting(
        1.8288,
        "Greatest bankfull velocity, raised for the bend, in the first year: 6 ft/s, the low end "
        "for live fascines.",
        unit="m/s",
        source=FISCHENICH,
        least=0.1,
        greatest=10.0,
    )
    mat_velocity_m_per_s: float = setting(
        0.9144,
        "Above this (3 ft/s, the low end for a coconut mat under net, and for just-planted stakes) "
        "the rows of fascines carry the first year, and the reasons say so. A caution, no limit.",
        unit="m/s",
        source=FISCHENICH,
        least=0.1,
        greatest=10.0,
    )
    greatest_shear_pa: float = setting(
        1.25 * LB_PER_FT2_PA,
        "Greatest bankfull shear on the bank, raised for the bend, in the first year: "
        "1.25 lb/ft², the low end for live fascines.",
        unit="Pa",
        source=FISCHENICH,
        least=1.0,
        greatest=1000.0,
    )
    bend_safety_ratio: float = setting(
        1.0,
        "Multiplies the rise of shear in a bend. Laboratory bends read 15 to 50 % above the "
        "formula (Thornton, Sin, Sclafani & Abt 2012); 1.5 covers that.",
        unit="ratio",
        source="1: FHWA HEC-15, 3rd ed., 2005, as printed (from memory)",
        least=1.0,
        greatest=3.0,
    )
    cutting_down_ratio: float = setting(
        1.5,
        "The bed is taken to be cutting down where the lower of both banks, over the greatest "
        "bankfull depth where that is known, is this many times the run's median, and within "
        "the two next limits.",
        unit="ratio",
        least=1.0,
        greatest=10.0,
    )
    cutting_down_least_m: float = setting(
        1.0,
        "And where the lower of both banks is at least this high.",
        unit="m",
        least=0.0,
        greatest=10.0,
    )
    cutting_down_depth_ratio: float = setting(
        1.5,
        "And where it is at least this many greatest bankfull depths high, if those are known.",
        unit="ratio",
        source="lower edge of deeply incised by bank height ratio (Rosgen 2001), from memory",
        least=1.0,
        greatest=10.0,
    )
    structure_least_m: float = setting(
        10.0,
        "Nearer to a building, road or other structure a licensed engineer comes first.",
        unit="m",
        source=TOOL_DEFAULT,
        least=0.0,
        greatest=200.0,
    )
    greatest_area_km2: float = setting(
        8.09,
        "Greatest drainage area for work by hand: 2000 acres.",
        unit="km²",
        source="Pennsylvania DEP 363-2134-008 (2012): fascines below bankfull only in watersheds "
        "under 2000 acres",
        least=0.1,
        greatest=10000.0,
    )
    greatest_width_m: float = setting(
        8.0,
        "Greatest width between the toes, where the drainage area is not known or only a lower "
        "bound.",
        unit="m",
        least=1.0,
        greatest=200.0,
    )
    permit_length_m: float = setting(
        152.4,
        "A longer repair names the length limit of one common federal permit: 500 ft.",
        unit="m",
        source="U.S. Army Corps of Engineers, Nationwide Permit 13, 2012 text; versions expire",
        least=1.0,
        greatest=10000.0,
    )
    design_tie_in_up_widths: float = setting(
        1.0,
        "Length of sound bank taken in above a designed repair, in channel widths.",
        unit="widths",
        source="FHWA HEC-11 (1989), repeated in HEC-23; from memory",
        least=0.0,
        greatest=10.0,
    )
    design_tie_in_down_widths: float = setting(
        1.5,
        "The same below it.",
        unit="widths",
        source="FHWA HEC-11 (1989), repeated in HEC-23; from memory",
        least=0.0,
        greatest=10.0,
    )
