"""The least radius of a bend: a polynomial of direction over the part that tells it."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from reachrank.whole_numbers import HAIR

Float = NDArray[np.float64]
Places = NDArray[np.int64]

CORE = 0.3
"""The core of a bend is where it curves at least this share of its sharpest."""
MARGIN_WIDTHS = 0.25
"""The core is fitted with so much more at each end, for what smoothing has drawn in."""
LEAST_WIDTHS = 3.0
"""No shorter part of a bend tells its radius, unless the bend itself is shorter: banks are rough
over a width or two, and what turns sharply there and gently before and after is not the channel."""
MOST_WIDTHS = 8.0
"""Of a longer core only its sharpest part of this length: a cubic cannot follow a long skewed bend,
and eight widths average enough noise."""
APEX_SHARE = 0.7
"""The apex lies in this inner share of the fitted part: a polynomial's ends are loose."""
QUINTIC_CAUTION = 6.0
"""How sure a quintic must be before it counts beside the cubic, see `direction_of`. A cubic reads
skewed and short bends 3 % long, a quintic's ends follow noise. Of the gain the share 1 - 1 / F is
no noise, with F = (n - 6) / 2 times (1 - r) / r of n independent values: 6 is that share for six
to seven. A bend has no more of them, as all is averaged along the channel."""
LEAST_QUINTIC_STEPS = 8
"""Fewer steps than this are left to the cubic."""
LOOKS = 141
"""Places on the fitted part where its curvature is looked at."""
SHARPENED_TO_WIDTHS, SHARPENED_FROM_WIDTHS = 4.0, 5.5
"""A bend whose fitted part is no longer than the first is read off the sharpened line, one longer
than the second off the line as found: what finding it takes off a long bend is less than the noise
that sharpening gives back. Between them the curvatures are mixed."""


@numba.njit(cache=True, nogil=True, error_model="numpy")
def fitted_part(kappa, first, last, core, least, most, margin):  # type: ignore[no-untyped-def]
    """Return the first and the last point of the part of a bend that tells its least radius.

    Grown from the sharpest point over the next sharpest at either end, to ``least`` steps in any
    case and on to ``most`` or an end of the core, never beyond the bend; then ``margin`` steps more
    at both ends.
    """
    peak = first
    for i in range(first, last + 1):
        if np.abs(kappa[i]) > np.abs(kappa[peak]):
            peak = i
    limit = core * np.abs(kappa[peak])
    a = b = peak
    while b - a < most:
        before = np.abs(kappa[a - 1]) if a > first else -1.0
        after = np.abs(kappa[b + 1]) if b < last else -1.0
        top = max(before, after)
        if not top >= 0.0 or (b - a >= least and not top >= limit):
            break
        # alike on both sides: take both, or the direction of the line would decide
        if before >= top * (1.0 - 1e-9):
            a -= 1
        if after >= top * (1.0 - 1e-9):
            b += 1
    return max(0, a - margin), min(kappa.size - 1, b + margin), peak


