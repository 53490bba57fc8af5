"""Fields for what a bar showed between the stations, one for each strip along which it is slid."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import Any

from flatness.errors import LengthError
from flatness.lengths import format_length, parse_length
from flatness.limits.kinds import Limit
from flatness.limits.spot_checks import Sweep
from flatness.limits.strip_lists import seen_lines
from flatness.panels.controls import button, close_all, column, row, text_field, words
from flatness.panels.state import State
from flatness.survey.readings import Survey
from flatness.words.checks import sweeps_in_words
from flatness.words.printed import spelled

ABOUT = "The largest gap under the bar, such as 3/32, or none; blank where not done"


class StripFields:
    """A field for each strip, and the button that reads them.

    Parameters
    ----------
    state : whose unit and problems they share
    use : takes the strips that were done, when the button is pressed
    label : of the button

    Attributes
    ----------
    box, button : the widgets
    fields : one for each strip
    """

    def __init__(self, state: State, use: Callable[[tuple[Sweep, ...]], None], label: str) -> None:
        self._state, self._use = state, use
        self._shown: tuple[tuple[Sweep, ...], str] = ((), state.unit)
        self.fields: list[Any] = []
        self.box = column(size="strips-field")
        self.button = button(label, "What the bar showed in each strip", state.guard(lambda _: self._read()))
        self.button.layout.display = "none"

    def show(self, strips: Sequence[Sweep], limit: Limit | None, survey: Survey | None) -> None:
        """Show these strips: new fields are empty, in another unit they keep what is typed so far."""
        unit, (before, was) = self._state.unit, self._shown
        strips = () if limit is None else tuple(strips)
        if (strips, unit) == self._shown:
            return
        typed = [_in_unit(field.value, was, unit) for field in self.fields] if before == strips else []
        self._shown = strips, unit
        for old in self.box.children:
            close_all(old)
        said = sweeps_in_words(strips, limit, unit, survey)[1] if strips and limit is not None else []
        self.fields = [text_field(f"Gap {k} [{unit}]", ABOUT) for k in range(1, len(said) + 1)]
        for field, text in zip(self.fields, typed, strict=False):
            field.value = text
        labels = (words(f"<b>{k}</b> {escape(spelled(text))}") for k, text in enumerate(said, 1))
        self.box.children = [row(text, field) for text, field in zip(labels, self.fields, strict=True)]
        self.button.layout.display = "" if strips else "none"

    def _read(self) -> None:
        strips, unit = self._shown
        self._use(tuple(seen_lines("\n".join(field.value for field in self.fields), strips, unit)))


def _in_unit(text: str, unit: str, other: str) -> str:
    """A gap that is typed in one unit as it reads in another; what says no length as it is."""
    try:
        return format_length(parse_length(text, unit), other, 64)
    except LengthError:
        return text
