"""Usual mistakes of a comparison: one file twice, another room, a datum forgotten, a tilt, an exchange of the days.

None of them stops it: each may be meant. They are listed before the results.

Readings that may be slips, and the greatest change clear of them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from flatness.arrays import Floats
from flatness.comparison.alignment import Alignment, align_surveys
from flatness.comparison.both import Both, reached
from flatness.errors import FlatnessError
from flatness.notes import Note
from flatness.planning.plan import made_from
from flatness.planning.volumes import node_areas
from flatness.surface.lattice import EDGE_STEPS, default_spacing, lattice_axes, steps_away, widest_step
from flatness.survey.checks import SLIP
from flatness.survey.readings import Survey, fingerprint

REACHES = 1.2  # steps between stations over which one reading moves the difference


@dataclass(frozen=True, kw_only=True)
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


def suspects(before: Survey, after: Survey) -> tuple[Suspect, ...]:
    """The readings on the surface that either survey's check remarked, in order."""
    return tuple(one for day, survey in (("before", before), ("after", after)) for one in _of(day, survey))


def _of(day: str, survey: Survey) -> Iterator[Suspect]:
    x, y, _ = survey.xyz()
    rows = {cell: row for row, cell in enumerate(survey.points["cell"])}
    for problem in survey.notes:
        row = rows.get(problem.cell or "")
        if row is not None and getattr(problem.what, "key", "") == SLIP:
            reach = REACHES * widest_step(survey)
            yield Suspect(
                day=day, cell=str(problem.cell), x=float(x[row]), y=float(y[row]), what=problem.what, reach=reach
            )


EARLIER, LATER = re.compile(r"\b(before|as found)\b", re.I), re.compile(r"\b(after|finished|corrected|done)\b", re.I)
# common practice, no source
MOST_LEFT_OUT = 0.05  # of what a survey reached may be without a reading in the other
OUTLINES_DIFFER = 0.05  # of the larger outline
ABSURD = 5.0  # times as much change as the surfaces are uneven
MANY_CHANGED = 0.25  # of the area, before a plane through the change is looked at
EXPLAINED = 0.5  # of the changed area, and more, agrees with no change once the plane is taken off


@dataclass(frozen=True)
class Shares:
    """How much of each survey was compared: shares [-] of the area that it reached and the other reached too."""

    before: float
    after: float


def shares_compared(before: Survey, after: Survey) -> Shares:
    """The shares of the areas reached by each of two surveys that were compared."""
    return Shares(_covered(before, after), _covered(after, before))


def _covered(one: Survey, other: Survey, strips: bool = False) -> float:
    """Share [-] of what one survey reached that the other did; with ``strips``, or comes within one step of."""
    step = default_spacing(one)
    sx, sy, _, _ = one.stations()
    x, y = lattice_axes(sx, step), lattice_axes(sy, step)
    here, there = reached(one, x, y), reached(other, x, y)
    if strips:
        there = there | (steps_away(other, *np.meshgrid(x, y)) <= EDGE_STEPS)
    areas = [float(node_areas(nodes, step).sum()) for nodes in (here & there, here)]
    return areas[0] / areas[1] if areas[1] else 0.0


def usual_mistakes(
    before: Survey,
    after: Survey,
    both: Both,
    alignment: Alignment,
    difference: Floats,
    detection: Floats,
    surfaces: tuple[Floats, Floats],
    shares: Shares,
) -> Iterator[str]:
    """What looks like a mistake, in words.

    Parameters
    ----------
    before, after, both, alignment : the surveys, both on one lattice, and how their datums were brought together
    difference, detection : [ny, nx] mm, after minus before, and from where it is change
    surfaces : [ny, nx] mm, heights before and after
    shares : of each survey that was compared
    """
    if fingerprint(before) == fingerprint(after):
        yield Note("given-twice")
    yield from _exchanged(before, after)
    yield from _places(before, after, shares)
    yield from _absurd(difference, surfaces)
    yield from _a_plane(before, after, both, alignment, difference, detection)


def readings_in_doubt(before: Survey, after: Survey) -> Iterator[str]:
    """Readings of either survey that look like slips, in words."""
    for slip in suspects(before, after):
        yield Note("slip-counted", day=slip.day, cell=slip.cell, at=(slip.x, slip.y), what=slip.what)
    for day, survey in (("before", before), ("after", after)):
        tied = set(survey.ties["cell"])
        yield from (
            Note("tie-in-doubt", day=day, cell=p.cell, what=p.what) for p in survey.notes if p.cell and p.cell in tied
        )


