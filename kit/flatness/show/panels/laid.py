"""A straightedge laid by hand: from one point of a surface to another."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import settle
from flatness.measures.measured import Place
from flatness.measures.straightedge import Placement, profile_gaps
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats

SHORTEST_MM = 100.0  # a shorter bar is a slip of the hand
FINER = 4  # stations along the bar to a lattice step
NOISE = 1e-9


@dataclass(frozen=True, eq=False)
class LaidBar:
    """A straightedge where a person laid it.

    Attributes
    ----------
    start, end : its two ends (x, y) [mm]
    placement : the largest gap under it and the contacts on either side; None where it touches all along or rides on
        one hump, with no gap between two contacts
    by_hand : whether a person laid it there, or the kit at the worst of all places; then its ends are the contacts
    """

    start: Place
    end: Place
    placement: Placement | None
    by_hand: bool = True

    @property
    def length(self) -> float:
        """Length of the bar [mm]."""
        return math.dist(self.start, self.end)

    @property
    def gap(self) -> float:
        """Largest gap between two contact points [mm]."""
        return 0.0 if self.placement is None else self.placement.gap


def height_at(surface: Surface, xy: Place) -> float:
    """Height [mm] of the surface at one place; NaN off the surface."""
    return float(surface.at(*xy)[0])


def lay_by_hand(surface: Surface, start: Place, end: Place, longest: float) -> LaidBar:
    """Lay a straightedge from ``start`` toward ``end`` [mm], at most ``longest`` [mm] long.

    It rests, not levelled, on the surface between its ends; its gap is the largest of any way that it can rest there.

    Raises
    ------
    ArgumentError : the two ends are all but one point
    MeasureError : the bar would lie over an opening, or past the edge

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> trough = make_surface([[0, -4, 0]] * 3, spacing=500)
    >>> lay_by_hand(trough, (0, 500), (1000, 500), 3048).gap
    4.0
    """
    far = math.dist(start, end)
    if not far >= SHORTEST_MM:
        raise ArgumentError(
            "the two ends of the straightedge are too close together", value=f"{far:.0f} mm apart",
            expected=f"at least {SHORTEST_MM:.0f} mm", remedy="click two points farther apart, or drag from one end",
        )  # fmt: skip
    length = min(far, longest)
    ux, uy = (end[0] - start[0]) / far, (end[1] - start[1]) / far
    count = max(2, math.ceil(FINER * length / surface.spacing - 1e-6))
    s = np.linspace(0.0, length, count + 1)
    heights = surface.at(start[0] + ux * s, start[1] + uy * s)
    if np.isnan(heights).any():
        raise MeasureError(
            "the straightedge would lie over an opening, or past the edge of what was read",
            expected="readings under the whole of it", remedy="lay it beside the opening, or make it shorter",
        )  # fmt: skip
    stop = (start[0] + ux * length, start[1] + uy * length)
    gaps = profile_gaps(heights, length / count, length * (1 + NOISE))
    k = int(np.argmax(gaps))
    if settle(float(gaps[k])) <= 0:
        return LaidBar(start, stop, None)
    ends = _contacts(heights, gaps, k)
    places = [(start[0] + ux * float(s[i]), start[1] + uy * float(s[i])) for i in (k, *ends)]
    heading = math.degrees(math.atan2(uy, ux)) % 180.0
    return LaidBar(start, stop, Placement(float(gaps[k]), places[0], (places[1], places[2]), heading))


def _contacts(heights: Floats, gaps: Floats, k: int) -> tuple[int, int]:
    """The stations on either side on which the bar rests: the nearest that it touches."""
    touch = np.flatnonzero(gaps <= NOISE * max(1.0, float(np.ptp(heights))))
    return int(touch[touch < k].max()), int(touch[touch > k].min())
