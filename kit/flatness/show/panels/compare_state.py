"""What the Compare panel knows: two surveys, what changed between them, and the record of it."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from traitlets import Any as AnyTrait
from traitlets import Bool, Enum, Float, Instance, Tuple

from flatness.comparison.alignment import WAYS
from flatness.comparison.comparing import Comparison
from flatness.comparison.records import record, write_record, write_text
from flatness.errors import ArgumentError, FlatnessError, Problem
from flatness.limits.kinds import Limit
from flatness.show.compared import comparison_report, record_text
from flatness.show.panels.finish_state import FinishState
from flatness.show.panels.ready import ReadyVerdicts
from flatness.show.panels.state import NotReadyError
from flatness.show.panels.surveys import SurveyChoice
from flatness.show.panels.unchanged import NEEDED, Unchanged
from flatness.survey.readings import Survey
from flatness.survey.saving import write_new

NEW_NAME = "choose another name: a record is never overwritten here"


class CompareState(FinishState):
    """The state of the Compare panel.

    Attributes
    ----------
    before, after : the surveys chosen
    align : how the datums are brought together, as for :func:`~flatness.comparison.comparing.compare`
    unchanged : places (x, y) [mm] and labels of stations said not to have changed; ``offset`` and ``tilt`` go by them
    clicking : whether a click on the map says that a place did not change
    finish : key of the finish whose verdicts are compared; empty for none
    confidence : of the limit of detection and the verdicts, 0.5 to under 1
    comparison : the :class:`~flatness.comparison.comparing.Comparison`, or None
    saved : names of the files written last
    pointer : place [mm] that is pointed at, or None
    """

    before = Instance(SurveyChoice)
    after = Instance(SurveyChoice)
    align = Enum(WAYS, "benchmarks")
    unchanged = Tuple()
    clicking = Bool(False)
    confidence = Float(0.95)
    comparison = AnyTrait(None)
    pointer = AnyTrait(None)

    def __init__(
        self, before: str | os.PathLike[str] = "", after: str | os.PathLike[str] = "", finish: str = "",
        folders: Iterable[str | os.PathLike[str]] = (), **traits: Any,
    ) -> None:  # fmt: skip
        folders = list(folders)
        super().__init__(before=SurveyChoice(folders, before), after=SurveyChoice(folders, after), **traits)
        self._ready = ReadyVerdicts()
        self.set_trait("finish", finish)
        # guarded, for an exception here would keep all that is told of the change after it from being told
        for choice in (self.before, self.after):
            choice.observe(self.guard(self._new_survey), "survey")
        self.observe(self.guard(self._compare_again), ["align", "unchanged", "finish", "confidence"])

    def begin(self) -> None:
        """Read and compare what the panel was made with."""
        self.before.begin()
        self.after.begin()

    @property
    def surveys(self) -> tuple[Survey, Survey] | None:
        """Both surveys, or None unless both are there."""
        before, after = self.before.survey, self.after.survey
        return None if before is None or after is None else (before, after)

    @property
    def judged(self) -> Survey | None:
        known: Survey | None = self.after.survey or self.before.survey
        return known

    def limits(self) -> list[Limit]:
        return super().limits() if self.surveys is not None else []

    def _new_survey(self, _: Any = None) -> None:
        finish, unchanged = self.finish, self.unchanged
        with self.hold_trait_notifications():  # nobody is told of the new unit before the old comparison is gone
            self.pointer = self.comparison = None
            self.unchanged = ()  # places on another surface
            self.follow_unit(self.after.survey or self.before.survey)
            if self.surveys is not None and finish and finish not in self.finishes:
                self.finish = ""  # a finish for floors, and the surveys are of a wall
        if self.finish == finish and self.unchanged == unchanged:
            self._compare_again()

    @property
    def by_surface(self) -> bool:
        """Whether the datums are aligned on the surface itself, so that places may be said not to have changed."""
        return self.align in NEEDED

    def say_unchanged(self, place: Unchanged) -> None:
        """Say of one more place (x, y) [mm], or of a station by its label, that it did not change."""
        if place not in self.unchanged:
            self.unchanged = (*self.unchanged, place)

    def _compare_again(self, _: Any = None) -> None:
        found, surveys = None, self.surveys
        enough = self.by_surface and len(self.unchanged) >= NEEDED[self.align]
        try:
            if surveys is not None:
                with self.at_work("Comparing ..."):
                    try:
                        found = self._compared(surveys, self.unchanged if enough else None)
                    except FlatnessError:
                        if enough:  # the map stays, so that other places can be clicked on it
                            found = self._compared(surveys, None)
                        raise
        finally:
            with self.hold_trait_notifications():
                self.comparison, self.pointer, self.saved = found, None, ()

    def _compared(self, surveys: tuple[Survey, Survey], unchanged: tuple[Unchanged, ...] | None) -> Comparison:
        return self._ready.compare(
            *surveys, self.limits(), self.confidence, align=self.align, unchanged=unchanged
        )  # fmt: skip

    def found(self) -> Comparison:
        """The comparison, for the cells below the panel.

        Raises
        ------
        NotReadyError : the surveys are not both there, or cannot be compared as asked; the message says why
        """
        with self.lock:  # a change that is being compared is waited for
            made: Comparison | None = self.comparison
        if made is None:
            raise NotReadyError(
                (*self.before.problems, *self.after.problems) or self.problems
                or Problem("two surveys are compared", remedy="choose both in the panel, then run this cell again")
            )  # fmt: skip
        return made

    def save(self, name: str, folder: str | os.PathLike[str] = ".") -> list[Path]:
        """Write the record of the comparison and its text, and beside them whichever surveys were uploaded.

        Parameters
        ----------
        name : name of the record, such as ``record.json``; its text gets the ending ``.txt``
        folder : where to write

        Returns
        -------
        list of Path : the files written

        Raises
        ------
        ArgumentError : a name that is no file's, or one that is taken: nothing is ever overwritten
        """
        found, path = self.found(), _record_path(name, folder)
        choices = {"before": self.before, "after": self.after}
        beside = {
            day: path.with_name(f"{path.stem}-{day}{Path(choice.file_name).suffix}")
            for day, choice in choices.items() if isinstance(choice.content, bytes)
        }  # fmt: skip
        for target in (path, path.with_suffix(".txt"), *beside.values()):
            if target.exists():
                raise ArgumentError("there is a file of this name already", file=target.name, remedy=NEW_NAME)
        written: list[Path] = []
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            for day, target in beside.items():
                write_new(target, bytes(choices[day].content), False, remedy=NEW_NAME)
                written.append(target)
            files = [beside.get(day) or choice.content for day, choice in choices.items()]
            sheets = {day: choice.sheet or None for day, choice in choices.items()}
            made = record(found, files[0], files[1], path.parent, sheets=sheets)  # type: ignore[arg-type]
            written.append(write_record(made, path))
            readable = path.with_suffix(".txt")
            write_text(readable, record_text(made, comparison_report(found, self.unit)))
            written.append(readable)
        except Exception:
            for target in written:
                target.unlink(missing_ok=True)  # a record is whole or not there
            raise
        self.saved = tuple(target.name for target in written)
        return written


def _record_path(name: str, folder: str | os.PathLike[str]) -> Path:
    plain = name.strip()
    if not plain or plain != Path(plain).name or plain.startswith("."):
        raise ArgumentError(
            "not the name of a file", value=name, expected="a name without folders, such as record.json",
            remedy="type a name for the record",
        )  # fmt: skip
    path = Path(folder) / plain
    path = path if path.suffix else path.with_suffix(".json")
    if path.suffix.lower() != ".json":
        raise ArgumentError(
            "the record is a JSON file", value=name, expected="a name that ends in .json", remedy="change its ending"
        )
    return path
