"""The curve of worth against budget, as a picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from reachrank.write.place import aside

if TYPE_CHECKING:
    from reachrank.budget.value_by_cost import Floats

KIND, ENDING = "a picture", ".png"


def plot_curve(
    curve: tuple[Floats, Floats, Floats],
    chosen: tuple[float, float],
    worth_words: str,
    path: str | Path,
    *,
    overwrite: bool = False,
) -> Path:
    """Draw worth against budget with the choice on it, and return where the picture is.

    Parameters
    ----------
    curve
        Amounts in dollars, worth by value for cost, bound; as `best_set.curve` gives them.
    chosen
        The amount of the choice and its worth.
    worth_words
        What the worth is, for the axis.
    """
    # The figure alone, without pyplot: no window, no state shared with a program around us.
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415  (slow to load)
    from matplotlib.figure import Figure  # noqa: PLC0415

    amounts, low, high = curve
    figure = Figure(figsize=(8.0, 5.0), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.fill_between(amounts, low, high, color="#9db4c0", alpha=0.5, linewidth=0,
                      label="between value for cost and what no set can exceed")  # fmt: skip
    axes.plot(amounts, low, color="#253237", linewidth=1.5, label="value for cost")
    axes.plot(*chosen, "o", color="#c1550f", markersize=8, label="the chosen set")
    axes.axvline(chosen[0], color="#c1550f", linewidth=0.8, linestyle=":")
    axes.set_xlabel("budget (US$)")
    axes.set_ylabel(worth_words.replace("$", r"\$"))
    axes.xaxis.set_major_formatter(lambda value, _place: f"{value:,.0f}")
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=0.0)
    axes.grid(visible=True, linewidth=0.4, alpha=0.6)
    axes.legend(loc="lower right", frameon=False)
    with aside(Path(path), overwrite=overwrite, kind=KIND, ending=ENDING) as file:
        figure.savefig(file.path, dpi=150, metadata={"Software": None})
    return file.landed
