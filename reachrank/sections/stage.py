"""The `sections` stage: from `channel_points` to `sections` and `profiles`."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reachrank.bank.measure import bank_rules
from reachrank.channel.stage import look_half_width_m
from reachrank.context import Context, Tables, with_tables
from reachrank.findings import Severity
from reachrank.schema import SECTIONS
from reachrank.sections.measure import BankLine, Measured, measure_channel
from reachrank.sections.place import section_points, section_spacing_m, without_crossings

Float = NDArray[np.float64]


NEIGHBOURS_M = 120.0
"""Points of other streams within this distance keep a stream's sections off their ground."""


FLAG_FINDINGS: tuple[tuple[str, Severity, str], ...] = (
    (
        "coarse",
        "warning",
        "The DEM is too coarse for this channel: {share:.0%} of its sections are narrower than"
        " {cells:g} cells; heights and widths there are rough, angles unknown.",
    ),
    (
        "gap",
        "warning",
        "The DEM has no data along {length:.0f} m of this stream; no banks there.",
    ),
    (
        "crossing",
        "info",
        "The bed is blocked along {length:.0f} m (road fills, culverts, bridges); no banks there.",
    ),
    (
        "pond",
        "info",
        "{length:.0f} m of this stream is open water much wider than the channel; no banks there.",
    ),
    (
        "line_far",
        "warning",
        "The drawn line lies far from the found channel along {length:.0f} m; check that it is the"
        " same stream.",
    ),
)
"""Flag, severity and text of the finding that a stream gets for its flagged sections."""


@dataclass
class _Stream:
    """One stream's points, and those of its neighbours that own their own ground."""

    stream_id: str
    points: pd.DataFrame
    others: Float | None


def run(tables: Tables, ctx: Context) -> Tables:
    """Measure sections along every stream.

    Reads `channel_points` (with bends); adds `sections` and `profiles`. Where there is the layer
    `edges`, only its streams are measured; the points of the others are neighbours.
    """
    points = tables["channel_points"]
    wanted = set(tables.get("edges", points)["stream_id"])
    streams = _streams(points, NEIGHBOURS_M, wanted)
    lines = [shapely.LineString(s.points[["x_m", "y_m"]].to_numpy(np.float64)) for s in streams]
    widest = np.array([float(s.points["toe_width_m"].max()) for s in streams])
    half = look_half_width_m(bank_rules(ctx.settings.sections), np.nan_to_num(widest))
    surface = ctx.dem.surface(np.array(lines, dtype=object), half)

    def measure(stream: _Stream) -> tuple[pd.DataFrame, list[dict[str, object]]]:
        xy = stream.points[["x_m", "y_m"]].to_numpy(np.float64)
        width = stream.points["toe_width_m"].to_numpy(np.float64)
        length = float(stream.points["station_m"].iloc[0])
        measured = measure_channel(
            xy, width, length / max(1, len(xy) - 1), surface, ctx.settings.channel,
            ctx.settings.sections, stream.others,
        )  # fmt: skip
        return _section_table(stream, measured, surface.cell_m, ctx)

    with ThreadPoolExecutor(max(1, ctx.jobs)) as pool:
        done = list(pool.map(measure, streams))
    for stream, (table, _) in zip(streams, done, strict=True):
        _find(stream, table, ctx)
    if done:
        table = pd.concat([t for t, _ in done], ignore_index=True)
        profiles = [row for _, rows in done for row in rows]
    else:
        table, profiles = pd.DataFrame({name: [] for name in (*SECTIONS.names, "geometry")}), []
    sections = gpd.GeoDataFrame(table, geometry="geometry", crs=ctx.crs)
    names = ["section_id", "offset_from_m", "step_m", "elevations"]
    return with_tables(tables, sections=sections, profiles=pd.DataFrame(profiles, columns=names))


