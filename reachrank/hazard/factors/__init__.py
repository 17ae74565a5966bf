"""The factors that come with the package; they enter by the same door as any other."""

GROUP = "reachrank.factors"

BUILT_IN: dict[str, str] = {
    "bank_height": "reachrank.hazard.factors.height:BANK_HEIGHT",
    "bank_height_absolute": "reachrank.hazard.factors.height:BANK_HEIGHT_ABSOLUTE",
    "bank_angle": "reachrank.hazard.factors.angle:BANK_ANGLE",
    "bend": "reachrank.hazard.factors.bend:BEND",
    "cover": "reachrank.hazard.factors.ground:COVER",
    "soil": "reachrank.hazard.factors.ground:SOIL",
    "unit_stream_power": "reachrank.hazard.factors.flow:UNIT_STREAM_POWER",
    "cutting_down": "reachrank.hazard.factors.flow:CUTTING_DOWN",
}
"""The entry points of pyproject.toml, for a source tree that was never installed."""
