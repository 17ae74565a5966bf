"""Distances against a brute-force search in numpy alone, over every pair and side."""

import geopandas as gpd
import numpy as np
import pytest
from shapely import Point
from stream_tables import CRS, arc, context, stream

from reachrank import exposure, reaches


def point_to_line(point, coords):
    """Return the least distance from a point to the segments of a line, by projection."""
    a, b = coords[:-1], coords[1:]
    t = ((point - a) * (b - a)).sum(axis=1) / ((b - a) ** 2).sum(axis=1)
    foot = a + np.clip(t, 0.0, 1.0)[:, None] * (b - a)
    return np.hypot(*(point - foot).T).min()


@pytest.mark.parametrize("turns", ["left", "right"])
def test_every_bank_has_the_least_distance_of_the_points_on_its_side(turns):
    radius = 80.0
    ctx = context()
    tables = reaches.run(stream(arc(radius, 180.0, turns=turns), spacing=3.0), ctx)
    rng = np.random.default_rng(17)
    # Points around the half circle, away from its open ends, where side means radius.
    angle = rng.uniform(0.15 * np.pi, 0.85 * np.pi, 400)
    r = rng.uniform(20.0, 160.0, 400)
    r = r[np.abs(r - radius) > 9.0]  # the tops are 6 and 8 m off: all points are behind one
    angle = angle[: len(r)]
    sign = 1.0 if turns == "left" else -1.0
    xy = np.column_stack([r * np.sin(angle), -sign * r * np.cos(angle)])
    tables["structures"] = gpd.GeoDataFrame(
        {
            "structure_id": [f"p{i:03d}" for i in range(len(r))],
            "structure_class": "well",
            "source": "made",
        },
        geometry=[Point(*p) for p in xy],
        crs=CRS,
    )
    out = exposure.run(tables, ctx)
    inner = "left" if turns == "left" else "right"
    reach = ctx.settings.exposure.reach_m
    best = {}
    for row in out["banks"].itertuples():
        own = (r < radius) if row.bank == inner else (r > radius)
        coords = np.array(row.geometry.coords)
        every = np.array([point_to_line(p, coords) for p in xy[own]])
        assert row.structure_distance_m == pytest.approx(every.min(), rel=1e-9)
        for i, d in zip(np.flatnonzero(own), every, strict=True):
            if d <= reach:
                best[f"p{i:03d}"] = min(best.get(f"p{i:03d}", np.inf), d)
    rows = out["exposures"].set_index("structure_id")["bank_distance_m"]
    assert rows.to_dict() == pytest.approx(best, rel=1e-9)
    assert 50 < len(best) < len(r)  # some within reach, some not
