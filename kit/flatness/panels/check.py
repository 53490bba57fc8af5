"""The Check panel: is this surface flat enough for the finish to come?"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Iterator
from html import escape
from typing import Any

import numpy as np

from flatness.arrays import Floats
from flatness.job.schema import FIXED, limit_keys
from flatness.lengths import format_length, settle
from flatness.limits.kinds import CAUTIONS, caution, cited, describe
from flatness.limits.spot_checks import ASSUMED
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Assessment, Judged
from flatness.measures.bars import Place
from flatness.measures.planes import fit_surface_plane
from flatness.measures.straightedge import LaidBar
from flatness.panels.check_state import AGREED, CHANCE, GAP, MORE, CheckState
from flatness.panels.controls import Control, Controls, button, confidence, finish, html_table, notes_html, row, words
from flatness.panels.files import SurveyChooser
from flatness.panels.instrument import (
    OFF,
    POINT_HERE,
    Instrument,
    Said,
    at_place,
    far,
    gauge_of,
    live_figure,
    places_list,
    station_at,
)
from flatness.panels.maps import CHECK_NAMES, CHECK_TOOLTIPS, MOST, PROFILE_IN, ShownMap, draw_map, draw_profile
from flatness.panels.strips import StripFields
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey
from flatness.words.checks import MOVED, OFTEN, crossed_text, next_step, sweeps_in_words, where_alone
from flatness.words.phrases import problem_text, say
from flatness.words.printed import FRACTION, length, number, percent, position, spelled

# told apart by the mark and the word, not by color alone
MARKS = {PASS: "✔", FAIL: "✘", UNDECIDED: "?"}
WORDS = {PASS: "Pass", FAIL: "Fail", UNDECIDED: "Undecided"}
SURE = "How sure a pass or a fail must be; short of it the verdict is undecided"
OF_AGREED = limit_keys("straightedge")
ENDS = ("start_x", "start_y", "end_x", "end_y")
CONTROLS = (
    finish("(choose the finish to come)", "What will be installed or applied on this surface"),
    confidence(SURE),
    Control("agreed.length", OF_AGREED["length"], help="Length of the bar that was agreed", when=AGREED),
    Control("agreed.allowed", OF_AGREED["allowed"], help="The gap that was agreed to be allowed", when=AGREED),
    Control("bar_length", OF_AGREED["length"], (), "", "Bar", "Length of the bar that is set", take="set_bar_length"),
    *(
        Control(key, FIXED[key[-1]], label=name, help="An end of the bar; or click two points on the map", needed=True)
        for key, name in zip(ENDS, ("From x", "From y", "To x", "To y"), strict=True)
    ),
)
ONE_END = "One end is set: now click the other."
BAR, LIMITS, SET = 0, 1, 2  # tabs


def verdict_mark(verdict: str) -> str:
    """A verdict as HTML: its mark and its word on its color."""
    return f'<span class="fk-mark fk-{verdict}">{MARKS[verdict]} {WORDS[verdict]}</span>'


def judged_sentence(one: Judged, assessment: Assessment, unit: str) -> str:
    """What was found of one limit, and where, for the strip: ``5/16 in under 10 ft, 6 ft from the left wall, ...``."""
    assert one.finding is not None
    drawn = not math.isnan(one.chance)
    value = number(one, one.likely()[0] if drawn else one.finding.measured.value, unit)
    bar = one.limit.kind == "straightedge" and one.limit.length is not None
    said = f"{'about ' * (one.verdict == UNDECIDED)}{value}{f' under {far(one.limit.length, unit)}' if bar else ''}"  # type: ignore[arg-type]
    if one.verdict == FAIL and one.worst_at is not None:
        survey = assessment.subject.survey
        said += f", {'' if survey.walls else 'at '}{at_place(one.worst_at, unit, survey)}"
    return spelled(f"{said}{where_alone(one, assessment, unit)}.")


def allowed_sentence(one: Judged, unit: str) -> str:
    """What is allowed; and what was read, where another measure is likelier."""
    assert one.finding is not None
    word = "the least required" if one.finding.at_least else "allowed"
    said_of = one.limit.everyday
    word += f" for {said_of}" if said_of else ""
    likely, read = (number(one, mm, unit) for mm in (one.likely()[0], one.finding.measured.value))
    said = f"{read} as read; " if likely not in (read, "-") else ""
    return spelled(f"{said}{number(one, one.finding.allowed, unit)} is {word}.")


def check_said(state: CheckState) -> Said:
    """The verdict of a check: word, number, place; and what to do."""
    found, unit = state.assessment, state.unit
    one = None if found is None else found.governing
    if found is None or one is None:
        what = "the finish to come" if state.survey is not None else "a survey, or upload one"
        return Said(word="No verdict yet", first=f"Choose {what}: then the verdict stands here.")
    if one.finding is None:
        why = f"{one.limit.name} is not measured: {say(one.reason, unit)}."
        return Said(one.verdict, WORDS[one.verdict].upper(), spelled(why))
    second = f"{allowed_sentence(one, unit)} {spelled(_next(one, state))}"
    return judged_said(one, judged_sentence(one, found, unit), second)


def judged_said(one: Judged, first: str, second: str) -> Said:
    """The verdict on one limit, hollow where a pass rests on what nobody looked at."""
    under = "at the stations" if one.verdict == PASS and one.between == ASSUMED else ""
    return Said(one.verdict, WORDS[one.verdict].upper(), first, second, under, gauge_of(one))


def _next(one: Judged, state: CheckState) -> str:
    found = state.assessment
    if one.verdict == FAIL:
        others = len(state.over()) - 1 if one is found.pictured else 0
        more = f"{others} more {'place is' if others == 1 else 'places are'} over. " if others > 0 else ""
        return f"{more}Next: plan it in plan_corrections.ipynb."
    if one.verdict == UNDECIDED and not found.slips:
        return "Too close to call. Press Where to read: it shows the readings that decide it."
    return next_step(one, found, state.unit)


def limits_table(assessment: Assessment, unit: str) -> str:
    """All limits as HTML, one row a limit: what it asks for, what was found, and how sure that is."""
    rows = (
        (
            f"{escape(describe(one.limit, unit))}<br>{verdict_mark(one.verdict)}",
            "<br>".join(escape(text) for text in _found(one, unit)),
        )
        for one in assessment.judged
    )
    return html_table(("Limit", "Found"), rows)


def _found(one: Judged, unit: str) -> Iterator[str]:
    source = cited(one.limit.source, one.limit.edition, one.limit.clause) or "agreed"
    if one.finding is None:
        yield f"not measured: {say(one.reason, unit)}"
    else:
        yield f"as read {number(one, one.finding.measured.value, unit)}"
        middle, low, high = one.likely()
        if not math.isnan(low):
            spread = f"{number(one, low, unit)} to {number(one, high, unit)} in 95 of 100 cases"
            yield f"likely {number(one, middle, unit)}, {spread}"
            yield f"chance within {percent(one.chance)}; between the stations: {one.between}"
    purpose = f"for {one.limit.purpose}; " if one.limit.purpose else ""
    yield f"{purpose}source: {source}{f' ({one.limit.seen})' if one.limit.source else ''}"


def worth_knowing(state: CheckState) -> str:
    """What else must be known, as HTML: of the file, of the readings, of the limits' sources."""
    found, survey = state.assessment, state.survey
    notes = [] if survey is None else [problem_text(note, state.unit) for note in survey.notes]
    if found is not None:
        notes += [crossed_text(found)] * bool(crossed_text(found)) + list(found.notes)
        notes += [found.subject.surface.note] if found.subject.surface.note else []
        seen = dict.fromkeys(one.limit.seen for one in found.judged if caution(one.limit))
        notes += [f"{name}: {CAUTIONS[name]}" for name in seen]
    return notes_html(notes, state.unit)


