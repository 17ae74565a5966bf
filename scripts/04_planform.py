"""Stage 4 as a file: measure curvature and find the bends.

python scripts/04_planform.py IN.gpkg --out OUT.gpkg
"""

import sys

from reachrank.__main__ import main

if __name__ == "__main__":
    sys.exit(main(["step", "planform", *sys.argv[1:]]))
