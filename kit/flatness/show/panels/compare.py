"""The Compare panel: what changed between two surveys of one surface?"""

from __future__ import annotations

import os
from collections.abc import Iterable
from html import escape
from typing import Any

from flatness.comparison.comparing import Comparison
from flatness.measures.measured import Place
from flatness.show.panels.canvas import Pointer, live_figure
from flatness.show.panels.chooser import SurveyChooser
from flatness.show.panels.compare_state import CompareState
from flatness.show.panels.compare_words import (
    WAY_NAMES,
    alignment_sentence,
    changed_sentence,
    how_much,
    notes_list,
    told_change,
    verdicts_table,
    warnings_list,
)
from flatness.show.panels.controls import (
    CONFIDENCES,
    HINTS,
    SNAP_MM,
    button,
    column,
    drop_down,
    is_filling,
    labelled,
    panel_box,
    put,
    refill,
    row,
    text_field,
    toggles,
    unit_switch,
    words,
)
from flatness.show.panels.pair import CHANGE_IN, PAIR_IN, draw_change, draw_pair
from flatness.show.panels.shell import Panel
from flatness.show.panels.told import POINT_HERE
from flatness.show.panels.unchanged import EXAMPLE, missing_words, read_places, write_places
from flatness.show.words import AUTHORITY

NO_FINISH = "(no finish: compare without verdicts)"


