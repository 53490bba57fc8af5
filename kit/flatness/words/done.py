"""What a plan's charts and its report say alike: depths and amounts as people use them, the verdict after the work."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from flatness.limits.kinds import UNITLESS, Limit, describe
from flatness.planning.plan import Plan
from flatness.words.printed import area as area
from flatness.words.printed import depth as depth
from flatness.words.printed import least_told as least_told
from flatness.words.printed import load as load
from flatness.words.printed import mass as mass
from flatness.words.printed import percent, value_of, without_unit
from flatness.words.printed import setting as setting
from flatness.words.printed import volume as volume

number = without_unit


def limit_of(plan: Plan, name: str) -> Limit | None:
    """The limit of this name among the plan's."""
    return next((limit for limit in plan.limits if limit.name == name), None)


def before_and_after(plan: Plan, row: Mapping[Any, Any], unit: str) -> tuple[str, str, str, str]:
    """What a limit's measure is before and after the work, what the true surface's then likely is, what is allowed."""
    limit = limit_of(plan, row["limit"])
    # F-numbers and slopes are not lengths
    mm = "" if limit is not None and limit.kind in UNITLESS else "_mm"
    before, after, likely, allowed = (float(row[f"{name}{mm}"]) for name in ("before", "after", "likely", "allowed"))
    told = [value_of(limit, value, allowed, unit) for value in (before, after, likely, allowed)]
    return told[0], told[1], told[2], told[3]


def afterwards(plan: Plan, unit: str) -> list[str]:
    """One sentence a limit, without its full stop: what it asks for, before, after, how surely, the verdict.

    The chance is that the true surface passes when the change is made exactly.
    """
    told = []
    for row in plan.after.to_dict("records"):
        limit = limit_of(plan, row["limit"])
        asked = describe(limit, unit) if limit is not None else str(row["limit"])
        before, after, likely, _ = before_and_after(plan, row, unit)
        if before == after == "-":
            told.append(f"{asked}: not measured")
            continue
        sure = f", likely {likely}, chance of passing {percent(row['chance'])}" if math.isfinite(row["chance"]) else ""
        told.append(f"{asked}: {before} before, {after} after{sure}: {row['verdict']}")
    return told
