"""What the Present panel knows: the days of one surface, what is said of them, and which of them is in view."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from traitlets import Any as AnyTrait
from traitlets import Float, Tuple, Unicode

from flatness.corrections.beneath import Beneath
from flatness.corrections.plan import Plan
from flatness.corrections.saved_plan import SavedPlan
from flatness.corrections.ways import plan_ways
from flatness.errors import ArgumentError, Problem
from flatness.job.records import Job
from flatness.job.running import Results, run_job
from flatness.limits.verdict import assess
from flatness.show.panels.present_asked import JOB, PresentAsked
from flatness.show.panels.present_days import FOUND, Day, days_of
from flatness.show.panels.present_files import free_path, in_own_words
from flatness.show.panels.present_pictures import Picture, beside, day_picture, wiped
from flatness.show.panels.present_saved import plan_on
from flatness.show.panels.present_words import NOTHING_YET, sentences
from flatness.show.panels.present_work import choose_file
from flatness.show.panels.ready import ReadyVerdicts
from flatness.show.panels.state import NotReadyError
from flatness.show.papers.files import write_ours
from flatness.show.papers.owner import owner_page
from flatness.show.papers.told import title_of

BESIDE, WIPE = "beside", "wipe"
VIEWED = ("view", "left", "right", "wipe", "unit")
SAME_MM = 0.01  # a survey that was written to a file and read again
SURFACE_SAYS = "the plan is of another survey than the one that is shown"


class PresentState(PresentAsked):
    """The state of the Present panel: what :class:`~flatness.show.panels.present_asked.PresentAsked` holds, and
    what it gives.

    Attributes
    ----------
    plan : the :class:`~flatness.corrections.plan.Plan`, or None
    assessment, comparison : of the surveys chosen, or None
    days : what can be shown, a :class:`~flatness.show.panels.present_days.Day` each, in the order of time
    view : key of a day, ``beside`` or ``wipe``
    left, right : keys of the days to the left and to the right of the line of a wipe
    wipe : how far the line stands from the left [%]
    saved : the files written last
    """

    plan = AnyTrait(None)
    assessment = AnyTrait(None)
    comparison = AnyTrait(None)
    days = Tuple()
    view = Unicode(FOUND)
    left = Unicode(FOUND)
    right = Unicode(FOUND)
    wipe = Float(50.0, min=0.0, max=100.0)

    def __init__(
        self, before: str | os.PathLike[str] = "", after: str | os.PathLike[str] = "", finish: str = "",
        folders: Iterable[str | os.PathLike[str]] = (), work: str | os.PathLike[str] = "", **traits: Any,
    ) -> None:  # fmt: skip
        super().__init__(before, after, folders, work, **traits)
        self.set_trait("finish", finish)
        self._drawn: dict[tuple[str, ...], Picture] = {}
        self._ready = ReadyVerdicts()
        self._begun = False
        for choice in (self.before, self.after):
            choice.observe(self.guard(self._survey_read), "survey")
        # guarded, so that whatever goes wrong here, the widgets that watch the same are still drawn afresh
        self.work.observe(self.guard(self._work_chosen), "work")
        self.observe(self.guard(self._compute), ["finish", "align"])
        self.observe(self._unsave, ["problems", "days", "finish", "align", "beneath", *VIEWED])

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
                ("assessment", "Checking ..."), ("comparison", "Comparing before and after ..."),
            ):  # fmt: skip
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
                SURFACE_SAYS, value=plan.survey.title or plan.survey.source or "without a title",
                remedy="choose its survey as found, or make the plan from this one",
            )  # fmt: skip
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
        keys = [day.key for day in days]
        with self.hold_trait_notifications():
            self.assessment, self.comparison, self.plan, self.days = assessment, comparison, plan, days
            self.saved = ()
            if len(keys) > 1:
                kept = {self.left, self.right} <= set(keys) and self.left != self.right
                # the latest comes in from the left, over what was found
                self.left, self.right = (self.left, self.right) if kept else (keys[-1], keys[0])
            else:
                self.left = self.right = FOUND
            if self.view not in (*keys, *((BESIDE, WIPE) if len(keys) > 1 else ())):
                self.view = FOUND

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

    def choose_side(self, side: str, key: str) -> None:
        """Put a day on one side, ``left`` or ``right``, of the line; where it was on the other, both change places."""
        self.day(key)
        other = "right" if side == "left" else "left"
        with self.hold_trait_notifications():
            if getattr(self, other) == key:
                setattr(self, other, getattr(self, side))
            setattr(self, side, key)

    @property
    def title(self) -> str:
        """What is shown, as the owner's page calls it; empty without a survey."""
        return "" if self.survey is None else title_of(self.survey, self.comparison, self._job)

    def said(self) -> list[tuple[str, str]]:
        """What the panel says: what is asked, and the answer."""
        if self.survey is None:
            return []
        return sentences(self.survey, self.assessment, self.plan, self.comparison, self.unit, self._job)

    def picture_of(self, key: str, pair: tuple[str, str] | None = None) -> Picture:
        """The picture of a day, drawn once; with ``pair`` as one side of a wipe."""
        self.day(key)
        name = (key, self.unit, *(pair or ()))
        if name not in self._drawn:
            with self.at_work("Drawing ..."):
                both = None if pair is None else (self.day(pair[0]), self.day(pair[1]))
                self._drawn[name] = day_picture(self.days, self.day(key), self.unit, both, self.title[:60])
        return self._drawn[name]

    def sides(self) -> tuple[Picture, Picture]:
        """The pictures to the left and to the right of the line of a wipe, in one frame."""
        pair = (self.left, self.right)
        return self.picture_of(self.left, pair), self.picture_of(self.right, pair)

    def picture(self) -> bytes:
        """What is in view, as a PNG file."""
        if self.view == BESIDE:
            return beside([self.picture_of(day.key) for day in self.days])
        if self.view == WIPE:
            return wiped(*self.sides(), self.wipe / 100).png
        return self.picture_of(self.view).png

    def save_picture(self, name: str, folder: str | os.PathLike[str] = ".") -> Path:
        """Write what is in view to a new PNG file; ArgumentError where the name will not do or is taken."""
        self.day(FOUND)
        path = free_path(name, folder, (".png",))
        return self._written(write_ours(path, self.picture()))

    def save_page(self, name: str, folder: str | os.PathLike[str] = ".") -> Path:
        """Write the owner's page to a new PDF or HTML file; ArgumentError where the name will not do or is taken."""
        survey = self.day(FOUND).survey
        path = free_path(name, folder, (".pdf", ".html"))
        with self.at_work("Writing the page ..."):
            page = owner_page(
                self.assessment or survey, self.plan, self.comparison, job=self._job, unit=self.unit
            )  # fmt: skip
            return self._written(page.write(path))

    def _written(self, path: Path) -> Path:
        self.saved = (path,)
        return path
