"""The surface cut along a straightedge, as the bar sees it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flatness.measures.measured import Place
from flatness.measures.straightedge import Placement, profile_through
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats


@dataclass(frozen=True, eq=False)
class Cut:
    """The surface along a straightedge.

    Attributes
    ----------
    distance : [n] from the left contact [mm], rising
    height : [n] from the underside of the bar [mm]
    span : from contact to contact [mm]
    at : distance of the largest gap [mm]
    bar : where the bar begins and ends [mm]
    rise : how much the right contact stands above the left one in place [mm]
    """

    distance: Floats
    height: Floats
    span: float
    at: float
    bar: tuple[float, float]
    rise: float


def ends_of(placement: Placement) -> tuple[Place, Place]:
    """The contacts A and B [mm], left and right on the profile."""
    turn = math.radians(placement.heading)
    first, last = sorted(placement.contacts, key=lambda xy: xy[0] * math.cos(turn) + xy[1] * math.sin(turn))
    return first, last


def cut_along(surface: Surface, placement: Placement, length: float) -> Cut:
    """The surface under a bar of this length [mm], and a little beyond it."""
    turn = math.radians(placement.heading)
    near, far = sorted(
        (x - placement.at[0]) * math.cos(turn) + (y - placement.at[1]) * math.sin(turn) for x, y in placement.contacts
    )
    span = far - near
    beyond = (length - span) / 2 + 0.1 * length
    reach = max(-near, far) + beyond + 2 * surface.spacing
    distance, height = profile_through(surface, placement.at, placement.heading, reach)
    ends = np.interp([near, far], distance, height)
    inside = (distance >= near - beyond - surface.spacing) & (distance <= far + beyond + surface.spacing)
    s = distance[inside] - near
    from_bar = height[inside] - (ends[0] + (ends[1] - ends[0]) * s / span)
    return Cut(s, from_bar, span, -near, _bar_ends(span, length, s), float(ends[1] - ends[0]))


def _bar_ends(span: float, length: float, s: Floats) -> tuple[float, float]:
    """Centred over the contacts, and moved off a wall where it would run into one."""
    start = (span - length) / 2
    start = max(start, float(s[0])) if start + length <= s[-1] else min(start, float(s[-1]) - length)
    start = min(0.0, max(start, span - length))
    return start, start + length
