"""Settings: one frozen dataclass per stage, read from TOML, checked once at the border."""

from reachrank.settings._field import COMMON_PRACTICE, TOOL_DEFAULT, setting
from reachrank.settings.all import Settings
from reachrank.settings.channel import ChannelSettings
from reachrank.settings.exposure import ExposureSettings
from reachrank.settings.hazard import HazardSettings
from reachrank.settings.inputs import InputsSettings
from reachrank.settings.materials import MaterialsSettings
from reachrank.settings.network import NetworkSettings
from reachrank.settings.planform import PlanformSettings
from reachrank.settings.priority import PrioritySettings
from reachrank.settings.reaches import ReachesSettings
from reachrank.settings.repairs import RepairsSettings
from reachrank.settings.sections import SectionsSettings
from reachrank.settings.sediment import SedimentSettings
from reachrank.settings.work import WorkSettings

__all__ = [
    "COMMON_PRACTICE",
    "TOOL_DEFAULT",
    "ChannelSettings",
    "ExposureSettings",
    "HazardSettings",
    "InputsSettings",
    "MaterialsSettings",
    "NetworkSettings",
    "PlanformSettings",
    "PrioritySettings",
    "ReachesSettings",
    "RepairsSettings",
    "SectionsSettings",
    "SedimentSettings",
    "Settings",
    "WorkSettings",
    "setting",
]
