"""The `reaches` stage: channel, sections and bends in; reaches and banks out."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.bank.scale import averaging_scale_m
from reachrank.columns import floats
from reachrank.context import Context, Tables, with_tables
from reachrank.reaches.bends import outside_shares, tightest_bends
from reachrank.reaches.counting import counts
from reachrank.reaches.figures import SIDES, bank_figures, reach_slopes, reach_widths
from reachrank.reaches.split import reach_of_sections, split_streams
from reachrank.reaches.stations import PlacedSections, stream_places, vertex_stations
from reachrank.reaches.top_line import StationedLine, filled_offsets, median_count, top_line
from reachrank.settings.reaches import ReachesSettings


def run(tables: Tables, ctx: Context) -> Tables:
    """Cut streams into reaches, measure them, and draw the top-of-bank lines.

    Parameters
    ----------
    tables
        ``edges``, ``channel``, ``sections``, ``bends``, and, for the exact place of junctions,
        ``channel_points``; left as they are.
    ctx
        Context of the run; ``ctx.settings.reaches`` is used.

    Returns
    -------
    Tables
        With ``reaches`` and ``banks``, and ``reach_id`` in ``sections``.
    """
    settings = ctx.settings.reaches
    channel, edges, bends = tables["channel"], tables["edges"], tables["bends"]
    sections = tables["sections"].copy(deep=False)  # a column is added, none is changed
    marks = tables.get("channel_points", sections)
    spans = split_streams(channel, marks, edges, settings.target_length_m, ctx.findings)
    sections["reach_id"] = pd.Series(
        reach_of_sections(sections, spans), index=sections.index, dtype=object
    )
    ctx.progress(0.2, "reaches cut")

    is_counted = counts(sections, settings.least_quality)
    widths = reach_widths(spans, sections, is_counted, channel)
    scale = averaging_scale_m(floats(widths, "toe_width_m"), ctx.dem.cell_m)
    smoothing = pd.Series(scale * settings.smoothing_widths, widths.index)
    figures = bank_figures(sections, is_counted, smoothing, ctx.dem.cell_m)
    ctx.progress(0.5, "banks measured")

    reaches = spans.merge(_edge_facts(edges), on="edge_id", how="left")
    reaches["length_m"] = reaches["station_to_m"] - reaches["station_from_m"]
    reaches = reaches.set_index("reach_id", drop=False)
    reaches["toe_width_m"], reaches["top_width_m"] = widths["toe_width_m"], widths["top_width_m"]
    reaches["slope_ratio"] = reach_slopes(
        spans, sections, widths["toe_width_m"], settings.slope_window_widths, ctx.findings
    )
    reaches = reaches.join(tightest_bends(spans, bends))
    for side in SIDES:
        own = figures.reindex(pd.MultiIndex.from_product([reaches.index, [side]]))
        for name in ("bank_height_m", "bank_angle_deg"):
            reaches[f"{side}_{name}"] = own[name].to_numpy(dtype=np.float64)
    lines = _reach_lines(reaches, channel)
    ends = shapely.distance(shapely.get_point(lines, 0), shapely.get_point(lines, -1))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = shapely.length(lines) / ends
    reaches["sinuosity_ratio"] = np.where(ends > 0.0, np.maximum(ratio, 1.0), np.nan)
    ctx.progress(0.7, "reaches measured")

    tops = _top_lines(spans, channel, sections, is_counted, settings)
    banks = _banks(spans, tops, figures, outside_shares(spans, sections, bends))
    ctx.progress(1.0, "banks drawn")
    crs = ctx.crs
    return with_tables(
        tables,
        sections=sections,
        reaches=gpd.GeoDataFrame(reaches.reset_index(drop=True), geometry=lines, crs=crs),
        banks=gpd.GeoDataFrame(banks, geometry="geometry", crs=crs),
    )


def _edge_facts(edges: pd.DataFrame) -> pd.DataFrame:
    facts = pd.DataFrame(edges)[["edge_id", "stream_name", "stream_order", "drainage_area_km2"]]
    return facts.drop_duplicates("edge_id")


def _reach_lines(reaches: pd.DataFrame, channel: gpd.GeoDataFrame) -> NDArray[np.object_]:
    """Return the part of its stream's channel line that each reach is, drawn downstream."""
    streams = {}
    for row in channel[channel["stream_id"].isin(reaches["stream_id"])].itertuples():
        x, y = shapely.get_coordinates(row.geometry).T
        station = vertex_stations(row.geometry, float(row.length_m))
        streams[str(row.stream_id)] = StationedLine(station, x, y)
    return _parts(reaches, streams)


