"""Stage 3 as a file: find the channel that each drawn line means.

python scripts/03_channel.py IN.gpkg --out OUT.gpkg
"""

import sys

from reachrank.__main__ import main

if __name__ == "__main__":
    sys.exit(main(["step", "channel", *sys.argv[1:]]))
