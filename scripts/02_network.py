"""Stage 2 as a file: join the lines into a network, direct it, and find drainage areas.

python scripts/02_network.py IN.gpkg --out OUT.gpkg
"""

import sys

from reachrank.__main__ import main

if __name__ == "__main__":
    sys.exit(main(["step", "network", *sys.argv[1:]]))
