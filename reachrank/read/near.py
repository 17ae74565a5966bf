"""A coarse map of what lies near the streams, to sift a million features quickly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray

from reachrank.read.corridor import tiles_near
from reachrank.read.crs import Box
from reachrank.surface import TILE

_MOST_SQUARES = 4000  # along a side


@dataclass(frozen=True)
class NearMask:
    """Squares near lines, as counts that add up from the lower left corner.

    Attributes
    ----------
    sums
        int64, shape (rows + 1, columns + 1): number of near squares below and left of a corner.
    west, south
        Lower left corner, working coordinates.
    square_m
        Side of a square.
    """

    sums: NDArray[np.int64]
    west: float
    south: float
    square_m: float

    @classmethod
    def of(cls, lines: NDArray[Any], within_m: float, box: Box) -> NearMask:
        """Mark the squares of a box that come within a distance of lines."""
        west, south, east, north = box
        longest = max(east - west, north - south, 1.0)
        square = max(within_m / 4.0, longest / _MOST_SQUARES, 1.0)
        rows, columns = int((north - south) // square) + 1, int((east - west) // square) + 1
        cell = square / TILE
        near_rows, near_columns = tiles_near(
            lines,
            np.full(len(lines), within_m),
            Affine(cell, 0.0, west, 0.0, cell, south),
            rows * TILE,
            columns * TILE,
        )
        sums = np.zeros((rows + 1, columns + 1), np.int64)
        sums[near_rows + 1, near_columns + 1] = 1
        return cls(sums.cumsum(axis=0).cumsum(axis=1), west, south, square)

    def touches(self, boxes: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Tell which boxes touch a near square.

        Parameters
        ----------
        boxes
            Shape (n, 4): west, south, east, north. A box that is not finite touches nothing.

        Returns
        -------
        bool, shape (n,)
        """
        rows, columns = self.sums.shape[0] - 1, self.sums.shape[1] - 1
        finite = np.asarray(np.isfinite(boxes).all(axis=1), np.bool_)
        at = np.where(finite[:, None], boxes, 0.0) - [self.west, self.south] * 2
        at = np.clip(np.floor(at / self.square_m), -1, max(rows, columns) + 1).astype(np.int64)
        left, bottom = np.clip(at[:, 0], 0, columns), np.clip(at[:, 1], 0, rows)
        right, top = np.clip(at[:, 2] + 1, 0, columns), np.clip(at[:, 3] + 1, 0, rows)
        count = (
            self.sums[top, right]
            - self.sums[bottom, right]
            - self.sums[top, left]
            + self.sums[bottom, left]
        )
        return np.asarray(finite & (count > 0))
