"""What is known about a synthetic corridor."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry import LineString

from reachrank.synthetic.planform import Bend

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class BankTruth:
    """One bank, one value per station.

    Attributes
    ----------
    toe_offset_m, top_offset_m
        Middle of the channel to the toe and to the top.
    toe_x_m, toe_y_m, top_x_m, top_y_m
        The same places in the world.
    height_m
        Top minus toe.
    top_elevation_m
        Elevation of the top. Where the lip is rounded the surface lies a little lower there,
        because the top is where face and ground would meet.
    angle_deg
        Angle of the face from level; with a failed block, of each of the two scarps.
    chord_angle_deg
        Angle of the straight line from toe to top.
    rounding_m, bench_m
        Half width of the rounded lip; width of the failed block.
    is_outside
        True on the concave bank of a bend.
    is_failing
        True within the limits of a plainly failing stretch.
    valid
        False where a crossing, pond, gap or another limb of the stream hides the bank.
    """

    toe_offset_m: Array
    top_offset_m: Array
    toe_x_m: Array
    toe_y_m: Array
    top_x_m: Array
    top_y_m: Array
    height_m: Array
    top_elevation_m: Array
    angle_deg: Array
    chord_angle_deg: Array
    rounding_m: Array
    bench_m: Array
    is_outside: Flags
    is_failing: Flags
    valid: Flags

    @property
    def top_line(self) -> LineString:
        """The true top of the bank, drawn downstream."""
        return LineString(np.column_stack([self.top_x_m, self.top_y_m]))

    def covered(self, lines: Iterable[LineString], step_m: float = 0.25) -> Flags:
        """Tell which stations lie beside one of the lines, from its one end to its other.

        Parameters
        ----------
        lines
            Lines along this bank, for instance repairs, each on one stretch of it.
        step_m
            A place is taken on each line every so often.
        """
        tree = cKDTree(np.column_stack([self.top_x_m, self.top_y_m]))
        covered = np.zeros(self.top_x_m.size, dtype=bool)
        for line in lines:
            places = shapely.get_coordinates(shapely.segmentize(line, step_m))
            at = tree.query(places)[1]
            covered[at.min() : at.max() + 1] = True
        return covered

    def moved(self, dx_m: float, dy_m: float) -> BankTruth:
        """Return the same bank elsewhere."""
        return replace(
            self,
            toe_x_m=self.toe_x_m + dx_m,
            toe_y_m=self.toe_y_m + dy_m,
            top_x_m=self.top_x_m + dx_m,
            top_y_m=self.top_y_m + dy_m,
        )

    @property
    def toe_line(self) -> LineString:
        """The true toe of the bank, drawn downstream."""
        return LineString(np.column_stack([self.toe_x_m, self.toe_y_m]))


@dataclass(frozen=True)
class CorridorTruth:
    """The channel and its banks, one value per station, a station every quarter of a metre.

    ``s_m`` runs **downstream** from the head of the corridor; the station that the rest of the
    toolkit speaks of is ``length_m - s_m`` (`station_m`). Places are in the world, headings
    counter-clockwise from east. Curvature is positive where the channel turns left going
    downstream; then the right bank is outside. Left and right look downstream.
    """

    s_m: Array
    x_m: Array
    y_m: Array
    heading_rad: Array
    curvature_per_m: Array
    water_m: Array
    toe_width_m: Array
    left: BankTruth
    right: BankTruth
    valid: Flags
    bends: tuple[Bend, ...]

    @property
    def length_m(self) -> float:
        """Whole length along the channel."""
        return float(self.s_m[-1])

    @property
    def station_m(self) -> Array:
        """Distance upstream from the lower end."""
        return self.length_m - self.s_m

    @property
    def line(self) -> LineString:
        """The true middle of the channel, drawn downstream."""
        return LineString(np.column_stack([self.x_m, self.y_m]))

    def bank(self, side: str) -> BankTruth:
        """Return the ``"left"`` or the ``"right"`` bank."""
        return self.left if side == "left" else self.right

    def moved(self, dx_m: float, dy_m: float) -> CorridorTruth:
        """Return the same channel elsewhere."""
        return replace(
            self,
            x_m=self.x_m + dx_m,
            y_m=self.y_m + dy_m,
            left=self.left.moved(dx_m, dy_m),
            right=self.right.moved(dx_m, dy_m),
        )

    def table(self) -> pd.DataFrame:
        """Return all stations as one table; bank columns start with ``left_`` or ``right_``."""
        columns = {
            name: getattr(self, name)
            for name in (
                "s_m", "station_m", "x_m", "y_m", "heading_rad", "curvature_per_m", "water_m",
                "toe_width_m", "valid",
            )
        }  # fmt: skip
        for side in ("left", "right"):
            for name, values in vars(self.bank(side)).items():
                columns[f"{side}_{name}"] = values
        return pd.DataFrame(columns)

    def to_json(self, step_m: float = 1.0) -> str:
        """Return the truth as JSON text: bends, and every ``step_m`` the stations as columns."""
        every = max(round(step_m / float(self.s_m[1] - self.s_m[0])), 1)
        table = self.table().iloc[::every].round(4)
        return json.dumps(
            {
                "about": (self.__doc__ or "").split("\n", maxsplit=1)[0],
                "length_m": self.length_m,
                "bends": [asdict(bend) for bend in self.bends],
                "stations": {name: table[name].tolist() for name in table.columns},
            }
        )
