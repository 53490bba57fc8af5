"""The part of a panel that chooses a file: a list of files, an upload, and what is wrong with the file."""

from __future__ import annotations

from html import escape
from typing import Any

import ipywidgets as w

from flatness.panels.controls import drop_down, is_filling, problem_list, refill, row, text_field, words
from flatness.panels.state import State
from flatness.panels.surveys import FileChoice, SurveyChoice
from flatness.survey.readings import Survey
from flatness.words.phrases import problem_text
from flatness.words.printed import good_to

NOTHING = "(choose a file, or upload one)"


class FileChooser:
    """Widgets that choose a file.

    Attributes
    ----------
    files, upload : the list of files, and the upload button
    problems : what is wrong with the file, cell by cell
    controls : files and upload, side by side
    """

    nothing = NOTHING

    def __init__(self, state: State, choice: Any, label: str, kinds: str, *, short: bool = True) -> None:
        self._state, self._choice = state, choice
        self.files = drop_down(
            label, f"{choice.wanted} ({kinds}) from the folders of this notebook".capitalize(), (), "file"
        )
        self.upload = w.FileUpload(
            accept=",".join(choice.taken),
            multiple=False,
            description="Upload" if short else "Upload a file",
            tooltip=f"{label}: a file ({kinds}) of your own, up to 200 MB",
        )
        self.problems = words()
        self.controls = row(self.files, self.upload)
        self.files.observe(state.guard(self._chosen), "value")
        self.upload.observe(state.guard(self._uploaded), "value")
        choice.observe(state.guard(self._fill, clears=False), ["names", "name", choice.holds, "problems"])
        state.observe(state.guard(self._fill, clears=False), "unit")

    def _chosen(self, change: Any) -> None:
        if change["new"] != self._choice.name and not is_filling(self.files):
            with self._state.at_work(f"Reading {change['new']} ..."):
                self._choice.choose(change["new"] or "")

    def _uploaded(self, _: Any) -> None:
        if not self.upload.value:
            return
        file = self.upload.value[0]
        with self._state.at_work(f"Reading {file['name']} ..."):
            try:
                self._choice.upload(file["name"], bytes(file["content"]))
            finally:
                self.upload.value = ()  # so that the same file, corrected, can be uploaded again

    def _fill(self, _: Any = None) -> None:
        choice = self._choice
        refill(self.files, [(self.nothing, ""), *((name, name) for name in choice.names)], choice.name)
        self.problems.value = problem_list(choice.problems, _heading(choice))


class SurveyChooser(FileChooser):
    """Widgets that choose a survey.

    Attributes
    ----------
    files, upload, sheet : the list of files, the upload button, and the sheet of a workbook
    problems : what is wrong with the file, cell by cell
    about : the survey in one line, and what the reader remarks on
    controls : files, upload and sheet, side by side
    """

    def __init__(self, state: State, choice: SurveyChoice, label: str, *, short: bool = False) -> None:
        super().__init__(state, choice, label if short else f"{label} (CSV or XLSX file)", "CSV or XLSX", short=short)
        self.sheet = text_field("Sheet (name)", "The sheet to read, where a workbook has several")
        self.about = words("", "fk-quiet")
        self.controls.children = (*self.controls.children, self.sheet)
        self.sheet.observe(state.guard(lambda change: choice.choose_sheet(change["new"])), "value")
        self._fill()

    def _fill(self, _: Any = None) -> None:
        super()._fill()
        survey = self._choice.survey
        self.sheet.layout.display = "" if self._choice.is_workbook else "none"
        self.about.value = "" if survey is None else about_survey(survey, self._state.unit)


def _heading(choice: FileChoice) -> str:
    count = len(choice.problems)
    many = "one mistake" if count == 1 else f"{count} mistakes"
    return f"{choice.file_name} cannot be read as it is: {many}. Correct the file and upload it again."


def about_survey(survey: Survey, unit: str) -> str:
    """A survey in a line, as HTML, with what the reader remarks on."""
    good = good_to(survey, unit)
    off = "a string" if not survey.is_level else f"a {survey.reference} reference"
    title = survey.title or survey.source
    parts = [f"{title}: {survey.surface}, {len(survey.points)} readings off {off}, {good}", survey.date]
    told = escape(", ".join(part for part in parts if part)) + "."
    notes = "".join(f"<li>{escape(problem_text(note, unit))}.</li>" for note in survey.notes)
    return told + (f"<br>Worth a look in the file:<ul style='margin:2px 0'>{notes}</ul>" if notes else "")
