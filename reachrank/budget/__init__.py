"""The best set of repairs within an amount of money, with a proof of how good it is."""
