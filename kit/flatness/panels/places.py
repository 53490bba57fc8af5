"""Where a place is as a tape is pulled, and what is there: at a station, in a map, under a bar; in words."""

from __future__ import annotations

import math

import numpy as np

from flatness.arrays import Floats
from flatness.lengths import format_length, settle
from flatness.measures.bars import Place
from flatness.measures.planes import fit_surface_plane
from flatness.measures.straightedge import LaidBar
from flatness.panels.check_state import CHANCE, GAP, MORE, CheckState
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey
from flatness.words.printed import FRACTION, length, percent, place, position, spelled

POINT_HERE = "Point at the map to read it there."
OFF = "off what was read"
REACH_MM = 100.0  # about a station, within which it is pointed at


def far(mm: float, unit: str) -> str:
    """A distance along the surface in a sentence: ``12 ft 6 in``, or metres."""
    return spelled(position(mm, unit))


def at_place(xy: Place, unit: str, survey: Survey | None = None, *, brief: bool = False) -> str:
    """A place [mm] as a tape finds it, as papers say it: from the walls that the survey knows, else along its sides.

    >>> at_place((1828.8, 2743.2), "in")
    '6 ft along x, 9 ft along y'
    """
    text = spelled(place(xy, unit, survey))
    return text.replace("the left wall", "left").replace(" the ", " ") if brief else text


def height_at(surface: Surface, xy: Place) -> float:
    """Height [mm] of the surface at one place; NaN off the surface."""
    return float(surface.at(*xy)[0])


def told_at(state: CheckState, xy: Place) -> str:
    """Place, reading, height and what the map in view shows at a place [mm], in one line."""
    surface, unit = state.surface, state.unit
    if surface is None or state.survey is None:
        return POINT_HERE
    station = station_at(state.survey, xy, unit)
    height, here = height_at(surface, xy), at_place(xy, unit, state.survey)
    if math.isnan(height):
        return f"{here}: {OFF}."
    parts = [station] if station else []
    parts += [height_words(surface, xy, unit), f"height {length(height, unit)}"]
    one = state.judged_under(state.bar_length)
    if state.view == GAP:
        gap = at_node(surface, state.gaps().gap, xy)
        parts.append(f"largest gap {length(gap, unit, math.inf if state.allowed is None else state.allowed)}")
    elif state.view in (CHANCE, MORE) and one is not None and len(one.used):
        chance = at_node(surface, state.chances(one.limit), xy)
        parts.append(f"chance of being over the limit {percent(chance)}")
    return spelled(f"{here}: {'; '.join(parts)}.")


def station_at(survey: Survey, xy: Place, unit: str) -> str:
    """The reading of the station at a place [mm], in words; empty where none is."""
    x, y, _, _ = survey.stations()
    off = np.hypot(x - xy[0], y - xy[1])
    k = int(off.argmin())
    if off[k] > REACH_MM:
        return ""
    return f"station here, {survey.quantity} {length(float(survey.station_means('reading')[k]), unit)} read"


def height_words(surface: Surface, xy: Place, unit: str) -> str:
    """How far a place [mm] is proud of the surface's best-fit plane, or low of it."""
    plane = fit_surface_plane(surface)
    return proud_or_low(height_at(surface, xy) - float(plane.at(*xy)), unit)


def proud_or_low(mm: float, unit: str) -> str:
    """A deviation in words.

    >>> proud_or_low(-3.175, "in"), proud_or_low(0.1, "in")
    ('1/8" low', 'in the plane')
    """
    text = format_length(abs(mm), unit, FRACTION)
    return "in the plane" if text in ('0"', "0 mm") else f"{text} {'proud' if mm > 0 else 'low'}"


def at_node(surface: Surface, values: Floats, xy: Place) -> float:
    """The value [ny, nx] at the lattice node nearest to a place [mm]."""
    i, j = (
        int(np.clip(round((p - a[0]) / surface.spacing), 0, len(a) - 1))
        for p, a in zip(xy, (surface.x, surface.y), strict=True)
    )
    return float(values[j, i])


def told_bar(bar: LaidBar, allowed: float | None, bar_length: float, unit: str, survey: Survey | None) -> str:
    """A straightedge as it lies: its gap, whether that is allowed, and from where to where it lies.

    Parameters
    ----------
    bar : the straightedge
    allowed : gap allowed under a straightedge of ``bar_length`` [mm], or None
    bar_length : length of the straightedge that was chosen [mm]
    unit : ``in`` or ``mm``
    survey : of the surface, for the walls from which places are measured
    """
    said = "Laid by hand: " if bar.by_hand else "Where the gap is largest: "
    if bar.placement is None:
        said += "no gap between two contact points"
    else:
        said += f"gap {length(bar.gap, unit, math.inf if allowed is None else allowed)}"
        if allowed is not None:
            over = settle(bar.gap) > settle(allowed)
            said += f", {'over' if over else 'within'} the {length(allowed, unit)} allowed"
            if bar.by_hand and not over and bar.length < bar_length * (1 - 1e-6):
                said += (
                    f"; the bar is {position(bar.length, unit)} long, one of {position(bar_length, unit)} may show more"
                )
    a, b = (at_place(xy, unit, survey, brief=True) for xy in (bar.start, bar.end))
    return spelled(f"{said}. A: {a}. B: {b}.")
