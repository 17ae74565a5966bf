"""Named corridors that span the range of small streams."""

from __future__ import annotations

from reachrank.synthetic.spec import (
    CorridorSpec,
    Crossing,
    Failing,
    Hole,
    House,
    Pond,
)

CORRIDORS: dict[str, CorridorSpec] = {
    "sine_w5": CorridorSpec(),
    "sine_w2_5_low": CorridorSpec(
        toe_width_m=2.5, height_m=0.7, radius_width=3.0, omega_deg=60.0, length_m=600.0,
        noise_m=0.05,
    ),
    "sine_w3_tight": CorridorSpec(
        toe_width_m=3.0, height_m=1.0, radius_width=1.5, omega_deg=70.0, length_m=600.0,
        inside_angle_deg=25.0,
    ),
    "shallow_w4": CorridorSpec(
        toe_width_m=4.0, height_m=0.4, radius_width=3.0, omega_deg=65.0, length_m=700.0,
        outside_angle_deg=45.0, inside_angle_deg=12.0, noise_m=0.05,
    ),
    "kinoshita_w5": CorridorSpec(
        kind="kinoshita", omega_deg=110.0, radius_width=2.5, height_m=1.8, noise_m=0.06,
    ),
    "kinoshita_w10_noisy": CorridorSpec(
        kind="kinoshita", toe_width_m=10.0, height_m=2.5, omega_deg=110.0, radius_width=2.0,
        length_m=1200.0, noise_m=0.12,
    ),
    "skewed_w6": CorridorSpec(
        kind="kinoshita", toe_width_m=6.0, omega_deg=85.0, radius_width=2.0, height_m=1.6,
        line_reversed=True,
    ),
    "short_bends_w4": CorridorSpec(
        kind="short", toe_width_m=4.0, height_m=1.2, radius_width=2.0, omega_deg=30.0,
        line_step_m=(3.0, 20.0),
    ),
    "short_bends_w8": CorridorSpec(
        kind="short", toe_width_m=8.0, height_m=2.0, radius_width=2.5, omega_deg=40.0,
        length_m=1000.0, line_wander_widths=1.5, line_step_m=(6.0, 20.0),
    ),
    "arcs_w6": CorridorSpec(
        kind="arcs", toe_width_m=6.0, height_m=1.5, radius_width=3.0, omega_deg=60.0,
        length_m=900.0,
    ),
    "irregular_w5_plants": CorridorSpec(
        kind="irregular", height_m=1.5, radius_width=2.0, omega_deg=75.0, plants_m=0.3,
        noise_m=0.08, line_pieces=5,
    ),
    "irregular_w10_rounded": CorridorSpec(
        kind="irregular", toe_width_m=10.0, height_m=2.5, radius_width=2.0, omega_deg=70.0,
        length_m=1300.0, face="rounded",
    ),
    "neck_w5": CorridorSpec(
        kind="sine", height_m=1.5, radius_width=4.0, omega_deg=116.0, length_m=1000.0,
        outside_angle_deg=65.0, line_wander_widths=0.6,
    ),
    "rounded_w6": CorridorSpec(
        toe_width_m=6.0, height_m=1.8, radius_width=3.0, face="rounded", outside_angle_deg=50.0,
    ),
    "block_w8": CorridorSpec(
        toe_width_m=8.0, height_m=2.5, radius_width=2.5, face="block", outside_angle_deg=65.0,
        length_m=900.0,
    ),
    "bar_w12": CorridorSpec(
        toe_width_m=12.0, height_m=2.5, radius_width=2.5, inside_angle_deg=10.0,
        inside_height_frac=0.45, length_m=1300.0, omega_deg=65.0, noise_m=0.06,
    ),
    "valley_side_w5": CorridorSpec(
        height_m=1.5, radius_width=3.0, valley_side=("left", 3.0, 0.30), noise_m=0.08,
    ),
    "valley_side_w8": CorridorSpec(
        kind="irregular", toe_width_m=8.0, height_m=1.8, radius_width=3.0, omega_deg=60.0,
        valley_side=("right", 5.0, 0.35), length_m=1100.0,
    ),
    "ditch_w4": CorridorSpec(
        toe_width_m=4.0, height_m=1.1, radius_width=3.0, omega_deg=50.0, ditch=("right", 4.0),
        length_m=700.0,
    ),
    "levee_w10": CorridorSpec(
        toe_width_m=10.0, height_m=2.2, radius_width=4.0, omega_deg=55.0, levee_fall_ratio=0.05,
        ground_slope_ratio=0.0, length_m=1400.0, inside_height_frac=0.85,
    ),
    "wide_w15": CorridorSpec(
        toe_width_m=15.0, height_m=4.0, radius_width=3.0, omega_deg=55.0, length_m=1400.0,
        outside_angle_deg=70.0,
    ),
    "gentle_w15": CorridorSpec(
        toe_width_m=15.0, height_m=3.0, radius_width=6.0, omega_deg=32.0, length_m=1500.0,
        outside_angle_deg=45.0,
    ),
    "rough_w8": CorridorSpec(
        kind="irregular", toe_width_m=8.0, height_m=2.0, omega_deg=70.0, length_m=1100.0,
        toe_roughness_frac=0.034,
    ),
    "rough_w15": CorridorSpec(
        toe_width_m=15.0, height_m=3.0, radius_width=3.0, omega_deg=60.0, length_m=1500.0,
        toe_roughness_frac=0.034,
    ),
    "incised_straight_w3": CorridorSpec(
        kind="straight", toe_width_m=3.0, height_m=2.5, outside_angle_deg=60.0, length_m=600.0,
        ground_slope_ratio=0.02,
    ),
    "failing_w6": CorridorSpec(
        toe_width_m=6.0, height_m=0.8, radius_width=4.0, omega_deg=40.0, length_m=1000.0,
        outside_angle_deg=28.0, inside_angle_deg=18.0, inside_height_frac=0.9,
        failing=(
            Failing(side="left", from_m=150.0, to_m=230.0, height_m=2.4, angle_deg=70.0),
            Failing(side="right", from_m=320.0, to_m=360.0, height_m=2.0, angle_deg=65.0),
            Failing(side="left", from_m=500.0, to_m=625.0, height_m=2.8, angle_deg=72.0),
            Failing(side="right", from_m=760.0, to_m=830.0, height_m=2.2, angle_deg=68.0),
        ),
        houses=(
            House(at_m=190.0, side="left", distance_m=6.0),
            House(at_m=340.0, side="right", distance_m=12.0),
            House(at_m=560.0, side="left", distance_m=25.0),
            House(at_m=700.0, side="right", distance_m=18.0, structure_class="shed"),
        ),
    ),
    "failing_w12": CorridorSpec(
        toe_width_m=12.0, height_m=0.8, radius_width=4.0, omega_deg=40.0, length_m=1600.0,
        outside_angle_deg=28.0, inside_angle_deg=18.0, inside_height_frac=0.9,
        failing=(
            Failing(side="left", from_m=200.0, to_m=330.0, height_m=2.8, angle_deg=70.0),
            Failing(side="right", from_m=600.0, to_m=670.0, height_m=2.4, angle_deg=65.0),
            Failing(side="left", from_m=760.0, to_m=960.0, height_m=3.2, angle_deg=72.0),
            Failing(side="right", from_m=1200.0, to_m=1320.0, height_m=2.6, angle_deg=68.0),
        ),
        houses=(
            House(at_m=260.0, side="left", distance_m=8.0),
            House(at_m=635.0, side="right", distance_m=14.0),
            House(at_m=860.0, side="left", distance_m=26.0),
            House(at_m=1050.0, side="right", distance_m=20.0, structure_class="shed"),
        ),
    ),
    "obstacles_w5": CorridorSpec(
        kind="irregular", height_m=1.5, radius_width=2.5, omega_deg=60.0, length_m=1000.0,
        crossings=(
            Crossing(at_m=180.0, fill_m=2.0),
            Crossing(at_m=620.0, fill_m=1.5, skew_deg=25.0),
        ),
        holes=(Hole(at_m=400.0),),
        ponds=(Pond(at_m=820.0),),
        line_pieces=3,
        houses=(
            House(at_m=100.0, side="right", distance_m=8.0),
            House(at_m=300.0, side="left", distance_m=15.0),
            House(at_m=520.0, side="right", distance_m=3.0, structure_class="shed"),
        ),
    ),
}  # fmt: skip
"""Corridors by name; the names say what is hard about them."""
