"""What every stage is given besides its tables: inputs, settings, the DEM, progress, findings."""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, TypeAlias

import geopandas as gpd
import pandas as pd

from reachrank.findings import Findings
from reachrank.progress import Progress, silent

if TYPE_CHECKING:
    from pyproj import CRS

    from reachrank.read.dem import Dem
    from reachrank.running.beside import Beside
    from reachrank.running.kept_work import KeptWork
    from reachrank.running.workers import Workers
    from reachrank.settings import Settings

Table: TypeAlias = gpd.GeoDataFrame | pd.DataFrame
Tables: TypeAlias = MutableMapping[str, Table]
"""Layer name to table. A stage reads the layers it needs and returns a new mapping with its own
added or replaced; it never changes a table it was given."""


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """What the user handed over, as given: paths and words, nothing opened yet."""

    streams: str
    dem: tuple[str, ...]
    structures: tuple[str, ...] = ()
    roads: str | None = None
    cover: str | None = None
    soils: str | None = None
    curve: str | None = None
    area_raster: str | None = None
    constraints: str | None = None
    dem_units: Literal["m", "ft", "us-ft"] | None = None
    allow_remote: bool = False


@dataclass(kw_only=True)
class Context:
    """Shared by the stages of one run.

    ``crs`` is the working CRS: always projected, always in metres (see ``read.crs``). All
    geometry in the tables is in it; only the write stage converts to ``output_crs``, the DEM's own.
    ``cover_path`` is the checked cover raster (exactextract reads it), else None.
    """

    inputs: Inputs
    settings: Settings
    dem: Dem
    crs: CRS
    output_crs: CRS
    findings: Findings = field(default_factory=Findings)
    progress: Progress = silent
    jobs: int = 1
    cover_path: str | None = None
    kept: KeptWork | None = None
    """Where the long stages keep what they have made, so that a stopped run can go on."""
    workers: Workers | None = None
    """Other processes that make batches beside this one."""
    beside: Beside | None = None
    """What goes on in a thread beside the next stages, where there is more than one to work."""
    facts: dict[str, str] = field(default_factory=dict)
    """What goes into ``run_info``: units taken, fingerprints, shares, cautions."""


def with_tables(tables: Mapping[str, Table], **new: Table) -> Tables:
    """Return a copy of the mapping with layers added or replaced."""
    return {**tables, **new}