class ComparePanel(Panel):
    """The Compare panel, to be shown as the last line of a notebook's cell.

    Attributes
    ----------
    state : what the panel knows; read it to go on by hand
    box : the widgets
    map, pair : the two live figures
    """

    state: CompareState

    def __init__(self, state: CompareState, folder: str | os.PathLike[str] = ".") -> None:
        self.state, self._folder = state, folder
        self.map, self.pair = live_figure(CHANGE_IN, "change"), live_figure(PAIR_IN, "pair")
        super().__init__(self.map, self.pair)
        self.before = SurveyChooser(state, state.before, "Before")
        self.after = SurveyChooser(state, state.after, "After")
        self._make_controls()
        self.changed, self.aligned, self.verdicts = words("", "fk-changed"), words("", "fk-aligned"), words()
        self.amounts, self.notes = words(), words()
        self.here, self.saved = words(POINT_HERE, "fk-here"), words("", "fk-saved")
        self.box = panel_box(
            row(*(
                column(one.controls, one.problems, one.about, size="survey") for one in (self.before, self.after)
            ), top=True),
            row(self.align, self.finish, self.confidence, self.units), self.places,
            self.working, self.problems, self.changed, self.aligned, self.verdicts,
            row(column(self.map.canvas, self.here), column(self.pair.canvas), top=True),
            self.amounts, self.notes, row(self.name, self.save), self.saved,
            words(f"<small>{escape(AUTHORITY)}</small>", "fk-quiet"),
        )  # fmt: skip
        self._ax = draw_change(self.map, None, state.unit)
        self.pointer = Pointer(
            self.map,
            lambda: [] if self._ax is None else [self._ax],
            hover=state.guard(lambda xy: state.set_trait("pointer", xy), clears=False),
            begin=state.guard(self._clicked),
            line=lambda *_: None,
        )
        for shows, names in (
            (self._fill, ["finish", "align", "unit", "unchanged", "clicking"]), (self._show, ["comparison", "unit"]),
            (self._point, ["pointer", "unit"]),
        ):  # fmt: skip
            state.observe(state.guard(shows, clears=False), names)
        for choice in (state.before, state.after):
            choice.observe(state.guard(self._fill, clears=False), "survey")
        self._tell()
        state.observe(self._show_saved, "saved")
        self._fill()
        self._show()

    def _make_controls(self) -> None:
        state, guard = self.state, self.state.guard
        self.units = unit_switch(state.unit, guard(state.choose_unit))
        self.align = drop_down(
            "Datums aligned on", "How the heights of both surveys are brought to one datum", WAY_NAMES.items(), "way"
        )
        self.finish = drop_down("Finish to come", "Whose limits both surveys are held against", (), "finish")
        self.confidence = drop_down(
            "Confidence [%]", "How sure a change must be to be shown, and a verdict to be given", CONFIDENCES.items(),
            "short",
        )  # fmt: skip
        self.confidence.value = state.confidence if state.confidence in CONFIDENCES.values() else 0.95
        self.unchanged = text_field("Unchanged", "", "", "finish")
        self.clicking = toggles(
            "A click on the map", "What a click on the map does", {"reads it": "", "says: unchanged": "unchanged"},
            ("Nothing is changed by a click", "Each click says of a place that it did not change"),
        )  # fmt: skip
        self.forget = button(
            "Forget them", "Go by the stations that agree with one another", guard(self._forgotten)
        )  # fmt: skip
        self.missing = words("", "fk-quiet")
        self.places = column(row(self.unchanged, self.clicking, self.forget), self.missing)
        self.unchanged.observe(guard(self._places_typed), "value")
        self.clicking.observe(guard(lambda change: state.set_trait("clicking", bool(change["new"]))), "value")
        self.name = text_field(
            "Record (file name)", "A new file beside this notebook; it is written only when you press the button",
            "record.json", "file",
        )  # fmt: skip
        self.save = button(
            "Save the record", "Files, settings and results, so that another person gets the same numbers",
            guard(lambda _: state.save(self.name.value, self._folder)), main=True,
        )  # fmt: skip
        self.align.observe(guard(lambda change: state.set_trait("align", change["new"])), "value")
        self.finish.observe(guard(self._finish_chosen), "value")
        self.confidence.observe(guard(lambda change: state.set_trait("confidence", change["new"])), "value")

    def _finish_chosen(self, change: Any) -> None:
        if not is_filling(self.finish):
            self.state.choose_finish(change["new"] or "")

    def _places_typed(self, change: Any) -> None:
        if not is_filling(self.unchanged) and change["new"] != write_places(self.state.unchanged, self.state.unit):
            self.state.unchanged = read_places(change["new"], self.state.unit)

    def _forgotten(self, _: Any) -> None:
        self.state.unchanged = ()

    def _clicked(self, xy: Place) -> None:
        self.pointer.forget()
        state = self.state
        if state.clicking and state.by_surface:
            step = SNAP_MM[state.unit]
            state.say_unchanged((round(xy[0] / step) * step, round(xy[1] / step) * step))

    def _fill(self, _: Any = None) -> None:
        state = self.state
        self.places.layout.display = "" if state.by_surface else "none"
        self.unchanged.tooltip = (
            f"Places x, y or labels of stations that did not change, with ; between, such as {EXAMPLE[state.unit]}; "
            "empty: the stations that agree with one another"
        )
        labelled(self.unchanged, f"Places that did not change [{HINTS[state.unit]}]")
        put(self.unchanged, write_places(state.unchanged, state.unit))
        self.clicking.value = "unchanged" if state.clicking else ""
        self.forget.layout.display = "" if state.unchanged else "none"
        self.missing.value = missing_words(state.unchanged, state.align)
        options = [(NO_FINISH, ""), *((name, key) for key, name in state.finishes.items())]
        refill(self.finish, options, state.finish if state.finish in state.finishes else "")
        self.align.value, self.units.value = state.align, state.unit

    def _show(self, _: Any = None) -> None:
        found, unit = self.state.comparison, self.state.unit
        said = ["", "", "", "", ""] if found is None else [
            f'{warnings_list(found, unit)}<div class="fk-said" aria-live="polite">'
            f"{escape(changed_sentence(found, unit))}</div>",
            escape(alignment_sentence(found, unit)), verdicts_table(found, unit), how_much(found, unit),
            notes_list(found, unit),
        ]  # fmt: skip
        for widget, text in zip(
            (self.changed, self.aligned, self.verdicts, self.amounts, self.notes), said, strict=True
        ):
            widget.value = text
        self._ax = draw_change(self.map, found, unit, self.state.unchanged if self.state.by_surface else ())
        draw_pair(self.pair, found, unit)
        for figure in (self.map, self.pair):
            figure.canvas.draw_idle()

    def _point(self, _: Any = None) -> None:
        state = self.state
        pointed = state.comparison is not None and state.pointer is not None
        self.here.value = escape(told_change(state.comparison, state.pointer, state.unit) if pointed else POINT_HERE)

    @property
    def found(self) -> Comparison:
        """The comparison that the panel shows, to go on by hand; see :meth:`CompareState.found`."""
        return self.state.found()


def compare_panel(
    before: str | os.PathLike[str] = "", after: str | os.PathLike[str] = "", finish: str = "", *,
    align: str = "benchmarks", folders: Iterable[str | os.PathLike[str]] = (), confidence: float = 0.95,
    unit: str | None = None, records: str | os.PathLike[str] = ".",
) -> ComparePanel:  # fmt: skip
    """A panel that compares two surveys of one surface, for those who do not write Python.

    Parameters
    ----------
    before, after : files to begin with; empty for none
    finish : key of the finish whose verdicts are compared; empty for none
    align : ``benchmarks``, ``offset``, ``tilt`` or ``none``, to begin with
    folders : folders whose CSV and XLSX files are offered
    confidence : of the limit of detection and the verdicts, 0.5 to under 1
    unit : ``in`` or ``mm``; None follows the later survey
    records : folder into which records are saved

    Returns
    -------
    ComparePanel : its ``state`` holds the surveys and the comparison
    """
    traits: dict[str, Any] = {} if unit is None else {"unit": unit}
    state = CompareState(before, after, finish, folders, align=align, confidence=confidence, **traits)
    panel = ComparePanel(state, records)
    state.guard(state.begin)()
    return panel
