"""The Check panel: is this surface flat enough for the finish to come?"""

from __future__ import annotations

import os
from collections.abc import Iterable
from html import escape
from typing import Any

from flatness.errors import LengthError
from flatness.lengths import format_length, parse_length
from flatness.limits.spot_sheet import seen_lines
from flatness.limits.verdict import Assessment
from flatness.measures.measured import Place
from flatness.show.check_words import answer, sweeps_told
from flatness.show.panels.canvas import Pointer, live_figure
from flatness.show.panels.check_state import AGREED, MORE, AgreedNumbers, CheckState
from flatness.show.panels.chooser import SurveyChooser
from flatness.show.panels.controls import (
    CONFIDENCES,
    HINTS,
    button,
    column,
    drop_down,
    is_filling,
    label_of,
    labelled,
    panel_box,
    refill,
    row,
    text_field,
    text_lines,
    toggles,
    unit_switch,
    words,
)
from flatness.show.panels.maps import MAP_IN, PROFILE_IN, VIEW_NAMES, VIEW_TOOLTIPS, draw_map, draw_profile
from flatness.show.panels.shell import Panel
from flatness.show.panels.told import POINT_HERE, told_at, told_bar
from flatness.show.panels.verdict_words import limits_table, verdict_mark
from flatness.show.words import AUTHORITY

CHOOSE_FINISH = "(choose the finish to come)"
ENDS = ("From x", "From y", "To x", "To y")


