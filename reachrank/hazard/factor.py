"""A scoring factor as a small data object; built-in ones and strangers' alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from reachrank.hazard.side_frame import Floats, SideFrame
from reachrank.settings.hazard import Knots


@dataclass(frozen=True, kw_only=True)
class Factor:
    """One thing that makes a bank more or less likely to fail.

    A package offers a factor by an entry point in the group ``reachrank.factors``; see
    ``reachrank.testing.check_factor`` for the contract test.

    Attributes
    ----------
    name
        Its name in settings and tables: lower case, underscores.
    needs
        Names of arrays of `SideFrame` that it reads. Where one of them is absent from the whole
        run the factor is absent, and its weight is shared among the others.
    gives
        What ``compute`` returns, in words.
    unit
        Unit of that value, ``ratio`` or ``0-1`` where it has none; never empty.
    compute
        Takes a `SideFrame`, returns float64 of shape (n, 2), NaN where missing. It does not score:
        breakpoints do.
    reference
        Where the measure comes from.
    knots
        Breakpoints ``(value, score)`` where the settings have none of that name.
    weight
        Weight where the settings have none of that name.
    rises
        True: a greater value never scores less; False: never more; None: neither.
    error
        Takes a `SideFrame`, returns the standard error of the value, shape (n, 2); for the draws.
    error_group
        Factors with one source of error (all heights) share a name and so share a draw.
    lower_bound
        Name of a true-or-false array of `SideFrame`: there the value is only a lower bound.
    at_least_as
        Where the value is a lower bound, the score is at least the weighted mean of these.
    """

    name: str
    needs: tuple[str, ...]
    gives: str
    unit: str
    compute: Callable[[SideFrame], Floats]
    reference: str
    knots: Knots = ()
    weight: float = 0.0
    rises: bool | None = True
    error: Callable[[SideFrame], Floats] | None = None
    error_group: str = ""
    lower_bound: str = ""
    at_least_as: tuple[str, ...] = ()
