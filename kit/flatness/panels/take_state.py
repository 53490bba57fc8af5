"""What the Take panel knows: the survey that is being taken, what is asked, and the look at the verdict beside it."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from traitlets import Bool, Int, Unicode

from flatness.errors import FlatnessError
from flatness.limits.kinds import Limit
from flatness.panels.state import State
from flatness.panels.worker import Worker
from flatness.taking.book import BookInUseError
from flatness.taking.deciding import Look
from flatness.taking.session import Taking
from flatness.taking.stations import Station

# what the page shows
IN_USE, STATION, QUESTION, ENOUGH, DONE, MORE, WRONG = (
    "in use",
    "station",
    "question",
    "enough",
    "done",
    "more",
    "wrong",
)

PLACING = "Working out where to read more ..."


class TakeState(State):
    """What the Take panel knows.

    Parameters
    ----------
    path : of the survey file
    limits : names of limits or of finishes, or limits
    options : ``draws``, ``seed`` and ``confidence`` of the verdict

    Attributes
    ----------
    taking : the survey; None while another page takes it
    more : whether the page of what is seldom wanted is open
    dark : whether the screen is dark, light, or empty as the device has it
    turn : counts what is new, so that the page shows it
    acts : how much a person has done
    """

    more = Bool(False)
    dark = Unicode("")
    turn = Int(0)

    def __init__(
        self, path: str | os.PathLike[str], limits: str | Limit | Sequence[str | Limit], **options: Any
    ) -> None:
        super().__init__()
        self.path, self.limits, self.options = Path(path), limits, options
        self.taking: Taking | None = None
        self.in_use: FlatnessError | None = None
        self.worker = Worker(self.lock)
        self.acts = 0
        self._says_enough = True
        self.open()

    def open(self, take_over: bool = False) -> None:
        """Open the survey to write; ``take_over`` from another page that has it open."""
        self.in_use = None
        try:
            self.taking = Taking.open(self.path, self.limits, take_over=take_over, **self.options)
        except BookInUseError as error:
            self.taking, self.in_use = None, error
        else:
            self.unit = self.taking.book.unit
            self.acts += 1
            self.after()

    @property
    def screen(self) -> str:
        """What is to be shown."""
        if self.in_use is not None:
            return IN_USE
        if self.taking is None:
            return WRONG
        if self.more:
            return MORE
        if self.taking.question is not None:
            return QUESTION
        if self.taking.enough and self.taking.left and self._says_enough:
            return ENOUGH
        return DONE if self.taking.here is None else STATION

    def act(self, what: Callable[[Taking], Any]) -> None:
        """Do something with the survey, and show what came of it."""
        if self.taking is None:
            return
        try:
            what(self.taking)
        except BookInUseError as error:
            self.taking, self.in_use = None, error
        self.more = False
        self.acts += 1
        # a look that comes while a reading is being typed does not take the station from under one's hands
        self._says_enough = self.taking is not None and self.taking.enough
        self.after()

    def answer(self, key: str) -> None:
        """Answer the question, by a key of :func:`flatness.words.taking.answers`."""
        word, _, number = key.partition(" ")
        self.act(
            {
                "again": Taking.read_again,
                "elsewhere": Taking.was_elsewhere,
                "keep": Taking.keep,
                "slip": lambda taking: taking.was(int(number)),
            }[word]
        )

    def after(self) -> None:
        """Begin a look where one is due, and show what is new."""
        taking = self.taking
        if taking is not None and not self.worker.busy and (taking.due or self._last_look_is_due(taking)):
            look = taking.looking()
            self.worker.run(lambda stopped, tell: look(), self._looked)
        self.turn += 1

    def find_more(self) -> None:
        """Work out where more readings would decide, and go on there."""
        taking = self.taking
        if taking is None or taking.latest is None or self.worker.busy:
            return
        places = taking.placing()
        self.working = PLACING
        self.worker.run(lambda stopped, tell: places(), self._placed)
        self.turn += 1

    def _placed(self, places: list[Station] | None, error: Exception | None) -> None:
        self.working = ""
        if error is not None:
            self.guard(_raise, clears=False)(error)
            self.turn += 1
        elif places is not None:
            self.act(lambda taking: taking.read_more(places))

    @staticmethod
    def _last_look_is_due(taking: Taking) -> bool:
        seen = -1 if taking.latest is None else taking.latest.read
        return taking.here is None and seen != len(taking.readings) and len(taking.readings) >= 3

    def _looked(self, look: Look | None, error: Exception | None) -> None:
        if look is not None and self.taking is not None:
            self.taking.take_look(look)
        elif error is not None and not isinstance(error, FlatnessError):
            self.guard(_raise, clears=False)(error)
        self.turn += 1
        if self.taking is not None and self.taking.due and not self.worker.busy:
            self.after()

    def close(self) -> None:
        """Let another page take the survey."""
        self.worker.forget()
        if self.taking is not None:
            self.taking.close()


def _raise(error: Exception) -> None:
    raise error
