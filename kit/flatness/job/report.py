"""All that is wrong with what a job asks for, in one report, each with its place and its remedy.

A job is written in a file, or behind the options of a command: the checks and their words are the same, and only the
places differ. Lists are counted from 1: ``fixed[1]`` is the first [[fixed]].
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from flatness.errors import FlatnessError, Problem
from flatness.survey.readings import Survey

Made = TypeVar("Made")
_BARE = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)
_LONGEST_NUMBER = 10**15  # whole numbers beyond are not shown digit by digit


class JobFileError(FlatnessError, ValueError):
    """A job that cannot be taken as it is written; all its problems in one report."""


@dataclass(frozen=True)
class Origin:
    """Where a job is written.

    Attributes
    ----------
    file : name of the job file; None: it is typed on the command line
    options : of the command line, by the path of the key that each of them stands for
    within : path of the table of the file in which it is written; empty: at its top
    """

    file: str | None = None
    options: Mapping[str, str] = field(default_factory=dict)
    within: str = ""

    @property
    def correct(self) -> str:
        """The remedy where there is no better one."""
        return "correct it" if self.file is None else "correct it in the job file"

    def table(self, name: str) -> str:
        """What a table is written as."""
        return f"a table [{name}]" if self.file is not None else self.place(name)

    def place(self, path: str) -> str:
        """Where the value of a key is written: its path in the file, or its option.

        >>> Origin(options={"fixed": "--fixed"}).place("fixed[2].allowance")
        '--fixed, allowance'
        """
        if self.file is not None:
            return ".".join(part for part in (self.within, path) if part)
        keys = re.sub(r"\[\d+\]", "", path.partition(", ")[0])
        known = max((key for key in self.options if f"{keys}.".startswith(f"{key}.")), key=len, default=None)
        if known is None:
            return keys
        rest = keys[len(known) + 1 :]
        return f"{self.options[known]}, {rest}" if rest else self.options[known]


class JobReport:
    """Collects what is wrong with one job, so that all of it comes in one error.

    Parameters
    ----------
    origin : where the job is written
    unit : of lengths that carry none: ``in``, ``ft``, ``mm``, ``cm`` or ``m``; None: every length carries its own

    Attributes
    ----------
    survey : of before, once it has been read: heights may be given as drops below its instrument's line
    show : the unit that the job shows, once that is known
    """

    def __init__(self, origin: Origin, unit: str | None = None) -> None:
        self.origin = origin
        self.unit = unit
        self.survey: Survey | None = None
        self.show: str | None = None
        self.problems: list[Problem] = []

    def add(self, path: str, what: str, value: Any, expected: str, remedy: str = "") -> None:
        """Note one problem of the key at ``path``; ``value`` as it was written."""
        origin = self.origin
        place, remedy = origin.place(path), remedy or origin.correct
        self.problems.append(Problem(what, origin.file, None, place, shown(value), expected, remedy))

    def take(self, error: FlatnessError, path: str, raw: Any) -> None:
        """Note what the kit says of the value or table ``raw`` at ``path``.

        Where it names a key of the table, the problem is put there, with the value as it was written. Problems of
        another file, such as a survey, keep their own place.
        """
        for problem in error.problems:
            self.problems.append(problem if problem.file else self._placed(problem, path, raw))

    def make(self, path: str, raw: Any, maker: Callable[..., Made], *args: Any, **values: Any) -> Made | None:
        """What ``maker`` makes of the values; None where it refuses them, which is then in the report."""
        try:
            return maker(*args, **values)
        except FlatnessError as error:
            self.take(error, path, raw)
            return None

    def stop_if_any(self) -> None:
        """Raise JobFileError with all problems, if there are any."""
        if self.problems:
            error = JobFileError(self.problems)
            error.unit = self.show
            raise error

    def _placed(self, problem: Problem, path: str, raw: Any) -> Problem:
        named = (problem.column or "").split(", ")
        is_one_value = not isinstance(raw, (Mapping, list))
        value = problem.value if problem.value is not None and not is_one_value else shown(raw)
        if isinstance(raw, Mapping) and all(name in raw for name in named):
            path = ", ".join(key_path(path, name) for name in named)
            value = ", ".join(shown(raw[name]) for name in named)
        return replace(
            problem,
            file=self.origin.file,
            column=self.origin.place(path),
            value=value,
            expected=problem.expected or "values that go together",
            remedy=problem.remedy or self.origin.correct,
        )


def key_path(path: str, key: str) -> str:
    """The path of a key in the table at ``path``, as the file would write it.

    >>> key_path("members.cuts", "J 4")
    'members.cuts."J 4"'
    """
    name = key if _BARE.fullmatch(key) else json.dumps(key, ensure_ascii=False)
    return f"{path}.{name}" if path else name


def shown(value: Any) -> str:
    """A value of the file in words, near to how the file writes it.

    >>> shown([True, "4 ft"])
    '[true, 4 ft]'
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and abs(value) >= _LONGEST_NUMBER:
        return "a whole number of more than 15 digits"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key} = {shown(one)}" for key, one in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(shown(one) for one in value) + "]"
    return str(value)
