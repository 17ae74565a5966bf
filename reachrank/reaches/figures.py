"""The figures of reaches and banks from the sections that lie in them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.columns import floats, repeated
from reachrank.findings import Findings
from reachrank.grouped import group_medians, group_quantiles, group_sums, rows_by_group
from reachrank.reaches.counting import has_flag
from reachrank.reaches.slope import falling_slopes
from reachrank.reaches.uncertainty import bank_height_ses

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
    reach, names = pd.factorize(sections["reach_id"].to_numpy(dtype=object), sort=True)
    smoothing = smoothing_m.reindex(names).fillna(0.0).to_numpy(dtype=np.float64)
    station, noise = floats(sections, "station_m"), floats(sections, "noise_m")
    of_sides = []
    for side in SIDES:
        height = floats(sections, f"{side}_bank_height_m")
        rows, starts = rows_by_group(
            np.where(is_counted & np.isfinite(height), reach, -1), len(names)
        )
        height, angle = height[rows], floats(sections, f"{side}_bank_angle_deg")[rows]
        bound = sections[f"{side}_is_angle_lower_bound"].fillna(False).to_numpy(bool)[rows]
        has_angle = np.isfinite(angle)
        of_side = {
            "reach_id": names,
            "bank": repeated(side, len(names)),
            "bank_height_m": group_medians(height, starts),
            "bank_height_p90_m": group_quantiles(height, starts, 0.9),
            "bank_height_se_m": bank_height_ses(
                height, station[rows], noise[rows], smoothing, starts, cell_m
            ),
            "bank_angle_deg": group_medians(angle, starts),
            "is_angle_lower_bound": (
                2 * group_sums(bound & has_angle, starts) > group_sums(has_angle, starts)
            ),
            "sections_used": np.diff(starts),
        }
        of_sides.append(pd.DataFrame(of_side)[np.diff(starts) > 0])
    return pd.concat(of_sides, ignore_index=True).set_index(["reach_id", "bank"]).sort_index()


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
    widths = pd.DataFrame(sections)[["reach_id", "toe_width_m", "top_width_m"]]
    medians = widths[is_counted].groupby("reach_id").median()
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
    bare = ~has_flag(sections["flags"], ("crossing",))
    names = pd.Index(reaches["stream_id"].unique())
    stream = np.where(bare, names.get_indexer(sections["stream_id"]), -1)
    rows, starts = rows_by_group(stream, len(names))
    station, bed = floats(sections, "station_m")[rows], floats(sections, "bed_elevation_m")[rows]
    order = np.lexsort((station, np.repeat(np.arange(len(names)), np.diff(starts))))
    width = toe_width_m.reindex(reaches["reach_id"]).to_numpy(dtype=np.float64)
    slope = falling_slopes(
        station[order],
        bed[order],
        starts,
        names.get_indexer(reaches["stream_id"]),
        floats(reaches, "station_from_m"),
        floats(reaches, "station_to_m"),
        np.where(np.isfinite(width), window_widths * width, 0.0),
    )
    rises = slope < 0.0
    rising = dict(zip(reaches["stream_id"][rises].astype(str), slope[rises].tolist(), strict=True))
    for stream_id, slope in sorted(rising.items()):
        findings.add(
            "warning",
            "bed_rises",
            f"The bed of stream {stream_id} rises downstream by {-slope:.4f} m per m over its "
            "length; slopes there are set to 0. Is the line drawn downstream?",
            source_layer="channel",
            source_id=stream_id,
        )
    # never -0.0, and NaN stays
    return pd.Series(np.where(rises, 0.0, slope), index=reaches["reach_id"].astype(str).to_numpy())
