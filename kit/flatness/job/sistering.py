"""Which members get a sister, or are furred, and how long it is."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from flatness.corrections.actions import framing_of
from flatness.corrections.members import Members
from flatness.corrections.plan import Plan
from flatness.corrections.schedule import Schedule
from flatness.job.records import ALL, PLANNED, Framing

COLUMNS = ("member", "start_mm", "end_mm", "length_mm")


def sister_lengths(plan: Plan, framing: Framing, schedule: Schedule) -> pd.DataFrame:
    """The sisters that a plan takes, each as long as its member.

    Parameters
    ----------
    plan : with its actions
    framing : the members, and which of them get a sister
    schedule : of these members, which knows where they start and end

    Returns
    -------
    DataFrame, one row a sister, in the members' order: ``member``, ``start_mm`` and ``end_mm`` along it, ``length_mm``
    """
    table = schedule.members.assign(length_mm=schedule.members["end_mm"] - schedule.members["start_mm"])
    if framing.sistered == PLANNED:
        table = table[framed_members(plan, framing.members, schedule)]
    elif framing.sistered != ALL:
        table = table[table["member"].isin(framing.sistered)]
    return table[list(COLUMNS)].reset_index(drop=True)


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
    away = np.where(reaches, away, np.inf)
    nearest = away <= away.min(axis=1, keepdims=True) + 1e-6
    return np.asarray((nearest & np.isfinite(away)).any(axis=0))
