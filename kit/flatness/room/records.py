"""The Room: its surfaces brought to one datum, what is measured by tape, and what is agreed for it.

One frame for all: x and y on the plan, z up from the room's datum. A floor and a ceiling have the plan's own x and y. A
wall's x runs along the line on the plan from ``start`` to ``end``, left to right as seen from the room, so that one who
walks along all walls of a room in their x goes around it clockwise; the wall's height is off its control line, into the
room.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from shapely import Polygon

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError
from flatness.framing.members import Members
from flatness.limits.kinds import Limit
from flatness.measures.bars import Place
from flatness.planning.constraints import Depths, Rates
from flatness.planning.substrate import Beneath
from flatness.survey.readings import Survey

if TYPE_CHECKING:
    import pandas as pd

    from flatness.room.clear_height import ClearHeight
    from flatness.room.drawn import Drawn

SETTING_MM = 25.4 / 32  # of setting a line or a height by hand, one standard deviation: common practice, no source
TAPE_MM = 25.4 / 16  # of one measure with a tape, one standard deviation: common practice, no source
LEAST_WALL_MM = 300.0
LEAST_WIDTH_MM = 50.0  # of an opening and of a leaf
FACING_COS = 0.985  # walls within 10 degrees of facing one another, or of standing square


@dataclass(frozen=True, kw_only=True)
class Level:
    """How high the datum of a floor or ceiling stands.

    Attributes
    ----------
    height : z of the survey's height 0 [mm]; its heights count up from there on a floor, and down on a ceiling
    error : one standard deviation of it [mm]
    basis : how it was found, in words
    """

    height: float = 0.0
    error: float = 0.0
    basis: str = "as stated"


@dataclass(frozen=True, kw_only=True)
class WallLine:
    """Where a wall stands on the plan.

    Attributes
    ----------
    start, end : (x, y) on the plan [mm] of the line along which the wall's x axis runs, from x = 0
    offset : how far off that line, into the room, the control line stood from which the wall was read [mm]
    error : of the control line at each end of the wall, one standard deviation [mm]
    control : name of the control line; walls that were read off one line share its error
    base : z of the wall's y = 0 [mm]

    Raises
    ------
    ArgumentError : a line without length
    """

    start: Place
    end: Place
    offset: float = 0.0
    error: float = SETTING_MM
    control: str = ""
    base: float = 0.0

    def __post_init__(self) -> None:
        if not self.length >= LEAST_WALL_MM:
            raise ArgumentError(
                "a wall that is no line on the plan",
                column="to",
                value=f"{self.length:.0f} mm from its start",
                expected=f"at least {LEAST_WALL_MM:.0f} mm",
                remedy="check both ends",
            )

    @property
    def length(self) -> float:
        """From start to end [mm]."""
        return math.dist(self.start, self.end)

    @property
    def along(self) -> Floats:
        """[2] unit vector of the wall's x axis on the plan."""
        return np.subtract(self.end, self.start) / self.length

    @property
    def into(self) -> Floats:
        """[2] unit vector on the plan out of the wall into the room."""
        x, y = self.along
        return np.array([y, -x])

    def on_plan(self, x: Floats, height: Floats) -> tuple[Floats, Floats]:
        """Places on the plan [mm] of points of the wall at x along it and height off its control line [mm]."""
        out = self.offset + height
        px, py = (self.start[i] + self.along[i] * x + self.into[i] * out for i in (0, 1))
        return px, py

    def across(self, x: float, y: float) -> tuple[float, float]:
        """x along the wall and height off its control line [mm] of a place on the plan."""
        from_start = np.array([x, y]) - self.start
        return float(from_start @ self.along), float(from_start @ self.into) - self.offset


