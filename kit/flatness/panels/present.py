"""The Present panel: what the owner of the room is shown.

One sentence, one large picture, and all days beside it on one scale; numbers are on a second page.
"""

from __future__ import annotations

import base64
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as w
import numpy as np
from traitlets import Any as AnyTrait
from traitlets import Instance, Tuple, Unicode

from flatness.charts.differences import is_blank
from flatness.errors import ArgumentError, FlatnessError, Problem
from flatness.files import write_ours
from flatness.job.records import Job, SurveyFile
from flatness.job.running import Results, run_job
from flatness.job.schema import BENEATH, COMPARE
from flatness.limits.kinds import Limit
from flatness.limits.verdict import assess
from flatness.panels.compare_state import DaysState
from flatness.panels.controls import (
    Control,
    Controls,
    button,
    column,
    finish,
    offer,
    panel_box,
    row,
    text_field,
    toggles,
    unit_switch,
    words,
)
from flatness.panels.files import JOB_ENDING, FileChooser, SurveyChoice, SurveyChooser, WorkChoice, new_file, next_free
from flatness.panels.instrument import Panel, Said, strip_html
from flatness.panels.present_pictures import (
    AFTER,
    DAY_NAMES,
    FOUND,
    PLANNED,
    Day,
    Picture,
    beside,
    day_picture,
    days_of,
    lit_day,
)
from flatness.panels.state import NotReadyError
from flatness.papers.figures import lit_picture
from flatness.papers.owner import owner_page
from flatness.papers.owner_words import paragraphs, title_of
from flatness.planning.plan import Plan, SavedPlan
from flatness.planning.replay import plan_on
from flatness.planning.substrate import Beneath
from flatness.planning.ways import plan_ways
from flatness.survey.readings import Survey
from flatness.words.ways import ASK


def choose_file(choice: SurveyChoice, file: SurveyFile | None) -> None:
    """Choose the survey that a job names; none where it names none."""
    if file is None:
        choice.choose("")
        return
    choice.choose_path(file.path)
    if file.sheet:
        choice.choose_sheet(file.sheet)


def is_chosen(choice: SurveyChoice, file: SurveyFile | None) -> bool:
    """Whether the survey chosen is the one that a job names."""
    if file is None or not choice.name:
        return file is None and not choice.name
    content = choice.content
    return isinstance(content, Path) and content.resolve() == file.path.resolve()


JOB = "job"  # key of the limits that a job file names, beside the catalogue's finishes


@contextmanager
def in_own_words() -> Iterator[None]:
    """Whatever is said of ``align`` is said of the control that sets it."""
    try:
        yield
    except FlatnessError as error:
        raise type(error)([_of_the_control(problem) for problem in error.problems]) from error


def _of_the_control(problem: Problem) -> Problem:
    if problem.column != "align":
        return problem
    align = COMPARE["align"]
    names = {way: name for name, way in align.type.options}  # type: ignore[attr-defined]
    value = names.get(str(problem.value), problem.value)
    remedy = (
        f"under Files and settings, set '{align.label}' to '{names['none']}' where the instrument stood untouched, or "
        f"to '{names['offset']}' (off a string: '{names['tilt']}') where part of the surface did not change; or choose "
        "another file for after the work, or none"
    )
    return replace(problem, column=align.label, value=value, remedy=remedy)


NOTHING_YET = "Open the files and settings, and choose the survey of the surface as it was found."
ENDS = {
    "floor": ("lower", "higher"),
    "ceiling": ("higher up", "hanging lower"),
    "wall": ("farther back", "farther out"),
}


def sentences_html(told: list[tuple[str, str]]) -> str:
    """The sentences as HTML, read out when they change."""
    parts = "".join(f"<p><b>{escape(asks)}</b><br>{escape(says)}</p>" for asks, says in told)
    return f'<div class="fk-plain" aria-live="polite">{parts}</div>'


