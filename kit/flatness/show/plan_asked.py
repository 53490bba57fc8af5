"""What a plan was asked for, in words: terms and finished heights."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from flatness.corrections.beneath import Beneath
from flatness.corrections.finished import Layer, build_up, finished_surface
from flatness.corrections.plan import Plan
from flatness.corrections.terms import FixedSpot
from flatness.show.words import hanging, length, place, position
from flatness.survey.readings import Survey

SHOWN_MM = 0.05  # less than this is printed as nothing
ONE_LINE_MM = 0.01  # readings whose height and drop sum to one number, but for noise


def asked_text(plan: Plan, unit: str, layers: Sequence[Layer] = ()) -> str:
    """What the user asked for beside limits, line by line; empty where there is nothing.

    Parameters
    ----------
    plan : the plan
    unit : ``in`` or ``mm``
    layers : laid on the corrected surface
    """
    lines = [*_terms(plan, unit), *(_spot(plan, spot, unit) for spot in plan.fixed), *_finished(plan, layers, unit)]
    return "\n".join(["As you asked", *map(hanging, lines)]) if lines else ""


def _terms(plan: Plan, unit: str) -> Iterator[str]:
    given = plan.settings
    if given.get("shift") == "nothing-comes-off":
        yield "Nothing comes off."
    for name, verb in (("cut", "comes off"), ("fill", "is added")):
        deepest = np.asarray(getattr(given.get("depths"), name, math.inf), dtype=np.float64)
        if deepest.ndim or not math.isfinite(float(deepest)):
            continue
        if float(deepest) > 0:
            yield f"At most {length(float(deepest), unit)} {verb} anywhere."
        elif not (name == "cut" and given.get("shift") == "nothing-comes-off"):
            yield f"Nothing {verb}."
    if given.get("level_within") is not None:
        yield f"The whole finished surface within {length(float(given['level_within']), unit)} of level."
    if given.get("height") is not None:
        yield f"The level plane at {height_words(plan.survey, float(given['height']), unit)}."
    for one in given.get("beneath") or ():
        yield f"Beneath{', in a part,' if one.area is not None else ''}: {_beneath(one, unit)}."
    if plan.members is not None:
        places, members = plan.members.positions, plan.members
        many = f"{len(members)} x {members.kind}" if len(members) > 1 else members.kind
        yield (
            f"Members: {many}, along {members.direction}, from {position(float(places[0]), unit)} to "
            f"{position(float(places[-1]), unit)} across."
        )


def _beneath(one: Beneath, unit: str) -> str:
    if one.engineered or not one.may_be_planed:
        return f"{one.kind}, not planed"
    most = f", at most {length(one.most_planed, unit)}" if one.most_planed is not None else ""
    return f"{one.kind}, may be planed{most}"


def _spot(plan: Plan, spot: FixedSpot, unit: str) -> str:
    within = f", within {length(spot.allowance, unit)}" if spot.allowance > 0 else ""
    given = "as found" if spot.height is None else height_words(plan.survey, spot.height, unit)
    name = spot.name or "a spot"
    text = f"Fixed, {name} at {place((spot.x, spot.y), unit)}: {given}{within}"
    moved = float(plan.surface.at(spot.x, spot.y, plan.change, beyond="nearest")[0])
    if math.isnan(moved):
        return f"{text}; it stands beside the surface."
    way = "raised" if moved > 0 else "lowered"
    return f"{text}; {'left as it is' if abs(moved) < SHOWN_MM else f'{way} by {length(abs(moved), unit)}'}."


def _finished(plan: Plan, layers: Sequence[Layer], unit: str) -> Iterator[str]:
    if not layers:
        return
    total = build_up(layers)
    each = ", ".join(
        f"{layer.name} {'-' if layer.thickness < 0 else ''}{length(abs(layer.thickness), unit)}" for layer in layers
    )
    way = "above" if total >= 0 else "below"
    yield (
        f"Layers: {each}; the finished surface stands {length(abs(total), unit)} {way} the corrected one. Heights that "
        "are fixed are those of the corrected surface, before the layers."
    )
    finished = finished_surface(plan, layers).height
    low, high = float(np.nanmin(finished)), float(np.nanmax(finished))
    yield (
        f"Finished, with the layers: lowest {height_words(plan.survey, low, unit)}, highest "
        f"{height_words(plan.survey, high, unit)}."
    )


def height_words(survey: Survey, height: float, unit: str) -> str:
    """A height as the rod would show it where drops off one line were read, else off the datum."""
    lines = (survey.points["height"] + survey.points["reading"]).to_numpy(dtype=np.float64)
    if survey.quantity == "drop" and float(np.ptp(lines)) <= ONE_LINE_MM:
        return f"drop {length(float(lines.mean()) - height, unit)}"
    return f"height {'-' if height < 0 else ''}{length(abs(height), unit)}"
