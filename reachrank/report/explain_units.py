"""How an explanation speaks: metres and tonnes, or feet, square yards and tons of 2000 lb."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from reachrank.units import FOOT_M, POUND_KG, SHORT_TON_T
from reachrank.write.us_text import us_text


@dataclass(frozen=True)
class Units:
    """Words and factors of one way of speaking.

    ``metres`` and ``tonnes`` are the size of its unit of length and mass; ``per_area`` is what
    turns length times length into its unit of area.
    """

    is_us: bool
    metres: float
    tonnes: float
    length_name: str
    mass_name: str
    per_area: str
    text: Callable[[str], str]

    def length(self, value_m: float) -> str:
        """Return a length in words."""
        return f"{value_m / self.metres:.2f} {'ft' if self.is_us else 'm'}"

    def area(self, value_m2: float) -> str:
        """Return an area in words."""
        if self.is_us:
            return f"{value_m2 / (3.0 * FOOT_M) ** 2:.2f} yd²"
        return f"{value_m2:.2f} m²"

    def mass(self, value_t: float) -> str:
        """Return a mass of soil in words."""
        return f"{value_t / self.tonnes:.3f} {'ton' if self.is_us else 't'}"

    def pounds(self, value_kg: float) -> str:
        """Return a small mass in words."""
        return f"{value_kg / POUND_KG:.2f} lb" if self.is_us else f"{value_kg:.2f} kg"

    def nutrient_share(self, share: float) -> str:
        """Return what is attached to a unit mass of soil."""
        if self.is_us:
            return f"{share * 2000.0:.3f} lb"
        return f"{share * 1000.0:.3f} kg"

    @property
    def per_mass(self) -> str:
        """Words for what `nutrient_share` counts on."""
        return f"for each {self.mass_name}"

    def mass_line(
        self,
        level: str,
        length_m: float,
        slope_m: float,
        rate_m_per_yr: float,
        density_kg_per_m3: float,
        mass_t: float,
    ) -> str:
        """Return the direct volume method with its numbers, in the units it is printed in."""
        if self.is_us:
            density = density_kg_per_m3 / POUND_KG * FOOT_M**3
            rest = f"{rate_m_per_yr / FOOT_M:.3f} ft x {density:.1f} lb/ft³ / 2000"
        else:
            rest = f"{rate_m_per_yr:.5f} m x {density_kg_per_m3:.1f} kg/m³ / 1000"
        return (
            f"{level} = {self.length(length_m)} x {self.length(slope_m)} x {rest} = "
            f"{self.mass(mass_t)}"
        )


def _same(text: str) -> str:
    return text


METRIC = Units(False, 1.0, 1.0, "m", "tonne", "", _same)
US = Units(True, FOOT_M, SHORT_TON_T, "ft", "ton", " / 9", us_text)
