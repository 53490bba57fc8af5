"""To what share of the limits to plan, so that the true surface passes and not only the best estimate of it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from flatness.corrections.after import Held
from flatness.corrections.asked import Asked
from flatness.corrections.plannable import Plannable
from flatness.corrections.quantities import Setting
from flatness.corrections.seeking import Found, Terms, seek
from flatness.corrections.specks import Proof, leave_specks, specks_of
from flatness.corrections.terms import Depths
from flatness.corrections.volumes import node_areas
from flatness.errors import PlanError
from flatness.limits.kinds import Limit
from flatness.survey.readings import Floats

SPARING = 0.02  # of the cost: so much more work elsewhere is worth it where it spares specks; no source
SPARINGS = 4  # searches for that at most, as sparing some specks may make others
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

        def without_specks(held_to: float) -> tuple[Floats, int]:
            proof = Proof(terms.surface, able.at(held_to), terms.headings, level, terms.fixed)
            return leave_specks(found.change, proof, chosen, by_area=not is_plane)

        if not is_weighed:
            return Tried(share, found, *without_specks(share), math.nan, False)
        change, left = without_specks(_next_greater(share))
        if not held.reaches(planned, change):
            tighter, fewer = without_specks(share)
            if held.reaches(planned, tighter) or (
                held.least_chance(planned, tighter) > held.least_chance(planned, change)
            ):  # fmt: skip
                change, left = tighter, fewer
        chance = held.least_chance(planned, change)
        return Tried(share, found, change, left, chance, chance >= asked.confidence)

    def finish(tried: Tried) -> Tried:
        if is_plane or not tried.found.finished or tried.found.clash:
            return tried
        spared = _sparing(tried, terms, able, chosen)
        if spared is tried or asked.aim != "sure" or not held.draws:
            return spared
        chance = held.least_chance(planned, spared.change)
        # no less sure than before, or sure enough
        return replace(spared, chance=chance) if chance >= min(tried.chance, asked.confidence) else tried

    if is_plane or not able.requirements or (asked.aim == "sure" and not held.draws):
        return finish(attempt(1.0))
    if asked.aim != "sure":
        return finish(attempt(float(asked.aim)))
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
    return replace(finish(reached or surest), trials=tuple(sorted(trials, reverse=True)))


def _sparing(tried: Tried, terms: Terms, able: Plannable, chosen: Mapping[str, Setting]) -> Tried:
    """The same without the specks that it still has, where a little more work around them makes up for that."""
    surface, shape = terms.surface, terms.surface.height.shape
    own = [np.broadcast_to(np.asarray(d, dtype=np.float64), shape) for d in (terms.depths.cut, terms.depths.fill)]
    area = node_areas(surface.inside, surface.spacing)[surface.inside]
    proof = Proof(surface, able.at(tried.share), terms.headings, terms.level_within, terms.fixed)

    def cost(change: Floats) -> float:
        return terms.rates.cost(area, change[surface.inside])

    best, most, idle = tried, (1 + SPARING) * cost(tried.change), np.zeros(shape, dtype=bool)
    specks = first = specks_of(tried.change, surface, chosen)
    fewest = len(first)
    for _ in range(SPARINGS):
        if not specks:
            break
        still = idle | np.any(specks, axis=0)
        depths = Depths(*(np.where(still, 0.0, depth) for depth in own))
        try:
            found = seek(replace(terms, depths=depths, ask_engineer=False, explain=False), proof.requirements)
        except PlanError:
            found = None
        if found is None or not found.finished or cost(found.change) > most:
            # too dear: those of the least volume alone
            specks = specks[: len(specks) // 2]
            continue
        idle = still
        change, _ = leave_specks(found.change, proof, chosen)
        specks = specks_of(change, surface, chosen)
        if len(specks) < fewest:
            fewest = len(specks)
            # what no plan can cost less than was proven with the specks
            found = replace(found, bound=tried.found.bound)
            best = replace(tried, found=found, change=change, left=tried.left + len(first) - fewest)
    return best
