"""What a hand-built repair takes: every item, computed and to buy, low and high, with its price.

Rounding: counts on a grid are rounded up row by row (live stakes) or row of bundles by row
(fascines); everything else is rounded up to whole things once, for the whole repair with its
tie-ins. The low figures use the low slope height, the widest printed row spacing, the high
survival and a trained crew; the high figures the opposite.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from reachrank.errors import InputError
from reachrank.repairs import coir, fascines, live_stakes
from reachrank.repairs.face import ShapedFace
from reachrank.repairs.labour import person_hours
from reachrank.repairs.prices import UNITS, Prices
from reachrank.settings.materials import MaterialsSettings

Pair = tuple[float, float]

NAMES: dict[str, str] = {
    "live_stake": "live stakes, native willow or dogwood",
    "spare_live_stake": "live stakes more, for expected losses",
    "live_fascine": "live fascines",
    "dead_stake": "dead stout stakes for fascines",
    "twine": "twine, untreated",
    "coir_mat": "coir matting",
    "hardwood_stake": "hardwood stakes for the mat",
    "staple": "staples in the mat's trenches",
    "work_by_hand": "work by hand",
}
_PRICED_AS = {"spare_live_stake": "live_stake"}


@dataclass(frozen=True, slots=True)
class Item:
    """One row of the layer ``materials``, without the repair's name; pairs are low and high."""

    key: str
    unit: str
    computed: Pair
    purchase: Pair
    price_usd: Pair
    source: str

    @property
    def name(self) -> str:
        """The item in plain words."""
        return NAMES[self.key]

    @property
    def cost_usd(self) -> Pair:
        """Purchase quantity times price; NaN without a price."""
        return (self.purchase[0] * self.price_usd[0], self.purchase[1] * self.price_usd[1])


@dataclass(frozen=True, slots=True)
class _Quantity:
    key: str
    computed: Pair
    purchase: Pair
    source: str


def take_off(
    length_m: float, shaped: ShapedFace, settings: MaterialsSettings, prices: Prices
) -> list[Item]:
    """Return the items for a length of bank, tie-ins included, whose face is made ready to plant.

    Parameters
    ----------
    length_m
        Along the top of the bank, with the tie-ins.
    shaped
        The finished face, and the soil that is cut for it.
    settings, prices
        Sizes, spacings and rates; price of one unit by item.

    Examples
    --------
    >>> from reachrank.repairs.face import shaped_face
    >>> from reachrank.repairs.prices import load_prices
    >>> face = shaped_face(1.0, 30.0, is_lower_bound=False, steepest_h_per_v=1.5)
    >>> items = take_off(15.0, face, MaterialsSettings(), load_prices())
    >>> stakes = items[0]  # 2 m of face: 4 rows 0.528 m apart, 25 stakes 0.6096 m apart in each
    >>> stakes.purchase, round(stakes.computed[0], 1)
    ((100, 100), 93.2)
    """
    stakes = _live_stakes(length_m, shaped, settings)
    quantities = [stakes, _spare(stakes, settings)]
    rows = list(_fascines(length_m, shaped, settings))
    quantities += rows
    mats, laid_m2 = _mat(length_m, shaped, settings)
    quantities += mats
    planted = (
        stakes.purchase[0] + quantities[1].purchase[0],
        stakes.purchase[1] + quantities[1].purchase[1],
    )
    row_m = _row_length(length_m, shaped)
    cut = (shaped.cut_low_m3_per_m * length_m, shaped.cut_high_m3_per_m * length_m)
    quantities.append(_hours(planted, row_m, laid_m2, cut, settings))
    return [_priced(q, prices) for q in quantities]


def total_usd(items: list[Item]) -> Pair:
    """Return the cost of all items; NaN where any has no price."""
    return (sum(i.cost_usd[0] for i in items), sum(i.cost_usd[1] for i in items))


def hours(items: list[Item]) -> Pair:
    """Return the whole person hours among the items."""
    return next(item.purchase for item in items if item.key == "work_by_hand")


def stake_spacing_m(settings: MaterialsSettings) -> float:
    """Return the spacing that leads, or follows from the density."""
    if settings.stake_rule == "density":
        return live_stakes.spacing_m(settings.stake_density_per_m2)
    return settings.stake_spacing_m


