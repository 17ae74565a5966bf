"""How a setting states its default, unit, reason and source."""

from __future__ import annotations

from dataclasses import field
from typing import Any

TOOL_DEFAULT = "tool default, no published limit"
COMMON_PRACTICE = "common practice, no source"


def setting(
    default: Any,
    text: str,
    *,
    unit: str = "",
    source: str = TOOL_DEFAULT,
    least: float | None = None,
    greatest: float | None = None,
    choices: tuple[str, ...] = (),
) -> Any:
    """Declare one setting of a frozen dataclass.

    Parameters
    ----------
    default
        The value without a settings file. Tuples and dicts are copied for each instance.
    text
        What it does and why the default is what it is, in one or two sentences.
    unit
        The unit of the value; ``""`` for words and counts.
    source
        Where the default comes from.
    least, greatest
        Limits, both allowed themselves.
    choices
        The words allowed, for a word.
    """
    metadata = {
        "text": text,
        "unit": unit,
        "source": source,
        "least": least,
        "greatest": greatest,
        "choices": choices,
    }
    if isinstance(default, dict):
        return field(default_factory=lambda: dict(default), metadata=metadata)
    return field(default=default, metadata=metadata)
