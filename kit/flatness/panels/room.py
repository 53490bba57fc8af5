"""The Room panel: is the room square, level, plumb and high enough, and where does each surface go?"""

from __future__ import annotations

import math
import os
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
from traitlets import Any as AnyTrait
from traitlets import Enum, Float, Instance, Unicode

from flatness.charts.heights import surface_map
from flatness.charts.rooms import clear_height_map, room_plan, room_view
from flatness.errors import PlanError
from flatness.job.room_reading import TARGETS, read_room
from flatness.job.schema import KEPT, Field
from flatness.measures.bars import Place
from flatness.panels.controls import Control, Controls, row, words
from flatness.panels.instrument import Instrument, Said
from flatness.panels.maps import ShownMap, clear_ends, lift_heading, map_box, say
from flatness.panels.state import State
from flatness.room.checks import MEASURED
from flatness.room.drawn import Drawn
from flatness.room.records import Room
from flatness.room.targets import WALLS, RoomTargets, room_targets
from flatness.words import phrases
from flatness.words.phrases import error_text
from flatness.words.printed import depth, percent
from flatness.words.rooms import LEAST_MM, TITLES, answer, moves_most, row_length, target_sentences
from flatness.words.ways import NOTHING

VIEWS = ("plan", "surface", "clear", "turn")


