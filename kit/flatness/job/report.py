"""All that is wrong with a job file, in one report, each with the path of its key."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, TypeVar

from flatness.errors import FlatnessError, Problem

Made = TypeVar("Made")
CORRECT = "correct it in the job file"
_BARE = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)
_LONGEST_NUMBER = 10**15  # whole numbers beyond are not shown digit by digit


class JobFileError(FlatnessError, ValueError):
    """A job file that cannot be taken as it is; all its problems in one report."""


class JobReport:
    """Collects what is wrong with one job file, so that all of it comes in one error.

    Parameters
    ----------
    file : name of the job file, for the messages
    unit : of lengths that carry none: ``in``, ``ft``, ``mm``, ``cm`` or ``m``; None: every length carries its own
    """

    def __init__(self, file: str, unit: str | None = None) -> None:
        self.file = file
        self.unit = unit
        self.problems: list[Problem] = []

    def add(self, path: str, what: str, value: Any, expected: str, remedy: str = CORRECT) -> None:
        """Note one problem of the key at ``path``; ``value`` as the file gives it."""
        self.problems.append(Problem(what, self.file, None, path, shown(value), expected, remedy))

    def take(self, error: FlatnessError, path: str, raw: Any) -> None:
        """Note what the kit says of the value or table ``raw`` at ``path``.

        Where it names a key of the table, the problem is put there, with the value as the file gives it. Problems of
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
            raise JobFileError(self.problems)

    def _placed(self, problem: Problem, path: str, raw: Any) -> Problem:
        named = (problem.column or "").split(", ")
        is_one_value = not isinstance(raw, (Mapping, list))
        value = problem.value if problem.value is not None and not is_one_value else shown(raw)
        if isinstance(raw, Mapping) and all(name in raw for name in named):
            path = ", ".join(key_path(path, name) for name in named)
            value = ", ".join(shown(raw[name]) for name in named)
        return replace(
            problem, file=self.file, column=path, value=value,
            expected=problem.expected or "values that go together", remedy=problem.remedy or CORRECT,
        )  # fmt: skip


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
