"""Which bend wears on a section: the bend's place, moved downstream by a lag."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.hazard.side_frame import Floats


def bend_at(
    stream_id: NDArray[np.object_], station_m: Floats, lag_m: Floats, bends: pd.DataFrame
) -> NDArray[np.int64]:
    """Return the row of the bend that acts at each place, -1 for none.

    A bend from ``start_station_m`` (upstream) to ``end_station_m`` acts on the stations that are
    ``lag_m`` lower than its own. Where two bends meet, the upstream one has the place.
    """
    found = np.full(station_m.shape, -1, np.int64)
    if not len(bends):
        return found
    looked_up = station_m + np.nan_to_num(lag_m)
    rows_of = bends.reset_index(drop=True).groupby("stream_id", sort=True).indices
    places_of = pd.Series(stream_id).groupby(stream_id, sort=True).indices
    start = bends["start_station_m"].to_numpy(np.float64)
    end = bends["end_station_m"].to_numpy(np.float64)
    for stream, places in places_of.items():
        rows = rows_of.get(stream)
        if rows is None:
            continue
        rows = rows[np.argsort(end[rows], kind="stable")]
        at = np.searchsorted(end[rows], looked_up[places], "right") - 1
        row = rows[np.maximum(at, 0)]
        inside = (at >= 0) & (looked_up[places] <= start[row])
        found[places[inside]] = row[inside]
    return found
