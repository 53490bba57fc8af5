"""Stations read close together along lines that stand far apart: a bar placed along the lines alone."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from flatness.arrays import Floats
from flatness.measures.bars import LONGER
from flatness.measures.lines import Place
from flatness.measures.straightedge import Placement, StraightedgeResult
from flatness.notes import Note
from flatness.surface.lattice import Surface, grid_axes
from flatness.survey.readings import SAME_PLACE_MM, Survey, place_keys

BROKEN = 1.5  # of the usual step along a line: a bar does not cross a wider one
PARALLEL = 0.5  # sine of the angle between lines up to which they run beside one another; the kit's own
MOST_TRIED = 40  # lines that are measured from to the next
LEAST_ON_A_LINE = 3  # stations; fewer show no gap under a bar


@dataclass(frozen=True, eq=False, kw_only=True)
class StationLines:
    """Lines of stations.

    Attributes
    ----------
    x, y : [stations] mm
    index : [readings] which station each reading is of
    lines : for each unbroken line its stations, in order along it
    along : usual step along the lines [mm]
    across : usual distance from one line to the next [mm]
    """

    x: Floats
    y: Floats
    index: NDArray[np.intp]
    lines: tuple[NDArray[np.intp], ...]
    along: float
    across: float

    @classmethod
    def of(cls, survey: Survey) -> StationLines | None:
        """The named lines; else the rows of a grid, or its columns, whichever are read closer; None for neither."""
        x, y, _ = survey.xyz()
        _, first, index = np.unique(place_keys(x, y), axis=0, return_index=True, return_inverse=True)
        x, y = x[first], y[first]
        names = survey.points["line"].astype(str).str.strip().to_numpy()[first]
        if (names != "").any():
            groups = [np.flatnonzero(names == name) for name in sorted(set(names[names != ""]))]
        else:
            axes = grid_axes(x, y)
            if axes is None:
                return None
            steps = [float(np.median(np.diff(axis))) for axis in axes]
            fixed, axis = (x, axes[0]) if steps[1] < steps[0] else (y, axes[1])
            groups = [np.flatnonzero(np.abs(fixed - place) <= SAME_PLACE_MM) for place in axis]
        ordered = [_ordered(x, y, group) for group in groups if len(group) >= LEAST_ON_A_LINE]
        if len(ordered) < 2:
            return None
        steps_along = [np.hypot(np.diff(x[line]), np.diff(y[line])) for line in ordered]
        along = float(np.median(np.concatenate(steps_along)))
        parts = [
            part
            for line, gaps in zip(ordered, steps_along, strict=True)
            for part in np.split(line, np.flatnonzero(gaps > BROKEN * along) + 1)
            if len(part) >= LEAST_ON_A_LINE
        ]
        return (
            cls(x=x, y=y, index=index.reshape(-1), lines=tuple(parts), along=along, across=_across(x, y, ordered))
            if parts
            else None
        )

    def largest(self, heights: Floats, length: float) -> Floats:
        """The largest gap [...] mm under a bar of a length [mm] along any line; heights [..., readings] mm."""
        z = self._at_stations(heights)
        worst = np.zeros(z.shape[:-1])
        for stations, part in self._placements(length):
            np.maximum(worst, _under(z[..., stations], part).max(axis=-1), out=worst)
        return worst

    def laid(self, heights: Floats, length: float, surface: Surface) -> StraightedgeResult:
        """What the bar shows along the lines, for heights [readings] mm: on the surface's lattice NaN beside them."""
        z = self._at_stations(heights)
        gaps = np.full(len(self.x), np.nan)
        gaps[np.concatenate(self.lines)] = 0.0
        worst: Placement | None = None
        for stations, part in self._placements(length):
            under = _under(z[stations], part)
            np.maximum(gaps[stations[1:-1]], under, out=under)
            gaps[stations[1:-1]] = under
            deepest = int(under.argmax())
            if under[deepest] > (0.0 if worst is None else worst.gap):
                ends = (self._place(stations[0]), self._place(stations[-1]))
                turn = math.degrees(math.atan2(ends[1][1] - ends[0][1], ends[1][0] - ends[0][0])) % 180
                worst = Placement(float(under[deepest]), self._place(stations[deepest + 1]), ends, turn)
        used = max((self._span(stations) for stations, _ in self._placements(length)), default=0.0)
        return StraightedgeResult(
            gap=self._beside(gaps, surface),
            worst=worst,
            crown=0.0,
            crown_at=None,
            length=length,
            length_used=used,
            note=Note("lines-apart", apart=self.across),
        )

    def _span(self, stations: NDArray[np.intp]) -> float:
        return math.dist(self._place(stations[0]), self._place(stations[-1]))

    def _beside(self, values: Floats, surface: Surface) -> Floats:
        """[ny, nx] values of the stations at the nodes nearest to the lines; NaN elsewhere."""
        there = np.flatnonzero(np.isfinite(values))
        tree = KDTree(np.column_stack([self.x[there], self.y[there]]))
        gx, gy = np.meshgrid(surface.x, surface.y)
        reach = math.hypot(self.along / 2, surface.spacing) * (1 + 1e-9)
        away, nearest = map(np.asarray, tree.query(np.column_stack([gx.ravel(), gy.ravel()])))
        field = np.where(away <= reach, values[there[nearest]], np.nan).reshape(gx.shape)
        return np.where(np.isfinite(surface.height), field, np.nan)

    def _at_stations(self, heights: Floats) -> Floats:
        count = np.bincount(self.index)
        means = [np.bincount(self.index, one) / count for one in heights.reshape(-1, heights.shape[-1])]
        return np.reshape(means, (*heights.shape[:-1], len(count)))

    def _placements(self, length: float) -> Iterator[tuple[NDArray[np.intp], Floats]]:
        """For each pair of contacts the stations from one to the other, and how far along the others stand [0 to 1]."""
        for line in self.lines:
            place = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(self.x[line]), np.diff(self.y[line])))])
            for p in range(len(line) - 2):
                for q in range(p + 2, len(line)):
                    span = place[q] - place[p]
                    if span > length * (1 + LONGER):
                        break
                    yield line[p : q + 1], (place[p + 1 : q] - place[p]) / span

    def _place(self, station: np.intp) -> Place:
        return float(self.x[station]), float(self.y[station])


