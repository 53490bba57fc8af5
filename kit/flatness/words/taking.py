"""What a person is told while the readings are taken: where to stand, what is asked, and when enough is read."""

from __future__ import annotations

import math
from collections.abc import Sequence

from flatness.lengths import format_length
from flatness.limits.verdict import FAIL, PASS
from flatness.taking.questions import EARLIER, SECOND_SHOT, Question, told_range
from flatness.taking.session import SECONDS_A_READING, Taking
from flatness.taking.stations import Station
from flatness.words.printed import accuracy, counted

NBSP = "\N{NO-BREAK SPACE}"  # within a reading
LIKELY = 0.8  # chance from which a verdict is called likely
WALLS = {
    "floor": ("from left wall", "from door wall"),
    "ceiling": ("from left wall", "from door wall"),
    "wall": ("from left end", "from the floor"),
}
AT = {
    "from left wall": "left wall",
    "from door wall": "door wall",
    "from left end": "left end",
    "from the floor": "floor",
}
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
    unit, walls = taking.book.unit, WALLS[taking.header.surface]
    return [
        (tape(mm, unit), word) if mm > 0.5 else ("", f"at the {AT[word]}") for mm, word in zip(xy, walls, strict=True)
    ]


def _where(station: Station, taking: Taking) -> str:
    return ", ".join(f"{length} {wall}".strip() for length, wall in station_words(station, taking))


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
    """The verdict so far, and how many stations are left at the most."""
    left = taking.left
    more = f"At most {left} to go." if left else "All stations are read."
    if taking.enough and left:
        return f"Enough is read: it {'fails' if taking.decided == FAIL else 'passes'}. {more}"
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
    if taking.ties:
        return "Old station"
    if taking.again:
        return "Second shot"
    if taking.here is not None and taking.more:
        return f"{len(taking.more)} more"
    count = len(taking.walk.stations)
    return f"{min(len(taking.done) + 1, count)} of {count}"


def why_here(taking: Taking) -> str:
    """Why this station is read out of its turn; empty where it is not."""
    if taking.ties:
        many = "one more" if len(taking.ties) == 1 else "two"
        return f"The laser was moved: read {many} of the old stations again, from where it stands now."
    if taking.again:
        return "Set the staff here again and read it once more."
    return ""


def question_words(question: Question, taking: Taking) -> tuple[str, str]:
    """The reading that is asked of, and why."""
    unit = taking.book.unit
    ends = " to ".join(text.replace(" ", NBSP) for text in told_range(question, unit))
    if question.about == SECOND_SHOT:
        return f"{question.typed}?", f"The first shot here was {ends}."
    if question.about == EARLIER:
        where = _where(question.station, taking)
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
        found.append(("elsewhere", "I stood somewhere else", _where(question.elsewhere, taking)))
    kept = "the first shot was wrong" if second else "keep it"
    return [*found, ("keep", f"{question.typed} is right", kept)]


def enough_words(taking: Taking) -> tuple[str, str]:
    """That enough is read, or all, and what one does next."""
    left = taking.left
    if taking.decided == FAIL:
        return "Enough: it fails" if left else "It fails", (
            f"To plan the work, read on: {counted(left, 'station')} {'is' if left == 1 else 'are'} not read."
            if left
            else "All stations are read: plan the work from this survey."
        )
    if taking.decided == PASS:
        assert taking.latest is not None
        sweeps = taking.latest.assessment.wanted_sweeps
        what = "Enough: it passes" if left else "It passes"
        if not sweeps:
            return what, "Nothing is open between the stations."
        bar = tape(max(one.bar for one in sweeps), taking.book.unit)
        strips = "this strip" if len(sweeps) == 1 else f"these {len(sweeps)} strips"
        return what, f"Nobody has looked between the stations: slide a {bar} bar along {strips}."
    after = "A few more places may decide it." if taking.can_be_decided else "The check of this survey says why."
    return "Too close to call", f"All stations are read. {after}"


def read_on_words(taking: Taking) -> str:
    """How many stations are left, and about how long they take."""
    minutes = max(1, round(taking.left * SECONDS_A_READING / 60))
    return f"{counted(taking.left, 'station')}, about {counted(minutes, 'minute')}"


def accuracy_words(taking: Taking) -> str:
    """How good a reading is, by the second shots and as it was stated."""
    unit = taking.book.unit
    stated = f"Stated: one reading is good to {accuracy(taking.accuracy, unit)}."
    found, pairs = taking.found_accuracy()
    if math.isnan(found):
        return f"{stated} {counted(pairs, 'second shot')} so far; 5 tell how good it is."
    return f"{stated} By {counted(pairs, 'second shot')}: {accuracy(max(found, 0.01), unit)}."


def sweep_lines(taking: Taking) -> Sequence[tuple[tuple[float, float], tuple[float, float]]]:
    """Ends [mm] of the strips along which a bar is to be slid, once it passes."""
    if taking.latest is None or taking.decided != PASS:
        return []
    return [
        ((one.start, one.at), (one.end, one.at)) if one.along == "x" else ((one.at, one.start), (one.at, one.end))
        for one in taking.latest.assessment.wanted_sweeps
    ]
