"""The `exposure` stage: banks, reaches and structures in; exposures and distances out."""

from __future__ import annotations

from functools import partial

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.context import Context, Table, Tables, with_tables
from reachrank.exposure.crossings import Crossings, Shapes, find_crossings, pieces
from reachrank.exposure.facing import Facing, facing_pairs
from reachrank.exposure.recession import YEARS, add_years
from reachrank.exposure.score import combined_scores, known_classes, structure_scores

COLUMNS = (
    "exposure_id",
    "structure_id",
    "structure_class",
    "source",
    "bank_distance_m",
    "bank",
    "bank_id",
    "reach_id",
)
READS = ("reaches", "banks", "structures")
OF_BANK = ("structure_distance_m", "structure_id", "exposure_score")
"""Columns that banks and reaches get; the years follow when the hazard is known."""


def run(tables: Tables, ctx: Context) -> Tables:
    """Measure how near structures are to the tops of the banks, and score it.

    Parameters
    ----------
    tables
        ``reaches``, ``banks``, and ``structures``, which may be absent or empty; left as they are.
    ctx
        Context of the run; ``ctx.settings.exposure`` is used. Where it has something beside its
        stages, the exposures are measured there and put into the tables at its end.

    Returns
    -------
    Tables
        With ``exposures`` (one row per structure within reach, for the bank nearest to it among
        those that face it), and structure_distance_m, structure_id and exposure_score on ``banks``
        (over all structures that the bank faces) and ``reaches`` (the worse of its banks). Without
        a structures layer the scores are NaN, not 0: nothing is known.
    """
    if ctx.beside is None:
        return _measured(tables, ctx)
    given = {name: tables[name] for name in READS if name in tables}

    def put(now: Tables, made: Tables) -> Tables:
        new = with_tables(now, exposures=made["exposures"])
        for layer in ("banks", "reaches"):
            new[layer] = now[layer].assign(**dict(made[layer].items()))
        return add_years(new, ctx)

    ctx.beside.begin(partial(_new_columns, given), put, ctx)
    return tables


def _new_columns(tables: Tables, ctx: Context) -> dict[str, Table]:
    """Measure as `run`; return the exposures, and what is new of banks and reaches."""
    made = _measured(tables, ctx)
    columns = {layer: pd.DataFrame(made[layer][list(OF_BANK)]) for layer in ("banks", "reaches")}
    return {"exposures": made["exposures"], **columns}


def _measured(tables: Tables, ctx: Context) -> Tables:
    settings = ctx.settings.exposure
    banks, reaches = tables["banks"], tables["reaches"]
    structures = tables.get("structures")
    if structures is None:
        nothing = _exposures(_no_pairs(), ctx)
        banks, reaches = _with_distances(banks, reaches, _no_pairs(), np.nan, None)
        return with_tables(tables, exposures=nothing, banks=banks, reaches=reaches)
    structures = structures.sort_values("structure_id", kind="stable").reset_index(drop=True)
    shapes = _usable_shapes(structures, ctx)
    classes = known_classes(structures["structure_class"], settings)
    is_long = np.isin(classes, settings.long_classes)
    crossings = None
    if not settings.count_crossings:
        crossings = find_crossings(
            shapes, is_long, reaches, settings.crossing_widths, settings.crossing_least_m
        )
        _report_crossings(crossings, structures, reaches, ctx)
    parts, owner = pieces(shapes, is_long, reaches, crossings)
    ctx.progress(0.3, "crossings left out")
    facing = facing_pairs(parts, banks, reaches, settings.reach_m)
    links = _visible_links(facing, parts)
    pairs = _pairs(facing, owner, links, structures.assign(structure_class=classes), banks)
    pairs["score"] = structure_scores(
        list(pairs["structure_class"]), pairs["bank_distance_m"].to_numpy(np.float64), settings
    )
    ctx.progress(0.9, "distances measured")
    scores = combined_scores(pairs, settings.long_classes)
    banks, reaches = _with_distances(banks, reaches, pairs, 0.0, scores)
    return with_tables(tables, exposures=_exposures(pairs, ctx), banks=banks, reaches=reaches)


def _usable_shapes(structures: gpd.GeoDataFrame, ctx: Context) -> Shapes:
    """Return the geometries, invalid ones mended, useless ones None with a finding."""
    shapes: Shapes = structures.geometry.to_numpy().copy()
    useless = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    for row in np.flatnonzero(useless):
        ctx.findings.add(
            "left_out",
            "no_geometry",
            f"Structure {structures['structure_id'].iloc[row]} has no geometry.",
            source_layer=str(structures["source"].iloc[row]),
            source_id=str(structures["structure_id"].iloc[row]),
        )
    shapes[useless] = None
    broken = ~useless & ~shapely.is_valid(shapes)
    shapes[broken] = shapely.make_valid(shapes[broken])
    return shapes


