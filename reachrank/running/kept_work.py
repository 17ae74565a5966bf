"""Keep what the long stages of a run have made, so that a stopped run can go on from there.

A folder beside the result holds one file for the network and one for each batch of streams, plain
arrays without anything that could run as code (no pickles), and ``run.json``: inputs by their
fingerprints, settings and versions. Work is only taken up where all of them are the same, so a run
that goes on gives what an unbroken one would have given, to the last digit.
"""

from __future__ import annotations

import io
import json
import os
import shutil
import threading
import zipfile
import zlib
from contextlib import suppress
from copy import copy
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import shapely

from reachrank.errors import UsageError
from reachrank.findings import Findings
from reachrank.running.kept_rows import KeptRows
from reachrank.running.table_arrays import put_table, take_table
from reachrank.settings.load import settings_json
from reachrank.write.run_info import versions

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping

    from reachrank.context import Context, Table

KEEP_FROM_KM = 100.0
"""Runs on fewer kilometres of stream are over before keeping their work would help."""
_MARK = "run.json"
_UNDER_WAY: list[Path] = []
"""Folders of the runs of this process that are not over."""
_DAMAGED = (
    OSError, ValueError, KeyError, TypeError, IndexError, AttributeError, OverflowError,
    RuntimeError, zipfile.BadZipFile, zlib.error, shapely.errors.ShapelyError,
)  # fmt: skip
"""What reading a file raises that another program has changed."""


def folder_of(out: Path) -> Path:
    """Return the folder that keeps the work of the run that writes ``out``."""
    return out.with_name(f"{out.name}.unfinished")


def begin() -> None:
    """Forget the runs that this process has not ended, for a new command."""
    _UNDER_WAY.clear()


def last_words() -> str:
    """Return what a stopped program should say of the work that it leaves, ``""`` for none."""
    for folder in _UNDER_WAY:
        pieces = len(list(folder.glob("*.zip")))
        if pieces:
            return f"{pieces} pieces of the work are kept; --resume goes on from there."
    return ""


def identity(ctx: Context) -> dict[str, str]:
    """Return all that decides the numbers of a run, by name."""
    files = {key: value for key, value in ctx.facts.items() if key.startswith("input.")}
    return {
        **files,
        "units": ctx.facts.get("units", ""),
        "options": json.dumps(
            {
                "curve": ctx.inputs.curve,
                "dem_units": ctx.inputs.dem_units,
                "structures": len(ctx.inputs.structures),
            }
        ),
        "settings": settings_json(ctx.settings),
        "versions": json.dumps(versions()),
    }


def open_kept(
    out: Path, streams: gpd.GeoDataFrame, ctx: Context, *, resume: bool
) -> KeptWork | None:
    """Return where a run keeps its work: what a stopped run has left, or a new folder.

    None where the run is too short for it to help; leavings of an earlier run go either way.
    """
    if resume:
        return KeptWork.go_on(out, ctx)
    is_long = float(streams.length.sum()) > 1000.0 * KEEP_FROM_KM
    kept = KeptWork(folder_of(out), ctx)
    kept.forget()
    return KeptWork.begin(out, ctx) if is_long else None


def made_or_kept(
    piece: str,
    ctx: Context,
    make: Callable[[Context], dict[str, Table]],
    without: Collection[str] = (),
    *,
    in_files: bool = False,
) -> tuple[dict[str, Table], Findings]:
    """Return the tables and findings of a piece of a run: what was kept, or made now and kept.

    Parameters
    ----------
    piece
        Its name, the same in every run.
    make
        Makes the tables, given a context whose findings are the piece's own.
    without
        Layers that come without rows where they were kept.
    in_files
        Have long columns lie in files: they cannot be written to then. What is made now is taken up
        from the disk for it.
    """
    if ctx.kept and (taken := ctx.kept.take(piece, without, in_files=in_files)):
        return taken
    made, findings = make_and_keep(piece, ctx, make)
    if in_files and ctx.kept and (taken := ctx.kept.take(piece, without, in_files=True)):
        return taken
    return made, findings


def make_and_keep(
    piece: str, ctx: Context, make: Callable[[Context], dict[str, Table]]
) -> tuple[dict[str, Table], Findings]:
    """Make a piece of a run and keep it, if this run keeps its work; see `made_or_kept`."""
    own = copy(ctx)
    own.findings = Findings()
    made = make(own)
    if ctx.kept:
        ctx.kept.keep(piece, made, own.findings)
    return made, own.findings


