"""Which bends a reach touches, and how much of each bank lies outside of one."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reachrank.columns import floats


def tightest_bends(reaches: pd.DataFrame, bends: pd.DataFrame) -> pd.DataFrame:
    """Return radius_m, bend_id and outside_bank of the tightest bend that each reach touches.

    Indexed by reach_id; NaN and None where a reach has no bend. Touching means a common length
    above zero.
    """
    tightest_first = bends.sort_values(["radius_m", "bend_id"])
    start, end = floats(tightest_first, "start_station_m"), floats(tightest_first, "end_station_m")
    bends_of = tightest_first[["stream_id"]].reset_index(drop=True).groupby("stream_id").indices
    low, high = floats(reaches, "station_from_m"), floats(reaches, "station_to_m")
    tightest = np.full(len(reaches), -1)
    for i, stream_id in enumerate(reaches["stream_id"]):
        own = bends_of.get(stream_id)
        if own is not None:
            touched = own[(start[own] > low[i]) & (end[own] < high[i])]
            tightest[i] = touched[0] if touched.size else -1
    # of no bend, -1, is what is put after the last one
    radius = np.append(floats(tightest_first, "radius_m"), np.nan)[tightest]
    found = pd.DataFrame({"radius_m": radius}, index=pd.Index(reaches["reach_id"].astype(str)))
    for name in ("bend_id", "outside_bank"):
        found[name] = np.array([*tightest_first[name], None], dtype=object)[tightest].tolist()
    return found


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
