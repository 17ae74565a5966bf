"""Curvature, inflections, bends and their outside banks."""

from reachrank.planform.stage import run

__all__ = ["run"]
