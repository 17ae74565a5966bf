"""What a user may write for an input: a path, ``path|layername=x`` or ``path:layer``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from reachrank.errors import InputError


@dataclass(frozen=True)
class Source:
    """One input: where it is, and which layer of it (None: the only one)."""

    path: str
    layer: str | None = None

    @property
    def stem(self) -> str:
        """The file's name without folder and ending."""
        return Path(self.path).stem

    def __str__(self) -> str:
        return f"{self.path}|layername={self.layer}" if self.layer else self.path


def parse_source(spec: str) -> Source:
    r"""Split a source as typed into path and layer.

    A colon parts path and layer only where what stands before the last one is an existing file or
    folder, so that ``C:\data\streams.gpkg`` stays a path.

    Examples
    --------
    >>> parse_source("county.gpkg|layername=streams")
    Source(path='county.gpkg', layer='streams')
    >>> parse_source(r"C:\data\streams.gpkg")
    Source(path='C:\\data\\streams.gpkg', layer=None)
    """
    spec = spec.strip()
    if not spec:
        raise InputError("An input has an empty name.")
    if "|" in spec:
        path, *options = spec.split("|")
        layer = None
        for option in options:
            key, _, value = option.partition("=")
            if key.strip().lower() != "layername" or not value.strip():
                raise InputError(
                    f"The option {option!r} after the path is not understood.",
                    hint="Write path|layername=NAME.",
                    where=spec,
                )
            layer = value.strip()
        return Source(path.strip(), layer)
    if Path(spec).exists():
        return Source(spec)
    left, colon, right = spec.rpartition(":")
    if colon and right and not re.match(r"[\\/]", right) and Path(left).exists() and len(left) > 1:
        return Source(left, right)
    return Source(spec)