@dataclass(frozen=True, eq=False, kw_only=True)
class RoomSurface:
    """One surface of the room.

    Attributes
    ----------
    name : unique in the room file
    survey : its readings
    room : the room that it belongs to, where the file has several
    level : where the datum of a floor or ceiling stands; None for a wall
    wall : where a wall stands; None for a floor or ceiling
    limits : that its own survey is held against
    depths : deepest cut and fill
    beneath : what lies there, and whether it may be planed; nothing comes off where nothing is said
    rates : what work on it costs
    members : joists, studs or strapping beneath, where the file names them
    """

    name: str
    survey: Survey
    room: str = ""
    level: Level | None = None
    wall: WallLine | None = None
    limits: tuple[Limit, ...] = ()
    depths: Depths = field(default_factory=Depths)
    beneath: tuple[Beneath, ...] = ()
    rates: Rates = field(default_factory=Rates)
    members: Members | None = None

    @property
    def line(self) -> WallLine:
        """Where a wall stands; for walls alone."""
        assert self.wall is not None
        return self.wall

    @property
    def kind(self) -> str:
        """``floor``, ``ceiling`` or ``wall``."""
        return self.survey.surface

    @property
    def up(self) -> float:
        """1 of a floor, -1 of a ceiling: which way its heights count."""
        return -1.0 if self.kind == "ceiling" else 1.0


@dataclass(frozen=True, kw_only=True)
class Door:
    """A leaf and what it swings over.

    Attributes
    ----------
    hinge, tip : places on the plan [mm] of the hinge and of the leaf's other edge, shut
    opens : which way the leaf turns as seen from above: ``left`` (counterclockwise) or ``right``
    bottom : z of the underside of the leaf [mm]
    least : gap that it needs over the floor [mm]
    swing : how far it turns [degrees]

    Raises
    ------
    ArgumentError : a tip at the hinge
    """

    hinge: Place
    tip: Place
    bottom: float
    least: float
    opens: str = "left"
    swing: float = 90.0

    def __post_init__(self) -> None:
        _check_apart(self.hinge, self.tip, "tip", "the leaf's other edge at its hinge")


@dataclass(frozen=True, kw_only=True)
class Opening:
    """An opening in a wall, as measured by level and tape, and what it joins.

    Attributes
    ----------
    name : unique in the room file
    jamb_left, jamb_right : out of plumb over their height [mm], or None where not measured
    head : out of level over its width [mm], or None
    diagonals : both, corner to corner [mm], or None
    error : of one of these measures, one standard deviation [mm]
    ends : ends of the threshold on the plan [mm], or None
    floors, ceilings : names of the two surfaces that meet here, or empty
    next_height : z of the finished floor beyond, where that floor has no survey [mm], or None
    door : the leaf, or None

    Raises
    ------
    ArgumentError : both ends at one place
    """

    name: str
    jamb_left: float | None = None
    jamb_right: float | None = None
    head: float | None = None
    diagonals: tuple[float, float] | None = None
    error: float = TAPE_MM
    ends: tuple[Place, Place] | None = None
    floors: tuple[str, ...] = ()
    ceilings: tuple[str, ...] = ()
    next_height: float | None = None
    door: Door | None = None

    def __post_init__(self) -> None:
        if self.ends is not None:
            _check_apart(*self.ends, "ends", "both ends of an opening at one place")


def _check_apart(one: Place, other: Place, key: str, what: str) -> None:
    if (apart := math.dist(one, other)) < LEAST_WIDTH_MM:
        expected = f"at least {LEAST_WIDTH_MM:g} mm from one to the other"
        raise ArgumentError(what, column=key, value=f"{apart:g} mm apart", expected=expected, remedy="check both")


@dataclass(frozen=True, kw_only=True)
class TapeCorner:
    """A corner measured by tape: two legs and the diagonal between their ends, such as 3-4-5; or a room's diagonals.

    Attributes
    ----------
    name : of the corner; of diagonals that where the first begins
    legs : [mm]; of diagonals the room's two sides
    diagonal : [mm] of a corner, or None
    diagonals : both of a room [mm], or None
    error : of each measure, one standard deviation [mm]
    """

    name: str
    legs: tuple[float, float]
    diagonal: float | None = None
    diagonals: tuple[float, float] | None = None
    error: float = TAPE_MM

    @property
    def sizes(self) -> tuple[float, ...]:
        """All that was measured [mm]: legs, then the diagonal, or both."""
        return *self.legs, *(self.diagonals or (self.diagonal or 0.0,))

    @staticmethod
    def cosine(first: Any, second: Any, *diagonals: Any) -> Floats:
        """Cosine of the corner from two legs and its diagonal, or the room's both; positive under 90 degrees."""
        from flatness.room.geometry import diagonals_cosine, tape_cosine  # it needs what is here

        return (tape_cosine if len(diagonals) == 1 else diagonals_cosine)(first, second, *diagonals)


