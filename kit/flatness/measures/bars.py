"""Bars laid on arrays of heights: gaps under them, departures from their chords, the longest that fits.

The arithmetic under :mod:`flatness.measures.straightedge`, for one lattice [ny, nx] or a stack of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from flatness.errors import ArgumentError
from flatness.measures.lines import Heading, all_headings, displaced, lines_of, nodes_of
from flatness.surface.lattice import LENGTH_SLACK, STEP_NOISE
from flatness.survey.readings import Floats

AT_ONCE = 40_000  # nodes of a stack that are worked on together: so many stay in the cache
BLOCK = 1 << 14  # heights worked on at a time: a block and its slopes fit the cache
DEEP = -1e15  # [mm] stands for "no surface": no bar ever rests there


def gap_map(z: Floats, spacing: float, length: float, headings: int = 12) -> Floats:
    """Largest gap at each node [mm], for one surface [ny, nx] or a stack of them [..., ny, nx]."""
    gap = np.where(np.isnan(z), np.nan, 0.0)
    stack, out = z.reshape(-1, *z.shape[-2:]), gap.reshape(-1, *z.shape[-2:])
    several = max(1, AT_ONCE // max(stack[0].size, 1)) if len(stack) else 1
    for first in range(0, len(stack), several):
        _widen(stack[first : first + several], spacing, length, headings, out[first : first + several])
    gap[np.isnan(z)] = np.nan
    return gap


def _widen(stack: Floats, spacing: float, length: float, headings: int, out: Floats) -> None:
    """Raise ``out`` [k, ny, nx] to the largest gaps of the surfaces [k, ny, nx]."""
    for heading in all_headings(headings):
        steps = whole_steps(length, spacing * heading.step)
        if heading.on_lattice:
            found = nodes_of(line_gaps(lines_of(stack, heading), steps), heading, stack.shape[-2:])
        else:
            found = _oblique_gaps(stack, heading, steps)
        np.fmax(out, found, out=out)


def whole_steps(length: float, step: float) -> int:
    """How many lattice steps a bar of this length spans, or one longer by no more than rounded feet make it."""
    if not (math.isfinite(length) and length > 0):
        raise ArgumentError("length out of range", value=str(length), expected="millimetres above zero")
    if not (math.isfinite(step) and step > 0):
        raise ArgumentError("spacing out of range", value=str(step), expected="millimetres above zero")
    return math.floor(length * (1 + LENGTH_SLACK) / step + STEP_NOISE)


def line_gaps(z: Floats, steps: int) -> Floats:
    """Gaps along the last axis of [lines, n].

    For a contact p only the steepest chord that reaches beyond a station matters there. So walk the
    distance d from the full length down, keep for every p at once the steepest slope to any q at least
    d away, and compare that chord with the surface at p + d - 1: cost n x steps, not n x steps squared.
    """
    lines, n = z.shape
    steps = min(steps, n - 1)
    gap = np.empty_like(z)
    rows = max(1, BLOCK // max(n, 1))
    for first in range(0, lines, rows):
        block = np.ascontiguousarray(z[first : first + rows])
        gap[first : first + rows] = _block_gaps(block, steps)
    return gap


def _block_gaps(z: Floats, steps: int) -> Floats:
    n = z.shape[1]
    blank = np.isnan(z)
    broken = bool(blank.any())
    reach = _steps_to_blank(blank) if broken else None
    top = z.copy()  # the highest chord over each station so far
    slope = np.full_like(z, -np.inf)
    work = np.empty_like(z)
    for d in range(steps, 1, -1):
        m = n - d
        chord, best = work[:, :m], slope[:, :m]
        np.subtract(z[:, d:], z[:, :m], out=chord)
        chord /= d
        np.maximum(best, chord, out=best)
        if reach is not None:
            best[reach[:, :m] < d] = -np.inf
        np.multiply(best, d - 1, out=chord)
        chord += z[:, :m]
        over = top[:, d - 1 : n - 1]
        (np.fmax if broken else np.maximum)(over, chord, out=over)
    top -= z
    top[blank] = np.nan
    return top


def _steps_to_blank(blank: NDArray[np.bool_]) -> NDArray[np.int64]:
    """[lines, n] how many steps from each station the line stays unbroken; -1 at a blank."""
    n = blank.shape[1]
    station = np.arange(n)
    next_blank = np.where(blank, station, n)[:, ::-1]
    return np.minimum.accumulate(next_blank, axis=1)[:, ::-1] - station - 1


def _oblique_gaps(z: Floats, heading: Heading, steps: int) -> Floats:
    """Gaps [stack, ny, nx] at the nodes, under bars laid through each node at a heading off the lattice."""
    if steps < 2:
        return np.zeros_like(z)
    flat = z.reshape(-1)
    behind = arm_heights(z, heading, -1, steps - 1)
    ahead = arm_heights(z, heading, +1, steps - 1)
    top = flat.copy()
    width = max(1, 8 * BLOCK // steps)
    for first in range(0, len(flat), width):
        part = slice(first, first + width)
        a, b = behind[:, part], ahead[:, part]
        for i, j_most in _arms(len(a), len(b), steps):
            # steepest chord from the contact i steps behind to any contact ahead that the bar still reaches
            slope = (b[:j_most] - a[i - 1]) / np.arange(i + 1, i + j_most + 1)[:, None]
            np.fmax(top[part], a[i - 1] + i * slope.max(axis=0), out=top[part])
    return (top - flat).reshape(z.shape)


def _arms(behind: int, ahead: int, steps: int) -> Iterator[tuple[int, int]]:
    for i in range(1, behind + 1):
        if (most := min(ahead, steps - i)) >= 1:
            yield i, most


def arm_heights(z: Floats, heading: Heading, sign: int, steps: int) -> Floats:
    """[steps, nodes] heights 1, 2, ... steps from each node along the heading; DEEP beyond a break."""
    reached = np.isfinite(z)
    arm = []
    for k in range(1, steps + 1):
        height = displaced(z, sign * k * heading.dx, sign * k * heading.dy)
        reached = reached & np.isfinite(height)
        if not reached.any():
            break
        arm.append(np.where(reached, height, DEEP).reshape(-1))
    return np.array(arm).reshape(len(arm), z.size)


def longest_span(z: Floats, spacing: float, length: float, headings: int) -> float:
    """The longest bar [mm], up to ``length``, that lies on the surface at one of the headings."""
    longest = 0.0
    for heading in all_headings(headings):
        step = spacing * heading.step
        run = longest_run(z, heading, whole_steps(length, step))
        longest = max(longest, run * step)
    return longest


def longest_run(z: Floats, heading: Heading, most: int) -> int:
    reached = np.isfinite(z)
    for k in range(1, most + 1):
        reached = reached & np.isfinite(displaced(z, k * heading.dx, k * heading.dy))
        if not reached.any():
            return k - 1
    return most


def window_departures(z: Floats, heading: Heading, steps: int) -> Floats:
    """Largest and least departure of each node from the chord of any bar exactly ``steps`` long over it.

    Returns [2, ..., ny, nx] mm: how far the node stands above, and (negative) below, the straight line
    between the surface at the bar's two ends. NaN where no such bar covers the node.
    """
    high, low = np.full_like(z, np.nan), np.full_like(z, np.nan)
    if steps >= 2:
        arms: dict[int, Floats] = {k: displaced(z, k * heading.dx, k * heading.dy) for k in range(1 - steps, steps)}
        whole = _covered(arms, steps)
        for i in range(1, steps):
            start, end = arms[-i], arms[steps - i]
            above = np.where(whole[i], z - (start + (end - start) * (i / steps)), np.nan)
            np.fmax(high, above, out=high)
            np.fmin(low, above, out=low)
    return np.stack([high, low])


def _covered(arms: dict[int, Floats], steps: int) -> dict[int, NDArray[np.bool_]]:
    """For each i, where the surface is unbroken from i steps behind a node to steps - i ahead."""
    behind, ahead = {0: np.isfinite(arms[0])}, {0: np.isfinite(arms[0])}
    for k in range(1, steps):
        behind[k] = behind[k - 1] & np.isfinite(arms[-k])
        ahead[k] = ahead[k - 1] & np.isfinite(arms[k])
    return {i: behind[i] & ahead[steps - i] for i in range(1, steps)}
