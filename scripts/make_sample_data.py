"""Make `sample_data/` anew: the invented county with its truth."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from reachrank.synthetic.county import write_county


def main() -> None:
    folder = Path(__file__).resolve().parent.parent / "sample_data"
    written = write_county(
        folder,
        overwrite=True,
        progress=lambda fraction, message: print(f"{fraction:4.0%} {message}", file=sys.stderr),
    )
    size_mb = sum(path.stat().st_size for path in written) / 1e6
    print(f"{len(written)} files, {size_mb:.1f} MB in {folder}", file=sys.stderr)


if __name__ == "__main__":
    main()
