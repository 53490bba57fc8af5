"""Slips: readings that were likely taken or written wrong, and that the surface should not be made of.

A reading far off what the others say may be a slip, or lie on a ridge that runs through its station, or on nothing
out of the ordinary. The three are weighed by how likely each makes the readings. Several slips at once inflate the
surface's own waves and mask one another, so the foremost are set aside together and those that agree are taken back.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from flatness.arrays import Floats
from flatness.notes import Note
from flatness.surface.fitting import (
    RIDGE_HALF_WIDTH,
    SMOOTHER,
    Fit,
    block_numbers,
    climbed,
    logs_of,
    loss_at,
    parameters_at,
)
from flatness.surface.framing import Ridge
from flatness.surface.kriging import Parameters, Stations, factor, left_out, projection
from flatness.surface.local import LARGE
from flatness.survey.readings import Survey

FOREMOST, ROUNDS = 6, 8
FALSE = 0.0056  # chance of a suspect without any slip in a room of 88 readings; of a large survey no more either
NEAR = 0.9  # of that, below which a block of a large survey has no closer look
FAR = 4.0  # times its own predictive error that a reading is off from where it is suspected
DOUBT_MM = 12.0  # what a reading set aside may be off: a half inch, or as far as it is off
SLIP = 0.005  # chance, before any reading, that one is a slip
PROUD_LINE = 0.2 / 25  # chance, before any reading, of the ridge that is weighed against it: a proud joist's
MOST = 1 / 4  # of the stations: more are no slips
BESIDE = 1.5  # station steps within which two suspects may be one patch


@dataclass(frozen=True)
class Slip:
    """A reading that was likely taken or written wrong.

    Attributes
    ----------
    station : its label, or its cell in the file, or its place
    x, y : [mm]
    reading : as it was read [mm]
    expected : what the other readings say that it should be [mm]
    times : how many times its predictive error it is off
    number : of the station, in the order of the survey's stations
    """

    station: str
    x: float
    y: float
    reading: float
    expected: float
    times: float
    number: int

    def __str__(self) -> str:
        return Note("read-again", station=self.station, reading=self.reading, expected=self.expected)


def find_slips(fit: Fit, survey: Survey, step: float) -> tuple[Slip, ...]:
    """The readings of a survey that are likelier slips than anything else, the foremost first.

    ``fit`` is that of all its readings, ``step`` [mm] between neighboring stations.
    """
    found = []
    fit = (
        fit.suppositions[0].fit if fit.suppositions else fit
    )  # no member stands out: a slip may pass for one that does
    count = len(fit.stations.x)
    far = max(FAR, -float(ndtri(FALSE / 2 / count))) if count > LARGE else FAR
    for block in block_numbers(fit.stations):
        stations = fit.stations.chosen(block)
        if far > FAR and np.abs(left_out(stations, fit.best)).max() < NEAR * far:
            continue  # of many blocks few have any that is worth a closer look
        for number, off, times in _weighed(stations, fit, step, far):
            found.append(_slip(survey, int(block[number]), off, times))
    return tuple(sorted(found, key=lambda slip: -abs(slip.times)))


def _slip(survey: Survey, number: int, off: float, times: float) -> Slip:
    x, y, height, _ = survey.stations()
    points = survey.points
    near = (points["x"] - x[number]).abs() + (points["y"] - y[number]).abs()
    # of a station read several times, the reading that is farthest off
    here = points[near < 1.0]
    row = here.loc[((here["height"] - (height[number] - off)).abs()).idxmax()]
    sign = -1.0 if survey.quantity == "drop" else 1.0
    place = Note("station-at", at=(x[number], y[number]))
    expected = row["reading"] + sign * (height[number] - off - row["height"])
    named = row["label"] or row["cell"] or place
    return Slip(named, float(x[number]), float(y[number]), float(row["reading"]), float(expected), times, number)


def _weighed(stations: Stations, fit: Fit, step: float, far: float) -> Iterator[tuple[int, float, float]]:
    """Numbers of the slips among the stations, how far each is off [mm], and in times its predictive error."""
    free = len(fit.spread)
    aside, p, off, times = _set_aside(stations, fit.best, free, far)
    if not len(aside) or len(aside) > MOST * len(stations.x):
        return
    doubted = _doubting(stations, aside, off)
    best, loss = climbed(logs_of(p)[:free], [doubted], p)
    for k in aside:
        apart = np.hypot(stations.x[aside] - stations.x[k], stations.y[aside] - stations.y[k])
        beside = aside[(apart > 0) & (apart < BESIDE * step)]
        if (np.sign(off[beside]) == np.sign(off[k])).any():
            continue  # a patch, a step or an edge
        slip = -loss + math.log(SLIP)
        others = _without(doubted, [k])
        none = -min(climbed(logs_of(start)[:free], [others], p)[1] for start in (p, fit.best))
        if none > slip:
            continue
        for along, across in (("x", stations.y), ("y", stations.x)):
            on_line = aside[np.abs(across[aside] - across[k]) < RIDGE_HALF_WIDTH / 2]
            slips = -loss + len(on_line) * math.log(SLIP)
            ridge = replace(p, ridges=(*p.ridges, Ridge(along, float(across[k]), RIDGE_HALF_WIDTH)))
            line = -climbed(best, [_without(doubted, on_line)], ridge)[1] + math.log(PROUD_LINE)
            if line > slips:
                break
        else:
            yield int(k), float(off[k]), float(abs(times[k]))


def _set_aside(
    stations: Stations, first: Parameters, free: int, far: float
) -> tuple[NDArray[np.intp], Parameters, Floats, Floats]:
    """Numbers of the suspects, parameters without them, and how far each station is off, [mm] and in times."""
    off, times = _off(stations, first)
    aside, p = np.argsort(-np.abs(times))[: min(FOREMOST, int(MOST * len(times)))], first
    for _ in range(ROUNDS):
        doubted = _doubting(stations, aside, off)
        start = _start(doubted, first, free) if p is first else p
        p = parameters_at(climbed(logs_of(start)[:free], [doubted], start)[0], start)
        off, times = _off(doubted, p)
        before, aside = aside, np.flatnonzero(np.abs(times) > far)
        if not len(aside) or set(aside) == set(before):
            break
    return aside, p, off, times


def _start(doubted: Stations, first: Parameters, free: int) -> Parameters:
    """The likeliest of the first parameters and of a few smoother ones, since a slip makes a surface seem rough."""
    kept = doubted.doubt == 0
    scale = max(float(np.std(doubted.height[kept])), first.reading_error)
    smoother = (replace(first, scale=grow * scale, length_x=a, length_y=a) for grow, a in SMOOTHER)
    return min((first, *smoother), key=lambda p: loss_at(logs_of(p)[:free], [doubted], p))


def _doubting(stations: Stations, aside: NDArray[np.intp], off: Floats) -> Stations:
    doubt = np.zeros(len(stations.x))
    doubt[aside] = np.maximum(DOUBT_MM, np.abs(off[aside]))
    return replace(stations, doubt=doubt)


def _without(doubted: Stations, taken_back: Iterable[int]) -> Stations:
    assert doubted.doubt is not None
    doubt = doubted.doubt.copy()
    doubt[list(taken_back)] = 0.0
    return replace(doubted, doubt=doubt)


def _off(stations: Stations, p: Parameters) -> tuple[Floats, Floats]:
    """How far each height is off what the others say [n] mm, and that in times its predictive error [n]."""
    proj = projection(factor(stations, p))
    variance = 1 / np.diag(proj)
    off = variance * (proj @ stations.height)
    if stations.doubt is not None:
        variance = variance - stations.doubt**2
    return off, off / np.sqrt(np.maximum(variance, p.reading_error**2))
