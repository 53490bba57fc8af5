"""An offset or a plane through the places that agree, where most of the others may have changed.

A mode first: of all offsets (or planes through three places) that single readings propose, the one that the most
places speak for. Then biweight M-estimation from there (Beaton and Tukey 1974; Maronna, Martin, Yohai and
Salibian-Barrera, Robust Statistics, 2nd ed. 2019, chapters 2 and 4): a place far off has no say at all, so that
changes to one side do not pull, as they would pull a mean or a Huber estimate.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flatness.arrays import Floats

Bools = NDArray[np.bool_]
REACH = 3.5  # errors from which a place has no say; 4.685 is usual, but leaves the fringes of a change more of it
MOST_TRIED = 600  # planes through three places
AGREES = 2.5  # errors within which a place agrees
CHANGED = 3.0  # errors from which the places beside it are suspected too
BLOCKS = 3  # along x and along y
FEWEST, FEWEST_SHARE = 4, 0.15  # places clear of a change for each number sought, and of those unchanged, to rest on
RIVAL = 0.6  # as many places as that, of those that speak for the best, make a rival


@dataclass(frozen=True, eq=False, kw_only=True)
class Agreed:
    """Where the places agree.

    Attributes
    ----------
    theta : [k] the estimate; ``gain`` [k, m]: theta moves by gain x difference
    covariance : [k, k] of theta
    agreeing : share of places within 2.5 errors of it [-]
    rival : another offset [mm] that nearly as many places speak for, or None
    worst : errors that the place farthest off is off
    """

    theta: Floats
    gain: Floats
    covariance: Floats
    agreeing: float
    rival: float | None
    worst: float


def agree(
    columns: Floats, difference: Floats, covariance: Floats, places: Floats, beside: float, seed: int = 0
) -> Agreed:
    """The estimate that the most places speak for.

    Parameters
    ----------
    columns : [m, k] how the difference at each place moves with the estimate; the first column is of ones
    difference : [m] mm at each place
    covariance : [m, m] mm2 of the differences, were nothing changed
    places : [m, 2] mm
    beside : places this near [mm] to one that changed have no say, for a change fades out
    seed : of the planes tried; the same seed and places give the same
    """
    error = np.sqrt(np.maximum(np.diag(covariance), 1e-12))
    tried = _proposals(columns, difference, seed)
    support = np.array([_support(columns, difference, error, theta) for theta in tried])
    theta = _settle(columns, difference, error, tried[int(support.argmax())])
    say = _clear_of_change((difference - columns @ theta) / error, places, beside, columns.shape[1])
    theta = _settle(columns[say], difference[say], error[say], theta)
    off = (difference - columns @ theta) / error
    # spread of an M-estimate: slope of the score outside, its weights inside (Huber 1981, 6.3)
    pull = np.where(say, _weight(off) / error**2, 0.0)
    slope = np.where(say, _slope(off) / error**2, 0.0)
    whole = (columns.T * slope) @ columns
    if np.linalg.eigvalsh(whole).min() <= 0:
        whole = (columns.T * pull) @ columns
    gain = np.asarray(np.linalg.solve(whole, columns.T * pull), dtype=np.float64)
    near = np.abs(off) <= AGREES
    own = gain @ covariance @ gain.T
    widen = max(_widening(off[say]), _block_widening(columns, difference, error, places, say, theta, own))
    rival = _rival(tried, support, columns, error, theta, difference)
    total = own * widen
    if rival is not None:  # either may be true: the variance of the two together
        move, part = rival[0] - theta, rival[1]
        total = total + part * (1 - part) * np.outer(move, move)
    return Agreed(
        theta=theta,
        gain=gain,
        covariance=total,
        agreeing=float(near.mean()),
        rival=None if rival is None else float(rival[0][0]),
        worst=float(np.abs(off).max()),
    )


def _settle(columns: Floats, difference: Floats, error: Floats, theta: Floats) -> Floats:
    """The biweight estimate that lies nearest to a start."""
    for _ in range(100):
        weight = _weight((difference - columns @ theta) / error) / error**2
        normal, right = (columns.T * weight) @ columns, (columns.T * weight) @ difference
        new = np.asarray(np.linalg.lstsq(normal, right, rcond=None)[0], dtype=np.float64)
        done = np.abs(new - theta).max() < 1e-9
        theta = new
        if done:
            break
    return np.asarray(theta)


def _clear_of_change(off: Floats, places: Floats, beside: float, needed: int) -> Bools:
    """Places that are not changed and not beside a change; all where too few would be left."""
    changed = np.abs(off) > CHANGED
    if not changed.any():
        return np.ones(len(off), dtype=bool)
    apart = np.hypot(*(places[:, None] - places[changed]).transpose(2, 0, 1)).min(axis=1)
    clear = apart > beside
    enough = clear.sum() >= max(FEWEST * needed, FEWEST_SHARE * (~changed).sum())
    return clear if enough else np.ones(len(off), dtype=bool)


def _weight(off: Floats) -> Floats:
    u = np.minimum(np.abs(off) / REACH, 1.0)
    return np.asarray((1 - u * u) ** 2)


def _slope(off: Floats) -> Floats:
    """d(off x weight) / d off."""
    u2 = np.minimum(np.abs(off) / REACH, 1.0) ** 2
    return np.asarray((1 - u2) * (1 - 5 * u2))


def _support(columns: Floats, difference: Floats, error: Floats, theta: Floats) -> float:
    """How much speaks for an estimate: each place's biweight, from 1 at it to 0 where it has no say."""
    u = np.minimum(np.abs(difference - columns @ theta) / error / REACH, 1.0)
    return float(((1 - u * u) ** 3).sum())


