"""Stage 6 as a file: split the streams into reaches and draw the top-of-bank lines.

python scripts/06_reaches.py IN.gpkg --out OUT.gpkg
"""

import sys

from reachrank.__main__ import main

if __name__ == "__main__":
    sys.exit(main(["step", "reaches", *sys.argv[1:]]))
