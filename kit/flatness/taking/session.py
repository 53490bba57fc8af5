"""Taking readings: one station at a time, each reading in the book before the next station is shown."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.limits.catalogue import find
from flatness.limits.kinds import Limit
from flatness.limits.more_readings import more_readings
from flatness.limits.spot_checks import Sweep, open_sweeps
from flatness.limits.verdict import FAIL, PASS
from flatness.notes import Note
from flatness.surface.slips import Slip
from flatness.survey.files import read_survey
from flatness.survey.readings import SAME_PLACE_MM, STRUCK, Survey
from flatness.taking.book import READ, Book, Entry, walk_through
from flatness.taking.deciding import FIRST_LOOK, Look, look_at
from flatness.taking.questions import AROUND, EARLIER, OFF, SECOND_SHOT, Question, fits_elsewhere, likely_slips
from flatness.taking.running import ASK, Running, Taken, parameters_of, usual_parameters
from flatness.taking.stations import FEWEST, Station, Walk
from flatness.taking.strips import Strips, beside

ROUNDED_MM = {"in": 25.4 / 16, "mm": 1.0}  # to which readings are typed
TIES = 2  # old stations that are read again once the instrument was moved
TIE_APART_MM = 6 * 304.8
MORE = -1  # number and line of a place that is no station of the walk
RECENT = 16  # readings to which one would walk back, in question once those taken since do not bear them out
FEWEST_SHOTS = 5  # second shots that tell how good a reading is
CHECK_EVERY = 40  # readings, and then to the end of a line: the datum is checked; common practice, no source
SECONDS_A_READING, SECONDS_A_STRIP = 20.0, 60.0  # common practice, no source


class Taking:
    """A survey being taken.

    Parameters
    ----------
    book : the file
    limits : names of limits or of finishes, or limits

    Attributes
    ----------
    walk : all stations in walking order
    here : the station to read now; None where all are read
    question : about a reading, to a person; None where there is none
    again : whether the station is read a second time
    checking : whether it is read again to see that the instrument stands as it did
    ties : old stations still to be read since the instrument was moved
    stand : about where the instrument is to stand next [mm], while old stations are read because it does not reach on
    more : places still to be read besides the stations, since these could not decide
    setup : name of the instrument's set-up
    strips : along which a bar is slid between the stations
    sliding : whether the strips are being done now
    latest : the last look at the verdict
    said : what a person should know of the last step, as a note; empty where nothing is
    reading_on : whether a person went on though the verdict was decided
    """

    def __init__(
        self,
        book: Book,
        limits: str | Limit | Sequence[str | Limit],
        *,
        draws: int = 200,
        seed: int = 0,
        confidence: float = 0.95,
    ) -> None:
        self.book, self.header = book, book.header
        self.limits = tuple(find(limits, book.header.surface))
        self._draws, self._seed, self._confidence = draws, seed, confidence
        self.walk: Walk = walk_through(book.header, book.unit)
        accuracy = book.header.accuracy
        assert accuracy is not None
        self.accuracy: float = accuracy
        self.reading_error = math.hypot(accuracy, ROUNDED_MM[book.unit] / math.sqrt(12))
        self.sign = -1.0 if book.header.quantity == "drop" else 1.0
        self.running = Running(usual_parameters(self.reading_error, book.header.framing))
        self.question: Question | None = None
        self.latest: Look | None = None
        self.again, self.reading_on, self.due, self.said = False, False, False, ""
        self.checking, self._checked = False, 0
        self.setup = "1"
        self.ties: list[Station] = []
        self.stand: tuple[float, float] | None = None
        self.more: list[Station] = []
        self.strips = Strips(beside(book.path), book.unit)
        self.sliding = self._slid_last = False
        self._offered: list[Station] = []
        self._right: set[int] = set()
        self._to_ask: Look | None = None
        self.here: Station | None = None
        self._restore()
        self.here = self._following(self._last_station())
        self._tie_again()
        if book.cut is not None:
            self.said = Note("line-cut", text=book.cut.text)

    @classmethod
    def open(
        cls, path: str | Path, limits: str | Limit | Sequence[str | Limit], *, take_over: bool = False, **options: Any
    ) -> Taking:
        """Go on with a survey file that :func:`~flatness.taking.book.new_book` began."""
        return cls(Book(Path(path), take_over=take_over), limits, **options)

    def close(self) -> None:
        self.book.close()

    # what is read, and what is left

    @property
    def readings(self) -> list[Entry]:
        """The readings on the surface that count."""
        return [one for one in self._standing if one.kind == READ and one.reading is not None]

    @property
    def done(self) -> set[int]:
        """Numbers of the stations that were read or left out."""
        return self._done

    @property
    def left(self) -> int:
        """Stations that are neither read nor left out."""
        return len(self.walk.stations) - len(self._done)

    @property
    def decided(self) -> str:
        """``pass`` or ``fail`` where enough is read, else empty."""
        return self.latest.decided if self.latest is not None else ""

    @property
    def enough(self) -> bool:
        """Whether one may stop, and nobody said to go on."""
        return self.decided in (PASS, FAIL) and not self.reading_on and self.question is None and not self.ties

    @property
    def is_looked_at(self) -> bool:
        """Whether the last look counts all that was read and seen."""
        return self.latest is not None and (self.latest.read, tuple(self.latest.assessment.spot_checks)) == (
            len(self.readings),
            tuple(self.strips.done),
        )

    @property
    def open_strips(self) -> list[Sweep]:
        """The strips that a pass still rests on, by the last look."""
        if self.latest is None:
            return []
        found = self.latest.assessment
        return open_sweeps(found.wanted_sweeps, self.strips.done, found.subject.surface.spacing)

    @property
    def knows_setup(self) -> bool:
        """Whether anything was read from where the instrument stands now, so that a reading can be expected."""
        return any(one.setup == self.setup for one in self.readings)

    def expected(self, station: Station | None = None) -> tuple[float, float]:
        """What would be read at a station, by default this one, and the error of that with the reading's own [mm]."""
        station = station or self.here
        assert station is not None
        mean, error = self.running.expected(station.x, station.y, self.setup)
        return self.sign * mean, self.running.error_of_reading(error)

    def found_accuracy(self) -> tuple[float, int]:
        """Standard deviation of one reading [mm] by the second shots, and how many tell it; NaN where too few do."""
        places: dict[tuple[int, int, str], list[float]] = {}
        for one in self.readings:
            assert one.reading is not None
            key = (round(one.x / SAME_PLACE_MM), round(one.y / SAME_PLACE_MM), one.setup)
            places.setdefault(key, []).append(one.reading)
        again = [values for values in places.values() if len(values) > 1]
        freedom = sum(len(values) - 1 for values in again)
        squares = sum(float(np.var(values)) * len(values) for values in again)
        return (math.sqrt(squares / freedom) if freedom >= FEWEST_SHOTS else math.nan), freedom

    def misclosure(self) -> float:
        """By how much old stations, read again from where the instrument stands now, disagree on its height [mm].

        NaN where fewer than two were read.
        """
        offsets = []
        for one in self.readings:
            if one.setup == self.setup and one.reading is not None:
                before = [
                    other.reading
                    for other in self.readings
                    if other.setup != self.setup and _same_place(one, other) and other.reading is not None
                ]
                offsets += [one.reading - float(np.mean(before))] if before else []
        return max(offsets) - min(offsets) if len(offsets) >= TIES else math.nan

    def survey(self) -> Survey:
        """The survey as it stands in the file."""
        return self.book.survey()

    def look(self) -> Look:
        """The verdict so far. It takes a second or so: see :meth:`take_look`."""
        return self.looking()()

    def looking(self) -> Callable[[], Look]:
        """What finds the verdict on what is read now, to be called in another thread; here goes on meanwhile."""
        data, done, slid = self.book.path.read_bytes(), frozenset(self._done), self.strips.done
        self.due = False

        def look() -> Look:
            survey = read_survey(data, name=self.book.path.name)
            options = {"draws": self._draws, "seed": self._seed}
            return look_at(survey, self.limits, self.walk, done, slid, confidence=self._confidence, **options)

        return look

    def take_look(self, look: Look) -> None:
        """Show a look, and from now on expect readings as its surface does.

        It may come while a reading is typed: the station stays, and its questions about earlier ones come after it.
        """
        self.latest = self._to_ask = look
        if look.assessment.likely is not None:
            self.running.fill(self.running.taken, parameters_of(look.assessment.likely.fit, self.reading_error))
        if self.here is None:
            self._ask_of_earlier()

    # what a person does

    def enter(self, text: str) -> None:
        """Take what was typed at this station.

        Raises
        ------
        LengthError : it is no length
        FlatnessError : it cannot be written
        """
        if self.question is not None or self.here is None:
            raise ArgumentError("no station waits for a reading", value=text, remedy="answer the question first")
        if not text.strip():
            raise ArgumentError("no reading yet", value="", expected="such as 41 3/8", remedy="type it, then Next")
        entry = self.book.entry(self.here.x, self.here.y, text, self.setup)
        assert entry.reading is not None
        self.said = ""
        question = self._question(text, entry.reading)
        if question is None:
            self.book.add(entry)
            self._took(entry)
        else:
            self.book.add(entry, replace(entry, kind=STRUCK))
            self.question = question

    def read_again(self) -> None:
        """The reading in question is not to be trusted: its station is read afresh. Both stay in the file."""
        question, _ = self._answered()
        if question.about == EARLIER:
            self._take_back_at(question.station)
            self.here, self.again, self.checking = question.station, False, False

    def was(self, number: int) -> None:
        """The reading in question was one of the likely slips."""
        question, here = self._answered()
        earlier = question.about == EARLIER
        setup = self._take_back_at(here) if earlier else self.setup
        entry = self.book.entry(here.x, here.y, question.slips[number].text, setup)
        self.book.add(entry)
        if earlier:
            self._note(entry)
        else:
            self._took(entry)

    def was_elsewhere(self) -> None:
        """The reading in question was taken at the other station that was named; this one is still to be read."""
        question, here = self._answered()
        other = question.elsewhere
        assert other is not None
        entry = self.book.entry(other.x, other.y, question.typed, self.setup)
        self.book.add(entry)
        self._took(entry)
        self.here, self.again, self.checking = here, False, False

    def keep(self) -> None:
        """The reading in question is right."""
        question, here = self._answered()
        self._right.add(here.number)
        if question.about == EARLIER:
            return
        entry = self.book.entry(here.x, here.y, question.typed, self.setup)
        if question.about == SECOND_SHOT:
            for other in self.readings:
                if _same_place(other, entry) and other.setup == entry.setup:
                    self.book.strike(other)
        if self.book.would_read(entry):
            self.book.add(entry)
        elif self.ties:
            mean, _ = self.expected(here)
            assert entry.reading is not None
            self.said = Note("ties-disagree", apart=abs(entry.reading - mean))
            self.skip()
            return
        else:
            entry = self.book.entry(here.x, here.y, "", self.setup)
            self.book.add(entry)
            self.said = Note("no-part-of-it")
        self._restore()
        self._took(entry, again=True)

    def skip(self) -> None:
        """This station cannot be reached."""
        if self.here is None:
            return
        if self.again:
            self.again = self.checking = False
            self.here = self._following(self._last_station())
            return
        if self.ties and self.here == self.ties[0]:  # another old station will do
            self.ties = [*self.ties[1:], *self._old_stations(1)]
            self.here = self.ties[0] if self.ties else self._following(self._last_station())
            return
        entry = self.book.entry(self.here.x, self.here.y, "", self.setup)
        self.book.add(entry)
        self._took(entry)

    def back(self) -> None:
        """Take back what was last written, and stand there again."""
        if self.sliding or self._slid_last:
            self._slide_back()
            return
        self.question = None
        if self.again:
            self.again = self.checking = False
            self.here = self._following(self._last_station())
            return
        if not self._standing:
            return
        last = self._standing[-1]
        self.book.strike(last)
        self._restore()
        self.ties = []
        self.here = self._station_of(last)
        if self.here.number == MORE:
            self.more = [self.here, *self.more]
        self.said = Note("taken-back")

    def second_shot(self) -> None:
        """Read the last station once more, afresh."""
        last = self._last_station()
        if last is not None:
            self.here, self.again = last, True

    def moved(self) -> None:
        """The instrument was moved: two old stations are read again, so that all heights stay on one datum."""
        self._move(None)

    def _move(self, stand: tuple[float, float] | None) -> None:
        """Begin a set-up of the instrument, about so [mm] where it is known, with old stations to be read from it."""
        self._offered, self.stand = [], stand
        self.ties = self._old_stations(TIES)
        if not self.ties:
            self.said = Note("nothing-to-tie")
            return
        self.setup = str(int(self.setup) + 1)
        # so that the set-up is not forgotten should the page be closed now
        self.book.add(self.book.entry(self.ties[0].x, self.ties[0].y, "", self.setup))
        self._restore()
        self.here, self.question = self.ties[0], None
        self.again = self.checking = False

    def _tie_again(self) -> None:
        """The old stations that are still to be read from this set-up, where a stop came between."""
        tied = {(one.x, one.y) for one in self.readings if one.setup == self.setup and self._is_tie(one)}
        own = [one for one in self.readings if one.setup == self.setup and not self._is_tie(one)]
        if self.readings and not own and len(tied) < TIES and any(one.setup != self.setup for one in self.readings):
            self._offered = [self._station_of(one) for one in self.readings if (one.x, one.y) in tied]
            self.stand = self._next_stand()
            self.ties = self._old_stations(TIES - len(tied))
            self.here = self.ties[0] if self.ties else self.here

    def _is_tie(self, one: Entry) -> bool:
        """Whether a station was read from an earlier set-up too."""
        return any(_same_place(one, other) and other.setup != one.setup for other in self.readings)

    def _next_stand(self) -> tuple[float, float] | None:
        """About where the instrument is to stand for the next station; None where it reaches all from one place."""
        if self.here is None or self.here.number == MORE or len(self.walk.stands) < 2:
            return None
        return self.walk.stands[self.here.part]

    @property
    def _is_out_of_reach(self) -> bool:
        """Whether the next station belongs to another part than those that were read from where the instrument is."""
        if self._next_stand() is None:
            return False
        assert self.here is not None
        own = [self._station_of(one) for one in self.readings if one.setup == self.setup and not self._is_tie(one)]
        return bool(own) and all(one.part != self.here.part for one in own if one.number != MORE)

    @property
    def can_be_decided(self) -> bool:
        """Whether the verdict is open, and more readings could decide it."""
        if self.latest is None or self.decided:
            return False
        found = self.latest.assessment
        return any(one.in_doubt(found.confidence) for one in found.judged)

    def placing(self) -> Callable[[], list[Station]]:
        """What finds the places that would do most to decide, to be called in another thread; each as often as to read.

        What is called raises MeasureError where more readings could not decide.
        """
        assert self.latest is not None
        assessment, tape = self.latest.assessment, ROUNDED_MM[self.book.unit]

        def places() -> list[Station]:
            found = more_readings(assessment)
            rows = zip(found["x"], found["y"], found["times"], strict=True)
            on_tape = ((round(x / tape) * tape, round(y / tape) * tape, int(times)) for x, y, times in rows)
            return [Station(MORE, float(x), float(y), MORE, False) for x, y, times in on_tape for _ in range(times)]

        return places

    def read_more(self, places: Sequence[Station]) -> None:
        """Read these places too, one after another; a place that stands there twice is read twice, afresh."""
        self.more = list(places)
        self.here = self._following(None)

    # between the stations

    def look_between(self) -> None:
        """Slide a bar along the strips that are open, one after another."""
        self.strips.begin(self.open_strips)
        self.sliding, self.said = self.strips.here is not None, ""

    def slide(self, gap: str) -> None:
        """Write down the largest gap under the bar on this strip, or ``none``.

        Raises
        ------
        LengthError : it is no length
        FlatnessError : it cannot be written
        """
        self.book.check_mine()
        self.strips.enter(gap)
        self._slid()

    def pass_over(self) -> None:
        """The bar cannot be slid along this strip."""
        self.strips.skip()
        self._slid()

    def _slide_back(self) -> None:
        """Take back the last strip; without any that was done, leave the strips."""
        self.book.check_mine()
        self.sliding = self.strips.back()
        self.said = Note("strip-taken-back") if self.sliding else ""

    def _slid(self) -> None:
        self.said, self._slid_last = "", True
        if self.strips.here is None:
            self.sliding, self.due = False, not self.is_looked_at

    def read_on(self) -> None:
        """Go on though enough is read."""
        self.reading_on = True

    # what follows from it

    def _question(self, typed: str, reading: float) -> Question | None:
        assert self.here is not None
        here = self.here
        first = [
            one.reading for one in self.readings if one.setup == self.setup and _same_place(one, here) and one.reading
        ]
        unit = self.book.unit
        if first:
            off = reading - float(np.mean(first))
            times = abs(off) / (math.sqrt(2) * self.accuracy)
            if times <= ASK:
                return None
            return Question(SECOND_SHOT, here, typed, min(first), max(first), times)
        mean, error = self.expected()
        times = abs(reading - mean) / error
        if times <= ASK:
            return None
        around = self.running.wilder * self.running.expected(here.x, here.y, self.setup)[1]
        near = ((other, *self.expected(other)) for other in self.walk.beside(here) if other.number not in self._done)
        return Question(
            OFF,
            here,
            typed,
            mean - AROUND * around,
            mean + AROUND * around,
            times,
            likely_slips(typed, reading, mean, error, unit),
            fits_elsewhere(reading, near),
        )

    def _answered(self) -> tuple[Question, Station]:
        if self.question is None:
            raise ArgumentError("there is no question now", remedy="go on with the reading")
        question = self.question
        self.question = None
        return question, question.station

    def _ask_of_earlier(self) -> None:
        """Ask of a reading that by now is likelier a slip than anything else, unless it was said to be right."""
        if self.question is not None or self.again or self.ties:
            return
        for reading, expected, error, entry in (*self._slips_seen(), *self._recent()):
            station = self.walk.at(entry.x, entry.y)
            if station is not None and station.number not in self._right and reading == entry.reading:
                self.question = Question(
                    EARLIER,
                    station,
                    entry.typed.removesuffix(f" {self.book.unit}"),
                    expected - AROUND * error,
                    expected + AROUND * error,
                    abs(reading - expected) / error,
                    likely_slips(entry.typed, reading, expected, error, self.book.unit),
                )
                return

    def _slips_seen(self) -> Iterator[tuple[float, float, float, Entry]]:
        """By the last look: reading, what is expected there and its error [mm], and the line where it stands now."""
        look, self._to_ask = self._to_ask, None
        for slip in look.assessment.slips if look is not None else ():
            entry = next((one for one in reversed(self.readings) if _same_place(one, slip)), None)
            if entry is not None and entry.reading is not None and abs(entry.reading - slip.reading) <= 0.01:
                yield entry.reading, slip.expected, abs(slip.reading - slip.expected) / slip.times, entry

    def _recent(self) -> Iterator[tuple[float, float, float, Entry]]:
        """The same of the recent reading that is most off what all others say, those taken since among them."""
        count = min(RECENT, len(self.readings))
        if count and len(self.readings) >= FEWEST:
            off, error = self.running.left_out(count)
            k = int((np.abs(off) / error).argmax())
            entry = self.readings[k - count]
            assert entry.reading is not None
            if abs(off[k]) > ASK * error[k]:
                yield entry.reading, entry.reading - self.sign * float(off[k]), float(error[k]), entry

    def _take_back_at(self, station: Station) -> str:
        """Strike all readings of a station; the set-up that they were taken from."""
        setup = self.setup
        for one in [one for one in self.readings if _same_place(one, station)]:
            self.book.strike(one)
            setup = one.setup
        here = self.setup
        self._restore()
        self.setup = here
        return setup

    def _took(self, entry: Entry, again: bool = False) -> None:
        """A line was written: go on to the next station."""
        self._slid_last = False
        station = self._station_of(entry)
        if not again:
            self._note(entry)
        if self.more and not self.ties and _same_place(self.more[0], entry):
            self.more = self.more[1:]
        here = [one.reading for one in self.readings if one.setup == self.setup and _same_place(one, entry)]
        if self.checking and len(here) > 1:
            self.said = Note("datum-holds", apart=abs((here[-1] or 0.0) - (here[0] or 0.0)))
        self.again = self.checking = False
        if self.ties and station == self.ties[0]:
            self.ties = self.ties[1:]
            if self.ties:
                self.here = self.ties[0]
                return
            apart = self.misclosure()
            if not math.isnan(apart):
                self.said = Note("ties-agree", apart=apart)
        self.here = self._following(station)
        if self.here is None or self.here.line != station.line:
            self.due = len(self.readings) >= FIRST_LOOK
        if not self.ties and self._is_out_of_reach:
            self._move(self._next_stand())
        elif not self.ties and self.here is not None and self.here.line not in (station.line, MORE):
            self._check_datum()
        self._ask_of_earlier()

    def _check_datum(self) -> None:
        """Every so often the first station of this set-up is read again: so it is seen that the instrument moved."""
        own = [one for one in self.readings if one.setup == self.setup]
        if own and len(self.readings) - self._checked >= CHECK_EVERY:
            self._checked = len(self.readings)
            self.here, self.again, self.checking = self._station_of(own[0]), True, True

    def _note(self, entry: Entry) -> None:
        self._standing.append(entry)
        if entry.kind != READ:
            return
        station = self.walk.at(entry.x, entry.y)
        if station is not None:
            self._done.add(station.number)
        if entry.reading is not None:
            self.running.add(Taken(entry.x, entry.y, self.sign * entry.reading, entry.setup))

    def _restore(self) -> None:
        """All that follows from the lines of the book, from the start."""
        self._standing: list[Entry] = []
        self._done: set[int] = set()
        self.running.fill([])
        standing = self.book.standing
        taken = []
        for one in standing:
            self._standing.append(one)
            station = self.walk.at(one.x, one.y) if one.kind == READ else None
            if station is not None:
                self._done.add(station.number)
            if one.kind == READ and one.reading is not None:
                taken.append(Taken(one.x, one.y, self.sign * one.reading, one.setup))
        self.running.fill(taken)
        self._checked = len(taken)
        self.setup = str(max((int(one.setup) for one in standing if one.setup.isdigit()), default=1))
        self.due = len(taken) >= FIRST_LOOK

    def _station_of(self, entry: Entry) -> Station:
        return self.walk.at(entry.x, entry.y) or Station(MORE, entry.x, entry.y, MORE, False)

    def _last_station(self) -> Station | None:
        return next((self._station_of(one) for one in reversed(self._standing) if one.kind == READ), None)

    def _following(self, here: Station | None) -> Station | None:
        worth = self.latest.worth if self.latest is not None else None
        return self.walk.following(self._done, here, worth) or next(iter(self.more), None)

    def _old_stations(self, count: int) -> list[Station]:
        """Old stations to read again, well apart, and none that was offered before.

        The last ones; those nearest to where the instrument is to stand, where that is known.
        """
        found: list[Station] = []
        old = self.readings[::-1]
        if self.stand is not None:
            to = self.stand
            old.sort(key=lambda one: math.hypot(one.x - to[0], one.y - to[1]))
        for one in old:
            station = self.walk.at(one.x, one.y)
            if station is None or len(found) == count:
                continue
            if all(math.hypot(station.x - other.x, station.y - other.y) >= TIE_APART_MM for other in self._offered):
                found.append(station)
                self._offered.append(station)
        return found


