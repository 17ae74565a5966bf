"""How the order changes when each weight of the hazard is halved and doubled.

Run it with ``python benchmarks/weights.py STREAMS DEM [--settings FILE] [--structures FILE]
[--roads FILE] [--cover FILE] [--soils FILE] [--dem-units m|ft|us-ft]``; prints a Markdown table.
The measurements are made once; only hazard and priority run again.
"""

from __future__ import annotations

import argparse
from dataclasses import fields, replace

import pandas as pd
from scipy.stats import spearmanr

from reachrank import hazard, priority
from reachrank.context import Context, Inputs, Tables
from reachrank.pipeline import open_inputs, rank_opened
from reachrank.settings.load import load_settings


def ranks(tables: Tables, ctx: Context, changes: dict[str, float]) -> pd.Series:
    """Return the rank of every bank with some hazard settings changed."""
    ctx.settings = replace(
        ctx.settings,
        hazard=replace(ctx.settings.hazard, **changes),
        priority=replace(ctx.settings.priority, draws=0),
    )
    done = priority.run(hazard.run(tables, ctx), ctx)
    return done["banks"].set_index("bank_id")["priority_score"].rank(ascending=False)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("streams")
    parser.add_argument("dem")
    for name in ("settings", "roads", "cover", "soils", "dem-units"):
        parser.add_argument(f"--{name}")
    parser.add_argument("--structures", action="append", default=[])
    options = parser.parse_args()
    settings = load_settings(options.settings)
    inputs = Inputs(
        streams=options.streams,
        dem=(options.dem,),
        structures=tuple(options.structures),
        roads=options.roads,
        cover=options.cover,
        soils=options.soils,
        dem_units=options.dem_units,
    )
    tables, ctx = open_inputs(inputs, settings)
    tables = rank_opened(tables, ctx)
    print(f"Share of banks at a factor's cap: {ctx.facts.get('factor_cap_share', '-')}\n")
    names = [f.name for f in fields(settings.hazard) if f.name.endswith("_weight")]
    base = ranks(tables, ctx, {})
    top = set(base.nsmallest(10).index)
    print("| Weight | Value | Halved: order kept | first ten | Doubled: order kept | first ten |")
    print("|---|---|---|---|---|---|")
    kept = ctx.settings
    for name in names:
        cells = [name.removesuffix("_weight"), f"{getattr(settings.hazard, name):.2f}"]
        for times in (0.5, 2.0):
            ctx.settings = kept
            value = min(1.0, times * getattr(settings.hazard, name))
            other = ranks(tables, ctx, {name: value})
            rho = spearmanr(base, other[base.index], nan_policy="omit").statistic
            cells += [f"{rho:.3f}", str(len(top & set(other.nsmallest(10).index)))]
        print(f"| {' | '.join(cells)} |")


if __name__ == "__main__":
    main()
