"""Settings from TOML and back: checked once, all faults listed at once, each with its path."""

from __future__ import annotations

import dataclasses
import difflib
import json
import math
import tomllib
import types
import typing
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from reachrank.errors import ReachrankError, SettingsError
from reachrank.settings.all import Settings

_NONE_WORD = "none"


def load_settings(
    path: str | Path | None = None, overrides: Mapping[str, Any] | None = None
) -> Settings:
    """Read settings from a TOML file and put overrides on top.

    Parameters
    ----------
    path
        A TOML file; None means the defaults.
    overrides
        Values that win over the file: groups of keys, or keys with dots.

    Raises
    ------
    SettingsError
        Once, with every unknown key, wrong type and value out of its limits.

    Examples
    --------
    >>> load_settings(None, {"inputs.least_line_m": 0.5}).inputs.least_line_m
    0.5
    """
    where = "" if path is None else str(path)
    data: dict[str, Any] = {} if path is None else read_toml(path)
    for key, value in (overrides or {}).items():
        _put(data, key.split("."), value)
    return _settings(data, where)


def read_toml(path: str | Path) -> dict[str, Any]:
    """Read a TOML file; what is wrong with it is a `SettingsError`."""
    where = str(path)
    try:
        return tomllib.loads(Path(path).read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise SettingsError(
            f"The settings file cannot be read: {error.strerror}.", where=where
        ) from error
    except (ValueError, RecursionError) as error:  # letters, digits or brackets without end, too
        raise SettingsError(f"This is not TOML: {error}.", where=where) from error


def settings_json(settings: Settings) -> str:
    """Return the settings as one line of JSON, as they are kept in a ranked file."""
    return json.dumps(dataclasses.asdict(settings), ensure_ascii=False, separators=(",", ":"))


def settings_from_json(text: str) -> Settings:
    """Read settings that `settings_json` wrote; checked like a settings file.

    Examples
    --------
    >>> settings_from_json(settings_json(Settings())) == Settings()
    True
    """
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise SettingsError(f"The stored settings are not JSON: {error}.") from error
    if not isinstance(data, dict):
        raise SettingsError("The stored settings are not a JSON object.")
    return _settings(data, "stored settings")


def parse_override(text: str) -> tuple[str, Any]:
    """Split ``group.key=value`` as typed on a command line; the value is TOML, else a word.

    Examples
    --------
    >>> parse_override("inputs.least_line_m=0.5"), parse_override("inputs.area_attribute=AREA")
    (('inputs.least_line_m', 0.5), ('inputs.area_attribute', 'AREA'))
    """
    key, equals, value = text.partition("=")
    if not equals or not key.strip():
        raise SettingsError(
            f"{text!r} is not a setting.", hint="Write it as group.key=value, e.g. a.b=3."
        )
    try:
        return key.strip(), tomllib.loads(f"value = {value.strip()}")["value"]
    except (ValueError, RecursionError):
        return key.strip(), value.strip()


def _settings(data: Mapping[str, Any], where: str) -> Settings:
    return checked_groups(Settings, data, where)


_T = typing.TypeVar("_T")


def checked_groups(
    kind: type[_T],
    data: Mapping[str, Any],
    where: str,
    *,
    all_of_them: str = "`reachrank settings` prints every setting with its limits.",
) -> _T:
    """Make any dataclass of groups of settings from a mapping; all faults are raised at once."""
    faults: list[str] = []
    made = _build(kind, data, "", faults)
    if faults:
        count = f"{len(faults)} settings are" if len(faults) > 1 else "One setting is"
        raise SettingsError(
            f"{count} wrong:\n" + "\n".join(f"  {fault}" for fault in faults),
            hint=f"\n{all_of_them}",
            where=where,
        )
    return typing.cast(_T, made)


def _put(data: dict[str, Any], keys: list[str], value: Any) -> None:
    if isinstance(value, Mapping) and len(keys) == 1 and isinstance(data.get(keys[0]), Mapping):
        for key, inner in value.items():
            _put(data[keys[0]], [str(key)], inner)
        return
    if len(keys) == 1:
        data[keys[0]] = dict(value) if isinstance(value, Mapping) else value
        return
    inner = data.get(keys[0])
    data[keys[0]] = dict(inner) if isinstance(inner, Mapping) else {}
    _put(data[keys[0]], keys[1:], value)


def _build(kind: type, data: Any, path: str, faults: list[str]) -> object | None:
    """Make one dataclass from a mapping; what is wrong goes to ``faults``."""
    before = len(faults)
    if not isinstance(data, Mapping):
        faults.append(f"{path}: must be a table of settings, not {_show(data)}.")
        return None
    hints = typing.get_type_hints(kind)
    known = {item.name: item for item in dataclasses.fields(kind)}
    values: dict[str, Any] = {}
    for key, value in data.items():
        where = f"{path}.{key}" if path else str(key)
        if key not in known:
            faults.append(f"{where}: there is no such setting.{_did_you_mean(str(key), known)}")
            continue
        values[key] = _value(hints[key], value, where, known[key].metadata, faults)
    if len(faults) > before:
        return None
    try:
        return typing.cast(object, kind(**values))
    except (ValueError, TypeError) as error:
        faults.append(f"{path or 'settings'}: {error}")
    except ReachrankError as error:
        faults.append(f"{path or 'settings'}: {error.message}")
    return None


def _value(hint: Any, value: Any, path: str, metadata: Mapping[str, Any], faults: list[str]) -> Any:
    """Turn one value of a file into what the setting holds."""
    kinds = _alternatives(hint)
    optional = type(None) in kinds
    if optional and (value is None or (value == _NONE_WORD and str not in kinds)):
        return None
    inner = [kind for kind in kinds if kind is not type(None)]
    if len(inner) == 1 and dataclasses.is_dataclass(inner[0]):
        return _build(typing.cast(type, inner[0]), value, path, faults)
    origin, parts = typing.get_origin(inner[0]), typing.get_args(inner[0])
    is_table = origin in (dict, Mapping)
    if len(inner) == 1 and parts and dataclasses.is_dataclass(parts[-1 if is_table else 0]):
        of = typing.cast(type, parts[-1 if is_table else 0])
        if is_table and isinstance(value, Mapping):
            return {k: _build(of, v, f"{path}.{k}", faults) for k, v in value.items()}
        if origin is tuple and isinstance(value, (list, tuple)):
            return tuple(_build(of, v, f"{path}[{i}]", faults) for i, v in enumerate(value))
    try:
        # strict JSON: "5" is not a number, 5 is a float, an array is a tuple
        text = json.dumps(value, default=str)
        made = TypeAdapter(hint).validate_json(text, strict=True)
    except ValidationError as error:
        faults.extend(
            f"{'.'.join([path, *(str(p) for p in e['loc'] if isinstance(p, int))])}: "
            f"{_show(e['input'])}: {e['msg'][0].lower()}{e['msg'][1:]}."
            for e in error.errors()
        )
        return None
    faults.extend(_out_of_limits(made, path, metadata))
    return made


def _out_of_limits(value: Any, path: str, metadata: Mapping[str, Any]) -> list[str]:
    if isinstance(value, Mapping):
        items = [(f"{path}.{key}", item) for key, item in value.items()]
    elif isinstance(value, tuple):
        items = [(f"{path}[{i}]", item) for i, item in enumerate(value)]
    else:
        items = [(path, value)]
    least, greatest = metadata.get("least"), metadata.get("greatest")
    choices = metadata.get("choices") or ()
    faults = []
    for where, item in items:
        if isinstance(item, str) and choices and item not in choices:
            faults.append(f"{where}: {item!r} is not one of {', '.join(choices)}.")
        if isinstance(item, bool) or not isinstance(item, (int, float)):
            continue
        if math.isnan(item):
            faults.append(f"{where}: must be a number, not nan.")
        elif (least is not None and item < least) or (greatest is not None and item > greatest):
            faults.append(f"{where}: {item} is out of its limits, {_limits(metadata)}.")
    return faults


def _alternatives(hint: Any) -> tuple[Any, ...]:
    is_union = typing.get_origin(hint) in (typing.Union, types.UnionType)
    return typing.get_args(hint) if is_union else (hint,)


def _limits(metadata: Mapping[str, Any]) -> str:
    least, greatest, unit = metadata.get("least"), metadata.get("greatest"), metadata.get("unit")
    unit = f" {unit}" if unit else ""
    if least is None and greatest is None:
        return ""
    if greatest is None:
        return f"at least {least:g}{unit}"
    if least is None:
        return f"at most {greatest:g}{unit}"
    return f"{least:g} to {greatest:g}{unit}"


def _did_you_mean(key: str, known: Mapping[str, Any]) -> str:
    groups = {
        name: dataclasses.fields(of)
        for name, of in typing.get_type_hints(Settings).items()
        if dataclasses.is_dataclass(of)
    }
    home = [f"{group}.{key}" for group, fields in groups.items() for f in fields if f.name == key]
    near = home or difflib.get_close_matches(key, known, n=1, cutoff=0.6)
    return f" Did you mean {near[0]}?" if near else ""


def _show(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
