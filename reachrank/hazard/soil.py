"""Erodibility of the soil at the top of a bank, 0 to 1, from texture or an erodibility number."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.findings import Findings
from reachrank.hazard.breakpoints import score
from reachrank.hazard.side_frame import Floats
from reachrank.settings.hazard import HazardSettings


def soil_index(soils: pd.DataFrame, settings: HazardSettings, findings: Findings) -> Floats:
    """Return the erodibility index of each soil: its texture's, else from its erodibility."""
    texture = soils["texture"].astype("object").to_numpy()
    known = {word.lower(): index for word, index in settings.soil_texture_index.items()}
    words = [str(word).strip().lower() if isinstance(word, str) else "" for word in texture]
    unknown = sorted({word for word in words if word and word not in known})
    if unknown:
        findings.add(
            "warning",
            "texture_unknown",
            f"No erodibility is set for the soil textures: {', '.join(unknown)}.",
            source_layer="soils",
        )
    index = np.array([known.get(word, np.nan) for word in words], np.float64)
    number = soils["erodibility"].to_numpy(np.float64, na_value=np.nan)
    return np.where(np.isnan(index), score(number, settings.soil_erodibility_knots), index)


def soil_at(points: NDArray[np.object_], soils: gpd.GeoDataFrame, index: Floats) -> Floats:
    """Return the index of the soil at each point; the more erodible one where soils overlap."""
    found = np.full(len(points), np.nan)
    tree = shapely.STRtree(soils.geometry.to_numpy())
    point, soil = tree.query(points, predicate="intersects")
    known = np.isfinite(index[soil])
    best = np.full(len(points), -np.inf)
    np.maximum.at(best, point[known], index[soil[known]])
    has = np.isfinite(best)
    found[has] = best[has]
    return found
