"""Controls with a label, a unit and a tooltip each; what went wrong as a list; what all panels are and look like."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from html import escape, unescape
from importlib.resources import files
from typing import Any

import ipywidgets as w
from matplotlib.figure import Figure

from flatness.charts.axes import INK, PALE
from flatness.errors import Problem, shorten
from flatness.lengths import format_length
from flatness.panels.canvas import close_figure
from flatness.panels.state import State
from flatness.words.phrases import say, sentence
from flatness.words.printed import AUTHORITY

PAPER, FIELD, RULE, ACCENT = "#ffffff", "#f4f5f2", "#737b84", "#f2c230"
COLOURS = {  # of words: letters, paper; all are told apart by a mark as well
    "text": (INK, PAPER),
    "field": (INK, PAPER),
    "quiet": (PALE, PAPER),
    "button": (INK, FIELD),
    "accent": (INK, ACCENT),
    "chosen": ("#ffffff", INK),
    "pass": ("#14532d", "#dff1e4"),
    "fail": ("#7a1717", "#fbe3df"),
    "undecided": ("#5c4300", "#fff0c2"),
    "problem": ("#7a1717", "#fdf1ee"),
}
HINTS = {"in": "ft, in", "mm": "m, mm"}  # units that a long length may be typed in
SNAP_MM = {"in": 25.4, "mm": 10.0}  # a click on a map is read no finer than this
UNITS = {"ft, in": "in", "mm": "mm"}


@cache
def asset(name: str) -> str:
    """A style or a script of the panels."""
    return (files("flatness.panels") / name).read_text(encoding="utf-8")


def script(name: str, css: str = "") -> str:
    """A script as HTML, run with ``this`` inside what it is shown in, each time it is shown; with a style, if any."""
    return f'<style onload="{escape(asset(name))}">{css}</style>'


def _style() -> str:
    """The look of all panels, from ``style.css``."""
    colours = "".join(f"--{name}:{letters};--{name}-paper:{paper};" for name, (letters, paper) in COLOURS.items())
    return script("panel.js", f".fk-panel {{ --rule:{RULE};{colours} }}\n{asset('style.css')}")


def row(*children: Any, top: bool = False) -> Any:
    """Controls side by side, on further lines where there is no room."""
    box = w.Box(list(children))
    box.add_class("fk-row")
    if top:
        box.add_class("fk-top")
    return box


def column(*children: Any, size: str = "") -> Any:
    box = w.VBox(list(children))
    box.add_class("fk-column")
    return sized(box, size)


def sized(widget: Any, size: str) -> Any:
    """The widget with a width of the panels' own: short, way, file, finish, survey or fill; empty for its own."""
    if size:
        widget.add_class(f"fk-{size}")
    return widget


def words(html: str = "", *classes: str) -> Any:
    """Text as HTML."""
    widget = w.HTML(html)
    for name in classes:
        widget.add_class(name)
    return widget


def drop_down(label: str, tooltip: str, options: Any = (), size: str = "") -> Any:
    """A list to choose one of; it may be given other options with :func:`offer`."""
    return sized(labelled(w.Dropdown(options=options, tooltip=tooltip), label), size)


def labelled(widget: Any, label: str) -> Any:
    """The widget under another label, which tells its tooltip: a list or field with a label shows none of itself."""
    widget.description_allow_html = True
    widget.description = f'<span title="{escape(widget.tooltip)}">{escape(label)}</span>'
    return widget


def label_of(widget: Any) -> str:
    """The label of a control as it is read."""
    return unescape(re.sub("<[^>]*>", "", widget.description))


def put(widget: Any, value: Any) -> None:
    """Show a value in a control; meanwhile ``is_filling`` is true of it, for nobody chose it."""
    with _filling(widget):
        widget.value = value


def offer(widget: Any, options: Sequence[tuple[str, Any]], value: Any) -> None:
    """Give a list or a slider these options, and show ``value``; meanwhile ``is_filling`` is true of it.

    A list that gets other options falls back to the first of them, which nobody chose.
    """
    with _filling(widget):
        if tuple(options) != tuple(widget.options):
            widget.options = list(options)
        widget.value = value