def _streams(points: pd.DataFrame, reach_m: float, wanted: set[str]) -> list[_Stream]:
    """Split the points by stream and give each wanted one its neighbours' points within reach."""
    xy = points[["x_m", "y_m"]].to_numpy(np.float64)
    groups = points.groupby("stream_id", sort=True).indices
    if len(groups) < 2:
        return [_Stream(n, points.iloc[i], None) for n, i in groups.items() if n in wanted]
    boxes = {
        name: (xy[i].min(axis=0) - reach_m, xy[i].max(axis=0) + reach_m)
        for name, i in groups.items()
    }
    tree = shapely.STRtree([shapely.box(*low, *high) for low, high in boxes.values()])
    names = list(groups)
    out = []
    for k, name in enumerate(names):
        if name not in wanted:
            continue
        index = groups[name]
        near = [
            names[j]
            for j in sorted(tree.query(shapely.box(*boxes[name][0], *boxes[name][1])))
            if j != k
        ]
        others = None
        if near:
            candidate = np.vstack([xy[groups[n]] for n in near])
            distance, _ = cKDTree(xy[index]).query(candidate, distance_upper_bound=reach_m)
            others = candidate[np.isfinite(distance)]
        out.append(_Stream(str(name), points.iloc[index], others))
    return out


def _flag_words(measured: Measured, stream: _Stream, cell_m: float, ctx: Context) -> pd.DataFrame:
    settings = ctx.settings.sections
    width = stream.points["toe_width_m"].to_numpy(np.float64)
    offset = stream.points["line_offset_m"].to_numpy(np.float64)
    xy = stream.points[["x_m", "y_m"]].to_numpy(np.float64)
    junction = np.zeros(len(xy), bool)
    if stream.others is not None and len(stream.others):
        distance, _ = cKDTree(stream.others).query(xy)
        junction = distance < width + 2.0 * cell_m
    no_top = np.isnan(measured.left.height_m) | np.isnan(measured.right.height_m)
    bound = measured.left.is_lower_bound | measured.right.is_lower_bound
    return pd.DataFrame(
        {
            "crossing": measured.is_crossing,
            "pond": measured.is_pond,
            "gap": measured.is_gap,
            "coarse": width < settings.coarse_cells * cell_m,
            "no_top": no_top,
            "angle_lower_bound": bound,
            "line_far": (offset > settings.line_far_m) & (offset > 2.0 * width),
            "junction": junction,
        }
    )


def _quality(flags: pd.DataFrame, left: BankLine, right: BankLine) -> Float:
    """0 for what is no bank, else less for each doubt and for a poor fit."""
    quality = np.ones(len(flags))
    quality[flags["coarse"]] *= 0.6
    quality[flags["line_far"]] *= 0.8
    quality[flags["no_top"]] *= 0.6
    both = np.isnan(left.height_m) & np.isnan(right.height_m)
    quality[both] *= 0.3
    with np.errstate(invalid="ignore"):
        poor = np.fmax(left.misfit_m / left.height_m, right.misfit_m / right.height_m)
    quality *= np.where(np.isfinite(poor), 1.0 / (1.0 + (poor / 0.25) ** 2), 1.0)
    quality[flags["crossing"] | flags["pond"] | flags["gap"]] = 0.0
    return np.clip(quality, 0.0, 1.0)


