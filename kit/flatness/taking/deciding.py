"""When enough has been read: the verdict as it grows, and no sooner than the looking allows.

A verdict that is looked at again and again is wrong more often than one that is looked at once. What that costs is
paid by not deciding too soon: a fail no sooner than the coarse grid stands, a pass no sooner than half of the stations
are read and every member is crossed by a whole line. In simulated rooms (tests/benchmarks/taking.py) this keeps the
wrong verdicts to what a full grid gives; a higher confidence, or one that is spent by the look, does not.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from flatness.limits.kinds import Limit
from flatness.limits.spot_checks import Checks
from flatness.limits.verdict import FAIL, PASS, Assessment, assess
from flatness.survey.readings import Survey
from flatness.taking.stations import Walk

LEAST_SHARE = 0.5  # of the stations that are read before a pass
FIRST_LOOK = 12  # readings before which nothing is worth a look


@dataclass(frozen=True, eq=False)
class Look:
    """The verdict on what is read so far.

    Attributes
    ----------
    assessment : as ``check`` gives it of the same file
    read : readings that it rests on
    decided : ``pass`` or ``fail`` where reading on would not be needed for the verdict, else empty
    worth : of each line, what its stations that are left would tell of the verdict
    """

    assessment: Assessment
    read: int
    decided: str
    worth: Mapping[int, float]


def look_at(
    survey: Survey,
    limits: Sequence[Limit],
    walk: Walk,
    done: Collection[int],
    slid: Checks = (),
    *,
    draws: int = 200,
    seed: int = 0,
    confidence: float = 0.95,
    headings: int = 12,
) -> Look:
    """The verdict so far.

    Parameters
    ----------
    survey : what is read
    limits : against which it is held
    walk, done : all stations, and the numbers of those that were read or left out
    slid : what a bar showed between them
    draws, seed, confidence, headings : as for :func:`flatness.assess`

    Raises
    ------
    MeasureError : too little is read yet
    """
    options = {"draws": draws, "seed": seed, "headings": headings}
    found = assess(survey, limits, confidence=confidence, spot_checks=slid, **options)
    return Look(found, len(survey.points), may_stop(found, walk, done, survey), _worth(found, walk, done))


def may_stop(found: Assessment, walk: Walk, done: Collection[int], survey: Survey) -> str:
    """``pass`` or ``fail`` where that may be said now; empty where one must read on."""
    if len(done) >= len(walk.stations):
        return found.verdict if found.verdict in (PASS, FAIL) else ""
    if found.verdict == FAIL and walk.coarse_stands(done):
        return FAIL
    enough = len(done) >= LEAST_SHARE * len(walk.stations)
    if found.verdict == PASS and enough and walk.coarse_stands(done) and walk.crosses_all(done, survey.framing):
        return PASS
    return ""


def _worth(found: Assessment, walk: Walk, done: Collection[int]) -> dict[int, float]:
    """Of each line, what its stations that are left tell of the verdict: the sum of cov(z, log gap)^2 / var(z)."""
    drawn = [one for one in found.judged if len(one.used) and np.ptp(one.used) > 0]
    left = [one for one in walk.stations if one.number not in done]
    if not drawn or not left or found.lattice is None or found.likely is None:
        return {}
    judged = min(drawn, key=lambda one: abs(one.chance - 0.5))
    heights, surface = found.lattice.on_lattice(), found.subject.surface
    ix = np.abs(surface.x[:, None] - [one.x for one in left]).argmin(axis=0)
    iy = np.abs(surface.y[:, None] - [one.y for one in left]).argmin(axis=0)
    z = heights[:, iy, ix]
    log = np.log(np.maximum(judged.used[: len(z)], 1e-9))
    z, log = z - z.mean(axis=0), log - log.mean()
    variance = (z**2).mean(axis=0) + found.likely.parameters.reading_error**2
    tells = (log @ z / len(z)) ** 2 / variance
    worth: dict[int, float] = {}
    for one, value in zip(left, np.nan_to_num(tells), strict=True):
        worth[one.line] = worth.get(one.line, 0.0) + float(value)
    return worth
