"""Hatches by action, as lines on paper: told apart without colour."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from shapely import LineString, MultiLineString, box
from shapely.geometry.base import BaseGeometry

from flatness.survey.readings import Floats

# how each action is hatched: angles [degrees] and distance of the lines [mm]; none level, where it would be a minus
HATCHES = {
    "plane": ((45.0,), 2.2), "fill": ((135.0,), 3.6), "sister": ((15.0,), 2.0), "fur": ((75.0,), 2.0),
    "engineer": ((45.0, 135.0), 2.6),
}  # fmt: skip


def swatch(action: str, wide: float, high: float) -> list[list[float]]:
    """Lines of an action's hatch in a rectangle [mm], for the legend."""
    angles, distance = HATCHES[action]
    area = box(0, 0, wide, high)
    parts = (part for angle in angles for stroke in strokes(area, angle, distance) for part in lines_of(stroke))
    return [[*part.coords[0], *part.coords[-1]] for part in parts]


def strokes(shape: BaseGeometry, angle: float, distance: float) -> Iterator[BaseGeometry]:
    """Parallel lines within a shape; they stand where they would on every sheet of the same phase."""
    if shape.is_empty:
        return
    turn = math.radians(angle)
    direction, normal = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    corners: Floats = np.array(shape.envelope.exterior.coords) if shape.area else np.array(shape.bounds).reshape(2, 2)
    across, along = corners @ normal, corners @ direction
    for k in range(math.ceil(across.min() / distance), math.floor(across.max() / distance) + 1):
        ends = [direction * s + normal * (k * distance) for s in (along.min() - 1, along.max() + 1)]
        yield LineString(ends).intersection(shape)


def lines_of(geometry: BaseGeometry) -> Iterator[LineString]:
    """The lines that a geometry is made of."""
    if isinstance(geometry, LineString):
        if not geometry.is_empty:
            yield geometry
    elif isinstance(geometry, MultiLineString) or hasattr(geometry, "geoms"):
        for part in geometry.geoms:
            yield from lines_of(part)
