"""What is chosen in the Present panel: surveys, or a job file that names them, and what the surface has to meet."""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import Any

from traitlets import Enum, Instance, Unicode

from flatness.comparison.alignment import WAYS
from flatness.job.records import Job
from flatness.job.running import Results
from flatness.limits.kinds import Limit
from flatness.show.panels.finish_state import FinishState
from flatness.show.panels.present_work import WorkChoice, is_chosen
from flatness.show.panels.surveys import SurveyChoice
from flatness.survey.readings import Survey

JOB = "job"  # key of the limits that a job file names, beside the catalogue's finishes


class PresentAsked(FinishState):
    """What is chosen in the Present panel.

    Attributes
    ----------
    before, after : the surveys chosen, as found and after the work; either may be empty
    work : a job file or a saved plan that is chosen
    align : how the datums are brought together, as for :func:`~flatness.comparison.comparing.compare`
    finish : key of the finish to come, ``job`` for what a job file names; empty for none
    beneath : kind of what lies beneath and may be taken down, as for :class:`~flatness.corrections.beneath.Beneath`;
        empty: nothing comes off
    """

    before = Instance(SurveyChoice)
    after = Instance(SurveyChoice)
    work = Instance(WorkChoice)
    align = Enum(WAYS, "benchmarks")
    beneath = Unicode("")

    def __init__(
        self, before: str | os.PathLike[str] = "", after: str | os.PathLike[str] = "",
        folders: Iterable[str | os.PathLike[str]] = (), work: str | os.PathLike[str] = "", **traits: Any,
    ) -> None:  # fmt: skip
        folders = list(folders)
        super().__init__(
            before=SurveyChoice(folders, before), after=SurveyChoice(folders, after), work=WorkChoice(folders, work),
            **traits,
        )  # fmt: skip
        self._results: Results | None = None

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
