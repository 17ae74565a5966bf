"""How well channel, bends and banks are measured, on corridors whose true dimensions are known.

Run it with ``python benchmarks/accuracy.py [--cell 1.0] [--noise 0.10] [--seeds 5] [NAME ...]``.
Every corridor goes through the stages network, channel, planform and sections, as a county's line
would. Nothing here is timed.
"""

from __future__ import annotations

import argparse
import sys
from typing import cast

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from reachrank import channel, exposure, network, planform, reaches, sections
from reachrank.context import Context, Tables
from reachrank.pipeline import STAGES, run_stage
from reachrank.settings import Settings
from reachrank.synthetic import CORRIDORS, Corridor, make_corridor, variant
from reachrank.synthetic.stages import corridor_inputs
from reachrank.synthetic.stations import STATION_STEP_M

GOALS = """goals at 1 m cells, 0.10 m noise, channel 3 cells wide or more:
  full section within 6 m 97 % | height MAE 0.09 m, bias 0.04 m | top MAE 0.4 m
  angle MAE 5 degrees, given for 95 % | bends found 98 %, split or merged 2 %, outside 99 %
  radius median 5 %, bias 3 %, p90 12 % (skewed and short: 10 % and 20 %)"""
NEAR_M = 6.0


def measured(corridor: Corridor, settings: Settings | None = None) -> tuple[Tables, Context]:
    """Run the stages up to exposure; return all tables and the context of the run."""
    tables, ctx = corridor_inputs(corridor, settings)
    for stage in (network, channel, planform, sections, reaches, exposure):
        tables = stage.run(tables, ctx)
    return tables, ctx


def bank_errors(corridor: Corridor, table: pd.DataFrame) -> pd.DataFrame:
    """Return one row per section and side: what was found beside what is true."""
    truth = corridor.truth
    xy = table[["x_m", "y_m"]].to_numpy()
    away, at = cKDTree(np.column_stack([truth.x_m, truth.y_m])).query(xy)
    bearing = np.radians(table["bearing_deg"].to_numpy())
    left = np.column_stack([-np.cos(bearing), np.sin(bearing)])
    counts = table["quality"].to_numpy() > 0
    parts = []
    for side, sign in (("left", 1.0), ("right", -1.0)):
        bank = truth.bank(side)
        top = table[f"{side}_top_offset_m"].to_numpy()
        place = xy + sign * top[:, None] * left
        found = np.isfinite(place).all(axis=1)
        distance = np.full(len(table), np.nan)
        distance[found] = shapely.distance(shapely.points(place[found]), bank.top_line)
        parts.append(
            pd.DataFrame(
                {
                    "side": side,
                    "height_m": table[f"{side}_bank_height_m"].to_numpy(),
                    "true_height_m": bank.height_m[at],
                    "angle_deg": table[f"{side}_bank_angle_deg"].to_numpy(),
                    "true_angle_deg": bank.chord_angle_deg[at],
                    "is_bound": table[f"{side}_is_angle_lower_bound"].to_numpy(bool),
                    "top_error_m": distance,
                    "is_judged": bank.valid[at] & counts & (away < NEAR_M),
                }
            )
        )
    errors = pd.concat(parts, ignore_index=True)
    errors["true_run_m"] = errors["true_height_m"] / np.tan(np.radians(errors["true_angle_deg"]))
    return errors


def full_share(corridor: Corridor, table: pd.DataFrame) -> float:
    """Share of the valid channel with a section of two banks within 6 m."""
    truth = corridor.truth
    whole = table[
        table["left_bank_height_m"].notna()
        & table["right_bank_height_m"].notna()
        & (table["quality"] > 0)
    ]
    valid = truth.left.valid & truth.right.valid
    if whole.empty:
        return 0.0
    tree = cKDTree(whole[["x_m", "y_m"]].to_numpy())
    away, _ = tree.query(np.column_stack([truth.x_m, truth.y_m])[valid])
    return float((away < NEAR_M).mean())