def colours_say(days: tuple[Day, ...]) -> str:
    """What the colours and the lines mean, in a sentence or two."""
    low, high = ENDS[days[0].survey.surface]
    same = " The colors mean the same in every picture." if len(days) > 1 else ""
    plane = "one flat plane"
    if len(days) > 1:
        true = "upright" if days[0].survey.surface == "wall" else "level"
        plane = "its own flat plane that day"
        if days[0].one_plane:
            plane = f"one {true} plane, so that what is flat but {'leans' if true == 'upright' else 'slopes'} shows as "
            plane += "even bands"
    return (
        f"Orange is {high}, blue is {low} than {plane}; the darker, the more.{same} Lines join places of one "
        f"height: solid where it is {high}, dashed where it is {low}.{_blank(days)}"
    )


def _blank(days: tuple[Day, ...]) -> str:
    """That some of what is drawn has no colour, where that shows."""
    if not any(is_blank(day.surface, day.survey) for day in days):
        return ""
    return f" What is white was not measured{' both times' if any(d.key == AFTER for d in days) else ''}."


BESIDE, LIT, NUMBERS = "beside", "lit", "numbers"
LIT_IN = 6.6  # width that the pictures in light are drawn for
VIEWED = ("view", "unit")
SAME_MM = 0.01  # a survey that was written to a file and read again
SURFACE_SAYS = "the plan is of another survey than the one that is shown"


