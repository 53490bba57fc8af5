"""What the crew sets out from the targets of a room: walls off their control lines, ceilings off the datum, trims.

A wall's finished line is given as the distance from its control line, at both ends and at each stud, at the bottom, in
the middle and at the top of what was read there, with what is added to the stud (or comes off, below zero). A string
from the first stud to the last stands along the target plane.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtri

from flatness.arrays import Floats
from flatness.room.checks import floor_along
from flatness.room.drawn import Drawn
from flatness.room.geometry import Corner, corners
from flatness.room.records import TAPE_MM, Room, Trim
from flatness.room.targets import RoomTargets
from flatness.surface.lattice import distinct

SAME_MM = 0.5
SQRT2 = math.sqrt(2)
ALONG = 0.02  # of its length that a wall may stand off the direction of straps that are counted from it
MARK_MM = 300.0  # between two marks, where no members are named: a scan has a column of readings every few inches
UP = ("bottom", "middle", "top")
WALL_COLUMNS = ("wall", "stud", "x_mm", "at", "y_mm", "off_control_mm", "found_mm", "add_mm")
CEILING_COLUMNS = ("surface", "z_mm", "line", "position_mm", "from_wall", "least_shim_mm", "most_shim_mm")
TRIM_COLUMNS = ("trim", "wall", "z_mm", "x_mm", "reveal_mm")


def wall_lines(targets: RoomTargets) -> pd.DataFrame:
    """Where each wall's finished face stands: one that is left as it is, on its own best line.

    Returns
    -------
    DataFrame, one row a place, in the order of walls, studs and heights: ``wall``; ``stud`` (its name or its number
        from the left, ``start`` and ``end`` of the wall); ``x_mm`` along the wall; ``at`` (``bottom``, ``middle``,
        ``top``) and ``y_mm``; ``off_control_mm`` from the control line to the finished face; ``found_mm`` from it to
        the wall as found (NaN where it was not read); ``add_mm`` to the stud, below zero off it
    """
    rows = [row for one in targets.room.of_kind("wall") for row in _of_wall(targets, one.name)]
    return pd.DataFrame(rows, columns=list(WALL_COLUMNS))


def _of_wall(targets: RoomTargets, name: str) -> Iterator[dict[str, Any]]:
    room = targets.room
    drawn, target, wall = room.drawn[name], targets.targets[name], room.surfaces[name].line
    low, high = drawn.extent[2:]
    found_at = studs(room, name)
    ends = [
        end for end in (("start", 0.0), ("end", wall.length)) if all(abs(end[1] - x) > SAME_MM for _, x in found_at)
    ]
    for stud, x in sorted([*found_at, *ends], key=lambda one: one[1]):
        for at, y in zip(UP, (low, (low + high) / 2, high), strict=True):
            face = -target.toward(x, (low + high) / 2 if target.is_left else y)
            found = -float(drawn.surface.at(x, y)[0])
            yield {
                "wall": name,
                "stud": stud,
                "x_mm": x,
                "at": at,
                "y_mm": y,
                "off_control_mm": face,
                "found_mm": found,
                "add_mm": 0.0 if target.is_left else found - face,
            }


def studs(room: Room, name: str) -> list[tuple[str, float]]:
    """Name and x [mm] of each stud of a wall: its members where they are named, else its lines of readings."""
    surface = room.surfaces[name]
    if surface.members is not None and surface.members.direction == "y":
        return list(zip(surface.members.table["member"], (float(x) for x in surface.members.positions), strict=True))
    return _columns(surface.survey.points["x"].to_numpy(dtype=np.float64))


def _columns(places: Floats) -> list[tuple[str, float]]:
    """Number and position [mm] of lines of readings, first and last among them, none closer than a mark is worth."""
    every = distinct(places)
    kept = [float(every[0])]
    for place in every[1:-1]:
        if place - kept[-1] >= MARK_MM and every[-1] - place >= MARK_MM:
            kept.append(float(place))
    return [(str(number), place) for number, place in enumerate([*kept, float(every[-1])], 1)]


def ceiling_lines(targets: RoomTargets) -> pd.DataFrame:
    """One height for each ceiling that is worked on, and what is shimmed under each strap, or line of readings.

    Returns
    -------
    DataFrame, one row a strap: ``surface``; ``z_mm`` above the room's datum (NaN where the target is not level);
        ``line`` (its name or number), ``position_mm`` from the line of ``from_wall`` on the plan, the wall along the
        straps where they are counted from (empty: along y, or along x for straps that run along y);
        ``least_shim_mm`` and ``most_shim_mm`` (below zero: to be cut)
    """
    rows = []
    for one in (one for one in targets.room.of_kind("ceiling") if one.name not in targets.left):
        target, drawn = targets.targets[one.name], targets.room.drawn[one.name]
        x, y, _ = drawn.surface.nodes()
        along, across = "x", y
        if one.members is not None:
            along, across = one.members.direction, (y if one.members.direction == "x" else x)
            lines = list(zip(one.members.table["member"], one.members.positions, strict=True))
        else:
            lines = _columns(drawn.own(one.survey.points["x"], one.survey.points["y"])[1])
        run = np.unique(x if along == "x" else y)
        wall, first = _beside(targets.room, drawn, 1 if along == "x" else 0)
        level = target.z if max(map(abs, target.plane[1:])) < 1e-9 else math.nan
        for line, position in lines:
            px, py = (run, np.full_like(run, position)) if along == "x" else (np.full_like(run, position), run)
            shim = target.plane[0] + target.plane[1] * px + target.plane[2] * py + drawn.surface.at(px, py)
            shim = shim[np.isfinite(shim)]
            if len(shim) and across.min() <= position <= across.max():
                rows.append(
                    (one.name, level, line, float(position) - first, wall, float(shim.min()), float(shim.max()))
                )
    return pd.DataFrame(rows, columns=list(CEILING_COLUMNS))


def _beside(room: Room, ceiling: Drawn, across: int) -> tuple[str, float]:
    """The wall along straps from which they are counted, and where its line on the plan stands across them [mm]."""
    found = []
    for one in (one for one in room.of_kind("wall") if one.room == ceiling.of.room):
        start, end = np.transpose(ceiling.own(*np.transpose([one.line.start, one.line.end])))
        if abs(end[across] - start[across]) < ALONG * one.line.length:
            found.append((float(start[across] + end[across]) / 2, one.name))
    first, name = min(found, default=(0.0, ""))
    return name, first


def trim_lines(room: Room) -> pd.DataFrame:
    """The height of each reveal line, and the reveal left along it over the floor.

    Parameters
    ----------
    room : whose floor it is set over: where there are targets ``targets.finished``, as it will stand

    Returns
    -------
    DataFrame, one row a place: ``trim``; ``wall``; ``z_mm`` of the foot of the trim above the room's datum; ``x_mm``
        along the wall; ``reveal_mm``
    """
    rows = []
    for trim in room.trims:
        along = _floor_beside(room, trim)
        if along is None:
            continue
        x, heights = along
        z = trim.height if trim.height is not None else float(heights.max()) + trim.reveal
        rows += [(trim.name, trim.wall, z, float(at), z - float(h)) for at, h in zip(x, heights, strict=True)]
    return pd.DataFrame(rows, columns=list(TRIM_COLUMNS))


def _floor_beside(room: Room, trim: Trim) -> tuple[Floats, Floats] | None:
    """x along a wall and height of the floor beside it [mm], where it was read."""
    wall = room.drawn[trim.wall]
    for floor in room.of_kind("floor"):
        found = floor_along(room.drawn[floor.name], wall) if floor.room == wall.of.room else None
        if found is not None:
            x, y, _ = found
            run = (np.column_stack([x, y]) - wall.of.line.start) @ wall.of.line.along
            return run, room.drawn[floor.name].at(x, y, drawn=False)
    return None


def diagonals(targets: RoomTargets) -> pd.DataFrame:
    """Diagonals of each finished room to check by tape, from corner to corner at the foot of the walls.

    Returns
    -------
    DataFrame, one row a diagonal: ``from_corner``, ``to_corner`` (names of the walls that meet there), ``length_mm``,
        ``letters`` (as drawings have them), ``within_mm`` (how far off it may be by the errors of setting out and of a
        tape, in 95 of 100)
    """
    # each of the two corners is off by the error of setting out, along every direction alike
    within = float(ndtri(0.975)) * math.hypot(SQRT2 * float(targets.options["setting_error"]), TAPE_MM)
    rows = []
    of = {one.name: one.room for one in targets.room.of_kind("wall")}
    for (letter, one, here), (other_letter, other, there) in combinations(lettered(targets), 2):
        if of[one.first] == of[other.first] and not {one.first, one.second} & {other.first, other.second}:
            names = (f"{one.first} and {one.second}", f"{other.first} and {other.second}")
            length = float(np.hypot(*(here - there)))
            rows.append((*names, length, f"{letter} to {other_letter}", within))
    return pd.DataFrame(rows, columns=["from_corner", "to_corner", "length_mm", "letters", "within_mm"])


def lettered(targets: RoomTargets) -> list[tuple[str, Corner, Floats]]:
    """Each corner with its letter, A first, and where it is on the plan when its walls are finished [mm]."""
    walls = [targets.room.drawn[one.name] for one in targets.room.of_kind("wall")]
    found = []
    order = {name: i for i, name in enumerate(targets.room.rooms)}
    every = sorted(corners(walls), key=lambda one: order[targets.room.surfaces[one.first].room])
    for i, one in enumerate(every, targets.corners_before):
        letter = chr(ord("A") + i % 26) + (str(i // 26) if i > 25 else "")
        found.append((letter, one, finished_corner(targets, one.first, one.second)))
    return found


def finished_corner(targets: RoomTargets, first: str, second: str) -> Floats:
    """[2] where the finished faces of two walls meet on the plan [mm], at the datum's height of their feet."""
    (p, d), (q, e) = (finished_trace(targets, name) for name in (first, second))
    share = np.linalg.solve(np.column_stack([d, -e]), q - p)
    return np.asarray(p + share[0] * d)


def finished_trace(targets: RoomTargets, name: str) -> tuple[Floats, Floats]:
    """A point on the plan of a wall's finished face at x = 0 at its foot [mm], and what x adds."""
    wall, target = targets.room.surfaces[name].line, targets.targets[name]
    off = wall.offset + target.toward(0.0, 0.0)
    return np.asarray(wall.start) + off * wall.into, wall.along + target.plane[1] * wall.into
