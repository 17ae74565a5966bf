"""Where reaches begin and end: at junctions, and at a target length between them."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.columns import floats
from reachrank.findings import Findings
from reachrank.whole_numbers import nearest

Span = tuple[str, float, float]


def pieces(length_m: float, target_m: float) -> int:
    """Return into how many equal pieces a length is cut: at least one, each nearest the target.

    Lengths from half of the target up give pieces of 2/3 to 1.5 targets; a shorter length stays
    whole.

    Examples
    --------
    >>> pieces(149.0, 100.0), pieces(151.0, 100.0), pieces(20.0, 100.0)
    (1, 2, 1)
    """
    return max(1, nearest(length_m / target_m))


def edge_spans(marks: pd.DataFrame, length_m: Mapping[str, float]) -> dict[str, list[Span]]:
    """Return ``(edge_id, from, to)`` of the edges along each stream, from the mouth upstream.

    Parameters
    ----------
    marks
        Places that know their edge, in any order: stream_id, station_m, edge_id.
    length_m
        Length by stream: the last span ends there, the first begins at 0. Others are left out.

    Notes
    -----
    The border between two edges is midway between the uppermost point of the lower one and the
    lowest point of the upper one.
    """
    stations = pd.DataFrame(marks)[["stream_id", "edge_id", "station_m"]]
    by_edge = stations.groupby(["stream_id", "edge_id"])["station_m"]
    extent = by_edge.agg(["median", "min", "max"]).reset_index()
    if extent.empty:
        return {}
    extent = extent.sort_values(["stream_id", "median", "edge_id"], kind="stable")
    name = extent["edge_id"].astype(str).to_numpy()
    lows, highs = extent["min"].to_numpy(np.float64), extent["max"].to_numpy(np.float64)
    stream_ids, starts = np.unique(extent["stream_id"].to_numpy(str), return_index=True)
    found = {}
    for stream_id, own in zip(
        stream_ids.tolist(), np.split(np.arange(len(extent)), starts[1:]), strict=True
    ):
        if stream_id not in length_m:
            continue
        inner = np.clip((highs[own[:-1]] + lows[own[1:]]) / 2.0, 0.0, length_m[stream_id])
        borders = np.maximum.accumulate([0.0, *inner, length_m[stream_id]])
        found[stream_id] = _spans(name[own], borders)
    return found


def _spans(names: Iterable[str], borders_m: NDArray[np.float64]) -> list[Span]:
    """Return the spans between borders, only those with a length."""
    return [
        (str(name), float(start), float(stop))
        for name, (start, stop) in zip(names, itertools.pairwise(borders_m), strict=True)
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
    lengths = dict(
        zip(channel["stream_id"].astype(str), channel["length_m"].astype(float), strict=True)
    )
    by_marks = edge_spans(marks, lengths)
    edges_of = edges[["stream_id"]].astype(str).reset_index(drop=True).groupby("stream_id").indices
    rows: list[tuple[str, str, str, float, float]] = []
    for stream_id, length in sorted(lengths.items()):
        if not length > 0.0 or not (stream_id in by_marks or stream_id in edges_of):
            findings.add(
                "left_out",
                "no_channel",
                f"Stream {stream_id} has no channel to cut into reaches.",
                source_layer="channel",
                source_id=stream_id,
            )
            continue
        if stream_id in by_marks:
            spans = by_marks[stream_id]
        else:
            spans = _spans_in_proportion(edges.iloc[edges_of[stream_id]], length)
        ranges: list[Span] = []
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


def _spans_in_proportion(edges: pd.DataFrame, length_m: float) -> list[Span]:
    order = edges.sort_values("sequence")
    lengths = np.array([line.length for line in order["geometry"]])
    borders = np.concatenate([[0.0], np.cumsum(lengths)]) * (length_m / lengths.sum())
    return _spans(order["edge_id"], borders)


def reach_of_sections(sections: pd.DataFrame, reaches: pd.DataFrame) -> NDArray[np.object_]:
    """Return the reach of each section: exactly one, None on a stream without reaches.

    A section on a border belongs to the upper reach; one beyond an end to the reach at that end.
    """
    found = np.full(len(sections), None, dtype=object)
    station = floats(sections, "station_m")
    spans = reaches.sort_values("station_from_m", kind="stable")
    starts, names = floats(spans, "station_from_m"), spans["reach_id"].to_numpy(dtype=object)
    spans_of = spans.reset_index(drop=True).groupby("stream_id").indices
    rows_of = sections[["stream_id"]].reset_index(drop=True).groupby("stream_id").indices
    for stream_id, rows in rows_of.items():
        own = spans_of.get(stream_id)
        if own is not None:
            place = np.searchsorted(starts[own], station[rows], "right") - 1
            found[rows] = names[own[np.clip(place, 0, len(own) - 1)]]
    return found
