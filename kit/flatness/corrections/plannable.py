"""Which limits a plan can be made to meet, as straightedges; the others are measured after the plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flatness.errors import MeasureError
from flatness.limits.kinds import Limit
from flatness.limits.measuring import Subject, measure
from flatness.limits.wording import describe
from flatness.measures.lines import all_headings
from flatness.measures.placements import Requirement
from flatness.measures.spans import allowed_at

MOST_STEPS = 16  # straightedges that one span limit may turn into


@dataclass(frozen=True)
class Plannable:
    """The limits that are planned for.

    Attributes
    ----------
    requirements : straightedges that together say the same as the limits
    names : of the limits planned for
    notes : why others are not
    """

    requirements: tuple[Requirement, ...]
    names: tuple[str, ...]
    notes: tuple[str, ...]

    def at(self, share: float) -> list[Requirement]:
        """The straightedges with this share of the gap that is allowed."""
        return [Requirement(r.length, r.allowed * share) for r in self.requirements]


def plannable(limits: Sequence[Limit], subject: Subject, level_within: float | None) -> Plannable:
    """Which of the limits can be planned for on this subject.

    Parameters
    ----------
    limits : as agreed or published
    subject : survey and surface to plan on
    level_within : the band that is planned for besides [mm], or None
    """
    requirements: list[Requirement] = []
    names, notes = [], []
    for limit in limits:
        if limit.kind not in ("straightedge", "span-bar"):
            remedy = ""
            if limit.kind == "level" and limit.length is None and level_within is None:
                remedy = f"; a plan can be asked to stay level within {limit.allowed:g} mm"
            notes.append(
                f"{limit.name} ({describe(limit, 'source')}) cannot be planned for, and is measured afterwards{remedy}"
            )
            continue
        try:
            only = measure(limit, subject).only
        except MeasureError as error:
            why = "; ".join(
                ", ".join(part for part in (problem.what, problem.value, problem.remedy) if part)
                for problem in error.problems
            )
            notes.append(f"{limit.name} is not planned for: {why}")
            continue
        if only:
            notes.append(f"{limit.name} is not planned for: it is measured {only}, and a plan is of the whole surface")
            continue
        found = [_straightedge(limit)] if limit.kind == "straightedge" else _spans(limit, subject)
        if not found:
            notes.append(
                f"{limit.name} is measured afterwards, not planned for: bars of the distances it names can be planned "
                "for along rows, columns and diagonals alone; 4 headings do that"
            )
            continue
        requirements += found
        names.append(limit.name)
    return Plannable(tuple(requirements), tuple(names), tuple(notes))


def _straightedge(limit: Limit) -> Requirement:
    assert limit.length is not None
    assert limit.allowed is not None
    return Requirement(limit.length, limit.allowed)


def _spans(limit: Limit, subject: Subject) -> list[Requirement]:
    """Straightedges that say what a limit by span says; none where that is not exact.

    Where the gap allowed never falls with the distance, bars as long as the longest that is allowed some gap ask for
    no more than the limit does. Off the lattice's own lines the bar method lays its bars elsewhere.
    """
    headings, surface, p = all_headings(subject.headings), subject.surface, limit.parameters
    if not all(heading.on_lattice for heading in headings):
        return []
    steps = {heading.step * surface.spacing for heading in headings}
    farthest = math.hypot(float(np.ptp(surface.x)), float(np.ptp(surface.y)))
    distances = sorted({round(k * step, 6) for step in steps for k in range(2, int(farthest / step + 1e-6) + 1)})
    allowed = [allowed_at(distance, p["distances"], p["allowed"], p["rounded"]) for distance in distances]
    longest = {gap: distance for distance, gap in zip(distances, allowed, strict=True)}
    if (np.diff(allowed) < 0).any() or not 0 < len(longest) <= MOST_STEPS or min(allowed) <= 0:
        return []
    return [Requirement(distance, gap) for gap, distance in longest.items()]
