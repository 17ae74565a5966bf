"""Match each place to a repair: of its own parcel's bank, else of the nearest bank in reach."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.requests.parcels import Parcels
from reachrank.requests.placing import Placed
from reachrank.requests.rules import MatchingRules

Floats = NDArray[np.float64]
_STEP_M = 2.0


@dataclass(frozen=True)
class Matched:
    """What an application is matched to: places in the tables of repairs and banks, or None.

    ``distance_m`` is to the repair, else to the nearest bank; ``is_own_parcel`` tells which rule.
    """

    repair: int | None
    bank: int | None
    distance_m: float
    is_own_parcel: bool = False


@dataclass(frozen=True)
class _Lines:
    """Lines with their stream and side, ready to be searched one at a time."""

    lines: NDArray[np.object_]
    streams: list[Any]
    sides: list[Any]
    reaches: list[Any]
    tree: shapely.STRtree

    @classmethod
    def of(cls, table: gpd.GeoDataFrame) -> _Lines:
        lines = table.geometry.to_numpy()
        reach = "reach_id" if "reach_id" in table else "reach_ids"
        streams, sides, reaches = (table[name].tolist() for name in ("stream_id", "bank", reach))
        return cls(lines, streams, sides, reaches, shapely.STRtree(lines))


def landward_points(
    lines: NDArray[np.object_], sides: NDArray[np.object_], offset_m: float
) -> tuple[NDArray[np.object_], NDArray[np.intp], Floats]:
    """Return points on the land behind bank lines.

    Parameters
    ----------
    lines
        Bank tops, shape (n,), drawn downstream, metric.
    sides
        ``left`` or ``right``, looking downstream, shape (n,).
    offset_m
        How far behind the top; the land of a left bank is to the left of the line.

    Returns
    -------
    points, owners, lengths_m
        Shape (m,): each stands for ``lengths_m`` of line ``owners``.
    """
    length = shapely.length(lines)
    parts = np.maximum(np.ceil(length / _STEP_M), 1).astype(np.intp)
    owners = np.repeat(np.arange(lines.size), parts)
    first = np.concatenate([[0], np.cumsum(parts)[:-1]])
    step = (length / parts)[owners]
    middle = (np.arange(owners.size) - first[owners] + 0.5) * step
    ahead = shapely.get_coordinates(
        shapely.line_interpolate_point(lines[owners], np.minimum(middle + step / 2, length[owners]))
    )
    behind = shapely.get_coordinates(
        shapely.line_interpolate_point(lines[owners], np.maximum(middle - step / 2, 0.0))
    )
    along = ahead - behind
    size = np.hypot(along[:, 0], along[:, 1])
    along /= np.where(size > 0.0, size, 1.0)[:, np.newaxis]
    sign = np.where(sides[owners] == "left", 1.0, -1.0)
    land = np.column_stack([-along[:, 1] * sign, along[:, 0] * sign])
    return shapely.points((ahead + behind) / 2.0 + land * offset_m), owners, step


def lengths_in_areas(
    lines: NDArray[np.object_],
    sides: NDArray[np.object_],
    areas: NDArray[np.object_],
    offset_m: float,
) -> dict[int, dict[int, float]]:
    """Return for each area the lines whose land is in it, with the length in metres."""
    found: dict[int, dict[int, float]] = {}
    if not lines.size or not areas.size:
        return found
    near = np.unique(
        shapely.STRtree(lines).query(shapely.buffer(areas, 2.0 * offset_m), "intersects")[1]
    )
    points, owners, steps = landward_points(lines[near], sides[near], offset_m)
    area_of, point_of = shapely.STRtree(points).query(areas, predicate="intersects")
    for area, point in zip(area_of.tolist(), point_of.tolist(), strict=True):
        of_area = found.setdefault(area, {})
        line = int(near[owners[point]])
        of_area[line] = of_area.get(line, 0.0) + float(steps[point])
    return found


def match_all(
    places: list[Placed],
    repairs: gpd.GeoDataFrame,
    banks: gpd.GeoDataFrame,
    rules: MatchingRules,
    parcels: Parcels | None,
) -> list[Matched | None]:
    """Return what each place is matched to, None where there is no place or no bank at all.

    First the best-ranked repair of its own parcel, wherever on the parcel it is; then a bank of its
    own parcel in reach, which then shows nothing failing; then the nearest bank, whosever it is:
    often a road or a strip of the county lies between a parcel and the stream.

    Parameters
    ----------
    places
        As `reachrank.requests.placing` found them.
    repairs
        Metric, with ``bank``, ``bank_rank``, ``priority_score``, ``stream_id``, ``repair_id``.
    banks
        Metric, with ``bank``, ``stream_id``, ``bank_id``.
    rules
        How near, and how far parcel lines may be off.
    parcels
        The parcels that the places name, or None.
    """
    areas, area_of = _own_areas(places, parcels)
    own_repairs = _own(repairs, areas, rules.parcel_line_error_m)
    own_banks = _own(banks, areas, rules.parcel_line_error_m)
    order = _by_rank(repairs)
    of_repairs, of_banks = _Lines.of(repairs), _Lines.of(banks)
    out: list[Matched | None] = []
    for number, place in enumerate(places):
        if place.geometry is None or banks.empty:
            out.append(None)
            continue
        area = area_of.get(number)
        own = _on_parcel(own_repairs.get(area, {}), repairs, rules) if area is not None else []
        if own:
            best = min(own, key=lambda k: order[k])
            away = float(shapely.distance(of_repairs.lines[best], place.geometry))
            out.append(Matched(best, None, away, True))
            continue
        bank = _own_bank(own_banks.get(area, {}) if area is not None else {}, place, of_banks)
        if bank is not None and bank.distance_m <= rules.nearest_bank_within_m:
            out.append(bank)
            continue
        own_area = None if area is None else areas[area]
        out.append(_nearest(place.geometry, own_area, of_repairs, of_banks, rules))
    return out


def _own_areas(
    places: list[Placed], parcels: Parcels | None
) -> tuple[NDArray[np.object_], dict[int, int]]:
    """Return the areas that places belong to, and which place has which."""
    areas: list[shapely.Geometry] = []
    number_of: dict[object, int] = {}
    area_of: dict[int, int] = {}
    for number, place in enumerate(places):
        if place.geometry is None:
            continue
        if parcels is not None and place.parcel is not None:
            key: object = place.parcel
            area = parcels.areas[place.parcel]
        elif place.geometry.geom_type in ("Polygon", "MultiPolygon"):
            key, area = ("row", number), shapely.make_valid(place.geometry)
        else:
            continue
        if key not in number_of:
            number_of[key] = len(areas)
            areas.append(area)
        area_of[number] = number_of[key]
    made = np.empty(len(areas), dtype=object)
    made[:] = areas
    return made, area_of


def _own(
    table: gpd.GeoDataFrame, areas: NDArray[np.object_], offset_m: float
) -> dict[int, dict[int, float]]:
    sides = table["bank"].to_numpy(dtype=object)
    return lengths_in_areas(table.geometry.to_numpy(), sides, areas, offset_m)


def _on_parcel(
    lengths: dict[int, float], repairs: gpd.GeoDataFrame, rules: MatchingRules
) -> list[int]:
    whole = repairs["length_m"].to_numpy()
    return [
        k for k, own_m in lengths.items() if own_m >= min(rules.least_on_parcel_m, 0.1 * whole[k])
    ]


def _by_rank(repairs: gpd.GeoDataFrame) -> NDArray[np.intp]:
    """Return the place of each repair in the order of rank, then score, then name."""
    key = pd.DataFrame(
        {
            "rank": repairs["bank_rank"].astype("float64"),
            "score": -repairs["priority_score"].astype("float64"),
            "name": repairs["repair_id"],
        }
    ).reset_index(drop=True)
    order = key.sort_values(["rank", "score", "name"], na_position="last").index.to_numpy()
    place = np.empty(order.size, dtype=np.intp)
    place[order] = np.arange(order.size)
    return place


def _own_bank(here: dict[int, float], place: Placed, banks: _Lines) -> Matched | None:
    """Return the bank of the own parcel that is nearest to the place, None without one."""
    if not here or place.geometry is None:
        return None
    numbers = sorted(here)
    away = shapely.distance(banks.lines[numbers], place.geometry)
    nearest = int(np.argmin(away))
    return Matched(None, numbers[nearest], float(away[nearest]), True)


def _facing(
    bank: int,
    geometry: shapely.Geometry,
    own_area: shapely.Geometry,
    banks: _Lines,
    within: float,
) -> int:
    """Return of a bank and those across from it in reach the one nearest to the own parcel."""
    others = [
        int(k)
        for k in banks.tree.query(geometry, "dwithin", within)
        if banks.reaches[k] == banks.reaches[bank]
    ]
    return min(others, key=lambda k: (round(shapely.distance(banks.lines[k], own_area), 3), k))


def _nearest(
    geometry: shapely.Geometry,
    own_area: shapely.Geometry | None,
    repairs: _Lines,
    banks: _Lines,
    rules: MatchingRules,
) -> Matched:
    """Match to the nearest repair in reach that lies on the stream and side of the nearest bank.

    People set a pin in the stream; the bank that is theirs is then the one that faces their parcel.
    """
    bank = int(min(banks.tree.query_nearest(geometry)))
    away = float(shapely.distance(banks.lines[bank], geometry))
    within = rules.nearest_bank_within_m
    if away > within:
        return Matched(None, bank, away)
    if own_area is not None:
        bank = _facing(bank, geometry, own_area, banks, within)
        away = float(shapely.distance(banks.lines[bank], geometry))
    near: list[int] = repairs.tree.query(geometry, "dwithin", within).tolist()
    same = [
        (float(shapely.distance(repairs.lines[k], geometry)), k)
        for k in near
        if repairs.streams[k] == banks.streams[bank] and repairs.sides[k] == banks.sides[bank]
    ]
    if not same:
        return Matched(None, bank, away)
    distance, repair = min(same)
    return Matched(repair, bank, distance)