def _live_stakes(length_m: float, shaped: ShapedFace, settings: MaterialsSettings) -> _Quantity:
    spacing = stake_spacing_m(settings)
    density = live_stakes.density_per_m2(spacing)
    faces = (shaped.face.low_m, shaped.face.high_m)
    usual = "" if live_stakes.is_usual_density(density) else (
        "; outside of the printed 2 to 4 for each square yard, which does not agree with the "
        "printed 2 to 3 ft"
    )  # fmt: skip
    shares = (settings.stake_buried_low_frac, settings.stake_buried_high_frac)
    low, high = (share * settings.stake_length_m for share in shares)
    return _Quantity(
        "live_stake",
        (length_m * faces[0] * density, length_m * faces[1] * density),
        (
            live_stakes.stakes_on_face(length_m, faces[0], spacing),
            live_stakes.stakes_on_face(length_m, faces[1], spacing),
        ),
        f"{spacing:.2f} m apart on a triangular grid, {density:.2f} per m² ({MDE}{usual}); "
        f"rows and stakes in a row rounded up. Each {settings.stake_length_m:.2f} m long, "
        f"{low:.2f} to {high:.2f} m of it in the ground ({COMMON}).",
    )


def _spare(stakes: _Quantity, settings: MaterialsSettings) -> _Quantity:
    survival = (settings.survival_high_frac, settings.survival_low_frac)
    factors = [min(1.0 / share, settings.most_planted_ratio) for share in survival]
    bought = [
        math.ceil(count * factor - 1e-9) - count
        for count, factor in zip(stakes.purchase, factors, strict=True)
    ]
    computed = [
        count * (factor - 1.0) for count, factor in zip(stakes.computed, factors, strict=True)
    ]
    return _Quantity(
        "spare_live_stake",
        (computed[0], computed[1]),
        (float(bought[0]), float(bought[1])),
        f"{settings.survival_high_frac:.0%} to {settings.survival_low_frac:.0%} live through the "
        "first year (Conroy & Svejcar 1991); no more than "
        f"{settings.most_planted_ratio:g} bought for each one wanted. Wanted over survival, "
        "rounded up, less those above.",
    )


def _spacing(shaped: ShapedFace) -> fascines.FascineSpacing | None:
    try:
        return fascines.fascine_spacing(shaped.h_per_v)
    except InputError:
        return None


def _row_length(length_m: float, shaped: ShapedFace) -> Pair:
    """Return the length of all rows of fascines, low and high; 0 where the table has no spacing."""
    spacing = _spacing(shaped)
    if spacing is None:
        return (0.0, 0.0)
    return (
        length_m * fascines.fascine_rows(shaped.face.low_m, spacing.greatest_m),
        length_m * fascines.fascine_rows(shaped.face.high_m, spacing.least_m),
    )


def _fascines(
    length_m: float, shaped: ShapedFace, settings: MaterialsSettings
) -> Iterator[_Quantity]:
    """Yield bundles, dead stakes and twine; nothing for slopes outside of the printed table."""
    spacing = _spacing(shaped)
    if spacing is None:
        return
    sizes = (
        (shaped.face.low_m, spacing.greatest_m),
        (shaped.face.high_m, spacing.least_m),
    )
    takes = [
        fascines.fascine_take_off(
            length_m,
            face_m,
            spacing_m,
            bundle_length_m=settings.bundle_length_m,
            overlap_m=settings.bundle_overlap_m,
            bundle_diameter_m=settings.bundle_diameter_m,
            tie_spacing_m=settings.tie_spacing_m,
            stake_spacing_m=settings.dead_stake_spacing_m,
        )
        for face_m, spacing_m in sizes
    ]
    low, high = takes
    gain = settings.bundle_length_m - settings.bundle_overlap_m
    table = "NRCS Engineering Field Handbook ch. 18, Table 18-1, from memory"
    between = "; between two printed bands" if spacing.is_interpolated else ""
    yield _Quantity(
        "live_fascine",
        (low.length_m / gain, high.length_m / gain),
        (low.bundles, high.bundles),
        f"{low.rows} to {high.rows} rows {spacing.greatest_m:.2f} to {spacing.least_m:.2f} m apart "
        f"up the face at {shaped.h_per_v:.2f}:1 ({table}{between}), the first at the toe; each "
        f"{settings.bundle_length_m:.2f} m long with {settings.bundle_overlap_m:.2f} m of overlap, "
        "rounded up in each row.",
    )
    per_m = 2.0 / settings.dead_stake_spacing_m
    yield _Quantity(
        "dead_stake",
        (low.length_m * per_m, high.length_m * per_m),
        (low.dead_stakes, high.dead_stakes),
        f"Pairs no more than {settings.dead_stake_spacing_m:.2f} m apart, one below and one "
        "through the fascine, and one pair more at each overlap (Allen & Leech 1997).",
    )
    twine = (low.twine_m / settings.twine_ball_m, high.twine_m / settings.twine_ball_m)
    yield _Quantity(
        "twine",
        twine,
        (_up(twine[0]), _up(twine[1])),
        f"Ties {settings.tie_spacing_m:.2f} m apart (Allen & Leech 1997) around "
        f"{settings.bundle_diameter_m:.2f} m, {low.twine_m:.1f} to {high.twine_m:.1f} m in all; "
        f"balls of {settings.twine_ball_m:.0f} m.",
    )


