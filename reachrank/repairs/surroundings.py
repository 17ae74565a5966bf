"""What lies about a repair: structures that its bank faces, constraint areas, soil."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from reachrank.context import Context, Table
from reachrank.exposure.facing import facing_pairs
from reachrank.grouped import starts_of
from reachrank.repairs.bank_line import by_line, cut
from reachrank.repairs.lengths import FailingLength

Floats = NDArray[np.float64]

ABOUT_M = 3.0
"""Work spreads this far about the top of a bank: face, trenches, soil, people."""
SOIL_STEP_M = 5.0
"""Distance between the places where the soil is looked up."""
UNNAMED = "an area without a name"


@dataclass(frozen=True, slots=True)
class Near:
    """The nearest structure that a bank faces; infinite and None for none within reach."""

    distance_m: float = math.inf
    structure_id: str | None = None


def are_structures_known(tables: Mapping[str, Table], ctx: Context) -> bool:
    """Return whether the run was given anything that could stand near a bank."""
    structures = tables.get("structures")
    has_rows = structures is not None and len(structures) > 0
    return has_rows or bool(ctx.inputs.structures) or bool(ctx.inputs.roads)


def nearest_structures(
    lengths: Sequence[FailingLength], tables: Mapping[str, Table], reach_m: float, tie_in_m: float
) -> list[Near]:
    """Return the nearest structure of each length with its tie-ins, by the exposure stage's rule.

    Unlike for the exposure score, roads count where they cross the channel too: work at a bridge
    is an engineer's whatever the bridge is worth.
    """
    near = [Near() for _ in lengths]
    structures = tables.get("structures")
    if structures is None or structures.empty or not lengths:
        return near
    ordered = structures.sort_values("structure_id", kind="stable").reset_index(drop=True)
    shapes = gpd.GeoDataFrame(ordered).geometry.to_numpy()
    shapes = np.where(shapely.is_valid(shapes), shapes, shapely.make_valid(shapes))
    pieces, owner = _pieces(lengths, tie_in_m)
    facing = facing_pairs(shapes, pieces, gpd.GeoDataFrame(tables["reaches"]), reach_m)
    names = ordered["structure_id"].to_numpy(dtype=object)
    for who, structure, distance in zip(
        owner[facing.bank], facing.structure, facing.distance_m, strict=True
    ):
        if distance < near[who].distance_m:
            near[who] = Near(float(distance), str(names[structure]))
    return near


def _with_tie_ins(lengths: Sequence[FailingLength], tie_in_m: float) -> tuple[Floats, Floats]:
    """Return where lengths with their tie-ins begin and end, metres down their bank lines."""
    start = [length.tie_in("up", tie_in_m)[0] for length in lengths]
    stop = [length.tie_in("down", tie_in_m)[1] for length in lengths]
    return np.array(start), np.array(stop)


def _pieces(
    lengths: Sequence[FailingLength], tie_in_m: float
) -> tuple[gpd.GeoDataFrame, NDArray[np.int64]]:
    """Return each length with its tie-ins, cut where reaches meet, and the length of each piece."""
    start, stop = _with_tie_ins(lengths, tie_in_m)
    owners, reach_ids, shapes = [], [], []
    for line, rows in by_line([length.line for length in lengths]):
        own, bank, low, high = line.banks_between(start[rows], stop[rows])
        owners.append(rows[own])
        reach_ids += [line.reach_ids[place] for place in bank]
        shapes.append(line.parts(low, high))
    owner = np.concatenate(owners)
    banks = [lengths[row].bank for row in owner]
    pieces = gpd.GeoDataFrame(
        {"bank": banks, "reach_id": reach_ids}, geometry=np.concatenate(shapes)
    )
    return pieces, owner


def constraint_names(
    lengths: Sequence[FailingLength], constraints: Table | None, tie_in_m: float
) -> list[tuple[str, ...]]:
    """Return the names of the areas within 3 m of each length with its tie-ins, sorted."""
    if constraints is None or constraints.empty or not lengths:
        return [() for _ in lengths]
    tree = shapely.STRtree(gpd.GeoDataFrame(constraints).geometry.to_numpy())
    names = constraints["constraint_name"].astype("object").to_numpy()
    lines = cut([length.line for length in lengths], *_with_tie_ins(lengths, tie_in_m))
    found: list[set[str]] = [set() for _ in lengths]
    for who, area in zip(*tree.query(lines, predicate="dwithin", distance=ABOUT_M), strict=True):
        found[who].add(str(names[area]) if isinstance(names[area], str) else UNNAMED)
    return [tuple(sorted(known)) for known in found]


def textures(lengths: Sequence[FailingLength], soils: Table | None) -> list[str | None]:
    """Return the texture that most of each length lies on, None without one."""
    if soils is None or soils.empty or not lengths:
        return [None for _ in lengths]
    tree = shapely.STRtree(gpd.GeoDataFrame(soils).geometry.to_numpy())
    words = soils["texture"].astype("object").to_numpy()
    lines = cut([own.line for own in lengths], *np.array([own.interval for own in lengths]).T)
    count = np.maximum(np.ceil(shapely.length(lines) / SOIL_STEP_M), 1.0).astype(np.int64)
    starts = starts_of(count)
    owner = np.repeat(np.arange(len(lengths)), count)
    share = (np.arange(owner.size) - starts[owner] + 0.5) / count[owner]
    places = shapely.line_interpolate_point(lines[owner], share, normalized=True)
    found: list[Counter[str]] = [Counter() for _ in lengths]
    for place, area in zip(*tree.query(places, predicate="intersects"), strict=True):
        if isinstance(words[area], str):
            found[owner[place]][str(words[area])] += 1
    return [
        min(word for word in known if known[word] == max(known.values())) if known else None
        for known in found
    ]
