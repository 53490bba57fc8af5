"""What is wanted of a plan, checked before any work is done.

Which limits a plan can be made to meet, as straightedges and lights; the others are measured after the plan.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from flatness.errors import ArgumentError, MeasureError
from flatness.light.places import LightRequirement
from flatness.limits.kinds import PLANNABLE, Limit, describe
from flatness.limits.measuring import Subject, lit_requirements, measure
from flatness.limits.spot_checks import Checks
from flatness.measures.bars import Requirement, all_headings
from flatness.measures.spans import allowed_at
from flatness.notes import Note, joined
from flatness.planning.constraints import FixedSpot
from flatness.planning.least_work import Progress, Required
from flatness.planning.plan import WAYS
from flatness.planning.search import STRATEGIES
from flatness.planning.set_heights import SETTING_ERROR_MM
from flatness.planning.set_members import PLANES
from flatness.planning.target import SHIFTS, TILTS

SURFACES = ("likely", "as-read")
# what a search for the work goes by
SEARCHED = ("strategy", "headings", "fixed", "level_within", "height", "tilt", "ask_engineer", "progress")


@dataclass(frozen=True, kw_only=True)
class Request:
    """Arguments of :func:`~flatness.planning.planner.plan_corrections` that name a choice or a number."""

    strategy: str = "least-work"
    surface: str = "likely"
    headings: int = 12
    shift: str = "least-work"
    fixed: Sequence[FixedSpot] = ()
    level_within: float | None = None
    height: float | None = None
    tilt: str = "least-squares"
    aim: Any = None
    confidence: float = 0.95
    draws: int = 200
    seed: int = 0
    progress: Progress | None = None
    way: str | None = None
    plane: str | None = None
    ask_engineer: bool = True
    setting_error: float = SETTING_ERROR_MM
    keep_clear: float = 0.0
    spot_checks: Checks = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "fixed", tuple(self.fixed))
        object.__setattr__(self, "spot_checks", tuple(self.spot_checks))
        if self.aim is None:
            object.__setattr__(self, "aim", "sure" if self.draws else 1.0)


def check_request(request: Request) -> None:
    """Check them, alone and against each other.

    Raises
    ------
    ArgumentError : one that is unknown, out of range, or without a meaning for the strategy
    """
    for name, value, known in (
        ("strategy", request.strategy, STRATEGIES),
        ("surface", request.surface, SURFACES),
        ("shift", request.shift, SHIFTS),
        ("tilt", request.tilt, TILTS),
        ("way", request.way, (None, *WAYS)),
        ("plane", request.plane, (None, "plumb", *PLANES)),
    ):
        if value not in known:
            remedy, expected = "name one of these", ", ".join(one for one in known if one is not None)
            raise ArgumentError(f"unknown {name}", column=name, value=str(value), remedy=remedy, expected=expected)
    for spot in request.fixed:
        if not isinstance(spot, FixedSpot):
            expected, remedy = "FixedSpot(x, y, height)", "give places and heights in millimetres as FixedSpot"
            raise ArgumentError(
                "a fixed spot that cannot be read", column="fixed", value=str(spot), expected=expected, remedy=remedy
            )
    if request.strategy in ("through-benchmarks", "fixed-spots") and not request.fixed:
        raise ArgumentError(
            f"the strategy {request.strategy} without any spots",
            column="fixed",
            value="none",
            expected="one fixed spot or more, with its place",
            remedy="give the spots, or take the best plane",
        )
    for name, what, number, strategy in (
        ("height", "a height", request.height, "level"),
        ("level_within", "a band for level", request.level_within, "least-work"),
    ):
        if number is None:
            continue
        if request.strategy != strategy and not (name == "height" and request.way in (None, "members", "overlay")):
            raise ArgumentError(
                f"{what} is for the strategy {strategy}",
                column=name,
                value=f"{number}, with {request.strategy}",
                expected="nothing",
                remedy=f"leave it out, or take the strategy {strategy}",
            )
        _finite(name, number)
    for name, number in (("setting_error", request.setting_error), ("keep_clear", request.keep_clear)):
        if not _is_number(number) or not (math.isfinite(number) and number >= 0):
            raise ArgumentError(
                f"{name} out of range", column=name, value=str(number), expected="millimetres, 0 or more"
            )
    _check_aim(request.aim)
    if not _is_number(request.confidence) or not 0.5 <= request.confidence < 1:
        raise ArgumentError(
            "confidence out of range",
            column="confidence",
            value=str(request.confidence),
            expected="0.5 to under 1, such as 0.95",
            remedy="give it as a share, not in per cent",
        )
    if isinstance(request.draws, bool) or not isinstance(request.draws, (int, np.integer)) or request.draws < 0:
        expected, remedy = "a whole number from 0", "200 draws tell chances to about 2 %; 0 gives none"
        raise ArgumentError(
            "draws out of range", column="draws", value=str(request.draws), expected=expected, remedy=remedy
        )
    if request.spot_checks and not request.draws:
        what, remedy = "spot checks cannot count without draws", "leave out one of the two"
        raise ArgumentError(what, column="draws", value="0", expected="draws above 0", remedy=remedy)
    if request.aim == "sure" and not request.draws:
        raise ArgumentError(
            "no chance is known without draws",
            column="aim",
            value="sure, without draws",
            expected="draws above 0",
            remedy="aim at a share such as 0.7, or draw",
        )


def _check_aim(aim: float | str) -> None:
    if aim == "sure" or (_is_number(aim) and 0 < float(aim) <= 1):
        return
    what, remedy = "aim out of range", "1 plans to the limit itself, 0.7 to 70 % of it"
    raise ArgumentError(what, column="aim", value=str(aim), expected='over 0 up to 1, or "sure"', remedy=remedy)


def _finite(name: str, value: Any) -> None:
    if not _is_number(value) or not math.isfinite(value):
        what, remedy = f"{name} is not a finite number", "read lengths as people write them with parse_length first"
        raise ArgumentError(what, column=name, value=str(value), expected="millimetres", remedy=remedy)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float, np.number)) and not isinstance(value, bool)


MOST_STEPS = 16  # straightedges that one span limit may turn into


@dataclass(frozen=True)
class Plannable:
    """The limits that are planned for.

    Attributes
    ----------
    requirements : straightedges and lights that together say the same as the limits
    names : of the limits planned for
    notes : why others are not
    """

    requirements: tuple[Required, ...]
    names: tuple[str, ...]
    notes: tuple[str, ...]

    def at(self, share: float) -> list[Required]:
        """The straightedges with this share of the gap that is allowed, lights with that of what they may show."""
        return [replace(one, allowed=one.allowed * share) for one in self.requirements]

    def bars(self, share: float) -> list[Requirement]:
        """The straightedges alone, with this share."""
        return [one for one in self.at(share) if isinstance(one, Requirement)]

    @property
    def lights(self) -> tuple[LightRequirement, ...]:
        """Those that are lights."""
        return tuple(one for one in self.requirements if isinstance(one, LightRequirement))


def plannable(limits: Sequence[Limit], subject: Subject, level_within: float | None) -> Plannable:
    """Which of the limits can be planned for on this subject.

    Parameters
    ----------
    limits : as agreed or published
    subject : survey and surface to plan on
    level_within : the band that is planned for besides [mm], or None
    """
    requirements: list[Required] = []
    names, notes = [], []
    for limit in limits:
        if limit.kind not in (*PLANNABLE, "span-bar"):
            unplanned = Note("not-plannable", name=limit.name, what=describe(limit, "source"))
            can_be_level = limit.kind == "level" and limit.length is None and level_within is None
            notes.append(joined([unplanned, Note("can-be-level", within=limit.allowed) if can_be_level else ""]))
            continue
        try:
            only = measure(limit, subject).only
        except MeasureError as error:
            why = joined(
                joined((problem.what, problem.value or "", problem.remedy or ""), "commas")
                for problem in error.problems
            )
            notes.append(Note("not-planned", name=limit.name, why=why))
            continue
        if only:
            notes.append(Note("not-planned", name=limit.name, why=Note("not-of-the-whole", only=only)))
            continue
        found: Sequence[Required]
        if limit.kind == "light":
            found = lit_requirements(limit, subject)
        else:
            found = [_straightedge(limit)] if limit.kind == "straightedge" else _spans(limit, subject)
        if not found:
            notes.append(Note("only-on-lattice", name=limit.name))
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
