"""What the Compare panel knows: two surveys, what changed between them, the plan, and the record of it.

The verdicts, which no alignment changes, are worked out once for each pair of surveys.
"""

from __future__ import annotations

import os
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from traitlets import Any as AnyTrait
from traitlets import Bool, Enum, Float, Instance, Tuple

from flatness.comparison.alignment import WAYS
from flatness.comparison.comparing import Comparison, compare
from flatness.comparison.records import record, write_record, write_text
from flatness.errors import FlatnessError
from flatness.files import write_new
from flatness.limits.kinds import Limit
from flatness.limits.spot_checks import Checks, Sweep
from flatness.measures.bars import Place
from flatness.panels.check_state import FinishState
from flatness.panels.files import NEW_NAME, PLAN_ENDING, FileChoice, PlanChoice, SurveyChoice, free, new_file
from flatness.survey.readings import Survey
from flatness.words.comparisons import comparison_report, record_text

KEPT = 4  # pairs of assessments


class ReadyVerdicts:
    """Compares as :func:`~flatness.comparison.comparing.compare` does, with what it has judged before kept ready."""

    def __init__(self) -> None:
        self._kept: dict[Hashable, Comparison] = {}

    def compare(
        self,
        before: Survey,
        after: Survey,
        limits: Sequence[Limit],
        confidence: float = 0.95,
        spot_checks: tuple[Checks, Checks] = ((), ()),
        **how: Any,
    ) -> Comparison:
        """The comparison of two surveys.

        Parameters
        ----------
        before, after, limits, confidence, spot_checks : as for ``compare``; what the verdicts rest on
        how : ``align`` and ``unchanged``, which move one datum against the other and no surface against its limits

        Raises
        ------
        FlatnessError : as for ``compare``
        """
        key = (before, after, confidence, spot_checks, *((one.name, one.length, one.allowed) for one in limits))
        judged = self._kept.get(key)
        if not limits or judged is None:
            found = compare(before, after, limits=limits, confidence=confidence, spot_checks=spot_checks, **how)
            self._keep(key, found)
            return found
        bare = compare(before, after, confidence=confidence, **how)
        return replace(
            bare,
            assessments=judged.assessments,
            verdicts=judged.verdicts,
            settings={**bare.settings, **{key: judged.settings[key] for key in ("limits", "spot_checks")}},
        )

    def _keep(self, key: Hashable, found: Comparison) -> None:
        if found.assessments is not None:
            self._kept[key] = found
            while len(self._kept) > KEPT:
                del self._kept[next(iter(self._kept))]


NEEDED = {"offset": 1, "tilt": 3}  # places, by what is looked for on them
Unchanged = Place | str


def missing_words(places: Sequence[Unchanged], way: str) -> str:
    """What is still missing for an alignment on these places; empty where nothing is, or where none are given.

    Examples
    --------
    >>> missing_words([(0.0, 0.0)], "tilt")
    '1 place so far; a tilt needs 3 not on one line. Until then it goes by the stations that agree.'
    """
    needed = NEEDED.get(way, 0)
    if not 0 < len(places) < needed:
        return ""
    count = f"{len(places)} place{'' if len(places) == 1 else 's'} so far"
    return f"{count}; a {way} needs {needed} not on one line. Until then it goes by the stations that agree."


def planned_rows(found: Comparison) -> list[dict[Any, Any]]:
    """The places of the plan that a comparison was held against, as their table has them; empty without a plan."""
    rows = [] if found.plan is None else found.plan.to_dict("records")
    return [row for row in rows if row["what"] != "whole"]


CHANGE, BEFORE, AFTER, DONE = VIEWS = ("change", "before", "after", "done")


class DaysState(FinishState):
    """A state of two surveys of one surface.

    Attributes
    ----------
    before, after : the surveys chosen, as found and after the work
    align : how the datums are brought together, as for :func:`~flatness.comparison.comparing.compare`
    comparison : the :class:`~flatness.comparison.comparing.Comparison`, or None
    """

    before = Instance(SurveyChoice)
    after = Instance(SurveyChoice)
    align = Enum(WAYS, "benchmarks")
    comparison = AnyTrait(None)

    def __init__(
        self,
        before: str | os.PathLike[str],
        after: str | os.PathLike[str],
        finish: str,
        folders: Iterable[str | os.PathLike[str]],
        **traits: Any,
    ) -> None:
        super().__init__(before=SurveyChoice(folders, before), after=SurveyChoice(folders, after), **traits)
        self._ready = ReadyVerdicts()
        self.set_trait("finish", finish)


