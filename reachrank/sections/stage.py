"""The `sections` stage: from `channel_points` to `sections` and `profiles`."""

from __future__ import annotations

from collections.abc import Mapping
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
from reachrank.columns import repeated
from reachrank.context import Context, Tables, with_tables
from reachrank.findings import Severity
from reachrank.grouped import rows_by_group, starts_of
from reachrank.schema import SECTIONS
from reachrank.sections.measure import BankLine, Measured, measure_channel
from reachrank.sections.neighbours import points_beside
from reachrank.sections.place import section_points, section_spacing_m, without_crossings
from reachrank.sections.profile_text import centimetre_texts
from reachrank.sections.whole import section_ends, section_names
from reachrank.whole_numbers import HAIR

Float = NDArray[np.float64]


POINT_COLUMNS = (
    "edge_id", "station_m", "x_m", "y_m", "toe_width_m", "line_offset_m", "curvature_per_m",
    "bend_id",
)  # fmt: skip
"""What the sections need to know of the channel's points."""


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


FLAGS = (
    "crossing", "pond", "gap", "coarse", "no_top", "angle_lower_bound", "line_far", "junction",
)  # fmt: skip
"""The words of the column ``flags``, in their order."""
_WORDS = np.array(
    [" ".join(w for k, w in enumerate(FLAGS) if code >> k & 1) for code in range(1 << len(FLAGS))],
    dtype=object,
)
"""The text of each set of flags: flag k is bit k of the place."""


@dataclass
class _Stream:
    """One stream's points as arrays, and those of its neighbours that own their own ground."""

    stream_id: str
    xy: Float
    points: Mapping[str, NDArray[Any]]
    others: Float | None


def run(tables: Tables, ctx: Context) -> Tables:
    """Measure sections along every stream.

    Reads `channel_points` (with bends) and `channel`, in which other streams are neighbours; adds
    `sections` and `profiles`.
    """
    streams = _streams(tables["channel_points"], gpd.GeoDataFrame(tables["channel"]))
    lines = np.array([shapely.linestrings(s.xy) for s in streams], dtype=object)
    widest = np.array([float(np.nanmax(s.points["toe_width_m"], initial=0.0)) for s in streams])
    half = look_half_width_m(bank_rules(ctx.settings.sections), widest)
    surface = ctx.dem.surface(lines, half)
    made, profiles = [], []
    for number, stream in enumerate(streams):
        ctx.progress(number / len(streams), "sections")
        measured = measure_channel(
            stream.xy, stream.points["toe_width_m"],
            float(stream.points["station_m"][0]) / max(1, len(stream.xy) - 1), surface,
            ctx.settings.channel, ctx.settings.sections, stream.others,
        )  # fmt: skip
        table, code, at = _section_columns(stream, measured, surface.cell_m, ctx)
        _find(stream.stream_id, table, code, ctx)
        profiles.append(_profiles(table["section_id"], measured, at))
        made.append(table)
    names = ("section_id", "offset_from_m", "step_m", "elevations")
    if made:
        columns = {name: np.concatenate([table[name] for table in made]) for name in made[0]}
        table = pd.DataFrame(columns, copy=False)
        cuts = pd.DataFrame(
            {name: np.concatenate([p[k] for p in profiles]) for k, name in enumerate(names)}
        )
    else:
        table = pd.DataFrame({name: [] for name in (*SECTIONS.names, "geometry")})
        cuts = pd.DataFrame(columns=list(names))
    sections = gpd.GeoDataFrame(table, geometry="geometry", crs=ctx.crs)
    return with_tables(tables, sections=sections, profiles=cuts)


def _streams(points: pd.DataFrame, channel: gpd.GeoDataFrame) -> list[_Stream]:
    """Split the points by stream and give each its neighbours' points within reach.

    Where a stream's neighbours run is known from the layer `channel`, whose lines go through the
    same points.
    """
    codes, names = pd.factorize(points["stream_id"], sort=True)
    order, starts = rows_by_group(codes, len(names))
    columns = {name: points[name].to_numpy()[order] for name in POINT_COLUMNS}
    xy = np.column_stack([columns["x_m"], columns["y_m"]]).astype(np.float64)
    lines = channel.geometry.to_numpy()[channel["stream_id"].argsort(kind="stable")]
    all_xy, all_starts = (
        shapely.get_coordinates(lines),
        starts_of(shapely.get_num_coordinates(lines)),
    )
    number = {str(name): k for k, name in enumerate(sorted(channel["stream_id"]))}
    return [
        _Stream(
            str(name),
            xy[starts[k] : starts[k + 1]],
            {column: values[starts[k] : starts[k + 1]] for column, values in columns.items()},
            points_beside(all_xy, all_starts, number[str(name)]),
        )
        for k, name in enumerate(names)
    ]


def _flags(measured: Measured, stream: _Stream, cell_m: float, ctx: Context) -> NDArray[np.bool_]:
    """Return which of `FLAGS` each point has, shape (points, flags)."""
    settings = ctx.settings.sections
    width, offset = stream.points["toe_width_m"], stream.points["line_offset_m"]
    junction = np.zeros(len(width), bool)
    if stream.others is not None and len(stream.others):
        far = float(np.nanmax(width, initial=0.0)) + 2.0 * cell_m
        distance, _ = cKDTree(stream.others).query(stream.xy, distance_upper_bound=far)
        junction = distance < width + 2.0 * cell_m
    has = {
        "crossing": measured.is_crossing,
        "pond": measured.is_pond,
        "gap": measured.is_gap,
        "coarse": width < (settings.coarse_cells - HAIR) * cell_m,
        "no_top": np.isnan(measured.left.height_m) | np.isnan(measured.right.height_m),
        "angle_lower_bound": measured.left.is_lower_bound | measured.right.is_lower_bound,
        "line_far": (offset > settings.line_far_m) & (offset > 2.0 * width),
        "junction": junction,
    }
    return np.column_stack([has[name] for name in FLAGS])