class PresentState(DaysState):
    """The state of the Present panel.

    Attributes
    ----------
    work : a job file or a saved plan that is chosen
    finish : key of the finish to come, ``job`` for what a job file names; empty for none
    beneath : kind of what lies beneath and may be taken down, as for :class:`~flatness.planning.substrate.Beneath`;
        empty: nothing comes off
    plan : the :class:`~flatness.planning.plan.Plan`, or None
    assessment : of the survey as found, or None
    days : what can be shown, a :class:`~flatness.panels.present_pictures.Day` each, in the order of time
    view : key of a day, ``beside``, ``lit`` (in the light that a limit names), or ``numbers``, the page of all that
        is said
    saved : the files written last
    """

    work = Instance(WorkChoice)
    beneath = Unicode("")
    plan = AnyTrait(None)
    assessment = AnyTrait(None)
    days = Tuple()
    view = Unicode(FOUND)

    def __init__(
        self,
        before: str | os.PathLike[str] = "",
        after: str | os.PathLike[str] = "",
        finish: str = "",
        folders: Iterable[str | os.PathLike[str]] = (),
        work: str | os.PathLike[str] = "",
        **traits: Any,
    ) -> None:
        folders = list(folders)
        super().__init__(before, after, finish, folders, work=WorkChoice(folders, work), **traits)
        self._results: Results | None = None
        self._drawn: dict[tuple[str, ...], Picture] = {}
        self._lit: dict[str, tuple[Picture, str]] = {}
        self._begun = False
        for choice in (self.before, self.after):
            choice.observe(self.guard(self._survey_read), "survey")
        # guarded, so that whatever goes wrong here, the widgets that watch the same are still drawn afresh
        self.work.observe(self.guard(self._work_chosen), "work")
        self.observe(self.guard(self._compute), ["finish", "align"])
        self.observe(self._unsave, ["problems", "days", "finish", "align", "beneath", *VIEWED])

    @property
    def survey(self) -> Survey | None:
        """The surface as it was found."""
        found: Survey | None = self.before.survey
        return found

    @property
    def finishes(self) -> dict[str, str]:
        """Finishes in plain words for the kind of surface that was surveyed, by key; and what a job file names."""
        job = {} if self._results is None else {JOB: f"What the job asks for: {self._results.job.title}"}
        return {**job, **super().finishes}

    def limits(self) -> list[Limit]:
        """The limits of the finish chosen, or of the job; none without a survey or finish."""
        if self.finish == JOB and self._results is not None:
            return list(self._results.job.limits)
        return super().limits()

    @property
    def _job(self) -> Results | None:
        """What the job gives, where what is shown is still what it asks for."""
        results = self._results
        if results is None or (self.finish, self.align) != (JOB, results.job.compared.align):
            return None
        return results if self._of_job(results.job) else None

    def _of_job(self, job: Job) -> bool:
        return is_chosen(self.before, job.before) and is_chosen(self.after, job.after)

    def _unsave(self, _: Any = None) -> None:
        """What was saved is no longer what is shown."""
        self.saved = ()

    def begin(self, plan: Plan | None = None) -> None:
        """Read and compare what the panel was made with."""
        self.before.begin()
        self.after.begin()
        self._begun = True
        self._survey_read()
        self.work.begin()
        if plan is not None:
            self.take_plan(plan)

    def _work_chosen(self, _: Any = None) -> None:
        work = self.work.work
        if isinstance(work, Job):
            self._take_job(work)
        elif isinstance(work, SavedPlan) and self.survey is None:
            raise ArgumentError("a plan without its survey", remedy="choose the survey as found that it was made from")
        else:
            if isinstance(work, SavedPlan):
                self._set(self.assessment, self.comparison, None)  # it takes the place of another
            self._compute()

    def _take_job(self, job: Job) -> None:
        self._begun = False  # one computation, when all of it is chosen
        try:
            choose_file(self.before, job.before)
            choose_file(self.after, job.after)
            self._results = run_job(job)
            if not self._unit_chosen:
                self.unit = job.show
            self.align, self.finish = job.compared.align, JOB
        finally:
            self._begun = True
        self._compute()

    def _survey_read(self, _: Any = None) -> None:
        if not self._begun:
            return
        if self._results is not None and not self._of_job(self._results.job):
            self._results = None
            if self.finish == JOB:
                self.set_trait("finish", "")
        self.follow_unit(self.survey)
        if self.survey is not None and self.finish and self.finish not in self.finishes:
            wrong, kind = self.finish, self.survey.surface
            self.set_trait("finish", "")  # computes again
            raise ArgumentError(
                f"no finish of this name for a {kind}", value=wrong, remedy="choose one in the files and settings"
            )
        self._compute()

    def _compute(self, _: Any = None) -> None:
        """Judge and compare what was read; a plan stays where survey and finish do."""
        if not self._begun:
            return
        if self._job is not None:
            self._show_job(self._job)
            return
        survey, limits, after = self.survey, self.limits(), self.after.survey
        assessment, comparison = None, None
        try:
            if survey is not None and after is not None:
                with self.at_work("Comparing before and after ..."), in_own_words():
                    comparison = self._ready.compare(survey, after, limits, align=self.align)
                    assessment = comparison.assessments[0] if comparison.assessments is not None else None
        finally:
            try:
                if survey is not None and limits and assessment is None:
                    with self.at_work("Checking ..."):
                        assessment = assess(survey, limits)
            finally:
                plan = self.plan if self._fits(self.plan) else None
                try:
                    if plan is None and survey is not None and isinstance(self.work.work, SavedPlan):
                        with self.at_work("Laying the saved plan on the survey ..."):
                            plan = plan_on(self.work.work, survey, limits)
                finally:
                    self._set(assessment, comparison, plan)

    def _show_job(self, results: Results) -> None:
        """Show what the job gives, each part as far as it goes."""
        found: dict[str, Any] = {"assessment": None, "comparison": None, "plan": None}
        try:
            for part, words in (
                ("plan", "Working out the plan that the job asks for: this may take a minute ..."),
                ("assessment", "Checking ..."),
                ("comparison", "Comparing before and after ..."),
            ):
                with self.at_work(words):
                    found[part] = getattr(results, part)
        finally:
            self._set(**found)

    def _fits(self, plan: Plan | None) -> bool:
        return plan is not None and self._is_of_this(plan)

    def _is_of_this(self, plan: Plan) -> bool:
        wanted = {limit.name for limit in self.limits()}
        own = {limit.name for limit in plan.limits}
        return self._is_of_survey(plan) and (not wanted or own == wanted)

    def _is_of_survey(self, plan: Plan) -> bool:
        survey, other = self.survey, plan.survey
        if survey is None or survey.surface != other.surface or len(survey.points) != len(other.points):
            return False
        return bool(np.allclose(survey.xyz(), other.xyz(), rtol=0, atol=SAME_MM))

    def take_plan(self, plan: Plan) -> None:
        """Show a plan that was made elsewhere from the survey that is shown.

        Raises
        ------
        ArgumentError : a plan of another survey
        """
        if not self._is_of_survey(plan):
            raise ArgumentError(
                SURFACE_SAYS,
                value=plan.survey.title or plan.survey.source or "without a title",
                remedy="choose its survey as found, or make the plan from this one",
            )
        self._set(self.assessment, self.comparison, plan)

    def work_out_plan(self) -> None:
        """Plan the best way after which the finish can be laid."""
        survey, limits = self.survey, self.limits()
        if survey is None:
            raise ArgumentError("there is nothing to plan for", remedy="choose the survey as found first")
        if not limits:
            raise ArgumentError("there is nothing to plan for", remedy="choose the finish to come first")
        if self._job is not None and self._job.job.plan is not None:
            self._show_job(self._job)
            return
        beneath = Beneath(self.beneath, may_be_planed=True) if self.beneath else None
        with self.at_work("Working out what has to be done: this may take a minute ..."):
            plan = plan_ways(survey, limits, beneath=beneath).plan
        self._set(self.assessment, self.comparison, plan)

    def _set(self, assessment: Any, comparison: Any, plan: Plan | None) -> None:
        survey = self.survey
        days = () if survey is None else days_of(survey, assessment, plan, comparison)
        self._drawn.clear()
        self._lit.clear()
        before, keys = [day.key for day in self.days], [day.key for day in days]
        with self.hold_trait_notifications():
            self.assessment, self.comparison, self.plan, self.days = assessment, comparison, plan, days
            self.saved = ()
            if self.view not in self.views or (self.view in before and keys != before):
                self.view = keys[-1] if keys else FOUND

    def day(self, key: str) -> Day:
        """The day of this key.

        Raises
        ------
        NotReadyError : it is not known
        """
        found: Day | None = next((day for day in self.days if day.key == key), None)
        if found is None:
            raise NotReadyError((Problem("this day is not known", value=key, remedy=NOTHING_YET),))
        return found

    @property
    def views(self) -> tuple[str, ...]:
        """What may be in view."""
        keys = tuple(day.key for day in self.days)
        lit = (LIT,) if keys and self.is_lit else ()
        return (*keys, *((BESIDE,) if len(keys) > 1 else ()), *lit, *((NUMBERS,) if keys else ()))

    @property
    def is_lit(self) -> bool:
        """Whether a limit names a light."""
        return self.assessment is not None and any(one.limit.kind == "light" for one in self.assessment.judged)

    def headline(self) -> tuple[str, str, str, str]:
        """The answer: state as of a verdict, what it rests on, one sentence, and the line beneath it."""
        says = dict(self.said())
        for asked, condition, found in (
            ("What it is like now", "as measured", self.comparison and self.comparison.assessments),
            ("What it will be like", "once the work is done", self.plan),
            ("Where it stands", "as it is", self.assessment),
        ):
            if asked not in says:
                continue
            sentence, _, more = says[asked].partition(": ")
            state = "" if not found else (found[1] if isinstance(found, tuple) else found).verdict
            if found is self.plan and found is not None and found.action("engineer").any():
                return ASK, "the engineer first", sentence, more
            sentence, _, use = sentence.rstrip(".").partition(" (")
            told = f"Its use: {use.rstrip(')')}. " if use else ""
            return state, condition if state else "", f"{sentence}.", f"{told}{more[:1].upper()}{more[1:]}"
        return "", "", "No survey yet", NOTHING_YET

    @property
    def title(self) -> str:
        """What is shown, as the owner's page calls it; empty without a survey."""
        return "" if self.survey is None else title_of(self.survey, self.comparison, self._job)

    def said(self) -> list[tuple[str, str]]:
        """What the panel says, as the owner's page does: what is asked, and the answer."""
        if self.survey is None:
            return []
        found = paragraphs(self.survey, self.assessment, self.plan, self.comparison, self.unit, self._job)
        return [(str(one["asks"]), str(one["says"])) for one in found]

    def picture_of(self, key: str) -> Picture:
        """The picture of a day, drawn once."""
        day, name = self.day(key), (key, self.unit)
        if name not in self._drawn:
            with self.at_work("Drawing ..."):
                self._drawn[name] = day_picture(self.days, day, self.unit, self.title[:60])
        return self._drawn[name]

    def lit(self) -> tuple[Picture, str]:
        """The surface in the light that a limit names, before and after, and what must be known; drawn once.

        Raises
        ------
        NotReadyError : no limit names a light
        """
        if self.unit not in self._lit:
            with self.at_work("Drawing ..."):
                found = lit_picture(self.assessment, self.plan, self.comparison, self.unit, LIT_IN)
            if found is None:
                raise NotReadyError((Problem("no light is named", remedy="choose a limit of the kind light"),))
            self._lit[self.unit] = lit_day(found[0]), found[1]
        return self._lit[self.unit]

    def in_view(self) -> list[Picture]:
        """What is in view: one day; in its light; or all days, which the page of numbers stands beside."""
        if self.view == LIT:
            return [self.lit()[0]]
        keys = [self.view] if self.view not in (BESIDE, NUMBERS) else [day.key for day in self.days]
        return [self.picture_of(key) for key in keys] if self.days else []

    def picture(self) -> bytes:
        """What is in view, as a PNG file."""
        shown = self.in_view()
        return shown[0].png if len(shown) == 1 else beside(shown)

    def save_picture(self, name: str, folder: str | os.PathLike[str] = ".") -> Path:
        """Write what is in view to a new PNG file; ArgumentError where the name will not do or is taken."""
        self.day(FOUND)
        path = new_file(name, folder, (".png",))
        return self._written(write_ours(path, self.picture()))

    def save_page(self, name: str, folder: str | os.PathLike[str] = ".") -> Path:
        """Write the owner's page to a new PDF or HTML file; ArgumentError where the name will not do or is taken."""
        survey = self.day(FOUND).survey
        path = new_file(name, folder, (".pdf", ".html"))
        with self.at_work("Writing the page ..."):
            page = owner_page(self.assessment or survey, self.plan, self.comparison, job=self._job, unit=self.unit)
            return self._written(page.write(path))

    def _written(self, path: Path) -> Path:
        self.saved = (path,)
        return path


