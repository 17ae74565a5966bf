"""Regional hydraulic-geometry curves: bankfull size from drainage area, y = a * A^b."""

from reachrank.curves.curve import Curve, PowerLaw
from reachrank.curves.shipped import curve, curve_names

__all__ = ["Curve", "PowerLaw", "curve", "curve_names"]
