"""A reading that the ones around it do not bear out: what they say, and which slip it likely is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from flatness.lengths import format_length
from flatness.survey.cells import meant
from flatness.taking.stations import Station

LIKE = 2.5  # times its error that a slip put right may be off what is expected
AROUND = 2.0  # times their error that what the readings around say is given to either side
MOST_SLIPS = 2
# what a rule is read wrong by [mm]: common practice, no source
STEPS = {
    "in": (("half an inch", 12.7), ("an inch", 25.4), ("a quarter inch", 6.35)),
    "mm": (("10 mm", 10.0), ("100 mm", 100.0), ("5 mm", 5.0)),
}
# what the question is about
OFF, SECOND_SHOT, EARLIER = "off", "second shot", "earlier"


@dataclass(frozen=True)
class LikelySlip:
    """What a reading may have been.

    Attributes
    ----------
    name : of the slip, such as ``half an inch`` or ``digits exchanged``
    text : to be taken in its place, as a person types it
    mm : [mm]
    """

    name: str
    text: str
    mm: float


@dataclass(frozen=True)
class Question:
    """The question to a person about a reading.

    Attributes
    ----------
    about : ``off`` what is around it, a ``second shot`` that differs from the first, or an ``earlier`` reading that
        those taken since do not bear out
    station : where it was read
    typed : the reading as it was typed
    low, high : between which the readings around put it, or the first reading twice [mm]
    times : how many times its error it is off
    slips : what it may have been, the likeliest first
    elsewhere : the station where it would fit, or None where it fits nowhere near
    """

    about: str
    station: Station
    typed: str
    low: float
    high: float
    times: float
    slips: tuple[LikelySlip, ...] = ()
    elsewhere: Station | None = None


def likely_slips(typed: str, reading: float, expected: float, error: float, unit: str) -> tuple[LikelySlip, ...]:
    """The slips that would make a reading of what was expected, the nearest first.

    Parameters
    ----------
    typed, reading : the reading as text and in mm
    expected, error : what the readings around say, and its error with that of a reading [mm]
    unit : of a number that carries none, ``in`` or ``mm``

    Examples
    --------
    >>> [(slip.name, slip.text) for slip in likely_slips("41 7/8", 1063.625, 1051.0, 2.0, "in")]
    [('half an inch', '41 3/8')]
    >>> [(slip.name, slip.text) for slip in likely_slips("14 3/8", 365.125, 1051.0, 2.0, "in")]
    [('digits exchanged', '41 3/8')]
    """
    found = [
        LikelySlip(name, _as_typed(reading + way * step, unit), reading + way * step)
        for name, step in STEPS[unit]
        for way in (-1, 1)
    ]
    found += [LikelySlip("digits exchanged", text, mm) for text, mm in meant(typed, unit)]
    near = [slip for slip in found if abs(slip.mm - expected) <= LIKE * error and slip.mm > 0]
    near.sort(key=lambda slip: abs(slip.mm - expected))
    kept: dict[float, LikelySlip] = {}
    for slip in near:
        kept.setdefault(round(slip.mm, 3), slip)
    return tuple(kept.values())[:MOST_SLIPS]


def fits_elsewhere(reading: float, expected: Iterable[tuple[Station, float, float]]) -> Station | None:
    """The first station where a reading [mm] would be what is expected: station, expected and error [mm] of each."""
    for station, mm, error in expected:
        if abs(reading - mm) <= AROUND * error:
            return station
    return None


def _as_typed(mm: float, unit: str) -> str:
    """A reading as a person types it: to a 32nd where it is not a whole number of 16ths."""
    if unit == "mm":
        return f"{mm:g}"
    sixteenths = mm / 25.4 * 16
    return format_length(mm, "in", 16 if abs(sixteenths - round(sixteenths)) < 0.01 else 32).removesuffix('"')


def range_words(question: Question, unit: str) -> Sequence[str]:
    """Both ends of what the readings around say, as a person types them; one where both are the same."""
    step = 25.4 / 16 if unit == "in" else 1.0
    texts = [_as_typed(round(mm / step) * step, unit) for mm in (question.low, question.high)]
    return texts if texts[0] != texts[1] else texts[:1]
