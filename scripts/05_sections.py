"""Stage 5 as a file: cut cross-sections and measure both banks.

python scripts/05_sections.py IN.gpkg --out OUT.gpkg
"""

import sys

from reachrank.__main__ import main

if __name__ == "__main__":
    sys.exit(main(["step", "sections", *sys.argv[1:]]))
