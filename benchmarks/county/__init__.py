"""A generated county for the speed benchmark: a unit block of about 250 km of streams, repeated."""
