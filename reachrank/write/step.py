"""The hand-over between two stages as a file: every layer, working CRS, metric, nothing rounded."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from reachrank.schema import LAYERS
from reachrank.write.conform import conform
from reachrank.write.geopackage import check_file, write_layers
from reachrank.write.place import aside
from reachrank.write.run_info import run_info

if TYPE_CHECKING:
    from reachrank.context import Context, Table


def write_step(
    tables: Mapping[str, Table],
    ctx: Context,
    path: str | Path,
    *,
    stage: str,
    overwrite: bool = False,
) -> Path:
    """Write all layers that exist after a stage, and return where the file is.

    Public layers come first, in the order of the schema. Columns that only a later stage adds are
    not there yet. Inputs, settings and facts go along in ``run_info``, so that the next step needs
    nothing but this file and the DEM.
    """
    whole = {
        **tables,
        "findings": ctx.findings.to_frame(ctx.crs),
        "run_info": run_info(ctx, stage=stage),
    }
    layers = {
        name: conform(whole[name], layer, whole=False)
        for name, layer in LAYERS.items()
        if name in whole
    }
    with aside(Path(path), overwrite=overwrite) as file:
        write_layers(file.path, layers)
        check_file(file.path, layers)
    return file.landed
