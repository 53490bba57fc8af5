"""Where to take more readings when the verdict is undecided.

Readings are worth what they are expected to do to the verdict (the value of information of decision theory). The
draws are surfaces that the readings allow; each in turn plays the true surface, a batch is read off it with the
readings' error, and all draws are brought in line with what was read (kriging written on draws: the ensemble Kalman
filter of Evensen 1994, with the covariance of the likely surface itself). What doubt p (1 - p) is left over the
draws, on the mean, is what the batch is judged by. Places are chosen one after another, each the best after those
before it, until the verdict is expected to be decided in more than half of the cases. What a batch is worth is found
by other draws than those that chose it, or it would seem worth more than it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.sparse import csr_array, vstack

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError
from flatness.limits.kinds import Limit
from flatness.limits.verdict import Assessment, Judged
from flatness.measures.bars import Requirement, broken_placements, rows_of
from flatness.surface.lattice import Surface

BATCH = 6  # places, at the least
NO_DOUBT = 0.005  # share of the doubt that is printed as none
MOST = 24  # places, unless more are asked for
AIM = 0.6  # in this share of cases a batch is to decide
HARDLY = 0.3  # in fewer cases than this no large batch is worth its while
TIMES = (1, 4, 9)  # how often each place is read; four times halves the reading's error
POOL = 100  # draws whose worst bars are looked at one by one
BARS_A_DRAW = 2
NEARLY = 0.75  # bars from this share of a draw's largest gap on may govern once more is known
POOL_NODES = 600
CANDIDATES = 60
PROMISING = 30  # of the candidates, that are looked at again after the first place
OUTCOMES, JUDGED_BY = 24, 60  # draws that play the true surface, while places are chosen and to judge the batch by


@dataclass(frozen=True, eq=False)
class _Doubt:
    """What decides, over the draws: the largest of ``measure`` [draws, m] is within the limit up to ``limit``.

    ``weights`` [m, nodes] make the measures of the heights where they are weighted sums of them, else None.
    """

    measure: Floats
    limit: float
    weights: csr_array | None


def more_readings(
    assessment: Assessment, limit: str | None = None, batch: int | None = None, times: int | None = None
) -> pd.DataFrame:
    """The places whose reading would do most to decide an undecided verdict.

    Parameters
    ----------
    assessment : a check with draws
    limit : name of the limit to decide; None takes the undecided one whose chance is nearest to even
    batch : how many places; None takes six, or as many up to 24 as are expected to decide in 60 % of cases; six where
        no batch is expected to decide in 30 %
    times : how often each place is to be read, afresh each time; None takes once, or four or nine times where fewer
        are not expected to decide in 60 % of cases

    Returns
    -------
    DataFrame, in the order of their worth: ``x``, ``y`` [mm] on the lattice, ``times`` to read there, ``error_mm`` of
        the surface there now, ``doubt_left`` [-], the share of the doubt p (1 - p) that is expected to remain after
        this place and those before it, ``decided`` [-], the chance that the verdict is then no longer undecided

    Raises
    ------
    MeasureError : nothing is undecided, or nothing was drawn
    """
    for name, value in (("batch", batch), ("times", times)):
        if value is not None and not (isinstance(value, (int, np.integer)) and value >= 1):
            raise ArgumentError(f"{name} out of range", value=str(value), expected="a whole number from 1")
    judged = _to_decide(assessment, limit)
    assert assessment.likely is not None
    assert assessment.lattice is not None
    surface = assessment.subject.surface
    stack = assessment.lattice.on_lattice()
    keep = np.isfinite(stack[0])
    doubt = _doubt(judged, stack, keep, surface, assessment.subject.headings)
    heights = stack[:, keep]
    reading_error = assessment.likely.parameters.reading_error
    at = _candidates(doubt, heights, reading_error)
    gx, gy = (grid[keep] for grid in np.meshgrid(surface.x, surface.y))
    among = assessment.likely.covariance_at(gx[at], gy[at], gx[at], gy[at])
    if doubt.weights is None:
        together = _deviations(doubt.measure).T @ _deviations(heights[:, at]) / (len(heights) - 1)
    else:
        carries = np.unique(doubt.weights.indices)
        between = assessment.likely.covariance_at(gx[carries], gy[carries], gx[at], gy[at])
        together = np.asarray(doubt.weights[:, carries] @ between)
    over = doubt.measure.max(axis=1) > doubt.limit + 1e-9
    if over.all() or not over.any():
        raise _of_a_bar(judged.limit)
    tried = []
    for often in TIMES if times is None else (times,):
        error = reading_error / float(np.sqrt(often))
        known, judge = (
            _Known(doubt, heights[:, at], among, together, error, assessment.confidence, [assessment.seed, count])
            for count in (OUTCOMES, JUDGED_BY)
        )
        tried.append((often, *_choose(known, judge, batch)))
        if tried[-1][-1][-1] >= AIM:
            break
    often, chosen, left, decided = max(tried, key=lambda one: one[-1][-1])
    if decided[-1] < HARDLY:
        some = BATCH if batch is None else batch
        often, chosen, left, decided = tried[0]
        chosen, left, decided = chosen[:some], left[:some], decided[:some]
    if batch is None:
        # what comes after no doubt is left is not worth the walk
        useful = max(1, int(np.count_nonzero(np.asarray(left) >= NO_DOUBT)))
        chosen, left, decided = chosen[:useful], left[:useful], decided[:useful]
    places = at[chosen]
    return pd.DataFrame(
        {
            "x": gx[places],
            "y": gy[places],
            "times": often,
            "error_mm": assessment.likely.error[keep][places],
            "doubt_left": left,
            "decided": decided,
        }
    )


def _to_decide(assessment: Assessment, limit: str | None) -> Judged:
    open_ones = [
        one
        for one in assessment.judged
        if one.in_doubt(assessment.confidence) and (limit is None or one.limit.name == limit)
    ]
    if not open_ones:
        raise MeasureError(
            "no undecided verdict that more readings could decide",
            value=limit or assessment.verdict,
            remedy="a verdict without a measure needs what its note says, not more readings",
        )
    return min(open_ones, key=lambda one: abs(one.chance - 0.5))


def _of_a_bar(limit: Limit) -> MeasureError:
    return MeasureError(
        "the doubt is of what a bar showed between the stations",
        value=limit.name,
        remedy="set the limit's own bar there: more readings could not decide it",
    )


def _doubt(judged: Judged, stack: Floats, keep: np.ndarray, surface: Surface, headings: int) -> _Doubt:
    """The bars that govern in some draw, or nearly, for a straightedge; for other kinds the measure as it is."""
    limit = judged.limit
    if limit.kind != "straightedge" or limit.length is None or limit.allowed is None:
        return _Doubt(judged.used[: len(stack), None], 1.0, None)
    rows: dict[int, csr_array] = {}
    for height, used in zip(stack[:POOL], judged.used[: len(stack)][:POOL], strict=True):
        floor = Requirement(limit.length, max(NEARLY * float(used) * limit.allowed, 1e-6))
        near = broken_placements(height, surface.spacing, [floor], headings, most=1)
        nodes: list[tuple[int, int]] = []
        for k in np.argsort(-near.excess, kind="stable"):
            iy, ix = divmod(int(near.node[k]), height.shape[1])
            if all(max(abs(iy - jy), abs(ix - jx)) > 3 for jy, jx in nodes):
                nodes.append((iy, ix))
                one = near.take(np.array([k]))
                rows.setdefault(int(one.key()[0]), rows_of(one, height.shape, headings, surface.spacing))
            if len(nodes) == BARS_A_DRAW:
                break
    if not rows:
        raise _of_a_bar(limit)
    weights = csr_array(csr_array(vstack(list(rows.values())))[:, keep.ravel()])
    return _Doubt(np.asarray(weights @ stack[:, keep].T).T, limit.allowed, weights)


def _deviations(values: Floats) -> Floats:
    return np.asarray(values - values.mean(axis=0))


def _candidates(doubt: _Doubt, heights: Floats, error: float) -> np.ndarray:
    """Nodes whose readings tell most about the measures that govern, each by how often it does.

    One after another, each for what it tells beyond those before it (a square-root Kalman filter on the draws, after
    Potter), or all would stand side by side.
    """
    governs = np.bincount(doubt.measure.argmax(axis=1), minlength=doubt.measure.shape[1]) / len(heights)
    measure, h = _deviations(doubt.measure[:, governs > 0]), _deviations(heights)

    def tells() -> Floats:
        together = measure.T @ h / (len(h) - 1)
        return np.asarray(governs[governs > 0] @ together**2 / (h.var(axis=0, ddof=1) + error**2))

    pool = np.argsort(-tells(), kind="stable")[:POOL_NODES]
    h = h[:, pool]
    picked: list[int] = []
    while len(picked) < min(CANDIDATES, len(pool)):
        worth = tells()
        worth[picked] = -np.inf
        k = int(worth.argmax())
        picked.append(k)
        one = h[:, k].copy()
        variance = float(one @ one) / (len(h) - 1) + error**2
        share = 1 / (1 + error / np.sqrt(variance)) / variance / (len(h) - 1)
        measure -= share * np.outer(one, one @ measure)
        h -= share * np.outer(one, one @ h)
    return pool[picked]


class _Known:
    """What the readings of a batch say of the measures, outcome by outcome, a place at a time.

    ``heights`` [draws, candidates]; ``among`` [candidates, candidates] and ``together`` [m, candidates] covariances,
    given what was read so far; ``news`` [outcomes, draws, candidates]: what a reading says beyond those before it.
    """

    def __init__(
        self,
        doubt: _Doubt,
        heights: Floats,
        among: Floats,
        together: Floats,
        error: float,
        confidence: float,
        seed_and_outcomes: list[int],
    ) -> None:
        rng = np.random.default_rng(seed_and_outcomes)
        true = rng.permutation(len(heights))[: seed_and_outcomes[1]]
        read = heights[true] + error * rng.standard_normal((len(true), heights.shape[1]))
        seen = heights + error * rng.standard_normal(heights.shape)
        self.limit, self.confidence = doubt.limit + 1e-9, confidence
        self.news = read[:, None, :] - seen[None]
        self.among, self.together, self.noise = among.copy(), together.copy(), error**2
        self.measure = np.repeat(doubt.measure[None], len(true), axis=0)  # [outcomes, draws, m]

    def chance(self, k: int) -> Floats:
        """[outcomes] chance that all measures are within the limit, once candidate ``k`` is read too."""
        gain = self.together[:, k] / (self.among[k, k] + self.noise)
        worst = (self.measure + self.news[:, :, k, None] * gain).max(axis=2)
        return np.asarray(np.mean(worst <= self.limit, axis=1))

    def read(self, k: int) -> None:
        """Take candidate ``k`` as read (one step of the Kalman filter)."""
        variance = self.among[k, k] + self.noise
        gain, beside, news = self.together[:, k] / variance, self.among[k] / variance, self.news[:, :, k, None].copy()
        self.measure += news * gain
        self.news -= news * beside
        self.together -= np.outer(gain, self.among[k])
        self.among -= np.outer(beside, self.among[k].copy())


def _choose(known: _Known, judge: _Known, batch: int | None) -> tuple[list[int], list[float], list[float]]:
    """Candidates one after another: what doubt each leaves, and how often the verdict is then decided."""
    within = float(np.mean(judge.measure[0].max(axis=1) <= judge.limit))
    open_ones = list(range(len(known.among)))
    chosen: list[int] = []
    left = [1.0]
    decided: list[float] = []
    most = min(MOST if batch is None else batch, len(open_ones))
    while len(chosen) < most and not (batch is None and len(chosen) >= BATCH and decided[-1] >= AIM):
        doubts = [float(np.mean(chance * (1 - chance))) for chance in map(known.chance, open_ones)]
        order = np.argsort(np.round(doubts, 12), kind="stable")
        best = open_ones[order[0]]
        open_ones = [open_ones[k] for k in order[1 : PROMISING + 1]]
        chance = judge.chance(best)
        chosen.append(best)
        # no reading adds to the doubt that is expected: what does is the noise of the simulation
        left.append(min(left[-1], float(np.mean(chance * (1 - chance))) / (within * (1 - within))))
        decided.append(float(np.mean((chance <= 1 - known.confidence) | (chance >= known.confidence))))
        for one in (known, judge):
            one.read(best)
    return chosen, left[1:], decided