@contextmanager
def _filling(widget: Any) -> Iterator[None]:
    widget.fk_filling = True
    try:
        yield
    finally:
        widget.fk_filling = False


def is_filling(widget: Any) -> bool:
    """Whether a list is being given other options, so that its changes are nobody's choice."""
    return bool(getattr(widget, "fk_filling", False))


def several(label: str, tooltip: str, rows: int = 3) -> Any:
    """A list to choose several of; it is given its options with :func:`offer`."""
    return sized(labelled(w.SelectMultiple(options=(), rows=rows, tooltip=tooltip), label), "way")


def text_field(label: str, tooltip: str, value: str = "", size: str = "short") -> Any:
    """A line of text that counts once it is entered."""
    return sized(labelled(w.Text(value=value, tooltip=tooltip, continuous_update=False), label), size)


def button(label: str, tooltip: str, pressed: Callable[[Any], Any], *, main: bool = False) -> Any:
    widget = w.Button(description=label, tooltip=tooltip)
    if main:
        widget.add_class("fk-do")
    widget.on_click(pressed)
    return widget


def toggles(label: str, tooltip: str, options: Mapping[str, str], tooltips: Sequence[str]) -> Any:
    """One of a few, all in sight."""
    return w.ToggleButtons(
        description=label,
        tooltip=tooltip,
        options=list(options.items()),
        tooltips=list(tooltips),
        style={"button_width": "auto"},
    )


def unit_switch(unit: str, chosen: Callable[[str], Any]) -> Any:
    """Feet and inches, or millimetres, for the whole panel."""
    widget = toggles(
        "Lengths in",
        "The unit of every length on this panel, read and shown",
        UNITS,
        ("As a tape in inches reads", "Millimetres; metres for places"),
    )
    widget.value = unit
    widget.observe(lambda change: chosen(change["new"]), "value")
    return widget


def notes_html(notes: Iterable[Any], unit: str) -> str:
    """What must be known as HTML, each once, and who decides."""
    items = "".join(f"<li>{escape(sentence(note, unit))}</li>" for note in dict.fromkeys(notes))
    return f"<h3>Worth knowing</h3><ul>{items}<li>{escape(AUTHORITY)}</li></ul>"


