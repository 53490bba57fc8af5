"""The reveal: the gap between a finished surface and a straight line along a wall, such as the foot of a trim.

A shadow gap of 1/4 in must look constant (common practice, no source): what is judged is the largest departure
from the nominal against an agreed plus-or-minus, and the largest change within 2 ft, which the eye sees first.
No published limit exists.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError, check_above_zero, check_choice, check_step
from flatness.framing.profiles import fit_straight
from flatness.lengths import settle
from flatness.measures.bars import Measured, Place
from flatness.notes import Note
from flatness.surface.lattice import Surface

LINES = ("level", "parallel")
CHANGE_OVER_MM = 609.6  # 2 ft


@dataclass(frozen=True, eq=False, kw_only=True)
class Reveal:
    """The reveal along one line.

    Attributes
    ----------
    table : DataFrame, one row a station: ``station_mm`` along the line, ``x_mm``, ``y_mm``, ``surface_mm``,
        ``line_mm``, ``reveal_mm``, ``departure_mm`` (reveal less nominal: positive where the gap is wide),
        ``scribe_mm`` (to cut from the lower edge, once it is lowered by ``lower_by``, for a constant nominal
        reveal); NaN where no reading reaches
    nominal, tolerance : [mm]; tolerance is the agreed plus-or-minus, or None
    departure : largest departure from nominal, signed, and where
    change : largest change of the reveal within ``change_over`` [mm], and between which two places
    change_over, change_tolerance : [mm]; change_tolerance is agreed, or None
    slope : of the line [mm per m]
    lower_by : how far the trim is lowered before it is scribed [mm]
    scribe : DataFrame, one row a stretch out of tolerance: ``from_mm``, ``to_mm``, ``departure_mm`` (largest),
        ``gap`` (wide or tight), ``scribe_mm`` (most to cut there)
    verdict : pass, fail, or undecided (nothing agreed, or part of the line not read)
    note : what the reader must know
    """

    table: pd.DataFrame
    nominal: float
    tolerance: float | None
    departure: Measured
    change: Measured
    change_over: float
    change_tolerance: float | None
    slope: float
    lower_by: float
    scribe: pd.DataFrame
    verdict: str
    note: str


def reveal(
    surface: Surface,
    start: Place,
    end: Place,
    nominal: float,
    *,
    line: str = "level",
    tolerance: float | None = None,
    change_tolerance: float | None = None,
    change_over: float = CHANGE_OVER_MM,
    height: float | None = None,
    step: float | None = None,
) -> Reveal:
    """The reveal between a finished surface and a line along the wall.

    Parameters
    ----------
    surface : finished; see :func:`flatness.surroundings.finished_surface.finished_surface`
    start, end : (x, y) [mm], ends of the line in plan
    nominal : reveal wanted [mm]
    line : ``level``, or ``parallel`` to the best line of the finished surface (its largest departure is least)
    tolerance : agreed plus-or-minus [mm]; change_tolerance : agreed change within ``change_over`` [mm]
    height : of a level line [mm]; None takes the height from which the largest departure is least
    step : between stations [mm]; None takes half the lattice step

    Returns
    -------
    Reveal

    Raises
    ------
    ArgumentError : values out of range
    MeasureError : a level line over heights off a string, or fewer than two stations with readings

    Notes
    -----
    Between stations the surface is taken as straight, which it is along x and y where lattice lines are
    stations too, as they are for lines along x or y.

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> hump = make_surface([[0, 0, 2, 0, 0]] * 2, spacing=1000)
    >>> found = reveal(hump, (0, 0), (4000, 0), 6, tolerance=1)
    >>> abs(found.departure.value), found.verdict
    (1.0, 'pass')
    """
    run = _check(surface, start, end, nominal, line, (tolerance, change_tolerance), change_over, height)
    stations = _stations(surface, start, end, run, surface.spacing / 2 if step is None else step)
    x, y = (start[i] + (end[i] - start[i]) * stations / run for i in (0, 1))
    z = surface.at(x, y)
    read = np.isfinite(z)
    if read.sum() < 2:
        what, expected = "fewer than two stations of the line have readings", "a line on the surface that was read"
        remedy = "move the line onto the surface, or read nearer the wall"
        raise MeasureError(what, value=Note("line-from-to", start=start, end=end), expected=expected, remedy=remedy)
    level, slope = _line(stations[read], z[read], line, nominal, height)
    along = level + slope * stations
    gap = along - z
    departure = np.round(gap - nominal, 6) + 0.0
    worst = int(np.nanargmax(np.abs(departure)))
    lower_by = max(0.0, float(np.nanmax(departure)))
    scribe_by = np.round(lower_by - departure, 6) + 0.0
    table = pd.DataFrame(
        {
            "station_mm": stations,
            "x_mm": x,
            "y_mm": y,
            "surface_mm": z,
            "line_mm": along,
            "reveal_mm": np.round(gap, 6),
            "departure_mm": departure,
            "scribe_mm": scribe_by,
        }
    )
    change = _largest_change(stations, np.round(gap, 6), change_over, run, start, end)
    largest = Measured(float(departure[worst]), (float(x[worst]), float(y[worst])))
    note = "" if read.all() else Note("stations-unread", count=int((~read).sum()), of=len(read))
    return Reveal(
        table=table,
        nominal=nominal,
        tolerance=tolerance,
        departure=largest,
        change=change,
        change_over=change_over,
        change_tolerance=change_tolerance,
        slope=1000 * slope,
        lower_by=lower_by,
        scribe=_stretches(stations, departure, scribe_by, tolerance),
        verdict=_verdict(abs(largest.value), tolerance, change.value, change_tolerance, bool(read.all())),
        note=note,
    )


def _check(
    surface: Surface,
    start: Place,
    end: Place,
    nominal: float,
    line: str,
    agreed: tuple[float | None, float | None],
    change_over: float,
    height: float | None,
) -> float:
    """Length of the line in plan [mm], once the arguments are found good."""
    check_choice("line", line, LINES)
    if line == "level" and not surface.is_level:
        what = "a level line over heights that are off a string, which does not tell level"
        raise MeasureError(what, remedy="take line='parallel', or read the surface off a level")
    if height is not None and line != "level":
        raise ArgumentError(
            "a height goes with a level line", column="height", value=str(height), expected="line='level'"
        )
    check_above_zero(nominal=nominal, change_over=change_over, tolerance=agreed[0], change_tolerance=agreed[1])
    run = math.hypot(end[0] - start[0], end[1] - start[1])
    if not (math.isfinite(run) and run > 0):
        raise ArgumentError(
            "the line has no length", column="start, end", value=f"{start} to {end}", expected="two places"
        )
    return run


def _stations(surface: Surface, start: Place, end: Place, run: float, step: float) -> Floats:
    """[n] mm along the line: every step, its end, and where it crosses lattice lines."""
    check_step("step", step, run)
    stations: list[Floats] = [step * np.arange(int(run / step + 1e-9) + 1, dtype=np.float64), np.array([run])]
    for axis, i in ((surface.x, 0), (surface.y, 1)):
        part = (end[i] - start[i]) / run
        if abs(part) > 1e-9:
            crossed = (axis - start[i]) / part
            stations.append(crossed[(crossed > 0) & (crossed < run)])
    # stations a binary digit apart are one
    rounded = np.round(np.concatenate(stations), 6)
    return np.unique(np.minimum(rounded, run)).astype(np.float64)


def _line(s: Floats, z: Floats, line: str, nominal: float, height: float | None) -> tuple[float, float]:
    """(height at station 0, slope) of the line, nominal above the surface."""
    if line == "level":
        # midway between the highest and the lowest spot the largest departure is least
        return (float(z.max() + z.min()) / 2 + nominal if height is None else float(height)), 0.0
    centre = float(s.mean())
    level, slope = fit_straight(np.column_stack([np.ones_like(s), s - centre]), z, z, "nearest")
    return float(level - slope * centre) + nominal, float(slope)


def _largest_change(s: Floats, gap: Floats, over: float, run: float, start: Place, end: Place) -> Measured:
    """The largest difference of the reveal between two places at most ``over`` apart along the line.

    The reveal is straight between stations, so one of the two is a station and the other is a station too, or
    exactly ``over`` away.
    """
    places = np.concatenate([s, s + over, s - over])
    places = np.unique(places[(places >= 0) & (places <= run)])
    values = np.interp(places, s, gap)
    values[np.searchsorted(places, s)] = gap  # a station next to a blank keeps its own
    best, pair = 0.0, (0, 0)
    last = np.searchsorted(places, places + over + 1e-6, side="right")
    for i in range(len(places)):
        window = np.abs(values[i : last[i]] - values[i])
        if np.isfinite(window).any():
            k = int(np.nanargmax(window))
            if window[k] > best + 1e-9:
                best, pair = float(window[k]), (i, i + k)
    shares = [float(places[i]) / run for i in pair]
    contacts = tuple((start[0] + (end[0] - start[0]) * k, start[1] + (end[1] - start[1]) * k) for k in shares)
    return Measured(settle(best), contacts[0] if best else None, contacts if best else ())


def _stretches(s: Floats, departure: Floats, scribe_by: Floats, tolerance: float | None) -> pd.DataFrame:
    """Stretches of stations out of tolerance on one side; without a tolerance, none."""
    columns = ["from_mm", "to_mm", "departure_mm", "gap", "scribe_mm"]
    if tolerance is None:
        return pd.DataFrame(columns=columns)
    allowed = settle(tolerance)
    side = np.where(departure > allowed, 1, np.where(departure < -allowed, -1, 0))
    breaks = np.flatnonzero(np.diff(side)) + 1
    rows = []
    for part in np.split(np.arange(len(s)), breaks):
        if side[part[0]]:
            worst = part[int(np.argmax(np.abs(departure[part])))]
            gap = "wide" if side[part[0]] > 0 else "tight"
            rows.append((s[part[0]], s[part[-1]], departure[worst], gap, scribe_by[part].max()))
    return pd.DataFrame(rows, columns=columns)


def _verdict(departure: float, tolerance: float | None, change: float, agreed: float | None, whole: bool) -> str:
    if (tolerance is not None and settle(departure) > settle(tolerance)) or (
        agreed is not None and settle(change) > settle(agreed)
    ):
        return "fail"
    return "pass" if whole and not (tolerance is None and agreed is None) else "undecided"
