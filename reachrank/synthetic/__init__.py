"""Terrain with known truth, for tests, for measuring accuracy, and for the demonstration county."""

from reachrank.synthetic.catalogue import CORRIDORS
from reachrank.synthetic.corridor import Corridor, make_corridor
from reachrank.synthetic.planform import Bend, Planform
from reachrank.synthetic.spec import (
    CorridorSpec,
    Crossing,
    Failing,
    Hole,
    House,
    Pond,
    variant,
)
from reachrank.synthetic.truth import BankTruth, CorridorTruth

__all__ = [
    "CORRIDORS",
    "BankTruth",
    "Bend",
    "Corridor",
    "CorridorSpec",
    "CorridorTruth",
    "Crossing",
    "Failing",
    "Hole",
    "House",
    "Planform",
    "Pond",
    "make_corridor",
    "variant",
]
