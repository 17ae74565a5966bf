"""What everyone who goes to a bank, or builds on a ranking, should have read."""

CAUTIONS = (
    "This ranking is a screening product, not a design: each place still needs a look on the "
    "ground, and work at a building, road, bridge, dam or utility needs a licensed engineer.",
    "Undercut banks can fall without warning: stay back from the edge, and out of the channel "
    "when the water is high.",
    "Lines may be buried in the bank: in the United States call 811 before any digging.",
    "Work in or beside a stream usually needs permits; local codes come before anything here.",
)
