"""A coordinate reference system as people write it: a number, or EPSG and a number."""

from __future__ import annotations

from pyproj import CRS
from pyproj.exceptions import CRSError

from reachrank.errors import UsageError


def crs_of(text: str, where: str) -> CRS:
    """Return the CRS for ``26916`` or ``EPSG:26916``.

    >>> crs_of("26916", "--crs").name
    'NAD83 / UTM zone 16N'

    Raises
    ------
    UsageError
        For a text that names no CRS.
    """
    word = text.strip()
    try:
        return CRS.from_user_input(int(word) if word.isdigit() else word)
    except (CRSError, ValueError, OverflowError) as error:
        raise UsageError(
            f"{where} is {word!r}, which names no coordinate reference system.",
            hint="Write it as EPSG:26916.",
        ) from error
