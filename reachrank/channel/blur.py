"""What finding the channel does to its line: it is averaged along the channel, and moved back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reachrank.channel.line import smooth_line
from reachrank.settings.channel import ChannelSettings

Float = NDArray[np.float64]


@dataclass(frozen=True)
class Blur:
    """What finding the channel does to its line, as two Gaussian averages along it.

    Both are standard deviations in toe widths. ``base_widths`` smooths the line before it is moved,
    ``move_widths`` the move to the middle of the toes. Moved until it rests, the line is the true
    one times P / (1 - B + P B), by wavelength, with P and B the two averages: bends longer than
    about seven widths are kept, an arc of two or three widths comes out flatter than it is.
    """

    base_widths: float
    move_widths: float


def blur_of(channel: ChannelSettings) -> Blur:
    """Return what the `channel` stage's settings do to a line.

    The move is averaged three times: the strip along the channel, the toes by a running median, the
    middle between them. A median over a window h takes h^2 / 16 off the top of a parabola for each
    unit of its second-order term, as a Gaussian average with the deviation h / 4 does.
    """
    move = np.sqrt(
        channel.along_smoothing_widths**2
        + (channel.median_widths / 4.0) ** 2
        + channel.centre_smoothing_widths**2
    )
    return Blur(channel.base_smoothing_widths, float(move))


SETTLED_FROM_CELLS, SETTLED_AT_CELLS = 3.0, 5.0
"""A channel narrower than the first is known no better than its moves, so a further one brings
noise for bends; from the second on it is taken in full."""


def settled(
    line: Float, base: Float, width_m: Float, step_m: float, cell_m: float, blur: Blur
) -> Float:
    """Return a moved line as one further move would leave it, shape (n, 2).

    A further move would smooth the line, ``B line``, cut it again and find the same middle, M. What
    P(M - base) is, the last move has told: ``line - base``. So P(M - B line) is the last move less
    P(B line - base), and nothing has to be cut.

    Parameters
    ----------
    line, base
        The line after the last move and before it.
    width_m
        Usual toe width at each point.
    """
    new_base = smooth_line(line, blur.base_widths * width_m / step_m)
    change = smooth_line(new_base - base, blur.move_widths * width_m / step_m)
    cells = width_m / cell_m
    share = (cells - SETTLED_FROM_CELLS) / (SETTLED_AT_CELLS - SETTLED_FROM_CELLS)
    further = new_base + (line - base) - change
    return np.asarray(line + np.clip(share, 0.0, 1.0)[:, None] * (further - line))
