"""What the planned surface measures: before and after, limit by limit, and the chance that the true one passes."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from scipy.interpolate import RegularGridInterpolator

from flatness.errors import MeasureError
from flatness.limits.kinds import UNITLESS, Limit
from flatness.limits.measuring import Finding, Subject, measure, measure_draws
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Judged, of_the_whole
from flatness.limits.wording import describe
from flatness.surface.coverage import Unread, unread
from flatness.surface.lattice import Surface
from flatness.surface.likely import LikelySurface
from flatness.survey.readings import Floats, Survey

COLUMNS = (
    "limit", "measure", "before_mm", "after_mm", "likely_mm", "allowed_mm", "passes", "chance", "verdict", "note",
    "planned_for", "before", "after", "likely", "allowed", "unit",
)  # fmt: skip
MEDIAN = (0.5,)  # the quantile of the draws that is told
_UNITS = {"ff": "F-number", "fl": "F-number", "slope": "rise / run"}


def on_likely(subject: Subject, likely: LikelySurface) -> Subject:
    """The subject with the best estimate in place of what was read, on the lattice and at the stations."""
    x, y, _ = subject.survey.xyz()
    points = subject.survey.points.assign(height=likely.predict_at(x, y)[0])
    surface, survey = replace(subject.surface, height=likely.mean), replace(subject.survey, points=points)
    return replace(subject, surface=surface, survey=survey)


def at_stations(surface: Surface, survey: Survey, change: Floats) -> Floats:
    """The change [n] mm at the readings; beyond the lattice, that at its edge."""
    x, y, _ = survey.xyz()
    place = np.column_stack([
        np.clip(y, surface.y[0], surface.y[-1]), np.clip(x, surface.x[0], surface.x[-1])
    ])  # fmt: skip
    between = RegularGridInterpolator((surface.y, surface.x), np.nan_to_num(change))
    return np.asarray(between(place), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Held:
    """The surface planned on, held against limits before and after a change.

    Attributes
    ----------
    subject : survey (heights at the stations as they are planned on) and surface
    likely : from which other surfaces that the readings allow are drawn; None: none are
    draws, seed : how many, from which seed
    confidence : at which verdicts are given
    """

    subject: Subject
    likely: LikelySurface | None
    draws: int
    seed: int
    confidence: float

    @cached_property
    def _drawn(self) -> tuple[Floats, Floats]:
        assert self.likely is not None
        x, y, _ = self.subject.survey.xyz()
        return self.likely.draw_both(x, y, self.draws, self.seed)

    def changed(self, change: Floats) -> Subject:
        """The subject once the change [ny, nx] mm is made."""
        surface, survey = self.subject.surface, self.subject.survey
        finished = replace(surface, height=surface.height + change)
        raised = survey.points.assign(height=survey.points["height"].to_numpy() + self._at_stations(change))
        return replace(self.subject, surface=finished, survey=replace(survey, points=raised))

    def _at_stations(self, change: Floats) -> Floats:
        return at_stations(self.subject.surface, self.subject.survey, change)

    @cached_property
    def _known(self) -> dict[tuple[int, bytes], Judged]:
        return {}

    def judge(self, limit: Limit, change: Floats) -> Judged:
        """One limit after the change, as :mod:`flatness.limits.verdict` judges it.

        Of a straightedge limit ``used`` says whether each draw is within, and has their median.
        """
        key = id(limit), change.tobytes()
        if key not in self._known:
            self._known[key] = self._judge(limit, change)
        return self._known[key]

    def _judge(self, limit: Limit, change: Floats, least: float = 0.0) -> Judged:
        none = np.empty(0)
        subject = self.changed(change)
        try:
            finding = measure(limit, subject)
            if self.likely is None:
                return Judged(limit, finding, none, PASS if finding.within else FAIL, "nothing was drawn")
            lattice, stations = self._drawn
            used = measure_draws(
                limit, subject, lambda: lattice + change, lambda: stations + self._at_stations(change), MEDIAN, least
            )
        except MeasureError as error:
            return Judged(limit, None, none, UNDECIDED, "; ".join(problem.what for problem in error.problems))
        judged = Judged(limit, finding, used, UNDECIDED, "")
        if judged.in_doubt(self.confidence):
            return judged
        within = judged.chance >= self.confidence
        if self.likely.misfit and finding.within != within:
            return replace(judged, reason=f"the model disagrees with the plan, and {'; '.join(self.likely.misfit)}")
        return replace(judged, verdict=PASS if within else FAIL)

    def reaches(self, limits: Iterable[Limit], change: Floats) -> bool:
        """Whether the chance of each limit after the change is as high as the confidence."""
        for limit in limits:
            key = id(limit), change.tobytes()
            judged = self._known.get(key) or self._judge(limit, change, self.confidence)
            if not judged.chance >= self.confidence:
                return False
            self._known[key] = judged
        return True

    def least_chance(self, limits: Iterable[Limit], change: Floats) -> float:
        """The least chance [-] of the limits after the change; 1 where there are none, NaN where none was drawn."""
        if self.likely is None:
            return math.nan
        return min((self.judge(limit, change).chance for limit in limits), default=1.0)

    def table(
        self, limits: Iterable[Limit], change: Floats, planned_for: Iterable[str], aim: float | None
    ) -> pd.DataFrame:
        """The table ``after`` of a :class:`~flatness.corrections.plan.Plan`.

        Parameters
        ----------
        limits : one row each
        change : [ny, nx] mm
        planned_for : names of the limits that the plan was made for
        aim : share of them that it was made for; None for a target plane, which is made for none
        """
        names = set(planned_for)
        rows = [self._row(limit, change, limit.name in names, aim) for limit in limits]
        return pd.DataFrame(rows, columns=list(COLUMNS)).astype({"passes": bool, "planned_for": bool})

    def _row(self, limit: Limit, change: Floats, planned_for: bool, aim: float | None) -> dict[str, Any]:
        judged = of_the_whole(self.judge(limit, change), self._left)
        numbers = dict.fromkeys(("before", "after", "likely", "allowed"), math.nan)
        numbers["allowed"] = math.nan if limit.allowed is None else limit.allowed
        notes = [judged.reason] if judged.finding is None or judged.reason else []
        if judged.finding is not None:
            before = self._before(limit)
            numbers = {
                "before": before.measured.value if before else math.nan,
                "after": judged.finding.measured.value, "likely": judged.likely()[0],
                "allowed": judged.finding.allowed,
            }  # fmt: skip
            notes.append(judged.finding.measured.note)
            if planned_for and judged.chance < self.confidence:
                notes.append(tighter(judged.chance, aim))
        notes += [] if planned_for or aim is None else ["not planned for, measured after the plan"]
        is_length = limit.kind not in UNITLESS
        return {
            "limit": limit.name, "measure": describe(limit, "source"), "chance": judged.chance,
            "passes": judged.finding is not None and judged.finding.within, "verdict": judged.verdict,
            "note": ". ".join(note.rstrip(".") for note in notes if note), "planned_for": planned_for,
            "unit": _UNITS.get(limit.kind, "mm"), **numbers,
            **{f"{name}_mm": value if is_length else math.nan for name, value in numbers.items()},
        }  # fmt: skip

    @cached_property
    def _left(self) -> Unread | None:
        return unread(self.subject.survey)

    def _before(self, limit: Limit) -> Finding | None:
        try:
            return measure(limit, self.subject)
        except MeasureError:
            return None


def tighter(chance: float, aim: float | None) -> str:
    """What to do where the chance of passing after the plan is under the confidence asked for.

    >>> tighter(0.2, None)
    'the true surface has a chance of 20 % of passing: to be surer, read more closely'
    """
    known = f"the true surface has a chance of {100 * chance:.0f} % of passing"
    if aim is None:
        return f"{known}: to be surer, read more closely"
    return (
        f"planned to {100 * aim:g} % of the limit on the best estimate, {known}: to be surer, plan to a smaller share "
        "of it, or leave the share to be found, or read more closely"
    )
