"""The line that each member follows, and what the surface on the members measures once they are set to it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flatness.corrections.finished import Planned
from flatness.corrections.members import Members
from flatness.corrections.passing_lines import fit_passing, nothing_comes_off
from flatness.corrections.plan import Plan
from flatness.corrections.plannable import plannable
from flatness.corrections.set_surface import COLUMNS, SPOT_COLUMNS, Standing, as_set, spots_as_set, subject_of
from flatness.corrections.tracks import Track, fit_each, fit_strings
from flatness.errors import ArgumentError, PlanError
from flatness.survey.readings import Floats

NONE = pd.DataFrame(columns=list(COLUMNS))
NO_SPOTS = pd.DataFrame(columns=list(SPOT_COLUMNS))


@dataclass(frozen=True, eq=False)
class Drawn:
    """The lines of a schedule.

    Attributes
    ----------
    line : how they were chosen
    lines : (height at station 0, slope) of each member [mm, mm/mm]; NaN where no readings reach
    as_set, spots : as :class:`~flatness.corrections.schedule.Schedule` has them
    notes : what the reader must know of them
    """

    line: str
    lines: list[Floats]
    as_set: pd.DataFrame
    spots: pd.DataFrame
    notes: tuple[str, ...]


def draw_lines(
    plan: Planned, members: Members, tracks: Sequence[Track], line: str | None, set_by: str, every: bool
) -> Drawn:  # fmt: skip
    """The lines that these members follow; arguments as for :func:`~flatness.corrections.schedule.member_schedule`.

    Raises
    ------
    ArgumentError : lines that pass, of a plan without a limit that can be planned for, or of fewer than two members
    PlanError : lines that pass were asked for, and there are none
    """
    strapping = members.kind == "strapping"
    stands = every and not strapping and sum(track.known for track in tracks) > 1
    if not (isinstance(plan, Plan) and plan.limits and stands):
        if line == "passing":
            raise ArgumentError(
                "no lines that pass can be sought", column="line", value=line,
                expected="a plan with limits, and two members or more that were read, all of them to be set",
                remedy="choose another line",
            )  # fmt: skip
        # a few members among others are not cut for a line that no limit asks for
        whole = members.engineered or strapping or nothing_comes_off(plan) or not every
        chosen = line or ("clear" if whole else "nearest")
        return Drawn(chosen, _fitted(tracks, chosen, set_by), NONE, NO_SPOTS, ())
    standing = Standing.on(plan.surface, members.direction, tracks)
    able = plannable(plan.limits, subject_of(plan), plan.settings.get("level_within"))
    notes: list[str] = []
    heights, chosen = None, line or "passing"
    if chosen == "passing" and (line or able.requirements):
        try:
            heights, share, governed = fit_passing(plan, members, standing, set_by, able)
        except PlanError:
            if line:
                raise
            notes.append(
                "no straight lines meet the limits, the fixed spots and what may come off: these come near, and do not "
                "pass"
            )
        else:
            notes += governed
            if share < 1:
                notes.append(
                    f"the lines keep to {100 * share:g} % of each straightedge limit: the rest is for setting them"
                )
    if heights is None:
        notched = members.engineered or members.kind == "sawn joist" or nothing_comes_off(plan)
        chosen = line or ("clear" if notched else "nearest")
        lines = _fitted(tracks, chosen, set_by)
        heights = standing.heights_of([fitted for fitted in lines if np.isfinite(fitted).all()])
    else:
        found = iter(standing.lines_of(heights))
        by_name = {track.name: next(found) for track in standing.tracks}
        lines = [by_name.get(track.name, np.full(2, np.nan)) for track in tracks]
    measured = as_set(plan, standing, heights)
    spots = spots_as_set(plan.fixed, plan, standing, heights)
    return Drawn(chosen, lines, measured, spots, (*notes, *_failings(measured, spots)))


def _fitted(tracks: Sequence[Track], line: str, set_by: str) -> list[Floats]:
    return (fit_each if set_by == "each" else fit_strings)(tracks, line)


def _failings(measured: pd.DataFrame, spots: pd.DataFrame) -> Iterator[str]:
    for row in measured[~measured["passes"]].to_dict("records"):
        yield f"with the members set so, {row['limit']} " + (
            f"cannot be measured: {row['note']}" if row["note"] else "is NOT met"
        )
    for row in spots[~spots["within"].astype(bool)].to_dict("records"):
        off, spot = float(row["off_mm"]), row["spot"] or "a fixed spot"
        yield (
            f"with the members set so, the surface at {spot} stands {abs(off):.1f} mm "
            f"{'above' if off > 0 else 'below'} what was asked, and {row['allowance_mm']:.1f} mm is allowed"
        )
    for row in spots[spots["off_mm"].isna()].to_dict("records"):
        yield f"no member reaches {row['spot'] or 'a fixed spot'}: see to its height by itself"