class RoomState(State):
    """What the panel knows.

    Attributes
    ----------
    file : the room file
    room, targets : as read, and what it is brought to; None where they cannot be
    clash : why there are no targets, in words; empty where there are
    walls : how walls are tied on the plan
    view : ``plan`` (walls folded out), ``surface`` (the one that is opened), ``clear`` (height) or
        ``turn`` (in space)
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
    from flatness.charts.rooms import GAP_MM

    for one in room.surfaces.values():
        if one.kind == "ceiling":
            continue
        x, y = _unfolded(room.drawn[one.name], place, GAP_MM)
        west, east, south, north = room.drawn[one.name].extent
        if west <= x <= east and south <= y <= north:
            return one.name, (x, y)
    return None


def _unfolded(one: Drawn, place: Place, gap: float) -> Place:
    """x and y of a surface [mm] at a place of the sheet."""
    if one.of.wall is None:
        x, y = one.own(*place)
        return float(x), float(y)
    away = np.subtract(place, one.of.line.start)
    return float(away @ one.of.line.along), float(-(away @ one.of.line.into)) - gap


def finite(value: Any) -> bool:
    """Whether there is a number."""
    return isinstance(value, (int, float)) and math.isfinite(value)


EXAMPLE = "../sample_surveys/gallery/room.toml"
WORDS = {"pass": "PASS", "fail": "FAIL", "undecided": "UNDECIDED", MEASURED: "no limit"}
VIEW_NAMES = {"Plan, walls folded out": "plan", "Surface": "surface", "Clear height": "clear", "Turn": "turn"}
TOOLTIPS = (
    "The room in plan; click a surface to open it",
    "The surface that is opened",
    "How high it is",
    "The room in space",
)
LETTERS_PT = 9.0  # 12 px, the least that is read on a screen
OPENED = Field(KEPT, "the surface to open", label="Surface")
SEEN_FROM = Field(KEPT, "in degrees from x", label="Seen from")
TURNS = [(f"{angle}°", float(angle)) for angle in range(-180, 181, 15)]
CONTROLS = (
    Control("opened", OPENED, lambda state: [(name, name) for name in state.names], take="open"),
    Control("walls", TARGETS["walls"], take="choose"),
    Control("azimuth", SEEN_FROM, TURNS, when="turn"),
)


class RoomPanel(Instrument):
    """The panel; see :func:`room_panel`.

    Attributes
    ----------
    checks, text : the table of checks, and the targets in words
    """

    state: RoomState

    def __init__(self, state: RoomState) -> None:
        self.state = state
        super().__init__(VIEW_NAMES, TOOLTIPS, begin=self._clicked)
        self.controls = Controls(state, CONTROLS, {"turn": lambda state: state.view == "turn"})
        self.checks, self.text = words("", "fk-room-checks"), words("", "fk-room-text")
        chosen = row(*(self.controls[one.key] for one in CONTROLS), self.units)
        self._arrange([chosen], [], {"Where it goes": (self.text,), "Checks": (self.checks,)})

    def _clicked(self, place: Place) -> None:
        if self.state.view == "plan":
            self.state.open_at(place)

    def _key(self) -> tuple[Any, ...]:
        state = self.state
        return state.room, state.targets, state.opened, state.azimuth, state.unit

    def _fill(self) -> None:
        state = self.state
        self.checks.value = "" if state.room is None else checks_html(state)
        self.text.value = _targets_html(state)

    def said(self) -> Said:
        room = self.state.room
        if room is None:
            return Said(first="No room was read.", second="Name a room file; sample_surveys/gallery/room.toml is one.")
        second = self.state.clash if self.state.targets is None else moves_most(self.state.targets)
        return Said(room.verdict, WORDS[room.verdict], answer(room).partition(": ")[2], second)

    def _paint(self, figure: Any) -> ShownMap:
        state, room = self.state, self.state.room
        if room is None:
            say(figure, "No room yet: name a room file.")
            return ShownMap()
        if state.view == "surface":
            surface, ax = room.drawn[state.opened].surface, figure.add_axes(map_box(figure))
            chart = surface_map(surface, survey=None, unit=state.unit, ax=ax)
            clear_ends(chart.colour_bar)
            return ShownMap(ax, caption=lift_heading(ax))
        if state.view == "clear":
            if not room.clear_heights:
                say(figure, "No ceiling was read over a floor.")
                return ShownMap()
            ax = figure.add_axes(map_box(figure))
            clear_ends(clear_height_map(room, unit=state.unit, ax=ax).colour_bar)
            return ShownMap(ax, caption=lift_heading(ax))
        if state.view == "turn":
            room_view(figure, room, state.targets, azimuth=state.azimuth)
            return ShownMap(figure.axes[0])  # what it shows is written on it
        ax = figure.add_axes((0.01, 0.01, 0.98, 0.98))
        for text in room_plan(ax, room, state.targets, numbers=False).texts:
            text.set_fontsize(LETTERS_PT)  # type: ignore[attr-defined]
        return ShownMap(ax, caption=caption(state))

    def _at(self, xy: Place) -> str:
        """What is to be done at a place of the plan, or what is seen."""
        state = self.state
        found = None if state.room is None or state.view != "plan" else place_on(state.room, xy)
        if found is None:
            return caption(state)
        name, at = found
        assert state.room is not None
        surface = state.room.drawn[name].surface
        i, j = (round((p - a[0]) / surface.spacing) for p, a in zip(at, (surface.x, surface.y), strict=True))
        inside = 0 <= i < len(surface.x) and 0 <= j < len(surface.y)
        change = float(state.targets.targets[name].change[j, i]) if state.targets is not None and inside else math.nan
        if not math.isfinite(change):
            return name
        if abs(change) < LEAST_MM:
            return f"{name}: {NOTHING} here. Click to open it."
        does = "add" if change > 0 else "take off"
        return f"{name}: {does} {depth(change, state.unit)[1:]} here. Click to open it."


def caption(state: RoomState) -> str:
    """What the map shows, in a sentence or two."""
    if state.room is None or state.view != "plan":
        return ""
    shown = "L and R are left and right as seen from the room. Click a surface to open it."
    if state.targets is None:
        return f"Blue is shy of the surface's own best plane, orange proud. {shown}"
    white = " What is gray is left as it is." if state.targets.left else ""
    return f"Blue is to be added, orange to come off.{white} {shown}"


def checks_html(state: RoomState) -> str:
    """The checks of a room as a table in HTML."""
    room, unit = state.room, state.unit
    assert room is not None
    lines = []
    for what, some in room.checks.groupby("what", sort=False):
        lines.append(f'<tr><th scope="colgroup" colspan="4">{escape(TITLES[str(what)])}</th></tr>')
        for one in some.to_dict("records"):
            found = {str(key): value for key, value in one.items()}
            cells = [WORDS[found["verdict"]], phrases.say(found["where"], unit), row_length(found, "likely_mm", unit)]
            cells += [percent(found["chance"]) if finite(found["chance"]) else ""]
            lines.append("<tr>" + "".join(f"<td>{escape(text)}</td>" for text in cells) + "</tr>")
    head = "".join(f'<th scope="col">{text}</th>' for text in ("Verdict", "Where", "Likely", "Chance"))
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table>"


def _targets_html(state: RoomState) -> str:
    if state.targets is None:
        return f"<p>{escape(state.clash)}</p>"
    items = "".join(f"<li>{escape(one)}</li>" for one in target_sentences(state.targets))
    return f"<h3>One target for all</h3><ul>{items}</ul>"


def room_panel(room: str | os.PathLike[str] = EXAMPLE, *, unit: str | None = None) -> RoomPanel:
    """A panel that checks a room and shows where its surfaces go; the last line of a cell.

    Parameters
    ----------
    room : a room file
    unit : ``in`` or ``mm``; None: the room's own
    """
    state = RoomState(**({} if unit is None else {"unit": unit}))
    panel = RoomPanel(state)
    state.guard(state.read)(room)
    return panel
