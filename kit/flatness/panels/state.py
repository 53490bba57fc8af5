"""What a panel knows, apart from how it shows it: a test reads and sets it without a browser.

A panel's widgets only write into its state and read from it. Whatever goes wrong in a callback ends up in the state's
``problems``, for in a notebook an exception in a callback is seen by nobody.

Long work goes on beside the notebook: one task at a time in a thread, what it says handed back to the thread of the
widgets. A notebook may handle what a person does in one thread and run a cell in another. So whatever touches widgets
or pictures holds one lock, and the worker hands its news to the loop that began the task; where none runs,
:meth:`Worker.wait` takes them.
"""

from __future__ import annotations

import asyncio
import functools
import queue
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


Told = Callable[[], Any]
Tell = Callable[[Told], None]
Work = Callable[[Callable[[], bool], Tell], Any]


class Worker:
    """One task at a time, the newest wins.

    Parameters
    ----------
    lock : held while the worker's news are taken

    Attributes
    ----------
    busy : whether a task runs that is still wanted
    """

    def __init__(self, lock: threading.RLock) -> None:
        self._lock = lock
        self._told: queue.SimpleQueue[Told] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._stopped = threading.Event()
        self._turn = 0
        self._next: tuple[Work, Callable[[Any, Exception | None], Any]] | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._due: Told | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self.busy = False

    def run(self, work: Work, done: Callable[[Any, Exception | None], Any]) -> None:
        """Begin a task; one that runs is stopped, and what it finds is forgotten.

        Parameters
        ----------
        work : called in the thread with ``stopped``, which says whether it shall end early, and ``tell``, which has
            a call made in the thread of the widgets
        done : called there with what the work returned, or with the exception that ended it
        """
        self.forget()
        self._loop = _loop() or self._loop
        self.busy = True
        if self._thread is not None and self._thread.is_alive():
            self._next = (work, done)
            return
        self._begin(work, done)

    def _begin(self, work: Work, done: Callable[[Any, Exception | None], Any]) -> None:
        turn, stopped = self._turn, threading.Event()
        self._stopped, self._next = stopped, None

        def tell(call: Told) -> None:
            self._post(lambda: call() if turn == self._turn else None)

        def ended(found: Any, error: Exception | None) -> None:
            if turn == self._turn:
                self.busy = False
                done(found, error)

        def go() -> None:
            found, error = None, None
            try:
                found = work(stopped.is_set, tell)
            except Exception as raised:  # handed on, whatever it is
                error = raised
            self._post(lambda: ended(found, error))
            self._post(self._follow)

        self._thread = threading.Thread(target=go, name="plan", daemon=True)
        self._thread.start()

    def _follow(self) -> None:
        """Begin the task that waits for the thread, if there is one."""
        if self._next is not None:
            if self._thread is not None:
                self._thread.join()
            self._begin(*self._next)

    def _post(self, call: Told) -> None:
        self._told.put(call)
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self.take)

    def take(self) -> None:
        """Make the calls that the worker asked for, in this thread and under the lock."""
        for _ in range(self._told.qsize()):  # what comes meanwhile waits: it may come faster than it is shown
            try:
                call = self._told.get_nowait()
            except queue.Empty:
                return
            with self._lock:
                call()

    def stop(self) -> None:
        """Ask the task to end with what it has."""
        self._stopped.set()

    def forget(self) -> None:
        """Stop the task, and never mind what it finds."""
        self.cancel_later()
        self._stopped.set()
        self._turn += 1
        self._next = None
        self.busy = False

    def later(self, seconds: float, call: Told) -> None:
        """Make a call when nothing has asked for another one for so long [s]; at once where no loop runs."""
        self.cancel_later()
        loop = _loop()
        if loop is None:
            call()
        else:
            self._timer, self._due = loop.call_later(seconds, self._call_due), call

    def at_rest(self, seconds: float, call: Told) -> None:
        """As :meth:`later`; where no loop runs nobody waits for what is made ready, and no call is made."""
        if _loop() is not None:
            self.later(seconds, call)

    def _call_due(self) -> None:
        due = self._due
        self.cancel_later()
        if due is not None:
            due()

    def cancel_later(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = self._due = None

    def wait(self) -> None:
        """Wait in this thread until the task is done, taking meanwhile what it tells; one put off begins at once."""
        self._call_due()
        while self._thread is not None and (self._thread.is_alive() or not self._told.empty() or self._next):
            self._thread.join(0.05)
            self.take()
        self.take()


def _loop() -> asyncio.AbstractEventLoop | None:
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None
