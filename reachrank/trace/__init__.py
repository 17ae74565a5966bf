"""Draw stream lines from a DEM where there are none."""