def bend_errors(corridor: Corridor, tables: Tables) -> pd.DataFrame:
    """Return one row per true bend tighter than 5 widths."""
    truth = corridor.truth
    points = tables["channel_points"]
    tree = cKDTree(np.column_stack([truth.x_m, truth.y_m]))
    _, at = tree.query(points[["x_m", "y_m"]].to_numpy())
    place = truth.s_m[at]
    station = points["station_m"].to_numpy()
    found = []
    for bend in cast(pd.DataFrame, tables["bends"]).itertuples():
        limits = [
            float(np.interp(-s, -station, place))
            for s in (bend.start_station_m, bend.end_station_m, bend.apex_station_m)
        ]
        found.append((*limits, bend.radius_m, bend.outside_bank))
    rows = []
    for bend in truth.bends:
        if bend.radius_m >= 5.0 * corridor.spec.toe_width_m:
            continue
        over = [f for f in found if f[0] <= bend.apex_m <= f[1]]
        inside = [f for f in found if bend.start_m <= f[2] <= bend.end_m]
        merged = over and sum(over[0][0] <= b.apex_m <= over[0][1] for b in truth.bends) > 1
        rows.append(
            {
                "is_found": bool(over),
                "is_split_or_merged": len(inside) > 1 or bool(merged),
                "is_outside_right": bool(over) and over[0][4] == bend.outside_bank,
                "radius_error": over[0][3] / bend.radius_m - 1.0 if over else np.nan,
            }
        )
    return pd.DataFrame(
        rows, columns=["is_found", "is_split_or_merged", "is_outside_right", "radius_error"]
    )


def interval_hits(corridor: Corridor, tables: Tables) -> pd.DataFrame:
    """Return one row per bank: whether the 90 % interval of its height holds the truth."""
    truth = corridor.truth
    table = cast(pd.DataFrame, tables["sections"])
    away, at = cKDTree(np.column_stack([truth.x_m, truth.y_m])).query(
        table[["x_m", "y_m"]].to_numpy()
    )
    rows = []
    for row in cast(pd.DataFrame, tables["banks"]).itertuples():
        mine = (table["reach_id"] == row.reach_id).to_numpy() & (away < NEAR_M)
        bank = truth.bank(str(row.bank))
        places = at[mine][bank.valid[at[mine]] & truth.valid[at[mine]]]
        if len(places) >= 3 and np.isfinite(row.bank_height_m):
            error = row.bank_height_m - np.median(bank.height_m[places])
            rows.append(
                {"bank_error_m": error, "is_held": abs(error) < 1.645 * row.bank_height_se_m}
            )
    return pd.DataFrame(rows, columns=["bank_error_m", "is_held"])


def distance_errors_m(corridor: Corridor, tables: Tables) -> list[float]:
    """Return the error of each structure's distance; NaN for one that was not found."""
    found = cast(pd.DataFrame, tables["exposures"])
    errors = []
    for row in corridor.structures.itertuples():
        own = found[
            (found["structure_id"] == f"structures:{row.structure_id}")
            & (found["bank"] == row.bank)
        ]
        errors.append(
            float(own["bank_distance_m"].min()) - row.bank_distance_m if len(own) else np.nan
        )
    return errors


