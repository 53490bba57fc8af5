"""The part of a panel that chooses a survey: a list of files, an upload, and what is wrong with the file."""

from __future__ import annotations

from html import escape
from typing import Any

import ipywidgets as w

from flatness.show.check_words import note_text
from flatness.show.panels.controls import drop_down, is_filling, problem_list, refill, row, text_field, words
from flatness.show.panels.state import State
from flatness.show.panels.surveys import SurveyChoice
from flatness.show.words import good_to, in_unit
from flatness.survey.readings import Survey

NOTHING = "(choose a file, or upload one)"


class SurveyChooser:
    """Widgets that choose a survey.

    Attributes
    ----------
    files, upload, sheet : the list of files, the upload button, and the sheet of a workbook
    problems : what is wrong with the file, cell by cell
    about : the survey in one line, and what the reader remarks on
    controls : files, upload and sheet, side by side
    """

    def __init__(self, state: State, choice: SurveyChoice, label: str) -> None:
        self._state, self._choice = state, choice
        about = "A survey file from the folders of this notebook"
        self.files = drop_down(f"{label} (CSV or XLSX file)", about, (), "file")
        self.upload = w.FileUpload(
            accept=".csv,.txt,.tsv,.xlsx", multiple=False, description="Upload a file",
            tooltip=f"{label}: a CSV or XLSX file of your own, up to 200 MB",
        )  # fmt: skip
        self.sheet = text_field("Sheet (name)", "The sheet to read, where a workbook has several")
        self.problems, self.about = words(), words("", "fk-quiet")
        self.controls = row(self.files, self.upload, self.sheet)
        self._fill()
        self.files.observe(state.guard(self._chosen), "value")
        self.upload.observe(state.guard(self._uploaded), "value")
        self.sheet.observe(state.guard(lambda change: choice.choose_sheet(change["new"])), "value")
        choice.observe(state.guard(self._fill, clears=False), ["names", "name", "survey", "problems"])
        state.observe(state.guard(self._fill, clears=False), "unit")

    def _chosen(self, change: Any) -> None:
        if change["new"] != self._choice.name and not is_filling(self.files):
            with self._state.at_work("Reading ..."):
                self._choice.choose(change["new"] or "")

    def _uploaded(self, _: Any) -> None:
        if not self.upload.value:
            return
        file = self.upload.value[0]
        with self._state.at_work("Reading ..."):
            try:
                self._choice.upload(file["name"], bytes(file["content"]))
            finally:
                self.upload.value = ()  # so that the same file, corrected, can be uploaded again

    def _fill(self, _: Any = None) -> None:
        choice = self._choice
        options = [(NOTHING, ""), *((name, name) for name in choice.names)]
        refill(self.files, options, choice.name)
        self.sheet.layout.display = "" if choice.is_workbook else "none"
        self.problems.value = problem_list(choice.problems, _heading(choice))
        self.about.value = "" if choice.survey is None else about_survey(choice.survey, self._state.unit)


def _heading(choice: SurveyChoice) -> str:
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
    notes = "".join(f"<li>{escape(in_unit(note_text(note), unit))}.</li>" for note in survey.notes)
    return told + (f"<br>Worth a look in the file:<ul style='margin:2px 0'>{notes}</ul>" if notes else "")
