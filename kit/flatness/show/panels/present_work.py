"""What may be presented besides a survey: a job file, which names all there is, or a plan that was saved."""

from __future__ import annotations

import tempfile
from html import escape
from pathlib import Path
from typing import Any, ClassVar

import ipywidgets as w
from traitlets import Any as AnyTrait

from flatness.corrections.saved_plan import SavedPlan, read_plan
from flatness.job.reading import read_job
from flatness.job.records import Job, SurveyFile
from flatness.show.panels.controls import drop_down, is_filling, problem_list, refill, row, words
from flatness.show.panels.state import State
from flatness.show.panels.surveys import FileChoice, SurveyChoice

JOB_ENDING, PLAN_ENDING = ".toml", ".json"
NOTHING = "(neither: by what is chosen here)"


class WorkChoice(FileChoice):
    """A job file or a saved plan, chosen out of a list.

    Attributes
    ----------
    work : a :class:`~flatness.job.records.Job`, a :class:`~flatness.corrections.saved_plan.SavedPlan`, or None
    """

    listed: ClassVar[tuple[str, ...]] = (JOB_ENDING, PLAN_ENDING)
    taken: ClassVar[tuple[str, ...]] = (PLAN_ENDING,)
    wanted: ClassVar[str] = "a plan that was saved"
    remedy: ClassVar[str] = (
        "save it in the planning notebook or with flatness plan --save; a job file names its surveys, so choose it in "
        "the list"
    )

    holds = "work"

    work = AnyTrait(None)

    def _read(self, content: Path | bytes) -> Job | SavedPlan:
        if isinstance(content, Path):
            return read_job(content) if content.suffix.lower() == JOB_ENDING else read_plan(content)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / self.file_name
            path.write_bytes(content)
            return read_plan(path)


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


class WorkChooser:
    """Widgets that choose a job file or a saved plan: ``controls``, ``problems`` and ``about`` what was chosen."""

    def __init__(self, state: State, choice: WorkChoice) -> None:
        self._state, self._choice = state, choice
        self.files = drop_down(
            "Job file or saved plan (TOML or JSON file)",
            "A job file names surveys, limits and plan; a saved plan was saved in the planning notebook", (), "file",
        )  # fmt: skip
        self.upload = w.FileUpload(
            accept=PLAN_ENDING, multiple=False, description="Upload a plan",
            tooltip="A plan that was saved in the planning notebook or with flatness plan --save",
        )  # fmt: skip
        self.problems, self.about = words(), words("", "fk-quiet")
        self.controls = row(self.files, self.upload)
        self.fill()
        self.files.observe(state.guard(self._chosen), "value")
        self.upload.observe(state.guard(self._uploaded), "value")
        choice.observe(state.guard(self.fill, clears=False), ["names", "name", "work", "problems"])

    def _chosen(self, change: Any) -> None:
        if change["new"] != self._choice.name and not is_filling(self.files):
            with self._state.at_work("Reading ..."):
                self._choice.choose(change["new"] or "")

    def _uploaded(self, _: Any) -> None:
        if self.upload.value:
            file = self.upload.value[0]
            try:
                self._choice.upload(file["name"], bytes(file["content"]))
            finally:
                self.upload.value = ()

    def fill(self, _: Any = None) -> None:
        """Show what is chosen, and what is wrong with it."""
        choice = self._choice
        refill(self.files, [(NOTHING, ""), *((name, name) for name in choice.names)], choice.name)
        self.problems.value = problem_list(choice.problems, f"{choice.file_name} cannot be shown.")
        self.about.value = escape(about(choice.work))


def about(work: Job | SavedPlan | None) -> str:
    """What a job or a saved plan is, in a line."""
    if work is None:
        return ""
    if isinstance(work, SavedPlan):
        patches = len(work.patches)
        return f"A plan of {work.title}: {patches} patch{'' if patches == 1 else 'es'}."
    days = "survey before" if work.after is None else "surveys before and after"
    asked = ", ".join(limit.name for limit in work.limits) or "no limits"
    return f"{work.title}: {days}, {asked}, {'a plan' if work.plan else 'no plan'}."