class CheckPanel(Panel):
    """The Check panel, to be shown as the last line of a notebook's cell.

    Attributes
    ----------
    state : what the panel knows; read it to go on by hand
    box : the widgets
    map, profile : the two live figures
    """

    state: CheckState

    def __init__(self, state: CheckState) -> None:
        self.state = state
        self.map, self.profile = live_figure(MAP_IN, "map"), live_figure(PROFILE_IN, "profile")
        super().__init__(self.map, self.profile)
        self.chooser = SurveyChooser(state, state.choice, "Survey")
        self._make_controls()
        self.verdict, self.table = words("", "fk-verdict"), words()
        self.here = words(POINT_HERE, "fk-here")
        self.told_bar = words("", "fk-bar")
        self.box = panel_box(
            row(self.chooser.controls, self.units),
            self.chooser.problems, self.chooser.about,
            row(self.finish, self.confidence, self.agreed_length, self.agreed_gap),
            self.working, self.problems, self.verdict, row(self.strips, column(self.seen, self.look)), self.table,
            row(
                column(self.views, self.map.canvas, self.here),
                column(
                    row(self.length, self.worst), row(row(*self.ends[:2]), row(*self.ends[2:]), self.lay),
                    self.told_bar, self.profile.canvas,
                    size="fill",
                ),
                top=True,
            ),
            words(f"<small>{escape(AUTHORITY)}</small>", "fk-quiet"),
        )  # fmt: skip
        self._drawn: tuple[Any, ...] = self._seen()
        self._bar_drawn: Any = state.bar
        self._shown = draw_map(self.map, state)
        guard = state.guard
        self._filling = False
        self.pointer = Pointer(
            self.map, lambda: [] if self._shown.ax is None else [self._shown.ax],
            hover=guard(lambda xy: state.set_trait("pointer", xy), clears=False), begin=guard(self._began),
            stretch=guard(self._stretched), line=guard(self._lined),
        )  # fmt: skip
        for shows, names in (
            (self._say, ["assessment", "unit"]), (self._list_strips, ["strips", "unit"]),
            (self._fill_finishes, ["finish"]), (self._fill_numbers, ["unit", "bar_length", "agreed"]),
            (self._draw, ["assessment", "unit", "view", "bar_length"]), (self._lay_shown, ["bar", "unit"]),
            (self._point, ["pointer", "view", "unit"]),
        ):  # fmt: skip
            state.observe(guard(shows, clears=False), names)
        for shows in (self._fill_finishes, self._draw, self._say):
            state.choice.observe(guard(shows, clears=False), "survey")
        self._tell()
        self._fill_finishes()
        self._fill_numbers()
        self._list_strips()
        self._say()

    def _make_controls(self) -> None:
        state, guard = self.state, self.state.guard
        self.units = unit_switch(state.unit, guard(state.choose_unit))
        self.finish = drop_down("Finish to come", "What is to be laid, hung or applied on this surface", (), "finish")
        self.confidence = drop_down(
            "Confidence [%]", "How sure a pass or a fail must be; short of it the verdict is undecided",
            CONFIDENCES.items(), "short",
        )  # fmt: skip
        self.confidence.value = state.confidence if state.confidence in CONFIDENCES.values() else 0.95
        self.agreed_length = text_field("Agreed straightedge", "Length of the straightedge that was agreed")
        self.agreed_gap = text_field("Agreed gap", "The gap that was agreed to be allowed under it")
        self.views = toggles("Map of", "What the map shows", VIEW_NAMES, VIEW_TOOLTIPS)
        self.length = text_field("Straightedge", "Length of the straightedge that is laid")
        self.worst = button(
            "Lay it where the gap is largest", "Of all places and directions", guard(lambda _: state.lay_worst())
        )
        self.ends = [
            text_field(name, f"{name}: an end of the straightedge; or click two points on the map") for name in ENDS
        ]
        self.strips = words("", "fk-strips")
        self.seen = text_lines(
            "Largest gap under it", "A line for each strip, in order: a gap such as 3/32, or none; blank where not done"
        )
        self.look = button(
            "Check again with these", "What the bar showed between the stations", guard(self._seen_typed)
        )
        self.lay = button("Lay it here", "Between the two ends typed", guard(self._lay_typed), main=True)
        self.finish.observe(guard(self._finish_chosen), "value")
        self.confidence.observe(guard(lambda change: state.set_trait("confidence", change["new"])), "value")
        self.views.observe(guard(lambda change: state.set_trait("view", change["new"])), "value")
        self.length.observe(guard(self._length_typed), "value")
        for field in (self.agreed_length, self.agreed_gap):
            field.observe(guard(self._agreed_typed), "value")

    # what a person does

    def _mm(self, field: Any) -> float:
        try:
            return parse_length(field.value, "ft" if self.state.unit == "in" else "mm")
        except LengthError as error:
            raise error.located(column=label_of(field)) from error

    def _finish_chosen(self, change: Any) -> None:
        if not is_filling(self.finish):
            self.state.choose_finish(change["new"] or "")

    def _length_typed(self, _: Any) -> None:
        if not self._filling and self.length.value != self._position(self.state.bar_length):
            self.state.set_bar_length(self._mm(self.length))

    def _agreed_typed(self, _: Any) -> None:
        shown = (self.agreed_length.value, self.agreed_gap.value)
        if self._filling or shown == self._agreed_words(self.state.agreed):
            return
        gap = parse_length(self.agreed_gap.value, self.state.unit)
        self.state.agreed = AgreedNumbers(self._mm(self.agreed_length), gap)

    def _seen_typed(self, _: Any) -> None:
        self.state.spot_checks = tuple(seen_lines(self.seen.value, self.state.strips, self.state.unit))

    def _lay_typed(self, _: Any) -> None:
        x0, y0, x1, y1 = (self._mm(field) for field in self.ends)
        self.pointer.forget()
        self.state.lay((x0, y0), (x1, y1))

    def _began(self, xy: Place) -> None:
        self._bar_drawn = xy
        self._shown.stretch(xy, xy)
        self.map.canvas.draw_idle()
        self.told_bar.value = "One end is set: now click the other."

    def _stretched(self, start: Place, end: Place) -> None:
        self._bar_drawn = end
        self._shown.stretch(start, end)
        self.map.canvas.draw_idle()

    def _lined(self, start: Place, end: Place) -> None:
        try:
            self.state.lay(start, end)
        except Exception:
            self._lay_shown()  # back to where it lay
            raise

    # what the panel shows

    def _position(self, mm: float) -> str:
        return format_length(mm, "ft", 16) if self.state.unit == "in" else format_length(mm, "m")

    def _agreed_words(self, agreed: AgreedNumbers) -> tuple[str, str]:
        return self._position(agreed.length), format_length(agreed.allowed, self.state.unit, 64)

    def _list_strips(self, change: Any = None) -> None:
        """The strips along which a bar is to be slid, while a pass rests on nobody having looked, or what it showed."""
        strips, found = list(self.state.strips), self.state.assessment
        for widget in (self.strips, self.seen, self.look):
            widget.layout.display = "" if strips else "none"
        if change is not None and change["name"] == "strips":
            self.seen.value = ""
        if strips and found is not None and found.pictured is not None:
            head, rows = sweeps_told(strips, found.pictured.limit, self.state.unit)
            listed = "".join(f"<li>{escape(row)}</li>" for row in rows)
            self.strips.value = f"<div>{escape(head)}</div><ol>{listed}</ol>"

    def _fill_finishes(self, _: Any = None) -> None:
        state = self.state
        options = [(CHOOSE_FINISH, ""), *((name, key) for key, name in state.finishes.items())]
        value = state.finish if state.finish in state.finishes else ""
        refill(self.finish, options, value)
        for field in (self.agreed_length, self.agreed_gap):
            field.layout.display = "" if state.finish == AGREED else "none"

    def _fill_numbers(self, _: Any = None) -> None:
        state = self.state
        self.units.value = state.unit
        self._filling = True  # what is shown in the other unit is rounded: it must not be read back
        try:
            hint = HINTS[state.unit]
            labelled(self.length, f"Straightedge [{hint}]")
            self.length.value = self._position(state.bar_length)
            labelled(self.agreed_length, f"Agreed straightedge [{hint}]")
            labelled(self.agreed_gap, f"Agreed gap [{'in' if state.unit == 'in' else 'mm'}]")
            self.agreed_length.value, self.agreed_gap.value = self._agreed_words(state.agreed)
            for field, name in zip(self.ends, ENDS, strict=True):
                labelled(field, f"{name} [{hint}]")
        finally:
            self._filling = False

    def _say(self, _: Any = None) -> None:
        found, state = self.state.assessment, self.state
        if found is None:
            wanted = "Choose the finish to come: then the verdict stands here." if state.survey is not None else ""
            self.verdict.value, self.table.value = wanted, ""
            return
        rest = escape(answer(found, state.unit)).removeprefix(found.verdict.upper())  # the word stands in the mark
        self.verdict.value = (
            f'<div class="fk-said fk-{found.verdict}" aria-live="polite">{verdict_mark(found.verdict)}{rest}</div>'
        )
        self.table.value = limits_table(found, state.unit)

    def _draw(self, _: Any = None) -> None:
        seen = self._seen()
        if seen == self._drawn:  # several changes at once are one picture
            return
        self._drawn, self._bar_drawn = seen, self.state.bar
        self.pointer.forget()
        self._shown = draw_map(self.map, self.state)
        self.map.canvas.draw_idle()

    def _seen(self) -> tuple[Any, ...]:
        """What the map shows, but for the straightedge."""
        state = self.state
        return state.survey, state.assessment, state.unit, state.view, state.bar_length

    def _lay_shown(self, _: Any = None) -> None:
        state = self.state
        self._draw()
        if state.view != MORE and state.bar is not self._bar_drawn:
            self._bar_drawn = state.bar
            self._shown.lay(state.bar, state.bar_length, state.allowed, state.unit)
            self.map.canvas.draw_idle()
        draw_profile(self.profile, state)
        self.profile.canvas.draw_idle()
        bar = state.bar
        self.told_bar.value = "" if bar is None else escape(told_bar(bar, state.allowed, state.bar_length, state.unit))
        for k, field in enumerate(self.ends):
            field.value = "" if bar is None else self._position((*bar.start, *bar.end)[k])

    def _point(self, _: Any = None) -> None:
        xy = self.state.pointer
        self.here.value = escape(POINT_HERE if xy is None else told_at(self.state, xy))

    @property
    def found(self) -> Assessment:
        """The check that the panel shows, to go on by hand; see :meth:`CheckState.found`."""
        return self.state.found()


def check_panel(
    survey: str | os.PathLike[str] = "", finish: str = "", *, folders: Iterable[str | os.PathLike[str]] = (),
    confidence: float = 0.95, unit: str | None = None,
) -> CheckPanel:  # fmt: skip
    """A panel that checks a survey against a finish, for those who do not write Python.

    Parameters
    ----------
    survey : file to begin with; empty for none
    finish : key of the finish to begin with, from the column ``finish`` of :func:`flatness.limits`
    folders : folders whose CSV and XLSX files are offered
    confidence : at which verdicts are given, 0.5 to under 1
    unit : ``in`` or ``mm``; None follows the survey

    Returns
    -------
    CheckPanel : its ``state`` holds the survey and the assessment
    """
    traits: dict[str, Any] = {} if unit is None else {"unit": unit}
    state = CheckState(survey, finish, folders, confidence=confidence, **traits)
    panel = CheckPanel(state)
    state.guard(state.begin)()
    return panel
