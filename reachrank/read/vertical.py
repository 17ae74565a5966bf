"""The unit of the DEM's elevations: declared, told by the user, or refused to be guessed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from reachrank.errors import InputError
from reachrank.findings import Findings
from reachrank.read.crs import WorkingCrs, axis_unit_m, vertical_unit
from reachrank.read.rasters import RasterFile
from reachrank.units import LENGTH_TO_M, LENGTH_WORDS, LengthUnit, length_unit

_HINT = "Say --dem-units m, ft (international feet) or us-ft (U.S. survey feet)."


@dataclass(frozen=True)
class VerticalUnit:
    """The unit of elevations and where it is known from."""

    unit: LengthUnit
    source: Literal["coordinate reference system", "raster band", "--dem-units", "assumed"]

    @property
    def z_to_m(self) -> float:
        """Metres per unit."""
        return LENGTH_TO_M[self.unit]

    @property
    def words(self) -> str:
        """The unit in words."""
        return LENGTH_WORDS[self.unit]


def elevation_unit(
    files: Sequence[RasterFile],
    crs: WorkingCrs,
    told: LengthUnit | None,
    findings: Findings,
) -> VerticalUnit:
    """Decide the unit of the DEM's elevations.

    What the user tells wins over what the file declares, with a warning where they differ: files
    that were converted without changing their CRS are common, and the user can look. Without
    either, metres are assumed in a metric CRS with a warning; in feet or degrees nothing is.

    Raises
    ------
    InputError
        Where the files differ among themselves or nothing tells the unit in a CRS that is not
        metric.
    """
    declared = _declared(files, told)
    if told is not None:
        if declared is not None and declared.unit != told:
            findings.add(
                "warning",
                "vertical_unit_overruled",
                f"The DEM declares elevations in {declared.words} ({declared.source}); they are "
                f"taken as {LENGTH_WORDS[told]}, as told by --dem-units.",
                source_layer="dem",
            )
        return VerticalUnit(told, "--dem-units")
    if declared is not None:
        return declared
    if crs.source.is_projected and axis_unit_m(crs.source) == 1.0:
        findings.add(
            "warning",
            "vertical_unit_assumed",
            "The DEM does not declare the unit of its elevations; metres are assumed, because its "
            f"coordinates are in metres. {_HINT}",
            source_layer="dem",
        )
        return VerticalUnit("m", "assumed")
    raise InputError(
        f"The DEM's coordinates are in {crs.unit_words} and it does not declare the unit of its "
        "elevations.",
        hint=_HINT,
        where=files[0].shown,
    )


def _declared(files: Sequence[RasterFile], told: LengthUnit | None) -> VerticalUnit | None:
    kinds = [(_of_file(file, told), file) for file in files]
    first, first_file = kinds[0]
    for kind, file in kinds:
        if told is None and (kind and kind.unit) != (first and first.unit):
            raise InputError(
                "The DEM's files differ in the unit of elevation: "
                f"{first.words if first else 'not declared'} in {first_file.shown}, "
                f"{kind.words if kind else 'not declared'} in {file.shown}.",
                hint=f"Convert them to one unit, or where all are in one: {_HINT}",
            )
    return first


def _of_file(file: RasterFile, told: LengthUnit | None) -> VerticalUnit | None:
    by_band = length_unit(file.unit_word)
    if file.unit_word and by_band is None and told is None:
        raise InputError(
            f"The DEM's elevations are in {file.unit_word!r}, which is neither metres nor feet.",
            hint=_HINT,
            where=file.shown,
        )
    try:
        by_crs = vertical_unit(file.crs)
    except InputError:
        if told is None:
            raise
        by_crs = None
    # A band that says so speaks of the numbers themselves.
    if by_band is not None:
        return VerticalUnit(by_band, "raster band")
    return VerticalUnit(by_crs, "coordinate reference system") if by_crs else None
