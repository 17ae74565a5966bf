"""The stage `network`: from cleaned input lines to edges that run downstream."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.context import Context, Tables, with_tables
from reachrank.network import report
from reachrank.network.area import Area, attribute_at_lower_end, choose_area
from reachrank.network.connect import connect
from reachrank.network.directions import find_directions
from reachrank.network.fall import LEAST_SEARCH_CELLS, Fall, measure_fall, station_count
from reachrank.network.flow import Flow, directed, main_way_out
from reachrank.network.graph import Ints, connected, number_nodes
from reachrank.network.lines import XY, Line, in_order
from reachrank.network.order import strahler_order
from reachrank.network.paths import main_name
from reachrank.network.stems import main_way_in, trace_stems, upstream_length_m
from reachrank.network.turning import cut_at_turns, halve_loops
from reachrank.progress import part
from reachrank.running.turns import in_threads

Floats = NDArray[np.float64]

BATCH_M = 100_000.0
"""Length of lines whose elevation each thread holds; at 1 m cells about 80 MB."""


def run(tables: Tables, ctx: Context) -> Tables:
    """Make the layer ``edges`` from the layer ``streams``.

    Lines are snapped, cut at junctions and joined between them, turned downstream by the ground,
    ordered, given their drainage area, and gathered into streams.
    """
    return with_tables(tables, edges=build_edges(tables["streams"], ctx))


def build_edges(streams: gpd.GeoDataFrame, ctx: Context) -> gpd.GeoDataFrame:
    """Build the layer ``edges``; see `run`."""
    settings, findings = ctx.settings.network, ctx.findings
    source_id = [str(one) for one in streams["source_id"]]
    ctx.progress(0.0, "network: joining lines")
    tolerance_m = max(settings.snap_cells * ctx.dem.cell_m, settings.snap_least_m)
    whole = connect([shapely.get_coordinates(line) for line in streams.geometry], tolerance_m)
    report.on_connecting(findings, whole, list(streams.geometry), source_id, tolerance_m)
    name_of_row = [n if isinstance(n, str) else None for n in streams["stream_name"]]

    ctx.progress(0.15, "network: directions")
    joined, fall, turning = _measured(whole.lines, name_of_row, source_id, ctx)
    places, nodes = number_nodes(joined)
    drawn = np.array([_share_along(line) for line in joined])
    found = find_directions(
        nodes,
        fall.fall_m,
        fall.error_m,
        drawn=drawn,
        turns=np.flatnonzero(_are_among(places, turning)),
        settings=settings,
    )
    lines = [
        line if is_along else line.turned()
        for line, is_along in zip(joined, found.is_along, strict=True)
    ]
    is_turned = np.where(found.is_along, drawn, -drawn) < 0
    report.on_directions(findings, lines, found, fall, settings=settings, source_id=source_id)
    upper = np.where(found.is_along, nodes[:, 0], nodes[:, 1])
    lower = np.where(found.is_along, nodes[:, 1], nodes[:, 0])

    names = [
        main_name([name_of_row[r.row] for r in line.runs], [r.length_m for r in line.runs])
        for line in lines
    ]
    flow = directed(len(places), upper, lower)
    length_m = np.array([line.length_m for line in lines], float)
    width_m = _floats(streams["attribute_width_m"])
    attribute = attribute_at_lower_end(lines, flow, _floats(streams["attribute_area_km2"]))
    main_out = main_way_out(flow, length_m, names, attribute)
    area, is_cut = _area(lines, flow, main_out, attribute, ctx)
    report.on_area(findings, lines, area, source_id)

    above_m = upstream_length_m(flow, main_out, length_m)
    main_in = main_way_in(flow, main_out, area.area_km2, above_m, names)
    stems = trace_stems(
        flow, main_out, main_in, area_km2=area.area_km2, above_m=above_m, places=places
    )
    stream_id = _stream_ids(stems.stream)
    part_of = connected(len(places), nodes)[upper] if lines else np.empty(0, np.int64)
    joins = _joins(flow, main_out, main_in, stems.stream, stream_id)
    edges = gpd.GeoDataFrame(
        {
            "edge_id": pd.array(_edge_ids(stream_id, stems.sequence), dtype=object),
            "stream_id": pd.array(stream_id, dtype=object),
            "sequence": stems.sequence,
            "catchment": _by_first_stream(part_of, stems.stream),
            "from_node": upper,
            "to_node": lower,
            "stream_name": pd.array(names, dtype=object),
            "stream_order": strahler_order(flow, main_out),
            "drainage_area_km2": area.area_km2,
            "drainage_area_source": area.source,
            "is_area_cut": is_cut & (area.source == "routing"),
            "attribute_width_m": [_width(line, width_m) for line in lines],
            "is_turned": is_turned,
            "joins_stream_id": pd.array(joins, dtype=object),
        },
        geometry=[shapely.linestrings(line.xy) for line in lines],
        crs=ctx.crs,
    )
    order = np.lexsort((stems.sequence, stems.stream))
    ctx.progress(1.0, "network")
    return edges.iloc[order].reset_index(drop=True)


def _measured(
    lines: list[Line], names: Sequence[str | None], source_id: Sequence[str], ctx: Context
) -> tuple[list[Line], Fall, XY]:
    """Measure the falls; cut lines that turn and loops, measure their parts; return turns too."""
    fall = _fall(lines, ctx)
    step_m = max(ctx.settings.network.search_m, ctx.dem.cell_m)
    counts = station_count(np.array([line.length_m for line in lines]), step_m)
    turns = cut_at_turns(lines, fall.turn_share, counts, names)
    is_loop = np.array([np.array_equal(line.xy[0], line.xy[-1]) for line in lines], bool)
    kept = np.flatnonzero(turns.whole & ~is_loop)
    cut = turns.parts + [lines[k] for k in np.flatnonzero(turns.whole & is_loop)]
    parts, loops = halve_loops(cut)
    report.on_turns(ctx.findings, turns, loops, source_id)
    if not parts:
        return lines, fall, turns.places
    again = _fall(parts, ctx)
    every = [lines[k] for k in kept] + parts
    number = {id(line): place for place, line in enumerate(every)}
    ordered = in_order(every)
    order = [number[id(line)] for line in ordered]
    whole = Fall(
        np.concatenate([fall.fall_m[kept], again.fall_m])[order],
        np.concatenate([fall.error_m[kept], again.error_m])[order],
        np.full(len(every), np.nan),
    )
    return ordered, whole, turns.places


def _are_among(places: XY, wanted: XY) -> NDArray[np.bool_]:
    found = {tuple(place) for place in wanted.tolist()}
    return np.array([tuple(place) in found for place in places.tolist()], bool)


def _fall(lines: Sequence[Line], ctx: Context) -> Fall:
    """Measure the falls, reading the DEM for neighbouring lines together."""
    settings = ctx.settings.network
    fall, error, turn = (np.full(len(lines), np.nan) for _ in range(3))
    if not lines:
        return Fall(fall, error, turn)
    shapes = gpd.GeoSeries([shapely.linestrings(line.xy) for line in lines])
    near = np.lexsort((np.arange(len(lines)), shapes.hilbert_distance().to_numpy()))
    batch = (np.cumsum([lines[i].length_m for i in near]) // BATCH_M).astype(np.int64)
    cell_m = ctx.dem.cell_m
    half_width_m = max(settings.search_m, LEAST_SEARCH_CELLS * cell_m) + 3 * cell_m

    def measure(own: Ints) -> None:
        surface = ctx.dem.surface(shapes.to_numpy()[own], half_width_m)
        measured = measure_fall(
            [lines[i] for i in own], surface, settings.search_m, settings.elevation_noise_m
        )
        fall[own], error[own], turn[own] = measured.fall_m, measured.error_m, measured.turn_share

    progress = part(ctx.progress, 0.15, 0.55)
    batches = np.split(near, np.flatnonzero(np.diff(batch)) + 1)
    for done, _ in enumerate(in_threads(measure, batches, ctx.jobs), 1):
        progress(done / len(batches), "network: directions")
    return Fall(fall, error, turn)


def may_route(streams: gpd.GeoDataFrame, ctx: Context) -> bool:
    """Tell whether water will be routed over the DEM, as far as the stream layer tells."""
    attribute = _floats(streams["attribute_area_km2"])
    return ctx.inputs.area_raster is None and bool(np.isnan(attribute).any())


def _area(
    lines: Sequence[Line], flow: Flow, main_out: Ints, attribute: Floats, ctx: Context
) -> tuple[Area, NDArray[np.bool_]]:
    """Read or route the drainage areas that the attribute does not give."""
    settings = ctx.settings.network
    xy = [line.xy for line in lines]
    raster = np.full(len(lines), np.nan)
    if ctx.inputs.area_raster is not None:
        from reachrank.network.area_raster import area_from_raster  # noqa: PLC0415

        raster = area_from_raster(
            xy, ctx.crs, ctx.inputs.area_raster, unit=settings.area_raster_unit,
            search_cells=settings.area_search_cells, allow_remote=ctx.inputs.allow_remote,
        )  # fmt: skip
    routed_km2, is_cut = np.full(len(lines), np.nan), np.zeros(len(lines), bool)
    if np.isnan(np.fmax(attribute, raster)).any():
        from reachrank.network.area_routing import routed_area  # noqa: PLC0415  (slow to load)

        ctx.progress(0.6, "network: drainage area")
        elevation_m, transform = ctx.dem.coarse(int(settings.routing_greatest_cells))
        routed = routed_area(
            xy, flow, main_out, elevation_m, transform=transform, burn_m=settings.burn_m
        )
        routed_km2, is_cut = routed.area_km2, routed.is_cut
    return choose_area(flow, main_out, attribute, raster, routed_km2), is_cut


def _floats(column: pd.Series[float]) -> Floats:
    values: Floats = column.to_numpy(dtype="float64", na_value=np.nan)
    return values


def _share_along(line: Line) -> float:
    """Length drawn along the line less the length drawn against it, as a share of both."""
    along = sum(run.length_m for run in line.runs if run.is_along)
    total = sum(run.length_m for run in line.runs)
    return round(2.0 * along / total - 1.0, 9) if total > 0 else 0.0


def _width(line: Line, width_m: Floats) -> float:
    """Mean width from the attribute, by length, of the input lines that have one."""
    known = [(width_m[r.row], r.length_m) for r in line.runs if np.isfinite(width_m[r.row])]
    if not known:
        return float("nan")
    return float(np.average([w for w, _ in known], weights=[m for _, m in known]))


def _stream_ids(stream: Ints) -> list[str]:
    digits = max(4, len(str(len(np.unique(stream)))))
    return [f"S{number + 1:0{digits}d}" for number in stream.tolist()]


def _edge_ids(stream_id: Sequence[str], sequence: Ints) -> list[str]:
    digits = max(2, len(str(int(sequence.max())))) if len(sequence) else 2
    return [f"{one}-{n:0{digits}d}" for one, n in zip(stream_id, sequence.tolist(), strict=True)]


def _by_first_stream(part_of: Ints, stream: Ints) -> Ints:
    """Give numbers to the connected networks, by the first stream in each."""
    first: dict[int, int] = {}
    for network, number in sorted(zip(part_of.tolist(), stream.tolist(), strict=True)):
        first.setdefault(network, number)
    rank = {network: n for n, network in enumerate(sorted(first, key=lambda k: first[k]))}
    return np.array([rank[network] for network in part_of.tolist()], np.int64)


def _joins(
    flow: Flow, main_out: Ints, main_in: Ints, stream: Ints, stream_id: Sequence[str]
) -> list[str | None]:
    """Name the stream that each edge's stream flows into, None at a mouth."""
    into: dict[int, str] = {}
    by_stream = defaultdict(list)
    for edge, number in enumerate(stream.tolist()):
        by_stream[number].append(edge)
    for number, edges in by_stream.items():
        own = set(edges)
        for edge in edges:
            node = int(flow.lower[edge])
            if any(other in own for other in flow.out_of[node]):
                continue
            target = int(main_out[node]) if main_out[node] >= 0 else int(main_in[node])
            if target not in own:
                into[number] = stream_id[target]
    return [into.get(number) for number in stream.tolist()]
