"""The ranking as one object, for notebooks and scripts."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from reachrank import pipeline
from reachrank.context import Context, Inputs, Tables
from reachrank.progress import Progress, silent
from reachrank.report import summary
from reachrank.report.cautions import CAUTIONS
from reachrank.report.plain import plain
from reachrank.schema import PUBLIC_LAYERS
from reachrank.settings import Settings
from reachrank.settings.load import load_settings
from reachrank.write import DEFAULT_PROFILES, Profiles, Units, write_ranked
from reachrank.write.run_info import run_info

_SHOWN = {
    "rank": "Rank",
    "stream_name": "Stream",
    "reach_id": "Reach",
    "worst_bank": "Bank",
    "priority_score": "Score",
    "repair_length_m": "Repair (m)",
    "reason": "Why",
}


@dataclass(frozen=True, repr=False)
class Ranking:
    """All layers of a ranked run, in the working CRS and metric, and how it was made.

    ``reaches``, ``banks`` and so on are the layers of the written file; see `reachrank columns`.
    They are the run's own tables: copy one before changing it.
    """

    tables: Tables
    ctx: Context

    @property
    def reaches(self) -> gpd.GeoDataFrame:
        """Stretches of stream with their rank."""
        return self.tables["reaches"]

    @property
    def banks(self) -> gpd.GeoDataFrame:
        """Left and right top-of-bank lines with their rank."""
        return self.tables["banks"]

    @property
    def bends(self) -> gpd.GeoDataFrame:
        """Centrelines from one inflection to the next."""
        return self.tables["bends"]

    @property
    def sections(self) -> gpd.GeoDataFrame:
        """Cross-sections from the left top to the right top."""
        return self.tables["sections"]

    @property
    def exposures(self) -> gpd.GeoDataFrame:
        """Lines from a bank's top to each structure within reach."""
        return self.tables["exposures"]

    @property
    def repairs(self) -> gpd.GeoDataFrame:
        """The failing lengths."""
        return self.tables["repairs"]

    @property
    def tie_ins(self) -> gpd.GeoDataFrame:
        """Extra lengths into sound bank at the ends of repairs."""
        return self.tables["tie_ins"]

    @property
    def materials(self) -> pd.DataFrame:
        """What each repair takes."""
        return self.tables["materials"]

    @property
    def factors(self) -> pd.DataFrame:
        """How each bank's hazard came about."""
        return self.tables["factors"]

    @property
    def profiles(self) -> pd.DataFrame:
        """Elevations across each section."""
        return self.tables["profiles"]

    @property
    def findings(self) -> gpd.GeoDataFrame:
        """Every thing mended, left out or doubted."""
        return self.ctx.findings.to_frame(self.ctx.crs)

    @property
    def run_info(self) -> pd.DataFrame:
        """Settings, versions, input fingerprints, units and cautions."""
        return run_info(self.ctx, stage="write")

    def top(self, count: int = 10) -> gpd.GeoDataFrame:
        """Return the first reaches of the ranking, best rank first."""
        ranked = self.reaches[self.reaches["rank"].notna()]
        return ranked.sort_values(["rank", "reach_id"]).head(count).reset_index(drop=True)

    def write(
        self,
        path: str | Path,
        *,
        overwrite: bool = False,
        units: Units = "metric",
        profiles: Profiles = DEFAULT_PROFILES,
    ) -> Path:
        """Write the ranked GeoPackage and return where it is; see `reachrank.write`."""
        return write_ranked(
            self.tables, self.ctx, path, overwrite=overwrite, units=units, profiles=profiles
        )

    def __repr__(self) -> str:
        counts = ", ".join(
            f"{len(self.tables[name]):,} {name}" for name in PUBLIC_LAYERS if name in self.tables
        )
        return f"<Ranking: {counts}>"

    def __str__(self) -> str:
        return "\n".join(summary.ranking_lines(self.tables))

    def _repr_html_(self) -> str:
        top = self.top(10)
        names = [name for name in _SHOWN if name in top.columns]
        head = "".join(f"<th>{_SHOWN[name]}</th>" for name in names)
        body = "".join(
            "<tr>" + "".join(f"<td>{_cell(row[name])}</td>" for name in names) + "</tr>"
            for row in top.to_dict("records")
        )
        caution = html.escape(CAUTIONS[0])
        return (
            f"<p>{html.escape(repr(self)[1:-1])}</p><table><thead><tr>{head}</tr></thead>"
            f"<tbody>{body}</tbody></table><p>{caution}</p>"
        )


def rank(
    streams: str | Path,
    dem: str | Path | Sequence[str | Path],
    *,
    structures: str | Path | Sequence[str | Path] = (),
    settings: Settings | str | Path | Mapping[str, Any] | None = None,
    progress: Progress = silent,
    jobs: int = 1,
    **inputs: Any,
) -> Ranking:
    """Rank the reaches and banks of streams; nothing is written.

    Parameters
    ----------
    streams
        A line layer: ``path``, ``path|layername=x`` or ``path:layer``.
    dem
        A raster, several, or a folder of tiles.
    structures
        Layers of things that could be lost.
    settings
        Settings, a TOML file, or a mapping such as ``{"sections.spacing_m": 5.0}``.
    progress
        Called with the fraction done and the name of the stage.
    jobs
        Threads to work with.
    **inputs
        The other fields of `reachrank.context.Inputs`: roads, cover, soils, curve, area_raster,
        constraints, dem_units, allow_remote.

    Raises
    ------
    InputError
        If an input cannot be used at all; one bad feature is a row in ``findings`` instead.
    SettingsError
        With every wrong setting listed at once.

    Examples
    --------
    >>> import reachrank
    >>> ranking = reachrank.rank("streams.gpkg", "dem.tif", roads="roads.gpkg")  # doctest: +SKIP
    >>> ranking.write("ranked.gpkg")  # doctest: +SKIP
    """
    if not isinstance(settings, Settings):
        values = settings if isinstance(settings, Mapping) else None
        settings = load_settings(None if values is not None else settings, values)  # type: ignore[arg-type]
    given: dict[str, Any] = {n: str(v) if isinstance(v, Path) else v for n, v in inputs.items()}
    what = Inputs(streams=str(streams), dem=_texts(dem), structures=_texts(structures), **given)
    tables, ctx = pipeline.rank_tables(what, settings, progress=progress, jobs=jobs)
    return Ranking(tables, ctx)


def _texts(given: str | Path | Sequence[str | Path]) -> tuple[str, ...]:
    return (str(given),) if isinstance(given, (str, Path)) else tuple(map(str, given))


def _cell(value: Any) -> str:
    if pd.isna(value):
        return ""
    return html.escape(f"{value:,.0f}" if isinstance(value, float) else plain(value, 300))