def _proposals(columns: Floats, difference: Floats, seed: int) -> Floats:
    m, k = columns.shape
    if k == 1:
        return np.asarray(difference[:, None])
    every = math.comb(m, k) <= MOST_TRIED
    rng = np.random.default_rng(seed)
    sets = (
        np.array(list(itertools.combinations(range(m), k)))
        if every
        else np.array([rng.choice(m, k, replace=False) for _ in range(MOST_TRIED)])
    )
    corners = columns[sets]
    # three places close together or nearly on one line propose wild planes
    wide = np.abs(np.linalg.det(corners))
    keep = wide > 0.1 * wide.max()
    return np.asarray(np.linalg.solve(corners[keep], difference[sets[keep]][..., None])[..., 0])


def _widening(off: Floats) -> float:
    """Mean square of the agreeing places' offs over that of a normal one cut off at the same point."""
    near = off[np.abs(off) <= AGREES]
    if len(near) < 5:
        return 1.0
    # variance of a standard normal cut off at +- AGREES
    density = math.exp(-(AGREES**2) / 2) / math.sqrt(2 * math.pi)
    cut = 1 - 2 * AGREES * density / math.erf(AGREES / math.sqrt(2))
    return max(1.0, float(np.mean(near**2)) / cut)


def _block_widening(
    columns: Floats, difference: Floats, error: Floats, places: Floats, say: Bools, theta: Floats, own: Floats
) -> float:
    """Ratio of the variance that leaving out one block of neighbours after another shows to the one propagated.

    A block may hold the fringe of a change that nothing told from ground: then the blocks do not agree.
    Delete-a-group jackknife, as in Shao and Tu, The Jackknife and Bootstrap (1995), section 2.3.
    """
    block = np.zeros(len(places), dtype=np.int64)
    for axis in (0, 1):
        cuts = np.quantile(places[say, axis], np.arange(1, BLOCKS) / BLOCKS)
        block = block * BLOCKS + np.searchsorted(cuts, places[:, axis])
    used = [b for b in range(BLOCKS**2) if (say & (block == b)).any()]
    moved = []
    for b in used:
        rest = say & (block != b)
        if np.linalg.matrix_rank(columns[rest]) < columns.shape[1]:
            return 1.0
        moved.append(_settle(columns[rest], difference[rest], error[rest], theta))
    away = np.array(moved) - np.mean(moved, axis=0)
    shown = (len(used) - 1) / len(used) * away.T @ away
    return max(1.0, float(np.trace(np.linalg.solve(own, shown))) / len(theta))


def _rival(
    tried: Floats, support: Floats, columns: Floats, error: Floats, theta: Floats, difference: Floats
) -> tuple[Floats, float] | None:
    """Another estimate, clear of this one, that nearly as many places speak for, and its part of all that speaks."""
    own = _support(columns, difference, error, theta)
    for number in np.argsort(-support, kind="stable"):
        if support[number] < RIVAL * own:
            return None
        if _apart(tried[number] - theta, columns, error) > REACH:
            other = _settle(columns, difference, error, tried[number])
            its = _support(columns, difference, error, other)
            if _apart(other - theta, columns, error) > REACH and its >= RIVAL * own:
                return other, its / (its + own)
    return None


def _apart(move: Floats, columns: Floats, error: Floats) -> float:
    return float(np.sqrt(np.mean((columns @ move / error) ** 2)))
