"""Strahler order, in networks that divide too."""

from __future__ import annotations

import numpy as np

from reachrank.network.flow import Flow, is_diversion
from reachrank.network.graph import Ints


def strahler_order(flow: Flow, main_out: Ints) -> Ints:
    """Return the order of each edge.

    A source has order 1; where two or more streams of the same greatest order meet, the order
    rises by one (Strahler 1957, Trans. Am. Geophys. Union 38(6):913-920). A diversion keeps the
    order of the stream it leaves, and does not count where it comes back: only what has joined
    it on its own way counts. So a stream does not gain order by flowing around an island.

    Parameters
    ----------
    flow
        The directed network.
    main_out
        The main edge out of each node; other edges out are diversions.

    Returns
    -------
    numpy.ndarray
        int64, shape (edges,), at least 1.
    """
    diverted = is_diversion(flow, main_out)
    order = np.ones(len(flow.upper), np.int64)
    counting = np.ones(len(flow.upper), np.int64)  # the order without what a diversion was given
    for node in flow.nodes_down:
        arriving = flow.into[node]
        if not arriving:
            here, count = 1, 1
        else:
            counts = [int(counting[edge]) for edge in arriving]
            count = max(counts)
            if count > 0 and counts.count(count) > 1:
                count += 1
            here = max(count, *(int(order[edge]) for edge in arriving), 1)
        for edge in flow.out_of[node]:
            is_lesser = bool(diverted[edge]) and bool(arriving)
            order[edge] = here
            counting[edge] = 0 if is_lesser else count
    return order
