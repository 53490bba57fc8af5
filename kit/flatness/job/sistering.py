"""What members are set to by the plan's way, which of them get a sister or are furred, and what is bought for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from flatness.corrections.actions import framing_of
from flatness.corrections.members import Members
from flatness.corrections.plan import Plan
from flatness.corrections.quantities import Quantities, Setting, quantities
from flatness.corrections.schedule import Schedule, member_schedule
from flatness.corrections.staying import STAYS
from flatness.job.records import Framing, Stock
from flatness.surface.lattice import heights_at

COLUMNS = ("member", "start_mm", "end_mm", "length_mm")
REACH = ("position_mm", "start_mm", "end_mm")
OF_PATCHES = ("line", "set_by")  # options of a schedule that a way that sets members decides itself


def schedule_of(plan: Plan, framing: Framing | None) -> Schedule | None:
    """What each member is set to by the plan's way; None where it sets none.

    All members, or some; the straps of a layer over all; or, for patches, those under places that are framed out.

    Parameters
    ----------
    plan : with its way
    framing : the members that were named and what is asked of their schedule, or None

    Raises
    ------
    FlatnessError : as for :func:`~flatness.corrections.schedule.member_schedule`
    """
    framing = framing_for(plan, framing)
    if framing is None or (framing.members.kind == "strapping" and framing.crossing is None):
        return None
    options: dict[str, Any] = dict(framing.options)
    if plan.way == "patches":
        some = member_schedule(plan, framing.members, crossing=framing.crossing, every=False, **options)
        names = set(sister_lengths(plan, framing, some)["member"])
        return some.only(names) if names else None
    options = {name: value for name, value in options.items() if name not in OF_PATCHES}
    by = "string" if plan.plane == "end-members" else "each"
    return member_schedule(plan, framing.members, crossing=framing.crossing, set_by=by, **options)


def framing_for(plan: Plan, framing: Framing | None) -> Framing | None:
    """The framing that the plan's way works on; None where it works on none."""
    members = plan.members
    if members is None:
        return None
    if plan.way == "patches" and not plan.action(framing_of(plan.survey.surface)).any():
        return None
    strapping = members.kind == "strapping"
    if framing is None or members is not framing.members:
        return Framing(members, {}, plan.crossing if strapping else None)
    return Framing(members, framing.options, framing.crossing if strapping else None)


def with_sisters(
    plan: Plan, framing: Framing | None, schedule: Schedule | None, stock: Stock, settings: Mapping[str, Setting]
) -> Quantities:  # fmt: skip
    """What a plan takes with its sisters or straps, where their section is known, and the lengths to buy for them."""
    framing = framing_for(plan, framing)
    if framing is None or schedule is None or framing.section is None:
        return plan.quantities
    sisters = sister_lengths(plan, framing, schedule)
    if sisters.empty:
        return plan.quantities
    return quantities(
        plan, fill=plan.action("fill"), plane=plan.action("plane"), sisters=sisters["length_mm"].tolist(),
        sister_section=framing.section, stock=stock, settings=settings, framed=framing.framed,
    )  # fmt: skip


def sister_lengths(plan: Plan, framing: Framing, schedule: Schedule) -> pd.DataFrame:
    """The sisters that a plan takes, each as long as its member over the surface.

    What of a member lies beyond the surface is not sistered: the surface ends at its outline, where one is stated, else
    with the readings. A member that no reading reaches gets none.

    Parameters
    ----------
    plan : with its actions
    framing : the members
    schedule : of these members, which knows where they start and end

    Returns
    -------
    DataFrame, one row a sister, in the members' order: ``member``, ``start_mm`` and ``end_mm`` along it, ``length_mm``
    """
    table = schedule.members
    taken = _were_read(schedule)
    if plan.sets_members:
        taken = taken & table["member"].isin(list(plan.lines)).to_numpy()
    elif plan.way == "patches":
        taken = taken & framed_members(plan, framing.members, schedule)
    table = table[taken].reset_index(drop=True)
    ends = [
        _over_surface(plan, framing.members.direction, *(float(row[name]) for name in REACH))
        for row in table.to_dict("records")
    ]
    start, end = np.array(ends, dtype=np.float64).reshape(-1, 2).T
    table = table.assign(start_mm=start, end_mm=end, length_mm=end - start)
    return table.loc[end > start, list(COLUMNS)].reset_index(drop=True)


def _over_surface(plan: Plan, direction: str, position: float, start: float, end: float) -> tuple[float, float]:
    """From where to where [mm] a member lies beneath the surface; nothing: both its start."""
    survey = plan.survey
    points = [(start, position), (end, position)]
    along = shapely.LineString(points if direction == "x" else [(y, x) for x, y in points])
    if survey.outline is not None:
        met = survey.outline.intersection(along)
        low_x, low_y, high_x, high_y = (start,) * 4 if met.is_empty else met.bounds
        return (low_x, high_x) if direction == "x" else (low_y, high_y)
    axis = plan.x if direction == "x" else plan.y
    places = np.unique([start, end, *axis, *survey.points[direction]])
    places = places[(places >= start) & (places <= end)]
    one = np.array([position])
    height = heights_at(survey, places, one) if direction == "x" else heights_at(survey, one, places)
    read = places[np.isfinite(height.ravel())]
    return (float(read[0]), float(read[-1])) if len(read) else (start, start)


def framed_members(plan: Plan, members: Members, schedule: Schedule) -> NDArray[np.bool_]:
    """[n] whether a member lies under an area that the plan sisters or furs.

    A node of the plan belongs to the member that is nearest to it and reaches so far along. A node halfway between
    two members belongs to both.
    """
    framed = plan.action(framing_of(plan.survey.surface))
    rows, columns = np.nonzero(framed)
    across, along = (plan.x[columns], plan.y[rows]) if members.direction == "y" else (plan.y[rows], plan.x[columns])
    start, end = (schedule.members[name].to_numpy(dtype=np.float64) for name in ("start_mm", "end_mm"))
    away = np.abs(across[:, None] - members.positions)
    reaches = (along[:, None] >= start - 1e-6) & (along[:, None] <= end + 1e-6)
    away = np.where(reaches & _were_read(schedule), away, np.inf)
    nearest = away <= away.min(axis=1, keepdims=True) + 1e-6
    return np.asarray((nearest & np.isfinite(away)).any(axis=0))


def _were_read(schedule: Schedule) -> NDArray[np.bool_]:
    """[n] whether readings reach a member, so that it is known what it is set to, or that it stays."""
    return np.asarray(schedule.members["raise_most_mm"].notna() | (schedule.members["set"] == STAYS), dtype=bool)
