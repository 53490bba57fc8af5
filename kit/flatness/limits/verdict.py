"""The verdict: each measure as read and likely, compared with its limit.

A measure taken off readings has an error of its own. Conformity and its opposite are both to be proved
(ISO 14253-1; JCGM 106:2012, section 8.3): over other surfaces that the readings allow, the share within the
limit is the chance that the surface is. At the confidence asked for that gives pass or fail; between the two
the readings cannot decide, and the verdict is undecided.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError
from flatness.limits.catalogue import find
from flatness.limits.kinds import UNITLESS, Limit, caution, cited, describe, lamp_distance
from flatness.limits.measuring import Finding, Subject, measure, measure_draws, proved_angle
from flatness.limits.spot_checks import (
    ASSUMED,
    LEAST_SHARE,
    READ,
    SEEN_MM,
    SPOT_CHECKED,
    Checks,
    Seen,
    Sweep,
    between,
    check_strips,
    draw_agreeing,
    notes_after,
    open_sweeps,
    seen_under,
    stop_gap,
    under_a_longer_bar,
    wanted_sweeps,
)
from flatness.measures.bars import gap_map
from flatness.notes import Note, joined
from flatness.surface.lattice import Surface, Unread, unread
from flatness.surface.likely import LikelySurface, likely_surface
from flatness.surface.slips import Slip
from flatness.survey.checks import notes_but_on
from flatness.survey.readings import Survey

PASS, FAIL, UNDECIDED = "pass", "fail", "undecided"
COLUMNS = (
    "limit",
    "measure",
    "as_read_mm",
    "likely_mm",
    "low_mm",
    "high_mm",
    "allowed_mm",
    "chance",
    "verdict",
    "between",
    "where",
    "source",
    "note",
    "as_read",
    "likely",
    "low",
    "high",
    "allowed",
    "unit",
)
RANGE = (0.025, 0.5, 0.975)  # quantiles of the draws that are reported: the median and the ends of the 95 % range
MOST_DRAWS = 1000  # where the chance is near the line of a verdict; in batches of as many as were asked for, or 100
LEAST_BATCH = 100
SAMPLING_ERRORS = 2.0  # of a share of the draws, within which they cannot tell on which side of a line it is
RANK = {FAIL: 0, UNDECIDED: 1, PASS: 2}


@dataclass(frozen=True, eq=False)
class Judged:
    """One limit, judged.

    Attributes
    ----------
    limit : the limit
    finding : the measure as read, or None where the readings cannot give it
    used : [draws] share of the limit used up by each surface that the readings allow, as
        :func:`~flatness.limits.measuring.measure_draws` gives it; empty where not drawn
    verdict : ``pass``, ``fail`` or ``undecided``
    reason : why it is undecided, or what else must be known
    between : what it rests on between the stations: ``read``, ``spot-checked`` or ``assumed``
    seen : the largest gap that a bar showed between them; None: none did
    of_bar : whether the doubt is about what the bar showed, so that more readings could not decide
    """

    limit: Limit
    finding: Finding | None
    used: Floats
    verdict: str
    reason: str
    between: str = READ
    seen: Seen | None = None
    of_bar: bool = False

    @property
    def by_bar(self) -> bool:
        """Whether it fails by what a bar showed between the stations."""
        return self.verdict == FAIL and isinstance(self.reason, Note) and self.reason.key == "bar-showed"

    @property
    def shown_by_bar(self) -> bool:
        """Whether a bar showed more between the stations than the readings do."""
        return self.seen is not None and (
            self.of_bar or (self.finding is not None and self.seen.least > self.finding.measured.value)
        )

    @property
    def worst_at(self) -> tuple[float, float] | None:
        """x, y [mm] where it is worst: as read, or amid the strip on which a bar showed more; None: not known."""
        if self.shown_by_bar and self.seen is not None:
            return self.seen.at
        return None if self.finding is None else self.finding.measured.at

    @property
    def chance(self) -> float:
        """Chance that the surface is within the limit [-]; NaN where nothing was drawn."""
        return float(np.mean(self.used <= 1 + 1e-9)) if len(self.used) else math.nan

    def in_doubt(self, confidence: float) -> bool:
        """Whether the draws lie on both sides of the limit, so that more readings could decide."""
        return bool(1 - confidence < self.chance < confidence) and not self.of_bar

    def near_a_line(self, confidence: float) -> bool:
        """Whether the draws are too few to say on which side of a line of the verdict the chance lies."""
        error = math.sqrt(self.chance * (1 - self.chance) / len(self.used)) if len(self.used) else 0.0
        return any(abs(self.chance - line) < SAMPLING_ERRORS * error for line in (confidence, 1 - confidence))

    def likely(self) -> tuple[float, float, float]:
        """Median and 95 % range of the likely measure, in the limit's unit; NaN where nothing was drawn."""
        if not len(self.used) or self.finding is None:
            return math.nan, math.nan, math.nan
        low, middle, high = np.quantile(self.used, RANGE)
        if self.finding.at_least:
            with np.errstate(divide="ignore"):
                low, middle, high = 1 / high, 1 / middle, 1 / low
        scale = self.finding.allowed
        return float(middle * scale), float(low * scale), float(high * scale)


