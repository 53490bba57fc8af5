"""Controls with a label, a unit and a tooltip each; one for each key of the schema of a job, the same in every panel.

What may be typed or chosen, from where to where, what it is called and what it is for come from the schema, so that a
panel takes what a job file takes and says the same of what is wrong. A text that cannot be read stays in its field, and
what is wrong with it stays said, until it is put right.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from html import escape, unescape
from importlib.resources import files
from typing import Any

import ipywidgets as w

from flatness.charts.axes import INK, PALE
from flatness.errors import FlatnessError, Problem, shorten
from flatness.job.report import JobReport, Origin
from flatness.job.schema import Field, field_of
from flatness.job.values import Amount, Length, Many, Number, Stock, Text
from flatness.lengths import MM3_PER_FT3, MM3_PER_LITRE, format_length
from flatness.panels.state import State
from flatness.planning.quantities import POUND_KG
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


Options = Sequence[tuple[str, Any]]
VOLUME = {"in": MM3_PER_FT3, "mm": MM3_PER_LITRE}
# how numbers are typed and shown: by the unit of lengths, what the label says, the unit that is read, and what it is
MEASURES: Mapping[str, Mapping[str, tuple[str, str, float]]] = {
    "volume": {"in": ("ft3", "ft3", VOLUME["in"]), "mm": ("litres", "l", VOLUME["mm"])},
    "density": {"in": ("lb/ft3", "lb/ft3", POUND_KG / MM3_PER_FT3), "mm": ("kg/m3", "kg/m3", 1e-9)},
    "share": {"in": ("%", "", 0.01), "mm": ("%", "", 0.01)},
    "price": {"in": ("money a ft3", "", 1 / VOLUME["in"]), "mm": ("money a litre", "", 1 / VOLUME["mm"])},
}
CONFIDENCES = tuple((f"{share} %", share / 100) for share in (80, 90, 95, 99))


@dataclass(frozen=True)
class Control:
    """A control.

    Attributes
    ----------
    key : its name: the trait, or ``trait.key`` of a trait that is a table, that it stands for; any other is read by a
        button alone
    field : the key of a job that it stands for
    offers : what may be chosen, with the value of each, where the key leaves that open or the state decides it
    none : what it is called to choose nothing; empty where something must be chosen
    label, help, when : in place of the field's own
    size : its width, as :func:`~flatness.panels.controls.sized` takes it; ``steps`` is a slider, ``several`` a list
        of which several may be chosen
    empty : what an empty field stands for
    needed : whether it may not be empty
    measure : of ``MEASURES``, for a number
    take : the state's method that takes what is chosen; empty: its trait is set
    """

    key: str
    field: Field
    offers: Options | Callable[[Any], Options] = ()
    none: str = ""
    label: str = ""
    help: str = ""
    when: str = ""
    size: str = "short"
    empty: Any = None
    needed: bool = False
    measure: str = ""
    take: str = ""

    @property
    def name(self) -> str:
        """What stands beside it."""
        return self.label or self.field.label

    @property
    def tooltip(self) -> str:
        text = self.help or self.field.help
        return text[:1].upper() + text[1:]

    @property
    def is_typed(self) -> bool:
        """Whether it is a field to type into."""
        return not self.offers and not self.none and not hasattr(self.field.type, "options")

    @property
    def _is_list(self) -> bool:
        return isinstance(self.field.type, (Many, Stock))

    def _measure(self, unit: str) -> tuple[str, str, float]:
        kind = self.field.type.kind if isinstance(self.field.type, Amount) else self.measure
        return MEASURES[kind][unit]

    def hint(self, unit: str) -> str:
        """The unit that the label says."""
        if isinstance(self.field.type, Text) or not self.is_typed:
            return ""
        if isinstance(self.field.type, (Amount, Number)):
            return self._measure(unit)[0]
        return HINTS[unit] if self.field.far or self._is_list else unit

    def called(self, unit: str) -> str:
        """The label with its unit."""
        hint = self.hint(unit)
        return f"{self.name} [{hint}]" if hint else self.name

    def read(self, text: str, unit: str) -> Any:
        """What a text says, in the kit's own unit; FlatnessError, which names the control, where it says nothing."""
        text, holds = text.strip(), self.field.type
        if not text and not (self.needed or self.field.needed):
            return self.empty
        far = self.field.far or self._is_list
        report = JobReport(Origin(options={self.key: self.called(unit)}), "ft" if far and unit == "in" else unit)
        raw: Any = text
        if isinstance(holds, Many):
            raw = [holds.one.typed(part.strip()) for part in text.split(";") if part.strip()]
        elif isinstance(holds, Stock):
            raw = [part.strip() for part in text.split(";") if part.strip()]
        elif isinstance(holds, Number):
            raw = holds.typed(text.removesuffix("%").strip().replace(",", "."))
        elif isinstance(holds, Amount) and not any(letter.isalpha() for letter in text):
            raw = f"{text} {self._measure(unit)[1]}"
        found = holds.read(raw, self.key, report)
        report.stop_if_any()
        return found * self._measure(unit)[2] if isinstance(holds, Number) else found

    def show(self, value: Any, unit: str) -> str:
        """A value as :meth:`read` reads it."""
        if value is None or isinstance(value, str):
            return value or ""
        if self._is_list:
            return "; ".join(_one(one, unit) for one in value)
        if isinstance(self.field.type, Length):
            return show_far(value, unit) if self.field.far else format_length(value, unit, 64)
        return f"{value / self._measure(unit)[2]:.{6 if self.measure == 'price' else 4}g}"

    def retyped(self, text: str, unit: str, other: str) -> str:
        """What is typed in one unit as it reads in another; a text that says nothing as it is."""
        try:
            return self.show(self.read(text, unit), other) if text.strip() else text
        except FlatnessError:
            return text

    def options(self, state: Any) -> Options:
        """What may be chosen."""
        found = self.offers(state) if callable(self.offers) else self.offers
        found = found or getattr(self.field.type, "options", ())
        return [(self.none, ""), *found] if self.none else found


