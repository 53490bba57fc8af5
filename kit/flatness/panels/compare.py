"""The Compare panel: what changed between two surveys of one surface, and is it what was planned?"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Iterator
from functools import partial
from html import escape
from typing import Any

from flatness.comparison.against_plan import OVER, SHORT, UNPLANNED, UNTOUCHED, WITHIN
from flatness.comparison.comparing import Comparison, extremes
from flatness.job.schema import COMPARE, Field
from flatness.job.values import Flag
from flatness.limits.kinds import describe
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Judged
from flatness.measures.bars import Place
from flatness.panels.check import WORDS, allowed_sentence, judged_said, judged_sentence, verdict_mark
from flatness.panels.compare_state import CompareState, missing_words, planned_rows
from flatness.panels.controls import (
    SNAP_MM,
    Control,
    Controls,
    button,
    column,
    confidence,
    finish,
    html_table,
    notes_html,
    row,
    text_field,
    words,
)
from flatness.panels.files import FileChooser, SurveyChooser
from flatness.panels.instrument import Instrument, Said, at_place, gauge_of, places_list, station_at
from flatness.panels.maps import COMPARE_NAMES, COMPARE_TOOLTIPS, ShownMap, draw_comparison
from flatness.panels.strips import StripFields
from flatness.survey.readings import Survey
from flatness.words.checks import sweeps_in_words
from flatness.words.comparisons import amounts_table, greatest, off_words, where_shown
from flatness.words.phrases import say, sentence
from flatness.words.printed import fine, number, percent, signed, small, spelled


def _extremes(found: Comparison, unit: str) -> Iterator[str]:
    ends = zip(("most taken off", "most added"), (-1.0, 1.0), extremes(found, clear=True), strict=True)
    for word, sign, one in ends:
        if one.shown and sign * one.difference > 0:
            where = at_place((one.x, one.y), unit, found.surveys[1])
            slip = ", beside a reading that may be a slip" if one.is_suspect else ""
            yield f"{word} {signed(abs(one.difference), unit).lstrip('+')} at {where}{slip}"


def alignment_sentence(found: Comparison, unit: str) -> str:
    """What the alignment rests on, and how sure it is."""
    one = found.alignment
    said = f"Aligned on {one.rests_on}."
    if one.way == "none":
        return said
    said += (
        f" The later datum stood {small(one.offset, unit, sign=True)} off the earlier one, give or take "
        f"{small(one.offset_error, unit)} (1 s.d.); that is taken out"
    )
    if one.way == "tilt":
        said += f", and so is its tilt of {one.tilt_x:+.2f} mm a metre along x and {one.tilt_y:+.2f} along y"
    return f"{said}."


def words_of_change(found: Comparison, xy: Place, unit: str) -> str:
    """What changed at a place [mm], and what was read there, in one line."""
    i, j = (round((p - axis[0]) / found.spacing) for p, axis in zip(xy, (found.x, found.y), strict=True))
    here = at_place(xy, unit, found.surveys[1])
    inside = 0 <= i < len(found.x) and 0 <= j < len(found.y)
    if not inside or not math.isfinite(found.difference[j, i]):
        return f"{here}: not read both times{_read_there(found, xy, unit)}"
    value, least = float(found.difference[j, i]), fine(float(found.detection[j, i]), unit)
    if not found.changed[j, i]:
        said = f"no change shown; {signed(value, unit)} is within the {least} limit of detection"
    else:
        word = "added" if value > 0 else "taken off"
        said = f"{signed(value, unit)}, {word}; more than the {least} limit of detection"
    return f"{here}: {said}{_read_there(found, xy, unit)}"


def _read_there(found: Comparison, xy: Place, unit: str) -> str:
    """The readings of the stations of either day at a place [mm]; empty where none stands there."""
    days = zip(("before", "after"), found.surveys, strict=True)
    told = ((day, station_at(survey, xy, unit)) for day, survey in days)
    return "".join(f"; {day}: {station}" for day, station in told if station)


def verdicts_table(found: Comparison, unit: str) -> str:
    """Verdicts before and after as HTML, one row a limit; empty where no finish was chosen."""
    if found.assessments is None:
        return ""
    pairs = zip(found.assessments[0].judged, found.assessments[1].judged, strict=True)
    return html_table(("Limit", "Before", "After"), (_row(one, other, unit) for one, other in pairs))


def _row(one: Judged, other: Judged, unit: str) -> tuple[str, ...]:
    turned = f"<br><b>turned: {one.verdict} to {other.verdict}</b>" if one.verdict != other.verdict else ""
    days = (f"{verdict_mark(day.verdict)}<br>{_likely(day, unit)}" for day in (one, other))
    return f"{escape(describe(other.limit, unit))}{turned}", *days


def _likely(one: Judged, unit: str) -> str:
    if one.finding is None:
        return escape(f"not measured: {say(one.reason, unit)}")
    return escape(f"{number(one, one.likely()[0], unit)}, chance within {percent(one.chance)}").replace(" %", "&nbsp;%")


def compare_said(found: Comparison | None, unit: str) -> Said:
    """What a comparison says: of the plan where there is one, else of the finish, else of the change."""
    if found is None:
        first = "Choose the survey before and the survey after: then what changed stands here."
        return Said(word="No comparison yet", first=first)
    one = None if found.assessments is None else found.assessments[1].governing
    now = one is not None and one.finding is not None
    stands = f"As it lies: {judged_sentence(one, found.assessments[1], unit)}" if now else ""  # type: ignore[arg-type, index]
    slips = len(found.warnings)
    look = f" Look at the notes first: {slips} {'thing looks' if slips == 1 else 'things look'} like a mistake." * bool(
        slips
    )
    if found.plan is not None:
        rows = planned_rows(found)
        again = [str(row["name"]) for row in rows if row["status"] in AGAIN]
        unknown = [str(row["name"]) for row in rows if row["status"] not in (*AGAIN, WITHIN)]
        done = f"{len(rows) - len(again) - len(unknown)} of {len(rows)} {'is' if len(rows) == 1 else 'are'} accepted."
        if again:
            first = f"Not accepted yet: do {', '.join(again)} again. {done}"
            return Said(FAIL, f"REDO {len(again)}", first, f"{stands}{look}", gauge=gauge_of(one))
        if unknown:
            first = f"Not known: read {', '.join(unknown)} again. {done}"
            return Said(UNDECIDED, "READ AGAIN", first, f"{stands}{look}", gauge=gauge_of(one))
        return Said(PASS, "ACCEPT", "All places stand at their heights.", f"{stands}{look}", gauge=gauge_of(one))
    if now and found.assessments is not None and one is not None:
        before = found.assessments[0].governing
        was = "" if before is None else f" Before: {WORDS[before.verdict].upper()}."
        first = judged_sentence(one, found.assessments[1], unit)
        return judged_said(one, first, f"{allowed_sentence(one, unit)}{was}{look}")
    if not found.changed.any():
        return Said(word="NO CHANGE SHOWN", first="No change is shown anywhere.", second=look.strip())
    first = f"Change is shown on {percent(found.share_changed)} of the area."
    return Said(word="CHANGED", first=first, second=spelled(f"{', '.join(_extremes(found, unit))}.{look}").capitalize())


def places_done(found: Comparison, unit: str) -> str:
    """Each place of the plan as HTML: what became of it, those to do again first."""
    rows = sorted(planned_rows(found), key=lambda row: (row["status"] not in AGAIN, row["status"] == WITHIN))
    listed = places_list((_place_done(row, found.surveys[1], unit) for row in rows), named=True)
    return f"<h3>Place by place</h3>{listed}" if rows else ""


def _place_done(row: dict[Any, Any], survey: Survey, unit: str) -> tuple[str, str]:
    name = f"{row['name']}, {row['action']}: " if row["action"] else f"{row['name']}: "
    word = {WITHIN: "accepted", UNPLANNED: "changed, and nothing was planned there"}.get(row["status"], row["status"])
    if not math.isfinite(row["off_mm"]):
        return f"{name}{word}", ""
    return f"{name}{word}", spelled(off_words(row, survey.surface, unit, survey))


def how_much(found: Comparison, unit: str) -> str:
    """Areas and volumes, to be opened."""
    table = escape(amounts_table(found, unit))
    return f"<details><summary>How much was taken off and added</summary><pre>{table}</pre></details>"


def warnings_list(found: Comparison, unit: str) -> str:
    """What looks like a mistake, as HTML; empty where nothing does."""
    items = "".join(f"<li>{escape(sentence(text, unit))}</li>" for text in found.warnings)
    return f"<b>Look here first</b><ul>{items}</ul>" if items else ""


CLICKS = Field(Flag("says: unchanged", "reads it"), "What a click on the map does", label="A click on the map")
BY_SURFACE = COMPARE["unchanged"].when
CONTROLS = (
    finish("(no finish: compare without verdicts)", "Whose limits both surveys are held against"),
    Control("align", COMPARE["align"], size="way"),
    confidence("How sure a change must be to be shown, and a verdict to be given"),
    Control(
        "unchanged",
        COMPARE["unchanged"],
        help="Places x, y or labels of stations, with ; between; empty: the stations that agree with one another",
        size="finish",
        empty=(),
    ),
    Control("clicking", CLICKS, when=BY_SURFACE, size="way"),
)
AGAIN = (SHORT, OVER, UNTOUCHED, UNPLANNED)
DAYS = ("before", "after")


class ComparePanel(Instrument):
    """The Compare panel, to be shown as the last line of a notebook's cell.

    Attributes
    ----------
    state : what the panel knows; read it to go on by hand
    box : the widgets
    maps : the live figures; ``map`` is the one in view
    """

    state: CompareState

    def __init__(self, state: CompareState, folder: str | os.PathLike[str] = ".") -> None:
        self.state, self._folder = state, folder
        super().__init__(COMPARE_NAMES, COMPARE_TOOLTIPS, begin=self._clicked)
        guard = state.guard
        self.before = SurveyChooser(state, state.before, "Before")
        self.after = SurveyChooser(state, state.after, "After")
        self.plan = FileChooser(state, state.planned, "Plan", "JSON")
        self.controls = Controls(state, CONTROLS, {BY_SURFACE: lambda state: state.by_surface})
        self.forget = button("Forget them", "Go by the stations that agree with one another", guard(self._forgotten))
        self.missing = words("", "fk-quiet")
        control = self.controls
        self.places = column(control["unchanged"], row(control["clicking"], self.forget), self.missing)
        self.name = text_field(
            "Record (file name)",
            "A new file beside this notebook; it is written only when you press the button",
            "record.json",
            "file",
        )
        self.save = button(
            "Save the record",
            "Files, settings and results, so that another person gets the same numbers",
            guard(lambda _: state.save(self.name.value, self._folder)),
            main=True,
        )
        self.done, self.verdicts, self.changed = words(), words(), words("", "fk-changed")
        self.strips = [
            StripFields(state, partial(state.use_spot_checks, day), f"Check {when} again with these")
            for day, when in enumerate(DAYS)
        ]
        self.strip_heads = [words() for _ in DAYS]
        self.aligned, self.notes, self.saved = words("", "fk-aligned"), words(), words("", "fk-saved")
        self._arrange(
            [row(self.before.controls, self.after.controls, self.units), row(self.plan.controls, control["finish"])],
            [self.before, self.after, self.plan],
            {
                "What changed": (self.done, self.verdicts, self.changed),
                "Bar": [
                    widget
                    for head, strips in [*zip(self.strip_heads, self.strips, strict=True)][::-1]
                    for widget in (head, strips.box, strips.button)
                ],
                "Notes": (self.notes, self.aligned, self.before.about, self.after.about),
                "Settings, record": (
                    control["align"],
                    control["confidence"],
                    self.places,
                    row(self.name, self.save),
                    self.saved,
                ),
            },
        )
        state.observe(self._show_saved, "saved")

    def _forgotten(self, _: Any) -> None:
        self.state.unchanged = ()

    def _clicked(self, xy: Place) -> None:
        state = self.state
        if state.clicking and state.by_surface:
            step = SNAP_MM[state.unit]
            state.say_unchanged((round(xy[0] / step) * step, round(xy[1] / step) * step))

    # what the panel shows

    def said(self) -> Said:
        return compare_said(self.state.comparison, self.state.unit)

    def _key(self) -> tuple[Any, ...]:
        return self.state.comparison, self.state.unit, self.state.unchanged

    def _paint(self, figure: Any) -> ShownMap:
        return draw_comparison(figure, self.state)

    def _at(self, xy: Place) -> str:
        found = self.state.comparison
        return "" if found is None else words_of_change(found, xy, self.state.unit)

    def _fill(self) -> None:
        state, found, unit = self.state, self.state.comparison, self.state.unit
        self.places.layout.display = "" if state.by_surface else "none"
        self.forget.layout.display = "" if state.unchanged else "none"
        self.missing.value = missing_words(state.unchanged, state.align)
        self._fill_strips()
        told = [""] * 5
        if found is not None:
            told = [
                places_done(found, unit),
                verdicts_table(found, unit),
                escape(spelled(" ".join([where_shown(found, unit), *greatest(found, unit)]))),
                escape(alignment_sentence(found, unit)),
                f"{warnings_list(found, unit)}{how_much(found, unit)}{notes_html(found.notes, unit)}",
            ]
        # each once: what is emptied on the way is seen, and what a person has opened closes
        for widget, html in zip((self.done, self.verdicts, self.changed, self.aligned, self.notes), told, strict=True):
            widget.value = html

    def _fill_strips(self) -> None:
        """The strips of each day, how a bar is slid along them, and what it showed there."""
        state, found = self.state, self.state.comparison
        for day, assessment in enumerate((None, None) if found is None else found.assessments or (None, None)):
            strips, one = state.strips[day], None if assessment is None else assessment.pictured
            limit, survey = (None, None) if found is None or one is None else (one.limit, found.surveys[day])
            self.strips[day].show(strips, limit, survey)
            head = ""
            if strips and limit is not None:
                how = sweeps_in_words(strips, limit, state.unit, survey)[0]
                head = f"<h3>{DAYS[day].capitalize()}: slide a bar</h3>{escape(spelled(how))}"
            self.strip_heads[day].value = head

    @property
    def found(self) -> Comparison:
        """The comparison that the panel shows, to go on by hand; see :meth:`CompareState.found`."""
        return self.state.found()


def compare_panel(
    before: str | os.PathLike[str] = "",
    after: str | os.PathLike[str] = "",
    finish: str = "",
    *,
    align: str = "benchmarks",
    plan: str | os.PathLike[str] = "",
    folders: Iterable[str | os.PathLike[str]] = (),
    confidence: float = 0.95,
    unit: str | None = None,
    records: str | os.PathLike[str] = ".",
) -> ComparePanel:
    """A panel that compares two surveys of one surface, for those who do not write Python.

    Parameters
    ----------
    before, after : files to begin with; empty for none
    finish : key of the finish whose verdicts are compared; empty for none
    align : ``benchmarks``, ``offset``, ``tilt`` or ``none``, to begin with
    plan : file of the plan that the work is held against; empty for none
    folders : folders whose CSV and XLSX files, and plans, are offered
    confidence : of the limit of detection and the verdicts, 0.5 to under 1
    unit : ``in`` or ``mm``; None follows the later survey
    records : folder into which records are saved

    Returns
    -------
    ComparePanel : its ``state`` holds the surveys and the comparison
    """
    traits: dict[str, Any] = {} if unit is None else {"unit": unit}
    state = CompareState(before, after, finish, folders, plan, align=align, confidence=confidence, **traits)
    panel = ComparePanel(state, records)
    state.guard(state.begin)()
    return panel