def html_table(heads: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """An HTML table; cells are HTML already, the first of a row is its heading."""
    head = "".join(f'<th scope="col">{text}</th>' for text in heads)
    body = "".join(
        f'<tr><th scope="row">{first}</th>{"".join(f"<td>{cell}</td>" for cell in others)}</tr>'
        for first, *others in rows
    )
    return f'<table class="fk-table"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def problem_list(problems: Iterable[Problem], heading: str, unit: str = "") -> str:
    """Problems as HTML, read out at once by a screen reader: each with its cell, what was found, and the remedy.

    Millimetres are told in inches too where these are the ``unit``.
    """
    items = [f"<li>{_told(one, unit)}</li>" for one in problems]
    if not items:
        return ""
    return f'<div class="fk-problems" role="alert"><b>{escape(heading)}</b><ol>{"".join(items)}</ol></div>'


def _told(one: Problem, unit: str) -> str:
    where = (
        f"cell {one.cell}"
        if one.cell
        else ", ".join(text for text in (f"row {one.row}" if one.row is not None else "", one.column or "") if text)
        or (one.file or "")
    )
    where = where if where == one.file else where[:1].upper() + where[1:]
    parts = [f"<b>{escape(where)}</b>: " if where else "", escape(say(one.what, unit))]
    parts += [f"; found {escape(shorten(say(one.value, unit)))}"] if one.value is not None else []
    parts += [f"; expected {escape(say(one.expected, unit))}"] if one.expected else []
    parts += [f". <i>{escape(sentence(one.remedy, unit))}</i>"] if one.remedy else ["."]
    return "".join(parts)


def show_far(mm: float, unit: str) -> str:
    """A length along the surface [mm], in feet or in metres.

    >>> show_far(1219.2, "in"), show_far(1219.2, "mm")
    ('4\\' 0"', '1.219 m')
    """
    return format_length(mm, "ft", 16) if unit == "in" else format_length(mm, "m")


def panel_box(*children: Any, look: str = "") -> Any:
    """The whole panel on its own paper, whatever colours the notebook has."""
    box = w.VBox([words(_style(), "fk-none"), *children])
    box.add_class("fk-panel")
    return sized(box, look)


def all_controls(box: Any) -> list[Any]:
    """Every widget within a box that a person can use."""
    kinds = (w.Dropdown, w.SelectMultiple, w.Text, w.Button, w.ToggleButton, w.ToggleButtons, w.FileUpload)
    found = []
    for child in getattr(box, "children", ()):
        found += [child] if isinstance(child, kinds) else all_controls(child)
    return found


def close_all(box: Any) -> None:
    """Close a box and all within it, with their layouts and styles."""
    for child in getattr(box, "children", ()):
        close_all(child)
    for part in (getattr(box, "style", None), box.layout, box):
        if part is not None:
            part.close()


class Panel:
    """A panel, to be shown as the last line of a notebook's cell; each kind of panel is one.

    Attributes
    ----------
    state : what the panel knows
    box : the widgets
    figures : the live figures, closed with the panel
    working, problems : what is being computed, and what went wrong
    saved : what was written last, in panels that write files
    """

    state: State
    box: Any
    saved: Any

    def __init__(self, *figures: Figure) -> None:
        self.figures = figures
        for figure in figures:
            draw_alone(figure, self.state.lock)
        self.working, self.problems = words("", "fk-quiet"), words()

    def _bind(self, widget: Any, act: Callable[[Any], Any]) -> None:
        """Call with the new value of a control where a person chose it, and not where a list got other options."""
        chosen = self.state.guard(lambda change: None if is_filling(widget) else act(change["new"]))
        widget.observe(chosen, "value")

    def _tell(self) -> None:
        """From now on say what the state says of its work and of what went wrong."""
        self.state.observe(self.state.alone(self._show_problems), ["problems", "mistakes"])
        self.state.observe(self.state.alone(self._show_working), "working")

    def _show_problems(self, _: Any = None) -> None:
        self.problems.value = problem_list(self.state.wrong, "That did not work.", self.state.unit)

    def _show_working(self, _: Any = None) -> None:
        self.working.value = escape(self.state.working)

    def _show_saved(self, _: Any = None) -> None:
        names = ", ".join(self.state.saved)
        self.saved.value = f"<div role='status'>Written: {escape(names)}</div>" if names else ""

    def close(self) -> None:
        """Take the panel away with all its figures and widgets."""
        for figure in self.figures:
            close_figure(figure)
        close_all(self.box)

    def _repr_mimebundle_(self, **options: Any) -> Any:
        take_in_turn(self.box, self.state.lock)
        return self.box._repr_mimebundle_(**options)


def take_in_turn(box: Any, lock: threading.RLock) -> None:
    """Take what a person does in a box and all within it one step at a time, under a lock.

    A search shows its plan from a thread of its own: without this a choice made at that moment would be taken for a
    value that the panel itself shows, and be lost.
    """
    for child in getattr(box, "children", ()):
        take_in_turn(child, lock)
    take = box._handle_msg  # the widgets' only way in

    def alone(message: Any) -> None:
        with lock:
            take(message)

    if box.comm is not None:
        box.comm.on_msg(alone)


def draw_alone(figure: Figure, lock: threading.RLock) -> None:
    """Have a figure drawn under a lock, so that no picture shows it half changed."""
    draw: Any = figure.draw

    def alone(renderer: Any) -> Any:
        with lock:
            return draw(renderer)

    figure.draw = alone  # type: ignore[method-assign]


def part(words: str) -> Any:
    """The heading of a group of controls."""
    widget = w.HTML(words)
    widget.add_class("fk-part")
    return widget


def slider(label: str, tooltip: str, options: Sequence[tuple[str, float]], size: str = "steps") -> Any:
    """A slider over named steps, whose name is read beneath it."""
    widget = w.SelectionSlider(options=list(options), tooltip=tooltip, continuous_update=True)
    return sized(labelled(widget, label), size)


def set_steps(widget: Any, options: Sequence[tuple[str, float]], value: float) -> None:
    """Give a slider other steps, and stand it at the one nearest to a value; ``is_filling`` is true meanwhile."""
    nearest = min(options, key=lambda one: abs(one[1] - value))[1]
    offer(widget, options, nearest)