NO_WORK = "(neither: by what is chosen here)"
VIEW_NAMES = {**DAY_NAMES, BESIDE: "Side by side", LIT: "In its light", NUMBERS: "Numbers"}
VIEW_TOOLTIPS = {
    FOUND: "How the surface lay when it was measured first",
    PLANNED: "How it lies once the plan is carried out",
    AFTER: "How it lay when it was measured again",
    BESIDE: "All of them beside each other, in the same colors",
    LIT: "How it would look in the light that it was checked for, before and after",
    NUMBERS: "All that is said of it, with its numbers",
}
# only what was looked at, and may be taken down
MAY_COME_OFF = (
    ("Not known: nothing comes off", ""),
    ("A slab that may be ground", "slab"),
    ("A screed that may be ground", "screed"),
    ("Boards that may be planed", "boards"),
    ("Sheathing that may be sanded", "sheathing"),
)
CONTROLS = (
    finish("(no finish: say how it lies)", "What the surface has to be good enough for"),
    Control("align", COMPARE["align"], size="way"),
    Control("beneath", BENEATH["kind"], MAY_COME_OFF, help="Only what was looked at, and may be", size="way"),
)
KINDS = {".png": "image/png", ".pdf": "application/pdf", ".html": "text/html"}
WORDS = {"pass": "YES", "fail": "NOT YET", "undecided": "NOT SURE", ASK: "ASK"}


