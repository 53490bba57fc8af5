"""Points in order divided into straights and arcs, as a start for the fit of a chain."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from flatness.arrays import Floats
from flatness.curves.shapes import polyline
from flatness.measures.lines import Place

LEAST = 3  # points to a piece
WORST, TINY = 1e14, 1e-12  # condition of a matrix that still says something; least square of a radius
STRAIGHTER = 1.3  # an arc must leave so many times less than a straight to be one


@dataclass(frozen=True)
class Begun:
    """Pieces to start from: kinds, lengths [mm], curvatures [1/mm], first place [mm] and heading [rad]."""

    kinds: list[str]
    lengths: list[float]
    curvatures: list[float]
    start: Place
    heading: float


class Division:
    """Points [n, 2] mm in order, and what every stretch of them costs as a straight and as an arc."""

    def __init__(self, xy: Floats) -> None:
        self.xy, self.along = xy, polyline(xy)
        self.straight, self.arc, self.curvature = _costs(xy)

    def begin(self, count: int, kinds: Sequence[str] | None = None) -> Begun:
        """So many pieces with the least sum of squares, by dynamic programming.

        ``kinds`` says which are straight and which are arcs; None takes what fits each better.
        """
        n, straight, arc = len(self.xy), self.straight, self.arc
        better = np.where(straight <= STRAIGHTER * arc, straight, arc)
        cost = [better] * count if kinds is None else [straight if one == "straight" else arc for one in kinds]
        best = np.full((count + 1, n + 1), np.inf)
        cut = np.zeros((count + 1, n + 1), dtype=int)
        best[0, 0] = 0.0
        for k in range(1, count + 1):
            for end in range(LEAST * k, n + 1):
                begin = np.arange(LEAST * (k - 1), end - LEAST + 1)
                whole = best[k - 1, begin] + cost[k - 1][begin, end - 1]
                at = int(whole.argmin())
                best[k, end], cut[k, end] = whole[at], begin[at]
        ends = [n]
        for k in range(count, 0, -1):
            ends.append(int(cut[k, ends[-1]]))
        ends.reverse()
        edges = [0.0, *((self.along[e - 1] + self.along[e]) / 2 for e in ends[1:-1]), float(self.along[-1])]
        parts = [(a, b - 1) for a, b in pairwise(ends)]
        chosen = ["straight" if straight[p] <= STRAIGHTER * arc[p] else "arc" for p in parts]
        chosen = chosen if kinds is None else list(kinds)
        bends = [0.0 if kind == "straight" else float(self.curvature[p]) for kind, p in zip(chosen, parts, strict=True)]
        lengths = [float(b - a) for a, b in pairwise(edges)]
        first = self.xy[: parts[0][1] + 1]
        heading = math.atan2(*(first[-1] - first[0])[::-1]) - bends[0] * lengths[0] / 2
        return Begun(chosen, lengths, bends, (float(self.xy[0, 0]), float(self.xy[0, 1])), heading)


def _costs(xy: Floats) -> tuple[Floats, Floats, Floats]:
    """Sums of squares [n, n] about the best straight and the best circle from point i to point j, and its curvature.

    The circle by its equation, whose error over twice the radius is nearly the distance from it.
    """
    n = len(xy)
    extent = float(np.ptp(xy, axis=0).max()) or 1.0
    straight, arc, curvature = (np.full((n, n), np.inf) for _ in range(3))
    for i in range(n - LEAST + 1):
        u, v = ((xy[i:] - xy[i]) / extent).T
        w = u * u + v * v
        one = np.ones_like(u)
        terms = np.stack([2 * u, 2 * v, one, w])
        # [points, 4, 4] normal matrices of all stretches that begin here
        moments = np.cumsum(np.einsum("ak,bk->kab", terms, terms), axis=0)[LEAST - 1 :]
        count = np.arange(LEAST, n - i + 1)
        mean = moments[:, :2, 2] / (2 * count[:, None])
        scatter = moments[:, :2, :2] / 4 - count[:, None, None] * mean[:, :, None] * mean[:, None, :]
        straight[i, i + LEAST - 1 :] = np.maximum(np.linalg.eigvalsh(scatter)[:, 0], 0) * extent**2
        left, right = moments[:, :3, :3], moments[:, :3, 3]
        known = np.linalg.cond(left) < WORST
        solved = np.zeros_like(right)
        solved[known] = np.linalg.solve(left[known], right[known][..., None])[..., 0]
        square = np.maximum(moments[:, 3, 3] - np.einsum("ka,ka->k", solved, right), 0)
        radius = np.sqrt(np.maximum(solved[:, 2] + solved[:, 0] ** 2 + solved[:, 1] ** 2, TINY))
        arc[i, i + LEAST - 1 :] = np.where(known, square / (4 * radius**2) * extent**2, np.inf)
        # twice the area swept about the center from i to j: positive counterclockwise, past half a turn too
        swept = np.concatenate([[0.0], np.cumsum(u[:-1] * v[1:] - v[:-1] * u[1:])])[LEAST - 1 :]
        swept -= solved[:, 0] * v[LEAST - 1 :] - solved[:, 1] * u[LEAST - 1 :]
        curvature[i, i + LEAST - 1 :] = np.copysign(1 / (radius * extent), swept)
    return straight, arc, curvature
