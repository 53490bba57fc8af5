"""What is going to be done, what was planned, and what was done, for whoever owns the room."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtri

from flatness.comparison.against_plan import UNPLANNED, UNSEEN, UNTOLD, UNTOUCHED, WITHIN
from flatness.comparison.comparing import Comparison
from flatness.corrections.plan import Plan
from flatness.corrections.terms import Rates
from flatness.show.datum_words import SIDES, agree_words
from flatness.show.papers.plain import about, about_area, at_most, capital, listed, where
from flatness.show.way_words import HOURS, noun, plane_words, work_words

DONE = {
    "plane": "planed or ground down", "fill": "filled", "sister": "raised with straight lumber beside the joists",
    "fur": "packed out with shims", "engineer": "left until an engineer has looked at it",
}  # fmt: skip
MOST_NAMED = 3  # places that are off, each with its depths


def will_be_done(plan: Plan, unit: str, past: bool = False) -> str:
    """What a plan is going to do by its way, in a sentence or two; ``past`` where the work is over."""
    parts = [_whole(plan, unit, past)] if plan.way != "patches" else [
        _part(str(action), group, unit, past) for action, group in plan.patches.groupby("action", sort=False)
    ]  # fmt: skip
    parts = [part for part in parts if part]
    if not parts:
        return "Nothing was to be done." if past else "Nothing needs to be done."
    text = listed(parts)
    if plan.way in ("patches", "some-members"):
        text += f"; the rest {'was to stay as it was' if past else 'stays as it is'}"
    takes, bags = ("was to take" if past else "takes"), int(plan.quantities.bags)
    if bags:
        text += f". It {takes} about {bags} bag{'s' if bags > 1 else ''} of fill"
    rates = plan.settings.get("rates")
    if rates not in (None, Rates()) and plan.work > 0:
        if rates.unit.casefold() in HOURS:
            text += f". It {takes} about {work_words(plan)} of work"
        else:
            text += f". It {'was to cost' if past else 'costs'} about {work_words(plan)}"
    return f"{capital(text)}."


def _whole(plan: Plan, unit: str, past: bool) -> str:
    """What is done to all members, some, or over all of it."""
    kind, will, many = plan.survey.surface, *(("was to be", "were to be") if past else ("will be", "will be"))
    by = f" by {at_most(float(np.nanmax(np.abs(plan.change), initial=0.0)), unit)}"
    if plan.way == "overlay":
        how = "poured over" if kind == "floor" else "covered with new strapping on shims"
        return f"the whole {kind} {will} {how}, to {plane_words(plan)}, {by.removeprefix(' by ')} from where it is now"
    if not plan.lines:
        return ""
    name = noun(kind, plan.members)
    how = "raised with straight lumber beside them" if name == "joist" else "packed out with shims"
    if plan.way == "members":
        return f"all {len(plan.lines)} {name}s {many} {how}, to {plane_words(plan)},{by}"
    return f"{_counted(len(plan.lines), name)} {many} {how},{by}"


def _part(action: str, group: pd.DataFrame, unit: str, past: bool) -> str:
    if action not in DONE:
        return ""
    size = about_area(float(group["area_mm2"].sum()), unit)
    most = float(group["greatest_mm"].abs().max())
    by = "" if action == "engineer" or not most else f" by {at_most(most, unit)}"
    return f"{size} {'was to be' if past else 'will be'} {DONE[action]}{by}"


def was_done(found: Comparison, unit: str) -> str:
    """What was done between two surveys, and where that is not what was planned."""
    parts = []
    for kind, verb, most in (("cut", "lowered", np.nanmin), ("fill", "raised", np.nanmax)):
        size = float(found.areas["area_mm2"].to_dict()[kind])
        if size > 0:
            by = at_most(float(most(np.where(found.changed, found.difference, 0.0))), unit)
            parts.append(f"{about_area(size, unit)} {_way(verb, found.surveys[1].surface)} by {by}")
    if not parts:
        told = "No change shows between the two surveys that is larger than their own errors."
    else:
        told = f"{capital(listed(parts))}."
    return " ".join([told, *_against_plan(found, unit)])


def _way(verb: str, surface: str) -> str:
    if surface == "floor":
        return f"was {verb}"
    return f"was {'taken back' if verb == 'lowered' else 'built out'}"


def _against_plan(found: Comparison, unit: str) -> Iterator[str]:
    """Which planned places came out otherwise, how many as planned, and of how many that cannot be told."""
    if found.plan is None:
        return
    rows = found.plan.to_dict("records")
    yield from _unplanned(rows, found, unit)
    places = [row for row in rows if row["what"] == "patch"]
    if not places:
        return
    seen = [row for row in places if row["status"] != UNSEEN]
    unclear = [row for row in seen if row["status"] == UNTOLD]
    off = [row for row in seen if row["status"] not in (WITHIN, UNTOLD)]
    yield f"{_counted(len(places), 'place')} {'was' if len(places) == 1 else 'were'} planned."
    surface = found.surveys[1].surface
    for row in sorted(off, key=lambda row: -abs(row["off_mm"]))[:MOST_NAMED]:
        way = SIDES[surface][row["off_mm"] < 0]
        at = where(float(row["worst_x_mm"]), float(row["worst_y_mm"]), unit)
        read = f"; {agree_words(row)} places read in it are as they should be" if row["stations"] > 0 else ""
        untouched = ", where nothing seems to have been done" if row["status"] == UNTOUCHED else ""
        yield (
            f"Not as planned: {row['name']}{untouched}. At {at} the {surface} is {about(abs(row['off_mm']), unit)} "
            f"{way}{read}."
        )
    if len(off) > MOST_NAMED:
        yield f"{_counted(len(off) - MOST_NAMED, 'more place')} came out otherwise too."
    good = len(seen) - len(off) - len(unclear)
    if good:
        yield f"As planned: {good} of them."
    if unclear:
        yield (
            f"Of {len(unclear)} it cannot be told: so little was planned there, or so little read, that doing nothing "
            "would pass for it too."
        )
    if len(seen) < len(places):
        yield f"Not measured afterwards: {len(places) - len(seen)} of them."
    yield from _members(found, rows)


def _unplanned(rows: list[dict[Any, Any]], found: Comparison, unit: str) -> Iterator[str]:
    """What changed where nothing was planned, the largest first."""
    areas = [row for row in rows if row["status"] == UNPLANNED]
    for row in areas[:MOST_NAMED]:
        size = about_area(float(row["area_mm2"]), unit)
        at = where(float(row["x_mm"]), float(row["y_mm"]), unit)
        yield (
            f"Nothing was planned at {at}, and yet {_depth(row['done_mm'], row['error_mm'], found, unit)} was measured "
            f"there on average, over {size}{'' if row['sure'] else ' (the readings leave some doubt)'}."
        )
    if len(areas) > MOST_NAMED:
        yield f"{_counted(len(areas) - MOST_NAMED, 'more place')} changed where nothing was planned."


def _members(found: Comparison, rows: list[dict[Any, Any]]) -> Iterator[str]:
    lines = [row for row in rows if row["what"] == "member" and row["status"] != UNSEEN]
    off = sum(row["status"] not in (WITHIN, UNTOLD) for row in lines)
    if off:
        name = "studs" if found.surveys[1].surface == "wall" else "joists"
        yield f"Along {off} of the {len(lines)} {name} it is not as planned either."


def _depth(mm: float, error: float, found: Comparison, unit: str) -> str:
    reach = float(ndtri((1 + found.confidence) / 2)) * error
    size = about(mm, unit, high=abs(mm) + reach)
    if math.isclose(mm, 0.0, abs_tol=1e-6):
        return "nothing"
    return f"{size} {'off' if mm < 0 else 'added'}"


def _counted(count: int, name: str) -> str:
    return f"{count} {name}{'' if count == 1 else 's'}"