def _quality(flags: NDArray[np.bool_], left: BankLine, right: BankLine) -> Float:
    """0 for what is no bank, else less for each doubt and for a poor fit."""
    has = dict(zip(FLAGS, flags.T, strict=True))
    quality = np.ones(len(flags))
    quality[has["coarse"]] *= 0.6
    quality[has["line_far"]] *= 0.8
    quality[has["no_top"]] *= 0.6
    both = np.isnan(left.height_m) & np.isnan(right.height_m)
    quality[both] *= 0.3
    with np.errstate(invalid="ignore"):
        poor = np.fmax(left.misfit_m / left.height_m, right.misfit_m / right.height_m)
    quality *= np.where(np.isfinite(poor), 1.0 / (1.0 + (poor / 0.25) ** 2), 1.0)
    quality[has["crossing"] | has["pond"] | has["gap"]] = 0.0
    return np.clip(quality, 0.0, 1.0)


def _section_columns(
    stream: _Stream, measured: Measured, cell_m: float, ctx: Context
) -> tuple[dict[str, NDArray[Any]], NDArray[np.int64], NDArray[np.int64]]:
    """Return the columns of one stream's sections, their flags as bits, and their points."""
    points, xy = stream.points, stream.xy
    station, width = points["station_m"], points["toe_width_m"]
    spacing = section_spacing_m(ctx.settings.sections.spacing_m, float(np.nanmedian(width)), cell_m)
    at = section_points(float(station[0]), len(xy), spacing)[::-1]  # from the mouth up
    flags = _flags(measured, stream, cell_m, ctx)
    quality = _quality(flags, measured.left, measured.right)[at]
    code = (flags[at] @ (1 << np.arange(len(FLAGS)))).astype(np.int64)
    blank = measured.is_gap[at]
    normal = measured.normal[at]
    place = {"stream_id": repeated(stream.stream_id, at.size), "station_m": station[at]}
    columns: dict[str, Any] = {
        "section_id": section_names(place),
        "reach_id": np.full(at.size, None, dtype=object),
        **place,
        "curvature_per_m": points["curvature_per_m"][at],
        "bed_elevation_m": measured.bed_m[at],
        "line_offset_m": points["line_offset_m"][at],
    }
    for name, side in (("left", measured.left), ("right", measured.right)):
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
            f"{name}_hazard_score": np.full(at.size, np.nan),
        }
    both_toes = columns["left_toe_offset_m"] + columns["right_toe_offset_m"]
    columns |= {
        "toe_width_m": np.where(np.isfinite(both_toes), both_toes, width[at]),
        "top_width_m": columns["left_top_offset_m"] + columns["right_top_offset_m"],
        "quality": quality,
        "flags": _WORDS[code],
        "edge_id": points["edge_id"][at],
        "bend_id": points["bend_id"][at],
        "bearing_deg": np.degrees(np.arctan2(normal[:, 1], -normal[:, 0])) % 360.0,
        "x_m": xy[at, 0],
        "y_m": xy[at, 1],
        "noise_m": np.full(at.size, measured.noise_m),
    }
    columns["geometry"] = shapely.linestrings(section_ends(columns))
    keep = without_crossings(columns["geometry"], quality)
    return {name: values[keep] for name, values in columns.items()}, code[keep], at[keep]


def _profiles(
    section_id: NDArray[np.object_], measured: Measured, at: NDArray[np.int64]
) -> tuple[NDArray[np.object_], Float, Float, NDArray[np.object_]]:
    """Return section, first offset, step and elevations of the raw profiles, left to right."""
    offsets = measured.offsets_m[::-1]
    step = float(abs(offsets[1] - offsets[0]))
    above = measured.strip[at, ::-1] - measured.bed_m[at, None]
    first, texts = centimetre_texts(above)
    some = first >= 0
    return section_id[some], -offsets[first[some]], np.full(some.sum(), step), texts[some]


def _find(
    stream_id: str, table: Mapping[str, NDArray[Any]], code: NDArray[np.int64], ctx: Context
) -> None:
    """Report what a planner should know about this stream's sections."""
    station = table["station_m"]
    for word, severity, text in FLAG_FINDINGS:
        hit = (code >> FLAGS.index(word) & 1).astype(bool)
        if not hit.any() or (word == "coarse" and hit.mean() < 0.2):
            continue
        spacing = float(np.median(np.diff(station))) if station.size > 1 else 0.0
        middle = np.flatnonzero(hit)[hit.sum() // 2]
        ctx.findings.add(
            severity,
            word,
            text.format(
                share=hit.mean(),
                length=hit.sum() * spacing,
                cells=ctx.settings.sections.coarse_cells,
            ),
            source_layer="channel",
            source_id=stream_id,
            station_m=float(np.median(station[hit])),
            geometry=shapely.Point(table["x_m"][middle], table["y_m"][middle]),
        )
