"""Work beside the notebook: one task at a time in a thread, what it says handed back to the thread of the widgets.

A notebook may handle what a person does in one thread and run a cell in another. So whatever touches widgets or
pictures holds one lock, and the worker hands its news to the loop that began the task; where none runs,
:meth:`Worker.wait` takes them.
"""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Callable
from typing import Any

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
        while True:
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
