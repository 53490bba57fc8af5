"""From a limit to the measure it is about: one function a kind, all on the same subject.

A measure that these readings cannot give raises MeasureError with the reason; the verdict is then undecided.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.errors import MeasureError
from flatness.lengths import settle
from flatness.light.eye import Eye
from flatness.light.findings import ACROSS, light_spacing
from flatness.light.lamps import Strip
from flatness.light.places import LightRequirement
from flatness.light.waves import Shown, angle_of, shortest_wave, shown, strengths, wavelengths
from flatness.limits.kinds import AXES, Limit, level_rule
from flatness.measures import levels, spans
from flatness.measures import levels as spaced
from flatness.measures.bars import Heading, Measured, all_headings, gap_map, longest_run, oblique_gaps_at, whole_steps
from flatness.measures.fnumbers import f_numbers, survey_lines
from flatness.measures.levels import neighbour_faces
from flatness.measures.straightedge import StationLines, StraightedgeResult, straightedge
from flatness.notes import Note, joined
from flatness.surface.lattice import Surface, UnrolledStep, default_spacing, most_drawn, widest_step
from flatness.survey.readings import Survey

# Other headings matter where bars along the lattice's lines show this part of a gap somewhere, and there at places
# where they show that part. For the chance all that matter; for the range of the measure all but one in some hundred
# draws: tests/benchmarks/bench_draws.py compares both with bars set everywhere.
SURELY, MOSTLY = (0.7, 0.6), (0.8, 0.75)


@dataclass(frozen=True, eq=False)
class Subject:
    """What is measured: one surface, at the stations and on a lattice.

    Attributes
    ----------
    survey : heights at the stations
    surface : heights on the lattice
    step : distance between neighbouring stations [mm], along the way they stand wider
    headings : directions in which bars are set
    """

    survey: Survey
    surface: Surface
    step: float
    headings: int = 12

    @classmethod
    def of(cls, survey: Survey, limits: list[Limit], spacing: float | None = None, headings: int = 12) -> Subject:
        """The subject of a survey as read, on a lattice that suits the limits' lengths."""
        surface = survey.surface_at(lattice_step(survey, limits) if spacing is None else spacing)
        return cls(survey, surface, widest_step(survey), headings)

    @cached_property
    def lines(self) -> StationLines | None:
        """The lines that the stations stand on, if any."""
        return StationLines.of(self.survey)

    def along_lines(self, length: float) -> StationLines | None:
        """The lines along which alone a straightedge can be placed; None where it can be placed across them too."""
        if self.lines is None:
            return None
        along, across = self.lines.along, max(self.lines.across, self.step)
        least = LEAST_STEPS["straightedge"] * (1 - 1e-6)
        return self.lines if least * along <= length < least * across else None

    def straightedge(self, length: float) -> StraightedgeResult:
        """A straightedge placed wherever the readings let it: over the whole surface, or along the lines alone."""
        lines = self.along_lines(length)
        if lines is None:
            return straightedge(self.surface, length, self.headings)
        return lines.straightedge(self.survey.xyz()[2], length, self.surface)

    def with_lattice(self, stack: Floats) -> Iterator[Subject]:
        """The same subject for each of the lattice heights [n, ny, nx] mm."""
        return (replace(self, surface=replace(self.surface, height=height)) for height in stack)

    def with_stations(self, stack: Floats) -> Iterator[Subject]:
        """The same subject for each of the readings' heights [n, readings] mm."""
        points = self.survey.points
        return (replace(self, survey=replace(self.survey, points=points.assign(height=h))) for h in stack)


def lattice_step(survey: Survey, limits: Sequence[Limit]) -> float:
    """The lattice step [mm] of a survey that is held against limits: two to the shortest bar that it can show."""
    spacing = default_spacing(survey, tuple(limit.length for limit in limits if limit.length is not None))
    least = LEAST_STEPS["straightedge"] * widest_step(survey) * (1 - 1e-6)
    bars = [x.length for x in limits if x.kind in BARS and x.length is not None and x.length >= least]
    x, y, _, _ = survey.stations()
    lights = [shortest_wave(x, y, HEADINGS_ALONG[way]) for one in limits if one.kind == "light" for way in _ways(one)]
    if lights:
        spacing = light_spacing(survey, min(lights), spacing)
    parts = math.ceil(2 * spacing / min(bars, default=math.inf) - 1e-6)
    if parts <= 1:
        return spacing
    fine = spacing / parts
    return fine if (np.ptp(x) / fine + 1) * (np.ptp(y) / fine + 1) <= most_drawn(len(x)) else spacing


