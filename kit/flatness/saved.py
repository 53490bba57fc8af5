"""What the kit saved as JSON, read again: one schema for plans and records, and all that departs from it in one error.

A file is read whole or refused: no part of it is used before all of it holds what it should.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from flatness.errors import ArgumentError, Problem, shorten
from flatness.files import read_file, why

LONGEST_MM = 1e6  # of a length: a kilometre, as where lengths are typed
MOST_TOLD = 5  # of what is wrong with one file
SAVED_BY = "the version of the kit that saved it"


class Wrong(NamedTuple):
    """What departs from a schema: its path in the file, what stands there, and what should."""

    path: str
    found: Any
    expected: str


class Missing:
    """Stands for a key that is not there."""

    def __repr__(self) -> str:
        return "missing"


class Kind:
    """What a value may be; ``expected`` in words."""

    expected = "anything"

    def wrong(self, value: Any, path: str) -> Iterator[Wrong]:
        """All that departs from it."""
        yield from ()


@dataclass(frozen=True)
class Number(Kind):
    """A finite number, or a whole one, from ``least`` to ``most``; ``above``: ``least`` itself is not allowed."""

    least: float = -math.inf
    most: float = math.inf
    whole: bool = False
    above: bool = False

    @property
    def expected(self) -> str:  # type: ignore[override]
        """In words."""
        what = "a whole number" if self.whole else "a number"
        if math.isfinite(self.most):
            return f"{what} from {self.least:g} to {self.most:g}"
        if not math.isfinite(self.least):
            return what
        least = "zero" if self.least == 0 else f"{self.least:g}"
        return f"{what} above {least}" if self.above else f"{what} of {least} or more"

    def wrong(self, value: Any, path: str) -> Iterator[Wrong]:
        fits = isinstance(value, int if self.whole else (int, float)) and not isinstance(value, bool)
        if not (fits and abs(value) < 1e300 and self.least <= value <= self.most) or (
            self.above and value == self.least
        ):
            yield Wrong(path, value, self.expected)


@dataclass(frozen=True)
class Text(Kind):
    """A text; one of the ``known`` where there are any."""

    known: tuple[str, ...] = ()

    @property
    def expected(self) -> str:  # type: ignore[override]
        """In words."""
        return f"one of {', '.join(self.known)}" if self.known else "a text"

    def wrong(self, value: Any, path: str) -> Iterator[Wrong]:
        if not isinstance(value, str) or (self.known and value not in self.known):
            yield Wrong(path, value, self.expected)


@dataclass(frozen=True)
class Each(Kind):
    """A list of values of one kind, from ``least`` to ``most`` of them."""

    one: Kind
    least: int = 0
    most: int = 10**9

    @property
    def expected(self) -> str:  # type: ignore[override]
        """In words."""
        count = f"{self.least} " if self.least == self.most else f"{self.least} or more " if self.least else ""
        return f"a list of {count}values"

    def wrong(self, value: Any, path: str) -> Iterator[Wrong]:
        if not isinstance(value, list) or not self.least <= len(value) <= self.most:
            yield Wrong(path, value, self.expected)
            return
        for number, item in enumerate(value, 1):
            yield from self.one.wrong(item, f"{path}[{number}]")


@dataclass(frozen=True)
class By(Kind):
    """Values of one kind, each by a name."""

    one: Kind
    expected = "values by name"

    def wrong(self, value: Any, path: str) -> Iterator[Wrong]:
        if not isinstance(value, dict):
            yield Wrong(path, value, self.expected)
            return
        for name, item in value.items():
            yield from self.one.wrong(item, _under(path, name))


@dataclass(frozen=True)
class Part(Kind):
    """Values of these names, and maybe of some others; what else is there is let be."""

    keys: Mapping[str, Kind]
    maybe: Mapping[str, Kind] = field(default_factory=dict)
    expected = "values by name"

    def wrong(self, value: Any, path: str) -> Iterator[Wrong]:
        if not isinstance(value, dict):
            yield Wrong(path, value, self.expected)
            return
        for name, one in self.keys.items():
            if name in value:
                yield from one.wrong(value[name], _under(path, name))
            else:
                yield Wrong(_under(path, name), Missing(), one.expected)
        for name, one in self.maybe.items():
            if name in value:
                yield from one.wrong(value[name], _under(path, name))


class OneOf(Kind):
    """A value of any of these kinds; None for nothing."""

    def __init__(self, *kinds: Kind | None) -> None:
        self.kinds = kinds
        self.expected = " or ".join("null" if one is None else one.expected for one in kinds)

    def wrong(self, value: Any, path: str) -> Iterator[Wrong]:
        told: list[list[Wrong]] = []
        for one in self.kinds:
            found = [Wrong(path, value, self.expected)] if one is None else list(one.wrong(value, path))
            if not found or (one is None and value is None):
                return
            told.append(found)
        # where the value is of one kind in the main, what is wrong within it
        within = [found for found in told if all(one.path != path for one in found)]
        yield from min(within, key=len) if within else told[0][:1] and [Wrong(path, value, self.expected)]


@dataclass(frozen=True)
class Form:
    """One kind of file.

    Attributes
    ----------
    key, says : the key that tells what the file is, and what it says
    called : in words, such as ``a plan``
    saved_by : what writes such a file
    forms : numbers of the forms that can be read, each with what it holds
    """

    key: str
    says: str
    called: str
    saved_by: str
    forms: Mapping[int, Part]


def read_saved(path: str | os.PathLike[str] | bytes, form: Form, name: str | None = None) -> dict[str, Any]:
    """What a file of this form holds.

    Parameters
    ----------
    path : the file, or its bytes
    form : what it should be
    name : of the file, where bytes are given

    Raises
    ------
    ArgumentError : no such file, not one of this form, or one that holds what it should not; all of it by its path
    """
    name = name or ("the file" if isinstance(path, bytes) else Path(path).name)
    try:
        data = path if isinstance(path, bytes) else read_file(path)
    except OSError as error:
        what = f"{_the(form)} cannot be read"
        raise ArgumentError(what, value=name, expected=form.saved_by, remedy=f"check it ({why(error)})") from error
    try:
        found = json.loads(data.decode("utf-8"), parse_constant=_no_number)
    except (ValueError, RecursionError, MemoryError) as error:
        raise _not_one(form, name, "it is not JSON") from error
    if not isinstance(found, dict) or found.get(form.key) != form.says:
        raise _not_one(form, name, "it does not say that it is one")
    every = list(form.forms.values())[-1]
    if "form" not in found:
        raise _not_one(form, name, f"it lacks {', '.join(key for key in ('form', *every.keys) if key not in found)}")
    known = found["form"] if isinstance(found["form"], int) else None
    if known is None or known not in form.forms:
        expected, remedy = " or ".join(map(str, form.forms)), f"read it with {SAVED_BY}"
        what = f"{form.called} of another form"
        raise ArgumentError(what, value=shorten(repr(found["form"]))[1:-1], expected=expected, remedy=remedy)
    schema = form.forms[known]
    lost = [key for key in schema.keys if key not in found]
    if lost:
        raise _not_one(form, name, f"it lacks {', '.join(lost)}")
    _stop_at(list(schema.wrong(found, "")), form, name)
    return found


def _stop_at(wrong: Sequence[Wrong], form: Form, name: str) -> None:
    if not wrong:
        return
    problems = [
        Problem(
            f"not {form.called}: it cannot be understood ({one.path} must be {one.expected})",
            file=name,
            column=one.path,
            value="nothing" if isinstance(one.found, Missing) else json.dumps(one.found)[:500],
            expected=one.expected,
            remedy=f"take {form.saved_by}",
        )
        for one in wrong[:MOST_TOLD]
    ]
    raise ArgumentError(problems)


def not_understood(form: Form, name: str, error: Exception) -> ArgumentError:
    """The error for a file whose parts are right one by one and do not go together."""
    return _not_one(form, name, f"it cannot be understood ({' '.join(str(error).split())})")


def _not_one(form: Form, name: str, why_not: str) -> ArgumentError:
    remedy = "name that file"
    if name.lower().endswith(".toml"):
        remedy = f"a job file asks for things and keeps none: {remedy}"
    return ArgumentError(f"not {form.called}: {why_not}", value=name, expected=form.saved_by, remedy=remedy)


def _the(form: Form) -> str:
    return f"the {form.called.partition(' ')[2]}"


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _under(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name
