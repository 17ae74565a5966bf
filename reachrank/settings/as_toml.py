"""Every setting as commented TOML: text, unit, limits and source beside the value."""

from __future__ import annotations

import dataclasses
import json
import math
import re
import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

from reachrank.settings.all import Settings

_WIDTH = 96


def settings_toml(settings: Settings | None = None) -> str:
    """Return all settings as a TOML file with comments; it loads back to the same settings.

    A setting without a value (None) is commented out where that is the default.
    """
    first = "Settings of reachrank. Leave out what you do not change."
    return groups_toml(settings or Settings(), first)


def groups_toml(groups: Any, first: str) -> str:
    """Return any dataclass of groups of settings as a TOML file with comments."""
    lines = [f"# {line}" for line in textwrap.wrap(first, _WIDTH)]
    lines.append("")
    _table(groups, "", lines)
    return "\n".join(lines).rstrip() + "\n"


def _table(group: Any, path: str, lines: list[str]) -> None:
    if path:
        lines.append(f"[{path}]")
    inner: list[tuple[str, Any]] = []
    for item in dataclasses.fields(group):
        value = getattr(group, item.name)
        if path:
            blocks = _sub_tables(item.name, value)
            inner.extend(blocks)
            if not blocks:
                lines.extend(_comment(item.metadata))
                lines.append(_line(item, value))
                lines.append("")
        else:
            inner.append((item.name, value))
    for name, value in inner:
        if path and value is not None:
            lines.extend(_comment(_metadata(group, name)))
        where = f"{path}.{name}" if path else name
        if not path:
            text = (type(value).__doc__ or "").strip().split("\n")[0]
            lines.append(f"# {'-' * 20} {text}")
        _table(value, where, lines)
    if lines[-1]:
        lines.append("")


def _sub_tables(name: str, value: Any) -> list[tuple[str, Any]]:
    """Return the dataclasses that need a table of their own."""
    if dataclasses.is_dataclass(value):
        return [(_key(name), value)]
    if isinstance(value, Mapping) and value and all(map(dataclasses.is_dataclass, value.values())):
        return [(f"{_key(name)}.{_key(str(key))}", inner) for key, inner in value.items()]
    return []


def _metadata(group: Any, name: str) -> Mapping[str, Any]:
    plain = name.partition(".")[0].strip('"')
    return next((f.metadata for f in dataclasses.fields(group) if f.name == plain), {})


def _comment(metadata: Mapping[str, Any]) -> Iterator[str]:
    if not metadata:
        return
    facts = [
        f"Unit: {metadata['unit']}." if metadata["unit"] else "",
        f"Limits: {_range(metadata)}." if _range(metadata) else "",
        f"One of: {', '.join(metadata['choices'])}." if metadata["choices"] else "",
        f"Source: {metadata['source']}.",
    ]
    for text in (metadata["text"], " ".join(fact for fact in facts if fact)):
        yield from textwrap.wrap(text, _WIDTH, initial_indent="# ", subsequent_indent="# ")


def _range(metadata: Mapping[str, Any]) -> str:
    least, greatest = metadata["least"], metadata["greatest"]
    if least is None and greatest is None:
        return ""
    if greatest is None:
        return f"{least:g} or more"
    return f"{least:g} to {greatest:g}" if least is not None else f"{greatest:g} or less"


def _line(item: dataclasses.Field[Any], value: Any) -> str:
    if value is None:
        return f"# {_key(item.name)} =" if item.default is None else f'{_key(item.name)} = "none"'
    text = f"{_key(item.name)} = {_toml(value)}"
    is_table = isinstance(value, tuple) and any(isinstance(i, (tuple, list)) for i in value)
    if is_table and len(text) > _WIDTH:
        rows = "".join(f"    {_toml(row)},\n" for row in value)
        return f"{_key(item.name)} = [\n{rows}]"
    return text


def _toml(value: Any) -> str:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        value = {f.name: getattr(value, f.name) for f in dataclasses.fields(value)}
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        if math.isnan(value):
            return "nan"
        return ("inf" if value > 0 else "-inf") if math.isinf(value) else repr(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for the delete character
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        pairs = (f"{_key(str(k))} = {_toml(v)}" for k, v in value.items() if v is not None)
        return "{" + ", ".join(pairs) + "}"
    return "[" + ", ".join(_toml(item) for item in value) + "]"


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else json.dumps(name, ensure_ascii=False)
