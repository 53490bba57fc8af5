"""Work sets heights: places are brought to a height, each good to a setting error, and what is left stays as found."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats

# both common practice, no source
SETTING_ERROR_MM = 25.4 / 32  # one standard deviation of a height that is set by laser, string or bar
MARK_STEP_MM = 609.6  # about 2 ft: how far apart heights are set, with a bar from one to the next
CHANGED_MM = 1e-6  # changes below this are none


@dataclass(frozen=True, eq=False)
class Work:
    """Heights that places are brought to.

    Attributes
    ----------
    height : [ny, nx] mm, NaN where the surface is left as found
    way : [ny, nx], 1 where something is only added, so that what stands higher stays, -1 where it is only taken off, 0
        where both; None: 0
    error : of setting a height, one standard deviation [mm]
    across, along : knots [mm] along x and along y at which heights are set, each with its own error; straight between
        them. None: about 2 ft apart
    """

    height: Floats
    way: NDArray[np.int8] | None = None
    error: float = SETTING_ERROR_MM
    across: Floats | None = None
    along: Floats | None = None

    @property
    def worked(self) -> NDArray[np.bool_]:
        """[ny, nx] whether a place is set."""
        return np.isfinite(self.height)

    def change(self, surface: Surface) -> Floats:
        """[ny, nx] mm, adding positive: 0 where it is left, NaN where there is no surface."""
        moved = self.on(surface).height - surface.height
        moved[np.abs(moved) < CHANGED_MM] = 0.0
        return moved

    def on(self, surface: Surface) -> Surface:
        """The surface once the work is done without error."""
        return replace(surface, height=np.where(surface.inside, self.brought(surface.height, self.height), np.nan))

    def brought(self, found: Floats, height: Floats) -> Floats:
        """What stands [..., ny, nx] mm where places as found are brought to heights [..., ny, nx] mm."""
        done = np.where(np.isfinite(height), height, found)
        if self.way is None:
            return np.asarray(done)
        done = np.where(self.way > 0, np.maximum(done, found), done)
        return np.asarray(np.where(self.way < 0, np.minimum(done, found), done))

    def errors(self, surface: Surface, n: int, rng: np.random.Generator) -> Floats:
        """[n, ny, nx] mm: ``n`` times the errors with which the heights are set."""
        weights = [
            _hats(axis, _marks(axis) if knots is None else knots)
            for axis, knots in ((surface.y, self.along), (surface.x, self.across))
        ]
        drawn = rng.normal(0.0, self.error, (n, weights[0].shape[1], weights[1].shape[1]))
        return np.asarray(weights[0] @ drawn @ weights[1].T)

    def after(self, surfaces: Floats, surface: Surface, rng: np.random.Generator) -> Floats:
        """What stands on each of the surfaces [n, ny, nx] mm once the work is done on it, with errors of setting."""
        if not self.worked.any():
            return surfaces
        heights: Floats = self.height + self.errors(surface, len(surfaces), rng)
        return self.brought(surfaces, heights)


def _marks(axis: Floats) -> Floats:
    count = max(2, int(np.ceil((axis[-1] - axis[0]) / MARK_STEP_MM - 1e-9)) + 1)
    return np.asarray(axis[0] + MARK_STEP_MM * np.arange(count))


def _hats(axis: Floats, knots: Floats) -> Floats:
    """[places, knots] weights that are linear between knots, and those of the nearest knot beyond the last."""
    if len(knots) == 1:
        return np.ones((len(axis), 1))
    at = np.clip(axis, knots[0], knots[-1])
    left = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, len(knots) - 2)
    share = (at - knots[left]) / (knots[left + 1] - knots[left])
    weights = np.zeros((len(axis), len(knots)))
    rows = np.arange(len(axis))
    weights[rows, left] = 1 - share
    weights[rows, left + 1] += share
    return weights