class CheckPanel(Instrument):
    """The Check panel, to be shown as the last line of a notebook's cell.

    Attributes
    ----------
    state : what the panel knows; read it to go on by hand
    box : the widgets
    maps, profile : the live figures; ``map`` is the one in view
    """

    state: CheckState

    def __init__(self, state: CheckState) -> None:
        self.state = state
        self.profile = live_figure(PROFILE_IN, "profile")
        self._drawn: dict[str, Any] = {}
        super().__init__(
            CHECK_NAMES,
            CHECK_TOOLTIPS,
            line=state.set_bar,
            begin=self._began,
            stretch=self._stretched,
            more=[self.profile],
        )
        guard = state.guard
        self.chooser = SurveyChooser(state, state.choice, "Survey")
        self.controls = Controls(state, CONTROLS, {AGREED: lambda state: state.finish == AGREED})
        self.ends = [self.controls[key] for key in ENDS]
        self.lay = button("Set it here", "Between the two ends typed", guard(self._set_typed), main=True)
        self.worst = button(
            "Set it where the gap is largest", "Of all places and directions", guard(lambda _: state.set_worst_bar())
        )
        self.bar_words, self.listed, self.table = words("", "fk-bar"), words("", "fk-listed"), words()
        self.strips = StripFields(state, state.use_spot_checks, "Check again with these")
        self.notes = words("", "fk-notes")
        state.observe(self._settle_agreed, "finish")
        self._arrange(
            [row(self.chooser.controls, self.controls["finish"], self.units)],
            [self.chooser],
            {
                "Under the bar": (
                    self.bar_words,
                    self.profile.canvas,
                    self.listed,
                    self.strips.box,
                    self.strips.button,
                ),
                "Limits and notes": (self.table, self.chooser.about, self.notes),
                "Settings": (
                    row(self.controls["agreed.length"], self.controls["agreed.allowed"]),
                    self.controls["confidence"],
                    row(self.controls["bar_length"], self.worst),
                    row(*self.ends[:2]),
                    row(*self.ends[2:]),
                    self.lay,
                ),
            },
        )

    # what a person does

    def _settle_agreed(self, change: Any) -> None:
        """What was agreed is typed among the settings."""
        if change["new"] == AGREED:
            self.tabs.selected_index = SET

    def _set_typed(self, _: Any) -> None:
        x0, y0, x1, y1 = (self.controls.read(key) for key in ENDS)
        self.state.set_bar((x0, y0), (x1, y1))

    def _began(self, xy: Place) -> None:
        self._stretched(xy, xy)
        self.bar_words.value = ONE_END

    def _stretched(self, start: Place, end: Place) -> None:
        self.shown.stretch(start, end)
        self.map.canvas.draw_idle()

    # what the panel shows

    def said(self) -> Said:
        return check_said(self.state)

    def _key(self) -> tuple[Any, ...]:
        state = self.state
        seeking = state.view == MORE and state.worker.busy
        return state.survey, state.assessment, state.unit, state.bar_length, seeking

    def _paint(self, figure: Any) -> ShownMap:
        return draw_map(figure, self.state)

    @property
    def _first(self) -> Place | None:
        """The end of the next bar that was clicked [mm], while the other is waited for."""
        return next((pointer.first for pointer in self.pointers if pointer.first), None)

    def _touch(self) -> bool:
        state, shown = self.state, self.shown
        if self._first is not None:
            shown.stretch(self._first, self._first)
        elif shown.bar is state.bar:
            return False
        else:
            shown.lay(state.bar, state.allowed, state.unit)
        return True

    def _at(self, xy: Place) -> str:
        return words_at(self.state, xy)

    def _fill(self) -> None:
        found, unit = self.state.assessment, self.state.unit
        self.table.value = "" if found is None else limits_table(found, unit)
        self.notes.value = worth_knowing(self.state)
        self._fill_ends()
        self._fill_bar()
        self._fill_list()

    def _is_new(self, part: str, shown: Any) -> bool:
        """Whether a part of the panel is to show something else than it does."""
        was, self._drawn[part] = self._drawn.get(part), shown
        return bool(was != shown)

    def _fill_ends(self) -> None:
        """The ends of the bar, once for each bar: what is typed over them stays until another bar is set."""
        bar = self.state.bar
        ends = (None,) * 4 if bar is None else (*bar.start, *bar.end)
        if self._is_new("ends", ends):
            for pointer in self.pointers:
                pointer.forget()
            for key, mm in zip(ENDS, ends, strict=True):
                self.controls.put(key, mm)

    def _fill_bar(self) -> None:
        state = self.state
        bar = state.bar
        said = "" if bar is None else bar_words(bar, state.allowed, state.bar_length, state.unit, state.survey)
        self.bar_words.value = escape(said if self._first is None else ONE_END)
        if self._is_new("profile", (bar, state.surface, state.unit, state.allowed)):
            draw_profile(self.profile, state)
            self.profile.canvas.draw_idle()

    def _fill_list(self) -> None:
        """What belongs to the view: strips to slide a bar along, places to read, or the places over the limit."""
        state, unit = self.state, self.state.unit
        found, strips = state.assessment, list(state.strips)
        one = None if found is None else found.pictured
        self.strips.show(strips, None if one is None else one.limit, state.survey)
        html = ""
        more = state.to_read() if state.view == MORE else None
        if more is not None:
            places = more[1]
            read = (at_place(xy, unit, state.survey, brief=True) for xy in zip(places.x, places.y, strict=True))
            how = f"{OFTEN if places.times.max() > 1 else ''} {MOVED}"
            listed = places_list((f"Read {k}", text) for k, text in enumerate(read, 1))
            html = f"<h3>Read these, in order</h3>{listed}<p>{how}</p>"
        elif over := state.over()[:MOST]:
            listed = places_list(
                (spelled(f"{length(gap, unit, state.allowed)} gap"), at_place(xy, unit, state.survey, brief=True))
                for gap, xy in over
            )
            html = f"<h3>Where it is over, worst first</h3>{listed}"
        elif strips and one is not None:
            how = spelled(sweeps_in_words(strips, one.limit, unit, state.survey)[0])
            html = f"<h3>To be sure: slide a bar</h3>{escape(how)}"
        self.listed.value = html

    def close(self) -> None:
        """Take the panel away with its figures and all its widgets."""
        self.state.worker.forget()
        super().close()

    @property
    def found(self) -> Assessment:
        """The check that the panel shows, to go on by hand; see :meth:`CheckState.found`."""
        return self.state.found()


