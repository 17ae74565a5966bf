"""The ranking as a spreadsheet: one sheet for each layer, and what its columns mean."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reachrank.table.csv_file import write_csv
    from reachrank.table.workbook import write_workbook

__all__ = ["write_csv", "write_workbook"]

_HOME = {"write_csv": "csv_file", "write_workbook": "workbook"}


def __getattr__(name: str) -> Any:
    # Late, so that `--help` does not wait for the geometry libraries.
    if name in _HOME:
        from importlib import import_module  # noqa: PLC0415

        return getattr(import_module(f"reachrank.table.{_HOME[name]}"), name)
    raise AttributeError(f"module 'reachrank.table' has no attribute {name!r}")