@dataclass(frozen=True, eq=False)
class Assessment:
    """All that a check found.

    Attributes
    ----------
    subject : survey and surface as read
    judged : one a limit, in the order they were asked for
    likely : the likely surface, or None where the check went by the readings alone
    draws, seed : how many surfaces were drawn, from which seed; of a limit near the line of a verdict more, as many
        as its ``used`` holds
    confidence : at which verdicts were given
    spot_checks : what a bar showed between the stations
    """

    subject: Subject
    judged: tuple[Judged, ...]
    likely: LikelySurface | None
    draws: int
    seed: int
    confidence: float
    spot_checks: Checks = ()
    lattice: _Draws | None = field(default=None, repr=False)

    @cached_property
    def table(self) -> pd.DataFrame:
        """The verdict table, one row a limit; see :func:`check`."""
        return pd.DataFrame([_row(one) for one in self.judged], columns=list(COLUMNS))

    @property
    def slips(self) -> tuple[Slip, ...]:
        """Readings that were likely taken or written wrong, the foremost first: left out, and to be read again."""
        return self.likely.slips if self.likely is not None else ()

    @property
    def notes(self) -> tuple[str, ...]:
        """What is to be known of the likely surface."""
        return () if self.likely is None else notes_after(self.likely.notes, self.spot_checks)

    @property
    def verdict(self) -> str:
        """Of all limits together: fail where one fails, else undecided where one is, else pass."""
        verdicts = {one.verdict for one in self.judged}
        return next((v for v in (FAIL, UNDECIDED) if v in verdicts), PASS)

    @property
    def between(self) -> str:
        """What the verdicts rest on between the stations: the least of all limits with that verdict."""
        found = {one.between for one in self.judged if one.verdict == self.verdict}
        return next((one for one in (ASSUMED, SPOT_CHECKED) if one in found), READ)

    @cached_property
    def governing(self) -> Judged | None:
        """The limit that speaks for all: of the worst verdict, under a straightedge if one is, used up most.

        None where nothing was asked for.
        """
        return min(self.judged, key=lambda one: (RANK[one.verdict], *_by_use(one)), default=None)

    @property
    def pictured(self) -> Judged | None:
        """The straightedge limit that pictures show: the one that governs, else the one used up most; None: none is."""
        every = self._straightedges
        return self.governing if self.governing in every else min(every, key=_by_use, default=None)

    @property
    def swept(self) -> Judged | None:
        """The straightedge limit under which a bar that is slid stops first; None: none is."""
        return min(self._straightedges, key=lambda one: stop_gap(one.limit, None, self.subject.survey), default=None)

    @property
    def _straightedges(self) -> list[Judged]:
        """The straightedge limits that could be measured."""
        return [one for one in self.judged if one.limit.kind == "straightedge" and one.finding is not None]

    @cached_property
    def wanted_sweeps(self) -> list[Sweep]:
        """The strips along which a bar is to be slid for that limit; empty where nothing is open."""
        one, pictured = self.swept, self.pictured
        if one is None or pictured is None or one.between != ASSUMED or pictured.verdict == FAIL:
            return []
        surface = self.subject.surface
        every = wanted_sweeps(self.subject.survey, surface, one.limit)
        # where those that were done, differently, leave something open although all are: all of them
        return open_sweeps(every, self.spot_checks, surface.spacing) or every

    def chance_map(self, limit: Limit) -> Floats:
        """[ny, nx] chance that a straightedge over a place shows more than the limit allows there."""
        if self.lattice is None or limit.kind != "straightedge" or limit.length is None or limit.allowed is None:
            raise MeasureError("no chance map for this check", expected="a straightedge limit, and draws")
        if self.subject.along_lines(limit.length) is not None:
            raise MeasureError(
                "no chance map where a bar is placed along lines alone",
                expected="lines that stand closer",
                remedy="read lines between them",
            )
        heights = self.lattice.on_lattice()
        gaps = gap_map(heights, self.subject.surface.spacing, limit.length, self.subject.headings)
        over = np.mean(gaps > limit.allowed + 1e-6, axis=0)
        return np.where(np.isnan(heights[0]), np.nan, over)


