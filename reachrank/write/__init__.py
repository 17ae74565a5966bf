"""Stage 11, write: layers into a GeoPackage, aside first, checked, then moved into place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reachrank.write.place import check_target
    from reachrank.write.profiles import DEFAULT_PROFILES, Profiles, read_profiles_option
    from reachrank.write.ranked import Units, write_ranked
    from reachrank.write.step import write_step

__all__ = [
    "DEFAULT_PROFILES",
    "Profiles",
    "Units",
    "check_target",
    "read_profiles_option",
    "write_ranked",
    "write_step",
]

_HOME = {
    "DEFAULT_PROFILES": "profiles",
    "Profiles": "profiles",
    "Units": "ranked",
    "check_target": "place",
    "read_profiles_option": "profiles",
    "write_ranked": "ranked",
    "write_step": "step",
}


def __getattr__(name: str) -> Any:
    # Late, so that a sentence in feet does not wait for the libraries that write files.
    if name in _HOME:
        from importlib import import_module  # noqa: PLC0415

        return getattr(import_module(f"reachrank.write.{_HOME[name]}"), name)
    raise AttributeError(f"module 'reachrank.write' has no attribute {name!r}")
