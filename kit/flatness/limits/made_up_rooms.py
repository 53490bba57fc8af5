"""Made-up rooms with known truth, to be read and judged before there is a real one.

Random surfaces (:mod:`flatness.surface.typical`) are scaled so that their worst place truly uses up a wanted share of
the limits. To be quick, the lattice is coarse and bars lie along rows, columns and diagonals alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from flatness.errors import ArgumentError, LimitError
from flatness.limits.kinds import Limit
from flatness.limits.measuring import FIXED_BASES, Subject, measure_draws
from flatness.limits.verdict import assess
from flatness.surface.fitting import SCALE_MM, SCALE_SPREAD
from flatness.surface.lattice import Surface, make_surface
from flatness.surface.typical import TypicalSurface, typical_surfaces
from flatness.survey.readings import Floats, make_survey
from flatness.survey.sheets import grid_positions

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
        raise LimitError(
            "a grid is not planned for this limit", value=limit.name, expected=f"a limit of kind {', '.join(PLANNED)}",
            remedy="its readings stand where its source, or the members, say",
        )  # fmt: skip
    if limit.kind == "span-bar":
        return tuple(d for d in limit.parameters["distances"] if d >= SHORTEST_SPAN)[:2]
    length = FIXED_BASES.get(limit.kind, limit.length)
    return () if length is None else (length,)


@dataclass(frozen=True, eq=False)
class MadeUpRooms:
    """Rooms whose true surface is known.

    Attributes
    ----------
    sides : along x and along y [mm]
    part : whether they stand for a surface too large to simulate
    surface : ``floor``, ``ceiling`` or ``wall``
    limits : the limits they are held against
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
        return cls((part[0], part[1]), shrink < 1, surface, limits, spacing, heights, even <= 0, seed)

    def verdicts(
        self, step: float, accuracy: float, rooms: Iterable[int], draws: int, confidence: float
    ) -> dict[int, str]:
        """The verdict on each of these rooms, when read at this step."""
        x, y = (grid.ravel() for grid in np.meshgrid(*(grid_positions(side, min(step, side)) for side in self.sides)))
        found = {}
        for room in rooms:
            noise = np.random.default_rng([self.seed, room, round(step)]).standard_normal(len(x))
            survey = make_survey(
                x, y, self.heights[room](x, y) + accuracy * noise, accuracy=accuracy, surface=self.surface,
                reference="plumb" if self.surface == "wall" else "level",
            )  # fmt: skip
            found[room] = assess(
                survey, self.limits, spacing=self.spacing, headings=HEADINGS, draws=draws, seed=self.seed + room,
                confidence=confidence, most_draws=draws,
            ).verdict  # fmt: skip
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
        "the surface is too small for this limit", value=f"{np.ptp(gx):.0f} x {np.ptp(gy):.0f} mm",
        expected="a surface on which the limit can be passed and failed",
        remedy="check it by hand with a straightedge",
    )  # fmt: skip


def _times(scale: float, shape: TypicalSurface, x: Floats, y: Floats) -> Floats:
    return scale * shape.at(x, y)


def _share(limit: Limit, subject: Subject, heights: Floats) -> float:
    stack = heights.reshape(1, *subject.surface.height.shape)
    return float(measure_draws(limit, subject, lambda: stack, lambda: heights[None])[0])