def check_panel(
    survey: str | os.PathLike[str] = "",
    finish: str = "",
    *,
    folders: Iterable[str | os.PathLike[str]] = (),
    confidence: float = 0.95,
    unit: str | None = None,
) -> CheckPanel:
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


def height_at(surface: Surface, xy: Place) -> float:
    """Height [mm] of the surface at one place; NaN off the surface."""
    return float(surface.at(*xy)[0])


def words_at(state: CheckState, xy: Place) -> str:
    """Place, reading, height and what the map in view shows at a place [mm], in one line."""
    surface, unit = state.surface, state.unit
    if surface is None or state.survey is None:
        return POINT_HERE
    station = station_at(state.survey, xy, unit)
    height, here = height_at(surface, xy), at_place(xy, unit, state.survey)
    if math.isnan(height):
        return f"{here}: {OFF}."
    parts = [station] if station else []
    parts += [height_words(surface, xy, unit), f"height {length(height, unit)}"]
    one = state.judged_under(state.bar_length)
    if state.view == GAP:
        gap = at_node(surface, state.gaps().gap, xy)
        parts.append(f"largest gap {length(gap, unit, math.inf if state.allowed is None else state.allowed)}")
    elif state.view in (CHANCE, MORE) and one is not None and len(one.used):
        chance = at_node(surface, state.chances(one.limit), xy)
        parts.append(f"chance of being over the limit {percent(chance)}")
    return spelled(f"{here}: {'; '.join(parts)}.")


