"""The `hazard` stage: sections, reaches and banks in; scores, bankfull size and factors out."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from reachrank.columns import floats
from reachrank.context import Context, Table, Tables, with_tables
from reachrank.curves import Curve
from reachrank.exposure.recession import add_years
from reachrank.hazard.bankfull import (
    BankfullSize,
    bankfull_size,
    chosen_curve,
    curve_area_km2,
    report_curve_limits,
    report_curve_too_small,
)
from reachrank.hazard.banks import Deciding, deciding_sections, factor_rows, factor_table
from reachrank.hazard.engine import Hazard, assess
from reachrank.hazard.measure import SIDES, bank_cover, build_frame
from reachrank.hazard.registry import load_factors
from reachrank.hazard.second_opinion import PARTS, near_bank_stress, points
from reachrank.hazard.side_frame import Bools, Floats, SideFrame
from reachrank.running.mapped import let_go
from reachrank.running.memory import give_back


def run(tables: Tables, ctx: Context) -> Tables:
    """Score how likely each bank is to go on failing.

    Parameters
    ----------
    tables
        ``sections``, ``reaches``, ``banks``, ``bends``, ``edges``; ``soils`` and ``exposures``
        where there are any. Left as they are.
    ctx
        ``ctx.inputs.curve`` names the regional curve, ``ctx.cover_path`` the cover raster;
        ``ctx.settings.hazard`` holds weights and breakpoints.

    Returns
    -------
    Tables
        With ``factors``, the side scores in ``sections``, and the scores, the bankfull size and
        the second opinions in ``banks``, ``reaches`` and ``bends``.
    """
    settings = ctx.settings.hazard
    used = chosen_curve(ctx.inputs.curve, settings)
    report_curve_limits(tables["edges"], used, ctx.findings)
    cover = bank_cover(gpd.GeoDataFrame(tables["banks"]), ctx)
    ctx.progress(0.4, "cover measured")
    frame, size = build_frame(tables, cover, used, ctx)
    report_curve_too_small(tables["sections"], size, used, ctx.findings)
    ctx.progress(0.6, "sections measured")
    hazard = assess(load_factors(ctx.findings), frame, ctx.findings)
    bend_of_side = _bend_of_side(frame)
    del frame  # a dozen arrays as long as the sections
    give_back()
    ctx.progress(0.8, "sections scored")

    sections = tables["sections"].copy(deep=False)  # whole columns are put in, none is changed
    for column, side in enumerate(SIDES):
        sections[f"{side}_hazard_score"] = hazard.hazard_score[:, column]
    banks = tables["banks"].copy()
    banks["cover_frac"] = cover
    deciding = deciding_sections(sections, banks, hazard, settings.bank_quantile)
    by_factor = factor_rows(sections, banks, hazard, deciding, settings)
    let_go()
    banks["hazard_score"] = _scattered(deciding, hazard.hazard_score)
    _facts(ctx, used, hazard)
    del hazard  # of all that was measured only what decides is needed from here on
    factors = factor_table(by_factor)
    _cap_fact(ctx, factors, len(banks))
    confidence = deciding.usable_frac * deciding.measured_frac
    banks["hazard_confidence_frac"] = np.clip(np.nan_to_num(confidence), 0.0, 1.0)
    bends = _bends(tables["bends"], sections, size, tables["reaches"])
    del size
    reaches = _reaches(tables, banks, used, ctx)
    let_go()
    banks["near_bank_stress_number"] = _stress(banks, sections["reach_id"], *bend_of_side)
    _second_opinion(banks, reaches, settings.greatest_depth_factor)
    ctx.progress(1.0, "banks scored")
    scored = with_tables(
        tables, sections=sections, banks=banks, reaches=reaches, bends=bends, factors=factors
    )
    return add_years(scored, ctx) if "exposures" in scored else scored


def _scattered(deciding: Deciding, values: Floats) -> Floats:
    whole = np.full(deciding.row.shape, np.nan)
    whole[deciding.known] = deciding.take(values)
    return whole


def _first_of_reach(sections: pd.DataFrame, name: str, reach_id: pd.Series) -> pd.Series:
    """Return, per reach, the value of its section nearest to the mouth."""
    columns = pd.DataFrame(sections)[["reach_id", "station_m", name]]
    lowest = columns.dropna(subset=["reach_id"]).sort_values("station_m", kind="stable")
    return lowest.drop_duplicates("reach_id").set_index("reach_id")[name].reindex(reach_id)


def _reaches(tables: Tables, banks: pd.DataFrame, used: Curve | None, ctx: Context) -> Table:
    """Fill bankfull size, radius over width, height ratio and the worse bank's hazard."""
    settings = ctx.settings.hazard
    reaches, edges = tables["reaches"].copy(), tables["edges"]
    edge = _first_of_reach(tables["sections"], "edge_id", reaches["reach_id"])
    attribute = pd.Series(floats(edges, "attribute_width_m"), index=edges["edge_id"])
    area = pd.Series(curve_area_km2(edges), index=edges["edge_id"])
    size = bankfull_size(
        area.reindex(edge).to_numpy(np.float64),
        attribute.reindex(edge).to_numpy(np.float64),
        used,
        settings,
    )
    reaches["bankfull_width_m"] = size.width_m
    reaches["bankfull_depth_m"] = size.mean_depth_m
    top = floats(reaches, "top_width_m")
    has = np.isfinite(size.width_m)
    width = np.where(has, size.width_m, top)
    source = np.full(len(reaches), None, object)
    source[np.isfinite(top)] = "top_width"
    source[has] = size.source[has]
    reaches["width_source"] = pd.Series(source, index=reaches.index, dtype=object)
    reaches["radius_width_ratio"] = floats(reaches, "radius_m") / width
    by_reach = banks.groupby("reach_id")
    reaches["hazard_score"] = by_reach["hazard_score"].max().reindex(reaches["reach_id"]).to_numpy()
    worse = banks.sort_values(["reach_id", "hazard_score", "bank"], kind="stable").drop_duplicates(
        "reach_id", keep="last"
    )
    height = floats(worse.set_index("reach_id").reindex(reaches["reach_id"]), "bank_height_m")
    reaches["bank_height_ratio"] = height / size.greatest_depth_m
    return reaches


