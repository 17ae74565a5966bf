"""Stage 11 as a file: write the ranked GeoPackage.

python scripts/11_write.py IN.gpkg --out RANKED.gpkg
"""

import sys

from reachrank.__main__ import main

if __name__ == "__main__":
    sys.exit(main(["step", "write", *sys.argv[1:]]))
