"""Choosing a survey: a file of a folder, or one that is uploaded; what is wrong with it, by cell."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any, ClassVar

from traitlets import Any as AnyTrait
from traitlets import HasTraits, Tuple, Unicode

from flatness.errors import ArgumentError, FlatnessError, Problem
from flatness.survey.files import ENDINGS, read_survey

MOST_FILES = 300
DEEP = 2  # folders below the one that is named
UPLOADED = " (uploaded)"


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
