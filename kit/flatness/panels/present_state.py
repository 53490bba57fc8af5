"""What the Present panel knows: the days of one surface, what is said of them, and which of them is in view.

Surveys are chosen, or a job file that names them, and what the surface has to meet; a plan that was saved is laid on
its survey again. What is said is for whoever owns the room: no term of the trade, and what the colors mean.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
from traitlets import Any as AnyTrait
from traitlets import Instance, Tuple, Unicode

from flatness.charts.differences import is_blank
from flatness.errors import ArgumentError, FlatnessError, Problem
from flatness.job.records import Job, SurveyFile
from flatness.job.running import Results, run_job
from flatness.job.schema import COMPARE
from flatness.limits.kinds import Limit
from flatness.limits.verdict import assess
from flatness.panels.compare_state import DaysState
from flatness.panels.files import SurveyChoice, WorkChoice, new_file
from flatness.panels.present_pictures import AFTER, FOUND, Day, Picture, beside, day_picture, days_of
from flatness.panels.state import NotReadyError
from flatness.papers.files import write_ours
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


BESIDE, NUMBERS = "beside", "numbers"
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
    view : key of a day, ``beside``, or ``numbers``, the page of all that is said
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
        return (*keys, *((BESIDE,) if len(keys) > 1 else ()), *((NUMBERS,) if keys else ()))

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

    def in_view(self) -> list[Picture]:
        """What is in view: one day; or all of them, which the page of numbers stands beside."""
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
