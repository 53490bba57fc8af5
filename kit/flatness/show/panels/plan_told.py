"""What the Plan panel says in a line: at a place of the map, and of a plan that is out of date."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatness.corrections.plan import ACTIONS, Plan
from flatness.show.done_words import depth
from flatness.show.panels.plan_draft import Draft
from flatness.show.panels.plan_tables import Shown
from flatness.show.panels.told import OFF, POINT_HERE
from flatness.show.patterns import PATTERNS
from flatness.show.words import length, place

if TYPE_CHECKING:
    from flatness.show.panels.plan_state import PlanState

PRESS = "press Work out the plan"


def told_at(state: PlanState) -> str:
    """What is to be done at the place pointed at, on the map that is shown."""
    shown = state.plan if state.draft is None or state.current else state.draft
    xy = state.pointer
    if shown is None or xy is None:
        return POINT_HERE
    surface = shown.surface
    i, j = (round((at - axis[0]) / surface.spacing) for at, axis in zip(xy, (surface.x, surface.y), strict=True))
    ny, nx = surface.height.shape
    here = place(xy, state.unit)
    if not (0 <= i < nx and 0 <= j < ny) or math.isnan(shown.change[j, i]):
        return f"{here}: {OFF}"
    action = ACTIONS[int(shown.actions[j, i])]
    change, height = float(shown.change[j, i]), float(surface.height[j, i])
    what = PATTERNS[action].words if action == "leave" else f"{PATTERNS[action].words}, {depth(change, state.unit)}"
    return f"{here}: {what}; height {length(height, state.unit)} now, {length(height + change, state.unit)} after"


def stale_words(state: PlanState, shown: Shown | None) -> str:
    """Why what is shown is not a plan of what is asked for, and what to do about it."""
    if shown is None or state.running:
        return ""
    if isinstance(shown, Draft):
        if shown.against:
            return "It breaks what you asked for: move the slider, or change that."
        return "Patches and members follow when the controls rest."
    if not state.current:
        return f"You have changed something since: {PRESS} again."
    if isinstance(shown, Plan) and not state.sure and len(shown.after):
        return f"The chances are not worked out: {PRESS} for them."
    return ""
