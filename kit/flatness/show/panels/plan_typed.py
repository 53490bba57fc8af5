"""What the controls of the Plan panel have in common: lengths as they are typed, and choices that a person makes."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from flatness.errors import LengthError
from flatness.lengths import parse_length
from flatness.show.panels.controls import is_filling, label_of


class TypedControls:
    """Controls over a state whose ``unit`` is that of what is typed: inches and feet, or millimetres."""

    def __init__(self, state: Any) -> None:
        self.state = state

    @staticmethod
    def _chosen(act: Callable[[Any], Any]) -> Callable[[Any], None]:
        """Call with the new value where a person chose it, and not where a list got other options."""

        def chosen(change: Any) -> None:
            if not is_filling(change["owner"]):
                act(change["new"])

        return chosen

    def _mm(self, field: Any, unit: str) -> float:
        return self._lengths(field, (field.value,), unit)[0]

    def _inches(self, field: Any) -> float:
        return self._mm(field, self.state.unit)

    def _small(self, field: Any) -> float | None:
        return self._inches(field) if field.value.strip() else None

    def _far(self, field: Any) -> float:
        return self._mm(field, self._long_unit)

    def _listed(self, field: Any) -> tuple[float, ...]:
        """Long lengths with ; between."""
        return self._lengths(field, (text for text in field.value.split(";") if text.strip()), self._long_unit)

    @property
    def _long_unit(self) -> str:
        return "ft" if self.state.unit == "in" else "mm"

    @staticmethod
    def _lengths(field: Any, texts: Iterable[str], unit: str) -> tuple[float, ...]:
        try:
            return tuple(parse_length(text, unit) for text in texts)
        except LengthError as error:
            raise error.located(column=label_of(field)) from error
