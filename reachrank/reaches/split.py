"""Where reaches begin and end: at junctions, and at a target length between them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.findings import Findings


def pieces(length_m: float, target_m: float) -> int:
    """Return into how many equal pieces a length is cut: at least one, each nearest the target.

    Lengths from half of the target up give pieces of 2/3 to 1.5 targets; a shorter length stays
    whole.

    Examples
    --------
    >>> pieces(149.0, 100.0), pieces(151.0, 100.0), pieces(20.0, 100.0)
    (1, 2, 1)
    """
    return max(1, math.floor(length_m / target_m + 0.5))


def edge_spans(
    station_m: NDArray[np.float64], edge_id: Sequence[str], length_m: float
) -> list[tuple[str, float, float]]:
    """Return ``(edge_id, from, to)`` of the edges along one stream, from the mouth upstream.

    Parameters
    ----------
    station_m, edge_id
        Stations of the channel points, in any order, and the edge that each lies on; shape (n,).
    length_m
        Length of the stream: the last span ends there, the first begins at 0.

    Notes
    -----
    The border between two edges is midway between the uppermost point of the lower one and the
    lowest point of the upper one.
    """
    frame = pd.DataFrame({"edge_id": list(edge_id), "station_m": station_m})
    extent = frame.groupby("edge_id")["station_m"].agg(["median", "min", "max"])
    extent = extent.reset_index().sort_values(["median", "edge_id"], kind="stable")
    low, high = extent["min"].to_numpy(), extent["max"].to_numpy()
    inner = np.clip((high[:-1] + low[1:]) / 2.0, 0.0, length_m)
    borders = np.maximum.accumulate(np.concatenate([[0.0], inner, [length_m]]))
    return [
        (str(name), float(start), float(stop))
        for name, start, stop in zip(extent["edge_id"], borders[:-1], borders[1:], strict=True)
        if stop > start
    ]


def split_streams(
    channel: pd.DataFrame,
    marks: pd.DataFrame,
    edges: pd.DataFrame,
    target_m: float,
    findings: Findings,
) -> pd.DataFrame:
    """Return one row per reach: reach_id, stream_id, edge_id, station_from_m, station_to_m.

    Parameters
    ----------
    channel
        One row per stream: stream_id, length_m.
    marks
        Places that know their edge: stream_id, station_m, edge_id of channel points or sections.
    edges
        The edges of a stream without marks share its length in proportion to theirs.
    target_m
        Length aimed at.
    findings
        A stream without length is reported there.

    Notes
    -----
    Numbers run upstream from the mouth of each stream; ranges are half-open, the last one of a
    stream also holds its upper end.
    """
    marks_of = {str(key): group for key, group in marks.groupby("stream_id")}
    edges_of = {str(key): group for key, group in edges.groupby("stream_id")}
    rows: list[tuple[str, str, str, float, float]] = []
    lengths = zip(channel["stream_id"].astype(str), channel["length_m"].astype(float), strict=True)
    for stream_id, length in sorted(lengths):
        if not length > 0.0 or not (stream_id in marks_of or stream_id in edges_of):
            findings.add(
                "left_out",
                "no_channel",
                f"Stream {stream_id} has no channel to cut into reaches.",
                source_layer="channel",
                source_id=stream_id,
            )
            continue
        if stream_id in marks_of:
            group = marks_of[stream_id]
            station = group["station_m"].to_numpy(dtype=np.float64)
            spans = edge_spans(station, list(group["edge_id"]), length)
        else:
            spans = _spans_in_proportion(edges_of[stream_id], length)
        ranges: list[tuple[str, float, float]] = []
        for edge_id, start, stop in spans:
            cuts = np.linspace(start, stop, pieces(stop - start, target_m) + 1)
            ranges += [(edge_id, float(a), float(b)) for a, b in itertools.pairwise(cuts)]
        digits = max(4, len(str(len(ranges))))
        rows += [
            (f"{stream_id}-R{number:0{digits}d}", stream_id, *span)
            for number, span in enumerate(ranges, start=1)
        ]
    columns = ["reach_id", "stream_id", "edge_id", "station_from_m", "station_to_m"]
    kinds = dict(zip(columns, (object, object, object, float, float), strict=True))
    return pd.DataFrame(rows, columns=columns).astype(kinds)  # also where there is no reach


def _spans_in_proportion(edges: pd.DataFrame, length_m: float) -> list[tuple[str, float, float]]:
    order = edges.sort_values("sequence")
    lengths = np.array([line.length for line in order["geometry"]])
    borders = np.concatenate([[0.0], np.cumsum(lengths)]) * (length_m / lengths.sum())
    return [
        (str(name), float(start), float(stop))
        for name, (start, stop) in zip(order["edge_id"], itertools.pairwise(borders), strict=True)
        if stop > start
    ]


def reach_of_sections(sections: pd.DataFrame, reaches: pd.DataFrame) -> list[str | None]:
    """Return the reach of each section: exactly one, None on a stream without reaches.

    A section on a border belongs to the upper reach; one beyond an end to the reach at that end.
    """
    found: list[str | None] = [None] * len(sections)
    by_stream = {
        str(key): group.sort_values("station_from_m") for key, group in reaches.groupby("stream_id")
    }
    order = sections.reset_index(drop=True)
    for stream_id, group in order.groupby("stream_id"):
        if stream_id not in by_stream:
            continue
        spans = by_stream[str(stream_id)]
        starts = spans["station_from_m"].to_numpy(dtype=np.float64)
        place = np.searchsorted(starts, group["station_m"].to_numpy(dtype=np.float64), "right") - 1
        names = spans["reach_id"].to_numpy(dtype=object)[np.clip(place, 0, len(starts) - 1)]
        for row, name in zip(group.index, names, strict=True):
            found[int(row)] = str(name)
    return found
