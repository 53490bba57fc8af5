"""What is at a place of a surface, and under a straightedge laid by hand, in words."""

from __future__ import annotations

import math

import numpy as np

from flatness.lengths import format_length, settle
from flatness.measures.measured import Place
from flatness.measures.planes import fit_surface_plane
from flatness.show.panels.check_state import CHANCE, GAP, MORE, CheckState
from flatness.show.panels.laid import LaidBar, height_at
from flatness.show.scales import printed_limit
from flatness.show.words import FRACTION, length, percent, place, position
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats

POINT_HERE = "Point at the map to read it there."
OFF = "off what was read"


def told_at(state: CheckState, xy: Place) -> str:
    """Position, height and what the map in view shows at a place [mm], in one line."""
    surface = state.surface
    if surface is None:
        return POINT_HERE
    height = height_at(surface, xy)
    if math.isnan(height):
        return f"{place(xy, state.unit)}: {OFF}"
    parts = [f"{height_words(surface, xy, state.unit)}; height {length(height, state.unit)}"]
    one = state.judged_under(state.bar_length)
    if state.view == GAP:
        gap = at_node(surface, state.gaps().gap, xy)
        parts.append(f"largest gap {length(gap, state.unit, math.inf if state.allowed is None else state.allowed)}")
    elif state.view in (CHANCE, MORE) and one is not None and len(one.used):
        chance = at_node(surface, state.chances(one.limit), xy)
        parts.append(f"chance of being over the limit {percent(chance)}")
    return f"{place(xy, state.unit)}: {'; '.join(parts)}"


def height_words(surface: Surface, xy: Place, unit: str) -> str:
    """How far a place [mm] is proud or shy of the surface's best-fit plane."""
    plane = fit_surface_plane(surface)
    return proud_or_shy(height_at(surface, xy) - float(plane.at(*xy)), unit)


def proud_or_shy(mm: float, unit: str) -> str:
    """A deviation in words.

    >>> proud_or_shy(-3.175, "in"), proud_or_shy(0.1, "in")
    ('1/8" shy', 'in the plane')
    """
    text = format_length(abs(mm), unit, FRACTION)
    return "in the plane" if text in ('0"', "0 mm") else f"{text} {'proud' if mm > 0 else 'shy'}"


def at_node(surface: Surface, values: Floats, xy: Place) -> float:
    """The value [ny, nx] at the lattice node nearest to a place [mm]."""
    i, j = (int(np.clip(round((p - a[0]) / surface.spacing), 0, len(a) - 1)) for p, a in zip(
        xy, (surface.x, surface.y), strict=True
    ))  # fmt: skip
    return float(values[j, i])


def told_bar(bar: LaidBar, allowed: float | None, bar_length: float, unit: str) -> str:
    """A straightedge as it lies: from where to where, its gap, and whether that is allowed.

    Parameters
    ----------
    bar : the straightedge
    allowed : gap allowed under a straightedge of ``bar_length`` [mm], or None
    bar_length : length of the straightedge that was chosen [mm]
    unit : ``in`` or ``mm``
    """
    shown = length(bar.gap, unit, math.inf if allowed is None else allowed)
    lies = "Laid by hand" if bar.by_hand else "Where the gap is largest, resting"
    said = f"{lies} from {place(bar.start, unit)} to {place(bar.end, unit)}: "
    if bar.placement is None:
        return f"{said}no gap between two contact points."
    said += f"gap {shown} at {place(bar.placement.at, unit)}"
    if allowed is None:
        return f"{said}."
    over = settle(bar.gap) > settle(allowed)
    said += f"; as read, {'over' if over else 'within'} the {printed_limit(allowed, unit)} allowed."
    if bar.by_hand and not over and bar.length < bar_length * (1 - 1e-6):
        said += f" This bar is {position(bar.length, unit)} long; one of {position(bar_length, unit)} may show more."
    return said
