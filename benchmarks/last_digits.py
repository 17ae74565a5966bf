"""Do last digits decide? Rank twice, the second time with far worse rounding errors.

    python benchmarks/last_digits.py STREAMS DEM [--disturb-m 1e-10] [--set SETTING=VALUE ...]

Another processor, another version of a library, feet in place of metres, a grid that begins
elsewhere: all of them change the last digits of what is computed. What is measured must not follow
from them. So every elevation of every strip, and every average along a line, is disturbed by a
tenth of a nanometre, and the scores of the reaches are held against those without. Run it on real
elevations after any change of a limit, a step or a window; what it should print is 0, 0, 0.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from types import ModuleType
from unittest.mock import patch

import numpy as np
import pandas as pd

from reachrank import rank
from reachrank.channel import line, strip

KERNELS: tuple[tuple[ModuleType, str], ...] = ((strip, "fill_strip"), (line, "gaussian_along"))
"""What fills its last argument with strips of elevations, and with averages along a line."""
SCORES = (1e-6, 0.1, 1.0)


@contextmanager
def disturbed(by_m: float, seed: int = 1) -> Iterator[None]:
    """Disturb what the kernels give, by normal deviates of this size."""
    rng = np.random.default_rng(seed)

    def about(kernel: Callable[..., None]) -> Callable[..., None]:
        def fill(*given: np.ndarray) -> None:
            kernel(*given)
            given[-1][:] += by_m * rng.standard_normal(given[-1].shape)

        return fill

    with ExitStack() as stack:
        for module, name in KERNELS:
            stack.enter_context(patch.object(module, name, about(getattr(module, name))))
        yield


def scores(options: argparse.Namespace) -> pd.Series:
    settings = dict(pair.split("=", 1) for pair in options.set)
    ranking = rank(options.streams, options.dem, settings=settings, dem_units=options.dem_units)
    return ranking.reaches.set_index("reach_id")["priority_score"]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("streams")
    parser.add_argument("dem")
    parser.add_argument("--dem-units", choices=("m", "ft", "us-ft"))
    parser.add_argument("--disturb-m", type=float, default=1e-10)
    parser.add_argument("--set", nargs="*", default=[], metavar="SETTING=VALUE")
    options = parser.parse_args()
    plain = scores(options)
    with disturbed(options.disturb_m):
        other = scores(options)
    both = plain.index.intersection(other.index)
    apart = (plain[both] - other[both]).abs()
    print(
        f"{len(plain)} reaches, {len(plain) - len(both)} of them gone, {len(other) - len(both)} new"
    )
    print(
        ", ".join(
            f"{(apart > least).sum()} scores apart by more than {least:g}" for least in SCORES
        )
    )
    print(f"farthest apart: {apart.max():.2g} of 100")


if __name__ == "__main__":
    main()
