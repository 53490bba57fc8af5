"""What stands when the work is done: limit by limit, before and after, and the chance that the true surface passes.

Work sets heights: places are brought to a height, each good to a setting error, and what is left stays as found.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.errors import MeasureError
from flatness.limits.kinds import UNITLESS, Limit, describe
from flatness.limits.measuring import Finding, Subject, measure, measure_draws, proved_angle, seen_where
from flatness.limits.spot_checks import LEAST_SHARE, READ, Checks, between, draw_agreeing, seen_under
from flatness.limits.verdict import FAIL, LEAST_BATCH, MOST_DRAWS, PASS, UNDECIDED, Judged, of_the_whole
from flatness.measures.bars import gap_map
from flatness.notes import Note, joined
from flatness.surface.lattice import Surface, Unread, unread
from flatness.surface.likely import LikelySurface
from flatness.survey.readings import Survey

# both common practice, no source
SETTING_ERROR_MM = 25.4 / 32  # one standard deviation of a height that is set by laser, string or bar
MARK_STEP_MM = 609.6  # about 2 ft: how far apart heights are set, with a bar from one to the next
CHANGED_MM = 1e-6  # changes below this are none


@dataclass(frozen=True, eq=False)
class Work:
    """Heights that places are brought to.

    Attributes
    ----------
    height : [ny, nx] mm, NaN where the surface is left as found
    way : [ny, nx], 1 where something is only added, so that what stands higher stays, -1 where it is only taken off, 0
        where both; None: 0
    error : of setting a height, one standard deviation [mm]
    across, along : knots [mm] along x and along y at which heights are set, each with its own error; straight between
        them. None: about 2 ft apart
    """

    height: Floats
    way: NDArray[np.int8] | None = None
    error: float = SETTING_ERROR_MM
    across: Floats | None = None
    along: Floats | None = None

    @property
    def worked(self) -> NDArray[np.bool_]:
        """[ny, nx] whether a place is set."""
        return np.isfinite(self.height)

    def change(self, surface: Surface) -> Floats:
        """[ny, nx] mm, adding positive: 0 where it is left, NaN where there is no surface."""
        moved = self.on(surface).height - surface.height
        moved[np.abs(moved) < CHANGED_MM] = 0.0
        return moved

    def on(self, surface: Surface) -> Surface:
        """The surface once the work is done without error."""
        return replace(surface, height=np.where(surface.inside, self.brought(surface.height, self.height), np.nan))

    def brought(self, found: Floats, height: Floats) -> Floats:
        """What stands [..., ny, nx] mm where places as found are brought to heights [..., ny, nx] mm."""
        done = np.where(np.isfinite(height), height, found)
        if self.way is None:
            return np.asarray(done)
        done = np.where(self.way > 0, np.maximum(done, found), done)
        return np.asarray(np.where(self.way < 0, np.minimum(done, found), done))

    def errors(self, surface: Surface, n: int, rng: np.random.Generator) -> Floats:
        """[n, ny, nx] mm: ``n`` times the errors with which the heights are set."""
        weights = [
            _hats(axis, _marks(axis) if knots is None else knots)
            for axis, knots in ((surface.y, self.along), (surface.x, self.across))
        ]
        drawn = rng.normal(0.0, self.error, (n, weights[0].shape[1], weights[1].shape[1]))
        return np.asarray(weights[0] @ drawn @ weights[1].T)

    def after(self, surfaces: Floats, surface: Surface, rng: np.random.Generator) -> Floats:
        """What stands on each of the surfaces [n, ny, nx] mm once the work is done on it, with errors of setting."""
        if not self.worked.any():
            return surfaces
        heights: Floats = self.height + self.errors(surface, len(surfaces), rng)
        return self.brought(surfaces, heights)


def _marks(axis: Floats) -> Floats:
    count = max(2, int(np.ceil((axis[-1] - axis[0]) / MARK_STEP_MM - 1e-9)) + 1)
    return np.asarray(axis[0] + MARK_STEP_MM * np.arange(count))


def _hats(axis: Floats, knots: Floats) -> Floats:
    """[places, knots] weights that are linear between knots, and those of the nearest knot beyond the last."""
    if len(knots) == 1:
        return np.ones((len(axis), 1))
    at = np.clip(axis, knots[0], knots[-1])
    left = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, len(knots) - 2)
    share = (at - knots[left]) / (knots[left + 1] - knots[left])
    weights = np.zeros((len(axis), len(knots)))
    rows = np.arange(len(axis))
    weights[rows, left] = 1 - share
    weights[rows, left + 1] += share
    return weights


COLUMNS = (
    "limit",
    "measure",
    "before_mm",
    "after_mm",
    "likely_mm",
    "allowed_mm",
    "passes",
    "chance",
    "verdict",
    "between",
    "note",
    "planned_for",
    "before",
    "after",
    "likely",
    "allowed",
    "unit",
)
# keys of notes on what a bar showed and no surface drawn has
UNKNOWN_TO_PLAN = ("bar-showed-somewhere", "bar-showed-unread", "bar-disagrees")
JUDGING = 100  # number of the first batch of surfaces that no search has seen
_UNITS = {"ff": "F-number", "fl": "F-number", "slope": "rise / run", "light": "degrees"}


def on_likely(subject: Subject, likely: LikelySurface) -> Subject:
    """The subject with the best estimate in place of what was read, on the lattice and at the stations."""
    x, y, _ = subject.survey.xyz()
    points = subject.survey.points.assign(height=likely.predict_at(x, y)[0])
    surface, survey = replace(subject.surface, height=likely.mean), replace(subject.survey, points=points)
    return replace(subject, surface=surface, survey=survey)


def at_stations(surface: Surface, survey: Survey, change: Floats) -> Floats:
    """The change [n] mm at the readings; beside blank nodes and past the edge that of the nodes nearest to them.

    None (0) at a reading more than two lattice steps from every node with a change.
    """
    x, y, _ = survey.xyz()
    return np.nan_to_num(surface.at(x, y, change, beyond="nearest"))


@dataclass(frozen=True, eq=False)
class Drawn:
    """Surfaces that the readings allow, and from where the errors of setting are drawn.

    Attributes
    ----------
    both : on the lattice [n, ny, nx] mm, and the same at the readings [n, readings] mm
    seed : of the errors of setting
    agree : share [-] of what the readings allow that agrees with what a bar showed between the stations
    """

    both: tuple[Floats, Floats]
    seed: int
    agree: float = 1.0

    @property
    def count(self) -> int:
        """How many surfaces."""
        return len(self.both[0])

    def rng(self) -> np.random.Generator:
        """Of the errors of setting: the same for every plan, so that plans differ by their work."""
        return np.random.default_rng([self.seed, 7])


@dataclass(frozen=True, eq=False)
class PlanCheck:
    """The surface planned on, held against limits before and after some work.

    A search asks for ``chance`` again and again; ``table`` judges what was found on others, so
    that a plan is not judged on the very surfaces that it was fitted to, and draws more of them near a line of the
    verdict.

    Attributes
    ----------
    subject : survey (heights at the stations as they are planned on) and surface
    likely : from which other surfaces that the readings allow are drawn; None: none are
    draws, seed : how many at a time, from which seed
    confidence : at which verdicts are given
    spot_checks : what a bar showed between the stations as found
    """

    subject: Subject
    likely: LikelySurface | None
    draws: int
    seed: int
    confidence: float
    spot_checks: Checks = ()

    @cached_property
    def _batches(self) -> dict[int, Drawn]:
        return {}

    def _batch(self, number: int) -> Drawn:
        """Batches under :data:`JUDGING` are for searches, drawn two at a time, the others for the verdict."""
        assert self.likely is not None
        if number not in self._batches:
            count = max(self.draws, LEAST_BATCH) if number > JUDGING else self.draws
            numbers = [number]
            if number < JUDGING:
                count, numbers = min(count, LEAST_BATCH), [number // 2 * 2, number // 2 * 2 + 1]
            seed = int(np.random.SeedSequence([self.seed, numbers[0]]).generate_state(1)[0])
            subject, many = self.subject, count * len(numbers)
            *drawn, agree = draw_agreeing(self.likely, subject.survey, subject.surface, many, seed, self.spot_checks)
            for k, one in enumerate(numbers):
                # every other one, since those that follow one another have parameters in common
                part = (drawn[0][k :: len(numbers)], drawn[1][k :: len(numbers)])
                self._batches[one] = Drawn(part, seed + k, agree)
        return self._batches[number]

    @cached_property
    def _nearest(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Row and column of the node nearest to each station."""
        x, y, _ = self.subject.survey.xyz()
        surface = self.subject.surface
        found = (np.rint((v - axis[0]) / surface.spacing) for v, axis in ((y, surface.y), (x, surface.x)))
        rows, columns = (np.clip(k, 0, n - 1).astype(np.intp) for k, n in zip(found, surface.height.shape, strict=True))
        return rows, columns

    def changed(self, work: Work) -> Subject:
        """The subject once the work is done without error."""
        surface, survey = work.on(self.subject.surface), self.subject.survey
        moved = at_stations(surface, survey, work.change(self.subject.surface))
        points = survey.points.assign(height=survey.points["height"].to_numpy() + moved)
        return replace(self.subject, surface=surface, survey=replace(survey, points=points))

    def _after(self, work: Work, batch: int) -> tuple[Callable[[], Floats], Callable[[], Floats]]:
        """The surfaces of a batch once the work is done on them: on the lattice, and at the stations."""
        drawn, surface = self._batch(batch), self.subject.surface

        def lattice() -> Floats:
            return work.after(drawn.both[0], surface, drawn.rng())

        def stations() -> Floats:
            if not work.worked.any():
                return drawn.both[1]
            at = self._nearest
            way = None if work.way is None else work.way[at]
            heights = work.height[at] + work.errors(surface, drawn.count, drawn.rng())[:, *at]
            return replace(work, height=work.height[at], way=way).brought(drawn.both[1], heights)

        return lattice, stations

    def chance(self, limits: Iterable[Limit], work: Work, roughly: bool = False, batch: int = 0) -> float:
        """The least chance [-] of the limits once the work is done, over the surfaces of a batch.

        ``roughly`` goes by bars along the lattice's own lines alone. 1 without limits, NaN where nothing is drawn.
        """
        if self.likely is None or not self.draws:
            return math.nan
        headings = math.gcd(self.subject.headings, 4) if roughly else self.subject.headings
        subject, lowest = replace(self.subject, headings=headings), 1.0
        for limit in limits:
            try:
                within = measure_draws(limit, subject, *self._after(work, batch)) <= 1 + 1e-9
            except MeasureError:
                continue
            lowest = min(lowest, float(within.mean()))
        return lowest

    def failing(self, limits: Iterable[Limit], work: Work, batch: int = 0) -> tuple[float, Floats]:
        """The chance by bars along the lattice's own lines alone, and [ny, nx] which share of surfaces fails there."""
        over, bad = np.zeros(self.subject.surface.height.shape), 0.0
        for limit in limits:
            if limit.kind == "straightedge" and limit.length is not None and limit.allowed is not None:
                gaps = gap_map(self._after(work, batch)[0](), self.subject.surface.spacing, limit.length, 4)
                beyond = gaps > limit.allowed * (1 + 1e-9)
            elif limit.kind == "light":
                beyond = seen_where(limit, self.subject, self._after(work, batch)[0]())
            else:
                continue
            np.maximum(over, np.mean(beyond, axis=0), out=over)
            bad = max(bad, float(beyond.any(axis=(1, 2)).mean()))
        return 1 - bad, over

    def judge(self, limit: Limit, work: Work) -> Judged:
        """One limit once the work is done, as :mod:`flatness.limits.verdict` judges it, on surfaces of its own."""
        none = np.empty(0)
        subject = self.changed(work)
        try:
            finding = measure(limit, subject)
            if self.likely is None or not self.draws:
                return Judged(limit, finding, none, PASS if finding.within else FAIL, Note("nothing-drawn"))
            judged = Judged(limit, finding, none, UNDECIDED, "")
            batch, most = JUDGING, max(MOST_DRAWS, self.draws)
            while not len(judged.used) or (judged.near_a_line(self.confidence) and len(judged.used) < most):
                used = measure_draws(limit, subject, *self._after(work, batch), (0.5,))
                judged, batch = replace(judged, used=np.concatenate([judged.used, used])), batch + 1
        except MeasureError as error:
            return Judged(limit, None, none, UNDECIDED, joined(problem.what for problem in error.problems))
        unknown = self.unknown_to_plan(limit)
        if unknown is not None and not work.worked[subject.surface.inside].all():
            return replace(judged, reason=unknown, of_bar=True)
        if judged.in_doubt(self.confidence):
            return judged
        within = judged.chance >= self.confidence
        if self.likely.misfit and finding.within != within:
            return replace(judged, reason=Note("model-against-plan", misfit=self.likely.misfit))
        if limit.kind == "light" and not within:
            proved = proved_angle(limit, subject, self._after(work, JUDGING)[0](), self.confidence)
            if proved <= finding.allowed:
                return replace(judged, reason=Note("light-not-proved", angle=f"{proved:.1f}"))
        return replace(judged, verdict=PASS if within else FAIL)

    def table(self, limits: Iterable[Limit], work: Work, planned_for: Iterable[str], aimed: bool) -> pd.DataFrame:
        """The table ``after`` of a :class:`~flatness.planning.plan.Plan`.

        Parameters
        ----------
        limits : one row each
        work : heights that places are set to
        planned_for : names of the limits that the plan was made for
        aimed : whether it was made for any, and not for a target plane
        """
        names = set(planned_for)
        rows = [self._row(limit, work, limit.name in names, aimed) for limit in limits]
        return pd.DataFrame(rows, columns=list(COLUMNS)).astype({"passes": bool, "planned_for": bool})

    def _row(self, limit: Limit, work: Work, planned_for: bool, aimed: bool) -> dict[str, Any]:
        judged = of_the_whole(self.judge(limit, work), self._left)
        numbers = dict.fromkeys(("before", "after", "likely", "allowed"), math.nan)
        numbers["allowed"] = math.nan if limit.allowed is None else limit.allowed
        notes = [judged.reason] if judged.finding is None or judged.reason else []
        if judged.finding is not None:
            before = self._before(limit)
            numbers = {
                "before": before.measured.value if before else math.nan,
                "after": judged.finding.measured.value,
                "likely": judged.likely()[0],
                "allowed": judged.finding.allowed,
            }
            notes.append(judged.finding.measured.note)
        notes += [] if planned_for or not aimed else [Note("measured-after")]
        is_length = limit.kind not in UNITLESS
        return {
            "limit": limit.name,
            "measure": describe(limit, "source"),
            "chance": judged.chance,
            "passes": judged.finding is not None and judged.finding.within,
            "verdict": judged.verdict,
            "between": self._between(limit, work),
            "note": joined(notes, "sentences"),
            "planned_for": planned_for,
            "unit": _UNITS.get(limit.kind, "mm"),
            **numbers,
            **{f"{name}_mm": value if is_length else math.nan for name, value in numbers.items()},
        }

    def unknown_to_plan(self, limit: Limit) -> Note | None:
        """What a bar showed over a limit that no surface drawn has, so that no plan can know what to do about it."""
        agree = self._batch(JUDGING).agree if self.likely is not None and self.draws else 1.0
        seen = seen_under(limit, self.spot_checks)
        if seen is not None and limit.allowed is not None and seen.least > limit.allowed:
            showed = Note("bar-showed", bar=seen.bar, gap=seen.least)
            if seen.at is None:
                return Note("bar-showed-somewhere", showed=showed)
            return Note("bar-showed-unread", showed=showed, at=seen.at) if agree < LEAST_SHARE else None
        return Note("bar-disagrees") if agree < LEAST_SHARE else None

    def _between(self, limit: Limit, work: Work) -> str:
        """What the verdict rests on between the stations: there what is left as found is as unknown as before."""
        subject = self.subject
        if work.worked[subject.surface.inside].all():
            return READ
        return between(limit, subject.survey, subject.surface, subject.step, self.spot_checks)

    @cached_property
    def _left(self) -> Unread | None:
        return unread(self.subject.survey)

    def _before(self, limit: Limit) -> Finding | None:
        try:
            return measure(limit, self.subject)
        except MeasureError:
            return None
