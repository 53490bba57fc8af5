"""Files of a panel: chosen out of a list or uploaded, with what is wrong in them; and new ones, never over another."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path
from typing import Any, ClassVar

import ipywidgets as w
from traitlets import Any as AnyTrait
from traitlets import HasTraits, Tuple, Unicode

from flatness.errors import ArgumentError, FlatnessError, Problem
from flatness.job.reading import read_job
from flatness.job.records import Job
from flatness.panels.controls import drop_down, is_filling, offer, problem_list, put, row, text_field, words
from flatness.panels.state import State
from flatness.planning.plan import SavedPlan, read_plan
from flatness.survey.files import ENDINGS, read_survey
from flatness.survey.readings import Survey
from flatness.words.phrases import problem_text
from flatness.words.printed import good_to

MOST_FILES = 300
DEEP = 2  # folders below the one that is named
UPLOADED = " (uploaded)"
JOB_ENDING, PLAN_ENDING = ".toml", ".json"
NOTHING = "(choose a file, or upload one)"
NEW_NAME = "type another name: no file is ever written over here"


def files_in(folder: str | os.PathLike[str], endings: tuple[str, ...] = (".csv", ".xlsx")) -> dict[str, Path]:
    """Files with these endings of a folder and of those in it, by their name from there; hidden ones are left out."""
    root = Path(folder)
    found: dict[str, Path] = {}
    for level in range(DEEP):
        for path in sorted(root.glob("/".join(["*"] * (level + 1)))):
            name = path.relative_to(root)
            hidden = any(part.startswith((".", "~")) for part in name.parts)
            if path.suffix.lower() in endings and not hidden and path.is_file():
                found[name.as_posix()] = path
    return dict(sorted(found.items())[:MOST_FILES])


class FileChoice(HasTraits):  # type: ignore[misc, unused-ignore]
    """A file chosen out of a list, and what is wrong with it.

    Attributes
    ----------
    names : names of the files to choose from
    name : name of the file chosen; empty where none is
    problems : what is wrong with the file; empty where it was read
    """

    listed: ClassVar[tuple[str, ...]] = (".csv", ".xlsx")  # endings of the files that folders offer
    taken: ClassVar[tuple[str, ...]] = ENDINGS  # and of those that may be uploaded
    wanted: ClassVar[str] = "a survey file"
    remedy: ClassVar[str] = "save the table as CSV or XLSX, and upload that"
    holds: ClassVar[str]  # name of the trait that has what was read

    names = Tuple()
    name = Unicode("")
    problems = Tuple()

    def __init__(self, folders: Iterable[str | os.PathLike[str]] = (), file: str | os.PathLike[str] = "") -> None:
        super().__init__()
        self._files: dict[str, Path | bytes] = {}
        for folder in folders:
            for name, path in files_in(folder, self.listed).items():
                self._add(name, path)
        self.names = tuple(self._files)
        self._first = Path(file) if str(file) else None

    def _add(self, name: str, content: Path | bytes) -> str:
        known = {key: path.resolve() for key, path in self._files.items() if isinstance(path, Path)}
        if isinstance(content, Path):
            twin = next((key for key, path in known.items() if path == content.resolve()), None)
            if twin is not None:
                return twin
            while name in self._files:
                name = f"{content.resolve().parent.parent.name}/{name}"
        self._files[name] = content
        return name

    def begin(self) -> None:
        """Read the file that the choice was made with, if it was made with one."""
        if self._first is not None:
            self.choose_path(self._first)

    def choose_path(self, path: str | os.PathLike[str]) -> None:
        """Choose a file by its path, in the folders or elsewhere."""
        label = self._add(Path(path).name, Path(path))
        self.names = tuple(self._files)
        self.choose(label)

    def choose(self, name: str) -> None:
        """Choose a file by its name in the list, and read it; an empty name chooses none."""
        self._check(name)
        self.name = name
        self.read()

    def _check(self, name: str) -> None:
        if name and name not in self._files:
            raise ArgumentError(
                "no file of this name in the list", value=name, expected="one of the list", remedy="choose another"
            )

    def upload(self, name: str, data: bytes) -> None:
        """Take a file that was uploaded, and choose it; one of the same name takes the place of an earlier one."""
        if not name.lower().endswith(self.taken):
            raise ArgumentError(
                f"not {self.wanted}",
                value=name,
                remedy=self.remedy,
                expected=f"a name that ends in {', '.join(self.taken[:-1])}{' or ' * (len(self.taken) > 1)}"
                f"{self.taken[-1]}",
            )
        label = self._add(f"{name}{UPLOADED}", bytes(data))
        self.names = tuple(self._files)
        self.choose(label)

    def read(self) -> None:
        """Read the file chosen, afresh; a file with mistakes leaves nothing, so that no old verdict stands."""
        content = self._files.get(self.name)
        found, problems = None, tuple[Problem, ...]()
        if content is not None:
            try:
                found = self._read(content)
            except FlatnessError as error:
                problems = error.problems
        with self.hold_trait_notifications():
            self.problems = problems
            self.set_trait(self.holds, found)

    def _read(self, content: Path | bytes) -> Any:
        raise NotImplementedError

    @property
    def file_name(self) -> str:
        """Name of the file chosen, without its folder."""
        return Path(self.name.removesuffix(UPLOADED)).name

    @property
    def content(self) -> Path | bytes:
        """Path of the file chosen, or the bytes that were uploaded."""
        if not self.name:
            raise ArgumentError("no file is chosen", remedy="choose one in the list, or upload one")
        return self._files[self.name]


class SurveyChoice(FileChoice):
    """The survey chosen out of a list of files.

    Attributes
    ----------
    sheet : sheet of a workbook that has several; empty takes the only one that is filled
    survey : the :class:`~flatness.survey.readings.Survey` read from it, or None
    """

    holds = "survey"

    sheet = Unicode("")
    survey = AnyTrait(None)

    def choose(self, name: str) -> None:
        """Choose a file by its name in the list, and read it; an empty name chooses none."""
        self._check(name)
        self.set_trait("sheet", "")
        super().choose(name)

    def choose_sheet(self, sheet: str) -> None:
        """Read another sheet of the workbook chosen."""
        self.sheet = sheet.strip()
        self.read()

    def _read(self, content: Path | bytes) -> Any:
        sheet = self.sheet or None
        if isinstance(content, Path):
            return read_survey(content, sheet=sheet)
        return read_survey(content, name=self.file_name, sheet=sheet)

    @property
    def is_workbook(self) -> bool:
        return self.file_name.lower().endswith(".xlsx")


class PlanChoice(FileChoice):
    """A plan that was saved, chosen out of a list of files.

    Attributes
    ----------
    plan : the :class:`~flatness.planning.plan.SavedPlan`, or None
    """

    listed: ClassVar[tuple[str, ...]] = (PLAN_ENDING,)
    taken: ClassVar[tuple[str, ...]] = (PLAN_ENDING,)
    wanted: ClassVar[str] = "a plan that was saved"
    remedy: ClassVar[str] = "save it in the planning notebook, or with flatness plan --save"
    holds = "plan"

    plan = AnyTrait(None)

    def _read(self, content: Path | bytes) -> Any:
        if isinstance(content, Path):
            return read_plan(content)
        return read_plan(content, name=self.file_name)


class WorkChoice(PlanChoice):
    """A job file or a saved plan, chosen out of a list.

    Attributes
    ----------
    work : a :class:`~flatness.job.records.Job`, a :class:`~flatness.planning.plan.SavedPlan`, or None
    """

    listed: ClassVar[tuple[str, ...]] = (JOB_ENDING, PLAN_ENDING)
    remedy: ClassVar[str] = (
        "save it in the planning notebook or with flatness plan --save; a job file names its surveys, so choose it in "
        "the list"
    )
    holds = "work"

    work = AnyTrait(None)

    def _read(self, content: Path | bytes) -> Any:
        is_job = isinstance(content, Path) and content.suffix.lower() == JOB_ENDING
        return read_job(content) if is_job else super()._read(content)  # type: ignore[arg-type]


class FileChooser:
    """Widgets that choose a file.

    Attributes
    ----------
    files, upload : the list of files, and the upload button
    problems : what is wrong with the file, cell by cell
    about : what was read, in a line
    controls : files and upload, side by side
    """

    def __init__(
        self, state: State, choice: Any, label: str, kinds: str, *, nothing: str = NOTHING, upload: str = "Upload"
    ) -> None:
        self._state, self._choice, self._nothing = state, choice, nothing
        self.files = drop_down(
            label, f"{choice.wanted} ({kinds}) from the folders of this notebook".capitalize(), (), "file"
        )
        self.upload = w.FileUpload(
            accept=",".join(choice.taken),
            multiple=False,
            description=upload,
            tooltip=f"{label}: a file ({kinds}) of your own, up to 200 MB",
        )
        self.problems, self.about = words(), words("", "fk-quiet")
        self.controls = row(self.files, self.upload)
        self.files.observe(state.guard(self._chosen), "value")
        self.upload.observe(state.guard(self._uploaded), "value")
        choice.observe(state.guard(self._fill, clears=False), ["names", "name", choice.holds, "problems"])
        state.observe(state.guard(self._fill, clears=False), "unit")
        self._fill()

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
        offer(self.files, [(self._nothing, ""), *((name, name) for name in choice.names)], choice.name)
        self.problems.value = problem_list(choice.problems, _heading(choice))
        self.about.value = about(getattr(choice, choice.holds), self._state.unit)


class SurveyChooser(FileChooser):
    """Widgets that choose a survey; ``sheet`` is the sheet of a workbook, beside the files."""

    def __init__(self, state: State, choice: SurveyChoice, label: str) -> None:
        self.sheet = text_field("Sheet (name)", "The sheet to read, where a workbook has several")
        super().__init__(state, choice, label, "CSV or XLSX")
        self.controls.children = (*self.controls.children, self.sheet)
        self.sheet.observe(state.guard(self._sheet_chosen), "value")
        choice.observe(lambda change: put(self.sheet, change["new"]), "sheet")

    def _sheet_chosen(self, change: Any) -> None:
        if not is_filling(self.sheet):
            self._choice.choose_sheet(change["new"])

    def _fill(self, _: Any = None) -> None:
        super()._fill()
        self.sheet.layout.display = "" if self._choice.is_workbook else "none"


def _heading(choice: FileChoice) -> str:
    count = len(choice.problems)
    many = "one mistake" if count == 1 else f"{count} mistakes"
    return f"{choice.file_name} cannot be read as it is: {many}. Correct the file and upload it again."


def _about_survey(survey: Survey, unit: str) -> str:
    """A survey in a line, as HTML, with what the reader remarks on."""
    good = good_to(survey, unit)
    off = "a string" if not survey.is_level else f"a {survey.reference} reference"
    title = survey.title or survey.source
    parts = [f"{title}: {survey.surface}, {len(survey.points)} readings off {off}, {good}", survey.date]
    told = escape(", ".join(part for part in parts if part)) + "."
    notes = "".join(f"<li>{escape(problem_text(note, unit))}.</li>" for note in survey.notes)
    return told + (f"<br>Worth a look in the file:<ul style='margin:2px 0'>{notes}</ul>" if notes else "")


def about(read: Survey | Job | SavedPlan | None, unit: str) -> str:
    """What was read in a line, as HTML; empty where nothing was."""
    if read is None:
        return ""
    if isinstance(read, Survey):
        return _about_survey(read, unit)
    if isinstance(read, SavedPlan):
        patches = len(read.patches)
        return escape(f"A plan of {read.title}: {patches} patch{'' if patches == 1 else 'es'}.")
    days = "survey before" if read.after is None else "surveys before and after"
    asked = ", ".join(dict.fromkeys(limit.everyday or limit.name for limit in read.limits)) or "no limits"
    return escape(f"{read.title}: {days}, {asked}, {'a plan' if read.plan else 'no plan'}.")


def new_file(name: str, folder: str | os.PathLike[str], endings: Sequence[str], field: str = "") -> Path:
    """The path of a new file of this name in a folder; without an ending it gets the first of ``endings``.

    Parameters
    ----------
    name : as typed
    folder : where the file goes
    endings : one of which it has
    field : label of the control that it was typed into

    Raises
    ------
    ArgumentError : a name that is no file's, has another ending, or is taken
    """
    plain = name.strip()
    if not plain or not plain.isprintable() or plain != Path(plain).name or plain.startswith("."):
        raise ArgumentError(
            "not the name of a file",
            column=field or None,
            value=plain or "empty",
            expected=f"a name without folders, such as room{endings[0]}",
            remedy=NEW_NAME,
        )
    path = Path(folder) / plain
    path = path if path.suffix else path.with_suffix(endings[0])
    if path.suffix.lower() not in endings:
        raise ArgumentError(
            "another kind of file",
            column=field or None,
            value=name,
            expected=f"a name that ends in {' or '.join(endings)}",
            remedy="change its ending",
        )
    free(path)
    return path


def free(*paths: Path) -> None:
    """Refuse names that are taken."""
    for path in paths:
        if path.exists():
            what = "there is a file of this name already"
            raise ArgumentError(what, file=path.name, expected="a new name", remedy=NEW_NAME)


def next_free(name: str, folder: str | os.PathLike[str]) -> str:
    """The same name with the least number behind it that no file has."""
    path, number = Path(name), 2
    stem = path.stem.rstrip("0123456789").removesuffix("-") or path.stem
    while (Path(folder) / f"{stem}-{number}{path.suffix}").exists():
        number += 1
    return f"{stem}-{number}{path.suffix}"