def _one(value: Any, unit: str) -> str:
    """One of several: a length, a place, or a label."""
    if isinstance(value, tuple):
        return ", ".join(show_far(at, unit) for at in value)
    return value if isinstance(value, str) else show_far(value, unit)


def confidence(help: str) -> Control:
    """How sure is sure."""
    return Control("confidence", field_of("confidence"), CONFIDENCES, help=help)


def finish(none: str, help: str) -> Control:
    """The finish to come, of those for the surface that was surveyed; ``none``: what it is called to choose none."""
    return Control(
        "finish", field_of("limits"), lambda state: state.offered(none), help=help, size="finish", take="choose_finish"
    )


class Controls:
    """Controls of a panel: ``controls[key]`` is the widget.

    Parameters
    ----------
    state : of the panel
    controls : one a key
    when : by the words of :attr:`Control.when`, whether it applies to what the state knows

    Attributes
    ----------
    wrong : what is wrong in a field, by its key
    """

    def __init__(
        self, state: State, controls: Iterable[Control], when: Mapping[str, Callable[[Any], Any]] | None = None
    ) -> None:
        self.state = state
        self.wrong: dict[str, FlatnessError] = {}
        self._when = when or {}
        self._kept: dict[str, Any] = {}
        self._unit = state.unit
        self._of = {one.key: one for one in controls}
        self._widgets = {key: self._made(one) for key, one in self._of.items()}
        self.fill()

    def __getitem__(self, key: str) -> Any:
        return self._widgets[key]

    def _is_kept(self, control: Control) -> bool:
        return hasattr(type(self.state), control.key.partition(".")[0])

    def _made(self, control: Control) -> Any:
        name, tip, size = control.name, control.tooltip, control.size
        if control.is_typed:
            widget = text_field(name, tip, "0" if control.empty == 0.0 else "", size)
        elif size == "steps":
            widget = slider(name, tip, [("0", 0.0)])
        elif size == "several":
            widget = several(name, tip)
        else:
            widget = drop_down(name, tip, () if callable(control.offers) else control.options(self.state), size)
        widget.add_class("fk-of-" + control.key.replace(".", "-").replace("_", "-"))
        if self._is_kept(control) or control.is_typed:
            widget.observe(self.state.guard(lambda _: self._taken(control)), "value")
        return widget

    # what a person does

    def read(self, key: str) -> Any:
        """What stands in a control, in the kit's own unit; FlatnessError, which names the control."""
        control, value = self._of[key], self[key].value
        return control.read(value, self.state.unit) if control.is_typed else value

    def _taken(self, control: Control) -> None:
        """Read a control into the state; what is wrong stays said until it is put right."""
        widget, (trait, _, part) = self[control.key], control.key.partition(".")
        if is_filling(widget):
            return
        kept = self._is_kept(control)
        made: Any = None
        try:
            if kept or widget.value.strip():
                made = self.read(control.key)
            if part:
                made = {**getattr(self.state, trait), part: made}
            self.state.check(trait, made)
            if control.take:
                getattr(self.state, control.take)(made)
        except FlatnessError as error:
            self.wrong[control.key] = error.located(column=label_of(widget))
        else:
            self.wrong.pop(control.key, None)
            if kept and not control.take:
                setattr(self.state, trait, made)
        self._report()

    def _report(self) -> None:
        self.state.mistakes = tuple(problem for error in self.wrong.values() for problem in error.problems)

    # what the state says

    def fill(self) -> None:
        """Show in each control what the state holds."""
        for control in self._of.values():
            self._fill(control)
        self._unit = self.state.unit
        self._report()

    def put(self, key: str, value: Any) -> None:
        """Show a value in a field that the state does not keep, in place of what was typed."""
        self.wrong.pop(key, None)
        put(self[key], self._of[key].show(value, self.state.unit))
        self._report()

    def _fill(self, control: Control) -> None:
        state, widget, kept = self.state, self[control.key], self._is_kept(control)
        applies = self._when.get(control.when or control.field.when)
        widget.layout.display = "" if applies is None or applies(state) else "none"
        trait, _, part = control.key.partition(".")
        value: Any = widget.value
        if kept:
            value = getattr(state, trait)
            value = value.get(part) if part else value
        if control.is_typed:
            if control.hint(state.unit) and f"[{control.hint(state.unit)}]" not in widget.description:
                labelled(widget, control.called(state.unit))
            if self._kept.get(control.key, value) != value:  # set otherwise meanwhile
                self.wrong.pop(control.key, None)
            if kept:
                self._kept[control.key] = value
                if control.key not in self.wrong:
                    put(widget, control.show(value, state.unit))
            elif state.unit != self._unit:
                put(widget, control.retyped(value, self._unit, state.unit))
            return
        options = control.options(state)
        known = [one for _, one in options]
        if control.size == "several":
            offer(widget, options, tuple(one for one in value if one in known))
        elif control.size == "steps":
            set_steps(widget, options, value)
        elif options:
            grown = not kept and len(options) != len(widget.options)  # one that was just added is chosen
            offer(widget, options, value if value in known and not grown else known[0 if kept else -1])
