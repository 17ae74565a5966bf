"""Take up a run again from a step file: its layers, and the context that its stages shared."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
from pyproj import CRS
from pyproj.exceptions import CRSError

from reachrank.context import Context, Inputs, Tables
from reachrank.errors import InputError
from reachrank.findings import Findings
from reachrank.read.crs import WorkingCrs, axis_unit_m, horizontal_part, metric_twin
from reachrank.read.dem import Dem
from reachrank.read.rasters import describe_rasters, find_rasters
from reachrank.read.tables import read_tables
from reachrank.read.vertical import elevation_unit
from reachrank.settings import Settings
from reachrank.settings.load import settings_from_json
from reachrank.units import LENGTH_TO_M
from reachrank.write.run_info import facts_of, value_of


def resume(
    path: str | Path,
    *,
    dem: Sequence[str] = (),
    dem_units: str | None = None,
    settings: Settings | None = None,
    jobs: int = 1,
    allow_remote: bool = False,
) -> tuple[Tables, Context]:
    """Read a step file and make the context that the next stage needs.

    Parameters
    ----------
    path
        A file that `reachrank.write.write_step` wrote.
    dem, dem_units, settings
        In place of those that the file remembers.
    jobs
        Threads that the stage may use.
    allow_remote
        Whether inputs that the file names may be addresses.

    Raises
    ------
    InputError
        If the file is not a step file, or its DEM cannot be read where it was.
    """
    tables = dict(read_tables(path))
    info = tables.pop("run_info", None)
    if info is None or not value_of(info, "crs.working"):
        raise InputError(
            "This is not a file between two stages.",
            hint="Make one with `reachrank step read`.",
            where=str(path),
        )
    if value_of(info, "stage") == "write":
        raise InputError(
            "This is a finished ranking; it lacks the layers that only pass between stages.",
            hint="Take up the run from the file of a `reachrank step`.",
            where=str(path),
        )
    inputs = inputs_of(value_of(info, "inputs"), allow_remote=allow_remote)
    if dem:
        inputs = replace(inputs, dem=tuple(dem))
    if dem_units:
        inputs = replace(inputs, dem_units=dem_units)  # type: ignore[arg-type]
    crs, output_crs = (_crs(value_of(info, f"crs.{name}")) for name in ("working", "output"))
    here = {
        name: t.set_crs(crs, allow_override=True) if isinstance(t, gpd.GeoDataFrame) else t
        for name, t in tables.items()
    }
    findings = Findings.from_frame(here.pop("findings", None))
    ctx = Context(
        inputs=inputs,
        settings=settings or settings_from_json(value_of(info, "settings")),
        dem=open_dem(inputs, crs, jobs),
        crs=crs,
        output_crs=output_crs,
        findings=findings,
        jobs=jobs,
        cover_path=value_of(info, "cover_path") or None,
        facts=facts_of(info),
    )
    return here, ctx


def inputs_of(text: str, *, allow_remote: bool = False) -> Inputs:
    """Return the inputs that a file remembers, from the text in its ``run_info``.

    Whether addresses may be opened is for the user of this command to say, not for a file that
    may come from somebody else.

    Raises
    ------
    InputError
        If the text is not one that `run_info` writes.
    """
    try:
        data = json.loads(text)
        known = {
            field.name: _told(data[field.name], many=field.name in ("dem", "structures"))
            for field in fields(Inputs)
            if field.name in data and field.name != "allow_remote"
        }
        if known.get("dem_units") not in (None, *LENGTH_TO_M):
            raise ValueError(f"there is no unit {known['dem_units']!r}")
        return Inputs(**known, allow_remote=allow_remote)
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise InputError(
            f"What the file says of its inputs is not understood ({error})."
        ) from error


def _told(value: Any, *, many: bool) -> Any:
    words = value if many else [value]
    if not isinstance(words, list) or not all(
        isinstance(word, str) or (word is None and not many) for word in words
    ):
        raise TypeError(f"{value!r} is not a path")
    return tuple(words) if many else value


def open_dem(inputs: Inputs, working: CRS, jobs: int) -> Dem:
    """Open the DEM of a run that is over, or goes on, in the working CRS that it had chosen."""
    remote = inputs.allow_remote
    paths = find_rasters(inputs.dem, allow_remote=remote)
    files = describe_rasters(paths, allow_remote=remote)
    source = horizontal_part(files[0].crs)
    as_it_is = source.is_projected and metric_twin(source).equals(working, ignore_axis_order=True)
    crs = (
        WorkingCrs(source, working, source, axis_unit_m(source), False)
        if as_it_is
        else WorkingCrs(source, working, working, 1.0, True)
    )
    own = Findings()  # most of it was told when the run began; see `tell_new`
    vertical = elevation_unit(files, crs, inputs.dem_units, own)
    return Dem(files, crs, vertical, own, jobs=jobs, allow_remote=remote)


def tell_new(ctx: Context) -> None:
    """Add what the DEM was found to have in this step and in no step before."""
    told = {(row["code"], row["source_id"]) for row in ctx.findings.rows}
    ctx.findings.rows.extend(
        row for row in ctx.dem.findings.rows if (row["code"], row["source_id"]) not in told
    )


def _crs(text: str) -> CRS:
    try:
        return CRS.from_user_input(text)
    except CRSError as error:
        raise InputError(
            f"The coordinate reference system in the file is not understood: {error}."
        ) from error
