"""What everyone who goes to a bank, or builds on a ranking, should have read."""

CAUTIONS = (
    "This ranking is a screening product, not a design: each place still needs a look on the "
    "ground, and work at a building, road, bridge, dam or utility needs a licensed engineer.",
    "Undercut banks can fall without warning: stay back from the edge, and out of the channel "
    "when the water is high.",
    "Lines may be buried in the bank: in the United States call 811 before any digging.",
    "Work in or beside a stream usually needs permits; local codes come before anything here.",
)
WORK_CAUTIONS = (
    "Never work alone, never stand on or under an undercut face, and have nobody below while "
    "others work above; stop when the water rises or thunder is near.",
    "Wait until buried lines are marked, private ones too, before the first stake is driven.",
    "Ask the local agency in which months fish, birds or mussels forbid work here.",
    "Plant local native kinds, cut with the owner's leave, and bring nothing from ground with "
    "invasive plants; water, guard and replace them for three years.",
    "Get written leave of the owner, and talk to the neighbours: holding one bank can move the "
    "wear to another.",
)
"""What those who work at a bank by hand should have read besides."""
