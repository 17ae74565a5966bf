"""Compare the order by hazard from the DEM with the order from the true dimensions.

Run it with ``python benchmarks/order.py [--cell 1.0] [--noise 0.10]``. The same scorer is given
what the stages measured, and then the same sections with their true heights, angles and bends.
"""

from __future__ import annotations

import argparse
import sys

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree
from scipy.stats import spearmanr

from reachrank import channel, hazard, network, planform, reaches, sections
from reachrank.context import Tables
from reachrank.synthetic import CORRIDORS, Corridor, make_corridor, variant
from reachrank.synthetic.stages import corridor_inputs

GOAL = "goal: Spearman 0.9 or better, the true worst tenth found to 80 %"


def with_truth(corridor: Corridor, tables: Tables) -> Tables:
    """Return the tables with the true dimensions in place of the measured ones."""
    truth = corridor.truth
    found = tables["sections"].copy()
    tree = cKDTree(np.column_stack([truth.x_m, truth.y_m]))
    _, at = tree.query(found[["x_m", "y_m"]].to_numpy())
    for side in ("left", "right"):
        bank = truth.bank(side)
        ok = bank.valid[at] & found[f"{side}_bank_height_m"].notna().to_numpy()
        for column, values in (
            ("bank_height_m", bank.height_m),
            ("bank_angle_deg", bank.chord_angle_deg),
            ("toe_offset_m", bank.toe_offset_m),
            ("top_offset_m", bank.top_offset_m),
        ):
            name = f"{side}_{column}"
            found[name] = np.where(ok, values[at], np.nan)
        found[f"{side}_is_angle_lower_bound"] = False
        tables["sections"].loc[~ok, f"{side}_bank_height_m"] = np.nan  # judged where truth is known
    found["toe_width_m"] = truth.toe_width_m[at]
    found["curvature_per_m"] = truth.curvature_per_m[at]
    place = truth.s_m[at]
    station = found["station_m"].to_numpy()
    order = np.argsort(place)
    rows, ids = [], np.full(len(found), None, dtype=object)
    for number, bend in enumerate(truth.bends, start=1):
        name = f"T{number:04d}"
        ids[(place >= bend.start_m) & (place <= bend.end_m)] = name
        ends = np.interp([bend.start_m, bend.apex_m, bend.end_m], place[order], station[order])
        rows.append(
            {
                "bend_id": name,
                "stream_id": found["stream_id"].iloc[0],
                "start_station_m": ends[0],
                "apex_station_m": ends[1],
                "end_station_m": ends[2],
                "radius_m": bend.radius_m,
                "radius_width_ratio": bend.radius_m / corridor.spec.toe_width_m,
                "turning_deg": bend.turning_deg,
                "length_m": bend.end_m - bend.start_m,
                "outside_bank": bend.outside_bank,
                "geometry": None,
            }
        )
    found["bend_id"] = ids
    bends = tables["bends"].iloc[:0].copy()
    bends = pd.concat([pd.DataFrame(bends), pd.DataFrame(rows)], ignore_index=True)
    true = type(tables["bends"])(bends, geometry="geometry", crs=tables["bends"].crs)
    return {**tables, "sections": found, "bends": true}


def scored(corridor: Corridor) -> pd.DataFrame:
    """Return the hazard of each bank by measurement and by truth."""
    tables, ctx = corridor_inputs(corridor)
    for stage in (network, channel, planform, sections):
        tables = stage.run(tables, ctx)
    true = with_truth(corridor, tables)
    scores = []
    for given in (tables, true):
        banks = hazard.run(reaches.run(given, ctx), ctx)["banks"].set_index("bank_id")
        scores.append(banks["hazard_score"])
    return pd.DataFrame({"measured": scores[0], "true": scores[1]}).dropna()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--cell", type=float, default=1.0)
    parser.add_argument("--noise", type=float, default=0.10)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    parts = []
    for name, spec in CORRIDORS.items():
        if spec.toe_width_m < 3.0 * options.cell:
            continue
        changed = variant(spec, cell_m=options.cell, noise_m=options.noise)
        parts.append(scored(make_corridor(changed, options.seed)).assign(corridor=name))
        print(".", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    table = pd.concat(parts, ignore_index=True)
    tenth = max(1, round(len(table) / 10))
    worst = set(table.nlargest(tenth, "true").index)
    found = set(table.nlargest(tenth, "measured").index)
    rho = spearmanr(table["measured"], table["true"]).statistic
    error = (table["measured"] - table["true"]).abs().mean()
    print(f"{len(table)} banks of {len(parts)} corridors, cells {options.cell} m")
    print(f"Spearman {rho:.3f}; worst tenth found {len(worst & found) / tenth:.0%}; {GOAL}")
    print(f"mean absolute difference of hazard {error:.1f} points of 100")


if __name__ == "__main__":
    main()