class KeptWork:
    """The kept work of one run.

    Safe for several threads that keep and take up different pieces. Keeping never stops a run: on
    a full disk it ends, and only going on later is lost.
    """

    def __init__(self, folder: Path, ctx: Context) -> None:
        self.folder = folder
        self._crs = ctx.crs
        self._dem = ctx.dem
        self._rows: dict[str, KeptRows] = {}
        self._bare: dict[str, Table] = {}
        self._lock = threading.Lock()
        self._is_full = False

    @classmethod
    def begin(cls, out: Path, ctx: Context) -> KeptWork:
        """Begin anew in a folder that is not there yet; where it is, nothing is kept."""
        kept = cls(folder_of(out), ctx)
        try:
            kept.folder.mkdir()
            text = json.dumps(identity(ctx), ensure_ascii=False, indent=1)
            _write_whole(kept.folder / _MARK, text.encode())
        except OSError:
            kept._is_full = True
        _UNDER_WAY.append(kept.folder)
        return kept

    @classmethod
    def go_on(cls, out: Path, ctx: Context) -> KeptWork:
        """Take up what a stopped run has left.

        Raises
        ------
        UsageError
            If there is nothing to go on from, or inputs, settings or versions are not the same.
        """
        kept = cls(folder_of(out), ctx)
        try:
            before = json.loads((kept.folder / _MARK).read_text("utf-8"))
        except (OSError, ValueError):
            raise UsageError(
                f"There is no stopped run of {out} to go on from.", hint="Run without --resume."
            ) from None
        now = identity(ctx)
        changed = [key for key in now | before if now.get(key) != before.get(key)]
        if changed:
            what = ", ".join(key.removeprefix("input.") for key in changed)
            raise UsageError(
                f"The run that was stopped had other {what}; going on would mix the two.",
                hint="Run without --resume, which starts anew.",
            )
        _UNDER_WAY.append(kept.folder)
        return kept

    def take(
        self, piece: str, without: Collection[str] = (), *, in_files: bool = False
    ) -> tuple[dict[str, Table], Findings] | None:
        """Return the tables and findings of a piece, or None where it has not been kept.

        Of the layers ``without`` it returns the columns alone; that they are as they were written
        is seen when their rows are asked for. ``in_files``: see `made_or_kept`.
        """
        try:
            with zipfile.ZipFile(self.folder / f"{piece}.zip") as file:
                about = json.loads(file.read("about.json"))
                tables = {}
                for layer, told in about["tables"].items():
                    if layer in without and layer in self._bare:
                        tables[layer] = self._bare[layer]
                        continue
                    tables[layer] = take_table(file, layer, told, self._crs, in_file=in_files)
                    if layer in without:
                        tables[layer] = self._bare[layer] = tables[layer].iloc[:0].copy()
                findings = take_table(file, "findings", about["findings"], self._crs)
            absurd = {int(number) for number in about["absurd"]}
        except _DAMAGED:
            return None  # not there, or not as it was written: this piece is made again
        self._dem.absurd.update(absurd)
        return tables, Findings.from_frame(findings)

    def has(self, piece: str) -> bool:
        """Return whether a piece lies on the disk."""
        return (self.folder / f"{piece}.zip").is_file()

    def layer(self, piece: str, layer: str) -> Table | None:
        """Return one table of a piece, or None where it is not there as it was written."""
        try:
            with zipfile.ZipFile(self.folder / f"{piece}.zip") as file:
                about = json.loads(file.read("about.json"))
                return take_table(file, layer, about["tables"][layer], self._crs)
        except _DAMAGED:
            return None

    def rows_of(self, layer: str) -> KeptRows:
        """Return which rows of a layer were left in the pieces."""
        with self._lock:
            return self._rows.setdefault(layer, KeptRows(self, layer))

    def keep(self, piece: str, tables: Mapping[str, Table], findings: Findings) -> None:
        """Keep a piece; a file is there whole or not at all."""
        if self._is_full:
            return
        made = io.BytesIO()
        with zipfile.ZipFile(made, "w", zipfile.ZIP_STORED) as file:
            about = {
                "tables": {name: put_table(file, name, table) for name, table in tables.items()},
                "findings": put_table(file, "findings", findings.to_frame(self._crs)),
                "absurd": sorted(self._dem.absurd),  # told at the end, see `reachrank.read.dem`
            }
            file.writestr("about.json", json.dumps(about))
        try:
            _write_whole(self.folder / f"{piece}.zip", made.getbuffer())
        except OSError:
            self._is_full = True

    def forget(self) -> None:
        """Delete what was kept: the run is over, or begins anew."""
        if self.folder in _UNDER_WAY:
            _UNDER_WAY.remove(self.folder)
        if (self.folder / _MARK).is_file() or self._is_ours():
            shutil.rmtree(self.folder, ignore_errors=True)

    def _is_ours(self) -> bool:
        # a folder that somebody else gave this name is left alone
        with suppress(OSError):
            return self.folder.is_dir() and not any(self.folder.iterdir())
        return False


def _write_whole(path: Path, data: bytes | memoryview) -> None:
    beside = path.with_suffix(".part")
    with beside.open("wb") as file:
        file.write(data)
    os.replace(beside, path)
