"""The stage `read`: from what the user handed over to the first tables and the context."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import shapely

from reachrank.context import Context, Inputs, Tables
from reachrank.errors import InputError
from reachrank.findings import Findings
from reachrank.progress import Progress, part, silent
from reachrank.read.areas import Near, read_constraints, read_soils, read_structures
from reachrank.read.cover import check_beside
from reachrank.read.crs import (
    Box,
    WorkingCrs,
    choose,
    degrees_box,
    horizontal_part,
    show_box,
    transform_box,
)
from reachrank.read.dem import Dem
from reachrank.read.fingerprint import fingerprint
from reachrank.read.mosaic import check_alike
from reachrank.read.rasters import RasterFile, describe_rasters, find_rasters
from reachrank.read.source import parse_source
from reachrank.read.streams import check_stream_layer, read_streams
from reachrank.read.vector import VectorLayer, open_layer
from reachrank.read.vertical import VerticalUnit, elevation_unit
from reachrank.settings import Settings


def open_inputs(
    inputs: Inputs, settings: Settings, *, progress: Progress = silent, jobs: int = 1
) -> tuple[Tables, Context]:
    """Open and check every input and read the vectors near the streams.

    The DEM is described and probed but not read: `Dem.surface` and `Dem.load` do that.

    Parameters
    ----------
    inputs
        What the user handed over.
    settings
        All settings; this stage uses ``settings.inputs``.
    progress
        Called with 0..1.
    jobs
        Threads that read the DEM later.

    Returns
    -------
    tables
        ``streams`` and ``structures``, and ``soils`` and ``constraints`` where given.
    ctx
        The context of all other stages, with findings and facts so far.

    Raises
    ------
    InputError
        For the first input that cannot be used at all.
    """
    findings = Findings()
    remote = inputs.allow_remote
    layer = open_layer(parse_source(inputs.streams), allow_remote=remote)
    check_stream_layer(layer)
    paths = find_rasters(inputs.dem, allow_remote=remote)
    dem_print = _begin(lambda: fingerprint(paths), jobs)  # reads every byte, beside what follows
    files = describe_rasters(
        paths, allow_remote=remote, jobs=jobs, progress=part(progress, 0.0, 0.3)
    )
    check_alike(files)
    crs = choose(files[0].crs, _data_box(files, layer))
    vertical = elevation_unit(files, crs, inputs.dem_units, findings)
    dem = Dem(files, crs, vertical, findings, jobs=jobs, allow_remote=remote)

    progress(0.3, "reading the streams")
    streams = read_streams(layer, settings.inputs, crs, dem, findings, allow_remote=remote)
    dem.plan(streams.geometry)
    _check_elevation(dem, streams.geometry.to_numpy(), paths[0])
    tables: Tables = {"streams": streams}

    progress(0.5, "reading the structures")
    near = Near(streams, settings.inputs.structures_within_m, crs)
    tables["structures"] = read_structures(
        inputs.structures, inputs.roads, settings.inputs, near, findings, allow_remote=remote
    )
    later = part(progress, 0.8, 1.0)
    if inputs.soils:
        later(0.0, "reading the soils")
        tables["soils"] = read_soils(
            inputs.soils, settings.inputs, near, findings, allow_remote=remote
        )
    if inputs.constraints:
        later(0.3, "reading the constraint areas")
        tables["constraints"] = read_constraints(
            inputs.constraints, settings.inputs, near, findings, allow_remote=remote
        )
    for raster, what in ((inputs.cover, "cover raster"), (inputs.area_raster, "area raster")):
        if raster:
            later(0.6, f"checking the {what}")
            check_beside(raster, what, crs.working, near.box, findings, allow_remote=remote)
    facts = _facts(inputs, dem_print(), crs, vertical, layer)
    facts["cell_m"] = f"{dem.cell_m:.6g}"
    progress(1.0, "read")
    return tables, Context(
        inputs=inputs,
        settings=settings,
        dem=dem,
        crs=crs.working,
        output_crs=crs.output,
        findings=findings,
        jobs=jobs,
        cover_path=inputs.cover,
        facts=facts,
    )


def _data_box(files: list[RasterFile], layer: VectorLayer) -> Box:
    """Return where streams and DEM both are, in degrees.

    Raises
    ------
    InputError
        Where they are nowhere both.
    """
    own = horizontal_part(files[0].crs)
    west, south, east, north = zip(*(file.box for file in files), strict=True)
    extent = (min(west), min(south), max(east), max(north))
    dem = degrees_box(own, extent)
    if layer.box is None:
        return dem
    lines_crs = horizontal_part(layer.crs)
    lines = degrees_box(lines_crs, layer.box)
    both = (
        max(dem[0], lines[0]), max(dem[1], lines[1]), min(dem[2], lines[2]), min(dem[3], lines[3])
    )  # fmt: skip
    # a hundredth of a degree for what two datums may differ by: the exact check comes with lines
    if both[0] > both[2] + 0.01 or both[1] > both[3] + 0.01:
        shown = transform_box(lines_crs, own, layer.box)
        raise InputError(
            f"The streams do not lie on the DEM: they reach from {show_box(shown)}, the DEM from "
            f"{show_box(extent)}, both in {own.name}.",
            hint="Check that both are of the same place and say the right CRS.",
            where=layer.where,
        )
    return (
        min(both[0], both[2]),
        min(both[1], both[3]),
        max(both[0], both[2]),
        max(both[1], both[3]),
    )


def _check_elevation(dem: Dem, lines: np.ndarray, where: str) -> None:
    """Raise `InputError` where none of many points along the streams has an elevation."""
    for count in (16, 2000):
        xy = _spread(lines, count)
        if np.isfinite(dem.probe(xy[:, 0], xy[:, 1])).any():
            return
    raise InputError(
        f"The DEM holds no elevation along the streams: none of {len(xy)} points on them has any.",
        hint="Is it the right tile, and is its no-data value right?",
        where=where,
    )


def _spread(lines: np.ndarray, count: int) -> np.ndarray:
    """Return points evenly along all lines taken as one; shape (count, 2)."""
    length = shapely.length(lines)
    end = np.cumsum(length)
    at = (np.arange(count) + 0.5) / count * end[-1]
    which = np.minimum(np.searchsorted(end, at), len(lines) - 1)
    points = shapely.line_interpolate_point(lines[which], at - (end[which] - length[which]))
    return np.asarray(shapely.get_coordinates(points))


def _begin(work: Callable[[], str], jobs: int) -> Callable[[], str]:
    """Begin work in a thread of its own, if there may be several; return how to get its result."""
    if jobs == 1:
        return work
    pool = ThreadPoolExecutor(1)
    future = pool.submit(work)
    pool.shutdown(wait=False)  # nobody waits for it where an input turns out to be wrong
    return future.result


def _facts(
    inputs: Inputs,
    dem_print: str,
    crs: WorkingCrs,
    vertical: VerticalUnit,
    layer: VectorLayer,
) -> dict[str, str]:
    warped = f", resampled to {crs.working.name}" if crs.is_warped else ""
    facts = {
        "units": (
            f"Coordinates of the DEM in {crs.unit_words} ({crs.source.name}){warped}; elevations "
            f"in {vertical.words} ({_SOURCE_WORDS[vertical.source]}); all work in metres."
        ),
        "working_crs": crs.working.name,
        "input.streams": f"{fingerprint([layer.path])}, layer {layer.name}",
        "input.dem": dem_print,
    }
    others = {
        "roads": inputs.roads,
        "soils": inputs.soils,
        "constraints": inputs.constraints,
        "cover": inputs.cover,
        "area_raster": inputs.area_raster,
    }
    given = [(f"structures.{i + 1}", spec) for i, spec in enumerate(inputs.structures)]
    given += [(name, spec) for name, spec in others.items() if spec]
    for name, spec in given:
        source = parse_source(spec)
        shown = f", layer {source.layer}" if source.layer else ""
        facts[f"input.{name}"] = fingerprint([source.path]) + shown
    return facts


_SOURCE_WORDS = {
    "coordinate reference system": "declared by its coordinate reference system",
    "raster band": "declared by the file",
    "--dem-units": "as told by --dem-units",
    "assumed": "assumed, the file does not say",
}