def height_words(surface: Surface, xy: Place, unit: str) -> str:
    """How far a place [mm] is proud of the surface's best-fit plane, or low of it."""
    plane = fit_surface_plane(surface)
    return proud_or_low(height_at(surface, xy) - float(plane.at(*xy)), unit)


def proud_or_low(mm: float, unit: str) -> str:
    """A deviation in words.

    >>> proud_or_low(-3.175, "in"), proud_or_low(0.1, "in")
    ('1/8" low', 'in the plane')
    """
    text = format_length(abs(mm), unit, FRACTION)
    return "in the plane" if text in ('0"', "0 mm") else f"{text} {'proud' if mm > 0 else 'low'}"


def at_node(surface: Surface, values: Floats, xy: Place) -> float:
    """The value [ny, nx] at the lattice node nearest to a place [mm]."""
    i, j = (
        int(np.clip(round((p - a[0]) / surface.spacing), 0, len(a) - 1))
        for p, a in zip(xy, (surface.x, surface.y), strict=True)
    )
    return float(values[j, i])


def bar_words(bar: LaidBar, allowed: float | None, bar_length: float, unit: str, survey: Survey | None) -> str:
    """A straightedge as it lies: its gap, whether that is allowed, and from where to where it lies.

    Parameters
    ----------
    bar : the straightedge
    allowed : gap allowed under a straightedge of ``bar_length`` [mm], or None
    bar_length : length of the straightedge that was chosen [mm]
    unit : ``in`` or ``mm``
    survey : of the surface, for the walls from which places are measured
    """
    said = "Set by hand: " if bar.by_hand else "Where the gap is largest: "
    if bar.placement is None:
        said += "no gap between two contact points"
    else:
        said += f"gap {length(bar.gap, unit, math.inf if allowed is None else allowed)}"
        if allowed is not None:
            over = settle(bar.gap) > settle(allowed)
            said += f", {'over' if over else 'within'} the {length(allowed, unit)} allowed"
            if bar.by_hand and not over and bar.length < bar_length * (1 - 1e-6):
                said += (
                    f"; the bar is {position(bar.length, unit)} long, one of {position(bar_length, unit)} may show more"
                )
    a, b = (at_place(xy, unit, survey, brief=True) for xy in (bar.start, bar.end))
    return spelled(f"{said}. A: {a}. B: {b}.")
