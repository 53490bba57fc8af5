"""Level, plumb and slope: differences in height over a distance.

All refuse heights that are off a string. Pairs of points lie along the headings and the surface is unbroken
between them; one is a node, the other is where the distance ends, bilinear between nodes.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from flatness.errors import ArgumentError
from flatness.measures.lines import Heading, all_headings
from flatness.measures.measured import Measured
from flatness.measures.pairs import (
    Pair,
    largest_difference,
    largest_pair,
    node,
    reaching,
    require_distance,
    require_level,
    rise_within,
    signs_of,
    too_short,
)
from flatness.surface.lattice import Surface

SHORTEST_MM = 1000.0  # a rule of so much a metre is held from a metre up; common practice, no source
Rule = Callable[[float], float] | tuple[float, float]


def level_over(
    surface: Surface, distance: float | None = None, headings: int = 12, *, within: bool = False
) -> Measured:
    """Out of level: the largest difference in height over a distance.

    Parameters
    ----------
    surface : off a level reference
    distance : between the two points [mm], exactly; None takes the highest and the lowest point anywhere
    headings : directions, equally spaced over half a turn
    within : any two nodes at most ``distance`` apart instead, in any direction; what lies between is not looked at

    Returns
    -------
    Measured : the difference [mm], at the higher of the two points

    Raises
    ------
    MeasureError : heights off a string, or no two points that far apart

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> ramp = make_surface([[0, 1, 2, 3]] * 2, spacing=500)
    >>> level_over(ramp, 1000).value, level_over(ramp).value
    (2.0, 3.0)
    """
    require_level(surface.is_level, "levelness")
    if distance is None:
        return _highest_to_lowest(surface)
    if within:
        return rise_within(surface, surface.height, distance, f"any two points up to {distance:.0f} mm apart")
    pair = largest_difference(surface, distance, all_headings(headings))
    if pair is None:
        raise too_short("this measure of level", distance)
    return pair.measured(abs(pair.difference))


def level_within(surface: Surface, rule: Rule, headings: int = 12, shortest: float = SHORTEST_MM) -> Measured:
    """Out of level against a limit that grows with the distance: the worst ratio of difference to allowed.

    Parameters
    ----------
    surface : off a level reference
    rule : allowed difference [mm] for a distance [mm]; or (mm per m, most mm): so much a metre, capped
    headings : directions, equally spaced over half a turn
    shortest : distances under this [mm] are left out; 1 m is common practice, no source

    Returns
    -------
    Measured : difference / allowed [-], 1 or less where all is within; the note tells the difference

    Raises
    ------
    MeasureError : heights off a string, or no two points ``shortest`` apart

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> ramp = make_surface([[0, 2, 4, 6]] * 2, spacing=500)
    >>> round(level_within(ramp, (3, 20)).value, 9)  # 4 mm in 1 m where 3 mm is allowed
    1.333333333
    """
    require_level(surface.is_level, "levelness")
    require_distance(shortest)
    allowed_over = _rule(rule)
    best: tuple[float, Pair, float, float] | None = None
    for heading in all_headings(headings):
        step = surface.spacing * heading.step
        for sign in signs_of(heading, 1.0):
            for k, ahead in reaching(surface.height, heading, sum(surface.height.shape), sign):
                if k * step < shortest * (1 - 1e-9):
                    continue
                pair = largest_pair(surface, ahead - surface.height, heading, sign * k)
                allowed = allowed_over(k * step)
                if not allowed > 0:
                    raise ArgumentError(
                        "the rule allows nothing", value=f"{allowed} mm over {k * step:.0f} mm",
                        expected="an allowed difference above zero",
                    )  # fmt: skip
                if pair is not None and (best is None or abs(pair.difference) / allowed > best[0]):
                    best = (abs(pair.difference) / allowed, pair, k * step, allowed)
    if best is None:
        raise too_short("this measure of level", shortest)
    ratio, pair, distance, allowed = best
    return pair.measured(
        ratio, f"{abs(pair.difference):.2f} mm over {distance:.0f} mm, where {allowed:.2f} mm is allowed"
    )


def level_across(surface: Surface, rule: Rule, shortest: float = SHORTEST_MM) -> Measured:
    """As :func:`level_within`, between the two ends of each row and of each column alone: the full width.

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> dip = make_surface([[0, -9, -9, 3]] * 2, spacing=1000)
    >>> round(level_across(dip, (3, 20)).value, 9)  # 3 mm over 3 m where 9 mm is allowed
    0.333333333
    """
    require_level(surface.is_level, "levelness")
    allowed_over = _rule(rule)
    best: tuple[float, Pair, float, float] | None = None
    for down, z in enumerate((surface.height, surface.height.T)):
        for i, line in enumerate(z):
            inside = np.flatnonzero(np.isfinite(line))
            if not len(inside) or (inside[-1] - inside[0]) * surface.spacing < shortest * (1 - 1e-9):
                continue
            ends = [int(inside[0]), int(inside[-1])]
            start, end = (node(surface, k, i) if down else node(surface, i, k) for k in ends)
            pair = Pair(float(line[ends[1]] - line[ends[0]]), start, end)
            distance = math.dist(start, end)
            allowed = allowed_over(distance)
            if best is None or abs(pair.difference) / allowed > best[0]:
                best = (abs(pair.difference) / allowed, pair, distance, allowed)
    if best is None:
        raise too_short("this measure of level", shortest)
    ratio, pair, distance, allowed = best
    return pair.measured(
        ratio,
        f"{abs(pair.difference):.2f} mm over the full width of {distance:.0f} mm, where {allowed:.2f} mm is allowed",
    )


def plumb_over(surface: Surface, distance: float | None = None) -> Measured:
    """Out of plumb: the largest difference in height (toward the room) over a distance up a wall.

    As :func:`level_over`, along y only; ``distance`` None takes the largest difference within any one
    upright line that is unbroken.
    """
    require_level(surface.is_level, "plumb")
    upright = Heading.at(90)
    if distance is not None:
        best = largest_difference(surface, distance, [upright])
    else:
        best = None
        for k, ahead in reaching(surface.height, upright, surface.height.shape[0]):
            pair = largest_pair(surface, ahead - surface.height, upright, k)
            if pair is not None and (best is None or abs(pair.difference) > abs(best.difference)):
                best = pair
    if best is None:
        raise too_short("this measure of plumb", surface.spacing if distance is None else distance)
    return best.measured(abs(best.difference))


def steepest_slope(surface: Surface, base: float, headings: int = 12) -> Measured:
    """The steepest slope [-]: the largest difference in height over exactly ``base`` [mm], divided by it.

    >>> from flatness.surface.lattice import make_surface
    >>> round(1 / steepest_slope(make_surface([[0, 10, 20]] * 2, spacing=480), 480).value, 9)  # 1 in 48
    48.0
    """
    require_level(surface.is_level, "slope")
    pair = largest_difference(surface, base, all_headings(headings))
    if pair is None:
        raise too_short("this slope", base)
    return pair.measured(abs(pair.difference) / base)


def _highest_to_lowest(surface: Surface) -> Measured:
    z = surface.height
    if np.isnan(z).all():
        raise too_short("this measure of level", 0)
    high, low = (np.unravel_index(int(pick(z)), z.shape) for pick in (np.nanargmax, np.nanargmin))
    places = tuple(node(surface, int(iy), int(ix)) for iy, ix in (low, high))
    return Measured(float(z[high] - z[low]), places[1], places, "the highest point less the lowest, anywhere")


def _rule(rule: Rule) -> Callable[[float], float]:
    if callable(rule):
        return rule
    per_m, most = rule
    if not (math.isfinite(per_m) and per_m > 0 and most > 0):
        raise ArgumentError("a rule out of range", value=str(rule), expected="(mm per m, most mm)")
    return lambda distance: min(per_m * distance / 1000, most)