def failing_stations(corridor: Corridor, tables: Tables, ctx: Context) -> pd.DataFrame:
    """Return one row per station and bank: is it plainly failing, is it to be repaired."""
    for stage in STAGES[STAGES.index("hazard") : -1]:
        tables = run_stage(stage, tables, ctx)
    repairs = cast(gpd.GeoDataFrame, tables["repairs"])
    parts = []
    for side, other in (("left", "right"), ("right", "left")):
        bank = corridor.truth.bank(side)
        parts.append(
            pd.DataFrame(
                {
                    "fails": bank.is_failing,
                    "is_repaired": bank.covered(repairs.geometry[repairs["bank"] == side]),
                    "only_other_fails": corridor.truth.bank(other).is_failing & ~bank.is_failing,
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def judge(names: list[str], cell_m: float, noise_m: float, seeds: list[int]) -> pd.DataFrame:
    """Return all errors, one row per corridor in the printed table, all seeds together."""
    rows, banks, bends, held, distances, failing = [], [], [], [], [], []
    for name in names:
        of_bank, of_bend, shares = [], [], []
        width_m = CORRIDORS[name].toe_width_m
        is_wide = width_m >= 3.0 * cell_m
        is_hard = CORRIDORS[name].kind in ("kinoshita", "short")
        for seed in seeds:
            corridor = make_corridor(variant(CORRIDORS[name], cell_m=cell_m, noise_m=noise_m), seed)
            tables, ctx = measured(corridor)
            table = cast(pd.DataFrame, tables["sections"])
            of_bank.append(bank_errors(corridor, table))
            of_bend.append(bend_errors(corridor, tables))
            shares.append(full_share(corridor, table))
            held.append(interval_hits(corridor, tables).assign(is_wide=is_wide))
            distances += distance_errors_m(corridor, tables) if is_wide else []
            if corridor.spec.failing and is_wide:
                failing.append(failing_stations(corridor, tables, ctx))
        bank, bend = pd.concat(of_bank), pd.concat(of_bend)
        rows.append({"corridor": name, "toe_width_m": width_m, "full": np.mean(shares)})
        rows[-1] |= summary(bank, bend, cell_m)
        banks.append(bank.assign(corridor=name, is_wide=is_wide))
        bends.append(bend.assign(corridor=name, is_wide=is_wide, is_hard=is_hard))
        print(".", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    hits = pd.concat(held).query("is_wide")
    share = hits["is_held"].astype(float).mean()
    print(
        f"90 % interval of bank height holds the truth in {share:.1%}"
        f" of {len(hits)} banks (goal 85 to 95 %); error of a bank's median height"
        f" {hits['bank_error_m'].abs().mean():.3f} m"
    )
    print(
        f"distance from the top of bank: mean absolute error {np.nanmean(np.abs(distances)):.2f} m,"
        f" {np.isfinite(distances).sum()} of {len(distances)} structures found (goal 0.4 m, all)"
    )
    if failing:
        told = pd.concat(failing)
        both = (told["fails"] & told["is_repaired"]).sum()
        wrong_m = (told["only_other_fails"] & told["is_repaired"]).sum() * STATION_STEP_M
        print(
            "plainly failing bank and repairs: overlap"
            f" {both / (told['fails'] | told['is_repaired']).sum():.3f} (goal 0.9),"
            f" {wrong_m:.1f} m across from it (goal 0)"
        )
    bank, bend = pd.concat(banks), pd.concat(bends)
    bank, bend = bank[bank["is_wide"]], bend[bend["is_wide"].astype(bool)]
    wide = pd.DataFrame(rows).query("toe_width_m >= 3 * @cell_m")
    tall = bank[bank["true_height_m"] > 1.2]
    for label, b, e in (
        ("ALL, 3 cells wide or more", bank, bend[~bend["is_hard"].astype(bool)]),
        ("  banks over 1.2 m; skewed and short bends", tall, bend[bend["is_hard"].astype(bool)]),
    ):
        rows.append({"corridor": label, "full": wide["full"].mean()} | summary(b, e, cell_m))
    return pd.DataFrame(rows).set_index("corridor")


def summary(bank: pd.DataFrame, bend: pd.DataFrame, cell_m: float) -> dict[str, float]:
    """Return the figures of the table for some banks and bends."""
    good = bank[bank["is_judged"].astype(bool) & bank["height_m"].notna()]
    error = good["height_m"] - good["true_height_m"]
    seen = good[good["true_run_m"] >= 2.0 * cell_m]
    given = seen[~seen["is_bound"].astype(bool)]
    blind = good[good["true_run_m"] < 2.0 * cell_m]
    radius = bend["radius_error"].astype(float).dropna()
    return {
        "height_mae_m": error.abs().mean(),
        "height_bias_m": error.mean(),
        "top_mae_m": good["top_error_m"].mean(),
        "angle_mae_deg": (given["angle_deg"] - given["true_angle_deg"]).abs().mean(),
        "angle_given": len(given) / len(seen) if len(seen) else np.nan,
        "bound_marked": blind["is_bound"].mean() if len(blind) else np.nan,
        "bends": len(bend),
        "found": bend["is_found"].astype(float).mean(),
        "split_merged": bend["is_split_or_merged"].astype(float).mean(),
        "outside_right": bend.loc[bend["is_found"].astype(bool), "is_outside_right"]
        .astype(float)
        .mean(),
        "radius_median": radius.abs().median(),
        "radius_bias": radius.median(),
        "radius_p90": radius.abs().quantile(0.9),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("names", nargs="*", metavar="NAME", help="corridors; all by default")
    parser.add_argument("--cell", type=float, default=1.0, help="side of the DEM's cells, m")
    parser.add_argument("--noise", type=float, default=0.10, help="elevation noise, m")
    parser.add_argument(
        "--seeds", type=int, default=1, help="how many grounds of each corridor, judged together"
    )
    parser.add_argument("--seed", type=int, default=1, help="number of the first ground")
    options = parser.parse_args()
    seeds = list(range(options.seed, options.seed + options.seeds))
    table = judge(options.names or list(CORRIDORS), options.cell, options.noise, seeds)
    print(f"cells {options.cell} m, noise {options.noise} m, seeds {seeds[0]} to {seeds[-1]}")
    print(GOALS)
    print(table.to_string(float_format="{:.3f}".format, na_rep="-"))


if __name__ == "__main__":
    main()
