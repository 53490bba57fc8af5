"""Where to take more readings when the verdict is undecided.

Readings are worth what they are expected to do to the verdict (the value of information of decision theory). The
draws are surfaces that the readings allow; each in turn plays the true surface, a batch is read off it with the
readings' error, and all draws are brought in line with what was read (kriging written on draws: the ensemble Kalman
filter of Evensen 1994, with the covariance of the likely surface itself). What doubt p (1 - p) is left over the
draws, on the mean, is what the batch is judged by. Places are chosen one after another, each the best after those
before it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.sparse import csr_array, vstack

from flatness.errors import ArgumentError, MeasureError
from flatness.limits.verdict import Assessment, Judged
from flatness.measures.placements import Requirement, broken_placements, rows_of
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats

BATCH = 6
POOL = 100  # draws whose worst bars are looked at one by one
BARS_A_DRAW = 2
NEARLY = 0.75  # bars from this share of a draw's largest gap on may govern once more is known
CANDIDATES = 60
OUTCOMES = 24  # draws that play the true surface


@dataclass(frozen=True, eq=False)
class _Doubt:
    """What decides, over the draws: the largest of ``measure`` [draws, m] is within the limit up to ``limit``.

    ``weights`` [m, nodes] make the measures of the heights where they are weighted sums of them, else None.
    """

    measure: Floats
    limit: float
    weights: csr_array | None


def more_readings(assessment: Assessment, limit: str | None = None, batch: int = BATCH) -> pd.DataFrame:
    """The places whose reading would do most to decide an undecided verdict.

    Parameters
    ----------
    assessment : a check with draws
    limit : name of the limit to decide; None takes the undecided one whose chance is nearest to even
    batch : how many places

    Returns
    -------
    DataFrame, in the order of their worth: ``x``, ``y`` [mm] on the lattice, ``error_mm`` of the surface there now,
        ``doubt_left`` [-], the share of the doubt p (1 - p) that is expected to remain after this reading and those
        before it, ``decided`` [-], the chance that the verdict is then no longer undecided

    Raises
    ------
    MeasureError : nothing is undecided, or nothing was drawn
    """
    if not (isinstance(batch, (int, np.integer)) and batch >= 1):
        raise ArgumentError("batch out of range", value=str(batch), expected="a whole number from 1")
    judged = _to_decide(assessment, limit)
    assert assessment.likely is not None
    assert assessment.lattice is not None
    surface = assessment.subject.surface
    stack = assessment.lattice.on_lattice()
    keep = np.isfinite(stack[0])
    doubt = _doubt(judged, stack, keep, surface, assessment.subject.headings)
    heights = stack[:, keep]
    at = _candidates(doubt, heights, assessment.likely.parameters.reading_error)
    gx, gy = (grid[keep] for grid in np.meshgrid(surface.x, surface.y))
    among = assessment.likely.covariance_at(gx[at], gy[at], gx[at], gy[at])
    if doubt.weights is None:
        together = _deviations(doubt.measure).T @ _deviations(heights[:, at]) / (len(heights) - 1)
    else:
        carries = np.unique(doubt.weights.indices)
        between = assessment.likely.covariance_at(gx[carries], gy[carries], gx[at], gy[at])
        together = np.asarray(doubt.weights[:, carries] @ between)
    error = assessment.likely.parameters.reading_error
    chosen, left, decided = _choose(
        doubt, heights[:, at], among, together, error, min(batch, len(at)), assessment.confidence, assessment.seed
    )
    places = at[chosen]
    return pd.DataFrame(
        {
            "x": gx[places], "y": gy[places], "error_mm": assessment.likely.error[keep][places], "doubt_left": left,
            "decided": decided,
        }
    )  # fmt: skip


def _to_decide(assessment: Assessment, limit: str | None) -> Judged:
    open_ones = [
        one for one in assessment.judged
        if one.in_doubt(assessment.confidence) and (limit is None or one.limit.name == limit)
    ]  # fmt: skip
    if not open_ones:
        raise MeasureError(
            "no undecided verdict that more readings could decide", value=limit or assessment.verdict,
            remedy="a verdict without a measure needs what its note says, not more readings",
        )  # fmt: skip
    return min(open_ones, key=lambda one: abs(one.chance - 0.5))


def _doubt(judged: Judged, stack: Floats, keep: np.ndarray, surface: Surface, headings: int) -> _Doubt:
    """The bars that govern in some draw, or nearly, for a straightedge; for other kinds the measure as it is."""
    limit = judged.limit
    if limit.kind != "straightedge" or limit.length is None or limit.allowed is None:
        return _Doubt(judged.used[:, None], 1.0, None)
    rows: dict[int, csr_array] = {}
    for height, used in zip(stack[:POOL], judged.used[:POOL], strict=True):
        floor = Requirement(limit.length, max(NEARLY * float(used) * limit.allowed, 1e-6))
        near = broken_placements(height, surface.spacing, [floor], headings, most=1)
        nodes: list[tuple[int, int]] = []
        for k in np.argsort(-near.excess, kind="stable"):
            iy, ix = divmod(int(near.node[k]), height.shape[1])
            if all(max(abs(iy - jy), abs(ix - jx)) > 3 for jy, jx in nodes):
                nodes.append((iy, ix))
                one = near.take(np.array([k]))
                rows.setdefault(int(one.key()[0]), rows_of(one, height.shape, headings))
            if len(nodes) == BARS_A_DRAW:
                break
    weights = csr_array(csr_array(vstack(list(rows.values())))[:, keep.ravel()])
    return _Doubt(np.asarray(weights @ stack[:, keep].T).T, limit.allowed, weights)


def _deviations(values: Floats) -> Floats:
    return np.asarray(values - values.mean(axis=0))


def _candidates(doubt: _Doubt, heights: Floats, error: float) -> np.ndarray:
    """Nodes whose reading tells most about the measures that govern, each by how often it does."""
    governs = np.bincount(doubt.measure.argmax(axis=1), minlength=doubt.measure.shape[1]) / len(heights)
    h = _deviations(heights)
    together = _deviations(doubt.measure[:, governs > 0]).T @ h / (len(h) - 1)
    tells = governs[governs > 0] @ together**2 / (h.var(axis=0, ddof=1) + error**2)
    return np.argsort(-tells, kind="stable")[:CANDIDATES]


def _choose(
    doubt: _Doubt, heights: Floats, among: Floats, together: Floats, error: float, batch: int, confidence: float,
    seed: int,
) -> tuple[list[int], list[float], list[float]]:  # fmt: skip
    """Candidates one after another: what doubt each leaves, and how often the verdict is then decided.

    ``heights`` [draws, candidates]; ``among`` [candidates, candidates] and ``together`` [m, candidates] covariances.
    """
    rng = np.random.default_rng([seed, batch])
    draws = len(heights)
    within = float(np.mean(doubt.measure.max(axis=1) <= doubt.limit + 1e-9))
    start = within * (1 - within)
    true = rng.permutation(draws)[:OUTCOMES]
    read = heights[true] + error * rng.standard_normal((len(true), heights.shape[1]))
    seen = heights + error * rng.standard_normal(heights.shape)
    news = read[:, None, :] - seen[None]  # [outcomes, draws, candidates]
    chosen: list[int] = []
    left: list[float] = []
    decided: list[float] = []
    for _ in range(batch):
        best: tuple[float, int, float] = (np.inf, -1, 0.0)
        for k in range(heights.shape[1]):
            if k in chosen:
                continue
            batch_now = [*chosen, k]
            noisy = among[np.ix_(batch_now, batch_now)] + error**2 * np.eye(len(batch_now))
            gain = np.linalg.solve(noisy, together[:, batch_now].T)
            worst = (doubt.measure[None] + news[:, :, batch_now] @ gain).max(axis=2)
            chance = np.mean(worst <= doubt.limit + 1e-9, axis=1)
            doubted = float(np.mean(chance * (1 - chance)))
            if doubted < best[0] - 1e-12:
                best = (doubted, k, float(np.mean((chance <= 1 - confidence) | (chance >= confidence))))
        chosen.append(best[1])
        left.append(best[0] / start)
        decided.append(best[2])
    return chosen, left, decided
