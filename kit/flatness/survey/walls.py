"""The walls of a room: doors and windows in them, what they are called, and the two that a tape is pulled from.

The sides are those of the maps, where x runs to the right and y up: ``bottom`` is the side where y is least. A place is
given as one walks in through the first door: so far from the wall at the left hand, so far from the wall of the door.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from shapely import LineString, Polygon

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.notes import Note
from flatness.survey.cells import nearest

SIDES = ("bottom", "top", "left", "right")
KINDS = ("door", "window")
SUCH_AS = {"door": "bottom 3 ft to 5 ft 8 in", "window": "top 5 ft to 8 ft", "wall": "top = street wall"}
STRAIGHT_MM = 25.4  # a wall that departs more from one line between the ends of a door is not one wall
SAMPLES = 9  # places along a door at which its wall is looked at
# the wall at one's left hand when one walks in through a door in this side
AT_LEFT = {"bottom": "left", "top": "right", "left": "top", "right": "bottom"}
TURNS = {"bottom": 0, "left": 1, "top": 2, "right": 3}  # quarter turns to the left that bring a side to the bottom
_WALL_OPENING = re.compile(r"(?:on\s+|in\s+)?(.+?)\s*[,:]?\s+(?:from\s+)?(\S*\d.*?)\s+to\s+(.+)", re.IGNORECASE)


@dataclass(frozen=True)
class WallOpening:
    """A door or a window.

    Attributes
    ----------
    kind : ``door`` or ``window``
    side : of the room, as in :data:`SIDES`
    start, end : along that side [mm]: of ``bottom`` and ``top`` along x, of ``left`` and ``right`` along y
    """

    kind: str
    side: str
    start: float
    end: float


@dataclass(frozen=True)
class Tape:
    """From which wall a distance is measured.

    Attributes
    ----------
    wall : what it is called, such as ``left wall``; empty where no wall is known: then positions stay as typed
    axis : 0 of x, 1 of y
    at : where the wall stands on that axis [mm]
    sign : 1 where the distance grows with the position, -1 where it shrinks
    """

    wall: str
    axis: int
    at: float = 0.0
    sign: int = 1

    def far(self, xy: Sequence[float]) -> float:
        """How far a place stands from the wall [mm]."""
        return self.sign * (float(xy[self.axis]) - self.at)


@dataclass(frozen=True)
class Walls:
    """Doors, windows and names of walls.

    Attributes
    ----------
    openings : doors and windows in the order given; the first door is the one that people walk in by
    names : what people call a side, by side
    """

    openings: tuple[WallOpening, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.openings or self.names)

    @property
    def door(self) -> WallOpening | None:
        """The door that people walk in by; None where none is known."""
        return next((one for one in self.openings if one.kind == "door"), None)

    def tapes(self, outline: Polygon | None) -> tuple[Tape, Tape]:
        """The walls from which places are given, the one at the left hand first.

        Without a door: from a wall that has a name, else as typed, x first.
        """
        if outline is None:
            return Tape("", 0), Tape("", 1)
        door = self.door
        if door is not None:
            left = AT_LEFT[door.side]
            return (
                _tape(left, self.names.get(left, "left wall"), _reach(outline, left)),
                _tape(door.side, self.names.get(door.side, "door wall"), _reach(wall_line(outline, door), door.side)),
            )
        named = (next((side for side in pair if side in self.names), "") for pair in (("left", "right"), SIDES[:2]))
        first, second = (
            _tape(side, self.names[side], _reach(outline, side)) if side else Tape("", axis)
            for axis, side in enumerate(named)
        )
        return first, second


def _axis(side: str) -> int:
    """The axis across a side."""
    return 0 if side in ("left", "right") else 1


def _reach(shape: Polygon | LineString, side: str) -> float:
    x0, y0, x1, y1 = shape.bounds
    return float({"left": x0, "right": x1, "bottom": y0, "top": y1}[side])


def _tape(side: str, name: str, at: float) -> Tape:
    return Tape(name, _axis(side), at, 1 if side in ("left", "bottom") else -1)


def wall_line(outline: Polygon, opening: WallOpening) -> LineString:
    """The part of the outline, from ``start`` to ``end``, in which a door or window stands.

    Raises
    ------
    ArgumentError : it reaches beyond its side, or round a corner
    """
    across = _axis(opening.side)
    low, high = outline.bounds[1 - across], outline.bounds[3 - across]
    if opening.start < low - 1e-6 or opening.end > high + 1e-6:
        what, remedy = f"the {opening.kind} reaches beyond its side", "correct where it begins and ends, or the outline"
        raise ArgumentError(what, expected=Note("side-reach", low=low, high=high, axis="xy"[1 - across]), remedy=remedy)
    along = np.linspace(opening.start, opening.end, SAMPLES)
    along[[0, -1]] += np.array([1e-3, -1e-3]) * (opening.end - opening.start)
    at = np.array([_wall_at(outline, opening.side, float(s)) for s in along])
    straight = np.interp(along, along[[0, -1]], at[[0, -1]])
    if float(np.abs(at - straight).max()) > STRAIGHT_MM or abs(at[-1] - at[0]) > opening.end - opening.start:
        what, expected = f"the {opening.kind} reaches round a corner of the {opening.side} side", "one straight wall"
        raise ArgumentError(what, expected=expected, remedy="correct where it begins and ends, or the outline")
    ends = np.column_stack([[opening.start, opening.end], at[[0, -1]]])
    return LineString(ends if across == 1 else ends[:, ::-1])


def _wall_at(outline: Polygon, side: str, s: float) -> float:
    """Where the wall of a side stands [mm] at a position along it."""
    x0, y0, x1, y1 = outline.bounds
    line = LineString([(s, y0 - 1), (s, y1 + 1)] if _axis(side) == 1 else [(x0 - 1, s), (x1 + 1, s)])
    return _reach(outline.intersection(line), side)


def door_leaf(outline: Polygon, door: WallOpening) -> tuple[Floats, Floats]:
    """The open leaf of a door, [2, 2] from its hinge, and [n, 2] the way of its edge as it closes [mm].

    The hinge is drawn at the left hand of who walks in, and the door opens into the room: a sign, not a survey of it.
    """
    ends = np.asarray(wall_line(outline, door).coords)
    if door.side in ("top", "left"):  # the left hand is at the far end
        ends = ends[::-1]
    hinge, edge = ends
    along = edge - hinge
    inward = np.array([-along[1], along[0]])  # a quarter turn to the left of the way from hinge to edge
    turns = np.linspace(np.pi / 2, 0, 25)[:, None]
    return np.array([hinge, hinge + inward]), hinge + np.cos(turns) * along + np.sin(turns) * inward


def parse_wall_opening(
    kind: str, text: str, read: Callable[[str], float | None], names: Mapping[str, str]
) -> WallOpening | None:
    """The door or window that a text such as ``bottom 3 ft to 5 ft 8 in`` gives.

    Parameters
    ----------
    kind : ``door`` or ``window``
    text : the side, or the name of its wall; from where to where along it
    read : gives a length [mm] of its text; None where there is none, which it has noted
    names : of walls, by side

    Raises
    ------
    ArgumentError : another text, an unknown side, or an end that is not beyond the start
    """
    expected = f"the side, from where to where along it, such as {SUCH_AS[kind]}"
    found = _WALL_OPENING.fullmatch(text.strip())
    if found is None:
        remedy = f"write the side ({', '.join(SIDES)}), a length, to, and a length"
        raise ArgumentError(f"where the {kind} is cannot be read", value=text, expected=expected, remedy=remedy)
    called = {**{side: side for side in SIDES}, **{name.casefold(): side for side, name in names.items()}}
    side = called.get(found[1].casefold()) or called.get(
        found[1].casefold().removesuffix(" wall").removesuffix(" side")
    )
    if side is None:
        raise ArgumentError(
            f"an unknown side of the room for the {kind}",
            value=found[1],
            expected=f"{', '.join([*SIDES, *names.values()])}, as the maps have them: x to the right, y up",
            remedy=f"did you mean `{nearest(found[1], [*SIDES, *names.values()])}`?",
        )
    start, end = read(found[2]), read(found[3])
    if start is None or end is None:
        return None
    if not start < end:
        what = f"the {kind} does not end beyond its start"
        raise ArgumentError(what, value=text, expected=expected, remedy="write the lesser position first")
    return WallOpening(kind, side, start, end)


def parse_wall_name(text: str) -> tuple[str, str]:
    """Side and name of a text such as ``top = street wall``.

    Raises
    ------
    ArgumentError : another text
    """
    side, equals, name = (part.strip() for part in text.partition("="))
    if side.casefold() not in SIDES or not equals or not name:
        expected = f"a side ({', '.join(SIDES)}), an equals sign, and its name, such as {SUCH_AS['wall']}"
        raise ArgumentError("the wall's name cannot be read", value=text, expected=expected, remedy="write all three")
    return side.casefold(), name


def check_wall_opening(outline: Polygon, one: WallOpening, others: Sequence[WallOpening]) -> None:
    """Refuse a door or window that is not in one straight wall, or where another one is.

    Raises
    ------
    ArgumentError : so
    """
    wall_line(outline, one)
    for other in others:
        if other.side == one.side and one.start < other.end and other.start < one.end:
            what, remedy = f"the {one.kind} stands where a {other.kind} is", "correct one of the two, or delete it"
            raise ArgumentError(what, expected="one door or window at one place of a wall", remedy=remedy)


def wall_openings(outline: Polygon | None, walls: Walls) -> list[tuple[WallOpening, LineString]]:
    """Each door and window with the part of the outline that it takes; none without an outline."""
    return [] if outline is None else [(one, wall_line(outline, one)) for one in walls.openings]
