"""Applications for cost-share of the invented county: a table as people fill it in."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import Transformer

from reachrank.synthetic.truth import CorridorTruth

_CONCERNS = (
    "bank slumping towards the house", "losing field edge every spring", "trees falling in",
    "fence hanging over the creek", "shed getting close to the edge", "mud in the pool below",
    "culvert washing at the outlet", "cattle crossing is raw", "bank undercut after the June flood",
    "road ditch cutting down to the creek",
)  # fmt: skip
US_FOOT_M = 1200.0 / 3937.0


def applications(
    homes: gpd.GeoDataFrame,
    truths: list[CorridorTruth],
    to_degrees: Transformer,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return 26 applications; most lie at a bank, some are written down badly.

    Parameters
    ----------
    homes
        Address points in the county's projected CRS: ``address``, ``parcel_id``, ``owner``.
    truths
        The channels, in the same CRS.
    to_degrees
        From that CRS to longitude and latitude.

    Returns
    -------
    pandas.DataFrame
        All columns are text, as typed. ``what_is_wrong`` is left to the reader: the faults are
        listed in the county's README.
    """
    rows: list[dict[str, Any]] = []
    near = homes.assign(
        away=np.min([homes.distance(truth.line) for truth in truths], axis=0)
    ).sort_values(["away", "address"], ignore_index=True)
    for k in range(23):
        home = near.iloc[k % len(near)]
        point = home.geometry
        lines = [truth.line for truth in truths]
        line = min(lines, key=lambda line: line.distance(point))
        along = line.project(point) + float(rng.uniform(-25.0, 25.0))
        place = line.interpolate(along)
        x, y = place.x + rng.normal(0.0, 6.0), place.y + rng.normal(0.0, 6.0)
        lon, lat = to_degrees.transform(x, y)
        rows.append(
            {
                "application_id": f"CS-{2025}-{k + 1:03d}",
                "received": f"2025-{int(rng.integers(2, 11)):02d}-{int(rng.integers(1, 28)):02d}",
                "applicant": home["owner"] or "",
                "site_address": home["address"],
                "parcel_id": home["parcel_id"] or "",
                "easting": f"{x:.1f}",
                "northing": f"{y:.1f}",
                "latitude": f"{lat:.6f}",
                "longitude": f"{lon:.6f}",
                "concern": _CONCERNS[int(rng.integers(len(_CONCERNS)))],
                "length_ft": str(int(rng.integers(4, 40)) * 10),
                "estimated_cost_usd": str(int(rng.integers(10, 180)) * 250),
            }
        )
    return pd.DataFrame(_spoil(rows))


def _spoil(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Write some of them down badly, as happens."""

    def change(k: int, **new: str) -> None:
        rows[k].update(new)

    def no_place(k: int) -> None:
        change(k, easting="", northing="", latitude="", longitude="")

    change(2, easting=rows[2]["northing"], northing=rows[2]["easting"], latitude="", longitude="")
    change(4, latitude=rows[4]["longitude"], longitude=rows[4]["latitude"], easting="", northing="")
    no_place(6)
    change(7, easting="", northing="", longitude=rows[7]["longitude"].lstrip("-"))
    change(
        9,
        easting=f"{float(rows[9]['easting']) / US_FOOT_M:.1f}",
        northing=f"{float(rows[9]['northing']) / US_FOOT_M:.1f}",
        latitude="",
        longitude="",
    )
    change(
        11,
        easting="",
        northing="",
        latitude=_degrees_minutes(rows[11]["latitude"], "N", "S"),
        longitude=_degrees_minutes(rows[11]["longitude"], "E", "W"),
    )
    change(13, easting=rows[13]["easting"].replace(".", ","), latitude="", longitude="",
           northing=rows[13]["northing"].replace(".", ","))  # fmt: skip
    change(14, estimated_cost_usd="$12,400", length_ft="about 150'")
    no_place(16)
    change(16, site_address=rows[16]["site_address"].upper().replace(" ROAD", " RD."))
    change(17, received="3/9/25", length_ft="")
    change(19, latitude=rows[19]["latitude"][:5], longitude=rows[19]["longitude"][:6], easting="",
           northing="")  # fmt: skip
    no_place(20)
    change(20, site_address="first farm past the old kiln", parcel_id="")
    again = dict(rows[3], application_id="CS-2025-024", received="2025-10-30")
    far = dict(
        rows[5], application_id="CS-2025-025", site_address="77 Elsewhere Street", parcel_id="",
        easting="512345.0", northing="4790001.0", latitude="", longitude="",
    )  # fmt: skip
    zero = dict(
        rows[8], application_id="CS-2025-026", easting="0", northing="0", latitude="0",
        longitude="0",
    )  # fmt: skip
    return [*rows, again, far, zero]


def _degrees_minutes(text: str, plus: str, minus: str) -> str:
    """Write decimal degrees as degrees, minutes and seconds."""
    value = float(text)
    size = abs(value)
    degrees, minutes = int(size), int(size % 1 * 60)
    seconds = (size * 60 % 1) * 60
    return f"{degrees}° {minutes:02d}' {seconds:04.1f}\" {plus if value >= 0 else minus}"
