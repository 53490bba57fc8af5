"""How much brighter or darker than a flat surface each place is, in a light.

A matt surface's luminance goes with the cosine of the light's angle to its normal (Lambert): of a slope s toward a
light at the angle a above the surface it changes by about s / tan a. What lies in the shadow of a higher place, or is
steeper than the light, gets none.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from flatness.arrays import Floats
from flatness.light.lamps import Daylight, Light, LightField
from flatness.surface.lattice import Surface

MOST_STEPS = 400  # of a ray toward the light


def slopes(height: Floats, spacing: float) -> tuple[Floats, Floats]:
    """Rise along x and along y [-] of heights [..., ny, nx] mm at their nodes: of cubic splines along each line.

    Lines end at blank nodes; a height with no neighbor on its line has no slope there.
    """
    along_y = _along(np.moveaxis(height, -2, -1), spacing)
    return _along(height, spacing), np.moveaxis(along_y, -1, -2)


def _along(height: Floats, spacing: float) -> Floats:
    """Slopes [..., lines, n] along the last axis."""
    out = np.full_like(height, np.nan)
    for lines, first, end in _runs(np.asarray(np.isfinite(height.reshape(-1, *height.shape[-2:])).all(axis=0))):
        at = spacing * np.arange(end - first)
        out[..., lines, first:end] = CubicSpline(at, height[..., lines, first:end], axis=-1)(at, 1)
    return out


def _runs(known: NDArray[np.bool_]) -> Iterator[tuple[NDArray[np.intp], int, int]]:
    """Lines [lines] of a mask [lines, n] that are known alike from one place to before another, two places or more."""
    patterns, which = np.unique(known, axis=0, return_inverse=True)
    for i, pattern in enumerate(patterns):
        lines = np.flatnonzero(which.reshape(-1) == i)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], pattern.astype(np.int8), [0]])))
        for first, end in zip(edges[::2], edges[1::2], strict=True):
            if end - first > 1:
                yield lines, int(first), int(end)


def slope_weights(along_x: Floats, along_y: Floats, inside: NDArray[np.bool_], spacing: float) -> Floats:
    """Weights [..., ny, nx] on the heights, of sums with these weights [..., ny, nx] on the slopes along x and y.

    The same sums as :func:`slopes` of heights that are known ``inside`` gives; no slope that is missing has a weight.
    """
    turned = _weights_along(np.moveaxis(along_y, -1, -2), inside.T, spacing)
    return np.asarray(_weights_along(along_x, inside, spacing) + np.moveaxis(turned, -1, -2))


def _weights_along(weights: Floats, inside: NDArray[np.bool_], spacing: float) -> Floats:
    out = np.zeros_like(weights)
    for lines, first, end in _runs(inside):
        at = spacing * np.arange(end - first)
        out[..., lines, first:end] = weights[..., lines, first:end] @ CubicSpline(at, np.eye(end - first))(at, 1)
    return out


def raking_contrast(surface: Surface, angle: float, heading: float) -> Floats:
    """Luminance of each place over that of the flat surface, less 1, in light from far away.

    Parameters
    ----------
    surface : matt, of one color
    angle : of the light above the surface [degrees], up to 90
    heading : from x toward y, the way the light travels [degrees]

    Returns
    -------
    [ny, nx] : 0.1 is a tenth brighter, -1 is in shadow; NaN where there is no surface. Slopes are those of cubic
        splines along the lattice's lines; texture, gloss, color and light from other surfaces are left out

    Raises
    ------
    ArgumentError : an angle that is not from 0.05 to 90

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> rising = make_surface([[0, 1, 2], [0, 1, 2], [0, 1, 2]], spacing=100)
    >>> round(float(raking_contrast(rising, 5, 0)[1, 1]), 3)  # 0.01 / tan 5 degrees
    0.114
    """
    return contrast_in(surface, Daylight(angle=angle, heading=heading))


def contrast_in(surface: Surface, light: Light) -> Floats:
    """As :func:`raking_contrast`, in any light: over what the same light gives a flat surface at that place."""
    field = light.field(surface)
    along_x, along_y = slopes(surface.height, surface.spacing)
    x, y, out = field.toward
    facing = (out - along_x * x - along_y * y) / np.sqrt(1 + along_x**2 + along_y**2)
    contrast: Floats = np.maximum(facing / out, 0.0) - 1
    contrast[in_shadow(surface, field)] = -1.0
    contrast[~np.isfinite(surface.height)] = np.nan
    return contrast


def in_shadow(surface: Surface, field: LightField) -> NDArray[np.bool_]:
    """[ny, nx] whether a higher place stands between a node and the light.

    Along straight lines toward it, each of the field's angle and heading at its node: exact of one lamp and of light
    from far away, of several lamps the shadow that their sum would throw.
    """
    z, step = surface.height, surface.spacing
    x, y, out = field.toward
    low = np.hypot(x, y)
    rise = np.divide(out, low, out=np.full(z.shape, math.inf), where=low > 1e-12)
    shaded = np.zeros(z.shape, dtype=bool)
    if not np.isfinite(z).any():
        return shaded
    steepest = math.hypot(*(float(np.nanmax(np.abs(np.diff(z, axis=axis)), initial=0.0)) / step for axis in (0, 1)))
    if steepest < np.min(rise):  # a line toward the light that meets the surface meets it where it is steeper
        return shaded
    top = float(np.nanmax(z))
    gx, gy = np.meshgrid(surface.x, surface.y)
    going = np.isfinite(z) & np.isfinite(rise)
    for k in range(1, MOST_STEPS):
        going &= ~shaded
        going &= z + k * step * rise < top
        at = np.nonzero(going)
        if not len(at[0]):
            break
        px, py = (g[at] + k * step * v[at] / low[at] for g, v in ((gx, x), (gy, y)))
        inside = (px >= surface.x[0]) & (px <= surface.x[-1]) & (py >= surface.y[0]) & (py <= surface.y[-1])
        going[at] = inside
        over = surface.at(px, py) > z[at] + k * step * rise[at] + 1e-9
        shaded[at] |= over & inside
    return shaded
