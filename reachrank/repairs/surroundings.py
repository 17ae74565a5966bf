"""What lies about a repair: structures that its bank faces, constraint areas, soil."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from reachrank.context import Context, Table
from reachrank.exposure.facing import facing_pairs
from reachrank.repairs.lengths import FailingLength

ABOUT_M = 3.0
"""Work spreads this far about the top of a bank: face, trenches, soil, people."""
SOIL_STEP_M = 5.0
"""Distance between the places where the soil is looked up."""
UNNAMED = "an area without a name"


@dataclass(frozen=True)
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
    pieces = _pieces(lengths, tie_in_m)
    facing = facing_pairs(
        shapes,
        gpd.GeoDataFrame(pieces, geometry="geometry"),
        gpd.GeoDataFrame(tables["reaches"]),
        reach_m,
    )
    owner = pieces["owner"].to_numpy()[facing.bank]
    for who, structure, distance in zip(owner, facing.structure, facing.distance_m, strict=True):
        if distance < near[who].distance_m:
            name = str(ordered["structure_id"].iloc[structure])
            near[who] = Near(float(distance), name)
    return near


def _pieces(lengths: Sequence[FailingLength], tie_in_m: float) -> pd.DataFrame:
    """Return each length with its tie-ins, cut where reaches meet."""
    rows = []
    for owner, length in enumerate(lengths):
        start, stop = length.tie_in("up", tie_in_m)[0], length.tie_in("down", tie_in_m)[1]
        borders = length.line.borders_m
        for reach_id, low, high in zip(
            length.line.reach_ids, borders[:-1], borders[1:], strict=True
        ):
            a, b = max(start, float(low)), min(stop, float(high))
            if b > a:
                rows.append(
                    {
                        "owner": owner,
                        "bank": length.bank,
                        "reach_id": reach_id,
                        "geometry": length.line.part(a, b),
                    }
                )
    return pd.DataFrame(rows)


def constraint_names(
    lengths: Sequence[FailingLength], constraints: Table | None, tie_in_m: float
) -> list[tuple[str, ...]]:
    """Return the names of the areas within 3 m of each length with its tie-ins, sorted."""
    if constraints is None or constraints.empty or not lengths:
        return [() for _ in lengths]
    tree = shapely.STRtree(gpd.GeoDataFrame(constraints).geometry.to_numpy())
    names = constraints["constraint_name"].astype("object").to_numpy()
    found = []
    for length in lengths:
        line = length.line.part(
            length.tie_in("up", tie_in_m)[0], length.tie_in("down", tie_in_m)[1]
        )
        at = tree.query(line, predicate="dwithin", distance=ABOUT_M)
        known = {str(names[i]) if isinstance(names[i], str) else UNNAMED for i in at}
        found.append(tuple(sorted(known)))
    return found


def textures(lengths: Sequence[FailingLength], soils: Table | None) -> list[str | None]:
    """Return the texture that most of each length lies on, None without one."""
    if soils is None or soils.empty or not lengths:
        return [None for _ in lengths]
    tree = shapely.STRtree(gpd.GeoDataFrame(soils).geometry.to_numpy())
    words = soils["texture"].astype("object").to_numpy()
    found: list[str | None] = []
    for length in lengths:
        line = length.geometry()
        count = max(1, math.ceil(line.length / SOIL_STEP_M))
        places = shapely.line_interpolate_point(
            line, (np.arange(count) + 0.5) / count, normalized=True
        )
        _, at = tree.query(places, predicate="intersects")
        known = pd.Series([str(words[i]) for i in at if isinstance(words[i], str)], dtype=object)
        counted = known.value_counts()
        found.append(None if counted.empty else min(counted.index[counted == counted.max()]))
    return found
