"""Find the channel that each drawn line means."""

from reachrank.channel.stage import run

__all__ = ["run"]
