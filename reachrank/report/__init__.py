"""Short texts for people: the ranking in a few lines, cautions, what to open next."""
