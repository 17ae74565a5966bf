"""The figures of reaches and banks from the sections that lie in them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.findings import Findings
from reachrank.reaches.counting import has_flag
from reachrank.reaches.slope import bed_slope, window
from reachrank.reaches.uncertainty import bank_height_se

SIDES = ("left", "right")


def bank_figures(
    sections: pd.DataFrame,
    is_counted: NDArray[np.bool_],
    smoothing_m: pd.Series,
    cell_m: float,
) -> pd.DataFrame:
    """Return one row per reach and side that has sections which count there.

    Parameters
    ----------
    sections
        With ``reach_id``.
    is_counted
        Which sections count, shape (n,); a section without a height on a side never does there.
    smoothing_m
        Length within which sections are not independent, by reach_id.
    cell_m
        Side of the DEM's cells.

    Returns
    -------
    DataFrame
        Indexed by (reach_id, bank): bank_height_m, bank_height_p90_m, bank_height_se_m,
        bank_angle_deg, is_angle_lower_bound, sections_used.
    """
    rows = []
    for side in SIDES:
        height = sections[f"{side}_bank_height_m"].to_numpy(dtype=np.float64, na_value=np.nan)
        used = is_counted & np.isfinite(height)
        code, ids = pd.factorize(sections["reach_id"].to_numpy(dtype=object)[used], sort=True)
        order = np.argsort(code, kind="stable")
        ends = np.searchsorted(code[order], np.arange(len(ids) + 1))
        station, noise, angle = (
            sections[name].to_numpy(dtype=np.float64, na_value=np.nan)[used][order]
            for name in ("station_m", "noise_m", f"{side}_bank_angle_deg")
        )
        bound = sections[f"{side}_is_angle_lower_bound"].fillna(False).to_numpy(bool)[used][order]
        height = height[used][order]
        for k, reach_id in enumerate(ids):
            own = slice(ends[k], ends[k + 1])
            heights = height[own]
            has_angle = np.isfinite(angle[own])
            angles = angle[own][has_angle]
            rows.append(
                {
                    "reach_id": reach_id,
                    "bank": side,
                    "bank_height_m": float(np.median(heights)),
                    "bank_height_p90_m": float(np.quantile(heights, 0.9)),
                    "bank_height_se_m": bank_height_se(
                        heights,
                        station[own],
                        noise[own],
                        float(smoothing_m.get(reach_id, 0.0)),
                        cell_m,
                    ),
                    "bank_angle_deg": float(np.median(angles)) if angles.size else np.nan,
                    "is_angle_lower_bound": bool(
                        angles.size and bound[own][has_angle].mean() > 0.5
                    ),
                    "sections_used": len(heights),
                }
            )
    columns = ["reach_id", "bank", "bank_height_m", "bank_height_p90_m", "bank_height_se_m"]
    columns += ["bank_angle_deg", "is_angle_lower_bound", "sections_used"]
    return pd.DataFrame(rows, columns=columns).set_index(["reach_id", "bank"]).sort_index()


def reach_widths(
    reaches: pd.DataFrame,
    sections: pd.DataFrame,
    is_counted: NDArray[np.bool_],
    channel: pd.DataFrame,
) -> pd.DataFrame:
    """Return the median toe and top widths by reach_id.

    A reach where no section counts takes its stream's toe width, so that lengths given in widths
    have a meaning there; its top width stays NaN.
    """
    medians = sections[is_counted].groupby("reach_id")[["toe_width_m", "top_width_m"]].median()
    medians = medians.reindex(reaches["reach_id"]).astype(np.float64)
    of_stream = reaches["stream_id"].map(channel.set_index("stream_id")["toe_width_m"])
    fallback = of_stream.to_numpy(dtype=np.float64, na_value=np.nan)
    medians["toe_width_m"] = medians["toe_width_m"].fillna(
        pd.Series(fallback, index=medians.index, dtype=np.float64)
    )
    return medians


def reach_slopes(
    reaches: pd.DataFrame,
    sections: pd.DataFrame,
    toe_width_m: pd.Series,
    window_widths: float,
    findings: Findings,
) -> pd.Series:
    """Return the slope by reach_id, from the beds of all sections but road crossings.

    Water does not run up: a window over which the bed does not fall is too short for its pools,
    and is doubled until the bed falls or the window holds the whole stream. If it does not fall
    even so, the slope is 0 and a finding says it.
    """
    bare = sections[~has_flag(sections["flags"], ("crossing",))]
    streams = {str(key): group.sort_values("station_m") for key, group in bare.groupby("stream_id")}
    slopes = {}
    rising: dict[str, float] = {}
    for row in reaches.itertuples():
        reach_id = str(row.reach_id)
        group = streams.get(str(row.stream_id))
        if group is None:
            slopes[reach_id] = np.nan
            continue
        width = float(toe_width_m.get(reach_id, np.nan))
        slope = _falling_slope(
            group["station_m"].to_numpy(dtype=np.float64),
            group["bed_elevation_m"].to_numpy(dtype=np.float64, na_value=np.nan),
            float(row.station_from_m),
            float(row.station_to_m),
            window_widths * width if np.isfinite(width) else 0.0,
        )
        if slope < 0.0:
            rising[str(row.stream_id)] = slope
        slopes[reach_id] = max(slope, 0.0) if np.isfinite(slope) else np.nan
    for stream_id, slope in sorted(rising.items()):
        findings.add(
            "warning",
            "bed_rises",
            f"The bed of stream {stream_id} rises downstream by {-slope:.4f} m per m over its "
            "length; slopes there are set to 0. Is the line drawn downstream?",
            source_layer="channel",
            source_id=stream_id,
        )
    return pd.Series(slopes, dtype=np.float64)


def _falling_slope(
    station_m: NDArray[np.float64],
    bed_m: NDArray[np.float64],
    from_m: float,
    to_m: float,
    least_m: float,
) -> float:
    """Return the slope of the shortest window, doubled from the first, over which the bed falls.

    Stations rise. Without such a window it is the slope of the whole stream; NaN with too few
    beds.
    """
    least = max(least_m, to_m - from_m)
    while True:
        low, high = window(from_m, to_m, least)
        span = slice(
            int(np.searchsorted(station_m, low)), int(np.searchsorted(station_m, high, "right"))
        )
        slope = bed_slope(station_m[span], bed_m[span])
        if slope > 0.0 or span.stop - span.start == len(station_m):
            return slope
        least *= 2.0
