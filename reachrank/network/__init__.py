"""Join stream lines into a network that runs downstream, and gather it into streams."""

from reachrank.network.paths import StreamPath, stream_paths
from reachrank.network.stage import build_edges, run

__all__ = ["StreamPath", "build_edges", "run", "stream_paths"]