@numba.njit(cache=True, nogil=True, error_model="numpy")
def direction_of(values, a, b, caution):  # type: ignore[no-untyped-def]
    """Return the coefficients of v, v^2, ... v^5 of a polynomial through even points.

    v runs from -1 at point ``a`` to 1 at point ``b``. It lies between the cubic and the quintic of
    least squares: what the quintic adds counts by 1 - ``caution`` r / (1 - r), with r the share of
    the cubic's squared misfit that it leaves, and not at all below nothing. Even and odd powers
    part on even points, so two systems of up to three remain.
    """
    middle = 0.5 * (a + b)
    half = 0.5 * (b - a)
    home = values[(a + b) // 2]
    sums = np.zeros(6)  # of v^0, v^2, ... v^10
    even = np.zeros(3)  # of y, v^2 y, v^4 y
    odd = np.zeros(3)  # of v y, v^3 y, v^5 y
    for i in range(a, b + 1):
        v = (i - middle) / half
        y = values[i] - home
        power = 1.0
        for k in range(6):
            sums[k] += power
            if k < 3:
                even[k] += power * y
                odd[k] += power * v * y
            power *= v * v
    of_even = np.empty((3, 3))
    of_odd = np.empty((3, 3))
    for i in range(3):
        for j in range(3):
            of_even[i, j] = sums[i + j]
            of_odd[i, j] = sums[i + j + 1]
    found = np.zeros((2, 6))
    found[0, 0:4:2] = np.linalg.solve(of_even[:2, :2].copy(), even[:2])
    found[0, 1:4:2] = np.linalg.solve(of_odd[:2, :2].copy(), odd[:2])
    if b - a < LEAST_QUINTIC_STEPS:
        return found[0, 1:]
    found[1, 0::2] = np.linalg.solve(of_even, even)
    found[1, 1::2] = np.linalg.solve(of_odd, odd)
    misfit = np.zeros(2)
    for i in range(a, b + 1):
        v = (i - middle) / half
        for f in range(2):
            value = 0.0
            for k in range(5, -1, -1):
                value = value * v + found[f, k]
            misfit[f] += (values[i] - home - value) ** 2
    gain = misfit[0] - misfit[1]
    share = max(0.0, 1.0 - caution * misfit[1] / gain) if gain > 0.0 else 0.0
    return found[0, 1:] + share * (found[1, 1:] - found[0, 1:])


@numba.njit(cache=True, nogil=True, error_model="numpy")
def steepest(coefficients, inner):  # type: ignore[no-untyped-def]
    """Return the largest slope, up or down, of a polynomial within ``inner`` of v = 0, and its v.

    Looked for at `LOOKS` even places, then at the top of the parabola through the best and its
    neighbours, which is exact for a cubic.
    """
    size = np.empty(LOOKS)
    for n in range(LOOKS):
        v = inner * (2.0 * n / (LOOKS - 1) - 1.0)
        slope = 0.0
        for k in range(coefficients.size, 0, -1):
            slope = slope * v + k * coefficients[k - 1]
        size[n] = np.abs(slope)
    n = int(np.argmax(size))
    at = float(n)
    most = size[n]
    if 0 < n < LOOKS - 1:
        bow = size[n - 1] - 2.0 * size[n] + size[n + 1]
        if bow < 0.0:
            lean = 0.5 * (size[n - 1] - size[n + 1]) / bow
            at += lean
            most -= 0.5 * bow * lean * lean
    return most, inner * (2.0 * at / (LOOKS - 1) - 1.0)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def fill_apexes(heading, kappa, first, last, width_steps, out):  # type: ignore[no-untyped-def]
    """Fill ``out[k]`` with each bend's least radius, its place and the fitted length, in steps.

    The largest value of a noisy curvature reads the radius too short; a polynomial of the direction
    over the core of the bend averages the noise. Its derivative is the curvature.
    """
    for k in range(first.size):
        margin = int(np.ceil(MARGIN_WIDTHS * width_steps[k] - HAIR))
        most = int(np.ceil((MOST_WIDTHS - 2.0 * MARGIN_WIDTHS) * width_steps[k] - HAIR))
        least = int(np.ceil((LEAST_WIDTHS - 2.0 * MARGIN_WIDTHS) * width_steps[k] - HAIR))
        a, b, peak = fitted_part(kappa, first[k], last[k], CORE, least, most, margin)
        out[k, 2] = b - a
        if b - a < 4:
            out[k, 0] = np.inf
            out[k, 1] = peak
            continue
        half = 0.5 * (b - a)
        slope, at = steepest(direction_of(heading, a, b, QUINTIC_CAUTION), APEX_SHARE)
        out[k, 0] = half / slope
        out[k, 1] = 0.5 * (a + b) + half * at


def apexes_of(
    heading: Float, kappa: Float, first: Places, last: Places, width_steps: Float
) -> Float:
    """Return each bend's least radius, its place and the length it was read off, in steps.

    Parameters
    ----------
    heading
        Direction at each point, unwrapped, in radians; shape (n,).
    kappa
        Smoothed curvature, shape (n,): which part of a bend is its sharpest.
    first, last
        The bends' first and last points, shape (bends,).
    width_steps
        The channel's width at each bend, in steps.

    Returns
    -------
    numpy.ndarray
        Shape (bends, 3); the radius is infinite where there are too few points.
    """
    out = np.empty((first.size, 3))
    fill_apexes(heading, kappa, first, last, width_steps, out)
    return out


def mixed_apexes(found: Float, sharpened: Float, width_steps: Float) -> Float:
    """Mix apexes of the line as found with those of the sharpened one, by the fitted lengths."""
    over = SHARPENED_FROM_WIDTHS - found[:, 2] / width_steps
    share = np.clip(over / (SHARPENED_FROM_WIDTHS - SHARPENED_TO_WIDTHS), 0.0, 1.0)
    out = found.copy()
    out[:, 1] += share * (sharpened[:, 1] - found[:, 1])
    with np.errstate(divide="ignore"):  # no radius stays none: infinite
        out[:, 0] = 1.0 / ((1.0 - share) / found[:, 0] + share / sharpened[:, 0])
    return out
