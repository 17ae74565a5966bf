"""From the tables to the arrays that factors look at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.columns import floats
from reachrank.hazard.bankfull import BankfullSize, bankfull_size, curve_area_km2
from reachrank.hazard.bend_place import bend_at
from reachrank.hazard.cover import at_least, cover_share, one_of, strips
from reachrank.hazard.flow import manning_discharge_m3s, profile_slope, unit_stream_power
from reachrank.hazard.side_frame import Bools, Floats, SideFrame
from reachrank.hazard.soil import soil_at, soil_index
from reachrank.reaches.counting import UNCOUNTED, has_flag
from reachrank.reaches.counting import counts as counted
from reachrank.running.mapped import let_go, mapped
from reachrank.sections.whole import section_ends

if TYPE_CHECKING:
    from reachrank.context import Context, Table
    from reachrank.curves import Curve
    from reachrank.settings.hazard import HazardSettings

SIDES = ("left", "right")


def counting_sides(sections: pd.DataFrame, least_quality: float) -> Bools:
    """Return which sides of which sections count, shape (n, 2): usable, in a reach, with a top."""
    usable = counted(sections, least_quality) & sections["reach_id"].notna().to_numpy()
    height = np.column_stack([floats(sections, f"{side}_bank_height_m") for side in SIDES])
    return mapped(np.asarray(usable[:, None] & np.isfinite(height), np.bool_))


def bank_rows(sections: pd.DataFrame, banks: pd.DataFrame) -> NDArray[np.intp]:
    """Return the row in ``banks`` of each section's side, -1 for none; shape (sections, 2)."""
    columns = []
    for side in SIDES:
        rows = np.flatnonzero((banks["bank"] == side).to_numpy(np.bool_))
        place = pd.Index(banks["reach_id"].to_numpy(object)[rows]).get_indexer(sections["reach_id"])
        columns.append(np.append(rows, -1)[place])
    return np.column_stack(columns)


def bank_cover(banks: gpd.GeoDataFrame, ctx: Context) -> Floats:
    """Return each bank's cover_frac, measured on the cover raster; as it was without a raster."""
    if ctx.cover_path is None or banks.empty:
        return floats(banks, "cover_frac")
    inputs = ctx.settings.inputs
    is_woody = (
        at_least(inputs.cover_height_least_m)
        if inputs.cover_meaning == "height_m"
        else one_of(inputs.cover_classes)
    )
    areas = strips(banks, ctx.settings.hazard.cover_strip_m)
    return cover_share(areas, ctx.cover_path, is_woody, allow_remote=ctx.inputs.allow_remote)


def build_frame(
    tables: Mapping[str, Table], cover_frac: Floats, used: Curve | None, ctx: Context
) -> tuple[SideFrame, BankfullSize]:
    """Return the arrays for the sections in their order, and the bankfull size at each section."""
    settings = ctx.settings.hazard
    sections, reaches, banks = tables["sections"], tables["reaches"], tables["banks"]
    counts = counting_sides(sections, ctx.settings.reaches.least_quality)
    size = size_at(sections, tables["edges"], used, settings)
    width = width_at(sections, reaches, size)
    height = side_pair(sections, "bank_height_m")
    slope = slope_at(sections, reaches, width, settings)
    outside, ratio = _bend(sections, tables["bends"], width, settings)
    discharge, power = _power(size, width, slope, settings)
    keyed = banks.assign(cover_frac=cover_frac)
    let_go()
    frame = SideFrame(
        counts=counts,
        bank_height_m=height,
        bank_height_se_m=_of_bank(sections, keyed, "bank_height_se_m"),
        bank_angle_deg=side_pair(sections, "bank_angle_deg"),
        is_angle_lower_bound=_flag_pair(sections, "is_angle_lower_bound"),
        both_banks_height_m=_both(height.min(axis=1)),
        is_outside=outside,
        width_radius_ratio=ratio,
        cover_frac=_of_bank(sections, keyed, "cover_frac"),
        soil_index=_soil(sections, tables.get("soils"), ctx),
        slope_ratio=_both(slope),
        drainage_area_km2=_both(_of_edge(sections, tables["edges"], "drainage_area_km2")),
        discharge_m3s=_both(discharge),
        unit_stream_power_w_per_m2=_both(power),
        width_m=_both(width),
        bankfull_width_m=_both(size.width_m),
        mean_depth_m=_both(size.mean_depth_m),
        greatest_depth_m=_both(size.greatest_depth_m),
        settings=settings,
    )
    return frame, size


def _both(values: Floats) -> Floats:
    return np.broadcast_to(values[:, None], (len(values), 2))


def side_pair(sections: pd.DataFrame, name: str) -> Floats:
    """Return the columns ``left_name`` and ``right_name``, shape (sections, 2)."""
    return mapped(np.column_stack([floats(sections, f"{side}_{name}") for side in SIDES]))


