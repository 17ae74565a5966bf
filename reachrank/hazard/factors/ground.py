"""What the bank is made of and what holds it: soil and cover."""

from __future__ import annotations

import numpy as np

from reachrank.hazard.factor import Factor
from reachrank.hazard.side_frame import Floats, SideFrame


def _cover(frame: SideFrame) -> Floats:
    return frame.cover_frac.copy()


def _cover_error(frame: SideFrame) -> Floats:
    return np.where(np.isfinite(frame.cover_frac), frame.settings.cover_se_frac, np.nan)


def _soil(frame: SideFrame) -> Floats:
    return frame.soil_index.copy()


COVER = Factor(
    name="cover",
    needs=("cover_frac",),
    gives="share of tree and shrub cover in a strip behind the top of the bank",
    unit="0-1",
    compute=_cover,
    reference="Beeson & Doyle 1995; little effect on large rivers in Nanson & Hickin 1986",
    rises=False,
    error=_cover_error,
    error_group="cover",
)

SOIL = Factor(
    name="soil",
    needs=("soil_index",),
    gives="erodibility of the soil at the top of the bank",
    unit="0-1",
    compute=_soil,
    reference="Fischenich 2001, ERDC TN-EMRRP-SR-29, permissible shear by texture",
)