def _same_place(one: Entry | Station, other: Entry | Station | Slip) -> bool:
    return max(abs(one.x - other.x), abs(one.y - other.y)) <= SAME_PLACE_MM


HIGH, LOW, NEAR, FINE = "high", "low", "near", "fine"
SHARE_OVER, SHARE_NEAR = 1.0, 2 / 3  # of what is allowed, that a reading lies off the middle plane
SHOWN_MM = 4.7625  # where no length is allowed: 3/16 in


def kinds(taking: Taking) -> dict[int, str]:
    """Of each station that is read, whether it is high or low of the plane through all, or near what is allowed."""
    readings = taking.readings
    if len(readings) < 4:
        return {station.number: FINE for one in readings if (station := taking.walk.at(one.x, one.y)) is not None}
    x, y, z = _heights(taking)
    columns = np.column_stack([np.ones_like(x), x, y])
    off = z - columns @ np.linalg.lstsq(columns, z, rcond=None)[0]
    lengths = [limit.allowed for limit in taking.limits if limit.kind == "straightedge" and limit.allowed]
    allowed = min(lengths, default=SHOWN_MM)
    found = {}
    for one, mm in zip(readings, off, strict=True):
        station = taking.walk.at(one.x, one.y)
        if station is not None:
            over = abs(mm) / allowed
            kind = (HIGH if mm > 0 else LOW) if over > SHARE_OVER else NEAR if over > SHARE_NEAR else FINE
            found[station.number] = kind
    return found


def _heights(taking: Taking) -> tuple[Floats, Floats, Floats]:
    """x, y and height [mm] of the readings, each set-up's brought to the first by the running prediction."""
    x, y = (np.array([getattr(one, name) for one in taking.readings]) for name in "xy")
    means: dict[str, float] = {}
    first = taking.readings[0].setup
    for setup in {one.setup for one in taking.readings}:
        here = taking.running.expected(float(x[0]), float(y[0]), setup)[0]
        means[setup] = here - taking.running.expected(float(x[0]), float(y[0]), first)[0]
    z = [taking.sign * float(one.reading or 0.0) - means[one.setup] for one in taking.readings]
    return x, y, np.array(z)
