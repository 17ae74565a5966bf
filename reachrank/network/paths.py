"""Each stream as one line, from its head down to its mouth."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray


@dataclass(frozen=True, kw_only=True)
class StreamPath:
    """One stream.

    Attributes
    ----------
    stream_id, stream_name
        Its id, and the name that most of its length carries, or None.
    xy
        float64, shape (n, 2), metres, going downstream.
    edge_ids
        Its edges, going downstream.
    edge_breaks_m
        float64, shape (edges + 1,): distance along ``xy`` where each edge begins, and its end.
    catchment
        Number of the connected network.
    touches
        Nodes along the stream, going downstream: one more than there are edges.
    joins_stream_id
        The stream that it flows into; None at a mouth of the network.
    """

    stream_id: str
    stream_name: str | None
    xy: NDArray[np.float64]
    edge_ids: tuple[str, ...]
    edge_breaks_m: NDArray[np.float64]
    catchment: int
    touches: tuple[int, ...]
    joins_stream_id: str | None

    @property
    def length_m(self) -> float:
        """Length along ``xy``."""
        return float(self.edge_breaks_m[-1])


def stream_paths(edges: gpd.GeoDataFrame) -> list[StreamPath]:
    """Join the edges of each stream into one path.

    Parameters
    ----------
    edges
        The layer ``edges``, or all edges of some of its streams, in any row order.

    Returns
    -------
    list
        One path for each stream, by ``stream_id``.
    """
    paths = []
    ordered = edges.sort_values(["stream_id", "sequence"], ascending=[True, False])
    for stream_id, own in ordered.groupby("stream_id", sort=True):
        parts = [shapely.get_coordinates(line) for line in own.geometry]
        xy = np.concatenate([parts[0], *(part[1:] for part in parts[1:])])
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        last = np.cumsum([len(part) - 1 for part in parts])
        joins = own["joins_stream_id"].iloc[-1]
        paths.append(
            StreamPath(
                stream_id=str(stream_id),
                stream_name=main_name(
                    [(n if isinstance(n, str) else None) for n in own["stream_name"]],
                    [float(line.length) for line in own.geometry],
                ),
                xy=xy,
                edge_ids=tuple(own["edge_id"]),
                edge_breaks_m=along[np.concatenate([[0], last])],
                catchment=int(own["catchment"].iloc[0]),
                touches=(int(own["from_node"].iloc[0]), *(int(n) for n in own["to_node"])),
                joins_stream_id=joins if isinstance(joins, str) else None,
            )
        )
    return paths


def main_name(names: list[str | None], lengths_m: list[float]) -> str | None:
    """Return the name with the greatest length in all, the first by the alphabet where equal."""
    total: dict[str, float] = {}
    for name, length_m in sorted(
        ((n, m) for n, m in zip(names, lengths_m, strict=True) if n is not None)
    ):
        total[name] = total.get(name, 0.0) + length_m
    return min(total, key=lambda name: (-round(total[name], 6), name)) if total else None
