"""Hours of work by hand, from recorded jobs.

All rates are from Allen & Leech 1997, Bioengineering for Streambank Erosion Control, WES TR
EL-97-8, and the jobs they report. Crews without practice take longer.
"""

from __future__ import annotations

from typing import Literal

FOOT_M = 0.3048
Work = Literal["cuttings", "fascine_m", "brush_layer_m", "brush_mattress_m2", "willow_posts"]
PER_PERSON_HOUR: dict[str, float] = {
    "cuttings": 8000.0 / 173.0,
    "fascine_m": 1140.0 * FOOT_M / 193.0,
    "brush_layer_m": 2.0,
    "brush_mattress_m2": 0.92,
    "willow_posts": 675.0 / (5 * 2 * 8),
}
"""What one person does in an hour.

cuttings, fascine_m: Lake Tahoe 1973, 8000 small cuttings in 173 and 1140 ft of wattling in 193
hours (Leiser 1983). brush_layer_m: 2 m. brush_mattress_m2: a firm's 0.92; others report 0.2 to 1.
willow_posts: 675 posts by 5 people in two days of 8 hours are 8.4, though the text says about 17.
"""


def person_hours(work: Work, quantity: float) -> float:
    """Return the hours that a quantity of work takes one person.

    Examples
    --------
    >>> round(person_hours("cuttings", 8000.0))
    173
    """
    return quantity / PER_PERSON_HOUR[work]
