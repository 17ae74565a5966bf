"""Which kind of work a repair calls for, and why, in sentences.

Every limit is a setting. A limit that the place is known to pass stops work by hand; one that
cannot be judged asks for a visit, or is named without deciding, as each check says. Hard material
is never proposed, whatever the place.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from reachrank.repairs.face import shaped_face
from reachrank.repairs.site import Site
from reachrank.repairs.soil_limits import bare_soil_limit_pa
from reachrank.settings.work import WorkSettings

Path = Literal["hand_built", "design_first", "leave_alone", "visit_first"]
Outcome = Literal["engineer", "leave", "stop", "visit", "unknown", "caution", "passed"]

LABELS: dict[Path, str] = {
    "hand_built": "Work by hand with live native plants",
    "design_first": "Professional design or a permit first",
    "leave_alone": "Watch it and leave it alone",
    "visit_first": "Not enough known: visit it first",
}
ENGINEER = (
    "Have a licensed engineer look before anything is done: failing ground near a structure is not "
    "a matter for this program."
)
ASK = "the U.S. Army Corps of Engineers district, the state water agency and the local office"


@dataclass(frozen=True, slots=True)
class Check:
    """One limit held against the place: what came of it, in a word and in a sentence."""

    name: str
    outcome: Outcome
    text: str


@dataclass(frozen=True, slots=True)
class Decision:
    """The kind of work, with every check that led there."""

    path: Path
    checks: tuple[Check, ...]

    @property
    def label(self) -> str:
        """The kind of work in plain words."""
        return LABELS[self.path]

    @property
    def reasons(self) -> str:
        """The deciding sentences first, then what is unknown and the cautions."""
        deciding: dict[Path, tuple[Outcome, ...]] = {
            "hand_built": ("passed",),
            "design_first": ("engineer", "stop"),
            "leave_alone": ("leave",),
            "visit_first": ("visit",),
        }
        order = (*deciding[self.path], "unknown", "caution")
        return " ".join(c.text for word in order for c in self.checks if c.outcome == word)


def kind_of_work(site: Site, settings: WorkSettings) -> Decision:
    """Return the kind of work for a place.

    A structure near by comes first, then a bank that is better left alone, then any limit that
    is passed, then anything that must be known and is not; what is left can be built by hand.

    Examples
    --------
    >>> low = Site(length_m=20.0, bank_height_m=1.0, bank_height_max_m=1.1, bank_angle_deg=30.0,
    ...            are_structures_known=True, drainage_area_km2=2.0)
    >>> kind_of_work(low, WorkSettings()).path  # 1 m high and 1.7:1, all within the limits
    'hand_built'
    """
    checks = tuple(_checks(site, settings))
    found = {check.outcome for check in checks}
    ways: tuple[tuple[Outcome, Path], ...] = (
        ("engineer", "design_first"),
        ("leave", "leave_alone"),
        ("stop", "design_first"),
        ("visit", "visit_first"),
    )
    for outcome, path in ways:
        if outcome in found:
            return Decision(path, checks)
    return Decision("hand_built", checks)


def _checks(site: Site, settings: WorkSettings) -> Iterator[Check]:
    yield _structure(site, settings)
    yield from _better_left(site, settings)
    yield _height(site, settings)
    yield _slope(site, settings)
    yield from _velocity(site, settings)
    yield from _shear(site, settings)
    yield _cutting_down(site, settings)
    yield _area(site, settings)
    if site.constraint_names:
        names = ", ".join(site.constraint_names)
        yield Check("constraint", "stop", f"It touches an area that calls for a permit: {names}.")


def _structure(site: Site, settings: WorkSettings) -> Check:
    limit = f"{settings.structure_least_m:.1f} m"
    if not site.are_structures_known:
        return Check(
            "structure",
            "visit",
            "No layer of buildings or roads was given, so nothing is known of what stands near.",
        )
    if site.structure_distance_m < settings.structure_least_m:
        what = f" ({site.structure_id})" if site.structure_id else ""
        return Check(
            "structure",
            "engineer",
            f"A structure{what} stands {site.structure_distance_m:.1f} m from the top of the "
            f"bank, nearer than {limit}. {ENGINEER}",
        )
    if math.isinf(site.structure_distance_m):
        return Check("structure", "passed", "No known structure stands near.")
    return Check(
        "structure",
        "passed",
        f"The nearest structure is {site.structure_distance_m:.1f} m off, not within {limit}.",
    )


def _better_left(site: Site, settings: WorkSettings) -> Iterator[Check]:
    across = _across(site)
    if not site.is_angle_lower_bound and across > settings.flat_face_h_per_v:
        yield Check(
            "flat",
            "leave",
            f"The face lies at {across:.1f}:1, flatter than {settings.flat_face_h_per_v:g}:1: flat "
            "enough to heal. Look again after high water.",
        )
    if (
        site.cover_frac >= settings.rooted_cover_frac
        and site.bank_height_m <= settings.rooted_height_m
        and site.hazard_score < settings.rooted_hazard_score
    ):
        yield Check(
            "rooted",
            "leave",
            f"Trees and shrubs stand on {site.cover_frac:.0%} of the strip behind the top, and the "
            f"bank is only {site.bank_height_m:.1f} m high: roots hold it better than new work "
            "would. Leave stumps and root mass in place, and look again after high water.",
        )


def _height(site: Site, settings: WorkSettings) -> Check:
    limit = settings.greatest_height_m
    if not site.bank_height_m > 0.0:
        return Check("height", "visit", "The height of the bank was not measured.")
    told = f"The bank is {site.bank_height_m:.2f} m high"
    if site.bank_height_m > limit:
        return Check("height", "stop", f"{told}, above the {limit:.2f} m for work by hand.")
    if site.bank_height_max_m > limit:
        return Check(
            "height",
            "visit",
            f"{told} in the middle of its range, but {site.bank_height_max_m:.2f} m at the "
            f"highest, above the {limit:.2f} m for work by hand.",
        )
    return Check("height", "passed", f"{told}, within the {limit:.2f} m for work by hand.")


def _slope(site: Site, settings: WorkSettings) -> Check:
    if site.face is None:
        return Check("slope", "visit", "The slope of the face was not measured: measure it there.")
    angle, target = site.bank_angle_deg, settings.steepest_face_h_per_v
    if site.is_angle_lower_bound:
        return Check(
            "slope",
            "visit",
            f"The grid cannot show the slope of so short a face: it is {angle:.0f} degrees or "
            f"steeper. Measure it there; work by hand needs {target:g}:1 "
            f"({math.degrees(math.atan2(1.0, target)):.0f} degrees) or little more.",
        )
    told = f"The face stands at {angle:.0f} degrees ({_across(site):.1f}:1)"
    if _across(site) >= target:
        return Check("slope", "passed", f"{told}, no steeper than the {target:g}:1 for planting.")
    cut = shaped_face(
        site.bank_height_m, angle, is_lower_bound=False, steepest_h_per_v=target
    ).cut_high_m3_per_m
    most = settings.shaping_most_m3_per_m
    if angle > settings.shaping_steepest_deg:
        return Check(
            "slope",
            "stop",
            f"{told}, steeper than the {settings.shaping_steepest_deg:g} degrees that may be "
            "shaped by hand: it can fall without warning, so keep off and from under it.",
        )
    if cut > most:
        return Check(
            "slope",
            "stop",
            f"{told}; shaping it to {target:g}:1 would take {cut:.2f} m³/m of soil, above the "
            f"{most:.2f} m³/m for work by hand.",
        )
    return Check(
        "slope",
        "passed",
        f"{told}; shaped by hand to {target:g}:1 first, {cut:.2f} m³/m of soil.",
    )


def _velocity(site: Site, settings: WorkSettings) -> Iterator[Check]:
    speed, limit = site.velocity_m_per_s, settings.greatest_velocity_m_per_s
    if not math.isfinite(speed):
        yield Check(
            "velocity",
            "unknown",
            f"The velocity at bankfull is not known ({site.velocity_source}) and decides nothing.",
        )
        return
    told = f"Bankfull velocity, raised for the bend, is {speed:.2f} m/s ({site.velocity_source})"
    if speed > limit:
        yield Check(
            "velocity",
            "stop",
            f"{told}, above the {limit:.2f} m/s for first-year work.{_bend_caveat(site)}",
        )
        return
    yield Check("velocity", "passed", f"{told}, within {limit:.2f} m/s for first-year work.")
    if speed > settings.mat_velocity_m_per_s:
        yield Check(
            "velocity_mat",
            "caution",
            f"That is above the {settings.mat_velocity_m_per_s:.2f} m/s at the low end for mats "
            "and new cuttings alone: the rows of fascines must hold the first year.",
        )


def _shear(site: Site, settings: WorkSettings) -> Iterator[Check]:
    shear, limit = site.shear_pa, settings.greatest_shear_pa
    if math.isfinite(shear):
        told = f"Bankfull shear on the bank, raised for the bend, is {shear:.0f} Pa"
        if shear > limit:
            yield Check(
                "shear",
                "stop",
                f"{told}, above the {limit:.0f} Pa for first-year work.{_bend_caveat(site)}",
            )
        else:
            yield Check("shear", "passed", f"{told}, within {limit:.0f} Pa for first-year work.")
    else:
        yield Check("shear", "unknown", "The shear at bankfull is not known and decides nothing.")
    if site.texture is None or not math.isfinite(site.toe_shear_pa):
        return
    bare = bare_soil_limit_pa(site.texture)
    if bare is not None and site.toe_shear_pa > bare:
        yield Check(
            "toe",
            "caution",
            f"At the toe {site.toe_shear_pa:.0f} Pa meet bare {site.texture}, which stands about "
            f"{bare:.1f} Pa: look whether the toe is washed out below.",
        )


def _bend_caveat(site: Site) -> str:
    if site.bend_factor <= 1.0:
        return ""
    return (
        f" The bend raises shear {site.bend_factor:.2f} times by the formula; laboratory bends "
        "read 15 to 50 % more."
    )


def _cutting_down(site: Site, settings: WorkSettings) -> Check:
    over, height = site.lower_bank_over_median, site.lower_bank_height_m
    if not math.isfinite(over):
        return Check(
            "cutting_down",
            "unknown",
            "Whether the bed is cutting down is not known, for only one bank was measured.",
        )
    deep = site.lower_bank_over_depth
    is_deep = not math.isfinite(deep) or deep >= settings.cutting_down_depth_ratio
    if over >= settings.cutting_down_ratio and height >= settings.cutting_down_least_m and is_deep:
        return Check(
            "cutting_down",
            "stop",
            f"Both banks are unusually high, the lower one {height:.2f} m and {over:.1f} times the "
            "usual: the bed may be cutting down, and work on the bank would be undermined.",
        )
    return Check("cutting_down", "passed", "Both banks are not unusually high.")


def _area(site: Site, settings: WorkSettings) -> Check:
    area, limit = site.drainage_area_km2, settings.greatest_area_km2
    if area > limit:
        return Check(
            "area",
            "stop",
            f"The stream drains {area:.1f} km², above the {limit:.1f} km² for work by hand.",
        )
    if math.isfinite(area) and not site.is_area_lower_bound:
        return Check("area", "passed", f"The stream drains {area:.1f} km², within {limit:.1f} km².")
    why = "only a lower bound" if math.isfinite(area) else "not known"
    width, widest = site.toe_width_m, settings.greatest_width_m
    if not math.isfinite(width):
        return Check("area", "visit", f"The drainage area is {why}, and so is the width.")
    told = f"The drainage area is {why}; the water is {width:.1f} m wide"
    if width > widest:
        return Check("area", "stop", f"{told}, above the {widest:.1f} m for work by hand.")
    return Check("area", "passed", f"{told}, within the {widest:.1f} m that stand in for it.")


def _across(site: Site) -> float:
    """Return the slope of the face, so many across to one up; NaN where unknown."""
    if not 0.0 < site.bank_angle_deg <= 90.0:
        return math.nan
    return 1.0 / math.tan(math.radians(site.bank_angle_deg))


def permit_questions(site: Site, path: Path, settings: WorkSettings) -> str | None:
    """Return whom to ask before work, in sentences; None where no work is meant.

    Local rules come before these lines, which name the question and do not answer it.
    """
    told = []
    if path in ("hand_built", "visit_first"):
        told.append(
            "Cuttings and mat belong above the water's edge; if anything, digging included, goes "
            f"below the ordinary high-water mark, ask {ASK} first. Planting alone may need leave."
        )
    if path == "design_first":
        told.append(
            "Work below the waterline, or with anything hard such as rock or concrete, needs leave "
            f"first: ask {ASK}."
        )
    if path != "leave_alone" and site.length_m > settings.permit_length_m:
        told.append(
            f"It is longer than {settings.permit_length_m:.1f} m, the length named in the 2012 "
            "text of one common federal permit for bank work (Nationwide Permit 13); permits "
            "expire and states add to them."
        )
    if site.constraint_names:
        names = ", ".join(site.constraint_names)
        told.append(f"It touches {names}: ask the office in charge of that area.")
    return " ".join(told) or None
