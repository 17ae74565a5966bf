"""Stage 7 as a file: find the structures near each bank.

python scripts/07_exposure.py IN.gpkg --out OUT.gpkg
"""

import sys

from reachrank.__main__ import main

if __name__ == "__main__":
    sys.exit(main(["step", "exposure", *sys.argv[1:]]))