def _exchanged(before: Survey, after: Survey) -> Iterator[str]:
    days = [_day_of(survey.date) for survey in (before, after)]
    if days[0] is not None and days[1] is not None and days[1] != days[0]:
        if days[1] < days[0]:
            yield Note("dates-exchanged", after=after.date, before=before.date)
        return
    sounds = [(bool(EARLIER.search(one.title)), bool(LATER.search(one.title))) for one in (before, after)]
    if sounds[0] != sounds[1] and (sounds[0] == (False, True) or sounds[1] == (True, False)):
        yield Note("titles-exchanged", before=before.title or "nothing", after=after.title or "nothing")


def _places(before: Survey, after: Survey, shares: Shares) -> Iterator[str]:
    if before.outline is not None and after.outline is not None:
        differ = before.outline.symmetric_difference(after.outline).area
        share = differ / max(before.outline.area, after.outline.area)
        if share > OUTLINES_DIFFER:
            yield Note("outlines-differ", share=f"{100 * share:.0f}")
    for day, other, share, own, survey in (
        ("before", "after", shares.before, before, after),
        ("after", "before", shares.after, after, before),
    ):
        # a strip of one step along the edges is often read on one day alone, and means little
        if _covered(own, survey, strips=True) < 1 - MOST_LEFT_OUT:
            x, y, _, _ = survey.stations()
            yield Note("part-compared", share=f"{100 * share:.0f}", day=day, other=other, reach=_reach(x, y))


def _absurd(difference: Floats, surfaces: tuple[Floats, Floats]) -> Iterator[str]:
    inside = np.isfinite(difference)
    iy, ix = np.nonzero(inside)
    columns = np.column_stack([np.ones(len(ix)), ix, iy])
    uneven = 0.0
    for heights in surfaces:
        z = heights[inside]
        uneven = max(uneven, float(np.ptp(z - columns @ np.linalg.lstsq(columns, z, rcond=None)[0])))
    most = float(np.abs(difference[inside]).max())
    if uneven > 0 and most > ABSURD * uneven:
        yield Note("absurd-change", most=most, times=f"{most / uneven:.0f}", uneven=uneven)


def _a_plane(
    before: Survey, after: Survey, both: Both, alignment: Alignment, difference: Floats, detection: Floats
) -> Iterator[str]:
    """Whether a datum that moved or a survey that tilts would explain the change."""
    inside = np.isfinite(difference)
    share = float((np.abs(difference) > detection)[inside].mean())
    if alignment.way not in ("benchmarks", "none") or share < MANY_CHANGED:
        return
    try:
        free = align_surveys(before, after, both, "tilt")
    except FlatnessError:  # too few places for a plane
        return
    x, y = np.meshgrid(both.x, both.y)
    plane = free.at(x, y) - alignment.at(x, y)
    left = float((np.abs(difference - plane) > detection)[inside].mean())
    if left > (1 - EXPLAINED) * share:
        return
    shares = {"share": f"{100 * share:.0f}", "left": f"{100 * left:.0f}"}
    if float(np.ptp(plane[inside])) > float(np.median(detection[inside])):
        yield Note("plane-explains", **shares, x=free.tilt_x, y=free.tilt_y)
    else:
        yield Note("offset-explains", **shares, off=float(np.mean(plane[inside])))


def about_plan(plan: Any, before: Survey, both: Both) -> Iterator[str]:
    """Whether a plan was made for another surface or from another survey, in words."""
    rests_on = made_from(plan)
    known = rests_on.get("fingerprint")
    if known == fingerprint(before):
        return
    title = str(rests_on.get("title", "") or getattr(plan, "title", ""))
    named = f" for '{title}'" if title else ""
    x, y, _, _ = before.stations()
    plans, own = _reach(np.asarray(plan.x), np.asarray(plan.y)), _reach(x, y)
    if max(abs(plans.values[end] - own.values[end]) for end in plans.values) > both.step:
        yield Note("plan-elsewhere", named=named, plan=plans, survey=own)
    elif known is not None:
        yield Note("plan-other-readings", named=named, survey=before.title or before.source)


def _reach(x: Floats, y: Floats) -> Note:
    return Note("reach", x0=float(x.min()), x1=float(x.max()), y0=float(y.min()), y1=float(y.max()))


def _day_of(text: str) -> date | None:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        return None