def _mat(
    length_m: float, shaped: ShapedFace, settings: MaterialsSettings
) -> tuple[list[_Quantity], Pair]:
    low, high = (
        coir.mat_take_off(
            length_m,
            face_m,
            roll_width_m=settings.roll_width_m,
            roll_length_m=settings.roll_length_m - settings.end_overlap_m,
            side_overlap_m=settings.side_overlap_m,
            top_key_m=settings.top_key_m,
            toe_key_m=settings.toe_key_m,
            stakes_per_m2=settings.wood_stakes_per_m2,
        )
        for face_m in (shaped.face.low_m, shaped.face.high_m)
    )
    keys = settings.top_key_m + settings.toe_key_m
    laid = (
        length_m * (shaped.face.low_m + keys),
        length_m * (shaped.face.high_m + keys),
    )
    roll = settings.roll_width_m * (settings.roll_length_m - settings.end_overlap_m)
    stakes = (laid[0] * settings.wood_stakes_per_m2, laid[1] * settings.wood_stakes_per_m2)
    staples = 2.0 * length_m / settings.staple_spacing_m
    bought = 2.0 * (math.floor(length_m / settings.staple_spacing_m + 1e-9) + 1)
    return [
        _Quantity(
            "coir_mat",
            (low.mat_m2 / roll, high.mat_m2 / roll),
            (low.rolls, high.rolls),
            f"Face and {keys:.2f} m in the trenches at top and toe, sides overlapping by "
            f"{settings.side_overlap_m:.2f} m: {low.mat_m2:.1f} to {high.mat_m2:.1f} m². A roll is "
            f"{settings.roll_width_m:.2f} m by {settings.roll_length_m:.1f} m, of which "
            f"{settings.end_overlap_m:.2f} m overlap at its end (keyed in: Allen & Leech 1997).",
        ),
        _Quantity(
            "hardwood_stake",
            stakes,
            (low.stakes, high.stakes),
            f"{settings.wood_stakes_per_m2:.2f} per m² of mat laid (tool default, no "
            "published limit; a maker's pattern holds for that maker's mat alone).",
        ),
        _Quantity(
            "staple",
            (staples, staples),
            (bought, bought),
            f"{settings.staple_spacing_m:.2f} m apart in both trenches, one at each end "
            f"({COMMON}).",
        ),
    ], laid


def _hours(
    planted: Pair, row_m: Pair, laid_m2: Pair, cut_m3: Pair, settings: MaterialsSettings
) -> _Quantity:
    trained = [
        person_hours("cuttings", planted[i])
        + person_hours("fascine_m", row_m[i])
        + laid_m2[i] / settings.mat_m2_per_hour
        + cut_m3[i] / settings.shaping_m3_per_hour
        for i in (0, 1)
    ]
    found = (trained[0], trained[1] * settings.unpractised_ratio)
    shaping = (
        f", {cut_m3[0]:.2f} to {cut_m3[1]:.2f} m³ of soil at {settings.shaping_m3_per_hour:g} "
        "(tool default)"
        if cut_m3[1] > 0.0
        else ""
    )
    return _Quantity(
        "work_by_hand",
        found,
        (_up(found[0]), _up(found[1])),
        f"In an hour 46.2 cuttings, 1.8 m of fascine (Lake Tahoe 1973, Leiser 1983, in Allen & "
        f"Leech 1997), {settings.mat_m2_per_hour:g} m² of mat (tool default){shaping}; "
        f"{settings.unpractised_ratio:g} times as long without practice. Whole hours.",
    )


def _priced(quantity: _Quantity, prices: Prices) -> Item:
    priced = _PRICED_AS.get(quantity.key, quantity.key)
    price = prices.items.get(priced)
    pair = (math.nan, math.nan) if price is None else (price.low_usd, price.high_usd)
    return Item(
        quantity.key, UNITS[priced], quantity.computed, quantity.purchase, pair, quantity.source
    )


def _up(value: float) -> float:
    return float(math.ceil(value - 1e-9))


MDE = "MDE Waterway Construction Guidelines, MGWC 2.4"
COMMON = "common practice, no source"
