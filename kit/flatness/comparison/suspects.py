"""Readings that may be slips, and the greatest change clear of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatness.surface.lattice import widest_step
from flatness.survey.checks import SLIP
from flatness.survey.readings import Survey

if TYPE_CHECKING:
    from flatness.comparison.comparing import Comparison

REACHES = 1.2  # steps between stations over which one reading moves the difference


@dataclass(frozen=True)
class Suspect:
    """A reading that its file's own check holds for a slip.

    Attributes
    ----------
    day : ``before`` or ``after``
    cell : where in the file it stands
    x, y : [mm]
    what : what is odd about it, in words
    reach : [mm] as far as it moves the difference
    """

    day: str
    cell: str
    x: float
    y: float
    what: str
    reach: float


@dataclass(frozen=True)
class Extreme:
    """The greatest change one way: ``difference`` and its standard ``error`` [mm] at ``x``, ``y`` [mm]; ``shown``:
    beyond the limit of detection; ``is_suspect``: beside a reading that may be a slip."""

    difference: float
    error: float
    x: float
    y: float
    shown: bool
    is_suspect: bool


def suspects(before: Survey, after: Survey) -> tuple[Suspect, ...]:
    """The readings on the surface that either survey's check remarked, in order."""
    return tuple(one for day, survey in (("before", before), ("after", after)) for one in _of(day, survey))


def _of(day: str, survey: Survey) -> Iterator[Suspect]:
    x, y, _ = survey.xyz()
    rows = {cell: row for row, cell in enumerate(survey.points["cell"])}
    for problem in survey.notes:
        row = rows.get(problem.cell or "")
        if row is not None and problem.what.startswith(SLIP):
            reach = REACHES * widest_step(survey)
            yield Suspect(day, str(problem.cell), float(x[row]), float(y[row]), problem.what, reach)


def extremes(comparison: Comparison, *, clear: bool) -> tuple[Extreme, Extreme]:
    """The lowest and the highest difference; ``clear``: away from suspects, where anything is left."""
    c = comparison
    gx, gy = np.meshgrid(c.x, c.y)
    beside = np.zeros(gx.shape, dtype=bool)
    for one in suspects(*c.surveys):
        beside |= np.maximum(np.abs(gx - one.x), np.abs(gy - one.y)) <= one.reach
    left = np.where(beside, np.nan, c.difference) if clear else c.difference
    if not np.isfinite(left).any():
        left = c.difference
    found = []
    for pick in (np.nanargmin, np.nanargmax):
        j, i = np.unravel_index(int(pick(left)), left.shape)
        found.append(Extreme(
            float(c.difference[j, i]), float(c.size_error[j, i]), float(c.x[i]), float(c.y[j]),
            bool(c.changed[j, i]), bool(beside[j, i]),
        ))  # fmt: skip
    return found[0], found[1]
