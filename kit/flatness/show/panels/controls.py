"""Controls with a label, a unit and a tooltip each; the panels' look; what went wrong as a list."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from html import escape, unescape
from typing import Any

import ipywidgets as w

from flatness.errors import Problem, shorten
from flatness.show.axes import INK, PALE
from flatness.show.words import in_unit

PAPER, FIELD, RULE, ACCENT = "#ffffff", "#f4f5f2", "#737b84", "#f2c230"
COLOURS = {  # of words: letters, paper; all are told apart by a mark as well
    "text": (INK, PAPER), "field": (INK, PAPER), "quiet": (PALE, PAPER), "button": (INK, FIELD),
    "accent": (INK, ACCENT), "chosen": ("#ffffff", INK), "pass": ("#14532d", "#dff1e4"),
    "fail": ("#7a1717", "#fbe3df"), "undecided": ("#5c4300", "#fff0c2"), "problem": ("#7a1717", "#fdf1ee"),
}  # fmt: skip
CONFIDENCES = {"80 %": 0.8, "90 %": 0.9, "95 %": 0.95, "99 %": 0.99}
HINTS = {"in": "ft, in", "mm": "m, mm"}  # units that a long length may be typed in
SNAP_MM = {"in": 25.4, "mm": 10.0}  # a click on a map is read no finer than this
UNIT_NAMES = {"Feet, inches and fractions": "in", "Millimetres": "mm"}


def _pair(name: str) -> str:
    letters, paper = COLOURS[name]
    return f"color:{letters};background:{paper}"


# a notebook takes arrow keys to move between cells, unless what has the focus says that they are its own
KEYS = (
    "const panel = this.closest('.fk-panel'); if (panel) panel.addEventListener('focusin', "
    "event => {event.target.dataset.lmSuppressShortcuts = 'true'})"
)
STYLE = f"""<style onload="{KEYS}">
.fk-panel {{ {_pair("text")}; padding:12px 14px; border:1px solid {RULE}; border-radius:4px; font-size:14px;
  overflow:visible; max-width:1500px; box-sizing:border-box }}
.fk-panel > *, .fk-row > *, .fk-column > * {{ min-width:0 }}
.fk-row {{ display:flex; flex-flow:row wrap; align-items:flex-end; overflow:visible; gap:6px 12px }}
.fk-row.fk-top {{ align-items:flex-start; gap:8px 24px }}
.fk-column {{ overflow:visible; gap:8px }} .fk-panel {{ gap:8px }}
.fk-panel .widget-inline-hbox {{ display:flex; flex-direction:column; align-items:stretch; height:auto; margin:0;
  width:auto; max-width:100% }}
.fk-panel .widget-inline-hbox .widget-label, .fk-panel .widget-label {{ width:auto !important;
  min-width:0 !important; max-width:none; text-align:left; height:auto; line-height:1.45; font-weight:600;
  font-size:13px; color:{INK}; margin:0; padding:0; white-space:normal; overflow:visible }}
.fk-panel .widget-html, .fk-panel .widget-html-content {{ color:{INK}; line-height:1.45; font-size:14px; margin:0;
  height:auto; width:100%; overflow:visible }}
.fk-panel select, .fk-panel input[type=text] {{ {_pair("field")} !important; border:1px solid {RULE};
  border-radius:3px; flex:0 0 32px; height:32px; font-size:14px; width:100%; max-width:100%; margin:0;
  padding:2px 6px }}
.fk-panel select[multiple] {{ height:auto; flex:0 0 auto; overflow-y:auto }}
.fk-panel button.jupyter-button {{ {_pair("button")}; border:1px solid {RULE}; border-radius:3px; height:32px;
  line-height:28px; font-size:14px; width:auto; padding:0 12px; margin:0; box-shadow:none }}