def _under(z: Floats, part: Floats) -> Floats:
    """Gaps [..., stations less two] mm between a chord from the first to the last and what is between them."""
    start, end = z[..., :1], z[..., -1:]
    gaps: Floats = start + part * (end - start) - z[..., 1:-1]
    return gaps


def _ordered(x: Floats, y: Floats, group: NDArray[np.intp]) -> NDArray[np.intp]:
    places = np.column_stack([x[group], y[group]])
    direction = np.linalg.svd(places - places.mean(axis=0), full_matrices=False)[2][0]
    return group[np.argsort(places @ direction, kind="stable")]


def _across(x: Floats, y: Floats, lines: list[NDArray[np.intp]]) -> float:
    """The usual distance [mm] from a station to the nearest of another line that does not cross its own."""
    turns = [math.atan2(y[line[-1]] - y[line[0]], x[line[-1]] - x[line[0]]) for line in lines]
    away = []
    for i in range(0, len(lines), max(1, len(lines) // MOST_TRIED)):  # of very many lines some tell what is usual
        line = lines[i]
        beside = [k for k in range(len(lines)) if k != i and abs(math.sin(turns[k] - turns[i])) <= PARALLEL]
        others = np.concatenate([lines[k] for k in beside or [k for k in range(len(lines)) if k != i]])
        tree = KDTree(np.column_stack([x[others], y[others]]))
        away.append(np.asarray(tree.query(np.column_stack([x[line], y[line]]))[0]))
    return float(np.median(np.concatenate(away)))
