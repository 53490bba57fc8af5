"""Bars laid on arrays of heights: gaps under them, departures from their chords, the longest that fits.

The arithmetic under :mod:`flatness.measures.straightedge`, for one lattice [ny, nx] or a stack of them.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.measures.lines import (
    Heading,
    all_headings,
    corners,
    displaced,
    heights_away,
    lines_of,
    nodes_of,
    reaching_part,
)
from flatness.surface.lattice import LENGTH_SLACK, STEP_NOISE

AT_ONCE = 40_000  # nodes of a stack that are worked on together: so many stay in the cache
BLOCK = 1 << 14  # heights worked on at a time: a block and its slopes fit the cache
NODES = 1 << 12  # worked on at a time, contact by contact
LONGER, OF_A_STEP = LENGTH_SLACK, 0.05  # by what share of itself, and of a step, a bar may be longer than its name
DEEP = -1e15  # [mm] stands for "no surface": no bar ever rests there


def gap_map(z: Floats, spacing: float, length: float, headings: int = 12) -> Floats:
    """Largest gap at each node [mm], for one surface [ny, nx] or a stack of them [..., ny, nx]."""
    gap = np.where(np.isnan(z), np.nan, 0.0)
    stack, out = z.reshape(-1, *z.shape[-2:]), gap.reshape(-1, *z.shape[-2:])
    several = max(1, AT_ONCE // max(stack[0].size, 1)) if len(stack) else 1
    for first in range(0, len(stack), several):
        # the same node of all surfaces side by side in memory, so that steps along a bar are long runs of it
        part = np.ascontiguousarray(np.moveaxis(stack[first : first + several], 0, -1))
        out[first : first + several] = np.moveaxis(_largest(part, spacing, length, headings), -1, 0)
    gap[np.isnan(z)] = np.nan
    return gap


def _largest(z: Floats, spacing: float, length: float, headings: int) -> Floats:
    """The largest gaps of the surfaces [ny, nx, k]."""
    largest = np.zeros_like(z)
    for heading in all_headings(headings):
        steps = whole_steps(length, spacing * heading.step)
        if heading.on_lattice:
            found = nodes_of(line_gaps(lines_of(z, heading), steps), heading, z.shape)
        else:
            found = _oblique_gaps(z, heading, steps)
        np.fmax(largest, found, out=largest)
    return largest


def whole_steps(length: float, step: float) -> int:
    """How many lattice steps a bar of this length spans.

    Feet are rounded: a 10 ft bar lies on stations 3050 mm apart. So one longer by two parts in a thousand spans them
    too, where the step all but divides the length; on a fine lattice it would only lie one step too far.
    """
    if not (math.isfinite(length) and length > 0):
        raise ArgumentError("length out of range", value=str(length), expected="millimetres above zero")
    if not (math.isfinite(step) and step > 0):
        raise ArgumentError("spacing out of range", value=str(step), expected="millimetres above zero")
    steps = length / step
    return math.floor(steps + max(STEP_NOISE, min(LONGER * steps, OF_A_STEP)))


def line_gaps(z: Floats, steps: int) -> Floats:
    """Gaps along the first axis of [n, lines].

    For a contact p only the steepest chord that reaches beyond a station matters there. So walk the
    distance d from the full length down, keep for every p at once the steepest slope to any q at least
    d away, and compare that chord with the surface at p + d - 1: cost n x steps, not n x steps squared.
    """
    n, lines = z.shape
    steps = min(steps, n - 1)
    gap = np.empty_like(z)
    width = max(1, BLOCK // max(n, 1))
    for first in range(0, lines, width):
        block = np.ascontiguousarray(z[:, first : first + width])
        gap[:, first : first + width] = _block_gaps(block, steps)
    return gap


def _block_gaps(z: Floats, steps: int) -> Floats:
    n = len(z)
    blank = np.isnan(z)
    broken = bool(blank.any())
    reach = _steps_to_blank(blank) if broken else None
    top = z.copy()  # the highest chord over each station so far
    slope = np.full_like(z, -np.inf)
    work = np.empty_like(z)
    for d in range(steps, 1, -1):
        m = n - d
        chord, best = work[:m], slope[:m]
        np.subtract(z[d:], z[:m], out=chord)
        chord /= d
        np.maximum(best, chord, out=best)
        if reach is not None:
            np.copyto(best, -np.inf, where=reach[:m] < d)
        np.multiply(best, d - 1, out=chord)
        chord += z[:m]
        over = top[d - 1 : n - 1]
        (np.fmax if broken else np.maximum)(over, chord, out=over)
    top -= z
    top[blank] = np.nan
    return top


def _steps_to_blank(blank: NDArray[np.bool_]) -> NDArray[np.int32]:
    """[n, lines] how many steps from each station the line stays unbroken; -1 at a blank."""
    n = len(blank)
    station = np.arange(n, dtype=np.int32)[:, None]
    next_blank = np.where(blank, station, np.int32(n))[::-1]
    return np.minimum.accumulate(next_blank, axis=0)[::-1] - station - 1


def _oblique_gaps(z: Floats, heading: Heading, steps: int) -> Floats:
    """Gaps [ny, nx, k] at the nodes, under bars laid through each node at a heading off the lattice."""
    # nodes that lie side by side in memory lie across the bar, so that the same contacts are out of their reach
    order = (0, 1, 2) if abs(heading.dy) > abs(heading.dx) else (1, 0, 2)
    behind, ahead = (
        arm_heights(z, heading, sign, steps - 1).transpose(0, *(1 + axis for axis in order)).reshape(-1, z.size)
        for sign in (-1, 1)
    )
    here = z.transpose(order)
    flat = here.reshape(-1)
    top = flat.copy()
    for first in range(0, len(flat), NODES):
        part = slice(first, first + NODES)
        _raise_to_chords(top[part], _reached(behind[:, part]), _reached(ahead[:, part]), steps)
    return (top - flat).reshape(here.shape).transpose(order)


def oblique_gaps_at(z: Floats, at: NDArray[np.intp], spacing: float, length: float, headings: int) -> Floats:
    """Largest gaps [m] mm at some nodes of a stack [k, ny, nx], under bars at the headings off the lattice's lines.

    ``at`` [m] are places in the stack laid flat. Few nodes of many surfaces cost less so than by :func:`gap_map`.
    """
    turned = [h for h in all_headings(headings) if not h.on_lattice]
    beyond = max((whole_steps(length, spacing * h.step) for h in turned), default=0)
    wide = np.pad(z, ((0, 0), (beyond, beyond), (beyond, beyond)), constant_values=np.nan)
    # of the square about each node that bars reach
    corner = np.ravel_multi_index(np.unravel_index(at, z.shape), wide.shape)
    gap = np.empty(len(at))
    for first in range(0, len(at), NODES):
        part = corner[first : first + NODES]
        here = _heights_from(wide, part, beyond, 0.0, 0.0)
        top = here.copy()
        for heading in turned:
            steps = whole_steps(length, spacing * heading.step)
            behind, ahead = (_arm_at(wide, part, beyond, heading, sign, steps - 1) for sign in (-1, 1))
            _raise_to_chords(top, behind, ahead, steps)
        gap[first : first + NODES] = top - here
    return gap


def _arm_at(wide: Floats, corner: NDArray[np.intp], beyond: int, heading: Heading, sign: int, steps: int) -> Floats:
    """As :func:`arm_heights`, [reached steps, nodes] at some nodes of a stack with ``beyond`` blank nodes about it."""
    arm = np.empty((max(steps, 0), len(corner)))
    for k in range(1, steps + 1):
        height = _heights_from(wide, corner, beyond, sign * k * heading.dx, sign * k * heading.dy)
        broken = np.isnan(height)
        if k > 1:
            broken |= arm[k - 2] == DEEP
        if broken.all():
            return arm[: k - 1]
        np.copyto(height, DEEP, where=broken)
        arm[k - 1] = height
    return arm


def _heights_from(wide: Floats, corner: NDArray[np.intp], beyond: int, dx: float, dy: float) -> Floats:
    flat = wide.reshape(-1)
    out = np.zeros(len(corner))
    for jx, jy, weight in corners(dx, dy):
        out += weight * flat[(jy + beyond) * wide.shape[2] + jx + beyond :].take(corner)
    return out


def _reached(arm: Floats) -> Floats:
    """The contacts [steps, nodes] that are on the surface from one of the nodes at least."""
    return arm[: np.count_nonzero(arm.max(axis=1, initial=DEEP) > DEEP)]


def _raise_to_chords(top: Floats, behind: Floats, ahead: Floats, steps: int) -> None:
    """Raise ``top`` [nodes] to the highest chord from a contact behind each node to one ahead, up to so many apart."""
    slope, chord = np.empty_like(top), np.empty_like(top)
    for i, contact in enumerate(behind, 1):
        # the steepest from the contact i steps behind to any that the bar still reaches
        slope.fill(-np.inf)
        for j, other in enumerate(ahead[: max(0, steps - i)], 1):
            np.subtract(other, contact, out=chord)
            chord /= i + j
            np.maximum(slope, chord, out=slope)
        slope *= i
        slope += contact
        np.fmax(top, slope, out=top)


def arm_heights(z: Floats, heading: Heading, sign: int, steps: int) -> Floats:
    """[steps, ny, nx, ...] heights 1, 2, ... steps from each node along the heading; DEEP beyond a break."""
    whole = not np.isnan(z).any()
    reached = np.isfinite(z)
    arm = np.full((max(steps, 0), *z.shape), DEEP)
    for k in range(1, steps + 1):
        dx, dy = sign * k * heading.dx, sign * k * heading.dy
        part = reaching_part(z.shape, dx, dy)
        height = heights_away(z, dx, dy, part)
        if not height.size:
            return arm[: k - 1]
        if whole:
            arm[k - 1][part] = height
        else:
            still = reached[part] & np.isfinite(height)
            reached = np.zeros_like(reached)
            reached[part] = still
            if not still.any():
                return arm[: k - 1]
            np.copyto(arm[k - 1][part], height, where=still)
    return arm


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
