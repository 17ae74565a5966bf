"""Columns that lie in files: the same numbers, and a run that cannot have them does without."""

from __future__ import annotations

import errno
import tempfile
import threading
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pandas as pd
import pytest

from reachrank.running import batches, mapped
from reachrank.running.turns import short_turns

LONG = mapped.LEAST_BYTES


@pytest.mark.parametrize("values", [
    np.linspace(-1.0, 1.0, LONG // 8), np.arange(LONG // 8), np.arange(LONG) % 3 == 0,
    np.linspace(0.0, 1.0, LONG // 4)[::2], np.linspace(0.0, 1.0, LONG // 8).reshape(-1, 2),
])  # fmt: skip
def test_a_column_in_a_file_is_the_same_and_stays_so_when_it_is_let_go(values) -> None:
    kept = mapped.mapped(values)
    assert kept is not values
    assert kept.dtype == values.dtype
    for _ in range(2):
        assert np.array_equal(kept, values)
        mapped.let_go()
    with pytest.raises(ValueError, match="read-only"):
        kept[0] = 0
    assert pd.DataFrame(kept, copy=False).to_numpy().sum() == values.sum()


def test_short_columns_those_of_objects_and_repeated_ones_stay_as_they_are() -> None:
    repeated = np.broadcast_to(np.zeros(LONG)[:, None], (LONG, 2))
    for values in (np.zeros(LONG // 8 - 1), np.full(LONG, None, object), repeated):
        assert mapped.mapped(values) is values


def test_where_the_disk_is_full_columns_stay_in_memory(monkeypatch) -> None:
    def full(**_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(tempfile, "TemporaryFile", full)
    values = np.zeros(LONG)
    assert mapped.mapped(values) is values


def test_the_columns_of_a_long_run_lie_in_files(monkeypatch) -> None:
    monkeypatch.setattr(batches, "LONG_ROWS", 1000)
    rows = LONG // 8
    parts = [
        pd.DataFrame({
            "stream_id": np.repeat(np.array([name], object), rows),
            "height_m": np.random.default_rng(k).normal(size=rows),
        })
        for k, name in enumerate(("S2", "S1"))
    ]  # fmt: skip
    wanted = pd.concat([parts[1], parts[0]], ignore_index=True)
    joined = batches._joined(list(parts))
    pd.testing.assert_frame_equal(joined, wanted)
    assert not joined["height_m"].to_numpy().flags.writeable
    assert isinstance(joined["height_m"].to_numpy().base, np.ndarray)


def test_what_one_batch_alone_has_made_can_be_written_to() -> None:
    def made() -> pd.DataFrame:
        columns = {"stream_id": "S1", "height_m": mapped.mapped(np.zeros(LONG))}
        return pd.DataFrame(columns, copy=False)

    part = made()
    with pytest.raises(ValueError, match="read-only"):
        part.loc[0, "height_m"] = 1.0
    joined = batches._joined([made()])
    joined.loc[0, "height_m"] = 1.0  # as a stage may do with a table of its own
    assert joined["height_m"].sum() == 1.0


def test_maps_come_and_go_in_other_threads_while_all_are_let_go() -> None:
    """A look at elevations lets go of all maps, while another thread maps more of the file."""
    stop = threading.Event()

    def come_and_go(number: int) -> None:
        with tempfile.TemporaryFile() as file:
            file.write(b"x" * 100)
            file.flush()
            while not stop.is_set():
                held = [mapped.map_of(file) for _ in range(50 + number)]
                del held

    with short_turns(), ThreadPoolExecutor(2) as pool:
        working = [pool.submit(come_and_go, number) for number in range(2)]
        try:
            for _ in range(300):
                mapped.let_go()
        finally:
            stop.set()
    assert [one.result() for one in working] == [None, None]
