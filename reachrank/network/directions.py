"""Turn every edge downstream: elevation where it is clear, the neighbours where it is not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from reachrank.network.braids import flood_directions, level_nodes
from reachrank.network.graph import Ints, bridges, connected
from reachrank.network.tree_directions import JunctionCosts, direct_tree
from reachrank.settings.network import NetworkSettings

Floats = NDArray[np.float64]

NO_ELEVATION_ERROR_M = 100.0
DRAWN_FALL_M = 0.01
"""Inside braids an edge without elevation is given this fall the way it was drawn, with that
standard error, so that it only decides where nothing else does."""


@dataclass(frozen=True)
class Directions:
    """Whether each edge flows as its coordinates run, and how sure that is.

    ``margin`` is the log-odds of the direction chosen against its opposite, given the rest.
    ``elevation_score`` is the log-odds from elevation alone, positive along the coordinates.
    """

    is_along: NDArray[np.bool_]
    margin: Floats
    elevation_score: Floats


def score_from_fall(fall_m: Floats, error_m: Floats, gross_error_frac: float) -> Floats:
    """Log-odds that an edge flows along, from its fall and standard error; 0 without elevation.

    The error is taken as normal, except that a share of all falls tells nothing at all, which
    bounds the score.
    """
    with np.errstate(invalid="ignore"):
        right = ndtr(fall_m / error_m)
    right = gross_error_frac / 2 + (1.0 - gross_error_frac) * right
    score: Floats = np.log(right) - np.log1p(-right)
    return np.where(np.isfinite(score), score, 0.0)


def find_directions(
    pairs: Ints,
    fall_m: Floats,
    error_m: Floats,
    *,
    drawn: Floats,
    turns: Ints,
    settings: NetworkSettings,
) -> Directions:
    """Find the direction of flow of every edge.

    Parameters
    ----------
    pairs
        int64, shape (edges, 2): first and last node of each edge; never the same.
    fall_m, error_m
        Fall along the edge and its standard error in metres, NaN where not measured.
    drawn
        Share of the edge's length drawn along it minus the share drawn against it, -1 to 1.
    turns
        Nodes where lines were cut because the ground turns there: all may flow in, or all out.
    settings
        Odds and limits.

    Returns
    -------
    Directions
        No circles; water can leave from every node except mouths.
    """
    elevation_score = score_from_fall(fall_m, error_m, settings.gross_error_frac)
    score = elevation_score + np.log(settings.drawn_odds_ratio) * drawn
    node_count = int(pairs.max()) + 1 if len(pairs) else 0
    is_bridge = bridges(node_count, pairs)
    braid = connected(node_count, pairs[~is_bridge]) if len(pairs) else np.empty(0, np.int64)
    costs = JunctionCosts(
        fork=float(np.log(settings.fork_odds_ratio)),
        no_way_out=float(np.log(settings.dead_end_odds_ratio)),
        no_way_in=float(np.log(settings.dead_end_odds_ratio)),
    )
    is_along = np.zeros(len(pairs), bool)
    margin = np.zeros(len(pairs))
    # A braid counts as one node of the tree that the bridges make.
    tree_nodes = int(braid.max()) + 1 if len(braid) else 0
    is_along[is_bridge], margin[is_bridge] = direct_tree(
        tree_nodes,
        braid[pairs[is_bridge]],
        score[is_bridge],
        costs,
        frozenset(braid[turns].tolist()),
    )
    in_braid = ~is_bridge
    if in_braid.any():
        lower = np.where(is_along, pairs[:, 0], pairs[:, 1])[is_bridge]  # where a bridge leaves
        is_known = np.isfinite(fall_m)
        fall = np.where(is_known, fall_m, DRAWN_FALL_M * drawn)
        error = np.where(is_known, error_m, NO_ELEVATION_ERROR_M)
        nodes, inner = np.unique(pairs[in_braid], return_inverse=True)
        inner = inner.reshape(-1, 2).astype(np.int64)
        leaving = np.flatnonzero(np.isin(nodes, lower)).tolist()
        elevation = level_nodes(len(nodes), inner, fall[in_braid], error[in_braid])
        along = flood_directions(len(nodes), inner, elevation, leaving)
        is_along[in_braid] = along
        margin[in_braid] = np.maximum(np.where(along, score[in_braid], -score[in_braid]), 0.0)
    return Directions(is_along, margin, elevation_score)
