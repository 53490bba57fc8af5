"""Before any survey: how wide a grid of readings will do for a limit, by simulation over typical surfaces.

It stands among the limits because it gives verdicts, as :mod:`flatness.limits.verdict` does, on rooms that it makes
up: random surfaces of the kind that :mod:`flatness.surface.fitting` takes a floor, wall or ceiling for, whose worst
place uses up from a quarter of the limit to four times the limit. Each is read on a grid with the error stated and
judged (:mod:`flatness.limits.made_up_rooms`), and the verdicts are counted. To be quick, a room that a wide grid has
decided rightly is not read again on the narrower ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flatness.errors import ArgumentError
from flatness.limits.catalogue import find
from flatness.limits.kinds import Limit
from flatness.limits.made_up_rooms import MOST_SCALE_MM, SHORTEST_SPAN, MadeUpRooms, lengths_of
from flatness.limits.measuring import LEAST_STEPS
from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.surface.fitting import LENGTH_MM, LENGTH_SPREAD
from flatness.survey.readings import Floats
from flatness.survey.sheets import MOST_STATIONS, grid_positions

FOOT_MM, INCH_MM = 304.8, 25.4
STEPS_MM = {
    "in": tuple(feet * FOOT_MM for feet in (1.0, 1.5, 2.0, 3.0, 4.0, 6.0)),
    "mm": (250.0, 300.0, 500.0, 600.0, 1000.0, 1500.0),
}
TARGET = 0.30  # most chance of ending undecided that a recommended grid has


@dataclass(frozen=True, eq=False)
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
    length: float, width: float, limits: str | Limit | Iterable[str | Limit], accuracy: float, *,
    steps: Sequence[float] | None = None, unit: str = "in", rooms: int = 40, draws: int = 60,
    confidence: float = 0.95, target: float = TARGET, seed: int = 0, surface: str = "floor",
) -> ReadingPlan:  # fmt: skip
    """How wide a grid of readings will do to hold a rectangular surface against limits.

    Parameters
    ----------
    length, width : of the surface, along x and along y [mm]; of a wall its length and its height
    limits : as for :func:`flatness.check`; those of other surfaces are left out of a finish
    accuracy : one standard deviation of one reading [mm]
    steps : between readings [mm]; None takes usual ones, no wider than the limits' lengths let a grid be
    unit : ``in`` for usual steps in feet, ``mm`` for metric ones
    rooms, draws : made-up rooms for each grid, and surfaces drawn for each room
    confidence : at which verdicts are given
    target : the chance of ending undecided that is still good enough, from 0 to 1
    seed : the same seed gives the same plan
    surface : ``floor``, ``ceiling`` or ``wall``

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
    _check_unit(unit)
    if steps is None:
        steps = usual_steps(length, width, wanted, unit=unit, surface=surface)
    chosen = _check_steps(steps, _widest_step(wanted), max(length, width))
    made_up = MadeUpRooms.of((length, width), surface, wanted, rooms, seed, chosen[0])
    rows = []
    open_ones = list(range(rooms))
    for step in reversed(chosen):
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
        float(length), float(width), surface, tuple(wanted), float(accuracy), grids, recommended, target, confidence,
        rooms, draws, seed, tuple(_notes(made_up, rooms)),
    )  # fmt: skip


def _widest_step(wanted: list[Limit]) -> float:
    """A bar that does not reach over a station between two others shows nothing of what lies between them."""
    return min(
        (length / LEAST_STEPS.get(limit.kind, 1.5) for limit in wanted for length in lengths_of(limit)),
        default=math.inf,
    )


def usual_steps(
    length: float, width: float, limits: str | Limit | Iterable[str | Limit], *, unit: str = "in",
    surface: str = "floor",
) -> list[float]:  # fmt: skip
    """Steps [mm] that are usual on site and narrow enough for the limits; arguments as for :func:`plan_readings`."""
    _check_unit(unit)
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


def _check_unit(unit: str) -> None:
    if unit not in STEPS_MM:
        raise ArgumentError("unknown unit", column="unit", value=str(unit), expected="in or mm")


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
                what, column="steps", value=f"{chosen[-1]:.0f} mm", expected=f"at most {most:.0f} mm",
                remedy="choose a narrower step",
            )  # fmt: skip
    return chosen


def _notes(made_up: MadeUpRooms, rooms: int) -> Iterator[str]:
    low, high = (LENGTH_MM * math.exp(sign * LENGTH_SPREAD) for sign in (-1, 1))
    yield (
        f"assumed: surfaces that are random about a plane, their waves in two of three rooms correlated over {low:.0f} "
        f"mm to {high:.0f} mm, none with a standard deviation over {MOST_SCALE_MM:.0f} mm (common practice, no source);"
        " floors, walls and ceilings alike"
    )
    yield (
        "assumed: the worst place uses up from a quarter of the limit to four times the limit, each ratio as likely as "
        "the next; a surface much flatter or much worse than the limit is decided by fewer readings, one close to the "
        "limit may stay undecided on any grid"
    )
    yield "assumed: reading errors are independent, and their standard deviation is the accuracy given"
    yield (
        f"the shares come from {rooms} made-up rooms, the same for all grids, and what follows the sign is one "
        "standard error; a room decided rightly on a wide grid counts as decided on the narrower ones"
    )
    yield (
        "the made-up rooms have nothing narrower than two steps, which no grid shows, such as a proud joist between "
        "two lines of stations: give the members' layout, so that each is read, or slide a bar between the stations"
    )
    if made_up.part:
        yield (
            f"a part of {made_up.sides[0]:.0f} mm by {made_up.sides[1]:.0f} mm stands for the whole surface, which is "
            "too large to simulate"
        )
    if any(limit.kind == "span-bar" for limit in made_up.limits):
        yield f"distances under {SHORTEST_SPAN:.0f} mm are not planned for"
