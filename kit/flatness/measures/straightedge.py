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
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import label, maximum_position
from scipy.spatial import KDTree

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import settle
from flatness.measures.bars import (
    LONGER,
    Heading,
    Place,
    all_headings,
    gap_map,
    line_gaps,
    longest_run,
    longest_span,
    whole_steps,
    window_departures,
)
from flatness.notes import Note
from flatness.surface.lattice import STEP_NOISE, Surface, UnrolledStep, grid_axes
from flatness.survey.readings import SAME_PLACE_MM, Bend, Survey, place_keys


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
    at: Place
    contacts: tuple[Place, Place]
    heading: float

    @property
    def span(self) -> float:
        """Distance between the two contact points [mm]."""
        return math.dist(*self.contacts)


@dataclass(frozen=True, eq=False, kw_only=True)
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
    return line_gaps(np.atleast_2d(z).T, whole_steps(length, spacing)).T.reshape(z.shape)


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
        gap=gap,
        worst=_worst_gap(surface, gap, length, headings),
        crown=crown,
        crown_at=crown_at,
        length=float(length),
        length_used=used,
        note=_length_note(surface, length, used),
    )


def _length_note(surface: Surface, length: float, used: float) -> str:
    if used >= length * (1 - STEP_NOISE):
        return ""
    if length - used > surface.spacing * (1 - STEP_NOISE):  # a step more would have been laid, had there been room
        return Note("shorter-than-bar", used=used)
    return Note("lattice-length", used=used)


def profile_through(surface: Surface, at: Place, heading: float, reach: float) -> tuple[Floats, Floats]:
    """Distances [mm] from ``at`` and heights [mm] of the surface along a heading, both ways up to ``reach``."""
    turned = Heading.at(heading)
    count = whole_steps(reach, surface.spacing * turned.step)
    k = np.arange(-count, count + 1)
    along = k * surface.spacing
    heights = surface.at(at[0] + along * turned.dx, at[1] + along * turned.dy)
    blank = np.flatnonzero(np.isnan(heights))
    low = max((b for b in blank if b < count), default=-1) + 1
    high = min((b for b in blank if b > count), default=len(k))
    distances: Floats = k[low:high].astype(np.float64) * (surface.spacing * turned.step)
    return distances, heights[low:high]


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


def _bridging(surface: Surface, at: Place, heading: Heading, length: float) -> Placement | None:
    """The placement at this heading with the largest gap at a node: every pair of contacts tried."""
    distance, z = profile_through(surface, at, heading.degrees, length)
    most = whole_steps(length, surface.spacing * heading.step)
    here = int(np.flatnonzero(distance == 0)[0])
    chord, far = z, np.abs(distance)
    if isinstance(surface.spacing, UnrolledStep):
        chord, far = z.copy(), far.copy()
        for side in (np.arange(here)[::-1], np.arange(here + 1, len(z))):
            steps = distance[side] / heading.step
            cosine, far[side] = surface.spacing.bend.reaches(
                np.full(len(side), at[0]), steps * heading.dx, steps * heading.dy
            )
            chord[side] /= cosine
    best: tuple[float, int, int] | None = None
    for p in range(here):
        for q in range(here + 1, min(p + most + 1, len(z))):
            share = far[p] / (far[p] + far[q])
            gap = float(chord[p] + share * (chord[q] - chord[p]) - z[here])
            if math.isfinite(gap) and (best is None or gap > best[0]):
                best = (gap, p, q)
    if best is None:
        return None
    gap, p, q = best
    ends = (_along(at, heading, float(distance[p])), _along(at, heading, float(distance[q])))
    return Placement(gap, at, ends, heading.degrees)


def _along(at: Place, heading: Heading, distance: float) -> Place:
    return (at[0] + distance / heading.step * heading.dx, at[1] + distance / heading.step * heading.dy)


