"""Usual mistakes of a comparison: one file twice, another room, a datum forgotten, a tilt, an exchange of the days.

None of them stops it: each may be meant. They are told before the results.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from flatness.comparison.alignment import Alignment, align_surveys
from flatness.comparison.both import Both
from flatness.comparison.overlap import reached
from flatness.comparison.suspects import suspects
from flatness.corrections.saved_plan import made_from
from flatness.corrections.volumes import node_areas
from flatness.errors import FlatnessError
from flatness.surface.coverage import EDGE_STEPS, steps_away
from flatness.surface.lattice import default_spacing, lattice_axes
from flatness.survey.readings import Floats, Survey, fingerprint

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
    before: Survey, after: Survey, both: Both, alignment: Alignment, difference: Floats, detection: Floats,
    surfaces: tuple[Floats, Floats], shares: Shares,
) -> Iterator[str]:  # fmt: skip
    """What looks like a mistake, in words.

    Parameters
    ----------
    before, after, both, alignment : the surveys, both on one lattice, and how their datums were brought together
    difference, detection : [ny, nx] mm, after minus before, and from where it is change
    surfaces : [ny, nx] mm, heights before and after
    shares : of each survey that was compared
    """
    if fingerprint(before) == fingerprint(after):
        yield "the two surveys hold the same readings at the same places: one file was given twice"
    yield from _exchanged(before, after)
    yield from _places(before, after, shares)
    yield from _absurd(difference, surfaces)
    yield from _a_plane(before, after, both, alignment, difference, detection)


def readings_in_doubt(before: Survey, after: Survey) -> Iterator[str]:
    """Readings of either survey that look like slips, in words."""
    for slip in suspects(before, after):
        yield (
            f"{slip.day}, cell {slip.cell}, at x {slip.x:.0f} mm, y {slip.y:.0f} mm: {slip.what}; areas, volumes and "
            "verdicts rest on it"
        )
    for day, survey in (("before", before), ("after", after)):
        tied = set(survey.ties["cell"])
        yield from (f"{day}, cell {p.cell}: {p.what}" for p in survey.notes if p.cell and p.cell in tied)


def _exchanged(before: Survey, after: Survey) -> Iterator[str]:
    days = [_day_of(survey.date) for survey in (before, after)]
    if days[0] is not None and days[1] is not None and days[1] != days[0]:
        if days[1] < days[0]:
            yield (
                f"the survey given as after is dated {after.date}, and the one given as before {before.date}: check "
                "that they are not exchanged"
            )
        return
    sounds = [(bool(EARLIER.search(one.title)), bool(LATER.search(one.title))) for one in (before, after)]
    if sounds[0] != sounds[1] and (sounds[0] == (False, True) or sounds[1] == (True, False)):
        yield (
            f"the survey given as before is called {before.title or 'nothing'}, and the one given as after "
            f"{after.title or 'nothing'}: check that they are not exchanged"
        )


def _places(before: Survey, after: Survey, shares: Shares) -> Iterator[str]:
    if before.outline is not None and after.outline is not None:
        differ = before.outline.symmetric_difference(after.outline).area
        share = differ / max(before.outline.area, after.outline.area)
        if share > OUTLINES_DIFFER:
            yield (
                f"the outlines that the two files state differ by {100 * share:.0f} % of the larger: check that it is "
                "one room, and that x and y are measured from the same corner"
            )
    for day, other, share, own, survey in (
        ("before", "after", shares.before, before, after), ("after", "before", shares.after, after, before)
    ):  # fmt: skip
        # a strip of one step along the edges is often read on one day alone, and means little
        if _covered(own, survey, strips=True) < 1 - MOST_LEFT_OUT:
            x, y, _, _ = survey.stations()
            yield (
                f"only {100 * share:.0f} % of what the survey {day} reached is compared: the readings {other} lie "
                f"within x {x.min():.0f} mm to {x.max():.0f} mm and y {y.min():.0f} mm to {y.max():.0f} mm; a verdict "
                "is of the whole of its own survey"
            )


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
        yield (
            f"the change, up to {most:.0f} mm, is {most / uneven:.0f} times as large as either surface is uneven about "
            f"its plane ({uneven:.1f} mm): check that it is one room, one datum and one unit"
        )


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
    explained = f"change is shown on {100 * share:.0f} % of the area, but on {100 * left:.0f} % once"
    if float(np.ptp(plane[inside])) > float(np.median(detection[inside])):
        yield (
            f"{explained} a plane is taken off that rises {free.tilt_x:+.2f} in 1000 along x and {free.tilt_y:+.2f} in "
            "1000 along y: the surface was tilted as a whole, or one of the surveys was not level; "
            "align='tilt' shows the rest"
        )
    else:
        yield (
            f"{explained} {float(np.mean(plane[inside])):+.1f} mm is taken off everywhere: all of the surface was "
            "raised or lowered alike, or the datum is not the same in both surveys; benchmarks read both times tell "
            "which, and align='offset' shows the rest"
        )


def about_plan(plan: Any, before: Survey, both: Both) -> Iterator[str]:
    """Whether a plan was made for another surface or from another survey, in words."""
    rests_on = made_from(plan)
    known = rests_on.get("fingerprint")
    if known == fingerprint(before):
        return
    title = str(rests_on.get("title", "") or getattr(plan, "title", ""))
    named = f" for '{title}'" if title else ""
    x, y, _, _ = before.stations()
    ends = [(float(axis[0]), float(axis[-1])) for axis in (np.asarray(plan.x), np.asarray(plan.y))]
    own = [(float(v.min()), float(v.max())) for v in (x, y)]
    gaps = [abs(e - o) for end, mine in zip(ends, own, strict=True) for e, o in zip(end, mine, strict=True)]
    if max(gaps) > both.step:
        (x0, x1), (y0, y1) = ends
        yield (
            f"the plan{named} covers x {x0:.0f} mm to {x1:.0f} mm and y {y0:.0f} mm to {y1:.0f} mm, and the survey "
            f"before x {own[0][0]:.0f} mm to {own[0][1]:.0f} mm and y {own[1][0]:.0f} mm to {own[1][1]:.0f} mm: check "
            "that it is the plan of this surface"
        )
    elif known is not None:
        yield (
            f"the plan{named} was made from other readings than those of the survey before "
            f"('{before.title or before.source}'): check that it is the plan of this surface"
        )


def _day_of(text: str) -> date | None:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        return None