.fk-panel button.jupyter-button:hover {{ border-color:{INK}; box-shadow:none }}
.fk-panel button.jupyter-button.fk-do {{ {_pair("accent")}; border-color:{INK}; font-weight:600 }}
.fk-panel .widget-toggle-buttons {{ width:auto; flex-wrap:wrap }}
.fk-panel .widget-toggle-button.mod-active {{ {_pair("chosen")}; border-color:{INK}; font-weight:600 }}
.fk-panel select:focus-visible, .fk-panel input:focus-visible, .fk-panel button:focus-visible {{
  outline:3px solid #1b5fa8; outline-offset:1px }}
.fk-file {{ flex:1 1 210px; max-width:340px }} .fk-finish {{ flex:4 1 520px; max-width:640px }}
.fk-short {{ flex:0 1 150px }} .fk-way {{ flex:1 1 240px; max-width:280px }}
.fk-survey {{ flex:1 1 420px; max-width:700px }} .fk-fill {{ flex:1 1 384px; max-width:640px }}
.fk-canvas {{ flex:0 0 auto; overflow:visible; margin:0 }}
.fk-said {{ font-size:16px; padding:8px 12px; border-left:6px solid currentColor; margin:6px 0; line-height:1.4 }}
.fk-pass {{ {_pair("pass")} }} .fk-fail {{ {_pair("fail")} }} .fk-undecided {{ {_pair("undecided")} }}
.fk-mark {{ padding:1px 7px; border-radius:3px; white-space:nowrap; font-weight:600 }}
.fk-problems {{ {_pair("problem")}; border:1px solid currentColor; padding:6px 12px; margin:6px 0 }}
.fk-problems ol {{ margin:4px 0 2px; padding-left:24px }} .fk-problems li {{ margin-bottom:4px }}
.fk-quiet, .fk-quiet .widget-html-content {{ color:{PALE} }}
.fk-panel .fk-table {{ border-collapse:collapse; font-size:13px; margin:4px 0; width:100%; max-width:1100px }}
.fk-panel .fk-table th, .fk-panel .fk-table td {{ text-align:left; padding:4px 10px 4px 0; vertical-align:top;
  border-bottom:1px solid #d3d7db; color:{INK}; background:{PAPER}; font-weight:400; white-space:normal }}
.fk-panel .fk-table thead th {{ font-weight:600 }}
.fk-panel pre {{ font-size:11.5px; line-height:1.35; margin:4px 0; color:{INK}; overflow:visible }}
.fk-panel summary {{ cursor:pointer; font-weight:600; font-size:13px }}
.fk-here {{ font-variant-numeric:tabular-nums; min-height:44px }}
</style>"""


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
    """A list to choose one of; it may be given other options with :func:`refill`."""
    return sized(labelled(w.Dropdown(options=options, tooltip=tooltip), label), size)


def labelled(widget: Any, label: str) -> Any:
    """The widget under another label, which tells its tooltip: a list or field with a label shows none of itself."""
    widget.description_allow_html = True
    widget.description = f'<span title="{escape(widget.tooltip)}">{escape(label)}</span>'
    return widget


def label_of(widget: Any) -> str:
    """The label of a control as it is read."""
    return unescape(re.sub("<[^>]*>", "", widget.description))


def refill(widget: Any, options: Sequence[tuple[str, str]], value: str) -> None:
    """Give a drop-down list other options, and the choice ``value``; meanwhile ``is_filling`` is true of it.

    A list that gets other options falls back to the first of them, which nobody chose.
    """
    if tuple(options) != tuple(widget.options):
        offer(widget, options, value)
    widget.value = value


def put(widget: Any, value: Any) -> None:
    """Show a value in a control; meanwhile ``is_filling`` is true of it, for nobody chose it."""
    with _filling(widget):
        widget.value = value


def offer(widget: Any, options: Sequence[tuple[str, Any]], value: Any) -> None:
    """Give a list or a slider these options, and show ``value``; meanwhile ``is_filling`` is true of it."""
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


def text_lines(label: str, tooltip: str, rows: int = 5) -> Any:
    """A field of several lines, read when a button is pressed."""
    return labelled(w.Textarea(rows=rows, tooltip=tooltip), label)


def button(label: str, tooltip: str, pressed: Callable[[Any], Any], *, main: bool = False) -> Any:
    widget = w.Button(description=label, tooltip=tooltip)
    if main:
        widget.add_class("fk-do")
    widget.on_click(pressed)
    return widget


def toggles(label: str, tooltip: str, options: Mapping[str, str], tooltips: Sequence[str]) -> Any:
    """One of a few, all in sight."""
    return w.ToggleButtons(
        description=label, tooltip=tooltip, options=list(options.items()), tooltips=list(tooltips),
        style={"button_width": "auto"},
    )  # fmt: skip


def unit_switch(unit: str, chosen: Callable[[str], Any]) -> Any:
    """Feet and inches, or millimetres, for the whole panel."""
    widget = toggles(
        "Lengths in", "The unit of every length on this panel, read and shown", UNIT_NAMES,
        ("As a tape in inches reads", "Millimetres; metres for places"),
    )  # fmt: skip
    widget.value = unit
    widget.observe(lambda change: chosen(change["new"]), "value")
    return widget


def problem_list(problems: Iterable[Problem], heading: str, unit: str = "") -> str:
    """Problems as HTML, read out at once by a screen reader: each with its cell, what was found, and the remedy.

    Millimetres are told in inches too where these are the ``unit``.
    """
    items = [f"<li>{in_unit(_told(one), unit) if unit == 'in' else _told(one)}</li>" for one in problems]
    if not items:
        return ""
    return f'<div class="fk-problems" role="alert"><b>{escape(heading)}</b><ol>{"".join(items)}</ol></div>'


def _told(one: Problem) -> str:
    where = f"cell {one.cell}" if one.cell else ", ".join(
        text for text in (f"row {one.row}" if one.row is not None else "", one.column or "") if text
    ) or (one.file or "")  # fmt: skip
    where = where if where == one.file else where[:1].upper() + where[1:]
    parts = [f"<b>{escape(where)}</b>: " if where else "", escape(one.what)]
    parts += [f"; found {escape(shorten(one.value))}"] if one.value is not None else []
    parts += [f"; expected {escape(one.expected)}"] if one.expected else []
    parts += [f". <i>{escape(one.remedy[:1].upper() + one.remedy[1:])}.</i>"] if one.remedy else ["."]
    return "".join(parts)


def panel_box(*children: Any) -> Any:
    """The whole panel on its own paper, whatever colours the notebook has."""
    box = w.VBox([w.HTML(STYLE), *children])
    box.add_class("fk-panel")
    return box


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