@dataclass(frozen=True, kw_only=True)
class Recess:
    """What is recessed above a finished ceiling.

    Attributes
    ----------
    name : what it is
    ceiling : name of the surveyed framing above
    height : z of the finished ceiling [mm]
    depth : that is needed above it [mm]
    area : where it is, on the plan; None: everywhere
    """

    name: str
    ceiling: str
    height: float
    depth: float
    area: Polygon | None = None


@dataclass(frozen=True, kw_only=True)
class Keep:
    """A clear width or height that targets must keep.

    Attributes
    ----------
    name : what needs it, such as a bath, a wardrobe, a stair, a door head
    surfaces : names: two walls that face, a floor and a ceiling, or one surface alone
    least, most : [mm], of what is clear; one of the two at least
    places : on the plan [mm]; none: over all that was read
    height : z [mm] of what stands over a floor alone, or under a ceiling alone

    Raises
    ------
    ArgumentError : neither least nor most
    """

    name: str
    surfaces: tuple[str, ...]
    least: float | None = None
    most: float | None = None
    places: tuple[Place, ...] = ()
    height: float | None = None

    def __post_init__(self) -> None:
        if self.least is None and self.most is None:
            raise ArgumentError("nothing to keep", column="least", expected="least, most, or both", remedy="add it")

    def check(self, of: Mapping[str, RoomSurface]) -> None:
        """Whether something can be kept clear of these surfaces of a room.

        Raises
        ------
        ArgumentError : surfaces that are not there, do not face, or between which nothing is clear
        """
        for name in self.surfaces:
            if name not in of:
                raise ArgumentError("no surface of this name", column=self.name, value=name, expected=", ".join(of))
        kinds, walls = sorted(of[name].kind for name in self.surfaces), [of[name].wall for name in self.surfaces]
        what, expected = "", ""
        match kinds, walls:
            case ["ceiling", "floor"], _:
                pass
            case ["wall", "wall"], [WallLine() as first, WallLine() as second]:
                if -float(first.into @ second.into) < FACING_COS:
                    what, expected = "two walls that do not face", "two that face one another, within 10 degrees"
            case ["floor"] | ["ceiling"], _:
                if self.height is None:
                    what, expected = "one surface is clear of what?", "two surfaces, or a height beside it"
            case ["wall"], _:
                if not self.places:
                    what, expected = "one wall is clear of what?", "a place on the plan"
            case _:
                what = "surfaces between which nothing can be kept clear"
                expected = "two walls, a floor and a ceiling, or one of these and a height or a place"
        if what:
            raise ArgumentError(what, column="surfaces", value=", ".join(self.surfaces), expected=expected)


@dataclass(frozen=True, kw_only=True)
class Trim:
    """A trim whose foot is set to a level line along a wall.

    Attributes
    ----------
    name : what it is
    wall : along which it runs
    reveal : gap over the floor that is wanted [mm]
    height : z of its foot [mm]; None: so high that the gap is nowhere less than that
    """

    name: str
    wall: str
    reveal: float
    height: float | None = None