@dataclass(frozen=True)
class Finding:
    """A measure held against a limit.

    Attributes
    ----------
    measured : the number and where it was found
    allowed : what is allowed there, in the same unit
    at_least : True where the number must not be under ``allowed``, False where it must not be over it
    only : where alone it was measured, in words; empty for the whole surface
    """

    measured: Measured
    allowed: float
    at_least: bool = False
    only: str = ""

    @property
    def used(self) -> float:
        """Share of the limit that is used up: within the limit up to 1."""
        value = settle(self.measured.value)
        return settle(self.allowed) / value if self.at_least else value / settle(self.allowed)

    @property
    def within(self) -> bool:
        value, allowed = settle(self.measured.value), settle(self.allowed)
        return value >= allowed if self.at_least else value <= allowed


def measure(limit: Limit, subject: Subject) -> Finding:
    """Measure the subject as the limit asks, and hold it against the limit.

    Raises
    ------
    MeasureError : these readings cannot give this measure; the message says why
    """
    if subject.survey.surface not in limit.surfaces:
        raise MeasureError(
            f"this limit is for a {' or '.join(limit.surfaces)}",
            value=f"the survey is of a {subject.survey.surface}",
            remedy="choose a limit for this surface, or agree one for the project",
        )
    if limit.kind == "reference":
        raise MeasureError(
            "not measured on a surface survey", remedy="check it by hand; the number is in the catalogue"
        )
    if limit.kind == "straightedge":
        return _straightedge(limit, subject)
    _check_reach(limit, subject)
    return _MEASURES[limit.kind](limit, subject)


def measure_draws(
    limit: Limit,
    subject: Subject,
    lattice: Callable[[], Floats],
    stations: Callable[[], Floats],
    quantiles: Sequence[float] = (),
    least: float = 0.0,
) -> Floats:
    """Share of the limit used up by each draw [n]: of the lattice [n, ny, nx] or of the stations [n, readings].

    For a straightedge the share is at least what is given. Whether it is within the limit is as if each draw were
    measured to the end, and so are ``quantiles`` of all shares (as ``numpy.quantile`` takes them), to a hundredth of
    the limit. Where fewer draws than the part ``least`` of them are within, it may be given up once that is known.
    """
    if limit.kind == "straightedge":
        assert limit.allowed is not None
        assert limit.length is not None
        lines = subject.along_lines(limit.length)
        if lines is not None:
            return lines.largest(stations(), limit.length) / limit.allowed
        return _largest_gaps(limit, subject, lattice(), quantiles, least) / limit.allowed
    if limit.kind == "light":
        assert limit.allowed is not None
        strongest = np.max([one.strongest for one in _lit(limit, subject, lattice())], axis=0)
        return np.array([_angle(limit, float(times)) for times in strongest]) / limit.allowed
    drawn = subject.with_stations(stations()) if limit.kind in AT_STATIONS else subject.with_lattice(lattice())
    if limit.kind == "plumb":
        both = zip(drawn, subject.with_stations(stations()), strict=True)
        drawn = (replace(one, survey=other.survey) for one, other in both)
    return np.array([_MEASURES[limit.kind](limit, one).used for one in drawn])


