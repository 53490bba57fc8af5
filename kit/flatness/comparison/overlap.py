"""The lattice over what two surveys of one surface have in common."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flatness.errors import ArgumentError, MeasureError
from flatness.surface.lattice import heights_at, lattice_axes
from flatness.survey.readings import Floats, Survey

MOST_NODES = 12_000  # the weight of every reading at every node is kept
Bools = NDArray[np.bool_]


def common_lattice(before: Survey, after: Survey, spacing: float) -> tuple[Floats, Floats, Bools]:
    """x [nx], y [ny] mm and [ny, nx] True where both surveys have a surface; MeasureError where nowhere."""
    if not (np.isfinite(spacing) and spacing > 0):
        raise ArgumentError("lattice spacing out of range", value=str(spacing), expected="millimetres above zero")
    axes = []
    for column in (0, 1):
        reach = [(survey.stations()[column].min(), survey.stations()[column].max()) for survey in (before, after)]
        low, high = max(r[0] for r in reach), min(r[1] for r in reach)
        if high - low < spacing:
            raise _apart()
        axes.append(lattice_axes(np.array([low, high]), spacing))
    x, y = axes
    if len(x) * len(y) > MOST_NODES:
        raise ArgumentError(
            "the lattice is too fine for this surface", value=f"{len(x)} x {len(y)} nodes",
            expected=f"at most {MOST_NODES} nodes", remedy="choose a wider spacing",
        )  # fmt: skip
    inside = reached(before, x, y) & reached(after, x, y)
    if not inside.any():
        raise _apart()
    return x, y, inside


def _apart() -> MeasureError:
    return MeasureError(
        "the two surveys have no area in common", expected="readings of one surface, from one corner",
        remedy="check that x and y are measured from the same corner in both",
    )  # fmt: skip


def reached(survey: Survey, x: Floats, y: Floats) -> Bools:
    """[ny, nx] True where a survey has a surface and its readings reach."""
    return np.isfinite(heights_at(survey, x, y))