class CompareState(DaysState):
    """The state of the Compare panel.

    Attributes
    ----------
    planned : the plan chosen that the work is held against
    view : which map is shown
    unchanged : places (x, y) [mm] and labels of stations said not to have changed; ``offset`` and ``tilt`` go by them
    clicking : whether a click on the map says that a place did not change
    finish : key of the finish whose verdicts are compared; empty for none
    confidence : of the limit of detection and the verdicts, 0.5 to under 1
    strips : of before and of after, along which a bar is to be slid, or has been
    spot_checks : of before and of after, what it showed there
    saved : names of the files written last
    pointer : place [mm] that is pointed at, or None
    """

    planned = Instance(PlanChoice)
    view = Enum(VIEWS, CHANGE)
    unchanged = Tuple()
    clicking = Bool(False)
    confidence = Float(0.95)
    strips = Tuple(default_value=((), ()))
    spot_checks = Tuple(default_value=((), ()))
    pointer = AnyTrait(None)

    def __init__(
        self,
        before: str | os.PathLike[str] = "",
        after: str | os.PathLike[str] = "",
        finish: str = "",
        folders: Iterable[str | os.PathLike[str]] = (),
        plan: str | os.PathLike[str] = "",
        **traits: Any,
    ) -> None:
        folders = list(folders)
        super().__init__(before, after, finish, folders, planned=PlanChoice(folders, plan), **traits)
        # guarded, for an exception here would keep all that is told of the change after it from being told
        for choice in (self.before, self.after):
            choice.observe(self.guard(self._new_survey), "survey")
        self.planned.observe(self.guard(self._new_plan), "plan")
        self.observe(self.guard(self._compare_again), ["align", "unchanged", "finish", "confidence", "spot_checks"])

    def begin(self) -> None:
        """Read and compare what the panel was made with."""
        for choice in (self.planned, self.before, self.after):
            choice.begin()

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

    def _new_survey(self, change: Any) -> None:
        finish, unchanged, checks = self.finish, self.unchanged, self.spot_checks
        with self.at_work(f"Reading {change['owner'].file_name} ..."):
            with self.hold_trait_notifications():  # nobody is told of the new unit before the old comparison is gone
                self.pointer = self.comparison = None
                self.unchanged = ()  # places on another surface
                days = zip((self.before, self.after), checks, strict=True)
                self.spot_checks = tuple(() if choice is change["owner"] else done for choice, done in days)
                self.follow_unit(self.after.survey or self.before.survey)
                if self.surveys is not None and finish and finish not in self.finishes:
                    self.finish = ""  # a finish for floors, and the surveys are of a wall
            if (self.finish, self.unchanged, self.spot_checks) == (finish, unchanged, checks):
                self._compare_again()

    def _new_plan(self, change: Any) -> None:
        with self.at_work(f"Reading {self.planned.file_name} ..."):
            self.view = CHANGE if change["new"] is None else DONE
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
        with self.at_work(f"Comparing {self.after.file_name} with {self.before.file_name} ..."):
            try:
                if surveys is not None:
                    found = self._compared(surveys, self.unchanged if enough else None)
            except FlatnessError:
                if enough and surveys is not None:  # the map stays, so that other places can be clicked on it
                    found = self._compared(surveys, None)
                raise
            finally:
                with self.hold_trait_notifications():
                    self.comparison, self.pointer, self.saved = found, None, ()
                    self.strips = self._strips(found)

    def _strips(self, found: Comparison | None) -> tuple[tuple[Sweep, ...], ...]:
        """Those of each day; where a bar was slid they stay, for what it showed to be changed."""
        if found is None or found.assessments is None:
            return (), ()
        days = zip(self.strips, self.spot_checks, found.assessments, strict=True)
        return tuple(shown if done else tuple(one.wanted_sweeps) for shown, done, one in days)

    def use_spot_checks(self, day: int, done: Checks) -> None:
        """Judge with what a bar showed between the stations of before (0) or of after (1)."""
        self.spot_checks = tuple(tuple(done) if k == day else its for k, its in enumerate(self.spot_checks))

    def _compared(self, surveys: tuple[Survey, Survey], unchanged: tuple[Unchanged, ...] | None) -> Comparison:
        how = {"align": self.align, "unchanged": unchanged, "plan": self.planned.plan}
        return self._ready.compare(*surveys, self.limits(), self.confidence, self.spot_checks, **how)

    def found(self) -> Comparison:
        """The comparison, for the cells below the panel.

        Raises
        ------
        NotReadyError : the surveys are not both there, or cannot be compared as asked; the message says why
        """
        wrong = (*self.before.problems, *self.after.problems, *self.planned.problems)
        with self.lock:  # a change that is being compared is waited for
            remedy = "choose both in the panel, then run this cell again"
            return self.ready(self.comparison, wrong, "two surveys are compared", remedy)  # type: ignore[no-any-return]

    def save(self, name: str, folder: str | os.PathLike[str] = ".") -> list[Path]:
        """Write the record of the comparison and its text, and beside them whichever files were uploaded.

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
        found, path = self.found(), new_file(name, folder, (PLAN_ENDING,))
        choices: dict[str, FileChoice] = {"before": self.before, "after": self.after}
        choices |= {"plan": self.planned} if found.plan is not None else {}
        beside = {
            day: path.with_name(f"{path.stem}-{day}{Path(choice.file_name).suffix}")
            for day, choice in choices.items()
            if isinstance(choice.content, bytes)
        }
        free(path.with_suffix(".txt"), *beside.values())
        written: list[Path] = []
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            for day, target in beside.items():
                write_new(target, bytes(choices[day].content), False, remedy=NEW_NAME)
                written.append(target)
            files: dict[str, Any] = {day: beside.get(day) or choice.content for day, choice in choices.items()}
            sheets = {"before": self.before.sheet or None, "after": self.after.sheet or None}
            made = record(
                found, files["before"], files["after"], path.parent, sheets=sheets, plan_file=files.get("plan")
            )
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