def _flag_pair(sections: pd.DataFrame, name: str) -> Bools:
    return np.column_stack([floats(sections, f"{side}_{name}") == 1.0 for side in SIDES])


def _of_edge(sections: pd.DataFrame, edges: pd.DataFrame, name: str) -> Floats:
    by_id = pd.Series(floats(edges, name), index=edges["edge_id"])
    return np.asarray(by_id.reindex(sections["edge_id"]), np.float64)


def _of_bank(sections: pd.DataFrame, banks: pd.DataFrame, name: str) -> Floats:
    values = floats(banks, name)
    if not np.isfinite(values).any():
        return np.broadcast_to(np.nan, (len(sections), 2))
    rows = bank_rows(sections, banks)
    return mapped(np.asarray(np.append(values, np.nan)[rows], np.float64))


def size_at(
    sections: pd.DataFrame, edges: pd.DataFrame, used: Curve | None, settings: HazardSettings
) -> BankfullSize:
    """Return the bankfull size at each section."""
    by_id = pd.Series(curve_area_km2(edges), index=edges["edge_id"])
    size = bankfull_size(
        np.asarray(by_id.reindex(sections["edge_id"]), np.float64),
        _of_edge(sections, edges, "attribute_width_m"),
        used,
        settings,
    )
    return BankfullSize(**{f.name: mapped(getattr(size, f.name)) for f in fields(size)})


def width_at(sections: pd.DataFrame, reaches: pd.DataFrame, size: BankfullSize) -> Floats:
    """Return the bankfull width, else the reach's top width, else the section's own widths."""
    top = pd.Series(floats(reaches, "top_width_m"), index=reaches["reach_id"])
    width = size.width_m
    others = (
        top.reindex(sections["reach_id"]).to_numpy(np.float64),
        floats(sections, "top_width_m"),
        floats(sections, "toe_width_m"),
    )
    for other in others:
        width = np.where(np.isfinite(width), width, other)
    return mapped(width)


def slope_at(
    sections: pd.DataFrame, reaches: pd.DataFrame, width: Floats, settings: HazardSettings
) -> Floats:
    """Return the fall of the profile over several widths, else the reach's slope."""
    slope = np.full(len(sections), np.nan)
    station = floats(sections, "station_m")
    bed = floats(sections, "bed_elevation_m")
    usable = ~has_flag(sections["flags"], UNCOUNTED)
    window = np.fmax(settings.slope_window_widths * width, settings.slope_window_least_m)
    for _, rows in sorted(sections.reset_index(drop=True).groupby("stream_id").indices.items()):
        order = rows[np.argsort(station[rows], kind="stable")]
        slope[order] = profile_slope(station[order], bed[order], window[order], usable[order])
    of_reach = pd.Series(floats(reaches, "slope_ratio"), index=reaches["reach_id"])
    other = of_reach.reindex(sections["reach_id"]).to_numpy(np.float64)
    return mapped(np.where(np.isfinite(slope), slope, other))


def _bend(
    sections: pd.DataFrame, bends: pd.DataFrame, width: Floats, settings: HazardSettings
) -> tuple[Bools, Floats]:
    stream = sections["stream_id"].to_numpy(object)
    lag = settings.bend_lag_widths * width
    row = bend_at(stream, floats(sections, "station_m"), lag, bends)
    outside = np.zeros((len(sections), 2), np.bool_)
    ratio = np.zeros((len(sections), 2))
    has = row >= 0
    if has.any():
        bank = bends["outside_bank"].to_numpy(object)[row[has]]
        outside[has] = np.column_stack([bank == side for side in SIDES])
        curved = width[has] / floats(bends, "radius_m")[row[has]]
        ratio[has] = np.where(outside[has], curved[:, None], 0.0)
    return outside, mapped(ratio)


def _power(
    size: BankfullSize, width: Floats, slope: Floats, settings: HazardSettings
) -> tuple[Floats, Floats]:
    by_formula = manning_discharge_m3s(width, size.mean_depth_m, slope, settings.manning_n)
    discharge = np.where(np.isfinite(size.discharge_m3s), size.discharge_m3s, by_formula)
    return mapped(discharge), mapped(unit_stream_power(discharge, slope, width))


def _soil(sections: pd.DataFrame, soils: Table | None, ctx: Context) -> Floats:
    if soils is None or soils.empty or sections.empty:
        return np.broadcast_to(np.nan, (len(sections), 2))
    index = soil_index(soils, ctx.settings.hazard, ctx.findings)
    ends = shapely.points(section_ends(sections))
    sides = [soil_at(ends[:, side], gpd.GeoDataFrame(soils), index) for side in (0, 1)]
    return mapped(np.column_stack(sides))
