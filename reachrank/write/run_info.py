"""What a written file says of the run that made it, and what a later step reads back."""

from __future__ import annotations

import json
import platform
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

import pandas as pd

from reachrank.report.cautions import CAUTIONS
from reachrank.settings.load import settings_json

if TYPE_CHECKING:
    from reachrank.context import Context

LIBRARIES = (
    "numpy", "pandas", "geopandas", "shapely", "pyproj", "rasterio", "pyogrio", "scipy", "numba",
    "pyflwdir", "exactextract",
)  # fmt: skip

OWN_KEYS = (
    "stage",
    "written_units",
    "inputs",
    "settings",
    "crs.working",
    "crs.output",
    "cover_path",
    "versions",
    "cautions",
)
"""Keys written here; all others are facts that the stages stated."""


def run_info(ctx: Context, *, stage: str, units: str = "metric") -> pd.DataFrame:
    """Return the layer ``run_info``: settings, versions, units, cautions and the stages' facts.

    No time and no user name: the same inputs and settings give the same rows.
    """
    rows = {
        "stage": stage,
        "written_units": (
            "us: international feet of 0.3048 m exactly, square miles, square yards"
            if units == "us"
            else "metric"
        ),
        "inputs": json.dumps(asdict(ctx.inputs), ensure_ascii=False),
        "settings": settings_json(ctx.settings),
        "crs.working": ctx.crs.to_json(),
        "crs.output": ctx.output_crs.to_json(),
        "cover_path": ctx.cover_path or "",
        "versions": json.dumps(versions()),
        "cautions": " ".join(CAUTIONS),
        **{key: str(value) for key, value in ctx.facts.items() if key not in OWN_KEYS},
    }
    return pd.DataFrame(rows.items(), columns=["key", "value"])


def facts_of(info: pd.DataFrame) -> dict[str, str]:
    """Return the stages' facts from a ``run_info`` layer."""
    return {
        str(key): str(value)
        for key, value in zip(info["key"], info["value"], strict=True)
        if key not in OWN_KEYS
    }


def value_of(info: pd.DataFrame, key: str) -> str:
    """Return one value of a ``run_info`` layer, ``""`` where it is not stated."""
    found = info.loc[info["key"] == key, "value"]
    return str(found.iloc[0]) if len(found) else ""


def versions() -> dict[str, str]:
    """Return the versions of reachrank, Python and the libraries that decide numbers."""
    found = {"python": platform.python_version()}
    for name in ("reachrank", *LIBRARIES):
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed as a package"
    return found
