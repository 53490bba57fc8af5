"""The gap under a straightedge, over every placement that bridges it, and the crown over a hump.

A straightedge of a given length rests, not levelled, on two contact points at most one length apart. The
gap at a node is the largest, over all such placements that pass over it, of the bar above the surface.

At headings that are the lattice's own lines (rows, columns, both diagonals) contacts are nodes. At other
headings the bar is laid through the node itself, and its contacts stand whole lattice steps from the node
along the heading, where the surface is bilinear between four nodes. A bar never spans a place without a
height: it cannot lie through a wall.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flatness.errors import ArgumentError
from flatness.measures.lines import Heading, all_headings, displaced, lines_of, nodes_of
from flatness.surface.lattice import STEP_NOISE, Surface
from flatness.survey.readings import Floats

BLOCK = 1 << 14  # heights worked on at a time: a block and its slopes fit the cache
DEEP = -1e15  # [mm] stands for "no surface": no bar ever rests there


@dataclass(frozen=True)
class Placement:
    """One straightedge laid down.

    Attributes
    ----------
    gap : largest gap under it [mm]; for a crown, the equal gaps at both ends [mm]
    at : (x, y) [mm] of the largest gap, or of the top of the hump
    contacts : the two (x, y) [mm] on which it rests; for a crown, the two ends of the bar
    heading : direction, degrees from the x axis toward the y axis, 0 to under 180
    """

    gap: float
    at: tuple[float, float]
    contacts: tuple[tuple[float, float], tuple[float, float]]
    heading: float

    @property
    def span(self) -> float:
        """Distance between the two contact points [mm]."""
        return math.dist(*self.contacts)


@dataclass(frozen=True, eq=False)
class StraightedgeResult:
    """What a straightedge shows everywhere on a surface.

    Attributes
    ----------
    gap : [ny, nx] largest gap at each node [mm]; NaN where there is no surface
    worst : the placement with the largest gap, or None where no bar bridges anything
    crown : the greatest crown [mm]: the equal gaps at both ends of a bar balanced on a hump
    crown_at : its placement, or None where the surface nowhere stands above the chord of the bar's ends
    length : length asked for [mm]
    length_used : the longest span laid [mm]
    note : where the two lengths differ, why
    """

    gap: Floats
    worst: Placement | None
    crown: float
    crown_at: Placement | None
    length: float
    length_used: float
    note: str


def profile_gaps(heights: ArrayLike, spacing: float, length: float) -> Floats:
    """Gap under a straightedge at each station of a line, over every placement that bridges it.

    Parameters
    ----------
    heights : [n] or [lines, n] heights [mm], equally spaced; NaN breaks the line
    spacing : distance between stations [mm]
    length : length of the straightedge [mm]

    Returns
    -------
    array of the same shape : gap [mm], 0 where the surface touches the bar; NaN where heights are NaN

    Examples
    --------
    >>> profile_gaps([0, -3, 0], 1000, 2000).tolist()
    [0.0, 3.0, 0.0]
    """
    z = np.asarray(heights, dtype=np.float64)
    if z.ndim == 0:
        raise ArgumentError("heights must be a line of stations", value=str(heights))
    return _line_gaps(np.atleast_2d(z), whole_steps(length, spacing)).reshape(z.shape)


def straightedge(surface: Surface, length: float, headings: int = 12) -> StraightedgeResult:
    """The largest gap under a straightedge everywhere on a surface, and the crown.

    Parameters
    ----------
    surface : the surface
    length : length of the straightedge [mm]
    headings : directions, equally spaced over half a turn; 12 lays it every 15 degrees, 4 along rows,
        columns and both diagonals

    Returns
    -------
    StraightedgeResult

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> trough = make_surface([[0, -4, 0]] * 3, spacing=500)
    >>> straightedge(trough, 1000).worst.gap
    4.0
    """
    z, spacing = surface.height, surface.spacing
    gap = gap_map(z, spacing, length, headings)
    crown, crown_at = _worst_crown(surface, length, headings)
    used = longest_span(z, spacing, length, headings)
    return StraightedgeResult(
        gap, _worst_gap(surface, gap, length, headings), crown, crown_at, float(length), used,
        _length_note(surface, length, used),
    )  # fmt: skip


def gap_map(z: Floats, spacing: float, length: float, headings: int = 12) -> Floats:
    """Largest gap at each node [mm], for one surface [ny, nx] or a stack of them [..., ny, nx]."""
    gap = np.where(np.isnan(z), np.nan, 0.0)
    stack, out = z.reshape(-1, *z.shape[-2:]), gap.reshape(-1, *z.shape[-2:])
    for heading in all_headings(headings):
        steps = whole_steps(length, spacing * heading.step)
        if heading.on_lattice:
            found = nodes_of(_line_gaps(lines_of(stack, heading), steps), heading, z.shape[-2:])
        else:
            found = _oblique_gaps(stack, heading, steps)
        np.fmax(out, found, out=out)
    gap[np.isnan(z)] = np.nan
    return gap


def whole_steps(length: float, step: float) -> int:
    """How many lattice steps a bar of this length spans."""
    if not (math.isfinite(length) and length > 0):
        raise ArgumentError("length out of range", value=str(length), expected="millimetres above zero")
    if not (math.isfinite(step) and step > 0):
        raise ArgumentError("spacing out of range", value=str(step), expected="millimetres above zero")
    return math.floor(length / step + STEP_NOISE)


def _line_gaps(z: Floats, steps: int) -> Floats:
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
    behind = _arm(z, heading, -1, steps - 1)
    ahead = _arm(z, heading, +1, steps - 1)
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


def _arm(z: Floats, heading: Heading, sign: int, steps: int) -> Floats:
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
        run = _longest_run(z, heading, whole_steps(length, step))
        longest = max(longest, run * step)
    return longest


def _longest_run(z: Floats, heading: Heading, most: int) -> int:
    reached = np.isfinite(z)
    for k in range(1, most + 1):
        reached = reached & np.isfinite(displaced(z, k * heading.dx, k * heading.dy))
        if not reached.any():
            return k - 1
    return most


def _length_note(surface: Surface, length: float, used: float) -> str:
    if used >= length * (1 - STEP_NOISE):
        return ""
    if length - used > surface.spacing * (1 + STEP_NOISE):
        return f"the surface is shorter than the straightedge: the longest that fits, {used:.0f} mm, was laid"
    return f"the lattice step does not divide the length: {used:.0f} mm was laid"


def profile_through(surface: Surface, at: tuple[float, float], heading: float, reach: float) -> tuple[Floats, Floats]:
    """Distances [mm] from ``at`` and heights [mm] of the surface along a heading, both ways up to ``reach``."""
    turned = Heading.at(heading)
    ix, iy = ((p - axis[0]) / surface.spacing for p, axis in zip(at, (surface.x, surface.y), strict=True))
    count = whole_steps(reach, surface.spacing * turned.step)
    k = np.arange(-count, count + 1)
    heights = np.array([_height_at(surface.height, ix + s * turned.dx, iy + s * turned.dy) for s in k])
    blank = np.flatnonzero(np.isnan(heights))
    low = max((b for b in blank if b < count), default=-1) + 1
    high = min((b for b in blank if b > count), default=len(k))
    return k[low:high] * surface.spacing * turned.step, heights[low:high]


def _height_at(z: Floats, ix: float, iy: float) -> float:
    ny, nx = z.shape
    total = 0.0
    jx, jy = math.floor(ix + STEP_NOISE), math.floor(iy + STEP_NOISE)
    for cx, wx in ((jx, 1 - (ix - jx)), (jx + 1, ix - jx)):
        for cy, wy in ((jy, 1 - (iy - jy)), (jy + 1, iy - jy)):
            if wx > STEP_NOISE and wy > STEP_NOISE:
                total += wx * wy * z[cy, cx] if 0 <= cx < nx and 0 <= cy < ny else math.nan
    return total


def _worst_gap(surface: Surface, gap: Floats, length: float, headings: int) -> Placement | None:
    if not np.isfinite(gap).any() or np.nanmax(gap) <= 0:
        return None
    iy, ix = np.unravel_index(np.nanargmax(gap), gap.shape)
    at = (float(surface.x[ix]), float(surface.y[iy]))
    best = None
    for heading in all_headings(headings):
        found = _bridging(surface, at, heading, length)
        if found is not None and (best is None or found.gap > best.gap + 1e-12):
            best = found
    return best


def _bridging(surface: Surface, at: tuple[float, float], heading: Heading, length: float) -> Placement | None:
    """The placement at this heading with the largest gap at a node: every pair of contacts tried."""
    distance, z = profile_through(surface, at, heading.degrees, length)
    here = int(np.flatnonzero(distance == 0)[0])
    best: tuple[float, int, int] | None = None
    for p in range(here):
        for q in range(here + 1, len(z)):
            if distance[q] - distance[p] <= length * (1 + 1e-9) + STEP_NOISE:
                part = (distance[here] - distance[p]) / (distance[q] - distance[p])
                gap = float(z[p] + part * (z[q] - z[p]) - z[here])
                if best is None or gap > best[0]:
                    best = (gap, p, q)
    if best is None:
        return None
    ends = tuple(_along(at, heading, float(distance[k])) for k in best[1:])
    return Placement(best[0], at, ends, heading.degrees)  # type: ignore[arg-type]


def _along(at: tuple[float, float], heading: Heading, distance: float) -> tuple[float, float]:
    return (at[0] + distance / heading.step * heading.dx, at[1] + distance / heading.step * heading.dy)


def window_departures(z: Floats, heading: Heading, steps: int) -> Floats:
    """Largest and least departure of each node from the chord of any bar exactly ``steps`` long over it.

    Returns [2, ..., ny, nx] mm: how far the node stands above, and (negative) below, the straight line
    between the surface at the bar's two ends. NaN where no such bar covers the node.
    """
    high, low = np.full_like(z, np.nan), np.full_like(z, np.nan)
    if steps >= 2:
        arms = {k: displaced(z, k * heading.dx, k * heading.dy) for k in range(1 - steps, steps)}
        whole = _covered(arms, steps)
        for i in range(1, steps):
            start, end = arms[-i], arms[steps - i]
            above = np.where(whole[i], z - (start + (end - start) * (i / steps)), np.nan)
            np.fmax(high, above, out=high)
            np.fmin(low, above, out=low)
    return np.stack([high, low])


def _covered(arms: dict[int, Floats], steps: int) -> dict[int, Floats]:
    """For each i, where the surface is unbroken from i steps behind a node to steps - i ahead."""
    behind, ahead = {0: np.isfinite(arms[0])}, {0: np.isfinite(arms[0])}
    for k in range(1, steps):
        behind[k] = behind[k - 1] & np.isfinite(arms[-k])
        ahead[k] = ahead[k - 1] & np.isfinite(arms[k])
    return {i: behind[i] & ahead[steps - i] for i in range(1, steps)}


def _worst_crown(surface: Surface, length: float, headings: int) -> tuple[float, Placement | None]:
    z, best = surface.height, (0.0, None)
    for heading in all_headings(headings):
        step = surface.spacing * heading.step
        steps = _longest_run(z, heading, whole_steps(length, step))
        high = window_departures(z, heading, steps)[0]
        if np.isfinite(high).any() and np.nanmax(high) > best[0] + 1e-12:
            iy, ix = np.unravel_index(np.nanargmax(high), high.shape)
            at = (float(surface.x[ix]), float(surface.y[iy]))
            best = (float(np.nanmax(high)), _balanced(surface, at, heading, steps))
    return best


def _balanced(surface: Surface, at: tuple[float, float], heading: Heading, steps: int) -> Placement:
    distance, z = profile_through(surface, at, heading.degrees, steps * surface.spacing * heading.step)
    here = int(np.flatnonzero(distance == 0)[0])
    rises = {
        p: float(z[here] - z[p] - (z[p + steps] - z[p]) * (here - p) / steps)
        for p in range(max(0, here - steps), min(here, len(z) - 1 - steps) + 1)
    }
    p = max(rises, key=lambda start: rises[start])
    ends = tuple(_along(at, heading, float(distance[k])) for k in (p, p + steps))
    return Placement(rises[p], at, ends, heading.degrees)  # type: ignore[arg-type]
