"""Stage 8 as a file: score how likely each bank is to go on failing.

python scripts/08_hazard.py IN.gpkg --out OUT.gpkg
"""

import sys

from reachrank.__main__ import main

if __name__ == "__main__":
    sys.exit(main(["step", "hazard", *sys.argv[1:]]))
