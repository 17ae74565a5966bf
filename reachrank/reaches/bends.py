"""Which bends a reach touches, and how much of each bank lies outside of one."""

from __future__ import annotations

import numpy as np
import pandas as pd


def tightest_bends(reaches: pd.DataFrame, bends: pd.DataFrame) -> pd.DataFrame:
    """Return radius_m, bend_id and outside_bank of the tightest bend that each reach touches.

    Indexed by reach_id; NaN and None where a reach has no bend. Touching means a common length
    above zero.
    """
    streams = {}
    for key, group in bends.sort_values(["radius_m", "bend_id"]).groupby("stream_id"):
        names = ("start_station_m", "end_station_m", "radius_m", "bend_id", "outside_bank")
        streams[str(key)] = [group[name].to_numpy() for name in names]
    rows: list[tuple[str, float, str | None, str | None]] = []
    for reach_id, stream_id, low, high in zip(
        reaches["reach_id"],
        reaches["stream_id"],
        reaches["station_from_m"].to_numpy(np.float64),
        reaches["station_to_m"].to_numpy(np.float64),
        strict=True,
    ):
        best: tuple[float, str | None, str | None] = (np.nan, None, None)
        if str(stream_id) in streams:
            start, end, radius, bend_id, outside = streams[str(stream_id)]
            touched = np.flatnonzero((start > low) & (end < high))
            if touched.size:  # the tightest comes first
                k = touched[0]
                best = (float(radius[k]), str(bend_id[k]), str(outside[k]))
        rows.append((str(reach_id), *best))
    columns = ["reach_id", "radius_m", "bend_id", "outside_bank"]
    return pd.DataFrame(rows, columns=columns).set_index("reach_id")


def outside_shares(
    reaches: pd.DataFrame, sections: pd.DataFrame, bends: pd.DataFrame
) -> pd.DataFrame:
    """Return columns left and right: share of a reach's sections on the outside of a bend.

    Indexed by reach_id. A reach without sections takes the share of its length.
    """
    outside_of = dict(zip(bends["bend_id"], bends["outside_bank"], strict=True))
    outside = sections["bend_id"].map(outside_of).to_numpy(dtype=object)
    table = pd.DataFrame({"reach_id": sections["reach_id"].to_numpy(dtype=object)})
    for side in ("left", "right"):
        table[side] = (outside == side).astype(np.float64)
    shares = table.groupby("reach_id")[["left", "right"]].mean().reindex(reaches["reach_id"])
    for row in reaches[shares["left"].isna().to_numpy()].itertuples():
        own = bends[bends["stream_id"] == row.stream_id]
        top = own["start_station_m"].clip(upper=row.station_to_m)
        overlap = (top - own["end_station_m"].clip(lower=row.station_from_m)).clip(lower=0.0)
        for side in ("left", "right"):
            length = overlap[own["outside_bank"] == side].sum()
            share = length / (row.station_to_m - row.station_from_m)
            shares.loc[row.reach_id, side] = min(share, 1.0)
    return shares
