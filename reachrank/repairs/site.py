"""What is known of the place of a repair: plain numbers, NaN where unknown."""

from __future__ import annotations

import math
from dataclasses import dataclass

from reachrank.repairs.face import Face, face_as_found

NAN = math.nan


@dataclass(frozen=True, kw_only=True, slots=True)
class Site:
    """Measurements of one repair, SI; NaN (or None) is unknown.

    Attributes
    ----------
    length_m
        Along the top of the bank, without tie-ins.
    bank_height_m, bank_height_max_m
        Median and greatest height of its sections.
    bank_angle_deg, is_angle_lower_bound
        Median angle of the face, and whether it is at least that.
    hazard_score
        Median hazard of its sections.
    cover_frac
        Share of trees and shrubs behind the top.
    are_structures_known, structure_distance_m, structure_id
        Whether any structure layer was given, and the nearest structure that the bank faces;
        infinite where none is near.
    velocity_m_per_s, velocity_source, bend_factor
        Bankfull velocity raised for the bend, how it was found, and by how much the bend raises
        shear.
    shear_pa, toe_shear_pa
        Bankfull shear on the face and on the bed at the toe, raised for the bend.
    lower_bank_height_m, lower_bank_over_median, lower_bank_over_depth
        Lower of both banks; over the run's median (of heights, or of heights over depth); over
        the greatest bankfull depth.
    drainage_area_km2, is_area_lower_bound, toe_width_m, channel_width_m
        Size of the stream; the channel width is the bankfull one, else between the tops.
    constraint_names
        Constraint areas that the repair or its tie-ins touch.
    texture
        Soil texture from a soil layer, None without.
    """

    length_m: float
    bank_height_m: float = NAN
    bank_height_max_m: float = NAN
    bank_angle_deg: float = NAN
    is_angle_lower_bound: bool = False
    hazard_score: float = NAN
    cover_frac: float = NAN
    are_structures_known: bool = False
    structure_distance_m: float = math.inf
    structure_id: str | None = None
    velocity_m_per_s: float = NAN
    velocity_source: str = "unknown"
    bend_factor: float = 1.0
    shear_pa: float = NAN
    toe_shear_pa: float = NAN
    lower_bank_height_m: float = NAN
    lower_bank_over_median: float = NAN
    lower_bank_over_depth: float = NAN
    drainage_area_km2: float = NAN
    is_area_lower_bound: bool = False
    toe_width_m: float = NAN
    channel_width_m: float = NAN
    constraint_names: tuple[str, ...] = ()
    texture: str | None = None

    @property
    def face(self) -> Face | None:
        """Slope height as found."""
        return face_as_found(
            self.bank_height_m, self.bank_angle_deg, is_lower_bound=self.is_angle_lower_bound
        )
