"""The plane off which the days of one surface are drawn: one level plane, else each its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from flatness.comparison.comparing import Comparison
from flatness.measures.planes import fit_surface_plane
from flatness.surface.lattice import Surface, bilinear
from flatness.survey.readings import Floats, Survey

SAMPLES = 201  # along each side
LEAST_BLANK, LEAST_STRIP = 0.002, 0.005  # of the area, of the longer side: less is not seen


def one_datum(survey: Survey, comparison: Comparison | None) -> bool:
    """Whether the days of a survey stand on one datum whose level, or plumb, is known."""
    if comparison is None:
        return survey.is_level
    return comparison.alignment.is_level_known and all(one.is_level for one in comparison.surveys)


def drawn_off(surfaces: Sequence[Surface], kind: str, is_true: bool) -> list[Surface]:
    """The surfaces as heights [mm] off the plane that they are drawn off.

    Parameters
    ----------
    surfaces : the days of one surface in the order of time, on one lattice; the last is the finished one
    kind : floor, ceiling or wall
    is_true : whether they stand on one datum that is level or plumb: then all are drawn off one such plane, at the
        mean height of the finished one, for a wall the upright plane that lies nearest to it; otherwise, and where
        there is one day alone, each is drawn off the plane that lies nearest to itself
    """
    if not is_true or len(surfaces) == 1:
        return [replace(one, height=one.height - _nearest(one)) for one in surfaces]
    last = surfaces[-1]
    base = _upright(last) if kind == "wall" else np.full(last.height.shape, float(np.nanmean(last.height)))
    return [replace(one, height=one.height - base) for one in surfaces]


def _nearest(surface: Surface) -> Floats:
    gx, gy = np.meshgrid(surface.x, surface.y)
    return np.asarray(fit_surface_plane(surface).at(gx, gy))


def _upright(surface: Surface) -> Floats:
    """The upright plane that lies nearest to a wall: it may turn along x, and not lean along y."""
    gx = np.broadcast_to(surface.x, surface.height.shape)
    inside = np.isfinite(surface.height)
    middle = gx[inside].mean()
    off = gx[inside] - middle
    turn = float(off @ surface.height[inside] / max(off @ off, 1e-9))
    return np.asarray(float(surface.height[inside].mean()) + turn * (gx - middle))


def plane_says(kind: str, is_true: bool, last: str) -> str:
    """What the maps of two days are drawn off; ``last`` is the finished day, such as ``after the work``."""
    if not is_true:
        return (
            "Each map shows heights off a plane of its own, the one that lies nearest to its surface: how the two lie "
            "against one another is not shown."
        )
    if kind == "wall":
        return f"Both maps show how far the wall stands off one upright plane, the one nearest to the wall {last}: "\
               "a flat wall that leans shows as even bands."  # fmt: skip
    return f"Both maps show heights off one level plane, at the mean height of the {kind} {last}: "\
           f"a flat {kind} that slopes shows as even bands."  # fmt: skip


def is_blank(surface: Surface, survey: Survey) -> bool:
    """Whether part of what the outline and the stations span has no height, so that its map stays white there."""
    sx, sy, _, _ = survey.stations()
    area = survey.outline if survey.outline is not None else shapely.box(sx.min(), sy.min(), sx.max(), sy.max())
    for opening in survey.openings:
        area = area.difference(opening)
    x0, y0, x1, y1 = area.bounds
    x, y = np.linspace(x0, x1, SAMPLES), np.linspace(y0, y1, SAMPLES)
    gx, gy = np.meshgrid(x, y)
    # a strip along the edge that is too narrow to be seen is none
    within = shapely.contains_xy(area.buffer(-LEAST_STRIP * max(x1 - x0, y1 - y0)), gx, gy)
    height = bilinear(surface.x, surface.y, surface.height, x, y)
    return bool(within.any() and np.isnan(height[within]).mean() > LEAST_BLANK)