def _worst_crown(surface: Surface, length: float, headings: int) -> tuple[float, Placement | None]:
    crown: float = 0.0
    placement: Placement | None = None
    for heading in all_headings(headings):
        steps = longest_run(
            surface.height, heading, whole_steps(length, surface.spacing * heading.step), surface.spacing
        )
        high = window_departures(surface.height, heading, steps, surface.spacing)[0]
        if np.isfinite(high).any() and np.nanmax(high) > crown + 1e-12:
            iy, ix = np.unravel_index(np.nanargmax(high), high.shape)
            at = (float(surface.x[ix]), float(surface.y[iy]))
            crown = float(np.nanmax(high))
            placement = Placement(crown, at, exact_bar(surface, at, heading, steps)[1], heading.degrees)
    return crown, placement


def exact_bar(
    surface: Surface, at: Place, heading: Heading, steps: int, size: Callable[[float], float] = float
) -> tuple[float, tuple[Place, Place]]:
    """Of the bars exactly ``steps`` long over a node, the one from whose chord the node departs most.

    Returns the departure [mm], positive above the chord, and the bar's two ends; ``size`` says what is most:
    as it is for a hump, ``abs`` where humps and hollows both count.
    """
    distance, z = profile_through(surface, at, heading.degrees, steps * surface.spacing * heading.step)
    here = int(np.flatnonzero(distance == 0)[0])
    departures = {
        p: float(z[here] - z[p] - (z[p + steps] - z[p]) * (here - p) / steps)
        for p in range(max(0, here - steps + 1), min(here, len(z) - steps))
    }
    p = max(departures, key=lambda start: size(departures[start]))
    return departures[p], (_along(at, heading, float(distance[p])), _along(at, heading, float(distance[p + steps])))


SHORTEST_MM = 100.0  # a shorter bar is a slip of the hand
FINER = 4  # stations along the bar to a lattice step
NOISE = 1e-9


@dataclass(frozen=True, eq=False)
class LaidBar:
    """A straightedge where a person laid it.

    Attributes
    ----------
    start, end : its two ends (x, y) [mm]
    placement : the largest gap under it and the contacts on either side; None where it touches all along or rides on
        one hump, with no gap between two contacts
    by_hand : whether a person laid it there, or the kit at the worst of all places; then its ends are the contacts
    """

    start: Place
    end: Place
    placement: Placement | None
    by_hand: bool = True

    @property
    def length(self) -> float:
        """Length of the bar [mm]."""
        return math.dist(self.start, self.end)

    @property
    def gap(self) -> float:
        """Largest gap between two contact points [mm]."""
        return 0.0 if self.placement is None else self.placement.gap


def bar_by_hand(surface: Surface, start: Place, end: Place, longest: float) -> LaidBar:
    """Lay a straightedge from ``start`` toward ``end`` [mm], at most ``longest`` [mm] long.

    It rests, not levelled, on the surface between its ends; its gap is the largest of any way that it can rest there.

    Raises
    ------
    ArgumentError : the two ends are all but one point
    MeasureError : the bar would lie over an opening, or past the edge

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> trough = make_surface([[0, -4, 0]] * 3, spacing=500)
    >>> bar_by_hand(trough, (0, 500), (1000, 500), 3048).gap
    4.0
    """
    far = math.dist(start, end)
    if not far >= SHORTEST_MM:
        what = "the two ends of the straightedge are too close together"
        remedy = "click two points farther apart, or drag from one end"
        raise ArgumentError(what, value=f"{far:.0f} mm apart", expected=f"at least {SHORTEST_MM:.0f} mm", remedy=remedy)
    length = min(far, longest)
    ux, uy = (end[0] - start[0]) / far, (end[1] - start[1]) / far
    count = max(2, math.ceil(FINER * length / surface.spacing - 1e-6))
    s = np.linspace(0.0, length, count + 1)
    heights = surface.at(start[0] + ux * s, start[1] + uy * s)
    if np.isnan(heights).any():
        what = "the straightedge would lie over an opening, or past the edge of what was read"
        expected = "readings under the whole of it"
        raise MeasureError(what, expected=expected, remedy="set it beside the opening, or make it shorter")
    stop = (start[0] + ux * length, start[1] + uy * length)
    gaps = profile_gaps(heights, length / count, length * (1 + NOISE))
    k = int(np.argmax(gaps))
    if settle(float(gaps[k])) <= 0:
        return LaidBar(start, stop, None)
    ends = _contacts(heights, gaps, k)
    places = [(start[0] + ux * float(s[i]), start[1] + uy * float(s[i])) for i in (k, *ends)]
    heading = math.degrees(math.atan2(uy, ux)) % 180.0
    return LaidBar(start, stop, Placement(float(gaps[k]), places[0], (places[1], places[2]), heading))


