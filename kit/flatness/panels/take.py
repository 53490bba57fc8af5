"""The Take panel: one station at a time at the laser, as large as a phone allows."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as w
from traitlets import Bool, Int, Unicode

from flatness.errors import ArgumentError, FlatnessError
from flatness.lengths import parse_length
from flatness.limits.kinds import Limit
from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.panels.check import allowed_sentence, judged_sentence
from flatness.panels.controls import asset, button, column, panel_box, put, row, script, text_field, words
from flatness.panels.instrument import SIGNS, Panel
from flatness.panels.state import State, Worker
from flatness.panels.take_map import map_key, room_map
from flatness.survey.header import parse_framing
from flatness.survey.readings import Framing
from flatness.taking.book import (
    TAKEN_OVER,
    USUAL_ACCURACY_MM,
    BookInUseError,
    book_of_sheet,
    is_sheet,
    new_book,
    taken_from,
)
from flatness.taking.deciding import Look
from flatness.taking.session import Taking
from flatness.taking.stations import Station
from flatness.words.phrases import sentence
from flatness.words.printed import spelled
from flatness.words.taking import (
    TYPED,
    accuracy_words,
    answers,
    between_words,
    enough_words,
    header_words,
    place_words,
    question_words,
    read_on_words,
    saved_words,
    slide_words,
    so_far,
    station_words,
    strip_words,
    why_here,
)

# what the page shows
IN_USE, STATION, QUESTION, STRIP, ENOUGH, DONE, MORE, WRONG = (
    "in use",
    "station",
    "question",
    "strip",
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
        if self.taking.sliding:
            return STRIP
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
                "moved": Taking.moved,
                "slip": lambda taking: taking.was(int(number)),
            }[word]
        )

    def after(self) -> None:
        """Begin a look where one is due, and show what is new."""
        taking = self.taking
        if taking is not None and not self.worker.busy and (taking.due or self._last_look_is_due(taking)):
            look = taking.looking()
            self.turn += 1  # the next station is shown before the work begins beside it
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
        return taking.here is None and not taking.sliding and not taking.is_looked_at and len(taking.readings) >= 3

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


WIDE, HIGH = 360.0, 272.0  # of the map, at the most: what the page has room for shrinks it [px]
SIXTEENTHS = 16
MOST_ANSWERS = 6
SHADES = {"As the device": "", "Light": "fk-light", "Dark": "fk-dark"}


def keypad(unit: str, expected: float | None, wholes: bool = True) -> str:
    """The keypad as HTML: whole inches about what is expected [mm], then fractions as a tape has them; else digits.

    ``wholes`` False: fractions alone, for a gap.
    """
    if unit != "in":
        digits = "".join(_key("digit", str(n), "fk-large") for n in (7, 8, 9, 4, 5, 6, 1, 2, 3, 0))
        digits += _key("digit", ".", "fk-large") + _key("rub", "", "fk-large", "⌫", "rub out")
        return f'<div class="fk-pad"><div class="fk-keys fk-three">{digits}</div>{script("keypad.js")}</div>'
    above = ""
    if expected is not None:
        low = max(int(expected / 25.4) - 1, 0)
        above = "".join(_key("whole", str(n), "fk-large") for n in range(low, low + 3))
        above = f'<div class="fk-keys fk-wholes">{above}{_key("other", "", "", "other", "other inches")}</div>'
    parts = ""
    for n in range(SIXTEENTHS):
        look = "fk-large fk-quarter" if n % 4 == 0 else "fk-large" if n % 2 == 0 else ""
        parts += _key("part", str(2 * n), look, _fraction(n))
    # without a reading to go by the whole inches are typed, then the fraction
    shape = "fk-pad fk-digits" if expected is None and wholes else "fk-pad"
    above += f'<div class="fk-keys fk-six">{_row_of_digits()}</div><hr>' if wholes else ""
    return f'<div class="{shape}">{above}<div class="fk-keys fk-parts">{parts}</div>{script("keypad.js")}</div>'


def _row_of_digits() -> str:
    keys = "".join(_key("digit", str(n), "fk-large") for n in (1, 2, 3, 4, 5, 6, 7, 8, 9, 0))
    return keys + _key("rub", "", "fk-large", "⌫", "rub out")


def _fraction(n: int) -> str:
    under = SIXTEENTHS
    while n and n % 2 == 0:
        n, under = n // 2, under // 2
    return f"{n}/{under}" if n else "0"


def _key(kind: str, value: str, look: str, text: str | None = None, hint: str = "") -> str:
    shown = value if text is None else text
    return (
        f'<button type="button" class="{look}" data-kind="{kind}" data-value="{value}" title="{escape(hint or shown)}">'
        f"{escape(shown)}</button>"
    )


class TakePanel(Panel):
    """The Take panel.

    Attributes
    ----------
    state : what it knows
    reading : the field for the reading
    box : the whole panel
    """

    state: TakeState

    def __init__(self, state: TakeState, page: bool = False) -> None:
        super().__init__()
        self.state = state
        guard = state.guard
        act = state.act
        self.back = button("Back", "Take back the last reading", guard(lambda _: self._back()))
        self.counter = words("", "fk-counter")
        self.open_more = button("More", "What is seldom wanted", guard(lambda _: self._toggle_more()))
        head = row(self.back, self.counter, self.open_more)
        head.add_class("fk-head")
        self.progress, self.verdict = words(), words("", "fk-verdict")
        self.map, self.place = words("", "fk-map-here"), words()
        self.reading = text_field("Reading", "What the laser or the rule shows, such as 41 3/8")
        self.reading.add_class("fk-reading")
        self.unit = words("", "fk-unit")
        typed = row(self.reading, self.unit)
        typed.add_class("fk-typed")
        self.pad = words()
        self.skip = button("Can’t\nreach", "This place cannot be reached", guard(lambda _: self._skip()))
        self.nothing = button("", "The bar showed no gap worth the name", guard(lambda _: self._slide("none")))
        nothing = column(self.nothing)
        nothing.add_class("fk-answers")
        self.next = button(
            "Next", "Keep this reading, and show the next station", guard(lambda _: self._enter()), main=True
        )
        self.next.add_class("fk-next")
        finer = _key("more", "", "fk-two", "+ 1/32\nbetween marks")
        self.finer = words(f'<div class="fk-pad">{finer}</div>')
        foot = row(self.skip, self.finer, self.next)
        foot.add_class("fk-foot")
        self.station = column(nothing, typed, self.pad, foot)
        self.doubt = words()
        self.answers = [button("", "Answer", guard(self._answer(k))) for k in range(MOST_ANSWERS)]
        self.question = column(self.doubt, *self.answers)
        self.question.add_class("fk-answers")
        self.read_on = button("Read on", "Go on with the next station", guard(lambda _: self._read_on()), main=True)
        self.stop = button("Stop here\nthe survey is saved", "Leave it at that", guard(lambda _: self._stop()))
        self.next_step = words()
        self.between = button(
            "", "Slide a bar along the strips that are open", guard(lambda _: act(Taking.look_between))
        )
        self.enough = column(self.next_step, self.between, self.read_on, self.stop)
        self.enough.add_class("fk-answers")
        self.more = self._more_page()
        self.go_on = button("Go on here", TAKEN_OVER, guard(lambda _: state.open(take_over=True)), main=True)
        self.stopped, self._shown, self._start = False, -1, ""
        box = panel_box(
            w.HTML(f"<style>{asset('take_look.css')}</style>"),
            head,
            self.progress,
            self.verdict,
            self.map,
            self.place,
            self.problems,
            self.station,
            self.question,
            self.enough,
            self.more,
            self.go_on,
        )
        box.add_class("fk-take")
        for part in (self.station, self.question, self.enough, self.more, self.go_on):
            part.add_class("fk-at-right")
        if page:
            box.add_class("fk-page")
        self.box = box
        self._watch()
        state.observe(lambda _: guard(self._refresh, clears=False)(), ["turn", "more", "dark"])
        guard(self._refresh)()

    # what a person does

    def _enter(self) -> None:
        text = self.reading.value
        if text and text == self._start:  # such as where the button is pressed twice
            raise ArgumentError(
                "no reading yet: only the whole inches of the last one stand here",
                value=text.strip(),
                remedy="tap the fraction, 0 where there is none",
            )
        if self.state.screen == STRIP:
            self._slide(text)
        else:
            self.state.act(lambda taking: taking.enter(text))

    def _slide(self, gap: str) -> None:
        self.state.act(lambda taking: taking.slide(gap))

    def _skip(self) -> None:
        self.state.act(Taking.pass_over if self.state.screen == STRIP else Taking.skip)

    def _back(self) -> None:
        if self.state.more:
            self.state.more = False
        else:
            self.stopped = False
            self.state.act(Taking.back)

    def _toggle_more(self) -> None:
        self.state.more = not self.state.more

    def _answer(self, number: int) -> Any:
        def answered(_: Any) -> None:
            taking = self.state.taking
            if taking is not None and taking.question is not None:
                self.state.answer(answers(taking.question, taking)[number][0])

        return answered

    def _read_on(self) -> None:
        self.stopped = False
        if self.state.screen == DONE:
            self.state.find_more()
        else:
            self.state.act(Taking.read_on)

    def _stop(self) -> None:
        self.stopped = True
        self.state.turn += 1

    def _more_page(self) -> Any:
        guard, act = self.state.guard, self.state.act
        self.how_good = words()
        buttons = [
            button(
                "Read the last station twice\nshows how well two readings agree",
                "Set the staff there afresh, and read it once more",
                guard(lambda _: act(Taking.second_shot)),
            ),
            button(
                "The laser was moved\ntwo old stations are read again",
                "So that all readings stay on one datum",
                guard(lambda _: act(Taking.moved)),
            ),
        ]
        shades = [
            button(
                f"{name} screen",
                "How bright the screen is",
                guard(lambda _, shade=shade: self.state.set_trait("dark", shade)),
            )
            for name, shade in SHADES.items()
            if shade
        ]
        self.file = words()
        page = column(*buttons, self.how_good, self.file, row(*shades))
        page.add_class("fk-answers")
        return page

    # what is shown

    def _refresh(self, _: Any = None) -> None:
        state, taking, screen = self.state, self.state.taking, self.state.screen
        for shade in SHADES.values():
            if shade:
                (self.box.add_class if shade == state.dark else self.box.remove_class)(shade)
        shown = {
            self.station: screen in (STATION, STRIP),
            self.nothing: screen == STRIP,
            self.question: screen == QUESTION,
            self.enough: screen in (ENOUGH, DONE),
            self.more: screen == MORE,
            self.go_on: screen == IN_USE,
            self.map: screen not in (MORE, IN_USE) and taking is not None,
            self.place: screen in (STATION, QUESTION, STRIP) or (screen in (ENOUGH, DONE) and not self.stopped),
        }
        self.back.layout.visibility = self.open_more.layout.visibility = "hidden" if taking is None else "visible"
        self.open_more.description = "Close" if screen == MORE else "More"
        if taking is None:
            self._refuse()
            self._show_only(shown)
            return
        # what a station says comes before its keys and its count, so that nobody reads an old place beside new keys
        if screen == STATION:
            self._show_station(taking)
        elif screen == STRIP:
            self._show_strip(taking)
        elif screen == QUESTION:
            self._show_question(taking)
        elif screen in (ENOUGH, DONE):
            self._show_enough(taking, screen)
        self._show_only(shown)
        unit = taking.book.unit
        share = 100 * len(taking.done) / len(taking.walk.stations)
        self.counter.value = escape(header_words(taking))
        note = f'<div class="fk-note" role="status">{escape(sentence(taking.said, unit))}</div>' if taking.said else ""
        why = why_here(taking) if screen == STATION else ""
        why = f'<div class="fk-note">{escape(why)}</div>' if why else ""
        line = "Whatever you answer, nothing that you typed is lost." if screen == QUESTION else so_far(taking)
        self.progress.value = (
            f'<div class="fk-done-bar" role="progressbar" aria-valuenow="{share:.0f}"><div style="width:{share:.0f}%">'
            f'</div></div><div class="fk-sofar fk-progress-text" data-acts="{self.state.acts}">{escape(line)}</div>'
        )
        self.verdict.value = self._said(taking) if screen in (ENOUGH, DONE) else ""
        if screen != MORE:
            drawn = room_map(taking, WIDE, HIGH, screen in (ENOUGH, DONE))
            key = "" if screen == STRIP else map_key()
            room = screen.replace(" ", "-") if taking.knows_setup or screen != STATION else "first"
            self.map.value = (
                f'<div class="fk-surface fk-at-{room}">{why}{note}<div class="fk-map">{drawn}</div>{key}</div>'
            )
        self.how_good.value = f'<div class="fk-note">{escape(accuracy_words(taking))}</div>'
        self.file.value = (
            f'<div class="fk-note">Saved in {escape(str(taking.book.path.parent))}: {escape(saved_words(taking))}</div>'
        )

    @staticmethod
    def _show_only(shown: dict[Any, bool]) -> None:
        for part, seen in shown.items():
            part.layout.display = "" if seen else "none"

    def _refuse(self) -> None:
        problem = self.state.in_use
        said = "" if problem is None else problem.problems[0].what
        self.counter.value = ""
        self.progress.value = (
            f'<div class="fk-ask"><b>In use</b>{escape(said[:1].upper() + said[1:])}.</div>' if said else ""
        )
        self.verdict.value = self.map.value = self.place.value = ""

    def _show_station(self, taking: Taking) -> None:
        here, unit = taking.here, taking.book.unit
        assert here is not None
        self.place.value = _place(station_words(here, taking))
        what, where = TYPED[unit, taking.header.quantity or "drop"]
        self.unit.value = f"{what}<br>{where}"
        self.finer.layout.display = "" if unit == "in" else "none"
        expected = max(taking.expected()[0], 0.0) if taking.knows_setup else None
        # what is kept between stations: the whole inches; a second tap gives the fraction
        start = f"{int(expected / 25.4)} " if unit == "in" and expected is not None else ""
        self._show_keys(start, keypad(unit, expected))

    def _show_keys(self, start: str, keys: str) -> None:
        """The keypad of this place, and what stands in the field before a key is pressed."""
        if self._shown == self.state.acts:
            return  # what is typed at this station stays, whatever else is new
        self._shown = self.state.acts
        self._start = start
        put(self.reading, start)
        self.pad.value = f"{keys}<!-- {self._shown} -->"

    def _show_strip(self, taking: Taking) -> None:
        number, unit = taking.strips.here, taking.book.unit
        assert number is not None
        strip = taking.strips.every[number]
        self.place.value = _place(strip_words(strip, taking))
        _, nothing, meant = slide_words(strip, taking)
        self.nothing.description = f"{nothing}\n{meant}"
        self.unit.value = f"{'inches' if unit == 'in' else 'mm'}<br>largest gap"
        self.finer.layout.display = "" if unit == "in" else "none"
        self._show_keys("", keypad(unit, None, wholes=False))

    def _show_question(self, taking: Taking) -> None:
        question = taking.question
        assert question is not None
        self.place.value = _place(station_words(question.station, taking))
        head, why = question_words(question, taking)
        self.doubt.value = f'<div class="fk-ask" role="alert"><b>{escape(head)}</b>{escape(why)}</div>'
        offered = answers(question, taking)
        for k, one in enumerate(self.answers):
            one.layout.display = "" if k < len(offered) else "none"
            if k < len(offered):
                one.description = f"{offered[k][1]}\n{offered[k][2]}"
            (one.add_class if k == 0 else one.remove_class)("fk-do")

    def _show_enough(self, taking: Taking, screen: str) -> None:
        (_, after), state = enough_words(taking), self.state
        one = taking.latest.assessment.governing if taking.latest is not None else None
        failed = taking.decided == FAIL and one is not None and one.finding is not None
        at = one.worst_at if failed and one is not None and one.finding is not None else None
        if at is not None:
            self.place.value = _place(place_words(at, taking))
        else:
            self.place.value = ""
        waiting = not taking.is_looked_at and (screen == DONE or state.worker.busy)
        if self.stopped:
            after = f"Saved: {saved_words(taking)}. You may close this page and go on another day."
        after = state.working or ("Working out the verdict ..." if waiting else after)
        self.next_step.value = f"<p>{escape(after)}</p>"
        strips = bool(taking.open_strips) and not waiting and not state.working
        self.between.description = f"Slide a bar\n{between_words(taking)}"
        self.between.layout.display = "" if strips else "none"
        undecided = screen == DONE and taking.can_be_decided and not waiting
        more = "Read more places\nwhere they would do most to decide"
        self.read_on.description = more if undecided else f"Read on\n{read_on_words(taking)}"
        self.read_on.layout.display = "" if (screen == ENOUGH or undecided) and not state.working else "none"
        for one, first in ((self.between, True), (self.read_on, not strips)):
            (one.add_class if first else one.remove_class)("fk-do")
        self.stop.layout.display = "none" if self.stopped else ""

    def _said(self, taking: Taking) -> str:
        """The verdict as a strip."""
        one = taking.latest.assessment.governing if taking.latest is not None else None
        if one is None or (not taking.is_looked_at and (taking.here is None or self.state.worker.busy)):
            return ""
        assert taking.latest is not None
        verdict = taking.decided or UNDECIDED
        color, shapes = SIGNS[verdict]
        head, _ = enough_words(taking)
        unit = taking.book.unit
        found = ""
        if one.finding is not None:
            allowed = allowed_sentence(one, unit).rpartition("; ")[2]  # what was measured is said once
            found = spelled(f"{_measured(one, taking)} {allowed}")
        hollow = " fk-hollow" if verdict == PASS and taking.open_strips else ""
        return (
            f'<div class="fk-said{hollow}" role="status" style="--sign:{color};background:{color}">'
            f'<svg width="40" height="40" viewBox="0 0 34 34" aria-hidden="true">{shapes}</svg>'
            f"<div><b>{escape(head)}</b>{escape(found)}</div></div>"
        )

    def close(self) -> None:
        """Take the panel away, and let another page take the survey."""
        self.state.close()
        super().close()


def _measured(one: Any, taking: Taking) -> str:
    """What was found: ``5/16 in under 10 ft.``; where is told by the place beneath the map."""
    assert taking.latest is not None
    found = judged_sentence(one, taking.latest.assessment, taking.book.unit)
    return found.partition(",")[0].rstrip(".") + ";"


def _place(parts: Sequence[tuple[str, str]]) -> str:
    found = "".join(
        f"<div><b>{escape(a)}</b> <span>{escape(b)}</span></div>" if a else f'<div class="fk-at">{escape(b)}</div>'
        for a, b in parts
    )
    return f'<div class="fk-place">{found}</div>'


def take_panel(
    path: str | os.PathLike[str],
    limits: str | Limit | Sequence[str | Limit],
    *,
    length: str | float = "",
    width: str | float = "",
    accuracy: str | float = "",
    step: str | float = "",
    members: str = "",
    unit: str = "in",
    surface: str = "floor",
    reading: str = "drop",
    title: str = "",
    door: str = "",
    page: bool = False,
    **options: Any,
) -> TakePanel:
    """Take the readings of a survey, one station at a time.

    Parameters
    ----------
    path : the survey file, ``.csv``: gone on with where it is there, begun where it is not; or a blank sheet, whose
        survey is begun beside it
    limits : names of limits or of finishes, or limits
    length, width : of the surface along x and along y, to begin with, such as ``14 ft``; numbers in the unit
    accuracy : one standard deviation of one reading; 1/32 in where not given
    step : between stations; 2 ft or 600 mm where not given, 4 ft or 1200 mm along members
    members : joists or studs, such as ``16 in along y from 0``; then each of them is read
    unit : of readings that carry none, ``in`` or ``mm``
    surface, reading, title : as for :func:`flatness.blank_sheet`
    door : by which one walks in, such as ``bottom 3 ft to 6 ft``: places are given from there
    page : whether the panel is the whole page
    options : ``draws``, ``seed`` and ``confidence`` of the verdict

    Returns
    -------
    TakePanel : its ``state`` holds the survey

    Raises
    ------
    FlatnessError : a file that cannot be gone on with, or what is missing to begin one
    """
    path = Path(path)
    more = [f"door: {door}"] if door else []
    if path.exists() and is_sheet(path):
        sheet, path = path, taken_from(path)
        if not path.exists():
            book_of_sheet(path, sheet, parse_length(accuracy, unit) if accuracy else None, more)
    if not path.exists():
        if not length or not width:
            raise ArgumentError(
                "a new survey needs the size of the surface",
                file=path.name,
                expected="length and width, such as 14 ft and 20 ft",
                remedy="give both; or name a survey that is there, to go on with it",
            )
        new_book(
            path,
            length=parse_length(length, unit),
            width=parse_length(width, unit),
            step=parse_length(step, unit) if step else None,
            accuracy=parse_length(accuracy, unit) if accuracy else USUAL_ACCURACY_MM,
            framing=_framing(members, unit),
            unit=unit,
            surface=surface,
            reading=reading,
            title=title,
            more=more,
        )
    return TakePanel(TakeState(path, limits, **options), page)


def _framing(text: str, unit: str) -> Framing | None:
    return parse_framing(text, lambda part: parse_length(part, unit)) if text else None
