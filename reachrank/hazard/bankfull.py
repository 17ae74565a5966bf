"""Bankfull size: a field value, an attribute, or the chosen regional curve, in that order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.curves import Curve, PowerLaw, curve
from reachrank.errors import SettingsError
from reachrank.hazard.side_frame import Floats
from reachrank.settings.hazard import HazardSettings

if TYPE_CHECKING:
    from reachrank.findings import Findings

OWN = "own"


@dataclass(frozen=True)
class BankfullSize:
    """Bankfull size at n places; NaN where unknown. ``source`` is of the width: '' for none."""

    width_m: Floats
    source: NDArray[np.object_]
    mean_depth_m: Floats
    greatest_depth_m: Floats
    discharge_m3s: Floats


def chosen_curve(name: str | None, settings: HazardSettings) -> Curve | None:
    """Return the curve of that name, the user's own for ``own``, None for none."""
    if not name:
        return None
    if name != OWN:
        return curve(name)
    width, depth = _law(settings.own_curve_width, "width"), _law(settings.own_curve_depth, "depth")
    if width is None or depth is None:
        raise SettingsError(
            "Your own curve lacks its width or its depth.",
            hint="Set own_curve_width and own_curve_depth to [a, b].",
            where="hazard",
        )
    fit = settings.own_curve_fit
    unit_km2 = 1.609344**2 if settings.own_curve_units == "us" else 1.0
    return Curve(
        name=OWN,
        title="Own curve",
        units=cast("Literal['metric', 'us']", settings.own_curve_units),
        width=width,
        depth=depth,
        discharge=_law(settings.own_curve_discharge, "discharge"),
        fit_km2=(fit[0] * unit_km2, fit[1] * unit_km2) if len(fit) == 2 else (np.nan, np.nan),
        citation=settings.own_curve_citation or "given by the user",
        certainty="given by the user",
    )


def _law(ab: tuple[float, ...], what: str) -> PowerLaw | None:
    if not ab:
        return None
    if len(ab) != 2 or ab[0] <= 0:
        raise SettingsError(
            f"own_curve_{what} is {list(ab)}.",
            hint="Give two numbers, a above 0 and b, for a * area^b.",
            where="hazard",
        )
    return PowerLaw(float(ab[0]), float(ab[1]))


def bankfull_size(
    drainage_area_km2: Floats,
    attribute_width_m: Floats,
    used: Curve | None,
    settings: HazardSettings,
) -> BankfullSize:
    """Return the bankfull size at places of a drainage area; see `BankfullSize`."""
    unknown = np.full(drainage_area_km2.shape, np.nan)
    width, mean, discharge = unknown.copy(), unknown.copy(), unknown.copy()
    source = np.full(drainage_area_km2.shape, "", object)
    if used is not None:
        width, mean = used.width_m(drainage_area_km2), used.depth_m(drainage_area_km2)
        source[np.isfinite(width)] = "curve"
        fitted = used.discharge_m3s(drainage_area_km2)
        discharge = discharge if fitted is None else fitted
    has_attribute = attribute_width_m > 0
    width = np.where(has_attribute, attribute_width_m, width)
    source[has_attribute] = "attribute"
    if settings.field_bankfull_width_m > 0:
        width = np.full(width.shape, settings.field_bankfull_width_m)
        source[:] = "field"
    greatest = mean * settings.greatest_depth_factor
    if settings.field_greatest_depth_m > 0:
        greatest = np.full(width.shape, settings.field_greatest_depth_m)
        mean = greatest / settings.greatest_depth_factor
    return BankfullSize(width, source, mean, greatest, discharge)


def curve_area_km2(edges: pd.DataFrame) -> Floats:
    """Return each edge's drainage area for use in a curve: NaN where it is only a lower bound.

    Where the catchment leaves the DEM the true area is larger, so a curve would give too small a
    stream and make every bank look too high for it.
    """
    area = edges["drainage_area_km2"].to_numpy(np.float64, na_value=np.nan)
    if "is_area_cut" not in edges.columns:
        return np.asarray(area, np.float64)
    return np.where(edges["is_area_cut"].eq(True).to_numpy(), np.nan, area)


def report_curve_limits(edges: pd.DataFrame, used: Curve | None, findings: Findings) -> None:
    """Add a finding per stream whose area is cut off or lies outside of the curve's range."""
    if used is None or edges.empty:
        return
    area = curve_area_km2(edges)
    whole = edges["drainage_area_km2"].to_numpy(np.float64, na_value=np.nan)
    least, greatest = used.fit_km2
    rows_of = edges.reset_index(drop=True).groupby("stream_id").indices
    for stream_id, rows in sorted(rows_of.items()):
        if (np.isnan(area[rows]) & np.isfinite(whole[rows])).any():
            findings.add(
                "warning",
                "curve_area_cut",
                "The catchment leaves the DEM, so the drainage area is only a lower bound and the"
                f" curve {used.name} is not used there; an area column or raster would help.",
                source_layer="edges",
                source_id=str(stream_id),
            )
        beyond = area[rows][used.is_beyond_fit(area[rows])]
        if beyond.size:
            findings.add(
                "warning",
                "curve_beyond_fit",
                f"The curve {used.name} was fitted on {least:g} to {greatest:g} km²; this stream"
                f" drains {beyond.min():.3g} to {beyond.max():.3g} km², so its bankfull size is"
                " extrapolated.",
                source_layer="edges",
                source_id=str(stream_id),
            )


def report_curve_too_small(
    sections: pd.DataFrame, size: BankfullSize, used: Curve | None, findings: Findings
) -> None:
    """Add a finding per stream whose water is mostly wider than its bankfull width by the curve."""
    if used is None or sections.empty or "toe_width_m" not in sections.columns:
        return
    toe = sections["toe_width_m"].to_numpy(np.float64, na_value=np.nan)
    of_curve = np.where(size.source == "curve", size.width_m, np.nan)
    ratio = pd.Series(toe / of_curve).groupby(sections["stream_id"].to_numpy()).median()
    for stream_id, much in sorted(ratio[ratio > 1.0].items()):
        findings.add(
            "warning",
            "curve_too_small",
            f"The water is {much:.1f} times as wide as the whole bankfull channel by the curve"
            f" {used.name}: check the drainage area, its unit, and whether the curve is for here.",
            source_layer="edges",
            source_id=str(stream_id),
        )
