"""To what share of the limits to plan, so that the true surface passes and not only the best estimate of it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from flatness.corrections.after import Held
from flatness.corrections.asked import Asked
from flatness.corrections.plannable import Plannable
from flatness.corrections.quantities import Setting
from flatness.corrections.seeking import Found, Terms, seek
from flatness.corrections.specks import Proof, leave_specks
from flatness.errors import PlanError
from flatness.limits.kinds import Limit
from flatness.survey.readings import Floats

SURE = (1.0, 0.85, 0.7, 0.55, 0.4)  # shares of the limits that ``aim="sure"`` chooses from


@dataclass(frozen=True, eq=False)
class Tried:
    """A search to a share of the limits: the change without its specks, and the chance that it passes.

    ``left`` counts the specks that were left, ``reached`` says whether the chance is as high as the confidence, and
    ``trials`` holds share, cost and chance of every share that was tried.
    """

    share: float
    found: Found
    change: Floats
    left: int
    chance: float
    reached: bool
    trials: tuple[tuple[float, float, float], ...] = ()


def _next_greater(share: float) -> float:
    """To what share of the limits a bar may rise where a speck is left: the margin is for what the readings hide."""
    return min((one for one in SURE if one > share), default=1.0)


def aimed_change(
    terms: Terms, able: Plannable, held: Held, wanted: list[Limit], asked: Asked, chosen: Mapping[str, Setting]
) -> Tried:
    """The plan to the share asked for, or to the greatest share that is sure enough, or to the surest."""
    is_plane = terms.strategy != "least-work"
    planned = [limit for limit in wanted if limit.name in able.names]

    def attempt(share: float) -> Tried:
        found = seek(terms, able.at(share))
        if is_plane and not able.requirements:
            return Tried(share, found, found.change, 0, math.nan, False)
        is_weighed = asked.aim == "sure" and bool(able.requirements) and not is_plane
        level = terms.level_within if not is_plane else None
        best: Tried | None = None
        for held_to in [_next_greater(share), share] if is_weighed else [share]:
            proof = Proof(terms.surface, able.at(held_to), terms.headings, level, terms.fixed)
            change, left = leave_specks(found.change, proof, chosen, by_area=not is_plane)
            chance = held.least_chance(planned, change) if is_weighed else math.nan
            if best is None or chance > best.chance:
                best = Tried(share, found, change, left, chance, chance >= asked.confidence)
            if best.reached:
                break
        assert best is not None
        return best

    if is_plane or not able.requirements or (asked.aim == "sure" and not held.draws):
        return attempt(1.0)
    if asked.aim != "sure":
        return attempt(float(asked.aim))
    # the tighter the surer: halve the shares to find the greatest that is sure enough
    reached: Tried | None = None
    surest: Tried | None = None
    trials: list[tuple[float, float, float]] = []
    low, high = 0, len(SURE)
    while low < high:
        middle = (low + high) // 2
        try:
            tried = attempt(SURE[middle])
        except PlanError:
            # tighter still is no easier; what was found before stands, and the last share to be tried may raise
            if middle == 0 and surest is None:
                raise
            high = middle
            continue
        trials.append((tried.share, tried.found.bound, tried.chance))
        if surest is None or tried.chance > surest.chance:
            surest = tried
        if not tried.found.finished:
            break
        if tried.reached:
            reached, high = tried, middle
        else:
            low = middle + 1
    if surest is None:
        return attempt(SURE[0])
    return replace(reached or surest, trials=tuple(sorted(trials, reverse=True)))
