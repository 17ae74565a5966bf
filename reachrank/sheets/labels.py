"""Put labels on a map so that none covers another, a sign, or the frame."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from matplotlib.axes import Axes

from reachrank.sheets.ground import Frame
from reachrank.sheets.letters import width_pt
from reachrank.sheets.paper import INK

Box = tuple[float, float, float, float]
_RINGS_PT = (5.0, 11.0, 19.0, 30.0, 44.0, 62.0)
_ALONG = (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9)
_COST_OF_LINE, _COST_OF_WAY = 3.0, 0.12


class Labels:
    """Labels of one map. Places are in map coordinates, sizes in points.

    Examples
    --------
    >>> labels = Labels((0.0, 0.0, 100.0, 50.0), 200.0, 100.0)
    >>> first = labels.find(50.0, 25.0, 40.0, 8.0)
    >>> second = labels.find(50.0, 25.0, 40.0, 8.0)
    >>> first is not None and second is not None and first != second
    True
    """

    def __init__(self, frame: Frame, width: float, height: float) -> None:
        self.frame, self.width, self.height = frame, width, height
        self._boxes: list[Box] = []
        self._points = np.empty((0, 2))

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return a map place in points from the lower left corner of the map."""
        west, south, east, north = self.frame
        return (x - west) / (east - west) * self.width, (y - south) / (north - south) * self.height

    def keep_clear(self, box: Box) -> None:
        """Reserve a rectangle in points: left, bottom, right, top."""
        self._boxes.append(box)

    def avoid(self, lines: Iterable[Sequence[Sequence[float]]], step_pt: float = 4.0) -> None:
        """Name lines in map coordinates that labels had better not cover."""
        new = []
        for line in lines:
            xy = np.array([self.at(float(p[0]), float(p[1])) for p in line])
            if len(xy) < 2:
                new.append(xy)
                continue
            along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
            at = np.arange(0.0, along[-1] + step_pt, step_pt)
            new.append(np.column_stack([np.interp(at, along, xy[:, k]) for k in (0, 1)]))
        self._points = np.vstack([self._points, *new])

    def find(self, x: float, y: float, width: float, height: float) -> Box | None:
        """Return a free rectangle near a map place and reserve it; None where there is no room."""
        found = self._best(x, y, width, height, _RINGS_PT)
        if found is None:
            return None
        self._boxes.append(found[1])
        return found[1]

    def _best(
        self, x: float, y: float, width: float, height: float, rings: Sequence[float]
    ) -> tuple[float, Box] | None:
        px, py = self.at(x, y)
        best: tuple[float, Box] | None = None
        for ring in rings:
            for turn in range(16):
                angle = (turn + 2) * np.pi / 8.0
                cx = px + np.cos(angle) * (ring + width / 2.0)
                cy = py + np.sin(angle) * (ring + height / 2.0)
                box = (cx - width / 2.0, cy - height / 2.0, cx + width / 2.0, cy + height / 2.0)
                if not self._is_inside(box) or any(_overlap(box, other) for other in self._boxes):
                    continue
                cost = _COST_OF_LINE * self._points_in(box) + _COST_OF_WAY * ring
                if best is None or cost < best[0]:
                    best = cost, box
        return best

    def write(
        self,
        axes: Axes,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        bold: bool = False,
        colour: str = INK,
        leader: bool = True,
    ) -> bool:
        """Write a label near a map place, with a thin line to it; tell whether there was room."""
        box = self.find(x, y, width_pt(text, size, bold=bold) + 4.0, size * 1.25 + 2.0)
        if box is None:
            return False
        px, py = self.at(x, y)
        middle = (box[0] + box[2]) / 2.0, (box[1] + box[3]) / 2.0
        to_axes = axes.transAxes
        share = 1.0 / self.width, 1.0 / self.height
        near = min(max(px, box[0]), box[2]), min(max(py, box[1]), box[3])
        if leader and np.hypot(near[0] - px, near[1] - py) > 7.0:
            axes.plot(
                [px * share[0], near[0] * share[0]], [py * share[1], near[1] * share[1]],
                color=colour, lw=0.5, transform=to_axes, zorder=8,
            )  # fmt: skip
        axes.text(
            middle[0] * share[0], middle[1] * share[1], text, fontsize=size, color=colour,
            fontweight="bold" if bold else "normal", ha="center", va="center_baseline",
            transform=to_axes, zorder=9,
            bbox={"boxstyle": "square,pad=0.12", "fc": "white", "ec": "none", "alpha": 0.82},
        )  # fmt: skip
        return True

    def write_along(
        self, axes: Axes, line: shapely.Geometry, text: str, size: float, *, colour: str = INK
    ) -> bool:
        """Write the name of a line beside it, where there is most room; tell whether there was."""
        width, height = width_pt(text, size) + 4.0, size * 1.25 + 2.0
        best: tuple[float, shapely.Point] | None = None
        longest = max(shapely.get_parts(line), key=lambda part: part.length)
        for share in _ALONG:
            at = longest.interpolate(share, normalized=True)
            found = self._best(at.x, at.y, width, height, _RINGS_PT[:2])
            if found is not None and (best is None or found[0] < best[0]):
                best = found[0], at
        if best is None:
            return False
        return self.write(axes, best[1].x, best[1].y, text, size, colour=colour, leader=False)

    def _is_inside(self, box: Box) -> bool:
        return box[0] > 2 and box[1] > 2 and box[2] < self.width - 2 and box[3] < self.height - 2

    def _points_in(self, box: Box) -> int:
        if not len(self._points):
            return 0
        x, y = self._points.T
        return int(((x > box[0]) & (x < box[2]) & (y > box[1]) & (y < box[3])).sum())


def _overlap(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
