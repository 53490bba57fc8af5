"""Bars set on arrays of heights: lines across them, gaps, departures from chords, placements as rows of a program.

The arithmetic under :mod:`flatness.measures.straightedge`, for one lattice [ny, nx] or a stack of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array

from flatness.arrays import Floats
from flatness.errors import ArgumentError, check_above_zero
from flatness.surface.lattice import LENGTH_SLACK, STEP_NOISE, UnrolledStep, turn_of

_LATTICE_LINES = {0.0: (1, 0), 45.0: (1, 1), 90.0: (0, 1), 135.0: (-1, 1)}


@dataclass(frozen=True)
class Heading:
    """A direction across the lattice.

    Attributes
    ----------
    degrees : from the x axis toward the y axis, 0 to under 180
    dx, dy : one step along it, in lattice steps
    step : length of that step, in lattice steps: 1, or the square root of 2 along a diagonal
    """

    degrees: float
    dx: float
    dy: float

    @property
    def step(self) -> float:
        return math.hypot(self.dx, self.dy)

    @property
    def on_lattice(self) -> bool:
        """Whether it runs along rows, columns or diagonals, from node to node."""
        return self.dx == round(self.dx) and self.dy == round(self.dy)

    @classmethod
    def at(cls, degrees: float) -> Heading:
        """The heading at this angle [degrees]; along rows, columns and diagonals its step is node to node."""
        for angle, (dx, dy) in _LATTICE_LINES.items():
            if abs(degrees - angle) < 1e-9:
                return cls(angle, dx, dy)
        return cls(degrees, math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))


def all_headings(count: int) -> list[Heading]:
    """``count`` headings equally spaced over half a turn, the first along the rows."""
    if not (isinstance(count, (int, np.integer)) and 1 <= count <= 360):
        raise ArgumentError("headings out of range", value=str(count), expected="a whole number from 1 to 360")
    return [Heading.at(180 * i / count) for i in range(count)]


def reaching_part(shape: tuple[int, ...], dx: float, dy: float) -> tuple[slice, slice]:
    """Rows and columns of the nodes from which the place (dx, dy) steps away is on the lattice; empty where none is."""
    sides = []
    for count, steps in zip(shape[:2], (dy, dx), strict=True):
        whole, part = _whole_and_part(steps)
        first, last = max(0, -whole), min(count, count - whole - (part > 0))
        sides.append(slice(first, max(first, last)))
    return sides[0], sides[1]


def displaced(z: Floats, dx: float, dy: float) -> Floats:
    """At each node of [ny, nx, ...], the height (dx, dy) lattice steps away; NaN outside or next to a blank.

    Bilinear between nodes. A node that would carry no weight is not asked.
    """
    out = np.full_like(z, np.nan)
    part = reaching_part(z.shape, dx, dy)
    out[part] = heights_away(z, dx, dy, part)
    return out


def heights_away(z: Floats, dx: float, dy: float, part: tuple[slice, slice]) -> Floats:
    """As :func:`displaced`, at the nodes of one part alone, all of them within :func:`reaching_part`."""
    rows, columns = part
    (jx, jy, weight), *others = corners(dx, dy)

    def shifted(jx: int, jy: int) -> Floats:
        return z[rows.start + jy : rows.stop + jy, columns.start + jx : columns.stop + jx]

    out: Floats = weight * shifted(jx, jy)
    for jx, jy, weight in others:
        out += weight * shifted(jx, jy)
    return out


def corners(dx: float, dy: float) -> list[tuple[int, int, float]]:
    """The nodes (jx, jy) from which the height (dx, dy) lattice steps away is taken, and their weights above zero."""
    (ix, fx), (iy, fy) = _whole_and_part(dx), _whole_and_part(dy)
    around = ((0, 0, (1 - fx) * (1 - fy)), (1, 0, fx * (1 - fy)), (0, 1, (1 - fx) * fy), (1, 1, fx * fy))
    return [(ix + kx, iy + ky, weight) for kx, ky, weight in around if weight > 0]


def _whole_and_part(steps: float) -> tuple[int, float]:
    whole = math.floor(steps + STEP_NOISE)
    part = steps - whole
    return whole, part if part > STEP_NOISE else 0.0


Place = tuple[float, float]


@dataclass(frozen=True)
class Measured:
    """One measure of a surface.

    Attributes
    ----------
    value : the number; mm unless the measure is a ratio or an F-number
    at : (x, y) [mm] where it was found, or None where it belongs to no place
    contacts : (x, y) [mm] of the points it rests on or compares, in order along the line
    note : what the reader of the number must know
    """

    value: float
    at: Place | None = None
    contacts: tuple[Place, ...] = ()
    note: str = ""


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
        if heading.on_lattice and not (heading.dx and isinstance(spacing, UnrolledStep)):
            found = _along_lattice(z, heading, steps)
        else:
            found = _oblique_gaps(z, heading, steps, spacing)
        np.fmax(largest, found, out=largest)
    return largest


def whole_steps(length: float, step: float) -> int:
    """How many lattice steps a bar of this length spans.

    Feet are rounded: a 10 ft bar lies on stations 3050 mm apart. So one longer by two parts in a thousand spans them
    too, where the step all but divides the length; on a fine lattice it would only lie one step too far.
    """
    check_above_zero(length=length, spacing=step)
    steps = length / step
    return math.floor(steps + max(STEP_NOISE, min(LONGER * steps, OF_A_STEP)))


def _along_lattice(z: Floats, heading: Heading, steps: int) -> Floats:
    """Gaps [ny, nx, k] along rows, columns or diagonals of the surfaces."""
    ny, nx, count = z.shape
    if heading.dy == 0:
        return np.swapaxes(line_gaps(np.swapaxes(z, 0, 1).reshape(nx, -1), steps).reshape(nx, ny, count), 0, 1)
    if heading.dx == 0:
        return line_gaps(z.reshape(ny, -1), steps).reshape(z.shape)
    # beyond the ends of its rows lies so much that no bar rests on that the next row is out of reach
    steps, order = min(steps, ny - 1, nx - 1), np.s_[:: int(heading.dx)]
    wide = np.full((ny, nx + steps, count), DEEP)
    wide[:, :nx] = z[:, order]
    gap = _walked_gaps(wide.reshape(-1), (nx + steps + 1) * count, steps)
    return gap.reshape(wide.shape)[:, :nx][:, order]


def line_gaps(z: Floats, steps: int) -> Floats:
    """Gaps along the first axis of [n, lines]."""
    n, lines = z.shape
    steps = min(steps, n - 1)
    gap = np.empty_like(z)
    width = max(1, BLOCK // max(n, 1))
    for first in range(0, lines, width):
        block = np.ascontiguousarray(z[:, first : first + width])
        gap[:, first : first + width] = _walked_gaps(block.reshape(-1), block.shape[1], steps).reshape(block.shape)
    return gap


def _walked_gaps(z: Floats, stride: int, steps: int) -> Floats:
    """Gaps [n] under bars up to so many steps long, a step leading from a station to the one ``stride`` numbers on.

    For a contact p only the steepest chord that reaches beyond a station matters there. So walk the
    distance d from the full length down, keep for every p at once the steepest slope to any q at least
    d away, and compare that chord with the surface at p + d - 1: cost n x steps, not n x steps squared.
    """
    blank = np.isnan(z)
    broken = bool(blank.any())
    reach = _steps_to_blank(blank, stride) if broken else None
    top = z.copy()  # the highest chord over each station so far
    slope = np.full_like(z, -np.inf)
    work = np.empty_like(z)
    for d in range(steps, 1, -1):
        m = max(0, len(z) - d * stride)
        chord, best, here = work[:m], slope[:m], z[:m]
        np.subtract(z[len(z) - m :], here, out=chord)
        chord *= 1 / d
        np.maximum(best, chord, out=best)
        if reach is not None:
            np.copyto(best, -np.inf, where=reach[:m] < d)
        np.multiply(best, d - 1, out=chord)
        chord += here
        over = top[(d - 1) * stride :][:m]
        (np.fmax if broken else np.maximum)(over, chord, out=over)
    top -= z
    top[blank] = np.nan
    return top


def _steps_to_blank(blank: NDArray[np.bool_], stride: int) -> NDArray[np.int32]:
    """[n] how many steps from each station the line stays unbroken; -1 at a blank."""
    reach = -blank.astype(np.int32)
    for stop in range(len(blank) - stride, 0, -stride):
        part, ahead = slice(max(0, stop - stride), stop), slice(max(stride, stop), stop + stride)
        reach[part] = np.where(blank[part], -1, reach[ahead] + 1)
    return reach


def _oblique_gaps(z: Floats, heading: Heading, steps: int, spacing: float) -> Floats:
    """Gaps [ny, nx, k] at the nodes, under bars laid through each node at a heading off the lattice."""
    steps = min(steps, sum(z.shape[:2]))  # no more of a bar lies on the surface
    if isinstance(spacing, UnrolledStep):
        return _template_gaps(z, heading, steps, spacing)
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


def _template_gaps(z: Floats, heading: Heading, steps: int, spacing: UnrolledStep) -> Floats:
    """As :func:`_oblique_gaps`, at any heading across the curve of a surface that was unrolled."""
    (behind, near), (ahead, far) = (template_arms(z, heading, sign, steps - 1, spacing) for sign in (-1, 1))
    top, slope = z.copy(), np.empty_like(z)
    for i, contact in enumerate(behind):
        slope.fill(-np.inf)
        for j, other in enumerate(ahead[: max(0, steps - i - 1)]):
            np.fmax(slope, (other - contact) / (near[i] + far[j])[:, None], out=slope)
        np.fmax(top, contact + slope * near[i][:, None], out=top)
    return top - z


def template_arms(z: Floats, heading: Heading, sign: int, steps: int, spacing: UnrolledStep) -> tuple[Floats, Floats]:
    """Contacts 1, 2, ... steps from each node: heights [steps, ny, nx, ...] of a chord, and how far [steps, nx].

    See :meth:`~flatness.survey.readings.Bend.reaches`; NaN beyond a break or where the curve has turned too far.
    """
    beyond = 0 if math.isinf(turn_of(spacing)) else math.ceil(steps * abs(heading.dx))
    wide = np.pad(z, ((0, 0), (beyond, beyond), *((0, 0),) * (z.ndim - 2)), mode="wrap")
    arm = arm_heights(wide, heading, sign, steps)[:, :, beyond : beyond + z.shape[1]]
    cosine, far = _reaches(heading, sign, len(arm), spacing)
    arm[arm == DEEP] = np.nan
    arm /= cosine.reshape(len(arm), 1, -1, *(1,) * (z.ndim - 2))
    return arm, far


def _reaches(heading: Heading, sign: int, steps: int, spacing: UnrolledStep) -> tuple[Floats, Floats]:
    """[steps, nx] the cosines and distances, in steps, of contacts of each column."""
    away: Floats = sign * float(spacing) * np.arange(1.0, steps + 1)[:, None]
    cosine, far = spacing.bend.reaches(spacing.x, away * heading.dx, away * heading.dy)
    return cosine, far / (float(spacing) * heading.step)


def oblique_gaps_at(z: Floats, at: NDArray[np.intp], spacing: float, length: float, headings: int) -> Floats:
    """Largest gaps [m] mm at some nodes of a stack [k, ny, nx], under bars at the headings off the lattice's lines.

    ``at`` [m] are places in the stack laid flat. Few nodes of many surfaces cost less so than by :func:`gap_map`.
    """
    turned = [h for h in all_headings(headings) if not h.on_lattice]
    most = sum(z.shape[1:])  # steps of a bar that lie on the surface
    beyond = max((min(whole_steps(length, spacing * h.step), most) for h in turned), default=0)
    wide = np.pad(z, ((0, 0), (beyond, beyond), (beyond, beyond)), constant_values=np.nan)
    # of the square about each node that bars reach
    corner = np.ravel_multi_index(np.unravel_index(at, z.shape), wide.shape)
    gap = np.empty(len(at))
    for first in range(0, len(at), NODES):
        part = corner[first : first + NODES]
        here = _heights_from(wide, part, beyond, 0.0, 0.0)
        top = here.copy()
        for heading in turned:
            steps = min(whole_steps(length, spacing * heading.step), most)
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
        run = longest_run(z, heading, whole_steps(length, step), spacing)
        longest = max(longest, run * step)
    return longest


def longest_run(z: Floats, heading: Heading, most: int, spacing: float = 1.0) -> int:
    """How many steps of a heading, up to ``most``, are unbroken somewhere."""
    if not math.isinf(turn_of(spacing)):
        z = np.hstack([z, z[:, : math.ceil(most * abs(heading.dx))]])
    reached = np.isfinite(z)
    for k in range(1, most + 1):
        reached = reached & np.isfinite(displaced(z, k * heading.dx, k * heading.dy))
        if not reached.any():
            return k - 1
    return most


def window_departures(z: Floats, heading: Heading, steps: int, spacing: float = 1.0) -> Floats:
    """Largest and least departure of each node from the chord of any bar exactly ``steps`` long over it.

    Returns [2, ..., ny, nx] mm: how far the node stands above, and (negative) below, the straight line
    between the surface at the bar's two ends. NaN where no such bar covers the node. A bar goes on over the seam of
    a surface that closes, whose step ``spacing`` is.
    """
    if not math.isinf(turn_of(spacing)):
        beyond = min(math.ceil(steps * abs(heading.dx)), z.shape[-1])
        wide = np.concatenate([z[..., z.shape[-1] - beyond :], z, z[..., :beyond]], axis=-1)
        return window_departures(wide, heading, steps)[..., beyond : beyond + z.shape[-1]]
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


Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Requirement:
    """No gap under a straightedge may be larger than allowed.

    Attributes
    ----------
    length : of the straightedge [mm]
    allowed : largest gap [mm], above zero
    """

    length: float
    allowed: float

    def __post_init__(self) -> None:
        check_above_zero(length=self.length, allowed=self.allowed)


@dataclass(frozen=True, eq=False, kw_only=True)
class Placements:
    """Placements under which the gap is larger than allowed, m of them, worst first at each node.

    Attributes
    ----------
    requirement, heading : [m] which one of each, counted from 0
    node : [m] the node over which the gap is, in the lattice read row by row
    behind, ahead : [m] steps along the heading from the node to either contact
    excess : [m] gap less what is allowed [mm]
    """

    requirement: Ints
    heading: Ints
    node: Ints
    behind: Ints
    ahead: Ints
    excess: Floats

    def __len__(self) -> int:
        return len(self.node)

    def take(self, which: Ints | NDArray[np.bool_]) -> Placements:
        """Some of them."""
        return Placements(**{name: part[which] for name, part in vars(self).items()})

    def key(self) -> Ints:
        """[m] a number that no other placement has, whichever requirement it broke."""
        number = self.node
        for part in (self.heading, self.behind, self.ahead, self.requirement):
            number = number * 4096 + part
        return number


def broken_placements(
    z: Floats,
    spacing: float,
    requirements: Sequence[Requirement],
    headings: int,
    most: int = 3,
    slack: float = 0.0,
    share: Floats | None = None,
) -> Placements:
    """The worst placements over each node whose gap is larger than allowed.

    Parameters
    ----------
    z : [ny, nx] mm, NaN outside
    spacing : lattice step [mm]
    requirements : one or more
    headings : directions, equally spaced over half a turn
    most : placements kept a node, all requirements and headings together
    slack : how much larger than allowed a gap must be to count [mm]
    share : [ny, nx] of what is allowed, where less is wanted over a node; None: all of it
    """
    found = [_none()]
    shares = np.ones(z.size) if share is None else share.ravel()
    for r, requirement in enumerate(requirements):
        for h, heading in enumerate(all_headings(headings)):
            steps = whole_steps(requirement.length, spacing * heading.step)
            if steps >= 2:
                allowed = requirement.allowed * shares
                found.append(_worst_along(z, heading, steps, allowed, most, slack, (r, h), spacing))
    every = _joined(found)
    order = np.lexsort((-every.excess, every.node))
    node = every.node[order]
    first = np.flatnonzero(np.concatenate([[True], node[1:] != node[:-1]])) if len(node) else np.empty(0, int)
    rank = np.arange(len(node)) - np.repeat(first, np.diff(np.append(first, len(node))))
    return every.take(order[rank < most])


def rows_of(placements: Placements, shape: tuple[int, int], headings: int, spacing: float) -> csr_array:
    """[m, ny nx] weights with which the heights make the gap of each placement [mm per mm]."""
    turned = all_headings(headings)
    row, column, weight = [np.empty(0, np.int64)], [np.empty(0, np.int64)], [np.empty(0)]
    for h in np.unique(placements.heading):
        heading = turned[int(h)]
        mine = np.flatnonzero(placements.heading == h)
        node = placements.node[mine]
        row.append(mine)
        column.append(node)
        weight.append(np.full(len(mine), -1.0))
        sides = ((placements.behind[mine], -1), (placements.ahead[mine], 1))
        (_, behind), (_, ahead) = far = [_how_far(away, node, heading, sign, shape[1], spacing) for away, sign in sides]
        for (away, sign), (cosine, _), other in zip(sides, far, (ahead, behind), strict=True):
            for k in np.unique(away):
                part = away == k
                share = other[part] / (behind + ahead)[part] / cosine[part]
                for jx, jy, w in corners(sign * int(k) * heading.dx, sign * int(k) * heading.dy):
                    row.append(mine[part])
                    iy, ix = divmod(node[part], shape[1])
                    column.append((iy + jy) * shape[1] + (ix + jx) % shape[1])
                    weight.append(w * share)
    entries = (np.concatenate(weight), (np.concatenate(row), np.concatenate(column)))
    return csr_array(coo_array(entries, shape=(len(placements), shape[0] * shape[1])))


def _how_far(away: Ints, node: Ints, heading: Heading, sign: int, nx: int, spacing: float) -> tuple[Floats, Floats]:
    """Cosines and distances [m] in steps of contacts so many steps from nodes."""
    if not (heading.dx and isinstance(spacing, UnrolledStep)):
        return np.ones(len(away)), away.astype(np.float64)
    cosine, far = _reaches(heading, sign, int(away.max(initial=1)), spacing)
    return cosine[away - 1, node % nx], far[away - 1, node % nx]


def _worst_along(
    z: Floats,
    heading: Heading,
    steps: int,
    allowed: Floats,
    most: int,
    slack: float,
    which: tuple[int, int],
    spacing: float,
) -> Placements:
    """Of one heading, for each contact behind a node the steepest chord to a contact ahead; the worst of those."""
    flat = z.reshape(-1)
    (behind, near), (ahead, far) = (_flat_arms(z, heading, sign, steps - 1, spacing) for sign in (-1, 1))
    found = [_none()]
    width = max(1, 8 * BLOCK // steps)
    for first in range(0, len(flat), width):
        part = slice(first, first + width)
        a, b, here = behind[:, part], ahead[:, part], flat[part]
        count = min(len(a), steps - 1) if len(b) else 0
        over = np.full((count, len(here)), -np.inf)
        reach = np.zeros((count, len(here)), dtype=np.int64)
        for i in range(1, count + 1):
            most_ahead = min(len(b), steps - i)
            slope = (b[:most_ahead] - a[i - 1]) / (near[i - 1, part] + far[:most_ahead, part])
            best = slope.argmax(axis=0)
            reach[i - 1] = best + 1
            chord = a[i - 1] + near[i - 1, part] * slope[best, np.arange(len(here))]
            over[i - 1] = chord - here - allowed[part]
        over[np.isnan(over)] = -np.inf
        broken = np.flatnonzero((over > slack).any(axis=0))
        kept = np.argsort(-over[:, broken], axis=0, kind="stable")[:most]
        excess = np.take_along_axis(over[:, broken], kept, axis=0)
        worse = excess > slack
        node = np.broadcast_to(broken, kept.shape)[worse]
        i_worse = kept[worse]
        full = np.full(len(node), 1, dtype=np.int64)
        found.append(
            Placements(
                requirement=full * which[0],
                heading=full * which[1],
                node=node + first,
                behind=i_worse + 1,
                ahead=reach[i_worse, node],
                excess=excess[worse],
            )
        )
    return _joined(found)


def _flat_arms(z: Floats, heading: Heading, sign: int, steps: int, spacing: float) -> tuple[Floats, Floats]:
    """Contacts [steps, nodes] as :func:`arm_heights` or :func:`template_arms` has them, and how far in steps."""
    if heading.dx and isinstance(spacing, UnrolledStep):
        arm, far = template_arms(z, heading, sign, steps, spacing)
        far = np.broadcast_to(far[:, None, :], arm.shape).reshape(-1, z.size)
        lost = np.isnan(arm).reshape(-1, z.size)
        return np.where(lost, DEEP, arm.reshape(-1, z.size)), np.where(lost, 1.0, far)
    arm = arm_heights(z, heading, sign, steps).reshape(-1, z.size)
    return arm, np.broadcast_to(np.arange(1.0, len(arm) + 1)[:, None], arm.shape)


def _none() -> Placements:
    empty = np.empty(0, dtype=np.int64)
    return Placements(requirement=empty, heading=empty, node=empty, behind=empty, ahead=empty, excess=np.empty(0))


def _joined(parts: list[Placements]) -> Placements:
    return Placements(**{name: np.concatenate([vars(part)[name] for part in parts]) for name in vars(parts[0])})