def _by_use(one: Judged) -> tuple[bool, float]:
    """Straightedges first, then by what is printed: the likely measure, where one was drawn."""
    used = one.finding.used if one.finding is not None else 0.0
    return one.limit.kind != "straightedge", -(float(np.median(one.used)) if len(one.used) else used)


class _Draws:
    """Surfaces that the readings allow, drawn when first asked for, on the lattice and at the readings."""

    def __init__(
        self, likely: LikelySurface, survey: Survey, surface: Surface, count: int, seed: int, checks: Checks
    ) -> None:
        self.likely, self.survey, self.count, self.seed = likely, survey, count, seed
        self.surface, self.checks, self.agree = surface, checks, 1.0
        self._kept: dict[str, Floats] = {}
        self._more: list[_Draws] = []

    @cached_property
    def trusting(self) -> _Draws | None:
        """Surfaces that readings which are likely slips have their say in, too; None where there are none."""
        if not self.likely.slips:
            return None
        again = likely_surface(self.survey, self.likely.spacing, trusting=True)
        return _Draws(again, self.survey, self.surface, self.count, self.seed, self.checks)

    def further(self, batch: int) -> _Draws:
        """Other surfaces, the same for every limit."""
        while len(self._more) <= batch:
            seed = int(np.random.SeedSequence([self.seed, len(self._more) + 1]).generate_state(1)[0])
            count = max(self.count, LEAST_BATCH)
            self._more.append(_Draws(self.likely, self.survey, self.surface, count, seed, self.checks))
        return self._more[batch]

    def on_lattice(self) -> Floats:
        if "lattice" not in self._kept:
            found = draw_agreeing(self.likely, self.survey, self.surface, self.count, self.seed, self.checks)
            self._kept["lattice"], self._kept["readings"], self.agree = found
        return self._kept["lattice"]

    def at_least(self, seen: Seen, limit: Limit) -> Floats:
        """[n] share of a limit that is used up at the least, since a bar has shown so much.

        Where draws agree with the strip that showed it they show what a longer bar does there, else a hat does.
        """
        assert limit.length is not None
        assert limit.allowed is not None
        rng = np.random.default_rng([self.seed, 13])
        drawn = seen.at is not None and self.agree >= LEAST_SHARE
        shown = np.full(self.count, seen.least) if drawn else under_a_longer_bar(seen, limit.length, self.count, rng)
        shown = shown + rng.normal(0.0, SEEN_MM, self.count)
        return np.asarray(shown / limit.allowed)

    def at_readings(self) -> Floats:
        if self.checks:
            self.on_lattice()
        if "readings" not in self._kept:
            x, y, _ = self.survey.xyz()
            self._kept["readings"] = self.likely.draw_at(x, y, self.count, self.seed)
        return self._kept["readings"]


def check(survey: Survey, limits: str | Limit | Iterable[str | Limit], **options: Any) -> pd.DataFrame:
    """Compare a survey with limits: the verdict table.

    Parameters
    ----------
    survey : the readings
    limits : names of limits or of finishes, agreed limits, or a sequence of them
    options : as for :func:`assess`

    Returns
    -------
    DataFrame, one row a limit: ``limit`` (name), ``measure`` (in words), ``as_read_mm``, ``likely_mm`` with its
        95 % range ``low_mm`` to ``high_mm``, ``allowed_mm``, ``chance`` (that the surface is within the limit),
        ``verdict`` (pass, fail, undecided), ``between`` (what it rests on between the stations: ``read``,
        ``spot-checked`` or ``assumed``), ``where`` (dict: ``x_mm``, ``y_mm``, ``contacts_mm``), ``source``,
        ``note``. F-numbers and slopes are not lengths: their numbers stand in ``as_read``, ``likely``, ``low``,
        ``high``, ``allowed`` with ``unit``, and the columns in mm are NaN
    """
    return assess(survey, limits, **options).table


