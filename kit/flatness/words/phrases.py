"""The phrase book: notes as sentences, their lengths, places and slopes in the unit that is shown."""

from __future__ import annotations

import string
import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from flatness.errors import FlatnessError, Problem
from flatness.notes import Note
from flatness.words.printed import NOTED, noted_place

if TYPE_CHECKING:  # notes are said by what lies far above
    from flatness.survey.readings import Survey


@cache
def phrases() -> dict[str, str]:
    """The sentence of each key."""
    book = tomllib.loads((files("flatness.words") / "phrases.toml").read_text(encoding="utf-8"))
    return {key: text for part in book.values() for key, text in part.items()}


class _Sayer(string.Formatter):
    """Fills in a sentence: ``{bar:length}``, ``{count:is|are}``, ``{off:+length}`` with its sign, ``{parts:; }``."""

    def __init__(self, unit: str, survey: Survey | None = None) -> None:
        self.unit, self.survey = unit, survey

    def format_field(self, value: Any, spec: str) -> str:
        if "|" in spec:
            one, more = spec.split("|")
            return one if value == 1 else more
        if spec == "place":
            return noted_place(value, self.unit, self.survey)
        style = NOTED.get(spec.removeprefix("+"))
        if style is not None:
            return ("+" if spec[0] == "+" and value > 0 else "") + style(value, self.unit)
        if isinstance(value, str):
            return format(say(value, self.unit, self.survey), spec)
        if isinstance(value, Sequence):
            return (spec or ", ").join(say(one, self.unit, self.survey) for one in value)
        return format(value, spec)


_SAYERS = {unit: _Sayer(unit) for unit in ("", "mm", "in")}


def sentence_of(key: str, values: Mapping[str, Any], unit: str, survey: Survey | None = None) -> str:
    """The sentence of a key, without a full stop; in mm where no unit is shown, what was read in inches too."""
    sayer = _SAYERS[unit] if survey is None else _Sayer(unit, survey)
    return sayer.vformat(phrases()[key], (), values)


def say(note: str, unit: str, survey: Survey | None = None) -> str:
    """A note in the unit shown, its places given from the walls of a survey; a plain text as it stands.

    >>> say(Note("tilts", slope=-2.0, error=0.5, axis="x"), "in")
    '-1/4" in 10\\' (error 1/16" in 10\\') along x'
    """
    return sentence_of(note.key, note.values, unit, survey) if isinstance(note, Note) else str(note)


def sentence(note: str, unit: str, survey: Survey | None = None) -> str:
    """A note as a sentence, with its capital and full stop."""
    text = say(note, unit, survey)
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def problem_text(problem: Problem, unit: str, survey: Survey | None = None) -> str:
    """A finding of the reader on one line or two, without its labels."""
    where = problem.cell or (f"row {problem.row}" if problem.row is not None else "")
    what = say(problem.what, unit, survey)
    return "; ".join(
        part for part in (f"{where}: {what}" if where else what, say(problem.remedy or "", unit, survey)) if part
    )


def error_text(error: FlatnessError, unit: str) -> str:
    """An error with its labels, as it prints itself, in the unit shown."""
    return error.text(lambda text: say(text, unit))
