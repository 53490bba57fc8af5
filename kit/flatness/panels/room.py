"""The Room panel: is the room square, level, plumb and high enough, and where does each surface go?"""

from __future__ import annotations

import os
from collections.abc import Mapping
from html import escape
from typing import Any

import ipywidgets as w

from flatness.charts.heights import surface_map
from flatness.charts.room_sheet import room_plan
from flatness.charts.room_view import room_view
from flatness.panels.canvas import Pointer, draw_now, live_figure
from flatness.panels.controls import Panel, column, drop_down, offer, panel_box, put, row, text_field, toggles, words
from flatness.panels.instrument import MEASURE, fit
from flatness.panels.room_state import RoomState, finite
from flatness.panels.strip import Said, strip_html
from flatness.room.checks import MEASURED
from flatness.words.phrases import say
from flatness.words.printed import percent
from flatness.words.rooms import TITLES, answer, moves_most, target_sentences, told

EXAMPLE = "../sample_surveys/gallery/room.toml"
NUMBERS_IN = 7.0  # width of the map from which on the numbers at the studs do not run into one another
WORDS = {"pass": "PASS", "fail": "FAIL", "undecided": "UNDECIDED", MEASURED: "no limit"}
WALL_NAMES = {"All square": "square", "Parallel in pairs": "parallel", "Each as it is": "free"}
VIEW_NAMES = {"Plan, walls folded out": "plan", "Surface": "surface", "Turn": "turn"}
TOOLTIPS = ("The room in plan; click a surface to open it", "The surface that is opened", "The room in space")


class RoomPanel(Panel):
    """The panel; see :func:`room_panel`.

    Attributes
    ----------
    map : the live figure
    verdict, checks, text : the answer, the table of checks, and the targets in words
    """

    state: RoomState

    def __init__(self, state: RoomState) -> None:
        self.state = state
        self.map = live_figure((8.0, 7.4), "map")
        super().__init__(self.map)
        guard = state.guard
        self.views = toggles("Map", "What the map shows", VIEW_NAMES, TOOLTIPS)
        self.views.observe(guard(lambda change: state.set_trait("view", change["new"])), "value")
        self.opened = drop_down("Surface", "The surface to open")
        self.opened.observe(guard(lambda change: self._open(change["new"])), "value")
        self.walls = drop_down("Walls", "How walls are tied on the plan", list(WALL_NAMES.items()))
        self.walls.observe(guard(lambda change: state.choose(change["new"])), "value")
        steps = [(f"{angle}°", float(angle)) for angle in range(-180, 181, 15)]
        self.turn = drop_down("Seen from", "From which side the room is seen, in degrees from x", steps)
        put(self.turn, state.azimuth)
        self.turn.observe(guard(lambda change: state.set_trait("azimuth", change["new"])), "value")
        self.verdict, self.checks, self.text = words("", "fk-verdict"), words("", "fk-room-checks"), words()
        self.text.add_class("fk-room-text")
        self.caption = words("", "fk-quiet")
        self.room = text_field("Room for the map [px]", "Measured on the screen")
        self.room.add_class("fk-room")
        self.room.observe(guard(lambda _: self._refresh()), "value")
        box = w.VBox([w.HTML(MEASURE), self.map.canvas])
        for name in ("fk-map-box", "fk-room-map"):
            box.add_class(name)
        self.pointer = Pointer(
            self.map, self._listened, hover=lambda _: None, begin=guard(lambda place: state.open_at(place))
        )
        self.box = panel_box(
            self.verdict,
            row(self.views, self.opened, self.walls, self.turn),
            self.working,
            self.problems,
            column(box, self.room),
            self.caption,
            row(column(self.text), column(self.checks), top=True),
            look="room-panel",
        )
        self._tell()
        state.observe(guard(self._changed, clears=False))
        self._refresh()

    def _open(self, name: str) -> None:
        if name and name != self.state.opened:
            self.state.opened = name
            self.state.view = "surface"

    def _listened(self) -> list[Any]:
        return self.map.axes[:1] if self.state.view == "plan" else []

    def _changed(self, change: Mapping[str, Any]) -> None:
        if change["name"] not in ("working", "problems", "saved", "clash", "file") and not self.state.working:
            self._refresh()

    def _show_working(self, _: Any = None) -> None:
        super()._show_working()
        if not self.state.working:
            self.state.guard(self._refresh, clears=False)()

    def _refresh(self) -> None:
        state, room = self.state, self.state.room
        put(self.views, state.view)
        put(self.walls, state.walls)
        names = [("none", "")] if room is None else [(name, name) for name in room.surfaces]
        offer(self.opened, names, state.opened)
        self.turn.layout.display = "" if state.view == "turn" else "none"
        self.verdict.value = strip_html(self.said(), state.unit)
        self.checks.value = "" if room is None else checks_html(state)
        self.text.value = _targets_html(state)
        fit(self.map, self.room.value)
        self.caption.value = escape(caption(state, self._has_numbers))
        self._show_problems()
        self._draw()

    def said(self) -> Said:
        """What the strip says."""
        room = self.state.room
        if room is None:
            return Said(first="No room was read.", second="Name a room file; sample_surveys/gallery/room.toml is one.")
        second = self.state.clash if self.state.targets is None else moves_most(self.state.targets)
        return Said(room.verdict, WORDS[room.verdict], answer(room).partition(": ")[2], second)

    @property
    def _has_numbers(self) -> bool:
        """Whether the map is wide enough for what is added at each stud."""
        return bool(self.map.get_figwidth() >= NUMBERS_IN)

    def _draw(self) -> None:
        state, room = self.state, self.state.room
        self.map.clear()
        if room is not None and state.view == "plan":
            room_plan(self.map.add_axes((0.01, 0.01, 0.98, 0.98)), room, state.targets, numbers=self._has_numbers)
        elif room is not None and state.view == "surface":
            drawn = room.drawn[state.opened]
            surface_map(drawn.surface, survey=None, unit=state.unit, ax=self.map.add_subplot())
        elif room is not None:
            room_view(self.map, room, state.targets, azimuth=state.azimuth)
        draw_now(self.map)


def caption(state: RoomState, numbers: bool = True) -> str:
    """What the map shows, in a sentence or two; ``numbers``: whether what is added stands at each stud."""
    if state.room is None or state.view != "plan":
        return ""
    shown = "L and R are left and right as seen from the room. Click a surface to open it."
    if state.targets is None:
        return f"Blue is shy of the surface's own best plane, orange proud. {shown}"
    if not numbers:
        return f"Blue: to be added to. Orange: to come off. A wider window has the numbers at each stud. {shown}"
    unit = "inches" if state.room.show == "in" else "mm"
    return f"At each stud: what to add at the bottom, middle and top, in {unit}; − is take off. {shown}"


def checks_html(state: RoomState) -> str:
    """The checks of a room as a table in HTML."""
    room, unit = state.room, state.unit
    assert room is not None
    lines = []
    for what, some in room.checks.groupby("what", sort=False):
        lines.append(f'<tr><th scope="colgroup" colspan="4">{escape(TITLES[str(what)])}</th></tr>')
        for one in some.to_dict("records"):
            found = {str(key): value for key, value in one.items()}
            cells = [WORDS[found["verdict"]], say(found["where"], unit), told(found, "likely_mm", unit)]
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
