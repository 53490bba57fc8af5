"""Straightedge placements as the rows of a linear program: the worst at each node, and their weights on the nodes.

A placement over a node has one contact some steps behind it and one some steps ahead, on the heading through it.
Its gap, the chord between the contacts less the surface at the node, is a weighted sum of heights: a contact off
the lattice's own lines is a bilinear mean of up to four nodes. These are the placements of
:mod:`flatness.measures.bars`, kept one by one where that module keeps the largest gap.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.measures.bars import BLOCK, arm_heights, whole_steps
from flatness.measures.lines import Heading, all_headings
from flatness.surface.lattice import STEP_NOISE

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
        for name, value in (("length", self.length), ("allowed", self.allowed)):
            if not (math.isfinite(value) and value > 0):
                raise ArgumentError(f"{name} out of range", value=str(value), expected="millimetres above zero")


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
        return Placements(
            requirement=self.requirement[which],
            heading=self.heading[which],
            node=self.node[which],
            behind=self.behind[which],
            ahead=self.ahead[which],
            excess=self.excess[which],
        )

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
                found.append(_worst_along(z, heading, steps, requirement.allowed * shares, most, slack, (r, h)))
    every = _joined(found)
    order = np.lexsort((-every.excess, every.node))
    node = every.node[order]
    first = np.flatnonzero(np.concatenate([[True], node[1:] != node[:-1]])) if len(node) else np.empty(0, int)
    rank = np.arange(len(node)) - np.repeat(first, np.diff(np.append(first, len(node))))
    return every.take(order[rank < most])


def rows_of(placements: Placements, shape: tuple[int, int], headings: int) -> csr_array:
    """[m, ny nx] weights with which the heights make the gap of each placement [mm per mm]."""
    turned = all_headings(headings)
    row, column, weight = [np.empty(0, np.int64)], [np.empty(0, np.int64)], [np.empty(0)]
    span = placements.behind + placements.ahead
    for h in np.unique(placements.heading):
        heading = turned[int(h)]
        mine = np.flatnonzero(placements.heading == h)
        node = placements.node[mine]
        row.append(mine)
        column.append(node)
        weight.append(np.full(len(mine), -1.0))
        for away, other, sign in (
            (placements.behind[mine], placements.ahead[mine], -1),
            (placements.ahead[mine], placements.behind[mine], 1),
        ):
            for k in np.unique(away):
                part = away == k
                share = other[part] / span[mine[part]]
                for shift, w in _corners(sign * int(k), heading, shape[1]):
                    row.append(mine[part])
                    column.append(node[part] + shift)
                    weight.append(w * share)
    entries = (np.concatenate(weight), (np.concatenate(row), np.concatenate(column)))
    return csr_array(coo_array(entries, shape=(len(placements), shape[0] * shape[1])))


def _corners(k: int, heading: Heading, nx: int) -> list[tuple[int, float]]:
    """The nodes that carry the height k steps along the heading, counted from the node itself, and their weights."""
    (ix, fx), (iy, fy) = ((math.floor(k * d + STEP_NOISE), k * d) for d in (heading.dx, heading.dy))
    fx, fy = (share if share > STEP_NOISE else 0.0 for share in (fx - ix, fy - iy))
    columns, rows = ((ix, 1 - fx), (ix + 1, fx)), ((iy, 1 - fy), (iy + 1, fy))
    return [(kx + nx * ky, wx * wy) for kx, wx in columns for ky, wy in rows if wx * wy > 0]


def _worst_along(
    z: Floats, heading: Heading, steps: int, allowed: Floats, most: int, slack: float, which: tuple[int, int]
) -> Placements:
    """Of one heading, for each contact behind a node the steepest chord to a contact ahead; the worst of those."""
    flat = z.reshape(-1)
    behind, ahead = (arm_heights(z, heading, sign, steps - 1).reshape(-1, z.size) for sign in (-1, 1))
    found = [_none()]
    width = max(1, 8 * BLOCK // steps)
    for first in range(0, len(flat), width):
        part = slice(first, first + width)
        a, b, here = behind[:, part], ahead[:, part], flat[part]
        count = min(len(a), steps - 1) if len(b) else 0
        over = np.full((count, len(here)), -np.inf)
        reach = np.zeros((count, len(here)), dtype=np.int64)
        for i in range(1, count + 1):
            far = min(len(b), steps - i)
            slope = (b[:far] - a[i - 1]) / np.arange(i + 1, i + far + 1)[:, None]
            best = slope.argmax(axis=0)
            reach[i - 1] = best + 1
            over[i - 1] = a[i - 1] + i * slope[best, np.arange(len(here))] - here - allowed[part]
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


def _none() -> Placements:
    empty = np.empty(0, dtype=np.int64)
    return Placements(requirement=empty, heading=empty, node=empty, behind=empty, ahead=empty, excess=np.empty(0))


def _joined(parts: list[Placements]) -> Placements:
    return Placements(
        **{
            name: np.concatenate([getattr(part, name) for part in parts])
            for name in ("requirement", "heading", "node", "behind", "ahead", "excess")
        }
    )
