"""Measures at fixed spacings: TR34 properties E and F, offsets on blocks, off a plane, abrupt steps."""

from __future__ import annotations

import math

import numpy as np

from flatness.errors import ArgumentError, MeasureError
from flatness.measures.bars import whole_steps, window_departures
from flatness.measures.lines import all_headings
from flatness.measures.measured import Measured
from flatness.measures.pairs import (
    ROWS_AND_COLUMNS,
    Pair,
    height_ahead,
    largest_pair,
    node,
    reaching,
    require_distance,
    require_level,
    rise_within,
    signs_of,
    too_short,
)
from flatness.measures.planes import fit_surface_plane
from flatness.measures.stations import station_step_within
from flatness.measures.straightedge import exact_bar
from flatness.surface.lattice import STEP_NOISE, Surface
from flatness.survey.readings import Floats, Survey

E_BASE_MM = 3000.0
F_STEP_MM = 300.0
PERCENTILE = 95.0
_PERCENTILE_NOTE = "95th percentile of absolute values; how the 95 % value is formed in TR34 is not confirmed"


def tr34_e(surface: Surface) -> Measured:
    """Property E of TR34: differences in height over 3 m along rows and columns, 95 % value [mm].

    Raises
    ------
    MeasureError : heights off a string, or a surface under 3 m both ways
    """
    require_level(surface.is_level, "property E, a measure of level,")
    values = []
    for heading in ROWS_AND_COLUMNS:
        steps = E_BASE_MM / surface.spacing
        values += [
            _finite(height_ahead(surface.height, heading, steps, sign) - surface.height)
            for sign in signs_of(heading, steps)
        ]
    return Measured(_percentile(values, E_BASE_MM), note=_PERCENTILE_NOTE)


def tr34_f(surface: Surface) -> Measured:
    """Property F of TR34: change between successive 300 mm steps along rows and columns, 95 % value [mm].

    Raises
    ------
    MeasureError : a surface under 600 mm both ways, or a lattice coarser than 300 mm
    """
    if surface.spacing > F_STEP_MM * (1 + STEP_NOISE):
        raise MeasureError(
            "the lattice is too coarse for property F", value=f"{surface.spacing:.0f} mm",
            expected="300 mm or less", remedy="choose a finer spacing, and read the floor as closely",
        )  # fmt: skip
    steps = F_STEP_MM / surface.spacing
    z = surface.height
    values = [
        _finite(height_ahead(z, heading, steps, 1) - 2 * z + height_ahead(z, heading, steps, -1))
        for heading in ROWS_AND_COLUMNS
    ]
    note = f"{_PERCENTILE_NOTE}; straight-line interpolation between stations wider than 300 mm flatters it"
    return Measured(_percentile(values, 2 * F_STEP_MM), note=note)


def block_offset(surface: Surface, length: float, headings: int = 12) -> Measured:
    """Plus or minus from a bar held off on two equal blocks at its ends: humps and hollows both count.

    Parameters
    ----------
    surface : the surface
    length : of the bar [mm]; the chord runs between the surface at its two ends, whole lattice steps apart
    headings : directions, equally spaced over half a turn

    Returns
    -------
    Measured : largest departure from the chord, without sign [mm]; the note says hump or hollow

    Raises
    ------
    MeasureError : a surface on which no bar of this length fits, or a lattice too coarse for it

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> block_offset(make_surface([[0, 3, 0]] * 2, spacing=1000), 2000).value
    3.0
    """
    z, best = surface.height, None
    for heading in all_headings(headings):
        steps = whole_steps(length, surface.spacing * heading.step)
        if steps < 2:
            continue
        high, low = window_departures(z, heading, steps)
        size = np.fmax(high, -low)
        if np.isfinite(size).any() and (best is None or float(np.nanmax(size)) > best[0]):
            iy, ix = np.unravel_index(int(np.nanargmax(size)), size.shape)
            best = (float(size[iy, ix]), node(surface, int(iy), int(ix)), heading, steps)
    if best is None:
        if whole_steps(length, surface.spacing) < 2:
            raise MeasureError(
                "the lattice is too coarse for this bar", value=f"{surface.spacing:.0f} mm",
                expected=f"half of {length:.0f} mm or less", remedy="choose a finer spacing",
            )  # fmt: skip
        raise too_short("this bar", length)
    value, at, heading, steps = best
    departure, contacts = exact_bar(surface, at, heading, steps, abs)
    used = steps * surface.spacing * heading.step
    short = "" if used >= length * (1 - STEP_NOISE) else f"; whole lattice steps: {used:.0f} mm was laid"
    return Measured(value, at, contacts, ("hump" if departure > 0 else "hollow") + short)


def plane_departure(surface: Surface, length: float, plane: str = "best") -> Measured:
    """Off the required plane: how much more one point departs from it than another at most ``length`` away.

    Parameters
    ----------
    surface : the surface
    length : greatest distance between the two points [mm], in any direction
    plane : ``level``, or ``best`` for the minimum-zone plane of the whole surface

    Returns
    -------
    Measured : the difference in deviation [mm], at the proud point. The two points may lie on either side of
        a place without a height: both are held against the one plane

    Raises
    ------
    MeasureError : a level plane off a string, or a lattice coarser than ``length``
    """
    require_distance(length)
    if plane == "level":
        require_level(surface.is_level, "departure from a level plane")
        deviations, note = surface.height, "off a level plane"
    elif plane == "best":
        deviations, note = fit_surface_plane(surface, "minimum-zone").deviations, "off the minimum-zone plane"
    else:
        raise ArgumentError("unknown required plane", value=str(plane), expected="level or best")
    return rise_within(surface, deviations, length, note)


def abrupt_step(where: Surface | Survey, base: float) -> Measured:
    """The largest difference in height [mm] between points at most ``base`` [mm] apart.

    Parameters
    ----------
    where : a survey, whose stations are compared with one another; or a surface, whose nodes are, along rows,
        columns and diagonals with nothing missing between
    base : greatest distance between the two points [mm]

    Raises
    ------
    MeasureError : stations or a lattice wider than ``base``
    """
    require_distance(base)
    if isinstance(where, Survey):
        return station_step_within(where, base)
    best: Pair | None = None
    for heading in all_headings(4):
        most = math.floor(base / (where.spacing * heading.step) + STEP_NOISE)
        for k, ahead in reaching(where.height, heading, most):
            pair = largest_pair(where, ahead - where.height, heading, k)
            if pair is not None and (best is None or abs(pair.difference) > abs(best.difference)):
                best = pair
    if best is None:
        raise MeasureError(
            "the lattice is too coarse for an abrupt step", value=f"{where.spacing:.0f} mm",
            expected=f"neighbouring nodes {base:.0f} mm apart or less",
            remedy="choose a finer spacing, and read both sides of the step",
        )  # fmt: skip
    return best.measured(abs(best.difference))


def _finite(values: Floats) -> Floats:
    return np.abs(values[np.isfinite(values)])


def _percentile(values: list[Floats], distance: float) -> float:
    every = np.concatenate(values)
    if not len(every):
        raise too_short("this property", distance)
    return float(np.percentile(every, PERCENTILE))
