"""Tell many features of one kind as findings, one each up to a limit and the rest as one."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry.base import BaseGeometry

from reachrank.findings import Findings, Severity

LIMIT = 500
"""So many features of one layer and kind are told one by one."""


def tell_each(
    findings: Findings,
    severity: Severity,
    code: str,
    text: str,
    ids: Sequence[str],
    *,
    source_layer: str,
    geometries: Sequence[BaseGeometry | None] | None = None,
) -> None:
    """Add one finding for each feature; beyond `LIMIT`, one that says how many more there are.

    Parameters
    ----------
    text
        The same sentence for all.
    ids
        The features, in an order that does not depend on the order of the input.
    geometries
        Where they are, in the working CRS.
    """
    for i, source_id in enumerate(ids[:LIMIT]):
        findings.add(
            severity,
            code,
            text,
            source_layer=source_layer,
            source_id=source_id,
            geometry=geometries[i] if geometries is not None else None,
        )
    more = len(ids) - LIMIT
    if more > 0:
        findings.add(
            severity,
            code,
            f"{text} The same holds for {more} more features of this layer.",
            source_layer=source_layer,
        )