class PresentPanel(Panel):
    """The Present panel, to be shown as the last line of a notebook's cell.

    Attributes
    ----------
    state : what the panel knows; read it to go on by hand
    box : the widgets
    """

    state: PresentState

    def __init__(self, state: PresentState, folder: str | os.PathLike[str] = ".") -> None:
        self.state, self._folder = state, folder
        super().__init__()
        self.before = SurveyChooser(state, state.before, "As found")
        self.after = SurveyChooser(state, state.after, "After the work, if it is done")
        self.work = FileChooser(
            state, state.work, "Job file or saved plan", "TOML or JSON", nothing=NO_WORK, upload="Upload a plan"
        )
        self._make_controls()
        self.title, self.answer, self.stage = words(), words("", "fk-verdict"), words()
        self.said, self.colours, self.saved = words(), words("", "fk-colours"), words("", "fk-saved")
        head = row(self.title, self.views, self.units, self.settings)
        head.add_class("fk-head")
        chosen = (
            column(one.controls, one.problems, one.about, size="survey") for one in (self.before, self.after, self.work)
        )
        self.files = w.VBox(
            [
                row(*chosen, top=True),
                row(*(self.controls[one.key] for one in CONTROLS), self.work_out),
                row(self.picture_name, self.save_picture, self.page_name, self.save_page),
            ]
        )
        self.files.add_class("fk-files")
        parts = (head, self.working, self.answer, self.problems, self.saved, self.files)
        self.box = panel_box(*parts, self.stage, self.said, self.colours)
        self.box.add_class("fk-present")
        for shows, names in (
            (self._fill, ["days", "finish", "align", "beneath", "unit"]),
            (self._show, ["days", "view", "unit"]),
        ):
            state.observe(state.guard(shows, clears=False), names)
        self._watch()
        state.observe(self._show_saved, "saved")
        self._fill()
        self._show()

    def _make_controls(self) -> None:
        state, guard = self.state, self.state.guard
        self.views = toggles("What to show", "The surface on one of its days, or several", {"As found": FOUND}, ())
        self.views.add_class("fk-views")
        self.units = unit_switch(state.unit, guard(state.choose_unit))
        self.controls = Controls(state, CONTROLS)
        tip = "The least work after which the finish can be laid; it may take a minute"
        self.work_out = button("Work out the plan", tip, guard(lambda _: state.work_out_plan()))
        tip = "A new file in this folder; written when you press the button"
        self.picture_name = text_field("Picture (file name)", tip, "picture.png")
        self.page_name = text_field("Page (file name)", tip, "owner.pdf")
        tip = "What is in view now, as a picture to keep"
        save = guard(lambda _: self._save(self.picture_name, state.save_picture))
        self.save_picture = button("Save the picture", tip, save)
        tip = "Pictures and sentences on one page, to print or to send"
        save = guard(lambda _: self._save(self.page_name, state.save_page))
        self.save_page = button("Save the owner's page", tip, save)
        tip = "Which surveys are shown, for which finish, and the plan; hide them before you present"
        self.settings = w.ToggleButton(value=False, description="Files and settings", tooltip=tip)
        self._bind(self.views, lambda key: state.set_trait("view", key or FOUND))
        self.settings.observe(lambda _: self._fill(), "value")

    def _save(self, field: Any, write: Any) -> None:
        path = write(field.value, self._folder)
        field.value = next_free(path.name, self._folder)

    def _fill(self, _: Any = None) -> None:
        state = self.state
        views = state.views or (FOUND,)
        self.views.tooltips = [VIEW_TOOLTIPS[key] for key in views]
        offer(self.views, [(VIEW_NAMES[key], key) for key in views], state.view)
        self.controls.fill()
        self.units.value = state.unit
        self.files.layout.display = "" if self.settings.value or not state.days else "none"

    def _show(self, _: Any = None) -> None:
        state = self.state
        self.title.value = f"<h2>{escape(state.title or 'No survey yet')}</h2>"
        self.views.value = state.view
        shade, condition, says, more = state.headline()
        self.answer.value = strip_html(Said(shade, WORDS.get(shade, "LOOK"), says, more, condition), state.unit)
        paged = state.view == NUMBERS
        self.said.value = sentences_html(state.said()) if paged else ""
        told = state.lit()[1] if state.view == LIT else colours_say(state.days) if state.days and not paged else ""
        self.colours.value = escape(told)
        pictures = "".join(_image(one.png, f'width="{one.size[0]}" height="{one.size[1]}"') for one in state.in_view())
        beside_it = state.view == LIT or (len(state.days) > 1 and state.view not in (BESIDE, NUMBERS))
        days = _days(state) if beside_it else ""
        figure = f'<figure role="region" aria-label="Map">{pictures}</figure>'
        self.stage.value = f'<div class="fk-stage">{figure}{days}</div>' if pictures else ""

    def _show_saved(self, _: Any = None) -> None:
        self.saved.value = "".join(_link(path) for path in self.state.saved)


