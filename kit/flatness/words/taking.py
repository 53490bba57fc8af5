"""What a person reads while the readings are taken: where to stand, what is in question, and when enough is read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from flatness.lengths import format_length
from flatness.limits.spot_checks import Sweep
from flatness.limits.verdict import FAIL, PASS
from flatness.survey.walls import Tape, Walls
from flatness.taking.questions import EARLIER, SECOND_SHOT, Question, range_words
from flatness.taking.session import FEWEST_SHOTS, SECONDS_A_READING, SECONDS_A_STRIP, Taking
from flatness.taking.stations import Station
from flatness.words.printed import accuracy, counted, length, spelled

NBSP = "\N{NO-BREAK SPACE}"  # within a reading
LIKELY = 0.8  # chance from which a verdict is called likely
WALLS = {"floor": ("left wall", "door wall"), "ceiling": ("left wall", "door wall"), "wall": ("left end", "the floor")}
TYPED = {
    ("in", "drop"): ("inches down", "from the laser"),
    ("mm", "drop"): ("mm down", "from the laser"),
    ("in", "height"): ("inches", "off the mark"),
    ("mm", "height"): ("mm", "off the mark"),
}


def station_words(station: Station, taking: Taking) -> list[tuple[str, str]]:
    """How far a station is from two walls: each as the length and what it is from."""
    return place_words((station.x, station.y), taking)


def place_words(xy: tuple[float, float], taking: Taking) -> list[tuple[str, str]]:
    """How far a place [mm] is from two walls: each as the length and what it is from."""
    return [_from(one, one.far(xy), taking.book.unit) for one in _tapes(taking)]


def _from(wall: Tape, mm: float, unit: str) -> tuple[str, str]:
    if abs(mm) <= 0.5:
        return "", f"at the {wall.wall.removeprefix('the ')}"
    return tape(abs(mm), unit), f"{'from' if mm > 0 else 'behind'} {wall.wall}"


def _tapes(taking: Taking) -> list[Tape]:
    """The walls from which a place is told; where no door is known, x from the left wall and y from the door wall."""
    surface = taking.header.surface
    known = (Walls() if surface == "wall" else taking.header.walls).tapes(taking.book.outline)
    return [one if one.wall else replace(one, wall=name) for one, name in zip(known, WALLS[surface], strict=True)]


def strip_words(strip: Sweep, taking: Taking) -> list[tuple[str, str]]:
    """Where a bar is slid: how far the strip is from one wall, and from where to where off the other."""
    unit = taking.book.unit
    own, other = sorted(_tapes(taking), key=lambda one: "xy"[one.axis] != strip.along)
    low, high = sorted(own.far((end, end)) for end in (strip.start, strip.end))
    begin = "0" if abs(low) <= 0.5 else tape(low, unit)
    return [_from(other, other.far((strip.at, strip.at)), unit), (f"{begin} to {tape(high, unit)}", f"from {own.wall}")]


def slide_words(strip: Sweep, taking: Taking) -> tuple[str, str, str]:
    """What is to be done on a strip; and what a person says who finds nothing, in two lines."""
    unit = taking.book.unit
    stop = spelled(length(strip.stop, unit))
    slide = f"Slide a {tape(strip.bar, unit)} bar along this line."
    return slide, f"Nothing over {stop}", "no gap larger than that, end to end"


def _where(xy: tuple[float, float], taking: Taking) -> str:
    return ", ".join(f"{length} {wall}".strip() for length, wall in place_words(xy, taking))


def tape(mm: float, unit: str) -> str:
    """A position as one pulls a tape.

    >>> tape(3048, "in"), tape(812.8, "in"), tape(152.4, "in"), tape(2500, "mm")
    ('10 ft', '2 ft 8 in', '6 in', '2500 mm')
    """
    if unit != "in":
        return f"{mm:.0f} mm"
    feet, _, inches = format_length(mm, "ft", 16).removesuffix('"').rpartition("' ")
    if not feet:
        return f"{inches} in"
    return f"{feet} ft" if inches == "0" else f"{feet} ft {inches} in"


def so_far(taking: Taking) -> str:
    """The verdict so far, and how many stations are left at the most; what is done on a strip."""
    if taking.sliding and taking.strips.here is not None:
        return slide_words(taking.strips.every[taking.strips.here], taking)[0]
    left = taking.left
    more = f"At most {left} to go." if left else "All stations are read."
    if taking.decided and left:
        said = f"Enough is read: it {'fails' if taking.decided == FAIL else 'passes'}."
        return said if taking.enough else f"{said} You read on. {more}"
    if not left and not taking.more:
        return more
    if taking.latest is None:
        return f"Too early to say how it comes out. {more}"
    one = taking.latest.assessment.governing
    if one is None or math.isnan(one.chance):
        said = "still open"
    elif one.chance >= LIKELY:
        said = "likely passes"
    elif one.chance <= 1 - LIKELY:
        said = "likely fails"
    else:
        said = "too close to call"
    return f"So far: {said}. {more}"


def header_words(taking: Taking) -> str:
    """Which station of how many this is, or what is read out of the walk."""
    if taking.sliding:
        return f"Strip {(taking.strips.here or 0) + 1} of {len(taking.strips.every)}"
    if taking.ties:
        return "Old station"
    if taking.again:
        return "Laser check" if taking.checking else "Second reading"
    if taking.here is not None and taking.more:
        return f"{len(taking.more)} more"
    count = len(taking.walk.stations)
    return f"{min(len(taking.done) + 1, count)} of {count}"


def why_here(taking: Taking) -> str:
    """Why this station is read out of its turn; empty where it is not."""
    if taking.ties:
        if taking.stand is not None and not any(one.setup == taking.setup for one in taking.readings):
            return f"Move the laser: about {_where(taking.stand, taking)}. Then read two old stations again from there."
        many = "one more" if len(taking.ties) == 1 else "two"
        return f"The laser was moved: read {many} of the old stations again, from where it stands now."
    if taking.checking:
        return "Read the first station again: so you see that the laser did not move."
    if taking.again:
        return "Set the staff here again and read it once more."
    return ""


def question_words(question: Question, taking: Taking) -> tuple[str, str]:
    """The reading that is asked of, and why."""
    unit = taking.book.unit
    ends = " to ".join(text.replace(" ", NBSP) for text in range_words(question, unit))
    if question.about == SECOND_SHOT:
        return f"{question.typed}?", f"The first reading here was {ends}."
    if question.about == EARLIER:
        where = _where((question.station.x, question.station.y), taking)
        return f"{question.typed}?", f"{where}: the stations read since say {ends}."
    return f"{question.typed}?", f"The stations around it say {ends}."


def answers(question: Question, taking: Taking) -> list[tuple[str, str, str]]:
    """What may be answered: a key, what it says, and what that means."""
    earlier, second = question.about == EARLIER, question.about == SECOND_SHOT
    stands = "go back and set the staff there" if earlier else "best: the staff still stands there"
    found = [("again", "Read it again", stands)]
    found += [
        (
            f"slip {k}",
            f"It was {slip.text}",
            f"a slip: {slip.name}" if slip.name[0].isalpha() else f"off by {slip.name}",
        )
        for k, slip in enumerate(question.slips)
    ]
    if question.elsewhere is not None:
        found.append(
            ("elsewhere", "I stood somewhere else", _where((question.elsewhere.x, question.elsewhere.y), taking))
        )
    if taking.checking:
        found.append(("moved", "The laser was moved", "readings since the last check are in doubt"))
    kept = "the first reading was wrong" if second else "keep it"
    return [*found, ("keep", f"{question.typed} is right", kept)]


def enough_words(taking: Taking) -> tuple[str, str]:
    """That enough is read, or all, and what one does next."""
    left, slid = taking.left, len(taking.strips.seen)
    if taking.decided == FAIL:
        return "Enough: it fails" if left else "It fails", (
            f"To plan the work, read on: {counted(left, 'station')} {'is' if left == 1 else 'are'} not read."
            if left
            else "All stations are read: plan the work from this survey."
        )
    if taking.decided == PASS:
        sweeps = taking.open_strips
        what = "Enough: it passes" if left else "It passes"
        if not sweeps:
            return (
                what,
                f"A bar was slid along {counted(slid, 'strip')}." if slid else "Nothing is open between the stations.",
            )
        bar = tape(max(one.bar for one in sweeps), taking.book.unit)
        strips = "this strip" if len(sweeps) == 1 else f"these {len(sweeps)} strips"
        return what, f"Nobody has looked between the stations: slide a {bar} bar along {strips}."
    after = "A few more places may decide it." if taking.can_be_decided else "The check of this survey says why."
    return "Too close to call", f"All stations are read. {after}"


def read_on_words(taking: Taking) -> str:
    """How many stations are left, and about how long they take."""
    return _how_long(taking.left, "station", SECONDS_A_READING)


def between_words(taking: Taking) -> str:
    """How many strips are open, and about how long they take."""
    return _how_long(len(taking.open_strips), "strip", SECONDS_A_STRIP)


def _how_long(count: int, what: str, seconds: float) -> str:
    return f"{counted(count, what)}, about {counted(max(1, round(count * seconds / 60)), 'minute')}"


def saved_words(taking: Taking) -> str:
    """Where all that was taken is."""
    book, strips = taking.book.path, taking.strips
    return f"{book.name} and {strips.path.name}" if strips.seen else book.name


def accuracy_words(taking: Taking) -> str:
    """How good a reading is, by those taken twice and as it was stated."""
    unit = taking.book.unit
    stated = f"You said that one reading is good to {accuracy(taking.accuracy, unit)}."
    found, pairs = taking.found_accuracy()
    if math.isnan(found):
        return f"{stated} To see whether it is, read {FEWEST_SHOTS} stations twice: {pairs} so far."
    return f"{stated} By {counted(pairs, 'station')} read twice it is {accuracy(max(found, 0.01), unit)}."


def strip_lines(taking: Taking) -> Sequence[tuple[tuple[float, float], tuple[float, float]]]:
    """Ends [mm] of the strips along which a bar is to be slid, once it passes or while they are done."""
    strips = taking.strips.every if taking.sliding else taking.open_strips if taking.decided == PASS else []
    return [
        ((one.start, one.at), (one.end, one.at)) if one.along == "x" else ((one.at, one.start), (one.at, one.end))
        for one in strips
    ]