def assess(
    survey: Survey,
    limits: str | Limit | Iterable[str | Limit],
    *,
    spacing: float | None = None,
    headings: int = 12,
    draws: int = 200,
    seed: int = 0,
    confidence: float = 0.95,
    spot_checks: Checks = (),
    most_draws: int | None = None,
) -> Assessment:
    """As :func:`check`, with all that stands behind the table.

    Parameters
    ----------
    spacing : lattice step [mm]; None takes about 6 in, dividing the stations' step and the bars' lengths
    headings : directions in which bars are set, equally spaced over half a turn
    draws : surfaces drawn that the readings allow; 0 compares as read, and says so
    seed : the same seed gives the same verdict
    confidence : at which a verdict is given, from 0.5 to under 1
    spot_checks : what a bar showed between the stations
    most_draws : how many are drawn for a limit whose chance lies so near the confidence, or one less it, that ``draws``
        cannot tell the side; None: 1000. Where they cannot either, the verdict is undecided
    """
    if not (isinstance(draws, (int, np.integer)) and draws >= 0):
        raise ArgumentError("draws out of range", value=str(draws), expected="a whole number from 0")
    if not 0.5 <= confidence < 1:
        raise ArgumentError("confidence out of range", value=str(confidence), expected="0.5 to under 1, such as 0.95")
    check_strips(spot_checks, survey)
    if spot_checks and not draws:
        what, remedy = "a spot check cannot count without draws", "leave out one of the two"
        raise ArgumentError(what, column="draws", value="0", expected="draws above 0", remedy=remedy)
    wanted = find(limits)
    if not any(survey.surface in limit.surfaces for limit in wanted):
        # not one of them: more readings would not decide it
        find(wanted, survey.surface)
    subject = Subject.of(survey, wanted, spacing, headings)
    likely, drawn = None, None
    if draws:
        likely = likely_surface(survey, subject.surface.spacing)
        if likely.slips:  # they are named once, by what they do to the verdict
            survey = replace(survey, notes=notes_but_on(survey, [(slip.x, slip.y) for slip in likely.slips]))
            subject = replace(subject, survey=survey)
        drawn = _Draws(likely, survey, subject.surface, draws, seed, spot_checks)
    left, most = unread(survey), MOST_DRAWS if most_draws is None else most_draws
    judged = []
    for limit in wanted:
        one = _but_for_slips(_judge(limit, subject, drawn, confidence, most), subject, drawn, confidence, most)
        rests_on = between(limit, survey, subject.surface, subject.step, spot_checks)
        judged.append(replace(of_the_whole(one, left), between=rests_on))
    return Assessment(subject, tuple(judged), likely, draws, seed, confidence, tuple(spot_checks), drawn)


def _judge(limit: Limit, subject: Subject, drawn: _Draws | None, confidence: float, most: int) -> Judged:
    none = np.empty(0)
    seen = seen_under(limit, drawn.checks) if drawn is not None else None

    def shares(drawn: _Draws) -> tuple[Floats, float]:
        """Of the limit, and the chance by the readings alone."""
        used = measure_draws(limit, subject, drawn.on_lattice, drawn.at_readings, RANGE)
        within = float(np.mean(used <= 1 + 1e-9))
        return (used if seen is None else np.maximum(used, drawn.at_least(seen, limit))), within

    try:
        finding = measure(limit, subject)
        if drawn is None:
            return Judged(limit, finding, none, PASS if finding.within else FAIL, Note("as-read"))
        used, by_readings = shares(drawn)
    except MeasureError as error:
        return Judged(limit, None, none, UNDECIDED, joined(_sentence(p) for p in error.problems))
    judged = Judged(limit, finding, used, UNDECIDED, "", seen=seen)
    if seen is not None and seen.least > finding.allowed + 2 * SEEN_MM:
        return replace(judged, verdict=FAIL, reason=Note("bar-showed", bar=seen.bar, gap=seen.least))
    if drawn.agree < LEAST_SHARE:
        return replace(judged, reason=Note("bar-disagrees"))
    batch = 0
    while judged.near_a_line(confidence) and len(judged.used) < most:
        more = shares(drawn.further(batch))[0]
        judged, batch = replace(judged, used=np.concatenate([judged.used, more])), batch + 1
    if seen is not None and judged.in_doubt(confidence) and by_readings >= confidence:
        showed = Note("bar-showed", bar=seen.bar, gap=seen.least)
        return replace(judged, reason=Note("set-own-bar", showed=showed), of_bar=True)
    if judged.in_doubt(confidence):
        return replace(judged, reason=Note("in-doubt", share=f"{100 * judged.chance:.0f}"))
    if len(judged.used) > drawn.count and judged.near_a_line(confidence):
        return replace(judged, reason=Note("near-a-line", draws=len(judged.used)))
    within = judged.chance >= confidence
    if drawn.likely.misfit and finding.within != within:
        # a verdict against what was read rests on the model alone, and here the model does not fit
        return replace(judged, reason=Note("model-alone", misfit=drawn.likely.misfit))
    if limit.kind == "light" and not within:
        proved = proved_angle(limit, subject, drawn.on_lattice(), confidence)
        if proved <= finding.allowed:
            lamps = Note("lamps-not-proved", off=lamp_distance(proved))
            light = Note("light-not-proved", angle=f"{proved:.1f}")
            return replace(judged, reason=light if limit.parameters["lamp"] is None else lamps)
    return replace(judged, verdict=PASS if within else FAIL)