def _parts(reaches: pd.DataFrame, streams: Mapping[str, StationedLine]) -> NDArray[np.object_]:
    """Return the part of its stream's line that belongs to each reach, in the order of reaches."""
    parts = np.empty(len(reaches), dtype=object)
    low, high = floats(reaches, "station_from_m"), floats(reaches, "station_to_m")
    for stream_id, rows in reaches.reset_index(drop=True).groupby("stream_id").indices.items():
        parts[rows] = streams[str(stream_id)].parts(low[rows], high[rows])
    return parts


def _banks(
    reaches: pd.DataFrame,
    tops: Mapping[str, Mapping[str, StationedLine]],
    figures: pd.DataFrame,
    shares: pd.DataFrame,
) -> pd.DataFrame:
    """Return two rows for each reach, left before right."""
    sides = [
        pd.DataFrame(
            {
                "bank_id": np.array(  # text also where there is none
                    [f"{name}-{side[0].upper()}" for name in reaches["reach_id"]], dtype=object
                ),
                "reach_id": reaches["reach_id"].to_numpy(dtype=object),
                "bank": side,
                "outside_frac": shares[side].to_numpy(dtype=np.float64),
                "geometry": _parts(reaches, tops[side]),
            }
        )
        for side in SIDES
    ]
    banks = pd.concat(sides).sort_index(kind="stable", ignore_index=True)
    banks.insert(3, "length_m", shapely.length(banks["geometry"].to_numpy()))
    measured = figures.reindex(pd.MultiIndex.from_frame(banks[["reach_id", "bank"]]))
    for name in ("bank_height_m", "bank_height_p90_m", "bank_height_se_m", "bank_angle_deg"):
        banks[name] = measured[name].to_numpy(dtype=np.float64)
    banks["is_angle_lower_bound"] = (measured["is_angle_lower_bound"] == True).to_numpy()  # noqa: E712
    banks["sections_used"] = measured["sections_used"].fillna(0).to_numpy(dtype=np.int64)
    return banks


def _top_lines(
    reaches: pd.DataFrame,
    channel: gpd.GeoDataFrame,
    sections: gpd.GeoDataFrame,
    is_counted: NDArray[np.bool_],
    settings: ReachesSettings,
) -> dict[str, dict[str, StationedLine]]:
    """Return the top-of-bank line by side and stream."""
    placed = PlacedSections.of(sections, is_counted)
    rows_of = sections[["stream_id"]].reset_index(drop=True).groupby("stream_id").indices
    wanted = set(reaches["stream_id"])
    lines: dict[str, dict[str, StationedLine]] = {side: {} for side in SIDES}
    for row in channel.itertuples():
        if row.stream_id not in wanted:
            continue
        own = rows_of.get(row.stream_id, np.empty(0, dtype=np.intp))
        width = float(row.toe_width_m) if pd.notna(row.toe_width_m) else np.nan
        places = stream_places(
            row.geometry,
            float(row.length_m),
            placed.at(own),
            width / 2.0,
        )
        gap = max(
            settings.bridge_widths * width if np.isfinite(width) else 0.0,
            (settings.bridge_sections + 1) * places.spacing_m,
        )
        count = median_count(settings.top_median_widths * width, places.spacing_m)
        for side in SIDES:
            offsets = filled_offsets(places.side(side), gap, count)
            lines[side][str(row.stream_id)] = top_line(places.side(side), offsets, side)
    return lines
