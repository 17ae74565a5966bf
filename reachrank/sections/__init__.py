"""Cross-sections: toe and top on each side, height, angle, and how sure."""

from reachrank.sections.stage import run

__all__ = ["run"]
