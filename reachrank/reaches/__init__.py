"""Streams cut into reaches, and a left and a right top-of-bank line for each."""

from reachrank.reaches.stage import run

__all__ = ["run"]
