"""How much of a stated outline the readings cover: what nobody read can be neither within a limit nor beyond it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from flatness.surface.grids import grid_axes
from flatness.surface.lattice import heights_at, surface_mask, widest_step
from flatness.survey.readings import Floats, Survey

SMALL_PART = 0.05  # of an outline may be without readings; common practice, no source
EDGE_STEPS = 1.05  # steps between stations that a strip along an edge, beyond the last of them, may be wide
HOLE_STEPS = 2.05  # steps from the nearest station, within the readings' reach
CELLS = 120  # along the longer side of the outline


@dataclass(frozen=True)
class Unread:
    """The part of an outline on which no reading stands.

    Attributes
    ----------
    share : of the outline less its openings [-]
    area : [mm2]
    reached : least x, greatest x, least y, greatest y [mm] of the stations
    farthest : x, y [mm] of the place in it that is farthest from any station
    """

    share: float
    area: float
    reached: tuple[float, float, float, float]
    farthest: tuple[float, float]

    @property
    def is_small(self) -> bool:
        """Whether so little is left out that the readings stand for the whole."""
        return self.share <= SMALL_PART

    @property
    def note(self) -> str:
        """What was not read, and where, in words."""
        x0, x1, y0, y1 = self.reached
        x, y = self.farthest
        return (
            f"no reading stands on {100 * self.share:.0f} % of the stated outline: the readings lie within x {x0:.0f} "
            f"mm to {x1:.0f} mm and y {y0:.0f} mm to {y1:.0f} mm, and farthest from any is x {x:.0f} mm, y {y:.0f} mm"
        )


def unread(survey: Survey) -> Unread | None:
    """The part of a survey's outline, less openings, that its readings do not cover; None where none is stated.

    A strip one step between stations wide along an edge is covered; so is what lies between stations, unless it is
    more than two steps from the nearest.
    """
    if survey.outline is None:
        return None
    low_x, low_y, high_x, high_y = survey.outline.bounds
    cell = max(high_x - low_x, high_y - low_y) / CELLS
    x, y = (np.arange(low + cell / 2, high, cell) for low, high in ((low_x, high_x), (low_y, high_y)))
    wanted = surface_mask(survey, x, y)
    gx, gy = np.meshgrid(x, y)
    sx, sy, _, _ = survey.stations()
    away = steps_away(survey, gx, gy)
    reached = np.isfinite(heights_at(survey, x, y))
    bare = wanted & (away > np.where(reached, HOLE_STEPS, EDGE_STEPS))
    i = int(np.where(bare, away, -1.0).argmax())
    return Unread(
        float(bare.sum() / max(wanted.sum(), 1)), float(bare.sum()) * cell**2,
        (float(sx.min()), float(sx.max()), float(sy.min()), float(sy.max())),
        (float(gx.flat[i]), float(gy.flat[i])),
    )  # fmt: skip


def steps_away(survey: Survey, x: Floats, y: Floats) -> Floats:
    """How far places x, y [mm] of one shape are from the nearest station, in steps between stations along each axis."""
    sx, sy, _, _ = survey.stations()
    axes = grid_axes(sx, sy)
    if axes is None:
        steps = np.full(2, widest_step(survey))
    else:
        steps = np.array([float(np.median(np.diff(axis))) for axis in axes])
    tree = cKDTree(np.column_stack([sx, sy]) / steps)
    # the greater of both ways, so that the corner of a strip one step wide is one step away
    away, _ = tree.query(np.column_stack([x.ravel(), y.ravel()]) / steps, p=np.inf)
    return np.asarray(away, dtype=np.float64).reshape(x.shape)
