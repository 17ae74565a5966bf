"""What the network stage tells people: each thing joined, turned, left out or doubted."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from reachrank.findings import Findings
from reachrank.network.area import Area
from reachrank.network.connect import Connected
from reachrank.network.directions import Directions
from reachrank.network.fall import Fall
from reachrank.network.lines import Line
from reachrank.network.turning import Turns
from reachrank.settings.network import NetworkSettings

CLEAR_ERRORS = 3.0
"""Standard errors by which an edge must rise along its flow to be reported as running uphill."""


def on_connecting(
    findings: Findings,
    whole: Connected,
    shapes: Sequence[BaseGeometry],
    source_id: Sequence[str],
    tolerance_m: float,
) -> None:
    """Report what was snapped, left out, or crosses without meeting."""
    for row, ends in whole.snapped:
        findings.add(
            "info", "snapped",
            f"An end was moved {np.hypot(*(ends[1] - ends[0])):.1f} m to meet its neighbour.",
            source_layer="streams", source_id=source_id[row], geometry=shapely.points(ends[1]),
        )  # fmt: skip
    for row, length_m in sorted(whole.copied_m.items()):
        is_whole = length_m > 0.99 * shapes[row].length
        findings.add(
            "left_out" if is_whole else "warning", "duplicate",
            f"{'The line lies' if is_whole else f'{length_m:.0f} m of the line lie'} on another "
            "line and counts once.",
            source_layer="streams", source_id=source_id[row], geometry=shapes[row],
        )  # fmt: skip
    for row, length_m in sorted(whole.collapsed_m.items()):
        is_whole = length_m > 0.99 * shapes[row].length or not whole.lines
        findings.add(
            "left_out" if is_whole else "info", "too_short",
            f"A piece of {length_m:.1f} m between junctions is shorter than the snapping distance "
            f"of {tolerance_m:.1f} m and was drawn together to a point.",
            source_layer="streams", source_id=source_id[row], geometry=shapes[row],
        )  # fmt: skip
    for first, second, place in whole.crossings:
        findings.add(
            "warning", "crossing",
            f"Lines {source_id[first]} and {source_id[second]} cross without a shared vertex and "
            "were not joined, as if one were led over the other; if they meet, add a vertex.",
            source_layer="streams", source_id=source_id[first], geometry=shapely.points(place),
        )  # fmt: skip


def on_turns(
    findings: Findings, turns: Turns, loops: Sequence[Line], source_id: Sequence[str]
) -> None:
    """Report where lines were cut because the ground falls towards, or away from, both sides."""
    for line in loops:
        findings.add(
            "info", "loop", "The line ends where it starts and was cut half way round.",
            source_layer="streams", source_id=source_id[line.runs[0].row],
            geometry=shapely.linestrings(line.xy),
        )  # fmt: skip
    for place, row in zip(turns.places, turns.rows, strict=True):
        findings.add(
            "info", "turning_ground",
            "The line runs through a place where the ground falls towards it from both sides, or "
            "away from it to both; it was cut there into two streams.",
            source_layer="streams", source_id=source_id[row], geometry=shapely.points(place),
        )  # fmt: skip


def on_directions(
    findings: Findings,
    lines: Sequence[Line],
    found: Directions,
    fall: Fall,
    *,
    settings: NetworkSettings,
    source_id: Sequence[str],
) -> None:
    """Report input lines that were turned, and edges whose direction is in doubt.

    ``lines`` are drawn downstream.
    """
    against: dict[int, float] = defaultdict(float)
    total: dict[int, float] = defaultdict(float)
    edges_of: dict[int, list[int]] = defaultdict(list)
    for edge, line in enumerate(lines):
        for run in line.runs:
            total[run.row] += run.length_m
            against[run.row] += 0.0 if run.is_along else run.length_m
            edges_of[run.row].append(edge)
    for row in sorted(total):
        if against[row] > 0.5 * total[row]:
            findings.add(
                "info", "turned", "The line was drawn upstream and was turned.",
                source_layer="streams", source_id=source_id[row],
                geometry=shapely.linestrings(lines[edges_of[row][0]].xy),
            )  # fmt: skip
    least = np.log(settings.doubtful_odds_ratio)
    down_m = np.where(found.is_along, fall.fall_m, -fall.fall_m)
    for edge, line in enumerate(lines):
        rises = bool(down_m[edge] < -CLEAR_ERRORS * fall.error_m[edge])
        if rises:
            findings.add(
                "warning", "uphill",
                f"The line rises {-down_m[edge]:.1f} m along its flow, as its neighbours demand; "
                "check that it follows the channel.",
                source_layer="streams", source_id=source_id[line.runs[0].row],
                geometry=shapely.linestrings(line.xy),
            )  # fmt: skip
        elif found.margin[edge] < least:
            known = "the ground is too level" if np.isfinite(down_m[edge]) else "no elevation here"
            findings.add(
                "warning", "direction_doubtful",
                f"The direction of flow is not sure ({known}); outside and inside of bends, left "
                "and right depend on it.",
                source_layer="streams", source_id=source_id[line.runs[0].row],
                geometry=shapely.linestrings(line.xy),
            )  # fmt: skip


def on_area(
    findings: Findings, lines: Sequence[Line], area: Area, source_id: Sequence[str]
) -> None:
    """Report areas that were mended, and edges without one."""
    for edge in np.flatnonzero(area.is_mended).tolist():
        findings.add(
            "info", "area_mended",
            "The drainage area given here did not fit its neighbours, as it would have fallen "
            f"downstream; {area.area_km2[edge]:.3g} km² is used.",
            source_layer="streams", source_id=source_id[lines[edge].runs[0].row],
            geometry=shapely.linestrings(lines[edge].xy),
        )  # fmt: skip
    for edge in np.flatnonzero(area.source == "none").tolist():
        findings.add(
            "warning", "no_drainage_area", "No source gives a drainage area here.",
            source_layer="streams", source_id=source_id[lines[edge].runs[0].row],
            geometry=shapely.linestrings(lines[edge].xy),
        )  # fmt: skip