def _contacts(heights: Floats, gaps: Floats, k: int) -> tuple[int, int]:
    """The stations on either side on which the bar rests: the nearest that it touches."""
    touch = np.flatnonzero(gaps <= NOISE * max(1.0, float(np.ptp(heights))))
    return int(touch[touch < k].max()), int(touch[touch > k].min())


def places_over(surface: Surface, gap: Floats, allowed: float) -> list[tuple[float, Place]]:
    """Gap [mm] and place [mm] of the worst of each area where a map of gaps [ny, nx] is over this, the worst first."""
    known = np.nan_to_num(gap)
    areas, count = label(known > allowed + 1e-6, np.ones((3, 3)))
    peaks: Any = maximum_position(known, areas, range(1, count + 1))
    found = [(float(known[j, i]), (float(surface.x[i]), float(surface.y[j]))) for j, i in peaks]
    return sorted(found, reverse=True)


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
    bend : the curve along which x was unrolled, or None
    along : usual step along the lines [mm]
    across : usual distance from one line to the next [mm]
    """

    x: Floats
    y: Floats
    index: NDArray[np.intp]
    lines: tuple[NDArray[np.intp], ...]
    along: float
    across: float
    bend: Bend | None = None

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
            cls(
                x=x,
                y=y,
                index=index.reshape(-1),
                lines=tuple(parts),
                along=along,
                across=_across(x, y, ordered),
                bend=survey.bend,
            )
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

    def straightedge(self, heights: Floats, length: float, surface: Surface) -> StraightedgeResult:
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
                ends = self._ends(stations)
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
        return math.dist(*self._ends(stations))

    def _ends(self, stations: NDArray[np.intp]) -> tuple[Place, Place]:
        """Contacts at its first and last; the last beyond the seam of a wall that closes, where it lies across it."""
        first, (x, y) = self._place(stations[0]), self._place(stations[-1])
        turn = math.inf if self.bend is None else self.bend.turn
        return first, (x if math.isinf(turn) else first[0] + math.remainder(x - first[0], turn), y)

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
        """For each pair of contacts the stations from one to the other, and the share [2, between] of each contact."""
        turn = math.inf if self.bend is None else self.bend.turn
        for line in self.lines:
            x, y, first = self.x[line], self.y[line], len(line)
            if np.ptp(x) + BROKEN * self.along >= turn:  # all round: it goes on over the seam
                line, x, y = np.tile(line, 2), np.append(x, x + math.copysign(turn, x[-1] - x[0])), np.tile(y, 2)
            place = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
            for p in range(min(first, len(line) - 2)):
                for q in range(p + 2, min(len(line), p + first)):
                    span = place[q] - place[p]
                    if span > length * (1 + LONGER):
                        break
                    part = (place[p + 1 : q] - place[p]) / span
                    share = np.stack([1 - part, part])
                    if self.bend is not None:
                        (one, near), (other, far) = (
                            self.bend.reaches(x[p + 1 : q], *(a[None, k] - a[None, p + 1 : q] for a in (x, y)))
                            for k in (p, q)
                        )
                        share = np.concatenate([far / one, near / other]) / (near + far)
                    yield line[p : q + 1], share

    def _place(self, station: np.intp) -> Place:
        return float(self.x[station]), float(self.y[station])


def _under(z: Floats, share: Floats) -> Floats:
    """Gaps [..., stations less two] mm between a chord from the first to the last and what is between them."""
    gaps: Floats = z[..., :1] * share[0] + z[..., -1:] * share[1] - z[..., 1:-1]
    return np.nan_to_num(gaps, nan=-math.inf)


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
