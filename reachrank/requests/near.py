"""One caller: the nearest ranked bank to a place, and what is known of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import shapely
from pyproj import CRS, Transformer
from shapely.geometry import Point

from reachrank.errors import InputError
from reachrank.report.cautions import CAUTIONS
from reachrank.requests.lookup import Lookup, Row
from reachrank.requests.questions import Unknown, three_questions

FAR_M = 150.0
"""Beyond this the answer says that it may not be about the caller's bank."""
_FIRST_LOOK_M = 60.0
_SAME_M = 3.0
"""Two banks whose distances differ by less are not told apart by a place on a map."""
_MOST_STRUCTURES = 5


@dataclass(frozen=True)
class Place:
    """Where the caller is: in the CRS of the ranked file, and in degrees."""

    x: float
    y: float
    lon: float
    lat: float
    how: str


@dataclass(frozen=True, kw_only=True)
class Structure:
    """Something near the edge; the distance is from the top of the bank."""

    structure_id: str
    structure_class: str
    distance_m: float
    reached_soonest_yr: float | None


@dataclass(frozen=True, kw_only=True)
class Repair:
    """The nearest failing length of the same bank."""

    repair_id: str
    distance_m: float
    length_m: float
    path: str | None
    path_label: str | None
    path_reasons: str | None
    permit_questions: str | None
    cost_low_usd: float | None
    cost_high_usd: float | None
    sediment_low_t_yr_screening: float | None
    sediment_mid_t_yr_screening: float | None
    sediment_high_t_yr_screening: float | None


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What one caller is told."""

    place: Place
    bank_id: str
    bank: str
    stream: str
    station_from_m: float | None
    station_to_m: float | None
    distance_m: float
    rank: int | None
    rank_low: int | None
    rank_high: int | None
    banks_ranked: int
    priority_score: float | None
    confidence_frac: float | None
    bank_height_m: float | None
    bank_angle_deg: float | None
    is_angle_lower_bound: bool
    reason: str | None
    repair: Repair | None
    structures: tuple[Structure, ...]
    questions: tuple[str, str, str]
    cautions: tuple[str, ...]
    is_in_us_units: bool = field(default=False)


class Ground:
    """The CRS of a ranked file: places go in, metres come out."""

    def __init__(self, crs: CRS) -> None:
        self.crs = crs
        self.unit_m = float(crs.axis_info[0].unit_conversion_factor) if crs.is_projected else 0.0
        self._to_degrees = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)

    def from_degrees(self, lon: float, lat: float) -> tuple[float, float]:
        """Return a place given in degrees, in this CRS."""
        return self.place(lon, lat, CRS.from_epsg(4326))

    def place(self, x: float, y: float, crs: CRS) -> tuple[float, float]:
        """Return a place given in another CRS, in this one."""
        made = Transformer.from_crs(crs, self.crs, always_xy=True).transform(x, y)
        return float(made[0]), float(made[1])

    def degrees(self, x: float, y: float) -> tuple[float, float]:
        """Return longitude and latitude of a place in this CRS."""
        lon, lat = self._to_degrees.transform(x, y)
        return float(lon), float(lat)


def nearest_answer(file: Lookup, ground: Ground, place: Place, *, us: bool = False) -> Answer:
    """Find the bank nearest to a place and gather what the file knows of it.

    Parameters
    ----------
    file
        A ranked file.
    ground
        Its CRS.
    place
        The caller's place.
    us
        Write the questions in feet. The values stay metric.

    Raises
    ------
    InputError
        If the file has no bank at all, or is in degrees.
    """
    if not ground.unit_m:
        raise InputError("The ranked file is not in a projected CRS.", where=file.where)
    point = Point(place.x, place.y)
    found = file.nearest("banks", point, _FIRST_LOOK_M / ground.unit_m)
    if not found:
        raise InputError("The ranked file has no banks.", where=file.where)
    distance, bank = found[0]
    distance_m = distance * ground.unit_m
    reach = next(iter(_rows(file, "reaches", "reach_id", bank["reach_id"])), None)
    structures = _structures(file, str(bank["bank_id"]))
    repair = _nearest_repair(file, bank, point, ground.unit_m)
    others = [d for d, row in found if row["bank"] != bank["bank"]]
    first = structures[0] if structures else None
    return Answer(
        place=place,
        bank_id=str(bank["bank_id"]),
        bank=str(bank["bank"]),
        stream=str((reach and (reach["stream_name"] or reach["stream_id"])) or bank["reach_id"]),
        station_from_m=reach["station_from_m"] if reach else None,
        station_to_m=reach["station_to_m"] if reach else None,
        distance_m=distance_m,
        rank=bank["rank"],
        rank_low=bank["rank_low"],
        rank_high=bank["rank_high"],
        banks_ranked=file.count("banks", "rank"),
        priority_score=bank["priority_score"],
        confidence_frac=bank["confidence_frac"],
        bank_height_m=bank["bank_height_m"],
        bank_angle_deg=bank["bank_angle_deg"],
        is_angle_lower_bound=bool(bank["is_angle_lower_bound"]),
        reason=bank["reason"],
        repair=repair,
        structures=structures,
        questions=three_questions(
            Unknown(
                is_side_unclear=bool(others) and (others[0] - distance) * ground.unit_m < _SAME_M,
                structure_class=first.structure_class if first else None,
                structure_distance_m=first.distance_m if first else None,
                is_angle_lower_bound=bool(bank["is_angle_lower_bound"]),
                has_cover=bank["cover_frac"] is not None,
                is_failing=repair is not None,
            ),
            us=us,
        ),
        cautions=(*_own_cautions(distance_m, bank), *CAUTIONS),
        is_in_us_units=us,
    )


def _own_cautions(distance_m: float, bank: Row) -> list[str]:
    cautions = []
    if distance_m > FAR_M:
        cautions.append(
            "The place is far from every ranked bank: this answer may not be about the caller's "
            "stream. Check the place, or the stream may not be in the ranking."
        )
    if bank["rank"] is None:
        cautions.append("This bank could not be measured well enough to be ranked: visit it.")
    return cautions


def _rows(file: Lookup, layer: str, column: str, value: object) -> list[Row]:
    return file.rows(layer, column, value) if layer in file.layers else []


def _structures(file: Lookup, bank_id: str) -> tuple[Structure, ...]:
    rows = _rows(file, "exposures", "bank_id", bank_id)
    rows.sort(key=lambda row: (row["bank_distance_m"], row["structure_id"]))
    return tuple(
        Structure(
            structure_id=str(row["structure_id"]),
            structure_class=str(row["structure_class"]),
            distance_m=float(row["bank_distance_m"]),
            reached_soonest_yr=row["reached_soonest_yr"],
        )
        for row in rows[:_MOST_STRUCTURES]
    )


def _nearest_repair(file: Lookup, bank: Row, point: Point, unit_m: float) -> Repair | None:
    """Return the repair of the same reach and side that lies nearest to the place."""
    if "repairs" not in file.layers or bank.geometry is None:
        return None
    west, south, east, north = bank.geometry.bounds
    margin = 1.0 / unit_m
    near = file.within("repairs", (west - margin, south - margin, east + margin, north + margin))
    own = [
        (float(shapely.distance(row.geometry, point)) * unit_m, str(row["repair_id"]), row)
        for row in near
        if row.geometry is not None
        and row["bank"] == bank["bank"]
        and bank["reach_id"] in str(row["reach_ids"]).split(",")
    ]
    if not own:
        return None
    distance_m, repair_id, row = min(own, key=lambda found: found[:2])
    return _repair(distance_m, repair_id, row.values)


def _repair(distance_m: float, repair_id: str, known: Mapping[str, Any]) -> Repair:
    return Repair(
        repair_id=repair_id,
        distance_m=distance_m,
        length_m=float(known["length_m"]),
        path=known.get("path"),
        path_label=known.get("path_label"),
        path_reasons=known.get("path_reasons"),
        permit_questions=known.get("permit_questions"),
        cost_low_usd=known.get("cost_low_usd"),
        cost_high_usd=known.get("cost_high_usd"),
        sediment_low_t_yr_screening=known.get("sediment_low_t_yr_screening"),
        sediment_mid_t_yr_screening=known.get("sediment_mid_t_yr_screening"),
        sediment_high_t_yr_screening=known.get("sediment_high_t_yr_screening"),
    )
