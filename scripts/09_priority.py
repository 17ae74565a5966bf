"""Stage 9 as a file: score, rank and say why.

python scripts/09_priority.py IN.gpkg --out OUT.gpkg
"""

import sys

from reachrank.__main__ import main

if __name__ == "__main__":
    sys.exit(main(["step", "priority", *sys.argv[1:]]))
