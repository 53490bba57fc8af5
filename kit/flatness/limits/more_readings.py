"""Where to take more readings when the verdict is undecided.

Over the draws, the height at a place and the share of the limit used up vary together. Reading the place again
takes away the part of the doubt that goes with it (the linear update of a Kalman filter, written on the draws as
in Evensen 1994). Places are chosen one after another, each the one that takes away most after those before it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from flatness.errors import ArgumentError, MeasureError
from flatness.limits.verdict import Assessment, Judged
from flatness.survey.readings import Floats

BATCH = 6


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
        ``doubt_left`` [-], the share of the doubt's variance that remains after this reading and those before it

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
    heights = assessment.lattice.on_lattice()
    keep = np.isfinite(heights[0])
    gx, gy = np.meshgrid(surface.x, surface.y)
    x, y, error = gx[keep], gy[keep], assessment.likely.error[keep]
    chosen, left = _choose(heights[:, keep], judged.used, assessment.likely.parameters.reading_error, batch)
    return pd.DataFrame({"x": x[chosen], "y": y[chosen], "error_mm": error[chosen], "doubt_left": left})


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


def _choose(heights: Floats, used: Floats, error: float, batch: int) -> tuple[list[int], list[float]]:
    """Columns of heights [draws, places] that take away most of the variance of ``used`` [draws]."""
    h = heights - heights.mean(axis=0)
    doubt = used - used.mean()
    start = float(doubt @ doubt)
    if start <= 0:
        raise MeasureError("all draws use the same share of the limit: more readings would not change it")
    chosen: list[int] = []
    left: list[float] = []
    n = len(used) - 1
    for _ in range(min(batch, h.shape[1])):
        variance = np.einsum("ij,ij->j", h, h) / n
        together = h.T @ doubt / n
        worth = together**2 / (variance + error**2)
        best = int(worth.argmax())
        chosen.append(best)
        # what a reading there, with its own error, would take away from every place and from the doubt
        gain = (h.T @ h[:, best] / n) / (variance[best] + error**2)
        share = together[best] / (variance[best] + error**2)
        # square-root form: scaled so that the variance after the update is the Kalman filter's
        damp = 1 / (1 + np.sqrt(error**2 / (variance[best] + error**2)))
        seen = h[:, best].copy()
        doubt = doubt - damp * share * seen
        h = h - damp * np.outer(seen, gain)
        left.append(float(doubt @ doubt) / start)
    return chosen, left
