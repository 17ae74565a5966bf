"""Each stream as one line, from its head down to its mouth."""

from __future__ import annotations

from collections import defaultdict
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
    lines = edges.geometry.to_numpy()
    names, joins = edges["stream_name"].to_list(), edges["joins_stream_id"].to_list()
    edge_id, catchment = edges["edge_id"].to_list(), edges["catchment"].to_list()
    upper, lower = edges["from_node"].to_list(), edges["to_node"].to_list()
    stream = edges["stream_id"].to_list()
    rows_of: dict[str, list[int]] = defaultdict(list)
    for row in np.argsort(-edges["sequence"].to_numpy(np.int64), kind="stable").tolist():
        rows_of[str(stream[row])].append(row)
    paths = []
    for stream_id, rows in sorted(rows_of.items()):
        parts = [shapely.get_coordinates(lines[row]) for row in rows]
        xy = np.concatenate([parts[0], *(part[1:] for part in parts[1:])])
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        breaks = np.concatenate([[0], np.cumsum([len(part) - 1 for part in parts])])
        own_names = [names[row] if isinstance(names[row], str) else None for row in rows]
        into = joins[rows[-1]]
        paths.append(
            StreamPath(
                stream_id=stream_id,
                stream_name=main_name(own_names, np.diff(along[breaks]).tolist()),
                xy=xy,
                edge_ids=tuple(edge_id[row] for row in rows),
                edge_breaks_m=along[breaks],
                catchment=int(catchment[rows[0]]),
                touches=(int(upper[rows[0]]), *(int(lower[row]) for row in rows)),
                joins_stream_id=into if isinstance(into, str) else None,
            )
        )
    return paths


def main_name(names: list[str | None], lengths_m: list[float]) -> str | None:
    """Return the name with the greatest length in all, the first by the alphabet where equal."""
    total: dict[str, float] = {}
    for name, length_m in sorted(
        (n, m) for n, m in zip(names, lengths_m, strict=True) if n is not None
    ):
        total[name] = total.get(name, 0.0) + length_m
    return min(total, key=lambda name: (-round(total[name], 6), name)) if total else None