def _largest_gaps(limit: Limit, subject: Subject, stack: Floats, quantiles: Sequence[float], least: float) -> Floats:
    """The largest gap [n] mm of each surface [n, ny, nx]: bars along the lattice's own lines, others where it matters.

    A bar askew seldom shows more than those along rows, columns and diagonals, and then not by much, at a place where
    they show a good part of it themselves: on a wave of any direction 0.85 of it, on a saddle 0.71. So the others are
    set only where a gap may pass one of a few lines: the limit and the quantiles.
    """
    assert limit.length is not None
    assert limit.allowed is not None
    spacing, headings = subject.surface.spacing, subject.headings
    screened = headings > 4 and headings % 4 == 0 and not isinstance(spacing, UnrolledStep)
    gaps = gap_map(stack, spacing, limit.length, 4 if screened else headings)
    largest: Floats = np.nanmax(gaps, axis=(1, 2))
    seen = np.full(len(stack), np.inf)  # nodes with a gap over it are measured at all headings
    places = np.multiply(quantiles, len(stack) - 1)
    ranks = np.unique([np.floor(places), np.ceil(places)]).astype(np.intp)
    careful = MOSTLY
    while screened and np.mean(largest <= limit.allowed * (1 + 1e-9)) >= least:
        wanted = _over(largest, limit.allowed, *careful)
        for line in np.sort(largest)[ranks]:
            wanted = np.minimum(wanted, _over(largest, line, *MOSTLY))
        some = np.flatnonzero(wanted < seen)
        if careful is SURELY and not len(some):
            break
        at = np.flatnonzero((gaps[some] > wanted[some, None, None]) & (gaps[some] <= seen[some, None, None]))
        across = oblique_gaps_at(stack[some], at, spacing, limit.length, headings)
        np.maximum.at(largest, some[at // stack[0].size], across)
        seen[some] = wanted[some]
        careful = SURELY  # of the draws that are still within
    return largest


def _over(largest: Floats, line: float, somewhere: float, there: float) -> Floats:
    """The gap [n] mm over which places matter to which side of a line [mm] each surface is on; infinite: none does."""
    near = (largest <= line * (1 + 1e-9)) & (largest > somewhere * line)
    return np.where(near, there * line, np.inf)


def _check_reach(limit: Limit, subject: Subject) -> None:
    """A bar that does not reach over a station between two others cannot show what lies between them."""
    least, length = LEAST_STEPS.get(limit.kind), FIXED_BASES.get(limit.kind, limit.length)
    if least is None or length is None:
        return
    if length >= least * subject.step * (1 - 1e-6):
        if limit.kind in BARS and whole_steps(length, subject.surface.spacing) < 2:
            raise MeasureError(
                "the lattice is too coarse for this bar",
                value=Note("length", mm=subject.surface.spacing),
                expected=Note("half-or-less", mm=length),
                remedy="choose a finer spacing, or check a part of it",
            )
        return
    raise MeasureError(
        "the stations are too far apart for this limit",
        value=Note("stations-over", step=subject.step, length=length),
        expected=Note("steps-at-most", mm=length / least),
        remedy="read more closely, or check this limit by hand with a real straightedge",
    )


def _straightedge(limit: Limit, subject: Subject) -> Finding:
    assert limit.length is not None
    assert limit.allowed is not None
    lines = subject.along_lines(limit.length)
    if lines is None:
        _check_reach(limit, subject)
    found = subject.straightedge(limit.length)
    notes = [found.note]
    if lines is not None:
        notes.append(Note("closer-lines", mm=limit.length / LEAST_STEPS[limit.kind]))
    elif limit.parameters["plane"]:
        off = spaced.plane_departure(subject.surface, limit.length)
        notes.append(Note("off-best-plane", off=off.value, within=limit.length))
    note = joined(notes)
    only = "along the measured lines alone" if lines is not None else ""
    if found.worst is None:
        return Finding(Measured(0.0, note=note), limit.allowed, only=only)
    return Finding(Measured(found.worst.gap, found.worst.at, found.worst.contacts, note), limit.allowed, only=only)


def _straightedge_share(limit: Limit, subject: Subject) -> Finding:
    assert limit.length is not None
    assert limit.allowed is not None
    gaps = gap_map(subject.surface.height, subject.surface.spacing, limit.length, subject.headings)
    share = limit.parameters["share"]
    value = float(np.nanquantile(gaps, share))
    return Finding(Measured(value, note=Note("share-of-places", share=share)), limit.allowed)


def _span_bar(limit: Limit, subject: Subject) -> Finding:
    p = limit.parameters
    found = spans.din_bar(subject.surface, p["distances"], p["allowed"], subject.headings, rounded=p["rounded"])
    return Finding(found.worst, found.allowed)


def _span_grid(limit: Limit, subject: Subject) -> Finding:
    p = limit.parameters
    found = spans.din_grid(subject.survey, p["distances"], p["allowed"], rounded=p["rounded"])
    return Finding(found.worst, found.allowed)


def _level_rule(limit: Limit, subject: Subject) -> Finding:
    rule = level_rule(limit)
    if limit.parameters["across"]:
        found = levels.level_across(subject.surface, rule)
    else:
        found = levels.level_within(subject.surface, rule, subject.headings)
    if len(found.contacts) != 2:
        return Finding(replace(found, value=0.0), rule(1000.0))
    (x0, y0), (x1, y1) = found.contacts
    allowed = rule(float(np.hypot(x1 - x0, y1 - y0)))
    return Finding(replace(found, value=found.value * allowed), allowed)


def _f_number(limit: Limit, subject: Subject) -> Finding:
    assert limit.allowed is not None
    numbers = f_numbers(survey_lines(subject.survey))
    name = limit.kind if limit.parameters["scope"] == "overall" else f"least_{limit.kind}"
    value = float(getattr(numbers, name))
    if np.isnan(value):
        raise MeasureError(numbers.note)
    return Finding(Measured(value, note=numbers.note), limit.allowed, at_least=True)


def _light(limit: Limit, subject: Subject) -> Finding:
    assert limit.allowed is not None
    worst = max(_lit(limit, subject, subject.surface.height[None]), key=lambda one: float(one.strongest[0]))
    curved = Note("light-on-curve") if subject.survey.bend is not None else ""
    note = joined([Note("light-waves", shortest=worst.wavelengths[0], wave=worst.wave), curved])
    return Finding(Measured(_angle(limit, float(worst.strongest[0])), worst.at, note=note), limit.allowed)


def _angle(limit: Limit, times: float) -> float:
    """The angle [degrees] that something shows up to; of lamps that of the distance up to which it shows, nearly."""
    assert limit.allowed is not None
    return angle_of(times if limit.parameters["lamp"] is None else times * math.tan(math.radians(limit.allowed)))


def proved_angle(limit: Limit, subject: Subject, stack: Floats, confidence: float) -> float:
    """The angle [degrees] up to which light shows a place alike in so large a part of the surfaces [n, ny, nx] mm.

    The largest place of each draw proves nothing, since every draw has one: a flat surface read with errors has draws
    that all show something, each somewhere else.
    """
    return _angle(limit, max(one.proved for one in _lit(limit, subject, stack, confidence)))


def _lit(limit: Limit, subject: Subject, stack: Floats, confidence: float = 0.95) -> list[Shown]:
    """What light at 45 degrees shows, for each way that it may run; or what the lamps show."""
    return [
        shown(
            stack, subject.surface, one.light, one.distance, eye=one.eye, shortest=one.shortest, confidence=confidence
        )
        for one in lit_requirements(limit, subject)
    ]


def lit_requirements(limit: Limit, subject: Subject) -> list[LightRequirement]:
    """What a limit of kind ``light`` asks for, for each way that its light may run."""
    assert limit.allowed is not None
    x, y, _, _ = subject.survey.stations()
    off, side = limit.parameters["lamp"], limit.parameters["side"]
    return [
        LightRequirement(
            heading=HEADINGS_ALONG[way],
            allowed=math.tan(math.radians(limit.allowed)) if off is None else 1.0,
            distance=limit.parameters["distance"],
            eye=Eye(times=limit.parameters["times"] or 1.0),
            shortest=shortest_wave(x, y, HEADINGS_ALONG[way]),
            lamp=None if off is None else Strip(side=side, off=off),
        )
        for way in _ways(limit)
    ]


def seen_where(limit: Limit, subject: Subject, stack: Floats) -> NDArray[np.bool_]:
    """[n, ny, nx] which places of surfaces [n, ny, nx] mm show more in the limit's light than it allows."""
    over = np.zeros(stack.shape, dtype=bool)
    for one in lit_requirements(limit, subject):
        waves = wavelengths(subject.surface, one.shortest)
        for found in strengths(stack, subject.surface, one.light, one.distance, one.eye, waves):
            over |= np.abs(found) > one.allowed * (1 + 1e-9)
    return over & np.isfinite(stack)


def _ways(limit: Limit) -> tuple[str, ...]:
    if limit.parameters["lamp"] is not None:
        return (ACROSS[limit.parameters["side"]],)
    return AXES if limit.parameters["along"] is None else (limit.parameters["along"],)


def _over_length(name: str) -> Callable[[Limit, Subject], Finding]:
    """A measure of the lattice over the limit's length."""

    def over(limit: Limit, subject: Subject) -> Finding:
        assert limit.allowed is not None
        return Finding(_SURFACE_MEASURES[name](limit, subject), limit.allowed)

    return over


_SURFACE_MEASURES: dict[str, Callable[[Limit, Subject], Measured]] = {
    "offset": lambda limit, s: spaced.block_offset(s.surface, _base(limit), s.headings),
    "plane": lambda limit, s: spaced.plane_departure(s.surface, _base(limit)),
    "level": lambda limit, s: (
        levels.level_over(s.surface, limit.length, within=True)
        if limit.parameters["within"]
        else _where_it_fits(
            limit.length, s, lambda length: levels.level_over(s.surface, length, s.headings), all_headings(s.headings)
        )
    ),
    "plumb": lambda limit, s: _where_it_fits(limit.length, s, lambda length: _plumb(s, length), [Heading.at(90)]),
    "slope": lambda limit, s: levels.steepest_slope(s.surface, limit.length or s.step, s.headings),
    "tr34-e": lambda limit, s: spaced.tr34_e(s.surface),
    "tr34-f": lambda limit, s: spaced.tr34_f(s.surface),
    "neighbours": lambda limit, s: neighbour_faces(s.survey),
    "step": lambda limit, s: spaced.abrupt_step(s.survey, _base(limit)),
}


def _where_it_fits(
    length: float | None, subject: Subject, over: Callable[[float | None], Measured], headings: list[Heading]
) -> Measured:
    """The measure over its distance, or over all there is where the surface is shorter, which the note says."""
    surface = subject.surface
    if length is None:
        return over(None)
    if any(
        longest_run(surface.height, h, whole_steps(length, surface.spacing * h.step), surface.spacing)
        * surface.spacing
        * h.step
        > length - surface.spacing * h.step
        for h in headings
    ):
        try:
            return over(length)
        except MeasureError:
            pass  # by less than a step: the whole will do
    found = over(None)
    return replace(found, note=joined([found.note, Note("whole-shorter", mm=length)]))


def _plumb(subject: Subject, length: float | None) -> Measured:
    """Out of plumb over a distance up a wall; None: over the whole, on the lattice or between stations."""
    found = levels.plumb_over(subject.surface, length)
    read = levels.plumb_at_stations(subject.survey) if length is None else None
    return found if read is None or read.value <= found.value else replace(read, note=found.note)


def _base(limit: Limit) -> float:
    if limit.length is None:
        raise MeasureError(
            "the source gives no length to measure over", remedy="agree one for the project, and use that limit"
        )
    return limit.length


_MEASURES: dict[str, Callable[[Limit, Subject], Finding]] = {
    "straightedge": _straightedge,
    "straightedge-share": _straightedge_share,
    "span-bar": _span_bar,
    "span-grid": _span_grid,
    "level-rule": _level_rule,
    "ff": _f_number,
    "fl": _f_number,
    "light": _light,
    **{name: _over_length(name) for name in _SURFACE_MEASURES},
}
HEADINGS_ALONG = {"x": 0.0, "y": 90.0}
AT_STATIONS = ("span-grid", "ff", "fl", "neighbours", "step")
# in stations' steps: a bar shows a gap only where a station lies between its contacts
LEAST_STEPS = {
    "straightedge": 1.5,
    "straightedge-share": 1.5,
    "offset": 1.5,
    "plane": 1.0,
    "level": 1.0,
    "plumb": 1.0,
    "slope": 1.0,
    "tr34-e": 1.0,
    "tr34-f": 1.0,
}
BARS = ("straightedge", "straightedge-share", "offset")  # that rest on two contacts, with a node between
FIXED_BASES = {"tr34-e": 3000.0, "tr34-f": 300.0}
