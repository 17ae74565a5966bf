"""Stage 1 as a file: read the inputs.

    python scripts/01_read.py STREAMS DEM... --out OUT.gpkg

and the other options of `reachrank rank`.
"""

import sys

from reachrank.__main__ import main

if __name__ == "__main__":
    sys.exit(main(["step", "read", *sys.argv[1:]]))
