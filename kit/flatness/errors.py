"""Errors that say what is wrong, where, what was expected, and what to do about it.

Every error the kit raises on purpose is a :class:`FlatnessError`. It carries one
:class:`Problem` or more, so that all that is wrong with a file comes in one report.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from numbers import Real
from typing import Any


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong, or worth a look, with its place and its remedy.

    Parameters
    ----------
    what : what is wrong, in one sentence without a full stop
    file : name of the file, where there is one
    row : row in the file, counted from 1 as a spreadsheet does
    column : column letter as a spreadsheet shows it, or a heading or key
    value : what was found there, as written
    expected : what should be there
    remedy : what the user can do about it
    """

    what: str
    file: str | None = None
    row: int | None = None
    column: str | None = None
    value: str | None = None
    expected: str | None = None
    remedy: str | None = None

    @property
    def cell(self) -> str | None:
        """The spreadsheet's own name of the place, such as ``C14``, where row and column letter are known."""
        if self.row is None or self.column is None or not self.column.isascii() or not self.column.isupper():
            return None
        return f"{self.column}{self.row}"

    def __str__(self) -> str:
        return self.text()

    def text(self, say: Callable[[str], str] = str) -> str:
        """All of it, line by line; ``say`` prints a note in the unit shown."""
        place = [self.file] if self.file else []
        if self.cell:
            place.append(f"cell {self.cell} (row {self.row}, column {self.column})")
        else:
            place += [f"row {self.row}"] if self.row is not None else []
            place += [self.column] if self.column else []
        text = f"{', '.join(place)}: {say(self.what)}" if place else say(self.what)
        if self.value is not None:
            text += f"\n    found: {shorten(say(self.value))}"
        if self.expected:
            text += f"\n    expected: {say(self.expected)}"
        if self.remedy:
            text += f"\n    remedy: {say(self.remedy)}"
        return text


# controls, marks that turn what follows, line ends that few know, halves of letters, marks that are never seen
_HIDDEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufff9-\ufffb"
    "\U000e0000-\U000e007f]"
)


def visible(text: str) -> str:
    r"""The text with every mark that would move, hide or turn what is read shown as text; tabs and line ends stay.

    >>> visible("FAIL\x1b[8m"), visible("\u202ePASS"), visible("Größe\t½\n")
    ('FAIL\\x1b[8m', '\\u202ePASS', 'Größe\t½\n')
    """
    return _HIDDEN.sub(lambda mark: repr(mark[0])[1:-1], text)


def shorten(value: str, most: int = 80) -> str:
    """The value quoted on one line, cut in the middle where it is longer than ``most`` characters."""
    shown = "".join(c if c.isprintable() else repr(c)[1:-1] for c in value)
    if len(shown) > most:
        shown = f"{shown[: most - 20]} ... {shown[-14:]}"
    return f"'{shown}'"


class FlatnessError(Exception):
    """Base of all errors that the kit raises on purpose; ``.problems`` holds what is wrong.

    ``.unit`` is that in which who reads it reads lengths, ``in`` or ``mm``; None where that is not known.
    """

    unit: str | None = None

    def __init__(self, problems: Problem | str | Iterable[Problem], /, **where: object) -> None:
        if isinstance(problems, str):
            problems = Problem(problems, **where)  # type: ignore[arg-type]
        self.problems: tuple[Problem, ...] = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__(*self.problems)

    def __str__(self) -> str:
        return self.text()

    def text(self, say: Callable[[str], str] = str) -> str:
        """All problems, numbered where there are several; ``say`` prints a note in the unit shown."""
        if len(self.problems) == 1:
            return self.problems[0].text(say)
        lines = [f"{len(self.problems)} problems:"]
        lines += [f"{i}. {problem.text(say)}" for i, problem in enumerate(self.problems, 1)]
        return "\n".join(lines)

    def located(self, **where: object) -> FlatnessError:
        """The same error with file, row or column filled in where a problem does not have them yet."""
        problems = []
        for problem in self.problems:
            missing = {key: value for key, value in where.items() if getattr(problem, key) is None}
            problems.append(replace(problem, **missing))  # type: ignore[arg-type]
        return type(self)(problems)


class LengthError(FlatnessError, ValueError):
    """A length that cannot be read, or read in one way only."""


class SurveyFileError(FlatnessError, ValueError):
    """A survey file that cannot be taken as it is; all its problems in one report."""


class LimitError(FlatnessError, ValueError):
    """A limit that is unknown, incomplete or contradictory."""


class MeasureError(FlatnessError, ValueError):
    """A measure that these readings cannot give; the message says why."""


class ArgumentError(FlatnessError, ValueError):
    """An argument out of its range or of the wrong shape."""


class PlanError(FlatnessError, ValueError):
    """A plan that cannot be: limits, depths and fixed spots that clash; the message says which and by how much."""


def check_choice(name: str, value: object, known: Iterable[object], what: str = "") -> None:
    """ArgumentError where the value of an argument is none of those known; ``what`` it is called where not its name."""
    known = list(known)
    if value not in known:
        words = [str(one) for one in known if one is not None]
        expected = (" or " if len(words) == 2 else ", ").join(words)
        raise ArgumentError(what or f"unknown {name}", column=name, value=str(value), expected=expected)


MOST_STEPS = 100_000


def check_above_zero(*, or_zero: bool = False, expected: str = "", **values: object) -> None:
    """ArgumentError where a value, by its name, is not a finite number above zero; None is passed over."""
    for name, value in values.items():
        right = isinstance(value, Real) and 0 <= float(value) < math.inf and (or_zero or value != 0)
        if value is not None and not right:
            usual = "millimetres, 0 or more" if or_zero else "millimetres above zero"
            what = f"{name.replace('_', ' ')} out of range"
            raise ArgumentError(what, column=name, value=str(value), expected=expected or usual)


def check_step(name: str, step: float, length: float) -> None:
    """ArgumentError where a step [mm] is not above zero, or more than ``MOST_STEPS`` lie along a length [mm]."""
    given: dict[str, Any] = {name: step}
    check_above_zero(**given)
    if length > MOST_STEPS * step:
        expected = f"{length / MOST_STEPS:.2g} mm or more, so that at most {MOST_STEPS:,} lie along {length:.0f} mm"
        raise ArgumentError(f"{name} out of range", column=name, value=f"{step:g} mm", expected=expected)
