"""What the Room panel knows: the room, its targets, which surface is opened and from where the room is seen."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Any

import numpy as np
from traitlets import Any as AnyTrait
from traitlets import Enum, Float, Instance, Unicode

from flatness.errors import PlanError
from flatness.job.room_reading import read_room
from flatness.measures.lines import Place
from flatness.panels.state import State
from flatness.room.records import Room, RoomSurface
from flatness.room.targets import WALLS, RoomTargets, room_targets
from flatness.words.phrases import error_text

VIEWS = ("plan", "surface", "turn")


class RoomState(State):
    """What the panel knows.

    Attributes
    ----------
    file : the room file
    room, targets : as read, and what it is brought to; None where they cannot be
    clash : why there are no targets, in words; empty where there are
    walls : how walls are tied on the plan
    view : ``plan`` (walls folded out), ``surface`` (the one that is opened) or ``turn`` (in space)
    opened : name of the surface that is opened
    azimuth : from where the room is seen [degrees]
    pointer : place of the map that is pointed at, or None
    """

    file = Unicode("")
    room = Instance(Room, allow_none=True)
    targets = Instance(RoomTargets, allow_none=True)
    clash = Unicode("")
    walls = Enum(WALLS, "square")
    view = Enum(VIEWS, "plan")
    opened = Unicode("")
    azimuth = Float(-60.0)
    pointer = AnyTrait(None)

    @property
    def names(self) -> list[str]:
        """Names of the surfaces."""
        return [] if self.room is None else list(self.room.surfaces)

    def open(self, name: str) -> None:
        """Open a surface."""
        self.opened, self.view = name, "surface"

    def read(self, path: str | os.PathLike[str]) -> None:
        """Read a room file, and choose its targets.

        Raises
        ------
        FlatnessError : a room that cannot be read as it is
        """
        with self.at_work(f"Checking {Path(path).name} ..."):
            room = read_room(path)
            _ = room.checks
            if not self._unit_chosen:
                self.unit = room.show
            self.file, self.room = str(path), room
            self.opened = next(iter(room.surfaces))
            self.walls = room.targets.get("walls", "square")
            self.choose()

    def choose(self, walls: str | None = None) -> None:
        """Choose the targets with walls tied so."""
        if walls is not None:
            self.walls = walls
        if self.room is None:
            return
        try:
            found, clash = room_targets(self.room, walls=self.walls), ""
        except PlanError as error:
            found, clash = None, error_text(error, self.unit)
        self.clash, self.targets = clash, found

    def open_at(self, place: Place) -> None:
        """Open the surface that lies at a place of the plan with its walls folded out [mm]."""
        found = None if self.room is None else place_on(self.room, place)
        if found is not None:
            self.open(found[0])


def place_on(room: Room, place: Place) -> tuple[str, Place] | None:
    """The surface that lies at a place of the plan with its walls folded out [mm], and its own x and y there [mm].

    None beside all of them.
    """
    from flatness.charts.room_sheet import GAP_MM

    for one in room.surfaces.values():
        if one.kind == "ceiling":
            continue
        x, y = _unfolded(one, place, GAP_MM)
        west, east, south, north = room.drawn[one.name].extent
        if west <= x <= east and south <= y <= north:
            return one.name, (x, y)
    return None


def _unfolded(one: RoomSurface, place: Place, gap: float) -> Place:
    """x and y of a surface [mm] at a place of the sheet."""
    if one.wall is None:
        return place
    away = np.subtract(place, one.wall.start)
    return float(away @ one.wall.along), float(-(away @ one.wall.into)) - gap


def finite(value: Any) -> bool:
    """Whether there is a number."""
    return isinstance(value, (int, float)) and math.isfinite(value)