def _image(png: bytes, size: str = "") -> str:
    data = base64.b64encode(png).decode("ascii")
    return f'<img alt="" {size} src="data:image/png;base64,{data}" style="width:auto">'


def _days(state: PresentState) -> str:
    """All days on one scale, small: a click shows one of them large."""
    told = []
    for k, day in enumerate(state.days):
        pick = f"this.closest('.fk-panel').querySelectorAll('.fk-views button')[{k}].click()"
        told.append(
            f'<button aria-pressed="{str(day.key == state.view).lower()}" title="Show it large" '
            f'aria-label="{escape(day.name)}, large" onclick="{pick}">{_image(state.picture_of(day.key).map)}'
            f"{escape(day.name)}</button>"
        )
    return f'<div class="fk-days">{"".join(told)}</div>'


def _link(path: Path) -> str:
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    name = escape(path.name)
    return (
        f'<div role="status">Written: {name}. <a download="{name}" href="data:{KINDS[path.suffix.lower()]};base64,'
        f'{data}">Download {name} to this device</a></div>'
    )


def present_panel(
    before: str | os.PathLike[str] = "",
    after: str | os.PathLike[str] = "",
    finish: str = "",
    *,
    plan: Plan | bool | str | os.PathLike[str] = False,
    beneath: str = "",
    align: str = "benchmarks",
    folders: Iterable[str | os.PathLike[str]] = (),
    unit: str | None = None,
    keep_in: str | os.PathLike[str] = ".",
) -> PresentPanel:
    """A panel that shows a surface to whoever owns it: as found, as planned, after the work.

    Parameters
    ----------
    before, after : files to begin with; empty for none. A job file as ``before`` is all that is needed
    finish : key of the finish to come; empty for none
    plan : a plan made from ``before``, or the file it was saved to; True works one out for the finish, which may take
        a minute
    beneath : what lies beneath and may be taken down, such as ``boards``; empty: nothing comes off
    align : how the heights of both surveys are brought together: ``benchmarks``, ``offset``, ``tilt`` or ``none``
    folders : folders whose CSV and XLSX files are offered
    unit : ``in`` or ``mm``; None follows the survey
    keep_in : folder into which pictures and pages are written

    Returns
    -------
    PresentPanel : its ``state`` holds the surveys, the plan and the comparison
    """
    traits: dict[str, Any] = {} if unit is None else {"unit": unit}
    work: str | os.PathLike[str] = "" if isinstance(plan, (Plan, bool)) else plan
    if Path(before).suffix.lower() == JOB_ENDING:
        before, work = "", before
    state = PresentState(before, after, finish, folders, work, align=align, beneath=beneath, **traits)
    panel = PresentPanel(state, keep_in)
    state.guard(state.begin)(plan if isinstance(plan, Plan) else None)
    if plan is True and not state.problems:
        state.guard(state.work_out_plan)()
    return panel
