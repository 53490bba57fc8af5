"""What a panel knows, apart from how it shows it: a test reads and sets it without a browser.

A panel's widgets only write into its state and read from it. Whatever goes wrong in a callback ends up in the state's
``problems``, for in a notebook an exception in a callback is seen by nobody.
"""

from __future__ import annotations

import functools
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

from traitlets import Enum, HasTraits, Tuple, Unicode

from flatness.charts.scales import UNITS
from flatness.errors import FlatnessError, Problem
from flatness.survey.readings import Survey
from flatness.words.printed import shown_unit

Call = TypeVar("Call", bound=Callable[..., Any])
UNFORESEEN = "this is a fault of the kit, not of your file: undo the last step, and report this sentence"


def problems_of(error: Exception) -> tuple[Problem, ...]:
    """What went wrong as sentences with their remedy, whatever kind of exception it is."""
    if isinstance(error, FlatnessError):
        return error.problems
    said = " ".join(str(error).split()).rstrip(".") or "no reason was given"
    return (Problem(f"{said} ({type(error).__name__})", remedy=UNFORESEEN),)


class NotReadyError(FlatnessError):
    """A panel that has not what a cell below it asks for; a notebook shows the message and no traceback."""

    def _render_traceback_(self) -> list[str]:
        return str(self).splitlines()


class State(HasTraits):  # type: ignore[misc, unused-ignore]
    """What all panels have in common.

    Attributes
    ----------
    unit : ``in`` or ``mm``: the unit of every length that the panel shows and reads
    problems : what went wrong in the last step, as :class:`~flatness.errors.Problem`; empty where nothing did
    working : what is being computed, in words; empty where nothing is
    mistakes : what is wrong in what is typed, which stays so until it is put right
    saved : the files written last, in panels that write files
    lock : held while anything of the state is read or changed: a notebook may call from several threads
    """

    unit = Enum(UNITS, "in")
    problems = Tuple()
    mistakes = Tuple()
    working = Unicode("")
    saved = Tuple()

    def __init__(self, **traits: Any) -> None:
        super().__init__(**traits)
        self.lock = threading.RLock()
        self._depth = 0
        self._unit_chosen = "unit" in traits

    @property
    def wrong(self) -> tuple[Problem, ...]:
        """All that is wrong now."""
        return (*self.mistakes, *self.problems)

    def check(self, trait: str, value: Any) -> None:
        """Refuse what a person asks for where its parts go together badly, before it is kept."""

    def ready(self, made: Any, problems: Sequence[Problem], missing: str, remedy: str) -> Any:
        """What was made, for the cells below the panel; NotReadyError where there is none, and why."""
        if made is None:
            raise NotReadyError(tuple(problems) or self.problems or Problem(missing, remedy=remedy))
        return made

    def choose_unit(self, unit: str) -> None:
        """The unit that a person asked for: it stays when another survey is read."""
        if unit != self.unit:  # a switch that was only set to what holds is nobody's choice
            self._unit_chosen = True
            self.unit = unit

    def follow_unit(self, survey: Survey | None) -> None:
        """The survey's own family of units, unless a person has asked for another."""
        if survey is not None and not self._unit_chosen:
            self.unit = shown_unit(survey)

    def guard(self, function: Call, *, clears: bool = True) -> Call:
        """The same callback, one at a time, with any exception shown in ``problems``.

        A step that succeeds clears them, unless ``clears`` is False: pointing at a map is no step.

        Examples
        --------
        >>> state = State()
        >>> state.guard(lambda: 1 / 0)()
        >>> state.problems[0].what
        'division by zero (ZeroDivisionError)'
        """

        @functools.wraps(function)
        def guarded(*args: Any, **kwargs: Any) -> Any:
            if self._depth == 0 and clears:
                self.problems = ()
            self._depth += 1
            try:
                return function(*args, **kwargs)
            except Exception as error:  # nothing may be lost, whatever it is
                self.problems = problems_of(error)
                return None
            finally:
                self._depth -= 1

        return self.alone(guarded)  # type: ignore[return-value]

    def alone(self, function: Call) -> Call:
        """The same callback, one at a time."""

        @functools.wraps(function)
        def locked(*args: Any, **kwargs: Any) -> Any:
            with self.lock:
                return function(*args, **kwargs)

        return locked  # type: ignore[return-value]

    @contextmanager
    def at_work(self, words: str) -> Iterator[None]:
        """Say what is being computed while it is."""
        before, self.working = self.working, words
        try:
            yield
        finally:
            self.working = before
