"""Settings of the `priority` stage."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings._field import setting

PRIORITY_CLASSES = ("quiet", "keep an eye on", "soon", "first")
"""Words of the priority classes, rising. Our own: they stand for no published index."""


@dataclass(frozen=True, kw_only=True)
class PrioritySettings:
    """Settings of the `priority` stage.

    Examples
    --------
    By hand, hazard 60 and exposure 50 (both of 100):

    * ``product`` with unexposed_share 0.5: 60 * (0.5 + 0.5 * 0.50) = 45
    * ``weighted_mean`` with exposure_weight 0.4: 0.6 * 60 + 0.4 * 50 = 56
    * ``hazard_where_exposed``: 60, and 0 where the exposure is 0
    """

    rule: str = setting(
        "product",
        "How hazard and exposure make priority. 'product': hazard * (u + (1 - u) * exposure / 100)"
        " with u the unexposed_share: a sound bank is no priority however near the house, a failing"
        " one with nothing near keeps part. 'weighted_mean': by exposure_weight."
        " 'hazard_where_exposed': hazard where exposure is above 0, else 0.",
        choices=("product", "weighted_mean", "hazard_where_exposed"),
    )
    unexposed_share: float = setting(
        0.5,
        "What a failing bank keeps of its hazard with nothing near: land, trees and the water"
        " downstream are lost there too.",
        unit="0-1",
        least=0.0,
        greatest=1.0,
    )
    exposure_weight: float = setting(
        0.4,
        "Weight of exposure in the weighted mean, and its part in confidence_frac.",
        unit="0-1",
        least=0.0,
        greatest=1.0,
    )
    class_breaks: tuple[float, ...] = setting(
        (20.0, 35.0, 50.0),
        "Priority scores where 'keep an eye on', 'soon' and 'first' begin; below the first it is"
        " 'quiet'. Rising, three of them.",
        unit="0-100",
    )
    top_n: int = setting(10, "top_share counts the draws with a rank of this or better.", least=1)
    draws: int = setting(
        2000,
        "Number of draws behind rank_low, rank_high and top_share. A share is then good to 0.022"
        " at 95 % (0.01 takes 9604 draws); 0 leaves them empty.",
        source="Tervonen & Lahdelma 2007 (doi 10.1016/j.ejor.2005.12.037)",
        least=0,
        greatest=65_000,
    )
    seed: int = setting(1, "Where the draws start; the same seed gives the same ranks.", least=0)
    weight_concentration: float = setting(
        40.0,
        "How close drawn weights stay to those in the settings (a Dirichlet's concentration: a"
        " weight of 0.2 varies by 0.06); 0 draws any weights at all, evenly.",
        least=0.0,
        greatest=10_000.0,
    )
    exposure_se_points: float = setting(
        5.0,
        "Standard error of an exposure score above 0, in points: footprints and the top of the bank"
        " are each off by a metre or two.",
        unit="0-100",
        least=0.0,
        greatest=50.0,
    )
    match_distance_m: float = setting(
        10.0,
        "Two runs' banks are the same place where one lies within this distance of the other over"
        " more than half of its length, on the same side.",
        unit="m",
        least=0.5,
        greatest=200.0,
    )
