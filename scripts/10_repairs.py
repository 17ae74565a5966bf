"""Stage 10 as a file: find the lengths that need repair, with their tie-ins.

python scripts/10_repairs.py IN.gpkg --out OUT.gpkg
"""

import sys

from reachrank.__main__ import main

if __name__ == "__main__":
    sys.exit(main(["step", "repairs", *sys.argv[1:]]))
