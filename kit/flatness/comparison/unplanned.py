"""Where the surface changed though nothing was planned there."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from flatness.survey.readings import Floats

Bools = NDArray[np.bool_]
PLANNED_MM = 0.05  # less than this is no change that anybody plans


def areas_outside(
    difference: Floats, changed: Bools, planned: Floats, parts: Bools, spacing: float, step: float
) -> Iterator[Floats]:
    """Connected areas [ny, nx] of change, 1 inside and 0 outside, that lie outside all that was planned.

    Parameters
    ----------
    difference : [ny, nx] mm, after minus before
    changed : [ny, nx] where change is shown
    planned : [ny, nx] mm, the plan's change; NaN beyond the plan's own lattice, where nothing was planned
    parts : [ny, nx] nodes in a patch of the plan
    spacing : lattice step [mm]
    step : between stations [mm]: so far a change planned may blur over its edge
    """
    asked = parts | (np.abs(np.nan_to_num(planned)) > PLANNED_MM)
    outside = changed & (ndimage.distance_transform_edt(~asked) * spacing > step if asked.any() else True)
    found: list[Floats] = []
    for way in (difference < 0, difference > 0):
        names, count = ndimage.label(outside & way, structure=np.ones((3, 3)))
        found += [(names == name).astype(np.float64) for name in range(1, count + 1)]
    yield from sorted(found, key=lambda area: -float(area.sum()))