def _section_table(
    stream: _Stream, measured: Measured, cell_m: float, ctx: Context
) -> tuple[pd.DataFrame, list[dict[str, object]]]:  # fmt: skip
    part = stream.points
    station = part["station_m"].to_numpy(np.float64)
    width = part["toe_width_m"].to_numpy(np.float64)
    spacing = section_spacing_m(ctx.settings.sections.spacing_m, float(np.nanmedian(width)), cell_m)
    at = section_points(float(station[0]), len(part), spacing)[::-1]  # from the mouth up
    flags = _flag_words(measured, stream, cell_m, ctx)
    quality = _quality(flags, measured.left, measured.right)
    xy = part[["x_m", "y_m"]].to_numpy(np.float64)
    unusable = measured.is_gap
    columns: dict[str, Any] = {
        "section_id": [f"{stream.stream_id}-{s:09.2f}" for s in station[at]],
        "reach_id": None,
        "stream_id": stream.stream_id,
        "station_m": station[at],
        "curvature_per_m": part["curvature_per_m"].to_numpy(np.float64)[at],
        "bed_elevation_m": measured.bed_m[at],
        "line_offset_m": part["line_offset_m"].to_numpy(np.float64)[at],
    }
    ends = []
    for name, side, sign in (("left", measured.left, 1.0), ("right", measured.right, -1.0)):
        blank = unusable[at]
        height = np.where(blank, np.nan, side.height_m[at])
        top = np.where(blank, np.nan, side.top_m[at])
        toe = np.where(blank, np.nan, side.toe_m[at])
        columns |= {
            f"{name}_toe_offset_m": np.maximum(toe, 0.0),
            f"{name}_top_offset_m": np.maximum(top, 0.0),
            f"{name}_top_elevation_m": measured.bed_m[at] + height,
            f"{name}_bank_height_m": height,
            f"{name}_bank_angle_deg": np.where(blank, np.nan, side.angle_deg[at]),
            f"{name}_is_angle_lower_bound": side.is_lower_bound[at] & ~blank,
            f"{name}_hazard_score": np.nan,
        }
        end = np.where(np.isfinite(top), top, np.where(np.isfinite(toe), toe, 0.5 * width[at]))
        ends.append(xy[at] + (sign * end)[:, None] * measured.normal[at])
    left_toe, right_toe = columns["left_toe_offset_m"], columns["right_toe_offset_m"]
    columns["toe_width_m"] = np.where(
        np.isfinite(left_toe + right_toe),
        left_toe + right_toe,
        width[at],
    )
    columns["top_width_m"] = columns["left_top_offset_m"] + columns["right_top_offset_m"]
    names = flags.columns.to_numpy()
    downstream = np.column_stack([measured.normal[at, 1], -measured.normal[at, 0]])
    columns |= {
        "quality": quality[at],
        "flags": [" ".join(names[row]) for row in flags.to_numpy()[at]],
        "edge_id": part["edge_id"].to_numpy()[at],
        "bend_id": part["bend_id"].to_numpy()[at],
        "bearing_deg": np.degrees(np.arctan2(downstream[:, 0], downstream[:, 1])) % 360.0,
        "x_m": xy[at, 0],
        "y_m": xy[at, 1],
        "noise_m": measured.noise_m,
        "geometry": shapely.linestrings(np.stack([ends[0], ends[1]], axis=1)),
    }
    keep = without_crossings(columns["geometry"], quality[at])
    table = pd.DataFrame(columns)[keep].reset_index(drop=True)
    return table, _profiles(table["section_id"].to_numpy(), measured, at[keep])


def _profiles(
    section_id: NDArray[np.object_], measured: Measured, at: NDArray[np.int64]
) -> list[dict[str, object]]:
    """Return the raw profiles, left to right, in centimetres above the bed."""
    offsets = measured.offsets_m[::-1]
    step = float(abs(offsets[1] - offsets[0]))
    rows: list[dict[str, object]] = []
    for name, i in zip(section_id, at, strict=True):
        z = measured.strip[i, ::-1]
        bed = measured.bed_m[i]
        good = np.isfinite(z)
        if not good.any() or not np.isfinite(bed):
            continue
        first, last = int(np.argmax(good)), int(len(good) - np.argmax(good[::-1]))
        centimetres = np.round((z[first:last] - bed) * 100.0)
        known = np.isfinite(centimetres)
        whole = np.where(known, centimetres, 0.0).astype(np.int64)
        words = list(map(str, whole.tolist()))
        if not known.all():
            words = [word if seen else "" for word, seen in zip(words, known, strict=True)]
        text = ",".join(words)
        rows.append(
            {
                "section_id": name,
                "offset_from_m": -float(offsets[first]),
                "step_m": step,
                "elevations": text,
            }
        )
    return rows


def _find(stream: _Stream, table: pd.DataFrame, ctx: Context) -> None:
    """Report what a planner should know about this stream's sections."""
    flags = table["flags"].str.split(" ")
    for word, severity, text in FLAG_FINDINGS:
        hit = flags.apply(lambda words, w=word: w in words)
        if (word == "coarse" and hit.mean() < 0.2) or not hit.any():
            continue
        spacing = float(table["station_m"].diff().median()) if len(table) > 1 else 0.0
        ctx.findings.add(
            severity,
            word,
            text.format(
                share=hit.mean(),
                length=hit.sum() * spacing,
                cells=ctx.settings.sections.coarse_cells,
            ),
            source_layer="channel",
            source_id=stream.stream_id,
            station_m=float(table.loc[hit, "station_m"].median()),
            geometry=shapely.Point(*table.loc[hit, ["x_m", "y_m"]].to_numpy()[hit.sum() // 2]),
        )