@dataclass(frozen=True, kw_only=True)
class Agreed:
    """What is agreed for the room [mm]; None: nothing, and a published limit counts where there is one.

    Attributes
    ----------
    clear_height : least
    ceiling : most that a ceiling may fall from one end to the other
    ceiling_plane : most that it may depart from one plane, from lowest to highest
    ceiling_step : most step between the ceilings of two rooms
    parallel : most taper of two facing walls over their run
    square : most offset of a corner over the leg
    leg : over which that is told; the shorter of the two walls where None
    plumb : most lean over the height read
    wall_foot : most that the floor may vary along a wall
    jamb, head, diagonals : most out of plumb, out of level, and difference of the diagonals of an opening
    threshold : most step
    """

    clear_height: float | None = None
    ceiling: float | None = None
    ceiling_plane: float | None = None
    ceiling_step: float | None = None
    parallel: float | None = None
    square: float | None = None
    leg: float | None = None
    plumb: float | None = None
    wall_foot: float | None = None
    jamb: float | None = None
    head: float | None = None
    diagonals: float | None = None
    threshold: float | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class Room:
    """A room, or several that join at openings.

    Attributes
    ----------
    title : what it is called
    surfaces : by name, in the order of the file
    openings, tapes, recesses : as measured
    agreed : what is agreed
    keeps : clear widths and heights that targets must keep
    benchmarks : height of each above the room's datum [mm], by label
    places : where each benchmark is on the plan [mm], by label, as far as that is known
    trims : whose feet are set to a level line
    targets : what :func:`~flatness.room.targets.room_targets` is to do, by its arguments' names
    show : unit to show lengths in, ``in`` or ``mm``
    confidence, draws, seed : of the verdicts
    source : name of the file
    notes : what its reader must know
    stands : surfaces as they stand when the work is done, by name; None: as they were read
    """

    title: str
    surfaces: Mapping[str, RoomSurface]
    openings: tuple[Opening, ...] = ()
    tapes: tuple[TapeCorner, ...] = ()
    recesses: tuple[Recess, ...] = ()
    agreed: Agreed = field(default_factory=Agreed)
    keeps: tuple[Keep, ...] = ()
    benchmarks: Mapping[str, float] = field(default_factory=dict)
    places: Mapping[str, Place] = field(default_factory=dict)
    trims: tuple[Trim, ...] = ()
    targets: Mapping[str, Any] = field(default_factory=dict)
    show: str = "in"
    confidence: float = 0.95
    draws: int = 200
    seed: int = 0
    source: str = ""
    notes: tuple[str, ...] = ()
    stands: Mapping[str, Drawn] | None = field(default=None, repr=False)

    @property
    def rooms(self) -> tuple[str, ...]:
        """Names of the rooms in it; one that is empty where they have none."""
        return tuple(dict.fromkeys(one.room for one in self.surfaces.values()))

    def only(self, name: str) -> Room:
        """One of its rooms alone, its surfaces drawn as in all of them."""
        surfaces = {key: one for key, one in self.surfaces.items() if one.room == name}
        if len(surfaces) == len(self.surfaces):
            return self
        return replace(
            self,
            title=f"{self.title}, {name or 'the rest'}",
            surfaces=surfaces,
            openings=tuple(one for one in self.openings if {*one.floors, *one.ceilings} <= {*surfaces}),
            recesses=tuple(one for one in self.recesses if one.ceiling in surfaces),
            trims=tuple(one for one in self.trims if one.wall in surfaces),
            stands={key: self.drawn[key] for key in surfaces},
        )

    def of_kind(self, kind: str) -> list[RoomSurface]:
        """Its floors, ceilings or walls."""
        return [one for one in self.surfaces.values() if one.kind == kind]

    @cached_property
    def drawn(self) -> Mapping[str, Drawn]:
        """Each surface, and others that the readings allow, on the room's datum."""
        from flatness.room.drawn import draw_room

        return draw_room(self) if self.stands is None else self.stands

    @cached_property
    def checks(self) -> pd.DataFrame:
        """All measures of the room, judged; one row each; see :func:`~flatness.room.checks.check_room`."""
        from flatness.room.checks import check_room

        return check_room(self)

    @cached_property
    def widths(self) -> pd.DataFrame:
        """Distances of facing walls along their run; see :func:`~flatness.room.checks.room_widths`."""
        from flatness.room.checks import room_widths

        return room_widths(self)

    @cached_property
    def clear_heights(self) -> tuple[ClearHeight, ...]:
        """The clear height under each ceiling, where it lies over a floor that was read."""
        from flatness.room.clear_height import clear_heights

        return clear_heights(self)

    @property
    def clear_height(self) -> ClearHeight:
        """The clear height where it is least.

        Raises
        ------
        MeasureError : no ceiling over a floor
        """
        if not self.clear_heights:
            raise MeasureError(
                "no clear height", expected="a floor and a ceiling over the same places, both off a level reference"
            )
        return min(self.clear_heights, key=lambda one: float(np.median(one.least)))

    @property
    def verdict(self) -> str:
        """Of all that is judged: fail where one fails, else undecided where one is, else pass."""
        found = set(self.checks["verdict"])
        return next((one for one in ("fail", "undecided") if one in found), "pass")
