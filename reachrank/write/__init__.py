"""Stage 11, write: layers into a GeoPackage, aside first, checked, then moved into place."""

from reachrank.write.place import check_target
from reachrank.write.profiles import DEFAULT_PROFILES, Profiles, read_profiles_option
from reachrank.write.ranked import Units, public_tables, write_ranked
from reachrank.write.step import write_step

__all__ = [
    "DEFAULT_PROFILES",
    "Profiles",
    "Units",
    "check_target",
    "public_tables",
    "read_profiles_option",
    "write_ranked",
    "write_step",
]
