"""What people are told of a column: in the file, by the command `columns`, in labels."""

from __future__ import annotations

import re
from dataclasses import dataclass

from reachrank.schema import Column
from reachrank.units import us_name, us_unit

_COLUMN_IN_TEXT = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)*_(?:m|m2|m3|km2)\b")
_SIDES = {"bank", "outside_bank", "worst_bank"}


@dataclass(frozen=True)
class Description:
    """What a reader is told of one column as it stands in the file."""

    column: str
    title: str
    text: str
    constraint: str | None


def description(column: Column, *, us: bool = False) -> Description:
    """Return what the file, the command `columns` and labels say of a column.

    >>> from reachrank.schema import BANKS
    >>> description(BANKS["length_m"], us=True).title
    'Length (ft)'
    """
    unit = us_unit(column.unit) if us else column.unit
    title = column.title
    if us and unit != column.unit:
        title = title.replace(f"({column.unit})", f"({unit})")
    told = f"{column.meaning} Unit: {unit}." if unit else column.meaning
    return Description(
        us_name(column.name)[0] if us else column.name,
        title,
        _COLUMN_IN_TEXT.sub(lambda match: us_name(match[0])[0], told) if us else told,
        _constraint_name(column),
    )


def _constraint_name(column: Column) -> str | None:
    if column.name in _SIDES:
        return "bank_side"
    if column.least is None or column.greatest is None:  # the standard's ranges need both ends
        return None
    return f"from_{column.least:g}_to_{column.greatest:g}".replace("-", "minus_").replace(".", "_")
