"""One bank on one profile: the fit that the channel and the sections stage share."""
