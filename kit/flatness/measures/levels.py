"""Level, plumb and slope: differences in height over a distance.

All refuse heights that are off a string. Pairs of points lie along the headings and the surface is unbroken
between them; one is a node, the other is where the distance ends, bilinear between nodes.

Pairs of points a distance apart along the headings, with the surface unbroken between them.

Measures on the stations themselves, without a surface between them: neighbours and abrupt steps.

Measures at fixed spacings: TR34 properties E and F, offsets on blocks, off a plane, abrupt steps.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.spatial import KDTree

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError, check_above_zero
from flatness.measures.bars import Heading, Measured, Place, all_headings, displaced, whole_steps, window_departures
from flatness.measures.planes import fit_surface_plane
from flatness.measures.straightedge import exact_bar
from flatness.notes import Note, joined
from flatness.surface.lattice import STEP_NOISE, Surface, grid_axes, on_grid, places_on
from flatness.survey.readings import SAME_PLACE_MM, Survey

ROWS_AND_COLUMNS = (Heading.at(0), Heading.at(90))


@dataclass(frozen=True)
class Pair:
    """Two points along a heading: height of ``end`` less height of ``start`` [mm], and their places [mm]."""

    difference: float
    start: Place
    end: Place

    def measured(self, value: float, note: str = "") -> Measured:
        """A measure found at this pair, placed at the point that stands proud of the other."""
        at = self.end if self.difference > 0 else self.start
        return Measured(value, at, (self.start, self.end), note)


def require_level(is_level: bool, what: str) -> None:
    """Refuse a measure of level, plumb or slope of heights that are off a string."""
    if not is_level:
        raise MeasureError(
            f"{what} cannot be had from a string",
            value="reference: string",
            expected="reference: level, or plumb",
            remedy="a string is straight but not known to be level or plumb: flatness is known, this is not; "
            "read the surface off a level or plumb line or plane",
        )


def signs_of(heading: Heading, steps: float) -> tuple[int, ...]:
    """Ways along a heading that give different pairs: one where both ends are nodes, else both."""
    return (1,) if heading.on_lattice and abs(steps - round(steps)) <= STEP_NOISE else (1, -1)


def reaching(z: Floats, heading: Heading, most: int, sign: int = 1) -> Iterator[tuple[int, Floats]]:
    """k and the heights [..., ny, nx] k steps from each node, k = 1 ... most; NaN beyond a break.

    Stops where nothing is reached any more.
    """
    reached = np.isfinite(z)
    for k in range(1, most + 1):
        height = displaced(z, sign * k * heading.dx, sign * k * heading.dy)
        reached = reached & np.isfinite(height)
        if not reached.any():
            return
        yield k, np.where(reached, height, np.nan)


def height_ahead(z: Floats, heading: Heading, steps: float, sign: int = 1) -> Floats:
    """Heights [..., ny, nx] a number of steps, not always whole, from each node; NaN beyond a break."""
    ahead = displaced(z, sign * steps * heading.dx, sign * steps * heading.dy)
    if np.isnan(z).any():  # else the lattice is unbroken wherever its end is on it
        whole = math.floor(steps + STEP_NOISE)
        reached = np.isfinite(z)
        for k in range(1, whole + 1):
            reached = reached & np.isfinite(displaced(z, sign * k * heading.dx, sign * k * heading.dy))
        ahead[~reached] = np.nan
    return ahead


def largest_difference(surface: Surface, distance: float, headings: Sequence[Heading]) -> Pair | None:
    """The pair exactly ``distance`` [mm] apart that differs most in height; None where there is no pair."""
    check_above_zero(distance=distance)
    best: Pair | None = None
    for heading in headings:
        steps = distance / (surface.spacing * heading.step)
        for sign in signs_of(heading, steps):
            difference = height_ahead(surface.height, heading, steps, sign) - surface.height
            best = larger(best, largest_pair(surface, difference, heading, sign * steps))
    return best


def larger(one: Pair | None, other: Pair | None) -> Pair | None:
    """The pair that differs more in height, the first where they are alike; None where neither is one."""
    if one is None or other is None:
        return other if one is None else one
    return other if abs(other.difference) > abs(one.difference) else one


def largest_pair(surface: Surface, difference: Floats, heading: Heading, steps: float) -> Pair | None:
    """The pair ``steps`` apart from the node where ``difference`` [ny, nx] is largest, either way."""
    size = np.abs(difference)
    if np.isnan(size).all():
        return None
    iy, ix = np.unravel_index(int(np.nanargmax(size)), size.shape)
    start = node(surface, int(iy), int(ix))
    return Pair(float(difference[iy, ix]), start, beyond(start, heading, steps * surface.spacing))


def rise_within(surface: Surface, z: Floats, length: float, note: str) -> Measured:
    """How much more one node of ``z`` [ny, nx] mm rises than another at most ``length`` [mm] away, at the higher one.

    Raises MeasureError where the lattice is coarser than the length.
    """
    check_above_zero(length=length)
    reach = length / surface.spacing * (1 + STEP_NOISE)
    if reach < 1:
        what, value = "the lattice is coarser than the base", Note("length", mm=surface.spacing)
        raise MeasureError(what, value=value, expected=Note("or-less", mm=length), remedy="choose a finer spacing")
    rise = highest_within(z, reach) - z
    if np.isnan(rise).all():
        raise too_short("this measure", length)
    iy, ix = np.unravel_index(int(np.nanargmax(rise)), rise.shape)
    gy, gx = np.ogrid[: rise.shape[0], : rise.shape[1]]
    near = np.where(np.hypot(gy - iy, gx - ix) <= reach, z, np.nan)
    jy, jx = np.unravel_index(int(np.nanargmax(near)), near.shape)
    low, high = node(surface, int(iy), int(ix)), node(surface, int(jy), int(jx))
    return Measured(float(rise[iy, ix]), high, (low, high), note)


def highest_within(z: Floats, reach: float) -> Floats:
    """[ny, nx] the highest of all nodes at most ``reach`` lattice steps away; NaN where there is none."""
    ny, nx = z.shape
    blank = np.isnan(z)
    if reach >= math.hypot(ny - 1, nx - 1):
        return np.where(blank, np.nan, np.nan if blank.all() else np.nanmax(z))
    known = np.where(blank, -np.inf, z)
    top = np.full_like(z, -np.inf)
    for up in range(min(math.floor(reach), ny - 1) + 1):
        # of the disc, the row so many above or below: a window along x
        half = math.floor(math.sqrt(max(0.0, reach * reach - up * up)))
        row = maximum_filter1d(known, 2 * min(half, nx - 1) + 1, axis=1, mode="constant", cval=-np.inf)
        np.maximum(top[: ny - up], row[up:], out=top[: ny - up])
        np.maximum(top[up:], row[: ny - up], out=top[up:])
    return np.where(blank, np.nan, top)


def node(surface: Surface, iy: int, ix: int) -> Place:
    """(x, y) [mm] of a node."""
    return float(surface.x[ix]), float(surface.y[iy])


def beyond(start: Place, heading: Heading, reach: float) -> Place:
    """The place ``reach`` [mm, times the heading's own step] from ``start`` along a heading."""
    return start[0] + reach * heading.dx, start[1] + reach * heading.dy


def too_short(what: str, distance: float) -> MeasureError:
    """The refusal where no two points are as far apart as a measure needs."""
    value = Note("apart-unbroken", mm=distance)
    expected, remedy = "readings that span the distance", "use a limit over a shorter distance"
    return MeasureError(f"the surface is too short for {what}", value=value, expected=expected, remedy=remedy)


SHORTEST_MM = 1000.0  # a rule of so much a metre is held from a metre up; common practice, no source
Rule = Callable[[float], float] | tuple[float, float]


def level_over(
    surface: Surface, distance: float | None = None, headings: int = 12, *, within: bool = False
) -> Measured:
    """Out of level: the largest difference in height over a distance.

    Parameters
    ----------
    surface : off a level reference
    distance : between the two points [mm], exactly; None takes the highest and the lowest point anywhere
    headings : directions, equally spaced over half a turn
    within : any two nodes at most ``distance`` apart instead, in any direction; what lies between is not looked at

    Returns
    -------
    Measured : the difference [mm], at the higher of the two points

    Raises
    ------
    MeasureError : heights off a string, or no two points that far apart

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> ramp = make_surface([[0, 1, 2, 3]] * 2, spacing=500)
    >>> level_over(ramp, 1000).value, level_over(ramp).value
    (2.0, 3.0)
    """
    require_level(surface.is_level, "levelness")
    if distance is None:
        return _highest_to_lowest(surface)
    if within:
        return rise_within(surface, surface.height, distance, Note("up-to-apart", mm=distance))
    pair = largest_difference(surface, distance, all_headings(headings))
    if pair is None:
        raise too_short("this measure of level", distance)
    return pair.measured(abs(pair.difference))


def level_within(surface: Surface, rule: Rule, headings: int = 12, shortest: float = SHORTEST_MM) -> Measured:
    """Out of level against a limit that grows with the distance: the worst ratio of difference to allowed.

    Parameters
    ----------
    surface : off a level reference
    rule : allowed difference [mm] for a distance [mm]; or (mm per m, most mm): so much a metre, capped
    headings : directions, equally spaced over half a turn
    shortest : distances under this [mm] are left out; 1 m is common practice, no source

    Returns
    -------
    Measured : difference / allowed [-], 1 or less where all is within; the note tells the difference

    Raises
    ------
    MeasureError : heights off a string, or no two points ``shortest`` apart

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> ramp = make_surface([[0, 2, 4, 6]] * 2, spacing=500)
    >>> round(level_within(ramp, (3, 20)).value, 9)  # 4 mm in 1 m where 3 mm is allowed
    1.333333333
    """
    require_level(surface.is_level, "levelness")
    check_above_zero(shortest=shortest)
    least = shortest * (1 - 1e-9)

    def pairs() -> Iterator[tuple[float, Pair | None]]:
        for heading in all_headings(headings):
            step = surface.spacing * heading.step
            for sign in signs_of(heading, 1.0):
                for k, ahead in reaching(surface.height, heading, sum(surface.height.shape), sign):
                    if k * step >= least:
                        yield k * step, largest_pair(surface, ahead - surface.height, heading, sign * k)

    return _worst_against(rule, pairs(), shortest, "level-over")


def _worst_against(rule: Rule, pairs: Iterable[tuple[float, Pair | None]], shortest: float, note: str) -> Measured:
    """The worst ratio of difference to allowed of pairs, each with its distance [mm]."""
    allowed_over = _rule(rule)
    best: tuple[float, Pair, float, float] | None = None
    for distance, pair in pairs:
        allowed = allowed_over(distance)
        if not allowed > 0:
            expected, value = (
                "an allowed difference above zero",
                Note("over-nothing", allowed=allowed, distance=distance),
            )
            raise ArgumentError("the rule allows nothing", value=value, expected=expected)
        if pair is not None and (best is None or abs(pair.difference) / allowed > best[0]):
            best = (abs(pair.difference) / allowed, pair, distance, allowed)
    if best is None:
        raise too_short("this measure of level", shortest)
    ratio, pair, distance, allowed = best
    return pair.measured(ratio, Note(note, off=abs(pair.difference), distance=distance, allowed=allowed))


def level_across(surface: Surface, rule: Rule, shortest: float = SHORTEST_MM) -> Measured:
    """As :func:`level_within`, between the two ends of each row and of each column alone: the full width.

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> dip = make_surface([[0, -9, -9, 3]] * 2, spacing=1000)
    >>> round(level_across(dip, (3, 20)).value, 9)  # 3 mm over 3 m where 9 mm is allowed
    0.333333333
    """
    require_level(surface.is_level, "levelness")

    def pairs() -> Iterator[tuple[float, Pair]]:
        for down, z in enumerate((surface.height, surface.height.T)):
            for i, line in enumerate(z):
                inside = np.flatnonzero(np.isfinite(line))
                if len(inside) and (inside[-1] - inside[0]) * surface.spacing >= shortest * (1 - 1e-9):
                    ends = [int(inside[0]), int(inside[-1])]
                    start, end = (node(surface, k, i) if down else node(surface, i, k) for k in ends)
                    yield math.dist(start, end), Pair(float(line[ends[1]] - line[ends[0]]), start, end)

    return _worst_against(rule, pairs(), shortest, "level-across")


def plumb_over(surface: Surface, distance: float | None = None) -> Measured:
    """Out of plumb: the largest difference in height (toward the room) over a distance up a wall.

    As :func:`level_over`, along y only; ``distance`` None takes the largest difference within any one
    upright line that is unbroken.
    """
    require_level(surface.is_level, "plumb")
    upright = Heading.at(90)
    if distance is not None:
        best = largest_difference(surface, distance, [upright])
    else:
        best = None
        for k, ahead in reaching(surface.height, upright, surface.height.shape[0]):
            best = larger(best, largest_pair(surface, ahead - surface.height, upright, k))
    if best is None:
        raise too_short("this measure of plumb", surface.spacing if distance is None else distance)
    return best.measured(abs(best.difference))


def plumb_at_stations(survey: Survey) -> Measured | None:
    """The largest difference in height between stations on one upright line that no opening breaks; None: none is.

    A lattice ends up to a step short of a wall's top, and its stations do not.
    """
    require_level(survey.is_level, "plumb")
    x, y, z, _ = survey.stations()
    best: Pair | None = None
    for run in _uprights(x.tobytes(), y.tobytes(), tuple(survey.openings)):
        start, end = sorted((run[int(pick(z[run]))] for pick in (np.argmin, np.argmax)), key=lambda one: float(y[one]))
        ends = [(float(x[one]), float(y[one])) for one in (start, end)]
        best = larger(best, Pair(float(z[end] - z[start]), ends[0], ends[1]))
    return None if best is None else best.measured(abs(best.difference))


@lru_cache(maxsize=4)  # asked again of each surface that is drawn
def _uprights(x_bytes: bytes, y_bytes: bytes, openings: tuple[Any, ...]) -> list[NDArray[np.intp]]:
    """The stations of each upright line of two or more, from the lowest up, where no opening lies between them."""
    x, y = np.frombuffer(x_bytes), np.frombuffer(y_bytes)
    order = np.lexsort((y, np.round(x / SAME_PLACE_MM)))
    runs: list[list[int]] = []
    for k in order.tolist():
        behind = runs[-1][-1] if runs else k
        up = shapely.LineString([(x[behind], y[behind]), (x[k], y[k])])
        new = abs(x[k] - x[behind]) > SAME_PLACE_MM or any(one.crosses(up) or one.contains(up) for one in openings)
        if new or not runs:
            runs.append([])
        runs[-1].append(k)
    return [np.array(run) for run in runs if len(run) > 1]


def steepest_slope(surface: Surface, base: float, headings: int = 12) -> Measured:
    """The steepest slope [-]: the largest difference in height over exactly ``base`` [mm], divided by it.

    >>> from flatness.surface.lattice import make_surface
    >>> round(1 / steepest_slope(make_surface([[0, 10, 20]] * 2, spacing=480), 480).value, 9)  # 1 in 48
    48.0
    """
    require_level(surface.is_level, "slope")
    pair = largest_difference(surface, base, all_headings(headings))
    if pair is None:
        raise too_short("this slope", base)
    return pair.measured(abs(pair.difference) / base)


def _highest_to_lowest(surface: Surface) -> Measured:
    z = surface.height
    if np.isnan(z).all():
        raise too_short("this measure of level", 0)
    high, low = (np.unravel_index(int(pick(z)), z.shape) for pick in (np.nanargmax, np.nanargmin))
    places = tuple(node(surface, int(iy), int(ix)) for iy, ix in (low, high))
    return Measured(float(z[high] - z[low]), places[1], places, "the highest point less the lowest, anywhere")


def _rule(rule: Rule) -> Callable[[float], float]:
    if callable(rule):
        return rule
    per_m, most = rule
    if not (math.isfinite(per_m) and per_m > 0 and most > 0):
        raise ArgumentError("a rule out of range", value=str(rule), expected="(mm per m, most mm)")
    return lambda distance: min(per_m * distance / 1000, most)


EVEN_MM = 1.0  # grid steps that differ by no more are one step; the kit's own tolerance

Pairs = NDArray[np.int64]


def station_grid(survey: Survey) -> tuple[Floats, Floats, Floats]:
    """Stations on an even grid: x [nx], y [ny] and height [ny, nx] mm, NaN where a station was not taken.

    Raises
    ------
    MeasureError : stations that are not on a grid, or on one whose steps along x or along y differ
    """
    x, y, height, _ = survey.stations()
    axes = grid_axes(x, y)
    if axes is None or any(np.ptp(np.diff(axis)) > EVEN_MM for axis in axes):
        what, expected = "the stations are not on an even grid", "rows and columns at equal steps"
        raise MeasureError(what, expected=expected, remedy="measure the straight-line surface instead")
    grid = on_grid(*axes, x, y, height)
    return axes[0], axes[1], grid


def neighbour_faces(survey: Survey) -> Measured:
    """Largest difference in height between neighbouring stations [mm], as between the faces of members.

    Parameters
    ----------
    survey : off any reference, a string too. Neighbours are consecutive stations of a line where the readings
        name their ``line``; next stations along rows and columns where they form a grid; otherwise each
        station and the one nearest to it

    Returns
    -------
    Measured : at the station that stands proud of the other; the note says which neighbours were compared

    Raises
    ------
    MeasureError : no two neighbouring stations
    """
    names = survey.points["line"].astype(str).str.strip().to_numpy()
    if (names != "").any():
        x, y, height = survey.xyz()
        pairs, how = _line_pairs(x, y, names), "consecutive stations of each line"
    else:
        x, y, height, _ = survey.stations()
        axes = grid_axes(x, y)
        if axes is not None:
            pairs, how = _grid_pairs(x, y, *axes), "next stations along rows and columns"
        else:
            pairs, how = _nearest_pairs(x, y), "each station and the one nearest to it"
    if not len(pairs):
        raise MeasureError("no two neighbouring stations", expected="two stations or more", remedy="take more readings")
    return _largest(x, y, height, pairs, f"neighbours: {how}")


def station_step_within(survey: Survey, base: float) -> Measured:
    """Largest difference in height [mm] between any two stations at most ``base`` [mm] apart.

    Raises
    ------
    MeasureError : no two stations that close
    """
    x, y, height, _ = survey.stations()
    pairs = KDTree(np.column_stack([x, y])).query_pairs(base * (1 + 1e-9), output_type="ndarray")
    if not len(pairs):
        what = "no two stations are close enough for an abrupt step"
        raise MeasureError(what, expected=Note("stations-apart", mm=base), remedy="read both sides of the step")
    return _largest(x, y, height, pairs.astype(np.int64), Note("steps-at-most", mm=base))


def _largest(x: Floats, y: Floats, height: Floats, pairs: Pairs, note: str) -> Measured:
    difference = height[pairs[:, 1]] - height[pairs[:, 0]]
    worst = int(np.abs(difference).argmax())
    places = tuple((float(x[k]), float(y[k])) for k in pairs[worst])
    return Measured(float(abs(difference[worst])), places[int(difference[worst] > 0)], places, note)


def _line_pairs(x: Floats, y: Floats, names: NDArray[np.object_]) -> Pairs:
    pairs: list[Pairs] = []
    for name in dict.fromkeys(names[names != ""].tolist()):
        rows = np.flatnonzero(names == name)
        places = np.column_stack([x[rows], y[rows]])
        direction = np.linalg.svd(places - places.mean(axis=0), full_matrices=False)[2][0]
        along = places @ direction
        rows, along = rows[np.argsort(along, kind="stable")], np.sort(along)
        # a station read again is no neighbour of itself
        apart = np.diff(along) > SAME_PLACE_MM
        pairs.append(np.column_stack([rows[:-1], rows[1:]])[apart])
    return np.concatenate(pairs)


def _grid_pairs(x: Floats, y: Floats, grid_x: Floats, grid_y: Floats) -> Pairs:
    index = np.full((len(grid_y), len(grid_x)), -1, dtype=np.int64)
    column, row, on = places_on(grid_x, grid_y, x, y)
    index[row[on], column[on]] = np.flatnonzero(on)
    both = [
        np.column_stack([a.ravel(), b.ravel()]) for a, b in ((index[:, :-1], index[:, 1:]), (index[:-1], index[1:]))
    ]
    pairs = np.concatenate(both)
    return np.asarray(pairs[(pairs >= 0).all(axis=1)])


def _nearest_pairs(x: Floats, y: Floats) -> Pairs:
    if len(x) < 2:
        return np.empty((0, 2), dtype=np.int64)
    places = np.column_stack([x, y])
    return np.asarray(KDTree(places).query(places, k=2)[1], dtype=np.int64)


E_BASE_MM = 3000.0
F_STEP_MM = 300.0
PERCENTILE = 95.0


def tr34_e(surface: Surface) -> Measured:
    """Property E of TR34: differences in height over 3 m along rows and columns, 95 % value [mm].

    Raises
    ------
    MeasureError : heights off a string, or a surface under 3 m both ways
    """
    require_level(surface.is_level, "property E, a measure of level,")
    values = []
    for heading in ROWS_AND_COLUMNS:
        steps = E_BASE_MM / surface.spacing
        values += [
            _finite(height_ahead(surface.height, heading, steps, sign) - surface.height)
            for sign in signs_of(heading, steps)
        ]
    return Measured(_percentile(values, E_BASE_MM), note=Note("percentile"))


def tr34_f(surface: Surface) -> Measured:
    """Property F of TR34: change between successive 300 mm steps along rows and columns, 95 % value [mm].

    Raises
    ------
    MeasureError : a surface under 600 mm both ways, or a lattice coarser than 300 mm
    """
    if surface.spacing > F_STEP_MM * (1 + STEP_NOISE):
        what = "the lattice is too coarse for property F"
        value, remedy = Note("length", mm=surface.spacing), "choose a finer spacing, and read the floor as closely"
        raise MeasureError(what, value=value, expected=Note("or-less", mm=F_STEP_MM), remedy=remedy)
    steps = F_STEP_MM / surface.spacing
    z = surface.height
    values = [
        _finite(height_ahead(z, heading, steps, 1) - 2 * z + height_ahead(z, heading, steps, -1))
        for heading in ROWS_AND_COLUMNS
    ]
    note = Note("percentile-wide", percentile=Note("percentile"))
    return Measured(_percentile(values, 2 * F_STEP_MM), note=note)


def block_offset(surface: Surface, length: float, headings: int = 12) -> Measured:
    """Plus or minus from a bar held off on two equal blocks at its ends: humps and hollows both count.

    Parameters
    ----------
    surface : the surface
    length : of the bar [mm]; the chord runs between the surface at its two ends, whole lattice steps apart
    headings : directions, equally spaced over half a turn

    Returns
    -------
    Measured : largest departure from the chord, without sign [mm]; the note says hump or hollow

    Raises
    ------
    MeasureError : a surface on which no bar of this length fits, or a lattice too coarse for it

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> block_offset(make_surface([[0, 3, 0]] * 2, spacing=1000), 2000).value
    3.0
    """
    z, best = surface.height, None
    for heading in all_headings(headings):
        steps = whole_steps(length, surface.spacing * heading.step)
        if steps < 2:
            continue
        high, low = window_departures(z, heading, steps, surface.spacing)
        size = np.fmax(high, -low)
        if np.isfinite(size).any() and (best is None or float(np.nanmax(size)) > best[0]):
            iy, ix = np.unravel_index(int(np.nanargmax(size)), size.shape)
            best = (float(size[iy, ix]), node(surface, int(iy), int(ix)), heading, steps)
    if best is None:
        if whole_steps(length, surface.spacing) < 2:
            what = "the lattice is too coarse for this bar"
            found, expected = Note("length", mm=surface.spacing), Note("half-or-less", mm=length)
            raise MeasureError(what, value=found, expected=expected, remedy="choose a finer spacing")
        raise too_short("this bar", length)
    value, at, heading, steps = best
    departure, contacts = exact_bar(surface, at, heading, steps, abs)
    used = steps * surface.spacing * heading.step
    short = "" if used >= length * (1 - STEP_NOISE) else Note("lattice-length-short", used=used)
    return Measured(value, at, contacts, joined(["hump" if departure > 0 else "hollow", short]))


def plane_departure(surface: Surface, length: float, plane: str = "best") -> Measured:
    """Off the required plane: how much more one point departs from it than another at most ``length`` away.

    Parameters
    ----------
    surface : the surface
    length : greatest distance between the two points [mm], in any direction
    plane : ``level``, or ``best`` for the minimum-zone plane of the whole surface

    Returns
    -------
    Measured : the difference in deviation [mm], at the proud point. The two points may lie on either side of
        a place without a height: both are held against the one plane

    Raises
    ------
    MeasureError : a level plane off a string, or a lattice coarser than ``length``
    """
    check_above_zero(length=length)
    if plane == "level":
        require_level(surface.is_level, "departure from a level plane")
        deviations, note = surface.height, "off a level plane"
    elif plane == "best":
        deviations, note = fit_surface_plane(surface, "minimum-zone").deviations, "off the minimum-zone plane"
    else:
        raise ArgumentError("unknown required plane", value=str(plane), expected="level or best")
    return rise_within(surface, deviations, length, note)


def abrupt_step(where: Surface | Survey, base: float) -> Measured:
    """The largest difference in height [mm] between points at most ``base`` [mm] apart.

    Parameters
    ----------
    where : a survey, whose stations are compared with one another; or a surface, whose nodes are, along rows,
        columns and diagonals with nothing missing between
    base : greatest distance between the two points [mm]

    Raises
    ------
    MeasureError : stations or a lattice wider than ``base``
    """
    check_above_zero(base=base)
    if isinstance(where, Survey):
        return station_step_within(where, base)
    best: Pair | None = None
    for heading in all_headings(4):
        most = math.floor(base / (where.spacing * heading.step) + STEP_NOISE)
        for k, ahead in reaching(where.height, heading, most):
            best = larger(best, largest_pair(where, ahead - where.height, heading, k))
    if best is None:
        what = "the lattice is too coarse for an abrupt step"
        value, remedy = Note("length", mm=where.spacing), "choose a finer spacing, and read both sides of the step"
        raise MeasureError(what, value=value, expected=Note("nodes-apart", mm=base), remedy=remedy)
    return best.measured(abs(best.difference))


def _finite(values: Floats) -> Floats:
    return np.abs(values[np.isfinite(values)])


def _percentile(values: list[Floats], distance: float) -> float:
    every = np.concatenate(values)
    if not len(every):
        raise too_short("this property", distance)
    return float(np.percentile(every, PERCENTILE))
