"""What a repair costs a year, and for each mass of soil kept."""

from __future__ import annotations

from reachrank.errors import InputError


def capital_recovery_factor(interest_frac: float, life_yr: float) -> float:
    """Return the equal yearly payment that pays off 1 over a life: ``i (1+i)^n / ((1+i)^n - 1)``.

    Without interest it is ``1 / n``, the limit of the formula.

    Examples
    --------
    >>> round(capital_recovery_factor(0.06, 10.0), 5)  # printed interest tables: 0.13587
    0.13587
    """
    if not life_yr > 0.0 or interest_frac < 0.0:
        raise InputError(
            f"A life of {life_yr} years at an interest of {interest_frac} cannot be paid off.",
            hint="The life must be above 0 years and the interest 0 or more.",
        )
    if interest_frac == 0.0:
        return 1.0 / life_yr
    growth: float = (1.0 + interest_frac) ** life_yr
    return interest_frac * growth / (growth - 1.0)


def cost_per_kg_usd(
    cost_usd: float, saved_kg_per_yr: float, life_yr: float, interest_frac: float = 0.0
) -> float:
    """Return the yearly cost over the yearly mass kept; interest 0 gives cost over mass in a life.

    Examples
    --------
    >>> cost_per_kg_usd(1000.0, 50.0, 10.0)  # 1000 over 10 years of 50 kg
    2.0
    """
    if not saved_kg_per_yr > 0.0:
        raise InputError(f"No cost for each kg follows from {saved_kg_per_yr} kg kept a year.")
    return cost_usd * capital_recovery_factor(interest_frac, life_yr) / saved_kg_per_yr