def _but_for_slips(judged: Judged, subject: Subject, drawn: _Draws | None, confidence: float, most: int) -> Judged:
    """No verdict that readings which are likely slips would turn: those are to be read again.

    They would turn a pass, too, where as read it is none, though the model takes them for errors of reading.
    """
    if drawn is None or drawn.trusting is None or judged.finding is None:
        return judged
    turned = _judge(judged.limit, subject, drawn.trusting, confidence, most).verdict
    if judged.verdict == turned == PASS and not judged.finding.within:
        turned = FAIL
    again = joined(str(slip) for slip in drawn.likely.slips)
    if judged.verdict in (turned, UNDECIDED):
        return replace(judged, reason=joined((judged.reason, again), "sentences"))
    reason = Note("slip-turns", again=again, without=judged.verdict, turned=turned)
    return replace(judged, verdict=UNDECIDED, reason=reason)


def of_the_whole(judged: Judged, left: Unread | None) -> Judged:
    """No pass of a surface of which a part was left unread; a fail anywhere is one of the whole."""
    if judged.verdict != PASS or left is None or left.is_small:
        return judged
    reason = joined([left.note, Note("read-the-rest")])
    return replace(judged, verdict=UNDECIDED, reason=joined((judged.reason, reason), "sentences"))


def _sentence(problem: Any) -> str:
    expected = Note("expected", what=problem.expected) if problem.expected else ""
    return joined((problem.what, problem.value or "", expected, problem.remedy or ""))


def _row(one: Judged) -> dict[str, Any]:
    limit, finding = one.limit, one.finding
    is_length = limit.kind not in UNITLESS
    numbers = dict.fromkeys(("as_read", "likely", "low", "high", "allowed"), math.nan)
    where: dict[str, Any] = {}
    notes = [one.reason]
    if finding is not None:
        middle, low, high = one.likely()
        numbers = {
            "as_read": finding.measured.value,
            "likely": middle,
            "low": low,
            "high": high,
            "allowed": finding.allowed,
        }
        if finding.measured.at is not None:
            x, y = finding.measured.at
            where = {"x_mm": x, "y_mm": y, "contacts_mm": [list(c) for c in finding.measured.contacts]}
        notes.append(finding.measured.note)
    elif limit.allowed is not None:
        numbers["allowed"] = limit.allowed
    notes += [limit.notes, caution(limit)]
    return {
        "limit": limit.name,
        "measure": describe(limit, "source"),
        "verdict": one.verdict,
        "chance": one.chance,
        "between": one.between,
        "where": where,
        "source": cited(limit.source, limit.edition, limit.clause),
        "note": joined(notes, "sentences"),
        "unit": _unit(limit),
        **numbers,
        **{f"{name}_mm": value if is_length else math.nan for name, value in numbers.items()},
    }


def _unit(limit: Limit) -> str:
    return {"ff": "F-number", "fl": "F-number", "slope": "rise / run", "light": "degrees"}.get(limit.kind, "mm")
