"""The existing top and the target along each member.

Straight lines along members, as close to a target that need not be straight as straight lines can be.

A sister, a stud or a strap is straight, while a plan of least work leaves gentle waves. ``nearest`` is the line
whose largest departure from the target is least, since flatness is judged by the largest departure; ``clear``
is that line among those that are nowhere below the existing member, so that nothing has to come off.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import linprog

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError, check_step
from flatness.framing.members import Members
from flatness.lengths import settle
from flatness.notes import Note
from flatness.surface.lattice import Surface, heights_at, widest_step
from flatness.surroundings.finished_surface import Planned, target_heights
from flatness.survey.readings import Survey

LINES = ("nearest", "clear", "least-squares")
SLACK_MM = 1e-9  # by which the second program may exceed the largest departure of the first


def fit_straight(design: Floats, target: Floats, top: Floats, line: str) -> Floats:
    """Coefficients [k] of the lines ``design @ coefficients`` that follow the target.

    Parameters
    ----------
    design : [n, k], one row a point; two columns (1, s) for one line, four for all lines that strings between
        two end members give
    target : [n] mm, the height to follow
    top : [n] mm, height of the existing member
    line : ``nearest``, ``clear`` or ``least-squares``

    Returns
    -------
    [k] : where lines are equally near, the one with the least sum of departures

    Raises
    ------
    MeasureError : no such line was found
    """
    middle = float(np.mean(target))
    if line == "least-squares":
        return np.asarray(np.linalg.lstsq(design, target, rcond=None)[0], dtype=np.float64)
    # columns and heights of about one size keep the program's tolerances far below a thousandth of a millimetre
    scale = np.abs(design).max(axis=0)
    scale[scale == 0] = 1.0
    columns, aim = design / scale, target - middle
    n, k = columns.shape
    below = [-columns] if line == "clear" else []
    ends = np.concatenate([aim, -aim, *([middle - top] if line == "clear" else [])])

    def solve(departures: Any, cost: list[float], most: float | None) -> Floats:
        blank = sparse.csr_array((len(ends) - 2 * n, departures.shape[1]))
        left = sparse.csr_array(np.vstack([columns, -columns, *below]))
        return _solved(sparse.hstack([left, sparse.vstack([-departures, -departures, blank])]), ends, cost, k, most)

    largest = float(solve(sparse.csr_array(np.ones((n, 1))), [0.0] * k + [1.0], None)[k])
    # then the least sum of departures, none above the largest
    second = solve(sparse.csr_array(sparse.identity(n)), [0.0] * k + [1.0] * n, largest + SLACK_MM)
    # the program worked from the middle height, which the design gives back exactly
    level = np.linalg.lstsq(design, np.full(n, middle), rcond=None)[0]
    return np.asarray(second[:k] / scale + level, dtype=np.float64)


def _solved(rows: Any, ends: Floats, cost: list[float], k: int, most: float | None) -> Floats:
    found = linprog(
        cost,
        A_ub=rows,
        b_ub=ends,
        bounds=[(None, None)] * k + [(0, most)] * (len(cost) - k),
        method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )
    if found.x is None:
        raise MeasureError(
            "no straight line was found", value=str(found.message), expected="finite heights at two stations or more"
        )
    return np.asarray(found.x, dtype=np.float64)


SAME_STATION_MM = 1e-6
ON_MEMBER_MM = 25.4  # a reading no farther off its centre line was taken on the member
APART = 1.5  # of the stations' step: readings on a member that stand closer than this give its top between them


@dataclass(frozen=True, eq=False, kw_only=True)
class Track:
    """One member over the surface.

    Attributes
    ----------
    name, position : of the member; position across it [mm]
    start, end : [mm] along it
    stations : [n] mm along it, at which it is set
    read : [r] mm along it, where readings were taken on it
    top, target : [n] mm, the existing surface and what it is to become; NaN where no reading reaches
    knots : [m] mm along it: the stations, and every lattice line between them, where a reading reaches
    knot_top, knot_target : [m] mm there; straight between knots
    """

    name: str
    position: float
    start: float
    end: float
    stations: Floats
    read: Floats
    top: Floats
    target: Floats
    knots: Floats
    knot_top: Floats
    knot_target: Floats

    @property
    def known(self) -> bool:
        """Whether readings reach two stations or more, so that a line can be fitted."""
        return len(self.knots) > 1

    @property
    def lost(self) -> str:
        """Which part no reading reaches, in words; empty where all is read."""
        if not self.known:
            return Note("member-unread")
        parts = []
        if settle(self.knots[0] - self.start) > 0:
            parts.append(Note("the-first", mm=float(self.knots[0] - self.start)))
        if settle(self.end - self.knots[-1]) > 0:
            parts.append(Note("the-last", mm=float(self.end - self.knots[-1])))
        inner = (self.stations > self.knots[0]) & (self.stations < self.knots[-1])
        if np.isnan(self.top[inner]).any():
            parts.append(Note("a-stretch"))
        return Note("part-unread", parts=parts) if parts else ""


def member_tracks(plan: Planned, members: Members, step: float | None, crossings: Floats | None = None) -> list[Track]:
    """The Track of each member.

    Parameters
    ----------
    plan : surface and change; with ``.survey`` the top of a member that was read is what was read on it
    members : the layout
    step : between stations [mm], from each member's start; its end is a station too; None takes the stations that were
        read on the member, and the lattice step where there are none
    crossings : [n] mm along the members: stations, and the only places that they rest on, in place of ``step``
    """
    surface, survey = plan.surface, getattr(plan, "survey", None)
    both = np.stack([surface.height, target_heights(plan)])
    along, tracks = members.xy(surface.x, surface.y)[0], []
    for name, position, start, end in members.spans(surface.x, surface.y):
        if not start < end:
            what, expected = f"the member {name} and the readings do not overlap", "a start and an end on the surface"
            remedy = "give both, or neither"
            raise ArgumentError(what, value=Note("from-to", start=start, end=end), expected=expected, remedy=remedy)
        read, heights = _read_on(survey, members.direction, position, start, end)
        if crossings is not None:
            stations = crossings[(crossings >= start - SAME_STATION_MM) & (crossings <= end + SAME_STATION_MM)]
        elif step is None and len(read) > 1:
            stations = _apart(np.union1d(read, [start, end]))
        else:
            stations = _stepped(start, end, surface.spacing if step is None else step)
        between = np.union1d(read, along[(along > start) & (along < end)])
        knots = stations if crossings is not None else _apart(np.union1d(stations, between))
        of_plan = _of_plan(surface, both, survey, members.direction, position)
        at_stations, at_knots = (of_plan(s) for s in (stations, knots))
        for s, (top, _) in ((stations, at_stations), (knots, at_knots)):
            on_it = _between_readings(s, read, survey)
            if on_it.any():
                top[on_it] = np.interp(s[on_it], read, heights)
        known = np.isfinite(at_knots).all(axis=0)
        tracks.append(
            Track(
                name=name,
                position=position,
                start=start,
                end=end,
                stations=stations,
                read=read,
                top=at_stations[0],
                target=at_stations[1],
                knots=knots[known],
                knot_top=at_knots[0, known],
                knot_target=at_knots[1, known],
            )
        )
    return tracks


def _stepped(start: float, end: float, step: float) -> Floats:
    check_step("step", step, end - start)
    stations = start + step * np.arange(int((end - start) / step + 1e-9) + 1, dtype=np.float64)
    return stations if end - stations[-1] <= SAME_STATION_MM else np.append(stations, end)


def _read_on(survey: Survey | None, direction: str, position: float, start: float, end: float) -> tuple[Floats, Floats]:
    """Stations [mm] along a member where readings were taken on it, rising, and their heights [mm]."""
    if survey is None:
        return np.empty(0), np.empty(0)
    x, y, z, _ = survey.stations()
    along, across = (x, y) if direction == "x" else (y, x)
    on_it = (
        (np.abs(across - position) <= ON_MEMBER_MM) & (along >= start - ON_MEMBER_MM) & (along <= end + ON_MEMBER_MM)
    )
    station, where = np.unique(np.clip(along[on_it], start, end).round(3), return_inverse=True)
    return station, np.bincount(where, weights=z[on_it]) / np.bincount(where)


def _between_readings(stations: Floats, read: Floats, survey: Survey | None) -> NDArray[np.bool_]:
    """Which stations lie between two readings on the member that stand close enough to give its top."""
    if survey is None or len(read) < 2:
        return np.zeros(len(stations), dtype=bool)
    after = np.clip(np.searchsorted(read, stations - SAME_STATION_MM), 1, len(read) - 1)
    within = (stations >= read[0] - SAME_STATION_MM) & (stations <= read[-1] + SAME_STATION_MM)
    return np.asarray(within & (read[after] - read[after - 1] <= APART * widest_step(survey)))


def _apart(stations: Floats) -> Floats:
    """The same without those that only binary noise keeps apart."""
    kept: Floats = stations[np.diff(stations, prepend=-np.inf) > SAME_STATION_MM]
    return kept


def _of_plan(
    surface: Surface, fields: Floats, survey: Survey | None, direction: str, position: float
) -> Callable[[Floats], Floats]:
    """A function that gives [2, n] each field at stations along the member; straight between lattice lines.

    A strip narrower than a lattice step that the lattice leaves out, but readings reach, is as the lattice's edge.
    """

    def at(along: Floats, across: Floats) -> Floats:
        return surface.at(*((along, across) if direction == "x" else (across, along)), fields)

    def heights(stations: Floats) -> Floats:
        across = np.array([position])
        found = at(stations, across)
        lost = np.isnan(found[0])
        if survey is None or not lost.any():
            return found
        axes = (surface.x, surface.y) if direction == "x" else (surface.y, surface.x)
        s, p = (np.clip(v, axis[0], axis[-1]) for v, axis in zip((stations[lost], across), axes, strict=True))
        near = (np.abs(s - stations[lost]) < surface.spacing) & (np.abs(p - across) < surface.spacing)
        x, y = (stations[lost], across) if direction == "x" else (across, stations[lost])
        near &= np.isfinite(heights_at(survey, x, y).ravel())
        found[:, lost] = np.where(near, at(s, p), np.nan)
        return found

    return heights


def fit_each(tracks: Sequence[Track], line: str) -> list[Floats]:
    """Each member's own line: (height at station 0, slope) [mm, mm/mm]; NaN where no readings reach."""
    lines = []
    for track in tracks:
        if not track.known:
            lines.append(np.full(2, np.nan))
            continue
        centre = float(track.knots.mean())
        design = np.column_stack([np.ones_like(track.knots), track.knots - centre])
        level, slope = fit_straight(design, track.knot_target, track.knot_top, line)
        lines.append(np.array([level - slope * centre, slope]))
    return lines


def fit_strings(tracks: Sequence[Track], line: str) -> list[Floats]:
    """Lines that strings between the two end members give to all, as near to the target as such lines can be.

    A string across at any station goes straight from one end member to the other, so the heights are
    (1, s, p, s p) over station s and position p: straight along every member and along every string.
    """
    known = [track for track in tracks if track.known]
    if len(known) < 2:
        return fit_each(tracks, line)
    s = np.concatenate([track.knots for track in known])
    p = np.concatenate([np.full(len(track.knots), track.position) for track in known])
    middle, half = (float(s.mean()), float(p.mean())), (float(np.ptp(s)) / 2, float(np.ptp(p)) / 2)
    u, v = (s - middle[0]) / half[0], (p - middle[1]) / half[1]
    top = np.concatenate([track.knot_top for track in known])
    target = np.concatenate([track.knot_target for track in known])
    a, b, c, d = fit_straight(np.column_stack([np.ones_like(u), u, v, u * v]), target, top, line)
    lines = []
    for track in tracks:
        v_here = (track.position - middle[1]) / half[1]
        slope = (b + d * v_here) / half[0]
        lines.append(np.array([a + c * v_here - slope * middle[0], slope]) if track.known else np.full(2, np.nan))
    return lines
