"""Cross-sections of a reach for drawing: the ground, both toes, both tops."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import shapely

from reachrank.page.encode import DEGREE_STEPS, steps, whole

SECTIONS_SHOWN = 9
"""Of a reach, evenly along it, with the one that decides its score."""
_BEYOND_M = 12.0
"""Ground drawn beyond either top."""
_FLAG_WORDS = {
    "crossing": "a road or bridge crosses here",
    "pond": "standing water here",
    "gap": "a gap in the elevation data",
    "coarse": "the channel is only a few cells wide",
    "no_top": "no bank top could be seen on one side",
    "line_far": "the drawn stream line lies far from the channel",
    "junction": "another stream joins here",
    "field": "measured in the field",
}


def choose_sections(stations_m: np.ndarray, deciding: np.ndarray) -> np.ndarray:
    """Return the positions of the sections to show, in the order given.

    Parameters
    ----------
    stations_m
        Shape (n,), rising.
    deciding
        bool, shape (n,): sections that must be among them.

    Examples
    --------
    >>> choose_sections(np.arange(100.0), np.arange(100) == 40)[:5]
    array([ 0, 12, 25, 37, 40])
    """
    n = len(stations_m)
    if n <= SECTIONS_SHOWN:
        return np.arange(n)
    must = np.flatnonzero(deciding)[:SECTIONS_SHOWN]
    even = np.rint(np.linspace(0, n - 1, SECTIONS_SHOWN)).astype(int)
    return np.unique(np.concatenate([even, must]))


def sections_of(
    sections: pd.DataFrame, lines_deg: np.ndarray, profiles: pd.Series, deciding: Mapping[str, int]
) -> list[dict[str, Any]]:
    """Return one reach's sections to draw, upstream last.

    Parameters
    ----------
    sections
        Those of the reach, by station.
    lines_deg
        Their lines from left top to right top, in degrees; None where there is none.
    profiles
        section_id to (offset_from_m, step_m, elevations).
    deciding
        section_id to the banks whose score it decides: 1 left, 2 right, 3 both.

    Returns
    -------
    list of dict
        ``at`` station in tenths of a metre; ``ground`` [offset of the first value in cm, step in
        tenths of a mm, heights in cm as steps]; ``toes``, ``tops`` offsets in cm, left ones
        negative; ``high`` bank heights in cm; ``line`` two ends in millionths of a degree;
        ``decides`` as in ``deciding``, where it does; ``notes``.
    """
    has_profile = sections["section_id"].isin(profiles.index).to_numpy()
    here = sections[has_profile]
    lines = lines_deg[has_profile]
    is_deciding = here["section_id"].isin(list(deciding)).to_numpy()
    out = []
    for k in choose_sections(here["station_m"].to_numpy(), is_deciding):
        row = here.iloc[int(k)]
        left_top, right_top = _number(row["left_top_offset_m"]), _number(row["right_top_offset_m"])
        section = {
            "at": whole([row["station_m"]], 10)[0],
            "ground": _ground(profiles[row["section_id"]], left_top, right_top),
            "toes": whole([-_number(row["left_toe_offset_m"]), row["right_toe_offset_m"]], 100),
            "tops": whole([-left_top, right_top], 100),
            "high": whole([row["left_bank_height_m"], row["right_bank_height_m"]], 100),
            "line": _ends(lines[int(k)]),
            "notes": _notes(row["flags"]),
        }
        if is_deciding[int(k)]:
            section["decides"] = deciding[str(row["section_id"])]
        out.append(section)
    return out


def _ground(profile: tuple[float, float, str], left_m: float, right_m: float) -> list[Any]:
    start, step, text = profile
    cm = [int(word) if word.strip() else None for word in str(text).split(",")]
    offsets = start + step * np.arange(len(cm))
    known = np.array([value is not None for value in cm])
    low = -left_m - _BEYOND_M if np.isfinite(left_m) else offsets[0]
    high = right_m + _BEYOND_M if np.isfinite(right_m) else offsets[-1]
    wanted = np.flatnonzero((offsets >= low) & (offsets <= high) & known)
    if not wanted.size:
        return [0, 0, []]
    first, last = wanted[0], wanted[-1] + 1
    return [round(offsets[first] * 100), round(step * 10_000), steps(cm[first:last])]


def _ends(line: shapely.Geometry | None) -> list[int]:
    if line is None or shapely.is_empty(line):
        return []
    xy = shapely.get_coordinates(line)
    return [int(value) for value in np.rint(xy[[0, -1]] * DEGREE_STEPS).ravel()]


def _notes(flags: Any) -> list[str]:
    words = str(flags or "").split()
    return [_FLAG_WORDS[word] for word in words if word in _FLAG_WORDS]


def _number(value: Any) -> float:
    return float("nan") if value is None or pd.isna(value) else float(value)
