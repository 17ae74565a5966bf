"""Rasters that a later stage reads by itself: checked here, so that a run fails early or not."""

from __future__ import annotations

from pyproj import CRS

from reachrank.errors import InputError
from reachrank.findings import Findings
from reachrank.read.crs import Box, show_box, transform_box
from reachrank.read.rasters import RasterFile, describe_raster


def check_beside(
    path: str,
    what: str,
    crs: CRS,
    box: Box,
    findings: Findings,
    *,
    allow_remote: bool = False,
) -> RasterFile:
    """Describe a raster that must lie over the streams; it keeps its own CRS and grid.

    Parameters
    ----------
    what
        Its name in messages, such as "cover raster".
    crs, box
        Where the streams are: west, south, east, north in that CRS.

    Raises
    ------
    InputError
        Where it is not a raster or lies elsewhere altogether.
    """
    raster = describe_raster(path, allow_remote=allow_remote)
    west, south, east, north = transform_box(crs, raster.crs, box)
    r_west, r_south, r_east, r_north = raster.box
    if west > r_east or east < r_west or south > r_north or north < r_south:
        raise InputError(
            f"The {what} does not lie over the streams: it reaches from {show_box(raster.box)}, "
            f"the streams from {show_box((west, south, east, north))}, both in {raster.crs.name}.",
            where=path,
        )
    if west < r_west or east > r_east or south < r_south or north > r_north:
        findings.add(
            "warning",
            "raster_partial",
            f"The {what} does not cover the whole extent of the streams; where it is missing "
            "its values count as missing.",
            source_layer=what,
            source_id=path,
        )
    return raster
