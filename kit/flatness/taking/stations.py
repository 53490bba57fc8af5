"""The stations of a sheet in the order in which one walks them: a coarse grid first, then line by line between.

Lines run across the members where their layout is known, so that each of them crosses every member; else along the
longer side, so that there are few turns.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from shapely import Polygon

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.notes import Note
from flatness.survey.readings import Framing
from flatness.survey.sheets import on_tape, reached, station_axes

COARSE_MM = 4 * 304.8  # between stations of the coarse grid, at the most: no surface is failed before it stands
SLACK = 1.01  # a tape's width more
FEWEST = 6
Stands = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Station:
    """A place to read.

    Attributes
    ----------
    number : in :class:`Walk`
    x, y : [mm]
    line : number of the line that it stands on
    coarse : whether it is one of the coarse grid
    part : number of the part of the surface that is read from one place of the instrument
    """

    number: int
    x: float
    y: float
    line: int
    coarse: bool
    part: int = 0


@dataclass(frozen=True, eq=False)
class Walk:
    """All stations of a surface, and how one walks from one to the next.

    Attributes
    ----------
    stations : line by line
    along : ``x`` or ``y``, the direction in which the lines run
    stands : about where the instrument stands for each part [mm]; one part is read after the other
    """

    stations: tuple[Station, ...]
    along: str
    stands: Stands = ()

    @cached_property
    def lines(self) -> dict[int, list[Station]]:
        """The stations of each line, from one end to the other."""
        found: dict[int, list[Station]] = {}
        for one in self.stations:
            found.setdefault(one.line, []).append(one)
        return found

    @cached_property
    def coarse(self) -> list[Station]:
        """The stations of the coarse grid, back and forth."""
        lines = [[one for one in line if one.coarse] for line in self.lines.values()]
        filled = [line for line in lines if line]
        return [one for k, line in enumerate(filled) for one in (line[::-1] if k % 2 else line)]

    @cached_property
    def xy(self) -> Floats:
        """[n, 2] mm"""
        return np.array([(one.x, one.y) for one in self.stations])

    def at(self, x: float, y: float, within: float = 1.0) -> Station | None:
        """The station at a place [mm], or None where there is none."""
        away = np.hypot(*(self.xy - (x, y)).T)
        return self.stations[int(away.argmin())] if away.min() <= within else None

    def beside(self, station: Station) -> list[Station]:
        """The stations next to one, nearest first: where one may have stood by mistake."""
        away = np.hypot(*(self.xy - (station.x, station.y)).T)
        return [self.stations[k] for k in np.argsort(away, kind="stable")[1:9]]

    def coarse_stands(self, done: Collection[int]) -> bool:
        """Whether the coarse grid is done; ``done``: numbers of the stations that were read or left out."""
        return all(one.number in done for one in self.coarse)

    def crosses_all(self, done: Collection[int], framing: Framing | None) -> bool:
        """Whether every member is crossed by a line of which all stations are done."""
        whole = [line for line in self.lines.values() if all(one.number in done for one in line)]
        if framing is None:
            return bool(whole)
        across = "x" if framing.along == "y" else "y"
        every = self.xy[:, 0 if across == "x" else 1]
        first = framing.first + framing.spacing * math.ceil((every.min() - framing.first) / framing.spacing)
        members = np.arange(first, every.max() + 1e-6, framing.spacing)
        spans = [[getattr(one, across) for one in line] for line in whole]
        return all(any(min(span) - 1 <= member <= max(span) + 1 for span in spans) for member in members)

    def following(
        self, done: Collection[int], here: Station | None, worth: Mapping[int, float] | None = None
    ) -> Station | None:
        """The next station to read; None where all are done.

        Parameters
        ----------
        done : numbers of the stations that were read or left out
        here : where one stands now
        worth : of each line, what its stations that are left would tell; the nearest line where not known
        """
        part = min((one.part for one in self.stations if one.number not in done), default=None)
        if part is None:
            return None
        coarse = next((one for one in self.coarse if one.number not in done and one.part == part), None)
        if coarse is not None:
            return coarse
        left = {
            number: [one for one in line if one.number not in done and one.part == part]
            for number, line in self.lines.items()
        }
        left = {number: line for number, line in left.items() if line}
        if here is not None and not here.coarse and here.line in left:
            return min(left[here.line], key=lambda one: _away([one], here))
        line = max(left.values(), key=lambda one: ((worth or {}).get(one[0].line, 0.0), -_away(one, here)))
        return min((line[0], line[-1]), key=lambda one: _away([one], here))


def _away(line: Sequence[Station], here: Station | None) -> float:
    ends = (line[0], line[-1])
    return 0.0 if here is None else min(math.hypot(one.x - here.x, one.y - here.y) for one in ends)


def walk_of(
    outline: Polygon,
    openings: Sequence[Polygon],
    step: float,
    framing: Framing | None,
    unit: str,
    reach: float | None = None,
) -> Walk:
    """The stations of a surface that begins at (0, 0), as ``flatness sheet`` has them.

    Parameters
    ----------
    outline, openings : of the surface [mm]
    step : between stations [mm]; along the members where their layout is stated, for then each of them is read
    framing : the members beneath
    unit : of the tape, to whose marks positions are rounded
    reach : how far the instrument reads [mm]; None: over all of the surface

    Raises
    ------
    ArgumentError : an outline that begins elsewhere, or too few stations
    """
    west, south, east, north = outline.bounds
    if abs(west) > 1 or abs(south) > 1:
        raise ArgumentError(
            "the outline does not begin at the corner",
            column="outline",
            value=f"{west:.0f}, {south:.0f} mm",
            expected="corners from 0, 0 on, to the right and away from the door wall",
        )
    if reach is not None and reach < 2 * step:
        raise ArgumentError(
            "the instrument reads less far than two stations",
            column="range",
            value=Note("exact", mm=reach),
            expected="how far it reads, such as 50 ft",
            remedy="correct the range; leave it out where it reads over all of the surface",
        )
    x, y = (
        on_tape(name, axis, unit) for name, axis in zip("xy", station_axes(east, north, step, framing), strict=True)
    )
    here = reached(x, y, outline, openings)
    if here.sum() < FEWEST:
        raise ArgumentError("too few stations", column="step", value=str(int(here.sum())), expected=f"{FEWEST} or more")
    along = ("x" if framing.along == "y" else "y") if framing is not None else "x" if east >= north else "y"
    few_x, few_y = _thinned(x), _thinned(y)
    part_of, stands = _parts(east, north, reach, step)
    stations: list[Station] = []
    lines = here if along == "x" else here.T
    for line, row in enumerate(lines):
        for k in np.flatnonzero(row):
            ix, iy = (int(k), line) if along == "x" else (line, int(k))
            coarse = ix in few_x and iy in few_y
            place = float(x[ix]), float(y[iy])
            stations.append(Station(len(stations), *place, line, coarse, part_of(*place)))
    return Walk(tuple(stations), along, stands)


def _parts(east: float, north: float, reach: float | None, step: float) -> tuple[Callable[[float, float], int], Stands]:
    """The part that a place [mm] belongs to, and about where the instrument stands for each.

    Equal rectangles, numbered back and forth. In reach of the middle of each are its corners, and so are the stations
    next to it, a step [mm] off at the most, that tie it to the part before.
    """
    if reach is None:
        return (lambda x, y: 0), ((east / 2, north / 2),)
    nx, ny = (max(1, math.ceil(extent / (math.sqrt(2) * (reach - step)) - 1e-9)) for extent in (east, north))
    wide, high = east / nx, north / ny

    def number(ix: int, iy: int) -> int:
        return iy * nx + (ix if iy % 2 == 0 else nx - 1 - ix)

    def part_of(x: float, y: float) -> int:
        return number(min(int(x / wide), nx - 1), min(int(y / high), ny - 1))

    middles = {number(ix, iy): ((ix + 0.5) * wide, (iy + 0.5) * high) for ix in range(nx) for iy in range(ny)}
    return part_of, tuple(middles[k] for k in range(nx * ny))


def _thinned(axis: Floats) -> set[int]:
    """Numbers of the positions of the coarse grid: the first, the last, and as few between as may be."""
    kept = [0]
    while kept[-1] < len(axis) - 1:
        far = np.flatnonzero(axis <= axis[kept[-1]] + COARSE_MM * SLACK)
        kept.append(max(int(far[-1]), kept[-1] + 1))
    return set(kept)
