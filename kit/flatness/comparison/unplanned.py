"""Where the surface changed though nothing was planned there."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from flatness.survey.readings import Floats

Bools = NDArray[np.bool_]
PLANNED_MM = 0.05  # less than this is no change that anybody plans


def areas_outside(rest: Floats, detection: Floats, planned: Floats, parts: Bools) -> Iterator[Floats]:
    """Connected areas [ny, nx] of change, 1 inside and 0 outside, that lie outside all that was planned.

    Parameters
    ----------
    rest : [ny, nx] mm, the change less the plan as the stations would show it, which blurs over the edge of a patch
    detection : [ny, nx] mm, limit of detection
    planned : [ny, nx] mm, the plan's change; NaN beyond the plan's own lattice, where nothing was planned
    parts : [ny, nx] nodes in a patch of the plan
    """
    asked = parts | (np.abs(np.nan_to_num(planned)) > PLANNED_MM)
    size = np.abs(np.nan_to_num(rest))
    beyond = size > np.nan_to_num(detection, nan=np.inf)
    found: list[Floats] = []
    for way in (rest < 0, rest > 0):
        names, count = ndimage.label(beyond & way, structure=np.ones((3, 3)))
        for area in (names == name for name in range(1, count + 1)):
            # what a patch has too much or too little of spills over its edge, and is greatest within it
            if not asked.flat[int(np.where(area, size, -1.0).argmax())]:
                found.append((area & ~asked).astype(np.float64))
    yield from sorted(found, key=lambda area: -float(area.sum()))
