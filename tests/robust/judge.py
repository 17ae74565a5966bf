"""Run one command and say what is wrong with how it ended."""

from __future__ import annotations

import contextlib
import io
import math
import re
import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
from robust.scenario import Scenario

from reachrank.__main__ import main
from reachrank.schema import LAYERS

EXPECTED = (0, 2, 3, 4)
_DETAILS = re.compile(r"details to report are in (\S+)\.$")
_NO_NUMBER = re.compile(r"(?<![\w.])-?(nan|inf)(?![\w.])")
_ESCAPE = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")


def run(argv: list[str]) -> tuple[int, str, str]:
    """Run a command in this process; return its exit code, stdout and stderr."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(argv)
    return code, out.getvalue(), err.getvalue()


def faults(
    argv: list[str], out: Path, *, sound: Path | None = None, is_ranking: bool = True
) -> tuple[int, list[str]]:
    """Return the exit code of a command and every fault in how it ended.

    Parameters
    ----------
    out
        The file that it was to write.
    sound
        A ranked file that ``out`` must equal.
    is_ranking
        Whether ``out`` is a ranked file, whose numbers can be judged.
    """
    try:
        code, said, err = run(argv)
    except BaseException as error:  # noqa: BLE001, RUF100  (that is what is looked for)
        return 99, [f"{type(error).__name__} came through: {error}"]
    found = []
    if code not in EXPECTED:
        details = _DETAILS.search(err.strip())
        found.append(f"exit code {code}: {err.strip()[-600:]}")
        if details:
            trace = Path(details[1])
            found.append(trace.read_text(encoding="utf-8", errors="replace")[-2500:])
            trace.unlink()
    elif "Traceback" in err or "Traceback" in said:
        found.append("a traceback was shown")
    if code and not err.strip():
        found.append("failed without a word")
    if _ESCAPE.search(said.replace("\n", "").replace("\t", "")):
        found.append("control signs reached the terminal")
    shown = _NO_NUMBER.search(re.sub(r"(?m)^ *\d+  .*\[\S+\]$", "", said))  # names may say nan
    if shown:
        found.append(f"no number is shown: {said[max(0, shown.start() - 60) : shown.end() + 20]}")
    if code == 0:
        found += wrong_numbers(out) if is_ranking else []
        if sound is not None:
            found += differences(out, sound)
    elif out.exists():
        found.append("failed, but left a file")
    left = [p.name for p in out.parent.glob(".*part*")]
    return code, found + [f"left {name}" for name in left]


def wrong_numbers(path: Path) -> list[str]:
    """Return what cannot be right in a ranked file, whatever it was made from."""
    with closing(sqlite3.connect(path)) as db:
        if db.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            return ["the file is damaged"]
    found = []
    for name in ("reaches", "banks", "sections", "bends", "repairs", "exposures"):
        table = pyogrio.read_dataframe(path, layer=name)
        box = table.total_bounds
        if len(table) and not np.isfinite(box).all():
            found.append(f"{name}: a place that is no number")
        for column in LAYERS[name]:
            if column.kind == "float" and column.name in table:
                values = pd.to_numeric(table[column.name]).dropna()
                if not np.isfinite(values).all():
                    found.append(f"{name}.{column.name} is not finite")
        if "rank" in table and "priority_score" in table:
            score = table["priority_score"].to_numpy("float64", na_value=math.nan).round(6)
            rank = table["rank"].to_numpy("float64", na_value=math.nan)
            order = pd.Series(-score).rank(method="min").to_numpy()
            if not np.array_equal(order, rank, equal_nan=True):
                found.append(f"{name}: ranks do not follow the scores")
        if "reason" in table:
            for text in table["reason"].dropna():
                if _NO_NUMBER.search(re.sub(r"'.*?'", "", text)):
                    found.append(f"{name}: {text!r}")
                    break
    reaches = pyogrio.read_dataframe(path, layer="reaches")
    told = pyogrio.read_dataframe(path, layer="findings")["severity"]
    if reaches["rank"].isna().all() and not told.isin(["left_out", "warning"]).any():
        found.append("nothing is ranked and no finding says why")
    drawn = reaches.geometry.length
    metres = reaches.crs.axis_info[0].unit_conversion_factor if reaches.crs.is_projected else None
    if metres and len(reaches):
        if (abs(drawn * metres - reaches["length_m"]) > 0.02 * reaches["length_m"] + 0.5).any():
            found.append("reaches: length_m is not the length of the line")
        span = reaches["station_to_m"] - reaches["station_from_m"]
        if (abs(span - reaches["length_m"]) > 0.05 * reaches["length_m"] + 1.0).any():
            found.append("reaches: stations do not span the length")
    return found


def differences(path: Path, other: Path) -> list[str]:
    """Return the layers in which two ranked files differ, findings and run_info aside."""
    found = []
    for name in (
        "reaches",
        "banks",
        "sections",
        "bends",
        "repairs",
        "tie_ins",
        "exposures",
        "factors",
        "profiles",
    ):
        a, b = (pyogrio.read_dataframe(p, layer=name) for p in (path, other))
        if list(a.columns) != list(b.columns) or len(a) != len(b):
            found.append(f"{name}: {len(a)} rows, not {len(b)}, or other columns")
            continue
        for column in a.columns:
            x, y = a[column], b[column]
            if column == "geometry":
                x, y = x.to_wkb(), y.to_wkb()
            if not x.equals(y):
                found.append(f"{name}.{column} differs")
    return found


def rank_sound(sound: Scenario, expected: Path) -> None:
    """Rank the sound scenario, and put among its files what commands that come after it read."""
    code, _, err = run(sound.argv(expected))
    if code:
        raise RuntimeError(f"the sound scenario failed: {err}")
    for name in ("ranked.gpkg", "other.gpkg"):
        shutil.copy(expected, sound[name])
    argv = sound.argv(sound["step.gpkg"])
    run(["step", "read", *argv[1:]])


def scratch_folder() -> tempfile.TemporaryDirectory[str]:
    """Return a folder for one case that goes away with it."""
    return tempfile.TemporaryDirectory(prefix="reachrank-fuzz-", ignore_cleanup_errors=True)
