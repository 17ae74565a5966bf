"""All settings of a run: one group per stage, and those of what follows from a repair."""

from __future__ import annotations

from dataclasses import dataclass, field

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


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Every setting of a run; the names of the groups are the tables of the TOML file."""

    inputs: InputsSettings = field(default_factory=InputsSettings)
    network: NetworkSettings = field(default_factory=NetworkSettings)
    channel: ChannelSettings = field(default_factory=ChannelSettings)
    planform: PlanformSettings = field(default_factory=PlanformSettings)
    sections: SectionsSettings = field(default_factory=SectionsSettings)
    reaches: ReachesSettings = field(default_factory=ReachesSettings)
    exposure: ExposureSettings = field(default_factory=ExposureSettings)
    hazard: HazardSettings = field(default_factory=HazardSettings)
    priority: PrioritySettings = field(default_factory=PrioritySettings)
    repairs: RepairsSettings = field(default_factory=RepairsSettings)
    work: WorkSettings = field(default_factory=WorkSettings)
    materials: MaterialsSettings = field(default_factory=MaterialsSettings)
    sediment: SedimentSettings = field(default_factory=SedimentSettings)
