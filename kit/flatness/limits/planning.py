"""Before any survey: how wide a grid of readings will do for a limit, by simulation over typical surfaces.

It stands among the limits because it gives verdicts, as :mod:`flatness.limits.verdict` does, on rooms that it makes
up: random surfaces of the kind that :mod:`flatness.surface.fitting` takes a floor, wall or ceiling for, whose worst
place uses up from a quarter of the limit to four times the limit. Each is read on a grid with the error stated and
judged (:mod:`flatness.limits.planning`), and the verdicts are counted. To be quick, a room that a wide grid has
decided rightly is not read again on the narrower ones.

Made-up rooms with known truth, to be read and judged before there is a real one.

Random surfaces (:mod:`flatness.limits.planning`) are scaled so that their worst place truly uses up a wanted share of
the limits. To be quick, the lattice is coarse and bars lie along rows, columns and diagonals alone.

Typical surfaces made up: random ones such as the likely surface takes floors, walls and ceilings for.

A random surface with Matern 5/2 correlation is a sum of cosine waves whose wave numbers have that correlation's
spectral density, a t distribution with five degrees of freedom (Rasmussen and Williams, Gaussian Processes for Machine
Learning, 2006, section 4.2.1; random waves as in Rahimi and Recht, 2007). So it has a height at any place.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

from flatness.arrays import Floats
from flatness.errors import ArgumentError, LimitError, check_choice
from flatness.limits.catalogue import find
from flatness.limits.kinds import Limit
from flatness.limits.measuring import FIXED_BASES, LEAST_STEPS, Subject, measure_draws
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, assess
from flatness.notes import Note
from flatness.surface.fitting import LENGTH_MM, LENGTH_SPREAD, RATIO_SPREAD, SCALE_MM, SCALE_SPREAD
from flatness.surface.lattice import Surface, make_surface
from flatness.survey.readings import make_survey
from flatness.survey.sheets import MOST_STATIONS, grid_positions

WAVES = 400
FREEDOM = 5  # twice the smoothness of the correlation


@dataclass(frozen=True, eq=False)
class TypicalSurface:
    """A random surface about a plane, its standard deviation 1.

    Attributes
    ----------
    length_x, length_y : correlation lengths [mm]
    waves : [2, n] wave numbers along x and y [1/mm]
    phase : [n] radians
    """

    length_x: float
    length_y: float
    waves: Floats
    phase: Floats

    def at(self, x: Floats, y: Floats) -> Floats:
        """Heights [m] at places x, y [m] mm."""
        angle = np.column_stack([x, y]) @ self.waves + self.phase
        out: Floats = np.sqrt(2 / len(self.phase)) * np.cos(angle).sum(axis=1)
        return out


def random_surface(length_x: float, length_y: float, rng: np.random.Generator) -> TypicalSurface:
    """A surface with these correlation lengths [mm]."""
    waves = rng.standard_normal((2, WAVES)) / np.sqrt(rng.chisquare(FREEDOM, WAVES) / FREEDOM)
    waves /= np.array([[length_x], [length_y]])
    return TypicalSurface(length_x, length_y, waves, rng.uniform(0, 2 * np.pi, WAVES))


def typical_surfaces(count: int, rng: np.random.Generator) -> list[TypicalSurface]:
    """``count`` surfaces whose lengths are spread as the likely surface's parameters are taken to be.

    The mean log length and the log ratio of the two lengths are normal, as :mod:`flatness.surface.fitting` says. They
    are spread evenly over their quantiles and paired at random, so that few surfaces stand for all of them.
    """
    if not (isinstance(count, (int, np.integer)) and count >= 1):
        raise ArgumentError("number of surfaces out of range", value=str(count), expected="a whole number from 1")
    even = ndtri((np.arange(count) + 0.5) / count)
    mean = np.log(LENGTH_MM) + LENGTH_SPREAD * rng.permutation(even)
    half = RATIO_SPREAD * rng.permutation(even) / 2
    lengths = np.exp(np.column_stack([mean + half, mean - half]))
    return [random_surface(float(a), float(b), rng) for a, b in lengths]


Heights = Callable[[Floats, Floats], Floats]

REACH = 4.0  # true surfaces use up from a quarter of the limit to four times the limit
HEADINGS = 4
MOST_NODES = 600  # of the lattice that is simulated; a larger room is simulated in part
MOST_READINGS = 400  # of one grid in the part that is simulated
MOST_SCALE_MM = SCALE_MM * math.exp(2 * SCALE_SPREAD)  # standard deviation of the wildest surface made up
MOST_TRIES = 50
PLANNED = ("straightedge", "straightedge-share", "span-bar", "offset", "plane", "level", "level-rule", "plumb")
SHORTEST_SPAN = 1000.0  # of a table of spans, those under this [mm] are not planned for


def lengths_of(limit: Limit) -> tuple[float, ...]:
    """Lengths [mm] over which a limit is measured; none where it is the whole surface."""
    if limit.kind not in PLANNED:
        what = "a grid is not planned for this limit"
        remedy = "its readings stand where its source, or the members, say"
        raise LimitError(what, value=limit.name, expected=f"a limit of kind {', '.join(PLANNED)}", remedy=remedy)
    if limit.kind == "span-bar":
        return tuple(d for d in limit.parameters["distances"] if d >= SHORTEST_SPAN)[:2]
    length = FIXED_BASES.get(limit.kind, limit.length)
    return () if length is None else (length,)


@dataclass(frozen=True, eq=False, kw_only=True)
class MadeUpRooms:
    """Rooms whose true surface is known.

    Attributes
    ----------
    sides : along x and along y [mm]
    part : whether they stand for a surface too large to simulate
    surface : ``floor``, ``ceiling`` or ``wall``
    limits : the limits they are compared with
    spacing : lattice step [mm]
    heights : of each room, from places x, y [mm] to heights [mm]
    good : [rooms] True where the room is within all limits
    seed : of the rooms and of their readings
    """

    sides: tuple[float, float]
    part: bool
    surface: str
    limits: list[Limit]
    spacing: float
    heights: list[Heights]
    good: NDArray[np.bool_]
    seed: int

    @classmethod
    def of(
        cls, sides: tuple[float, float], surface: str, limits: list[Limit], count: int, seed: int, narrowest: float
    ) -> MadeUpRooms:
        """Rooms of these sides [mm], or parts of them, for grids no narrower than ``narrowest`` [mm].

        The shares of the limits that they use up are spread evenly on a logarithmic scale.
        """
        lengths = [one for limit in limits for one in lengths_of(limit)]
        bars = [length / (2 if limit.kind == "plane" else 4) for limit in limits for length in lengths_of(limit)]
        spacing = min([*bars, max(lengths, default=math.inf) / 10, max(sides) / 12])
        most = min(MOST_NODES * spacing**2, MOST_READINGS * narrowest**2)
        shrink = min(1.0, math.sqrt(most / (sides[0] * sides[1])))
        part = tuple(max(side * shrink, min(side, 2 * spacing)) for side in sides)
        axes = [np.arange(max(2, math.floor(side / spacing + 1e-6) + 1)) * spacing for side in part]
        lattice = make_surface(np.zeros((len(axes[1]), len(axes[0]))), spacing)
        even = 2 * (np.arange(count) + 0.5) / count - 1
        heights = _scaled(REACH**even, limits, lattice, np.random.default_rng(seed))
        return cls(
            sides=(part[0], part[1]),
            part=shrink < 1,
            surface=surface,
            limits=limits,
            spacing=spacing,
            heights=heights,
            good=even <= 0,
            seed=seed,
        )

    def verdicts(
        self, step: float, accuracy: float, rooms: Iterable[int], draws: int, confidence: float
    ) -> dict[int, str]:
        """The verdict on each of these rooms, when read at this step."""
        x, y = (grid.ravel() for grid in np.meshgrid(*(grid_positions(side, min(step, side)) for side in self.sides)))
        found = {}
        for room in rooms:
            noise = np.random.default_rng([self.seed, room, round(step)]).standard_normal(len(x))
            survey = make_survey(
                x,
                y,
                self.heights[room](x, y) + accuracy * noise,
                accuracy=accuracy,
                surface=self.surface,
                reference="plumb" if self.surface == "wall" else "level",
            )
            found[room] = assess(
                survey,
                self.limits,
                spacing=self.spacing,
                headings=HEADINGS,
                draws=draws,
                seed=self.seed + room,
                confidence=confidence,
                most_draws=draws,
            ).verdict
        return found


def _scaled(used: Floats, limits: list[Limit], lattice: Surface, rng: np.random.Generator) -> list[Heights]:
    """Surfaces that truly use up these shares of the limits, the worst of them."""
    gx, gy, zero = lattice.nodes()
    subject = Subject(make_survey(gx, gy, zero), lattice, lattice.spacing, HEADINGS)
    found: list[Heights | None] = [None] * len(used)
    for _ in range(MOST_TRIES):
        wanting = [room for room, height in enumerate(found) if height is None]
        shapes = typical_surfaces(len(used), rng)
        for room in wanting:
            heights = shapes[room].at(gx, gy)
            most = max(_share(limit, subject, heights) for limit in limits)
            # a dome or a long swell under a short bar would have to be scaled beyond what is ever built
            if most * MOST_SCALE_MM > used[room]:
                found[room] = partial(_times, used[room] / most, shapes[room])
        if None not in found:
            return [height for height in found if height is not None]
    raise ArgumentError(
        "the surface is too small for this limit",
        value=Note("sides", x=float(np.ptp(gx)), y=float(np.ptp(gy))),
        expected="a surface on which the limit can be passed and failed",
        remedy="check it by hand with a straightedge",
    )


def _times(scale: float, shape: TypicalSurface, x: Floats, y: Floats) -> Floats:
    return scale * shape.at(x, y)


def _share(limit: Limit, subject: Subject, heights: Floats) -> float:
    stack = heights.reshape(1, *subject.surface.height.shape)
    return float(measure_draws(limit, subject, lambda: stack, lambda: heights[None])[0])


FOOT_MM, INCH_MM = 304.8, 25.4
STEPS_MM = {
    "in": tuple(feet * FOOT_MM for feet in (1.0, 1.5, 2.0, 3.0, 4.0, 6.0)),
    "mm": (250.0, 300.0, 500.0, 600.0, 1000.0, 1500.0),
}
ENOUGH = 2  # grids good enough, after which no narrower one of the usual ones is tried
TARGET = 0.30  # most chance of ending undecided that a recommended grid has


@dataclass(frozen=True, eq=False, kw_only=True)
class ReadingPlan:
    """Grids of readings that may be taken, and what they will probably show.

    Attributes
    ----------
    length, width : along x and along y [mm]
    surface : ``floor``, ``ceiling`` or ``wall``
    limits : the limits planned for
    accuracy : one standard deviation of one reading [mm]
    grids : one row a grid, from narrow to wide: ``step_mm``, ``columns``, ``rows``, ``readings``, ``undecided`` (the
        expected chance of ending undecided), ``error`` (its standard error), ``wrong`` (the share of wrong verdicts)
    recommended : the widest step [mm] whose chance of ending undecided is at most ``target``, or None
    target, confidence, rooms, draws, seed : as asked for
    notes : what was assumed, in words
    """

    length: float
    width: float
    surface: str
    limits: tuple[Limit, ...]
    accuracy: float
    grids: pd.DataFrame
    recommended: float | None
    target: float
    confidence: float
    rooms: int
    draws: int
    seed: int
    notes: tuple[str, ...]

    def positions(self, step: float | None = None) -> tuple[Floats, Floats]:
        """x and y [mm] of the stations of a grid; None takes the recommended step, else the narrowest."""
        step = step or self.recommended or float(self.grids["step_mm"].iloc[0])
        return grid_positions(self.length, step), grid_positions(self.width, step)


def plan_readings(
    length: float,
    width: float,
    limits: str | Limit | Iterable[str | Limit],
    accuracy: float,
    *,
    steps: Sequence[float] | None = None,
    unit: str = "in",
    rooms: int = 40,
    draws: int = 60,
    confidence: float = 0.95,
    target: float = TARGET,
    seed: int = 0,
    surface: str = "floor",
    progress: Callable[[int, int], None] | None = None,
) -> ReadingPlan:
    """How wide a grid of readings will do to hold a rectangular surface against limits.

    Parameters
    ----------
    length, width : of the surface, along x and along y [mm]; of a wall its length and its height
    limits : as for :func:`flatness.check`; those of other surfaces are left out of a finish
    accuracy : one standard deviation of one reading [mm]
    steps : between readings [mm], all of them tried; None takes usual ones, no wider than the limits' lengths let a
        grid be, from the widest on until one more than is needed was tried
    unit : ``in`` for usual steps in feet, ``mm`` for metric ones
    rooms, draws : made-up rooms for each grid, and surfaces drawn for each room
    confidence : at which verdicts are given
    target : the chance of ending undecided that is still good enough, from 0 to 1
    seed : the same seed gives the same plan
    surface : ``floor``, ``ceiling`` or ``wall``
    progress : called before each grid with its number and how many there are at most

    Raises
    ------
    LimitError : a limit that a grid of readings is not planned for
    ArgumentError : a value out of range; a step too wide for a limit
    """
    _check_lengths(length=length, width=width, accuracy=accuracy)
    for name, count in (("rooms", rooms), ("draws", draws)):
        if not (isinstance(count, (int, np.integer)) and count >= 10):
            raise ArgumentError(f"{name} out of range", column=name, value=str(count), expected="ten or more")
    if not (isinstance(seed, (int, np.integer)) and seed >= 0):
        raise ArgumentError("seed out of range", column="seed", value=str(seed), expected="a whole number from 0")
    if not 0.5 <= confidence < 1:
        raise ArgumentError("confidence out of range", value=str(confidence), expected="0.5 to under 1, such as 0.95")
    if not 0 <= target <= 1:
        raise ArgumentError("target out of range", value=str(target), expected="from 0 to 1, such as 0.3")
    wanted = find(limits, surface)
    check_choice("unit", unit, STEPS_MM)
    usual = steps is None
    if steps is None:
        steps = usual_steps(length, width, wanted, unit=unit, surface=surface)
    chosen = _check_steps(steps, _widest_step(wanted), max(length, width))
    made_up = MadeUpRooms.of((length, width), surface, wanted, rooms, seed, chosen[0])
    rows: list[tuple[float, ...]] = []
    open_ones = list(range(rooms))
    for number, step in enumerate(reversed(chosen)):
        if usual and sum(row[4] <= target + 1e-9 for row in rows) >= ENOUGH:
            break
        if progress is not None:
            progress(number + 1, len(chosen))
        found = made_up.verdicts(step, accuracy, open_ones, draws, confidence)
        wrong = [room for room, verdict in found.items() if verdict == (FAIL if made_up.good[room] else PASS)]
        undecided = [room for room, verdict in found.items() if verdict == UNDECIDED]
        # a room that a wide grid decides rightly is not read again on a narrower one
        open_ones = sorted([*wrong, *undecided])
        nx, ny = len(grid_positions(length, step)), len(grid_positions(width, step))
        # two successes and two failures added (Agresti and Coull 1998), so that 0 of 40 is not taken for never
        share = (len(undecided) + 2) / (rooms + 4)
        error = math.sqrt(share * (1 - share) / (rooms + 4))
        rows.append((step, nx, ny, nx * ny, len(undecided) / rooms, error, len(wrong) / rooms))
    names = ["step_mm", "columns", "rows", "readings", "undecided", "error", "wrong"]
    grids = pd.DataFrame(rows[::-1], columns=names)
    good = grids.loc[grids["undecided"] <= target + 1e-9, "step_mm"]
    recommended = float(good.max()) if len(good) else None
    return ReadingPlan(
        length=float(length),
        width=float(width),
        surface=surface,
        limits=tuple(wanted),
        accuracy=float(accuracy),
        grids=grids,
        recommended=recommended,
        target=target,
        confidence=confidence,
        rooms=rooms,
        draws=draws,
        seed=seed,
        notes=(*_notes(made_up, rooms), *([Note("plan-narrower")] if len(rows) < len(chosen) else [])),
    )


def _widest_step(wanted: list[Limit]) -> float:
    """A bar that does not reach over a station between two others shows nothing of what lies between them."""
    return min(
        (length / LEAST_STEPS.get(limit.kind, 1.5) for limit in wanted for length in lengths_of(limit)),
        default=math.inf,
    )


def usual_steps(
    length: float,
    width: float,
    limits: str | Limit | Iterable[str | Limit],
    *,
    unit: str = "in",
    surface: str = "floor",
) -> list[float]:
    """Steps [mm] that are usual on site and narrow enough for the limits; arguments as for :func:`plan_readings`."""
    check_choice("unit", unit, STEPS_MM)
    _check_lengths(length=length, width=width)
    widest = _widest_step(find(limits, surface))
    fitting = [step for step in STEPS_MM[unit] if step <= widest * (1 + 1e-9)]
    if not fitting:
        whole = INCH_MM if unit == "in" else 10.0
        fitting = [max(whole, math.floor(widest / whole + 1e-9) * whole)]
    # three stations along the longer side at the least, and no more in all than a sheet takes
    half = max(length, width) / 2
    fitting = [step for step in fitting if step <= half] or [half]
    return [step for step in fitting if (length / step + 2) * (width / step + 2) <= MOST_STATIONS] or fitting[-1:]


def _check_lengths(**lengths: float) -> None:
    for name, value in lengths.items():
        if not (isinstance(value, (int, float)) and math.isfinite(value) and value > 0):
            raise ArgumentError(f"{name} out of range", column=name, value=str(value), expected="mm above zero")


def _check_steps(steps: Sequence[float], widest: float, longest: float) -> list[float]:
    chosen = sorted({float(step) for step in steps})
    if not chosen or not all(math.isfinite(step) and step > 0 for step in chosen):
        raise ArgumentError("steps out of range", column="steps", value=str(list(steps)), expected="mm above zero")
    for most, what in (
        (widest, "the stations would stand too far apart for this limit"),
        (longest, "a step longer than the surface"),
    ):
        if chosen[-1] > most * (1 + 1e-6):
            raise ArgumentError(
                what,
                column="steps",
                value=Note("length", mm=chosen[-1]),
                expected=Note("at-most", mm=most),
                remedy="choose a narrower step",
            )
    return chosen


def _notes(made_up: MadeUpRooms, rooms: int) -> Iterator[str]:
    low, high = (LENGTH_MM * math.exp(sign * LENGTH_SPREAD) for sign in (-1, 1))
    yield Note("plan-waves", low=low, high=high, most=MOST_SCALE_MM)
    yield Note("plan-ratio")
    yield Note("plan-errors")
    yield Note("plan-rooms", rooms=rooms)
    yield Note("plan-narrow")
    if made_up.part:
        yield Note("plan-part", x=made_up.sides[0], y=made_up.sides[1])
    if any(limit.kind == "span-bar" for limit in made_up.limits):
        yield Note("plan-short-spans", mm=SHORTEST_SPAN)