def _bends(
    bends: Table, sections: pd.DataFrame, size: BankfullSize, reaches: pd.DataFrame
) -> Table:
    """Put radius over bankfull width, else over top width, where either is known."""
    bends = bends.copy()
    if bends.empty or "bend_id" not in sections.columns:
        return bends
    top = pd.Series(floats(reaches, "top_width_m"), index=reaches["reach_id"])
    of_section = pd.DataFrame(
        {
            "bend_id": sections["bend_id"].to_numpy(),
            "width": size.width_m,
            "top": top.reindex(sections["reach_id"]).to_numpy(np.float64),
        }
    )
    median = of_section.groupby("bend_id").median().reindex(bends["bend_id"])
    width = median["width"].fillna(median["top"]).to_numpy(np.float64)
    ratio = floats(bends, "radius_m") / width
    before = floats(bends, "radius_width_ratio")
    bends["radius_width_ratio"] = np.where(np.isfinite(ratio), ratio, before)
    return bends


def _second_opinion(banks: pd.DataFrame, reaches: pd.DataFrame, depth_factor: float) -> None:
    """Put the published ratings into banks: of the parts that are known, never of a guess."""
    depth = pd.Series(floats(reaches, "bankfull_depth_m") * depth_factor, index=reaches["reach_id"])
    height = floats(banks, "bank_height_m") / depth.reindex(banks["reach_id"]).to_numpy(np.float64)
    bound = floats(banks, "is_angle_lower_bound") == 1.0
    angle = np.where(bound, np.nan, floats(banks, "bank_angle_deg"))
    parts = np.column_stack([points("height_ratio", height), points("angle", angle)])
    known = np.isfinite(parts)
    banks["second_opinion_known_points"] = np.where(
        known.any(axis=1), np.nansum(parts, axis=1), np.nan
    )
    never = [PARTS["root_depth_ratio"], PARTS["root_density"], PARTS["surface_protection"]]
    here = (PARTS["height_ratio"], PARTS["angle"])
    banks["second_opinion_missing"] = [
        ", ".join([word for word, has in zip(here, row, strict=True) if not has] + never)
        for row in known
    ]


def _bend_of_side(frame: SideFrame) -> tuple[Floats, Bools]:
    """Return width over radius where a side counts, and whether it is inside a bend; (n, 2)."""
    is_bent = frame.is_outside.any(axis=1, keepdims=True)
    ratio = np.where(frame.counts, frame.width_radius_ratio, np.nan)
    return ratio, np.asarray(is_bent & ~frame.is_outside)


def _stress(banks: pd.DataFrame, reach_id: pd.Series, ratio: Floats, is_inside: Bools) -> pd.Series:
    """Tightest bend on the bank's outside; straight banks have none, inside banks no number."""
    key = pd.MultiIndex.from_arrays([banks["reach_id"], banks["bank"]])
    columns = []
    for column, side in enumerate(SIDES):
        side_table = pd.DataFrame(
            {
                "reach_id": reach_id.to_numpy(),
                "ratio": ratio[:, column],
                "inside": is_inside[:, column],
            }
        )
        by_reach = side_table.groupby("reach_id")
        tightest = by_reach.agg(ratio=("ratio", "max"), inside=("inside", "any"))
        tightest.index = pd.MultiIndex.from_product([tightest.index, [side]])
        columns.append(tightest)
    table = pd.concat(columns).reindex(key)
    greatest = table["ratio"].to_numpy(np.float64)
    inside_only = (greatest == 0) & table["inside"].eq(True).to_numpy(np.bool_)
    with np.errstate(divide="ignore"):
        number = near_bank_stress(np.where(inside_only, np.nan, 1.0 / greatest))
    return pd.Series(number, index=banks.index).astype("Int64")


def _facts(ctx: Context, used: Curve | None, hazard: Hazard) -> None:
    """State the curve and the weights in use."""
    if used is None:
        ctx.facts["curve"] = "none: no bankfull size from a regional curve"
    else:
        ctx.facts["curve"] = f"{used.name}, {used.title}: {used.citation}; {used.certainty}"
    ctx.facts["factor_weights"] = ", ".join(
        f"{part.factor.name} {part.weight:.3f}" for part in hazard.parts
    )
    ctx.facts["factors_absent"] = ", ".join(hazard.absent) or "none"


def _cap_fact(ctx: Context, factors: pd.DataFrame, banks: int) -> None:
    """State the share of banks at each factor's cap."""
    if factors.empty:
        return
    capped = (factors["score"] >= 1.0 - 1e-9) & (factors["state"] != "missing")
    share = capped.groupby(factors["factor"], sort=False).sum() / max(banks, 1)
    ctx.facts["factor_cap_share"] = ", ".join(
        f"{name} {100.0 * part:.0f} %" for name, part in share.items()
    )