def _report_crossings(
    crossings: Crossings, structures: gpd.GeoDataFrame, reaches: gpd.GeoDataFrame, ctx: Context
) -> None:
    """Add a finding for each crossing, in the order of the structures' ids."""
    for point, radius, name, source, reach in zip(
        crossings.points,
        crossings.radius_m,
        structures["structure_id"].to_numpy(object)[crossings.structure],
        structures["source"].to_numpy(object)[crossings.structure],
        reaches["reach_id"].to_numpy(object)[crossings.reach],
        strict=True,
    ):
        ctx.findings.add(
            "info",
            "crossing",
            f"{name} crosses the channel in reach {reach}; roads and "
            f"other long things within {radius:.0f} m of there do not count as exposed.",
            source_layer=str(source),
            source_id=str(name),
            geometry=point,
        )


def _visible_links(facing: Facing, parts: Shapes) -> Shapes:
    """Return the links; where the distance is 0, from the bank to a point inside the structure."""
    links = facing.links.copy()
    at_lip = facing.distance_m == 0.0
    start = shapely.get_coordinates(shapely.get_point(links[at_lip], 0))
    inside = shapely.point_on_surface(parts[facing.structure[at_lip]])
    ends = np.stack([start, shapely.get_coordinates(inside)], axis=1)
    links[at_lip] = shapely.linestrings(ends)
    return links


def _pairs(
    facing: Facing,
    owner: NDArray[np.intp],
    links: Shapes,
    structures: gpd.GeoDataFrame,
    banks: gpd.GeoDataFrame,
) -> pd.DataFrame:
    """Return one row per structure and bank that faces it, the nearest bank of each first."""
    row = owner[facing.structure]
    pairs = pd.DataFrame({"row": row, "bank_distance_m": facing.distance_m, "geometry": links})
    for name in ("structure_id", "structure_class", "source"):
        pairs[name] = structures[name].to_numpy(dtype=object)[row]
    for name in ("bank", "bank_id", "reach_id"):
        pairs[name] = banks[name].to_numpy(dtype=object)[facing.bank]
    order = ["structure_id", "row", "bank_distance_m", "bank_id"]
    return pairs.sort_values(order, kind="stable").drop_duplicates(["row", "bank_id"])


def _no_pairs() -> pd.DataFrame:
    text = {name: pd.Series(dtype=object) for name in COLUMNS}
    numbers = {name: pd.Series(dtype=np.float64) for name in ("bank_distance_m", "score")}
    rest = {"row": pd.Series(dtype=np.int64), "geometry": pd.Series(dtype=object)}
    return pd.DataFrame(text | numbers | rest)


def _exposures(pairs: pd.DataFrame, ctx: Context) -> gpd.GeoDataFrame:
    """Return the nearest bank of each structure; years come with the hazard."""
    nearest = pairs.drop_duplicates("row").reset_index(drop=True)
    count = nearest.groupby("structure_id").cumcount()
    again = np.where(count > 0, "#" + (count + 1).astype(str), "")
    nearest["exposure_id"] = nearest["structure_id"] + "@" + nearest["bank_id"] + again
    table = nearest[list(COLUMNS)].assign(**dict.fromkeys(YEARS, np.nan))
    return gpd.GeoDataFrame(table, geometry=list(nearest["geometry"]), crs=ctx.crs)


def _with_distances(
    banks: gpd.GeoDataFrame,
    reaches: gpd.GeoDataFrame,
    pairs: pd.DataFrame,
    score_of_none: float,
    scores: pd.Series | None,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Return banks and reaches with structure_distance_m, structure_id and exposure_score."""
    banks, reaches = banks.copy(), reaches.copy()
    order = pairs.sort_values(["bank_distance_m", "structure_id", "row"], kind="stable")
    for table, key in ((banks, "bank_id"), (reaches, "reach_id")):
        first = order.drop_duplicates(key).set_index(key)
        table["structure_distance_m"] = table[key].map(first["bank_distance_m"]).astype(np.float64)
        table["structure_id"] = table[key].map(first["structure_id"]).astype(object)
    if scores is None:
        banks["exposure_score"] = score_of_none
    else:
        banks["exposure_score"] = banks["bank_id"].map(scores).astype(np.float64)
        banks["exposure_score"] = banks["exposure_score"].fillna(score_of_none)
    worst = banks.groupby("reach_id")["exposure_score"].max()
    reaches["exposure_score"] = reaches["reach_id"].map(worst).astype(np.float64)
    for name in YEARS:
        banks[name] = np.nan
    return banks, reaches
